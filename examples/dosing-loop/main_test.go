package main

import (
	"bytes"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/laundry"
)

func TestDosingLoopEnds(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, run(&out, sample))
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

// simulated is one lot of the simulation, which can be looked at at any minute.
type simulated struct {
	laundry  *laundry.Laundry
	settings discharge.Settings
	seed     uint64
	weights  *colorimetry.Weights
	sample   int
}

func simulate(s discharge.Settings, seed uint64) (*simulated, error) {
	l, err := laundry.Demo()
	if err != nil {
		return nil, err
	}
	w, err := colorimetry.NewWeights(colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}, laundry.Grid())
	return &simulated{laundry: l, settings: s, seed: seed, weights: w}, err
}

// lot is the whole lot if it were unloaded after minutes. The same seed gives
// the same lot, with the same luck in dosing, at every time.
func (x *simulated) lot(minutes float64) laundry.Lot {
	s := x.settings.Clone()
	s["time_min"] = minutes
	return x.laundry.Run(s, rand.New(rand.NewPCG(x.seed, 9)), laundry.RunOptions{NoHotSpots: true})
}

// read is a sample: one of the lot's panels, another one each time.
func (x *simulated) read(minutes float64) colorimetry.Lab {
	lot := x.lot(minutes)
	x.sample = (x.sample + 1) % len(lot.Readings)
	return x.weights.Lab(lot.Readings[x.sample].R)
}
