package main

import (
	"flag"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/internal/check"
	"example.com/dosetone/internal/laundry"
)

var update = flag.Bool("update", false, "write the golden files")

func TestDemo(t *testing.T) {
	here, err := os.Getwd()
	require.NoError(t, err)
	dir := t.TempDir()
	t.Chdir(dir)
	text := ok(t, "demo")
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Empty(t, entries, "nothing is written without --out")
	t.Run("golden", func(t *testing.T) {
		t.Chdir(here)
		check.Golden(t, "demo.txt", text, *update)
	})
	t.Run("out", func(t *testing.T) { t.Chdir(dir); demoOut(t, text) })
}

// With --out the folder holds what is needed to repeat every printed command,
// and each prints what the demo shows of it.
func demoOut(t *testing.T, text string) {
	again := ok(t, "demo", "--out", "demo")
	written, _, found := strings.Cut(again[strings.Index(again, "Written to demo:"):], "\n\n")
	require.True(t, found)
	for _, name := range append(demo.Names(), demoModel, demoNewModel, demoBathModel, "suggestions.json") {
		require.Contains(t, written, name)
		_, err := os.Stat("demo/" + name)
		require.NoError(t, err)
	}
	body, _, _ := strings.Cut(text, "Cautions:")
	second, _, _ := strings.Cut(again, "Written to demo:")
	strip := func(s string) string { return s[strings.Index(s, "1. Learn"):] }
	require.Equal(t, strings.TrimSpace(strip(body)), strings.TrimSpace(strip(second)), "the demo is deterministic")
	t.Chdir("demo")
	steps := append(demoSteps(), demoLastSteps([]string{"--strength", "6.5", "--ratio", "1.3", "--time", "14"})...)
	n := 0
	for line := range strings.Lines(text) {
		args, isCommand := strings.CutPrefix(strings.TrimSpace(line), "$ dosetone ")
		if !isCommand {
			continue
		}
		require.Less(t, n, len(steps))
		require.Equal(t, strings.Join(steps[n].args, " "), args)
		run := tool(t, "", steps[n].args...)
		want := exitDone
		if strings.HasPrefix(args, "check") {
			want = exitOutside // the brown lot
		}
		require.Equal(t, want, run.code, "%s: %s", args, run.err)
		out, _, _ := strings.Cut(run.out, "\n\nCautions:")
		if only := steps[n].only; only != nil {
			out = only(out)
		}
		require.NotEmpty(t, strings.TrimSpace(out))
		require.Contains(t, text, strings.TrimSpace(out), args)
		n++
	}
	require.Equal(t, len(steps), n)

	data, err := os.ReadFile("suggestions.json")
	require.NoError(t, err)
	best := decode[[]suggestResult](t, string(data))[0].Suggestions[0]
	suggestedLotsHit(t, best.Settings)
}

// suggestedLotsHit puts the suggested settings back into the simulated laundry
// that made the demo's trials: the mean of many lots must lie within 1.0 ΔE00
// of the standard.
func suggestedLotsHit(t *testing.T, settings map[string]float64) {
	l, err := laundry.Demo()
	require.NoError(t, err)
	v := colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}
	w, err := colorimetry.NewWeights(v, laundry.Grid())
	require.NoError(t, err)
	s := l.LotSpread(maps.Clone(settings), w, rand.New(rand.NewPCG(1, 1)), 200, laundry.RunOptions{})
	std := decode[[]suggestResult](t, ok(t, "suggest", demoModel, "--target", demo.PelletStandardFile, "--format", "json"))[0].Target
	de := colorimetry.CIEDE2000{}.Diff(colorimetry.Lab{L: std.L, A: std.A, B: std.B}, s.Mean)
	t.Logf("suggested %v: the mean of 200 simulated lots is ΔE00 %.2f from the standard; lots scatter by a median of %.2f", settings, de, s.Median)
	require.Less(t, de, 1.0, "settings %v, seed 1, 1", settings)
}

func TestDemoForms(t *testing.T) {
	t.Chdir(t.TempDir())
	steps := decode[[]demoResult](t, ok(t, "demo", "--format", "json"))
	require.Len(t, steps, 10)
	for _, s := range steps {
		require.True(t, strings.HasPrefix(s.Command, "dosetone "))
		require.NotEmpty(t, s.Result)
	}
	i := slices.IndexFunc(steps, func(s demoResult) bool { return strings.HasSuffix(s.Command, demoRed) })
	red := decode[[]suggestResult](t, string(steps[i].Result))[0]
	require.False(t, red.Reachable)
	table := ok(t, "demo", "--format", "csv")
	require.True(t, slices.Contains(strings.Split(strings.SplitN(table, "\n", 2)[0], ","), "pass_probability"))
}
