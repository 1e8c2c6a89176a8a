package main

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/check"
)

var update = flag.Bool("update", false, "write the golden file")

func TestPredict(t *testing.T) {
	table, err := discharge.ReadTable(demo.PelletTrialsFile, bytes.NewReader(demo.PelletTrials()), nil)
	require.NoError(t, err)
	model, err := discharge.Fit(table, nil)
	require.NoError(t, err)
	name := filepath.Join(t.TempDir(), "model.json")
	f, err := os.Create(name)
	require.NoError(t, err)
	require.NoError(t, model.Save(f, "test"))
	require.NoError(t, f.Close())
	var out bytes.Buffer
	require.NoError(t, run([]string{name}, &out))
	check.Golden(t, "predict.txt", out.String(), *update)
}

func TestPredictNeedsAModel(t *testing.T) {
	var out bytes.Buffer
	require.ErrorContains(t, run(nil, &out), "one argument")
	name := filepath.Join(t.TempDir(), "model.json")
	require.NoError(t, os.WriteFile(name, []byte("{}"), 0o644))
	require.ErrorIs(t, run([]string{name}, &out), discharge.ErrModelFile)
	require.Empty(t, out.String())
}
