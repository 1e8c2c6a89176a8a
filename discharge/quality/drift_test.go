package quality_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
)

// A bath that was ten degrees hotter than its trials is told by its temperature, not by its
// settings, which nobody is to change for it. Reactions of 60 kJ/mol (Arrhenius), a closed form
// of ours for the rest.
func TestAHotBathIsToldByItsTemperature(t *testing.T) {
	const gas, activation = 8.314462618, 60e3 // J/(mol K), CODATA; J/mol
	shade := func(strength, liquor, minutes, warm float64) colorimetry.Lab {
		dose := 0.9 * strength / 1.7 * math.Pow(liquor/10, 0.4) * minutes / 20 * math.Exp(-activation/gas*(1/(warm+273.15)-1/(40+273.15)))
		l := 80 - 60*math.Exp(-math.Pow(dose, 1.3))
		return colorimetry.Lab{L: l, A: -1 - 0.03*l, B: -22 + 0.25*l}
	}
	random := rand.New(rand.NewPCG(5, 7))
	var b strings.Builder
	b.WriteString("lot,role,process,strength_gpl,liquor_ratio,time_min,temp_c,panel,illuminant,observer,L,a,b\n")
	row := func(lot, role, settings string, panel int, c colorimetry.Lab) {
		fmt.Fprintf(&b, "%s,%s,hypochlorite-bath,%s,%d,D65,10,%.3f,%.3f,%.3f\n", lot, role, settings, panel, c.L+0.2*random.NormFloat64(), c.A, c.B)
	}
	lot := func(name, role string, strength, liquor, minutes, warm float64) {
		for panel := range 4 {
			row(name, role, fmt.Sprintf("%g,%g,%g,%.1f", strength, liquor, minutes, warm), panel+1, shade(strength, liquor, minutes, warm))
		}
	}
	row("base", "base", ",,,", 1, shade(0, 10, 20, 40))
	row("white", "white", ",,,", 1, shade(100, 10, 20, 40))
	n := 0
	for _, s := range []float64{1, 1.7, 3} {
		for _, v := range []float64{8, 14} {
			for _, m := range []float64{12, 20, 35} {
				n++
				lot(fmt.Sprintf("T%02d", n), "trial", s, v, m, 40+1.5*random.NormFloat64())
			}
		}
	}
	lot("HOT", "production", 1.7, 10, 18, 50)
	lot("LONG", "production", 1.7, 10, 34, 40)
	table, err := discharge.ReadTable("lots.csv", strings.NewReader(b.String()), nil)
	require.NoError(t, err)
	m, err := discharge.Fit(table, nil)
	require.NoError(t, err)
	standard := discharge.Target{ID: "S", Viewing: m.Viewing(), Lab: shade(1.7, 10, 18, 40)}
	judged := func(id string) quality.Cause {
		for _, l := range table.Lots {
			if l.ID == id {
				r, err := quality.Judge(table, l, standard, &quality.Options{Model: m})
				require.NoError(t, err)
				require.Equal(t, quality.OverDischarged, r.Causes[0].Fault)
				return r.Causes[0]
			}
		}
		return quality.Cause{}
	}
	hot := judged("HOT")
	require.Contains(t, hot.Evidence, "its temp_c of 50 °C, where the trials had")
	require.Contains(t, hot.Remedy, "bring temp_c back to what it was in the trials")
	require.NotContains(t, hot.Remedy, "shorten")
	long := judged("LONG")
	require.Contains(t, long.Evidence, "the settings themselves promise")
	require.Contains(t, long.Remedy, "shorten the next lots")
}
