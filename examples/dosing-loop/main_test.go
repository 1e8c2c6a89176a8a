package main

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
)

func TestDosingLoopEnds(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, run(&out, 5))
	require.Contains(t, out.String(), "invented")
	require.True(t, strings.HasPrefix(out.String()[strings.LastIndex(strings.TrimSpace(out.String()), "\n")+1:], "unload now"), out.String())
}

// Sampling must pay: over forty simulated lots, against the simulation's own
// lot means, the loop ends nearer the target than the usual time does.
func TestDosingLoopBeatsTheClock(t *testing.T) {
	table, err := discharge.ReadTable(demo.PelletTrialsFile, bytes.NewReader(demo.PelletTrials()), nil)
	require.NoError(t, err)
	model, err := discharge.Fit(table, nil)
	require.NoError(t, err)
	settings := discharge.Settings{"strength_pct": 6.5, "ratio": 1.3}
	target := colorimetry.Lab{L: 48, A: -2.65, B: -9.3}
	var clock, loops []float64
	for seed := range uint64(40) {
		lot, err := simulate(settings, seed)
		require.NoError(t, err)
		l, err := newLoop(model, settings, target)
		require.NoError(t, err)
		clock = append(clock, math.Abs(lot.truth(l.usual).L-target.L))
		minutes := l.firstSample()
		for {
			left, _, err := l.left(minutes, lot.read(minutes))
			require.NoError(t, err)
			if left < 0.5 {
				break
			}
			minutes += math.Max(left/2, 0.5)
		}
		loops = append(loops, math.Abs(lot.truth(minutes).L-target.L))
	}
	slices.Sort(clock)
	slices.Sort(loops)
	t.Logf("|ΔL*| of lots, median and 90 %%: by the clock %.2f %.2f, with samples %.2f %.2f", clock[20], clock[36], loops[20], loops[36])
	require.Less(t, loops[20], clock[20])
	require.Less(t, loops[36], clock[36])
}

// truth is the mean of the lot's panels.
func (x *simulated) truth(minutes float64) colorimetry.Lab {
	lot := x.lot(minutes)
	return lot.MeanLab(x.weights)
}
