package discharge_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

const gas = 8.314462618 // J/(mol K), CODATA

// arrhenius is the rate at a temperature over that at 36 °C for an activation energy
// (any textbook of kinetics).
func arrhenius(activation, warm float64) float64 {
	return math.Exp(-activation / gas * (1/(warm+273.15) - 1/(36+273.15)))
}

// bathTrials are trials on a grid of strength, liquor and time at temperatures of
// their own, whose dose has a rate.
func bathTrials(t *testing.T, process, strength string, liquor float64, rate func(warm float64) float64, temperature func(lot int, r *rand.Rand) float64) *discharge.Table {
	t.Helper()
	random := rand.New(rand.NewPCG(5, 6))
	var b strings.Builder
	fmt.Fprintf(&b, "lot,role,process,%s,liquor_ratio,time_min,temp_c,panel,illuminant,observer,L,a,b\n", strength)
	row := func(lot, role, settings string, panel int, lightness float64) {
		fmt.Fprintf(&b, "%s,%s,%s,%s,%d,D65,10,%.3f,%.3f,%.3f\n", lot, role, process, settings, panel, lightness, -1-0.03*lightness, -22+0.25*lightness)
	}
	row("base", "base", ",,,", 1, 20)
	row("white", "white", ",,,", 1, 80)
	lot := 0
	for _, s := range []float64{1, 1.7, 3} {
		for _, v := range []float64{8, 14} {
			for _, m := range []float64{12, 20, 35} {
				lot++
				warm := temperature(lot, random)
				dose := bathDose(s, v, m, liquor) * rate(warm) * math.Exp(0.04*random.NormFloat64())
				for panel := range 3 {
					row(fmt.Sprintf("T%02d", lot), "trial", fmt.Sprintf("%g,%g,%g,%.1f", s, v, m, warm), panel+1, lightnessOf(dose)+0.3*float64(panel-1))
				}
			}
		}
	}
	table, err := discharge.ReadTable("trials.csv", strings.NewReader(b.String()), nil)
	require.NoError(t, err)
	return table
}

// bathDose is a closed form of ours.
func bathDose(strength, liquor, minutes, exponent float64) float64 {
	return 0.9 * strength / 1.7 * math.Pow(liquor/10, exponent) * minutes / 20
}

func hypochloriteTrials(t *testing.T, activation float64, temperature func(lot int, r *rand.Rand) float64) *discharge.Table {
	t.Helper()
	return bathTrials(t, "hypochlorite-bath", "strength_gpl", 0.4, func(warm float64) float64 { return arrhenius(activation, warm) }, temperature)
}

// An enzyme works more quickly in the heat until it unfolds (rate by Arrhenius times the
// share that is folded, 1/(1 + K); textbook, from memory): two temperatures do not show
// its best one, which is said, and what is predicted between them holds the truth.
// Chlorine has none.
func TestEnzymesMayHaveABestTemperature(t *testing.T) {
	twoLevels := func(cold, hot float64) func(int, *rand.Rand) float64 {
		return func(lot int, _ *rand.Rand) float64 {
			if lot/2%2 == 0 {
				return cold
			}
			return hot
		}
	}
	const best = "may have a best value between them"
	enzyme := func(warm float64) float64 {
		unfolded := math.Exp(-250e3 / gas * (1/(warm+273.15) - 1/(62+273.15)))
		return 0.5 * arrhenius(40e3, warm) / (1 + unfolded)
	}
	m := fitted(t, bathTrials(t, "laccase-bath", "strength_pct", -0.3, enzyme, twoLevels(42, 58)))
	require.Contains(t, fmt.Sprint(m.Warnings()), "temp_c was run at 42 and 58 only, and "+best)
	for _, strength := range []float64{1, 1.7, 3} {
		for _, minutes := range []float64{12, 20, 35} {
			p, err := m.Predict(discharge.Settings{"strength_pct": strength, "liquor_ratio": 10, "time_min": minutes, "temp_c": 50})
			require.NoError(t, err)
			truth := lightnessOf(bathDose(strength, 10, minutes, -0.3) * enzyme(50))
			lo, hi := p.Interval(0, 0.95)
			t.Logf("strength %g, %g min: L* %.1f, predicted %.1f (%.1f to %.1f)", strength, minutes, truth, p.Shade.L, lo, hi)
			require.True(t, lo <= truth && truth <= hi)
		}
	}
	m = fitted(t, hypochloriteTrials(t, 60e3, twoLevels(28, 48)))
	require.NotContains(t, fmt.Sprint(m.Warnings()), best)
}

