package fit

import (
	"math"
	"strconv"
	"testing"

	"example.com/dosetone/datasets/published"
)

func parseFloat(s string) (float64, error) { return strconv.ParseFloat(s, 64) }

func TestControlConstants(t *testing.T) {
	c, err := published.StatColumns("control_chart_constants.csv", "n", "d2", "d3", "c4", "A", "A2", "A3", "B3", "B4", "B5", "B6", "D1", "D2", "D3", "D4", "E2")
	if err != nil {
		t.Fatal(err)
	}
	for i := range c[0] {
		k, err := NewControlConstants(int(c[0][i]))
		if err != nil {
			t.Fatal(err)
		}
		for j, got := range []float64{k.D2, k.D3, k.C4, k.A, k.A2, k.A3, k.B3, k.B4, k.B5, k.B6, k.DD1, k.DD2, k.DD3, k.DD4, k.E2} {
			if want := c[j+1][i]; math.Abs(got-want) > 2e-8*math.Max(1, want) {
				t.Errorf("n=%d constant %d: %.10g, want %.10g", k.N, j, got, want)
			}
		}
	}
}

// NIST e-Handbook 6.3.2.4.
func TestEWMA(t *testing.T) {
	var ref struct {
		Data, EWMA     []float64
		Target, S      float64
		Lambda, K      float64
		UCL            []float64 `json:"UCL_exact"`
		LCL            []float64 `json:"LCL_exact"`
		UCLA           float64   `json:"UCL_asymptotic"`
		HandbookPrints struct{ UCL float64 }
	}
	if err := published.StatJSON("ewma_nist.json", &ref); err != nil {
		t.Fatal(err)
	}
	pts, err := (EWMA{Target: ref.Target, Sigma: ref.S, Lambda: ref.Lambda, K: ref.K}).Run(ref.Data)
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range pts {
		digits(t, "EWMA", p.Z, ref.EWMA[i+1], 12)
		digits(t, "upper limit", p.Hi, ref.UCL[i], 10)
		digits(t, "lower limit", p.Lo, ref.LCL[i], 10)
		if p.Out {
			t.Errorf("point %d out of control", i)
		}
	}
	if _, err := (EWMA{Lambda: 0}).Run(nil); err == nil {
		t.Error("no error for λ = 0")
	}
}

// Critical values by formula (R), and the uranium example of e-Handbook
// 1.3.5.17.1: G = 2.4687, critical 2.032 one-sided (from memory, reproduced).
func TestGrubbs(t *testing.T) {
	c, err := published.StatColumns("grubbs_critical.csv", "n", "one_sided_0.05", "one_sided_0.025", "one_sided_0.01")
	if err != nil {
		t.Fatal(err)
	}
	for i := range c[0] {
		for j, a := range []float64{0.05, 0.025, 0.01} {
			if got := GrubbsCritical(int(c[0][i]), a); math.Abs(got-c[j+1][i]) > 1e-8 {
				t.Errorf("n=%g α=%g: %.10g, want %.10g", c[0][i], a, got, c[j+1][i])
			}
		}
	}
	u := []float64{199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57}
	i, g, crit, err := Grubbs(u, 0.10)
	if err != nil || i != 7 || math.Abs(g-2.4687) > 1e-4 || math.Abs(crit-2.032) > 5e-4 {
		t.Errorf("uranium: value %d, G = %.4f, critical %.4f, %v", i, g, crit, err)
	}
}
