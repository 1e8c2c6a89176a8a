package quality_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
)

// Damp cloth is darker and more saturated: here by a shift set by the test, a
// line in L* with noise, so that the truth is known.
func dampOf(dry colorimetry.Lab, rng *rand.Rand, noise float64) colorimetry.Lab {
	return colorimetry.Lab{
		L: 0.85*dry.L - 1 + noise*rng.NormFloat64(),
		A: dry.A + 0.2 + 0.3*noise*rng.NormFloat64(),
		B: dry.B - 1.5 + 0.5*noise*rng.NormFloat64(),
	}
}

func pairs(rng *rand.Rand, n int, noise float64) *discharge.Table {
	l := discharge.Lot{ID: "pairs", Role: discharge.Trial}
	for i := range n {
		dry := colorimetry.Lab{L: 30 + 30*rng.Float64(), A: -2, B: -9}
		l.Panels = append(l.Panels, discharge.Panel{ID: name(i), Readings: []discharge.Reading{
			{Lab: dry}, {Lab: dampOf(dry, rng, noise), Stage: "discharged", State: "damp"},
		}})
	}
	return labTable(l)
}

func TestStagesAreMappedByTheLearnedShift(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	st, err := quality.LearnStages(pairs(rng, 12, 0.3))
	require.NoError(t, err)
	known := st.Known()
	require.Len(t, known, 1)
	require.Equal(t, "discharged, damp", known[0].Stage)
	require.True(t, known[0].Slope)
	dry := colorimetry.Lab{L: 48, A: -2, B: -9}
	late, half := known[0].Map(dampOf(dry, rng, 0), 0.95)
	require.Less(t, math.Abs(late.L-dry.L), half[0])
	require.InDelta(t, dry.L, late.L, 0.5)
	require.InDelta(t, dry.B, late.B, 0.5)
}

// The interval of a mapped panel holds what it says: 95 % of 2000.
func TestStageIntervalsCover(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	var inside [3]int
	const n = 2000
	for range n {
		st, err := quality.LearnStages(pairs(rng, 8, 0.5))
		require.NoError(t, err)
		dry := colorimetry.Lab{L: 30 + 30*rng.Float64(), A: -2, B: -9}
		s := st.Known()[0]
		late, half := s.Map(dampOf(dry, rng, 0.5), 0.95)
		for k, d := range []float64{late.L - dry.L, late.A - dry.A, late.B - dry.B} {
			if math.Abs(d) <= half[k] {
				inside[k]++
			}
		}
	}
	for k, hits := range inside {
		require.InDelta(t, 0.95, float64(hits)/n, 0.015, "channel %d", k)
	}
}

func TestStagesAreNeverMixed(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 11))
	std := target(colorimetry.Lab{L: 48, A: -2, B: -9})
	damp := discharge.Lot{ID: "P", Role: discharge.Production}
	for i := range 4 {
		c := dampOf(colorimetry.Lab{L: 48 + 0.3*float64(i), A: -2, B: -9}, rng, 0.1)
		damp.Panels = append(damp.Panels, discharge.Panel{ID: name(i), Readings: []discharge.Reading{{Lab: c, Stage: "discharged", State: "damp"}}})
	}
	_, err := quality.Judge(labTable(damp), damp, std, nil)
	require.ErrorContains(t, err, "discharged, damp")
	two, err := quality.LearnStages(pairs(rng, 2, 0.1)) // too few
	require.NoError(t, err)
	require.Empty(t, two.Known())
	_, err = quality.Judge(labTable(damp), damp, std, &quality.Options{Stages: two})
	require.ErrorContains(t, err, "at least 3 panels")
	enough, err := quality.LearnStages(pairs(rng, 10, 0.1))
	require.NoError(t, err)
	r, err := quality.Judge(labTable(damp), damp, std, &quality.Options{Stages: enough, Tolerance: 2})
	require.NoError(t, err)
	require.Equal(t, "discharged, damp", r.ReadAt)
	require.Equal(t, quality.Accept, r.Verdict.Decision)
	require.InDelta(t, 48.45, r.Mean.L, 0.4)
	// Read as if finished, the same lot would be 8 L* too dark.
	require.Less(t, damp.Panels[0].Readings[0].Lab.L, 41.0)
	// Two early stages at once are refused.
	damp.Panels[0].Readings[0].State = "dry"
	_, err = quality.Judge(labTable(damp), damp, std, &quality.Options{Stages: enough})
	require.ErrorContains(t, err, "several stages")
}

// The mean of panels is mapped as it is, whichever of them comes last.
func TestTheOrderOfPanelsIsNoPartOfTheVerdict(t *testing.T) {
	st, err := quality.LearnStages(pairs(rand.New(rand.NewPCG(9, 12)), 8, 0.5))
	require.NoError(t, err)
	l := discharge.Lot{ID: "P", Role: discharge.Production}
	for i, c := range []float64{38, 42, 47} {
		l.Panels = append(l.Panels, discharge.Panel{ID: name(i), Readings: []discharge.Reading{{Lab: colorimetry.Lab{L: c, A: -2, B: -9}, Stage: "discharged", State: "damp"}}})
	}
	judge := func() quality.Verdict {
		r, err := quality.Judge(labTable(l), l, target(colorimetry.Lab{L: 51, A: -2, B: -8}), &quality.Options{Stages: st, Tolerance: 2})
		require.NoError(t, err)
		return r.Verdict
	}
	want := judge()
	slices.Reverse(l.Panels)
	got := judge()
	require.InDelta(t, want.Probability, got.Probability, 1e-9)
	require.InDelta(t, want.DeltaEHi, got.DeltaEHi, 1e-9)
}

// What Map cannot answer is a panic that says so.
func TestMapRefuses(t *testing.T) {
	require.PanicsWithValue(t, "quality: Map of a Shift that LearnStages did not learn", func() { (&quality.Shift{}).Map(colorimetry.Lab{L: 50}, 0.95) })
	require.PanicsWithValue(t, "quality: Map of a Shift that LearnStages did not learn", func() { (&quality.Shift{Pairs: 5}).Map(colorimetry.Lab{L: 50}, 0.95) })
	st, err := quality.LearnStages(pairs(rand.New(rand.NewPCG(9, 9)), 12, 0.3))
	require.NoError(t, err)
	for _, level := range []float64{0, 1, 95, -0.5, math.NaN()} {
		require.Panics(t, func() { st.Known()[0].Map(colorimetry.Lab{L: 50}, level) }, "%g", level)
	}
}
