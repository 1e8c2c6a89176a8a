package discharge

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What is weighed on garment is diluted by more liquor, so an enzyme bath may
// discharge less with it (by definition: g/L = 10 · % on garment / (L/kg)). A
// bath whose dose is concentration × time must be learned as such, and one in
// which liquor helps as that.
func TestLiquorOfALaccaseBathActsAsTheTrialsSay(t *testing.T) {
	for _, power := range []float64{-1, 0.5} {
		shade := func(strength, liquor, time float64) (l, a, b float64) {
			eta := math.Log(strength/1.2) + power*math.Log(liquor/8.5) + math.Log(time/30)
			s := 1 / (1 + math.Exp(-eta))
			return 24 + 60*s, -0.5 - 8*s*(1-s), -12 + 4*s - 6*s*(1-s)
		}
		var file strings.Builder
		file.WriteString("lot,role,process,strength_pct,liquor_ratio,time_min,panel,illuminant,observer,L,a,b\n")
		row := func(lot, role, settings string, panel int, l, a, b float64) {
			fmt.Fprintf(&file, "%s,%s,laccase-bath,%s,%d,D65,10,%.3f,%.3f,%.3f\n", lot, role, settings, panel, l, a, b)
		}
		row("base", "base", ",,", 1, 24, -0.5, -12)
		row("white", "white", ",,", 1, 84, -0.5, -8)
		n := 0
		for _, strength := range []float64{0.6, 2.4} {
			for _, liquor := range []float64{6, 12} {
				for _, time := range []float64{15, 30, 60} {
					n++
					for panel, factor := range []float64{0.98, 1, 1.02} { // of dose
						l, a, b := shade(strength*factor, liquor, time)
						row(fmt.Sprintf("T%d", n), "trial", fmt.Sprintf("%g,%g,%g", strength, liquor, time), panel+1, l, a, b)
					}
				}
			}
		}
		table, err := ReadTable("laccase.csv", strings.NewReader(file.String()), nil)
		require.NoError(t, err)
		m, err := Fit(table, nil)
		require.NoError(t, err)
		for _, liquor := range []float64{6, 8, 10, 12} {
			p, err := m.Predict(Settings{"strength_pct": 1.2, "liquor_ratio": liquor, "time_min": 40})
			require.NoError(t, err)
			l, _, _ := shade(1.2, liquor, 40)
			assert.InDelta(t, l, p.Shade.L, 0.5, "power %g, %g L/kg", power, liquor)
		}
	}
}
