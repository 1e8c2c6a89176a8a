package discharge_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge"
)

// A charge that is lost in the first order (integrated rate law, any textbook of
// kinetics) gives dose as K·(1 - exp(-t/τ)), a fresh one the same again. A second
// pass must not be said to take much longer than it does, for what is taken too far
// cannot be put back, nor nothing.
func TestQuickestPassOfChargesThatSpendThemselves(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for _, tau := range []float64{8, 17, 60, 1e6} {
		for _, order := range []float64{0.7, 0.85, 1} {
			rate := 0.9 / (-math.Expm1(-12 / tau)) / math.Pow(6, order)
			dose := func(strength, ratio, minutes float64) float64 {
				return rate * math.Pow(strength, order) * math.Pow(ratio, 0.8) * -math.Expm1(-minutes/tau)
			}
			table, err := discharge.ReadTable("trials.csv", strings.NewReader(trialsOf(func(s, r, m float64) float64 {
				return dose(s, r, m) * math.Exp(0.04*random.NormFloat64())
			})), nil)
			require.NoError(t, err)
			m := fitted(t, table)
			at := func(d float64) float64 { return m.LevelOf(lightnessOf(d)) }
			for _, share := range []float64{0.1, 0.2, 0.3} {
				whole := dose(6, 1, 12)
				need := share * whole
				truth := -tau * math.Log1p(-need/dose(6, 1, math.Inf(1)))
				got, ok, err := m.QuickestPass(discharge.Settings{"strength_gpl": 6, "ratio": 1}, at(whole-need), at(whole))
				require.NoError(t, err)
				require.True(t, ok)
				t.Logf("loss in %g min, order %g, %g %% lacking: %.2f of %.2f min", tau, order, 100*share, got, truth)
				require.Less(t, got, 1.25*truth)
				require.Greater(t, got, 0.5*truth)
			}
		}
	}
}

// lightnessOf is a closed form of ours between L* 20 and 80.
func lightnessOf(dose float64) float64 { return 80 - 60*math.Exp(-math.Pow(dose, 1.3)) }

// trialsOf is a trial table on three levels of each factor, of lots that get the
// dose of their settings.
func trialsOf(dose func(strength, ratio, minutes float64) float64) string {
	var b strings.Builder
	b.WriteString("lot,role,process,strength_gpl,ratio,time_min,panel,illuminant,observer,L,a,b\n")
	row := func(lot, role, settings string, panel int, lightness float64) {
		fmt.Fprintf(&b, "%s,%s,permanganate-stone,%s,%d,D65,10,%.3f,%.3f,%.3f\n", lot, role, settings, panel, lightness, -1-0.03*lightness, -22+0.25*lightness)
	}
	row("base", "base", ",,", 1, 20)
	row("white", "white", ",,", 1, 80)
	n := 0
	for _, s := range []float64{4, 6, 9} {
		for _, r := range []float64{0.7, 1, 1.4} {
			for _, t := range []float64{6, 12, 24} {
				n++
				settings := fmt.Sprintf("%g,%g,%g", s, r, t)
				l := lightnessOf(dose(s, r, t))
				for panel := range 4 {
					row(fmt.Sprintf("T%02d", n), "trial", settings, panel+1, l+0.3*(float64(panel)-1.5))
				}
			}
		}
	}
	return b.String()
}
