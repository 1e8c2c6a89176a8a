package discharge

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// ozoneTrials are lots of 3 × 3 × 2 settings of strength, time and flow, a closed form of ours: the dose
// is what is fed in, to the power 0.7 of the flow (it slips out), over the load; moisture does
// nothing.
func ozoneTrials(t *testing.T, flows []float64, lots func(strength, minutes, flow, load float64) float64) *Table {
	random := rand.New(rand.NewPCG(3, 1))
	var b strings.Builder
	b.WriteString("lot,role,process,strength_gnm3,moisture_pct,time_min,flow_nm3pmin,load_kg,panel,illuminant,observer,L,a,b\n")
	row := func(lot, role, settings string, eta float64) {
		for panel := range 3 {
			l, a, bb := shadeOf(eta + 0.02*random.NormFloat64())
			fmt.Fprintf(&b, "%s,%s,ozone-gas,%s,%d,D65,10,%.3f,%.3f,%.3f\n", lot, role, settings, panel+1, l, a, bb)
		}
	}
	row("base", "base", ",,,,", -20)
	row("white", "white", ",,,,", 20)
	n := 0
	for _, strength := range []float64{40, 60, 90} {
		for _, minutes := range []float64{8, 13, 20} {
			for _, flow := range flows {
				n++
				row(fmt.Sprintf("T%02d", n), "trial", fmt.Sprintf("%g,%g,%g,%g,50", strength, []float64{40, 55}[n/2%2], minutes, flow), lots(strength, minutes, flow, 50)+0.05*random.NormFloat64())
			}
		}
	}
	table, err := ReadTable("ozone.csv", strings.NewReader(b.String()), nil)
	require.NoError(t, err)
	return table
}

func ozoneDose(strength, minutes, flow, load float64) float64 {
	return 1.6 * math.Log(strength/60*minutes/13*math.Pow(flow/0.6, 0.7)*50/load)
}

// What is fed in is strength × flow × time, so the flow acts as well: where trials varied it, it is
// learned; where all had one, another makes predictions much less sure, and so does another load.
func TestFlowAndLoadOfOzoneCount(t *testing.T) {
	settings := func(flow, load float64) Settings {
		return Settings{"strength_gnm3": 60, "moisture_pct": 55, "time_min": 13, "flow_nm3pmin": flow, "load_kg": load}
	}
	one, err := Fit(ozoneTrials(t, []float64{0.6}, ozoneDose), nil)
	require.NoError(t, err)
	same, err := one.Predict(settings(0.6, 50))
	require.NoError(t, err)
	require.False(t, same.Extrapolated)
	for _, s := range []Settings{settings(0.4, 50), settings(1, 50), settings(0.6, 30), settings(0.6, 80)} {
		p, err := one.Predict(s)
		require.NoError(t, err)
		require.True(t, p.Extrapolated, s)
		l, _, _ := shadeOf(ozoneDose(60, 13, s["flow_nm3pmin"], s["load_kg"]))
		lo, hi := p.Interval(0, 0.95)
		require.True(t, lo < l && l < hi, "%v: L* %.1f, %.1f to %.1f", s, l, lo, hi)
		require.InDelta(t, same.Shade.L, p.Shade.L, 1.5, "which way is not known")
	}
	two, err := Fit(ozoneTrials(t, []float64{0.4, 0.9}, ozoneDose), nil)
	require.NoError(t, err)
	for _, flow := range []float64{0.45, 0.6, 0.8} {
		p, err := two.Predict(settings(flow, 50))
		require.NoError(t, err)
		l, _, _ := shadeOf(ozoneDose(60, 13, flow, 50))
		require.InDelta(t, l, p.Shade.L, 1.5, flow)
		require.False(t, p.Extrapolated)
	}
}