// A temperature that wandered by a few degrees is none of the dials that suggestions
// turn. Where the dose hangs on it they say so, and unless it is given loads go on wandering.
func TestWhatDriftedIsSaidWhereItMatters(t *testing.T) {
	wandering := func(_ int, r *rand.Rand) float64 { return 36 + 5*(r.Float64()-0.5) }
	settings := discharge.Settings{"strength_gpl": 1.7, "liquor_ratio": 10, "time_min": 14}
	for activation, want := range map[float64]bool{90e3: true, 0: false} {
		m := fitted(t, hypochloriteTrials(t, activation, wandering))
		full, said := m.FillIn(settings)
		require.NotContains(t, full, "temp_c")
		require.Equal(t, want, len(said) == 1, "activation energy %g: %q", activation, said)
		s, err := m.Suggest(discharge.Target{ID: "t", Viewing: m.Viewing(), Lab: colorimetry.Lab{L: 50, A: -2.5, B: -9.5}}, nil)
		require.NoError(t, err)
		require.NotEmpty(t, s.List)
		require.NotContains(t, s.List[0].Settings, "temp_c")
		require.Equal(t, want, strings.Contains(fmt.Sprint(s.Warnings), "temp_c is not given: loads are taken to drift as the trials did"), "%v", s.Warnings)
		p, err := m.Predict(s.List[0].Settings)
		require.NoError(t, err)
		require.InDelta(t, s.List[0].Shade.L, p.Shade.L, 1e-9)
		held, err := m.Suggest(s.Target, &discharge.SuggestOptions{Bounds: map[string]discharge.Range{"temp_c": {Lo: 36, Hi: 36}}})
		require.NoError(t, err)
		require.Equal(t, 36.0, held.List[0].Settings["temp_c"])
		if want {
			require.Greater(t, held.List[0].PassProbability, s.List[0].PassProbability+0.05)
		} else {
			require.InDelta(t, held.List[0].PassProbability, s.List[0].PassProbability, 0.05)
		}
		for _, f := range m.Factors() {
			if f.Column == "temp_c" {
				require.False(t, f.Chosen)
				require.Equal(t, want, f.Matters)
			}
		}
	}
}

// Two temperatures 5 degrees apart, nine lots each, were set: nothing wanders between
// two values only.
func TestTwoNearLevelsWereChosen(t *testing.T) {
	m := fitted(t, hypochloriteTrials(t, 60e3, func(lot int, _ *rand.Rand) float64 { return 33.5 + 5*float64(lot%2) }))
	for _, f := range m.Factors() {
		if f.Column == "temp_c" {
			require.True(t, f.Chosen)
		}
	}
}

// Loads whose temperature nobody holds scatter by what it does to them: intervals of
// settings that do not name it hold as many as those that do, and are wider.
func TestWhatDriftsCountsWhereItIsNotGiven(t *testing.T) {
	const activation = 90e3
	wandering := func(_ int, r *rand.Rand) float64 { return 36 + 5*(r.Float64()-0.5) }
	m := fitted(t, hypochloriteTrials(t, activation, wandering))
	random := rand.New(rand.NewPCG(11, 12))
	given, not, asGiven, n := 0, 0, 0, 400
	var wide, narrow float64
	for range n {
		s, v, minutes := 1+2*random.Float64(), 8+6*random.Float64(), 12+23*random.Float64()
		warm := wandering(0, random)
		truth := lightnessOf(bathDose(s, v, minutes, 0.4) * arrhenius(activation, warm) * math.Exp(0.04*random.NormFloat64()))
		settings := discharge.Settings{"strength_gpl": s, "liquor_ratio": v, "time_min": minutes}
		p, err := m.Predict(settings)
		require.NoError(t, err)
		lo, hi := p.Interval(0, 0.9)
		wide += (hi - lo) / float64(n)
		if lo <= truth && truth <= hi {
			not++
		}
		settings["temp_c"] = 36 // a value that the load did not have
		p, err = m.Predict(settings)
		require.NoError(t, err)
		if lo, hi := p.Interval(0, 0.9); lo <= truth && truth <= hi {
			asGiven++
		}
		settings["temp_c"] = warm
		p, err = m.Predict(settings)
		require.NoError(t, err)
		lo, hi = p.Interval(0, 0.9)
		narrow += (hi - lo) / float64(n)
		if lo <= truth && truth <= hi {
			given++
		}
	}
	t.Logf("of %d lots the 90 %% interval holds %d with their temperature, %d without any, %d with 36 °C for all; mean widths %.1f and %.1f", n, given, not, asGiven, narrow, wide)
	// Three standard errors of a share of 0.9 are 0.045.
	require.GreaterOrEqual(t, given, n*855/1000)
	require.GreaterOrEqual(t, not, n*855/1000)
	require.Less(t, asGiven, not)
	require.Greater(t, wide, 1.1*narrow)
}

