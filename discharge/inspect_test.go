package discharge_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// What the model is asked about lots must agree with what it predicts.
func TestInspectionAgreesWithPrediction(t *testing.T) {
	m := fitted(t, demoTable(t))
	s := discharge.Settings{"strength_pct": 6.5, "ratio": 1.4, "time_min": 12}
	p, err := m.Predict(s)
	require.NoError(t, err)
	level := m.LevelOf(p.Shade.L)
	require.InDelta(t, p.Level, level, 1e-9)
	minutes, extrapolated, ok, err := m.TimeFor(s, level)
	require.NoError(t, err)
	require.True(t, ok)
	require.False(t, extrapolated)
	require.InDelta(t, 12, minutes, 1e-3)
	require.Equal(t, 12.0, s["time_min"], "the settings stay as they are")
	r, err := m.DoseResidual(s, level)
	require.NoError(t, err)
	require.InDelta(t, 0, r.LnDose, 0.03) // the mean of a bent curve is not the curve at the mean
	require.Positive(t, r.SDModel)
	require.Positive(t, r.SDLots)
	_, err = m.DoseResidual(discharge.Settings{"ratio": 1.4}, level)
	require.ErrorIs(t, err, discharge.ErrUnknownFactor)
}

// Doses of passes add: from next to nothing a pass takes the time that a first
// one takes, and less from further on; a weaker charge takes longer.
func TestSecondPass(t *testing.T) {
	m := fitted(t, demoTable(t))
	s := discharge.Settings{"strength_pct": 6.5, "ratio": 1.4}
	first, _, ok, err := m.TimeFor(s, 0.5)
	require.NoError(t, err)
	require.True(t, ok)
	last := first
	for i, from := range []float64{0.02, 0.2, 0.35, 0.45} {
		got, _, ok, err := m.SecondPass(s, from, 0.5)
		require.NoError(t, err)
		require.True(t, ok)
		if i == 0 {
			require.InEpsilon(t, first, got, 0.1)
		} else {
			require.Less(t, got, last)
		}
		last = got
	}
	weaker, _, ok, err := m.SecondPass(discharge.Settings{"strength_pct": 5, "ratio": 1.4}, 0.45, 0.5)
	require.NoError(t, err)
	require.True(t, ok)
	require.Greater(t, weaker, last)
	_, _, ok, err = m.SecondPass(s, 0.5, 0.4)
	require.NoError(t, err)
	require.False(t, ok)
	_, _, _, err = m.SecondPass(discharge.Settings{"ratio": 1}, 0.4, 0.5)
	require.ErrorIs(t, err, discharge.ErrUnknownFactor)
}

func TestDoseBetweenLevels(t *testing.T) {
	m := fitted(t, demoTable(t))
	require.InDelta(t, m.DoseBetween(0.3, 0.6), m.DoseBetween(0.3, 0.45)+m.DoseBetween(0.45, 0.6), 1e-9)
	require.InDelta(t, 0, m.DoseBetween(0.4, 0.4), 1e-12)
	require.Positive(t, m.DoseBetween(0.3, 0.6))
	const h = 1e-3
	for _, s := range []float64{0.2, 0.4, 0.6} {
		// Slope averages the curves' slopes, DoseBetween their inverses: the
		// harmonic mean is never above the arithmetic one (Jensen), and near it
		// where the curves agree.
		harmonic := 2 * h / m.DoseBetween(s-h, s+h)
		require.LessOrEqual(t, harmonic, m.Slope(s)*(1+1e-4))
		require.Greater(t, harmonic, 0.75*m.Slope(s))
	}
}

func TestPathIsInspectedAsItIs(t *testing.T) {
	m := fitted(t, demoTable(t))
	w, err := colorimetry.NewWeights(m.Viewing(), m.Grid())
	require.NoError(t, err)
	for _, s := range []float64{0.05, 0.3, 0.6, 0.95} {
		c := m.ShadeAt(s)
		require.InDelta(t, s, m.LevelOf(c.L), 1e-9)
		require.InDelta(t, s, m.NearestLevel(c), 1e-3)
		// Lab and ln K/S are smoothed apart, on the same levels.
		require.Less(t, colorimetry.CIEDE2000{}.Diff(c, w.Lab(m.SpectrumAt(s))), 0.6)
		const h = 1e-4
		d, a, b := m.Tangent(s), m.ShadeAt(s-h), m.ShadeAt(s+h)
		for k, v := range []float64{b.L - a.L, b.A - a.A, b.B - a.B} {
			require.InDelta(t, v/(2*h), d[k], 1e-3*math.Max(1, math.Abs(d[k])))
		}
		sc := m.ScatterAt(s)
		for k := range 3 {
			require.Positive(t, sc.Panel[k][k])
		}
	}
	require.NotEmpty(t, m.Digest())
}

func TestPanelMeansLeaveOutEarlierStages(t *testing.T) {
	l := discharge.Lot{Panels: []discharge.Panel{
		{ID: "1", Readings: []discharge.Reading{{Lab: colorimetry.Lab{L: 40}}, {Lab: colorimetry.Lab{L: 42}}, {Lab: colorimetry.Lab{L: 30}, State: "damp"}}},
		{ID: "2", Readings: []discharge.Reading{{Lab: colorimetry.Lab{L: 30}, Stage: "discharged"}}},
	}}
	means, skipped := discharge.PanelMeans(l)
	require.Equal(t, 2, skipped)
	require.Len(t, means, 1)
	require.Equal(t, 41.0, means[0].Lab.L)
	require.Equal(t, 2, means[0].N)
}
