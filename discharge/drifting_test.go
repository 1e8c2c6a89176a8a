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

// Bath trials whose temperature is not one of the grid: by the Arrhenius equation (any
// textbook of kinetics) rates grow by exp(-E/R·(1/T - 1/T0)).
func bathTrials(t *testing.T, activation float64, temperature func(lot int, r *rand.Rand) float64) *discharge.Table {
	t.Helper()
	const gas = 8.314462618 // J/(mol K), CODATA
	random := rand.New(rand.NewPCG(5, 6))
	var b strings.Builder
	b.WriteString("lot,role,process,strength_gpl,liquor_ratio,time_min,temp_c,panel,illuminant,observer,L,a,b\n")
	row := func(lot, role, settings string, panel int, lightness float64) {
		fmt.Fprintf(&b, "%s,%s,hypochlorite-bath,%s,%d,D65,10,%.3f,%.3f,%.3f\n", lot, role, settings, panel, lightness, -1-0.03*lightness, -22+0.25*lightness)
	}
	row("base", "base", ",,,", 1, 20)
	row("white", "white", ",,,", 1, 80)
	lot := 0
	for _, s := range []float64{1, 1.7, 3} {
		for _, v := range []float64{8, 14} {
			for _, m := range []float64{8, 14, 25} {
				lot++
				warm := temperature(lot, random)
				rate := math.Exp(-activation / gas * (1/(warm+273.15) - 1/(36+273.15)))
				dose := 0.9 * s / 1.7 * math.Pow(v/10, 0.4) * m / 14 * rate * math.Exp(0.04*random.NormFloat64())
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

// A temperature that wandered by a few degrees is none of the dials that suggestions
// turn, but where the dose hangs on it they say at which value they hold.
func TestWhatDriftedIsSaidWhereItMatters(t *testing.T) {
	wandering := func(_ int, r *rand.Rand) float64 { return 36 + 5*(r.Float64()-0.5) }
	settings := discharge.Settings{"strength_gpl": 1.7, "liquor_ratio": 10, "time_min": 14}
	for activation, want := range map[float64]bool{90e3: true, 0: false} {
		m := fitted(t, bathTrials(t, activation, wandering))
		full, said := m.FillIn(settings)
		_, filled := full["temp_c"]
		require.Equal(t, want, filled, "activation energy %g", activation)
		require.Equal(t, want, len(said) == 1, "%q", said)
		s, err := m.Suggest(discharge.Target{ID: "t", Viewing: m.Viewing(), Lab: colorimetry.Lab{L: 50, A: -2.5, B: -9.5}}, nil)
		require.NoError(t, err)
		require.NotEmpty(t, s.List)
		at, named := s.List[0].Settings["temp_c"]
		require.Equal(t, want, named, "%v", s.List[0].Settings)
		if named {
			require.InDelta(t, 36, at, 1)
			// It is the very number that makes the shade.
			p, err := m.Predict(s.List[0].Settings)
			require.NoError(t, err)
			require.InDelta(t, s.List[0].Shade.L, p.Shade.L, 1e-9)
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
	m := fitted(t, bathTrials(t, 60e3, func(lot int, _ *rand.Rand) float64 { return 33.5 + 5*float64(lot%2) }))
	for _, f := range m.Factors() {
		if f.Column == "temp_c" {
			require.True(t, f.Chosen)
		}
	}
}
