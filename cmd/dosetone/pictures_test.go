package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/internal/check"
)

// The pictures of README.md are made from the invented laundry's data by the
// commands that users have; go generate ./cmd/dosetone writes them anew.
//
//go:generate go test . -run ^TestPictures$ -update

func TestPictures(t *testing.T) {
	dir := t.TempDir()
	in := func(name string) string { return filepath.Join(dir, name) }
	require.NoError(t, os.WriteFile(in("trials.csv"), demo.PelletTrials(), 0o644))
	require.NoError(t, os.WriteFile(in("standard.csv"), demo.PelletStandard(), 0o644))
	require.NoError(t, os.WriteFile(in("lot.csv"), productionOf("P102"), 0o644))
	ok(t, "fit", in("trials.csv"), "-o", in("m.json"), "--figure", "dose-response="+in("dose-response.svg"), "--figure", "lots="+in("lots.svg"))
	ok(t, "suggest", in("m.json"), "--target", in("standard.csv"), "--strengths", "4,6.5,10",
		"--figure", "contour="+in("contour.svg"), "--figure", "pass="+in("pass.svg"), "--figure", "path-lb="+in("shade-path.svg"))
	r := tool(t, "", "check", in("lot.csv"), "--standard", in("standard.csv"), "--model", in("m.json"), "--figure", "lot-lb="+in("lot.svg"))
	require.Contains(t, []int{exitDone, exitOutside}, r.code, r.err)
	for _, name := range []string{"dose-response.svg", "lots.svg", "contour.svg", "pass.svg", "shade-path.svg", "lot.svg"} {
		data, err := os.ReadFile(in(name))
		require.NoError(t, err)
		require.Less(t, len(data), 100_000, name)
		// Lines for the diff; a browser does not mind.
		text := strings.ReplaceAll(string(data), "><", ">\n<")
		check.Golden(t, filepath.Join("..", "..", "..", "examples", "pictures", name), text, *update)
	}
}
