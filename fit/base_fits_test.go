package fit

import (
	"math"
	"strings"
	"testing"

	"example.com/dosetone/datasets/published"
)

// The remaining reference fits: published curves outside the Sigmoid family,
// given as plain functions (derivatives by differences), and weighted fits.
func TestBaseReference(t *testing.T) {
	type fn = func(p, x []float64) float64
	exp := math.Exp
	cases := map[string]struct {
		names []string
		start []float64
		f     fn
	}{
		"DNase1_SSlogis":             {[]string{"Asym", "xmid", "scal"}, []float64{2, 1, 1}, func(p, x []float64) float64 { return p[0] / (1 + exp((p[1]-math.Log(x[0]))/p[2])) }},
		"DNase1_SSfpl":               {[]string{"A", "B", "xmid", "scal"}, []float64{0, 2, 1, 1}, func(p, x []float64) float64 { return p[0] + (p[1]-p[0])/(1+exp((p[2]-math.Log(x[0]))/p[3])) }},
		"DNase1_SSlogis_weighted":    {[]string{"Asym", "xmid", "scal"}, []float64{2, 1, 1}, func(p, x []float64) float64 { return p[0] / (1 + exp((p[1]-math.Log(x[0]))/p[2])) }},
		"Puromycin_treated":          {[]string{"Vm", "K"}, []float64{200, 0.05}, func(p, x []float64) float64 { return p[0] * x[0] / (p[1] + x[0]) }},
		"Puromycin_treated_weighted": {[]string{"Vm", "K"}, []float64{200, 0.05}, func(p, x []float64) float64 { return p[0] * x[0] / (p[1] + x[0]) }},
		"Puromycin_untreated":        {[]string{"Vm", "K"}, []float64{160, 0.05}, func(p, x []float64) float64 { return p[0] * x[0] / (p[1] + x[0]) }},
		"BOD_first_order":            {[]string{"A", "k"}, []float64{20, 0.5}, func(p, x []float64) float64 { return -p[0] * math.Expm1(-p[1]*x[0]) }},
		"BOD_first_order_lograte":    {[]string{"A", "lrc"}, []float64{20, -0.7}, func(p, x []float64) float64 { return -p[0] * math.Expm1(-exp(p[1])*x[0]) }},
		"Loblolly329_SSasymp":        {[]string{"Asym", "R0", "lrc"}, []float64{95, -8, -3}, func(p, x []float64) float64 { return p[0] + (p[1]-p[0])*exp(-exp(p[2])*x[0]) }},
		"Chick1_SSfpl":               {[]string{"A", "B", "xmid", "scal"}, []float64{30, 300, 18, 6}, func(p, x []float64) float64 { return p[0] + (p[1]-p[0])/(1+exp((p[2]-x[0])/p[3])) }},
		"Indometh1_SSbiexp":          {[]string{"A1", "lrc1", "A2", "lrc2"}, []float64{2, 0.5, 0.2, -1.5}, func(p, x []float64) float64 { return p[0]*exp(-exp(p[1])*x[0]) + p[2]*exp(-exp(p[3])*x[0]) }},
		"Theoph1_SSfol": {[]string{"lKe", "lKa", "lCl"}, []float64{-2.5, 0.5, -3}, func(p, x []float64) float64 {
			return 4.02 * exp(p[0]+p[1]-p[2]) * (exp(-exp(p[0])*x[0]) - exp(-exp(p[1])*x[0])) / (exp(p[1]) - exp(p[0]))
		}},
		"EXD2":      {[]string{"d", "e"}, []float64{3, 100}, func(p, x []float64) float64 { return p[0] * exp(-x[0]/p[1]) }},
		"EXD2_rate": {[]string{"d", "k"}, []float64{3, 0.01}, func(p, x []float64) float64 { return p[0] * exp(-x[0]*p[1]) }},
		"BC4":       {[]string{"b", "d", "e", "f"}, []float64{1.2, 1, 1, 1.5}, func(p, x []float64) float64 { return (p[1] + p[3]*x[0]) / (1 + math.Pow(x[0]/p[2], p[0])) }},
	}
	fits, err := published.DoseFits()
	if err != nil {
		t.Fatal(err)
	}
	done := 0
	for _, ref := range fits {
		id := ref.ID[strings.Index(ref.ID, "/")+1:]
		c, ok := cases[id]
		if !ok {
			continue
		}
		done++
		t.Run(id, func(t *testing.T) {
			data := doseData(t, ref.Data)
			for i, y := range data {
				switch id {
				case "DNase1_SSlogis_weighted":
					data[i].Weight = 1 / (y.Y * y.Y)
				case "Puromycin_treated_weighted":
					data[i].Weight = 1 / y.Y
				}
			}
			if id == "Theoph1_SSfol" {
				cols, err := published.DoseColumns("Theoph1.csv", "Time", "conc")
				if err != nil {
					t.Fatal(err)
				}
				for i := range data {
					data[i] = Observation{X: []float64{cols[0][i]}, Y: cols[1][i]}
				}
			}
			m := Func{Value: c.f}
			for _, n := range c.names {
				m.Parameters = append(m.Parameters, Param{Name: n})
			}
			r, err := Regress(m, data, Equal{}, &FitOptions{Start: c.start})
			if err != nil {
				t.Fatal(err)
			}
			if strings.Contains(id, "weighted") {
				// The reference's prediction intervals are at unit weight, as ours.
				ref.Fit.Profile = nil
			}
			compareFit(t, r, ref, nil)
		})
	}
	if done != len(cases) {
		t.Errorf("%d reference fits compared, want %d", done, len(cases))
	}
}

