package discharge

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A larger laundry: five factors of a process of its own, bases of loads, three drums, two denims. That is
// more than eight, and all are told apart. Closed form of ours: drums give 1, 1.5 and 0.7 times the
// dose, the second denim takes half of it.
func TestManyMachinesAndFabricsOfAnOwnProcess(t *testing.T) {
	own, err := ReadProcess("own.json", strings.NewReader(`{"id": "own-bath", "title": "a bath of our own", "oxidizer": "invented", "factors": [
		{"column": "strength_gpl", "title": "strength", "unit": "g/L", "transform": "log", "typical": [2, 20], "increases": true},
		{"column": "liquor_ratio", "title": "liquor", "unit": "L/kg", "transform": "log", "typical": [5, 15]},
		{"column": "time_min", "title": "time", "unit": "min", "transform": "log", "typical": [5, 60], "increases": true},
		{"column": "temp_c", "title": "temperature", "unit": "°C", "transform": "inverse_kelvin", "typical": [30, 80], "increases": true},
		{"column": "alkali_gpl", "title": "alkali", "unit": "g/L", "transform": "log", "typical": [1, 6], "increases": true}]}`))
	require.NoError(t, err)
	_, ok := own.Factor(baseColumn)
	require.True(t, ok, "any load may be read before it")
	random := rand.New(rand.NewPCG(9, 4))
	var b strings.Builder
	b.WriteString("lot,role,process,fabric,machine,strength_gpl,liquor_ratio,time_min,temp_c,alkali_gpl,panel,illuminant,observer,L,a,b\n")
	row := func(lot, role, settings string, eta float64) {
		for panel := range 3 {
			l, a, bb := shadeOf(eta + 0.02*random.NormFloat64())
			fmt.Fprintf(&b, "%s,%s,own-bath,%s,%d,D65,10,%.3f,%.3f,%.3f\n", lot, role, settings, panel+1, l, a, bb)
		}
	}
	fabrics, drums := []string{"elm", "oak"}, []string{"A", "B", "C"}
	for _, f := range fabrics {
		row("base-"+f, "base", f+",,,,,,", -20)
		row("white-"+f, "white", f+",,,,,,", 20)
	}
	gain := map[string]float64{"elm": 1, "oak": 0.5, "A": 1, "B": 1.5, "C": 0.7}
	for n := range 72 {
		u := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, random.Float64()) }
		s, v, m, c, k := u(4, 16), u(6, 12), u(10, 40), 50+30*random.Float64(), u(1, 6)
		f, d := fabrics[n%2], drums[n%3]
		eta := 1.3*math.Log(gain[f]*gain[d]*s/8*math.Sqrt(m/20)*math.Pow(k/2.4, 0.4)) + 0.04*(c-65) + 0.05*random.NormFloat64()
		row(fmt.Sprintf("T%02d", n), "trial", fmt.Sprintf("%s,%s,%.3f,%.3f,%.2f,%.1f,%.3f", f, d, s, v, m, c, k), eta)
	}
	table, err := ReadTable("lots.csv", strings.NewReader(b.String()), &ReadOptions{Processes: []Process{own}})
	require.NoError(t, err)
	m, err := Fit(table, &FitOptions{Process: own, Fabric: "elm", Machine: "A"})
	require.NoError(t, err)
	found := map[string]float64{}
	for _, o := range m.Others() {
		// Dose has the curve's unit: strength has none.
		found[o.Fabric+o.Machine] = m.Strength(o.Shift, o.ShiftSD)[1]
	}
	for name, want := range gain {
		if want != 1 {
			require.InDelta(t, want, found[name], 0.12*want, "%s: %v", name, found)
		}
	}
}
