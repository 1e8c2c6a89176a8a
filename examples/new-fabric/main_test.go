package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/laundry"
)

func TestNewFabric(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, run(&out))
	require.Contains(t, out.String(), "times the dose")
	require.Contains(t, out.String(), "new fabric")
}

// Against the simulation's own expected shades, over several new fabrics: the
// model that was carried over is nearer than the old one.
func TestTwoLotsCarryTheModelOver(t *testing.T) {
	trials, err := discharge.ReadTable(demo.PelletTrialsFile, bytes.NewReader(demo.PelletTrials()), nil)
	require.NoError(t, err)
	model, err := discharge.Fit(trials, nil)
	require.NoError(t, err)
	home, err := laundry.Demo()
	require.NoError(t, err)
	var before, after []float64
	for seed := range uint64(8) {
		fabric := home.NewFabric(rand.New(rand.NewPCG(seed, 3)))
		data, err := newLots(fabric)
		require.NoError(t, err)
		lots, err := discharge.ReadTable("lots.csv", bytes.NewReader(data), nil)
		require.NoError(t, err)
		moved, err := model.Recalibrate(lots, nil)
		require.NoError(t, err)
		for _, s := range []discharge.Settings{
			{"strength_pct": 5, "ratio": 1.2, "time_min": 16}, {"strength_pct": 6.5, "ratio": 1.4, "time_min": 12}, {"strength_pct": 9, "ratio": 1.6, "time_min": 9},
		} {
			truth := fabric.ExpectedLab(s)
			for m, list := range map[*discharge.Model]*[]float64{model: &before, moved: &after} {
				p, err := m.Predict(s)
				require.NoError(t, err)
				*list = append(*list, colorimetry.CIEDE2000{}.Diff(truth, p.Shade))
			}
		}
	}
	slices.Sort(before)
	slices.Sort(after)
	t.Logf("ΔE00 from the truth, median and 90 %%: old model %.2f %.2f, carried over %.2f %.2f", before[12], before[21], after[12], after[21])
	require.Less(t, after[12], before[12])
	require.Less(t, after[21], before[21])
}

// newLots is the table of what was run on the new fabric: its base and white,
// and two lots, one at a lower and one at a higher dose.
func newLots(l *laundry.Laundry) ([]byte, error) {
	rng := rand.New(rand.NewPCG(7, 7))
	o := laundry.RunOptions{NoHotSpots: true}
	lots := []laundry.Lot{l.Base(rng, o), l.White(rng, o)}
	lots[0].ID, lots[1].ID = "BASE", "WHITE"
	for i, s := range [][3]float64{{5, 1.2, 9}, {8, 1.6, 15}} {
		lot := l.Run(map[string]float64{"strength_pct": s[0], "ratio": s[1], "time_min": s[2]}, rng, o)
		lot.ID = fmt.Sprintf("N%d", i+1)
		lots = append(lots, lot)
	}
	var b bytes.Buffer
	err := laundry.Table(&b, laundry.TableOptions{Comment: "invented data: no real laundry, a simulated fabric"}, lots...)
	return b.Bytes(), err
}
