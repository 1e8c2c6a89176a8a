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
	progress(&statusLine{w: &quick}, "fit", time.Hour)()
	require.Empty(t, quick.String(), "quick work is not talked about")
	var slow bytes.Buffer
	status := &statusLine{w: &slow}
	done := progress(status, "fit", time.Millisecond)
	time.Sleep(200 * time.Millisecond)
	_, err := status.Write([]byte("warning: one\n"))
	require.NoError(t, err)
	done()
	const line = "fit: 0 s; Ctrl-C ends it"
	require.Equal(t, line+"\r"+strings.Repeat(" ", len(line))+"\rwarning: one\n", slow.String(), "a warning takes the line's place")
}

func TestProgressOnlyOnATerminal(t *testing.T) {
	require.False(t, isTerminal(&bytes.Buffer{}))
	f, err := os.Create(filepath.Join(t.TempDir(), "file"))
	require.NoError(t, err)
	defer f.Close()
	require.False(t, isTerminal(f))
}
