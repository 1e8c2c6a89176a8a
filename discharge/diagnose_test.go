package discharge_test

import (
	"bytes"
	"context"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
)

func demoTable(t *testing.T) *discharge.Table {
	t.Helper()
	table, err := discharge.ReadTable(demo.PelletTrialsFile, bytes.NewReader(demo.PelletTrials()), nil)
	require.NoError(t, err)
	return table
}

func fitted(t *testing.T, table *discharge.Table) *discharge.Model {
	t.Helper()
	m, err := discharge.Fit(table, nil)
	require.NoError(t, err)
	return m
}

func exponent(m *discharge.Model, column string) float64 {
	for _, p := range m.Summary().Parameters {
		if p.Name == "exponent "+column {
			return p.Value
		}
	}
	return math.NaN()
}

// Influences against doing it by hand for one lot, and the lots' own
// leave-one-out figures: those keep the candidates of the whole fit, so they
// agree for most lots but not for one that decides on the curve.
func TestInfluencesAreThoseOfFittingWithoutTheLot(t *testing.T) {
	table := demoTable(t)
	m := fitted(t, table)
	all, err := m.Influences(t.Context(), table, nil, 5)
	require.NoError(t, err)
	require.Len(t, all, len(m.Trials()))
	agree := 0
	for i, d := range m.Diagnostics() {
		require.Equal(t, d.ID, all[i].Lot)
		require.Len(t, all[i].Ladder, 5)
		if math.Abs(d.LeftOut-all[i].LeftOut) < 0.1 {
			agree++
		}
	}
	assert.GreaterOrEqual(t, agree, len(all)*3/4)
	less := *table
	less.Lots = slices.DeleteFunc(slices.Clone(table.Lots), func(l discharge.Lot) bool { return l.ID == "T06" && l.Role == discharge.Trial })
	n := fitted(t, &less)
	i := slices.IndexFunc(all, func(x discharge.Influence) bool { return x.Lot == "T06" })
	assert.InDelta(t, exponent(n, "time_min"), all[i].Exponents["time_min"], 1e-12)
	p, err := n.Predict(m.Ladder(5)[2])
	require.NoError(t, err)
	assert.Equal(t, p.Shade, all[i].Ladder[2])

	ctx, stop := context.WithCancel(t.Context())
	stop()
	_, err = m.Influences(ctx, table, nil, 5)
	require.ErrorIs(t, err, context.Canceled)
}

// The diagonal of the hat matrix is by definition how far the fitted value
// moves when the lot's own reading moves by one (Hoaglin and Welsch, Amer.
// Statist. 32 (1978) 17, eq. 2.1). Grid and robust weights move too, hence the
// slack.
func TestLeverageIsHowFarALotPullsItsOwnFit(t *testing.T) {
	m := fitted(t, demoTable(t))
	all := m.Diagnostics()
	slices.SortFunc(all, func(a, b discharge.LotDiagnostic) int {
		if a.Leverage < b.Leverage {
			return -1
		}
		return 1
	})
	sum := 0.0
	for _, d := range all {
		assert.True(t, d.Leverage > 0 && d.Leverage <= 1, "%s: %g", d.ID, d.Leverage)
		sum += d.Leverage
	}
	assert.Less(t, sum, 11.0, "ten coefficients and a plateau")
	const by = 0.4
	for _, d := range []discharge.LotDiagnostic{all[0], all[len(all)/2], all[len(all)-1]} {
		moved := func(dl float64) float64 {
			table := demoTable(t)
			for i := range table.Lots {
				l := &table.Lots[i]
				if l.ID != d.ID || l.Role != discharge.Trial {
					continue
				}
				for k := range l.Panels {
					for r := range l.Panels[k].Readings {
						l.Panels[k].Readings[r].Lab.L += dl
					}
				}
			}
			p, err := fitted(t, table).Predict(d.Settings)
			require.NoError(t, err)
			return p.Shade.L
		}
		assert.InDelta(t, (moved(by)-moved(-by))/(2*by), d.Leverage, 0.12, d.ID)
	}
}

func TestLnDoseIsZeroInTheMiddleAndRisesAlongTheLadder(t *testing.T) {
	m := fitted(t, demoTable(t))
	ladder := m.Ladder(9)
	last := math.Inf(-1)
	for i, s := range ladder {
		x, err := m.LnDose(s)
		require.NoError(t, err)
		assert.Greater(t, x, last)
		last = x
		if i == 4 {
			assert.InDelta(t, 0, x, 1e-9)
		}
		p, err := m.Predict(s)
		require.NoError(t, err)
		assert.False(t, p.Extrapolated, "step %d", i)
	}
	_, err := m.LnDose(discharge.Settings{"ratio": 1})
	require.ErrorIs(t, err, discharge.ErrUnknownFactor)
}

// Evaluating a suggestion's settings gives the suggestion back, and a model
// from its file tells the same of its lots.
func TestEvaluateAgreesWithSuggestAndFilesKeepDiagnostics(t *testing.T) {
	m := fitted(t, demoTable(t))
	target := discharge.Target{ID: "mid", Viewing: m.Viewing(), Lab: m.ShadeAt(0.5)}
	s, err := m.Suggest(target, nil)
	require.NoError(t, err)
	require.NotEmpty(t, s.List)
	got, err := m.Evaluate(target, 0, []discharge.Settings{s.List[0].Settings})
	require.NoError(t, err)
	assert.Equal(t, s.List[0].PassProbability, got[0].PassProbability)
	assert.Equal(t, s.List[0].Shade, got[0].Shade)
	assert.Equal(t, got[0].DeltaE, got[0].Decisive, "no limits were given")
	light := m.ShadeAt(0.6)
	target.Light = &light
	got, err = m.Evaluate(target, 0, []discharge.Settings{m.Ladder(2)[1]})
	require.NoError(t, err)
	assert.Less(t, got[0].Decisive, got[0].DeltaE)
	_, err = m.Evaluate(target, 0, []discharge.Settings{{"ratio": 1}})
	require.ErrorIs(t, err, discharge.ErrUnknownFactor)

	var b bytes.Buffer
	require.NoError(t, m.Save(&b, "test"))
	n, err := discharge.Load(&b)
	require.NoError(t, err)
	assert.Equal(t, m.Diagnostics(), n.Diagnostics())
}