// A lot whose temperature nobody noted teaches what it can; where most were not noted, none
// counts.
func TestWhatDriftedMayBeMissing(t *testing.T) {
	wandering := func(_ int, r *rand.Rand) float64 { return 36 + 5*(r.Float64()-0.5) }
	table := hypochloriteTrials(t, 90e3, wandering)
	forget := func(n int) *discharge.Model {
		less := *table
		less.Lots = nil
		for _, l := range table.Lots {
			if l.Role == discharge.Trial && n > 0 {
				l.Settings = l.Settings.Clone()
				delete(l.Settings, "temp_c")
				n--
			}
			less.Lots = append(less.Lots, l)
		}
		return fitted(t, &less)
	}
	const column = "exponent temp_c"
	all, most, few := forget(0), forget(3), forget(10)
	require.Contains(t, fmt.Sprint(most.Warnings()), "temp_c is given for 15 of 18 trial lots only: the others are taken to have had the mean of these")
	require.Contains(t, fmt.Sprint(few.Warnings()), "temp_c is given for 8 of 18 trial lots only and is left out of the model")
	for _, p := range all.Summary().Parameters {
		if p.Name == column {
			require.InDelta(t, p.Value, exponent(most, "temp_c"), 2*p.SE)
		}
	}
	for _, f := range few.Factors() {
		require.NotEqual(t, "temp_c", f.Column)
	}
}

// Temperatures that all differ were set by nobody, though the hottest load is ten degrees above
// the coldest; three of them, run again and again, were. Of a factor that was set, a lot that
// lacks it is left out, not the factor.
func TestChosenIsWhatWasRunAgain(t *testing.T) {
	factor := func(m *discharge.Model) *discharge.FactorRange {
		for _, f := range m.Factors() {
			if f.Column == "temp_c" {
				return &f
			}
		}
		return nil
	}
	wide := fitted(t, hypochloriteTrials(t, 60e3, func(lot int, r *rand.Rand) float64 { return 36 + 10*(r.Float64()-0.5) }))
	require.False(t, factor(wide).Chosen)
	require.True(t, factor(wide).Drifts)
	table := hypochloriteTrials(t, 60e3, func(lot int, _ *rand.Rand) float64 { return 30 + 6*float64(lot%3) })
	require.True(t, factor(fitted(t, table)).Chosen)
	for i := range table.Lots {
		if l := &table.Lots[i]; l.ID == "T05" {
			delete(l.Settings, "temp_c")
		}
	}
	less := fitted(t, table)
	require.True(t, factor(less).Chosen)
	require.Len(t, less.Trials(), 17)
	require.Contains(t, fmt.Sprint(less.Warnings()), `nothing is learned from 1 of 18 lots, which do not have it: "T05"`)
}

// A model for one of two machines takes its loads to drift as that one's do.
func TestDriftIsThatOfTheMachine(t *testing.T) {
	table := hypochloriteTrials(t, 60e3, func(lot int, r *rand.Rand) float64 { return 34 + 4*float64(lot%2) + 1.5*(r.Float64()-0.5) })
	for i := range table.Lots {
		if l := &table.Lots[i]; l.Role == discharge.Trial {
			l.Machine = fmt.Sprintf("W%d", 1+int(l.Settings["temp_c"])/36)
		}
	}
	for machine, warm := range map[string]float64{"W1": 34, "W2": 38} {
		m, err := discharge.Fit(table, &discharge.FitOptions{Machine: machine})
		require.NoError(t, err)
		for _, f := range m.Factors() {
			if f.Column == "temp_c" {
				require.InDelta(t, warm, f.Middle, 0.6)
			}
		}
		s := discharge.Settings{"strength_gpl": 1.7, "liquor_ratio": 10, "time_min": 20}
		p, err := m.Predict(s)
		require.NoError(t, err)
		s["temp_c"] = warm
		q, err := m.Predict(s)
		require.NoError(t, err)
		require.InDelta(t, q.Shade.L, p.Shade.L, 0.7)
	}
}
