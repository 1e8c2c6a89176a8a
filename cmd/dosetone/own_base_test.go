package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// rollTrials are invented trials on rolls that differ by a tenth in dye; the garments of
// each load are read before it.
func rollTrials() string {
	random := rand.New(rand.NewPCG(21, 22))
	var b strings.Builder
	b.WriteString("lot,role,process,strength_pct,ratio,time_min,panel,illuminant,observer,L,a,b\n")
	row := func(lot, role, settings string, panel int, lightness float64) {
		fmt.Fprintf(&b, "%s,%s,permanganate-pellet,%s,%d,D65,10,%.2f,%.2f,%.2f\n", lot, role, settings, panel, lightness, -1-0.03*lightness, -22+0.25*lightness)
	}
	row("white", "white", ",,", 1, grayOf(0, 30))
	for i := range 16 {
		s, r, m := []float64{4, 9}[i/8], []float64{0.8, 1.6}[i/4%2], []float64{6, 10, 15, 24}[i%4]
		depth := 0.12 * random.NormFloat64()
		dose := 2.2 * s / 6 * r * math.Pow(m/12, 0.8) * math.Exp(0.03*random.NormFloat64())
		for panel := range 4 {
			own := depth + 0.01*random.NormFloat64()
			row(fmt.Sprintf("T%02d", i+1), "base", ",,", panel+1, grayOf(own, 0))
			row(fmt.Sprintf("T%02d", i+1), "trial", fmt.Sprintf("%g,%g,%g", s, r, m), panel+1, grayOf(own, dose))
		}
	}
	return b.String()
}

// grayOf is the L* of gray cloth whose dye of K/S 14 goes by first order.
func grayOf(depth, dose float64) float64 {
	ks := 0.05 + 14*math.Exp(depth-dose)
	return 116*math.Cbrt(1+ks-math.Sqrt(ks*ks+2*ks)) - 16
}

// What the base of a load is worth goes from the trials' own bases to predictions,
// suggestions and the judgment of a lot.
func TestOwnBaseOfALoad(t *testing.T) {
	t.Chdir(t.TempDir())
	require.NoError(t, os.WriteFile("rolls.csv", []byte(rollTrials()), 0o600))
	require.Contains(t, ok(t, "fit", "rolls.csv", "-o", "model.json", "--quiet"), "a load that starts 1 L* lighter ends")
	settings := []string{"predict", "model.json", "--strength", "6", "--ratio", "1.2", "--time", "12", "--format", "json", "--quiet"}
	at := func(args ...string) map[string]any {
		return decode[[]map[string]any](t, ok(t, append(append([]string{}, settings...), args...)...))[0]
	}
	lightness := func(p map[string]any) float64 { return p["shade"].(map[string]any)["L"].(float64) }
	width := func(p map[string]any) float64 {
		r := p["lot_interval"].(map[string]any)["L"].([]any)
		return r[1].(float64) - r[0].(float64)
	}
	light, dark, unnamed := at("--base-lightness", "23"), at("--base-lightness", "20"), at()
	require.Greater(t, lightness(light), lightness(dark)+2)
	require.Greater(t, width(unnamed), 1.05*width(at("--base-lightness", "21.5")))
	require.Contains(t, fmt.Sprint(unnamed["warnings"]), "base_lightness is not given")

	target := []string{"suggest", "model.json", "--lab", "50,-2.5,-9.5", "--format", "json", "--quiet"}
	pass := func(args ...string) float64 {
		return decode[[]map[string]any](t, ok(t, append(append([]string{}, target...), args...)...))[0]["best_pass_probability"].(float64)
	}
	require.Greater(t, pass("--base-lightness", "22"), pass()+0.05)
	require.Contains(t, tool(t, "", "suggest", "model.json", "--lab", "50,-2.5,-9.5").err, "base_lightness is not given")
	refused := tool(t, "", "suggest", "model.json", "--lab", "50,-2.5,-9.5", "--min-base-lightness", "22")
	require.Equal(t, exitUsage, refused.code)

	// A lot that is as light as its lighter cloth makes it had the dose of its settings.
	lot := "lot,role,process,strength_pct,ratio,time_min,panel,illuminant,observer,L,a,b\n"
	dose := 2.2 * 1.2
	for panel := range 4 {
		for _, r := range []struct {
			role, settings string
			dose           float64
		}{{"base", ",,", 0}, {"production", "6,1.2,12", dose}} {
			l := grayOf(-0.25, r.dose) + 0.1*float64(panel%2)
			lot += fmt.Sprintf("P1,%s,permanganate-pellet,%s,%d,D65,10,%.2f,%.2f,%.2f\n", r.role, r.settings, panel+1, l, -1-0.03*l, -22+0.25*l)
		}
	}
	s := grayOf(0, dose)
	require.NoError(t, os.WriteFile("standard.csv", fmt.Appendf(nil, "id,illuminant,observer,L,a,b\nS,D65,10,%.2f,%.2f,%.2f\n", s, -1-0.03*s, -22+0.25*s), 0o600))
	judged := func(lot string) map[string]any {
		require.NoError(t, os.WriteFile("lot.csv", []byte(lot), 0o600))
		r := tool(t, "", "check", "lot.csv", "--standard", "standard.csv", "--model", "model.json", "--format", "json", "--quiet")
		require.Equal(t, exitOutside, r.code, r.err)
		return decode[map[string]any](t, r.out)
	}
	own, other := judged(lot), judged(strings.ReplaceAll(lot, "P1,base", "B,base"))
	require.InDelta(t, 0, own["dose_residual_z"], 0.4)
	require.Greater(t, other["dose_residual_z"], 0.8)
	require.Equal(t, "different base fabric", own["likely_cause"])
	require.Equal(t, "over-discharged", other["likely_cause"])
}
