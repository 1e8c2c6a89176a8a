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

// bath is a laundry in closed form, of ours: shades by strength, liquor, minutes and temperature of a
// reaction of 60 kJ/mol (Arrhenius), 18 trials with a drifting bath, and lots after them.
func bath(t *testing.T, more func(lot func(name, role string, strength, liquor, minutes, warm, share float64))) (*discharge.Table, *discharge.Model, discharge.Target) {
	const gas, activation = 8.314462618, 60e3 // J/(mol K), CODATA; J/mol
	// share of the oxidizer is alive.
	shade := func(strength, liquor, minutes, warm, share float64) colorimetry.Lab {
		dose := share * 0.9 * strength / 1.7 * math.Pow(liquor/10, 0.4) * minutes / 20 * math.Exp(-activation/gas*(1/(warm+273.15)-1/(40+273.15)))
		l := 80 - 60*math.Exp(-math.Pow(dose, 1.3))
		return colorimetry.Lab{L: l, A: -1 - 0.03*l, B: -22 + 0.25*l}
	}
	random := rand.New(rand.NewPCG(5, 7))
	var b strings.Builder
	b.WriteString("lot,role,process,strength_gpl,liquor_ratio,time_min,temp_c,panel,illuminant,observer,L,a,b\n")
	row := func(lot, role, settings string, panel int, c colorimetry.Lab) {
		fmt.Fprintf(&b, "%s,%s,hypochlorite-bath,%s,%d,D65,10,%.3f,%.3f,%.3f\n", lot, role, settings, panel, c.L+0.2*random.NormFloat64(), c.A, c.B)
	}
	lot := func(name, role string, strength, liquor, minutes, warm, share float64) {
		for panel := range 4 {
			row(name, role, fmt.Sprintf("%g,%g,%g,%.1f", strength, liquor, minutes, warm), panel+1, shade(strength, liquor, minutes, warm, share))
		}
	}
	row("base", "base", ",,,", 1, shade(0, 10, 20, 40, 1))
	row("white", "white", ",,,", 1, shade(100, 10, 20, 40, 1))
	n := 0
	for _, s := range []float64{1, 1.7, 3} {
		for _, v := range []float64{8, 14} {
			for _, m := range []float64{12, 20, 35} {
				n++
				lot(fmt.Sprintf("T%02d", n), "trial", s, v, m, 40+1.5*random.NormFloat64(), 1)
			}
		}
	}
	more(lot)
	table, err := discharge.ReadTable("lots.csv", strings.NewReader(b.String()), nil)
	require.NoError(t, err)
	m, err := discharge.Fit(table, nil)
	require.NoError(t, err)
	return table, m, discharge.Target{ID: "S", Viewing: m.Viewing(), Lab: shade(1.7, 10, 18, 40, 1)}
}

// A bath that was ten degrees hotter than its trials is told by its temperature, not by its
// settings, which nobody is to change for it.
func TestAHotBathIsToldByItsTemperature(t *testing.T) {
	table, m, standard := bath(t, func(lot func(name, role string, strength, liquor, minutes, warm, share float64)) {
		lot("HOT", "production", 1.7, 10, 18, 50, 1)
		lot("LONG", "production", 1.7, 10, 34, 40, 1)
	})
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

// The deader the oxidizer, the surer it must be found: lots that it leaves at base lie where a
// shade hardly tells dose, and still had far less than their settings promise. Longer next
// lots would be ruined by the next good delivery (common practice, no source).
func TestADeadOxidizerIsAnUpsetAndNoReasonForLongerLots(t *testing.T) {
	for _, share := range []float64{0.5, 0.2, 0.05, 0.01} {
		table, m, standard := bath(t, func(lot func(name, role string, strength, liquor, minutes, warm, share float64)) {
			for i := range 4 {
				lot(fmt.Sprintf("D%d", i), "production", 1.7, 10, 18, 40, share)
			}
		})
		ledger := &quality.Ledger{}
		for _, l := range table.ByRole(discharge.Production) {
			r, err := quality.Judge(table, l, standard, &quality.Options{Model: m})
			require.NoError(t, err)
			require.Equal(t, quality.UnderDischarged, r.Causes[0].Fault)
			require.Contains(t, r.Causes[0].Remedy, "find what went wrong with this lot", share)
			require.NotContains(t, r.Causes[0].Remedy, "longer", share)
			require.Less(t, r.Split.Residual.LnDose, math.Log(0.7), share)
			// As strength, which dose has a power of; a bound says no more than there is.
			require.Greater(t, m.Strength(r.Split.Residual.LnDose, 0)[1], 0.8*share)
			require.NoError(t, ledger.Add(quality.NewEntry(r, l, m, "")))
		}
		trend, err := ledger.Monitor(m.Digest())
		require.NoError(t, err)
		require.True(t, trend.Drifted, "%g: %v", share, trend.Words)
		require.Less(t, trend.DoseShiftPct, -20.0, share)
	}
}

// A bath whose temperature or liquor lies where no trial was is told by it first, whatever little
// is known of what it does, and a second pass is not run there again.
func TestWhatStandsOutsideTheTrialsIsNamedFirst(t *testing.T) {
	table, m, standard := bath(t, func(lot func(name, role string, strength, liquor, minutes, warm, share float64)) {
		lot("COLD", "production", 1.7, 10, 18, 25, 1)
		lot("DEAD", "production", 1.7, 10, 18, 60, 0.05)
	})
	for _, l := range table.ByRole(discharge.Production) {
		r, err := quality.Judge(table, l, standard, &quality.Options{Model: m})
		require.NoError(t, err)
		require.Equal(t, quality.UnderDischarged, r.Causes[0].Fault)
		require.Contains(t, r.Causes[0].Evidence, fmt.Sprintf("its temp_c of %g °C, where the trials had", l.Settings["temp_c"]))
		require.Contains(t, r.Causes[0].Remedy, "bring temp_c back to what ")
		require.NotContains(t, r.Causes[0].Remedy, "longer")
		require.True(t, r.Correction.Possible, r.Correction.Why)
		require.InDelta(t, 40, r.Correction.Settings["temp_c"], 2)
	}
}