// TestSharedLimits fits two herbicides with common limits (S_alba), and the
// means of replicates with their numbers as weights.
func TestSharedLimits(t *testing.T) {
	cells, err := published.DoseData("S_alba.csv")
	if err != nil {
		t.Fatal(err)
	}
	cols, err := published.DoseColumns("S_alba.csv", "Dose", "DryMatter")
	if err != nil {
		t.Fatal(err)
	}
	fits, err := published.DoseFits()
	if err != nil {
		t.Fatal(err)
	}
	for _, ref := range fits {
		if !strings.HasPrefix(ref.ID, "S_alba/") {
			continue
		}
		kind := strings.TrimPrefix(ref.ID, "S_alba/")
		var data []Observation
		for i, row := range cells[1:] {
			g := 0.0
			if row[1] == "Bentazone" {
				g = 1
			}
			if kind == "shared" || kind == row[1] {
				data = append(data, Observation{X: []float64{cols[0][i], g}, Y: cols[1][i]})
			}
		}
		t.Run(kind, func(t *testing.T) {
			if kind != "shared" {
				r, err := Regress(Sigmoid{LogLogistic{}}, data, nil, nil)
				if err != nil {
					t.Fatal(err)
				}
				compareFit(t, r, ref, map[string]string{"b": "slope", "c": "infinite", "d": "zero", "e": "location"})
				return
			}
			m := Func{Value: func(p, x []float64) float64 {
				b, e := p[2], p[4]
				if x[1] == 1 {
					b, e = p[3], p[5]
				}
				return p[0] + (p[1]-p[0])/(1+math.Pow(x[0]/e, b))
			}}
			for _, n := range []string{"c", "d", "bG", "bB", "eG", "eB"} {
				m.Parameters = append(m.Parameters, Param{Name: n})
			}
			r, err := Regress(m, data, nil, &FitOptions{Start: []float64{0.5, 4, 2, 4, 60, 30}})
			if err != nil {
				t.Fatal(err)
			}
			digits(t, "RSS", r.RSS, ref.Fit.RSS, 9)
			want := 0
			for k, v := range ref.Fit.Parameters {
				digits(t, k, r.Value(k), v, 7)
				want++
			}
			if want < 6 {
				t.Errorf("only %d parameters compared of %v", want, ref.Fit.Parameters)
			}
		})
	}
}
