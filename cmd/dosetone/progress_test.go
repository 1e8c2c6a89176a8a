package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestProgressComesLateAndGoesAway(t *testing.T) {
	var quick bytes.Buffer
	progress(&quick, "fit", time.Hour)()
	require.Empty(t, quick.String(), "quick work is not talked about")
	var slow bytes.Buffer
	done := progress(&slow, "fit", time.Millisecond)
	time.Sleep(200 * time.Millisecond)
	done()
	line := slow.String()
	require.True(t, strings.HasPrefix(line, "\rfit: 0 s; Ctrl-C ends it"), line)
	require.True(t, strings.HasSuffix(line, "\r"+strings.Repeat(" ", len("fit: 0 s; Ctrl-C ends it"))+"\r"), "the line is taken back")
}

func TestProgressOnlyOnATerminal(t *testing.T) {
	require.False(t, isTerminal(&bytes.Buffer{}))
	f, err := os.Create(filepath.Join(t.TempDir(), "file"))
	require.NoError(t, err)
	defer f.Close()
	require.False(t, isTerminal(f))
}
