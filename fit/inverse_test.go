package fit

import (
	"math"
	"testing"

	"example.com/dosetone/datasets/published"
)

func statData(t testing.TB, file, x, y string) []Observation {
	t.Helper()
	c, err := published.StatColumns(file, x, y)
	if err != nil {
		t.Fatal(err)
	}
	data := make([]Observation, len(c[0]))
	for i := range data {
		data[i] = Observation{X: []float64{c[0][i]}, Y: c[1][i]}
	}
	return data
}

// Calibration examples: Graybill, Iyer 1994 and Racine-Poon 1988, as worked in
// Greenwell, Schubert Kabban, The R Journal 6(1) (2014) 90, and closed forms.
func TestCalibration(t *testing.T) {
	type closed struct {
		X0      float64
		DF      int
		Fieller [2]float64
		WaldSE  float64 `json:"wald_se"`
		Wald    [2]float64
		Inv     [2]float64 `json:"inversion"`
		Sigma   float64
	}
	var ref struct {
		Arsenic struct {
			Fit struct {
				Intercept, Slope, Sigma float64
				SE                      []float64
			}
			ClosedForm map[string]closed `json:"closed_form"`
		}
		WeakSlope struct {
			X, Y        []float64
			SecondRoots []float64 `json:"second_roots"`
		} `json:"weak_slope"`
		Nasturtium struct {
			Polished map[string]closed
		}
		LoadCell struct {
			Computed struct {
				StraightLine struct {
					LackOfFit struct {
						F float64
						P float64 `json:"p_value"`
					} `json:"lack_of_fit"`
				} `json:"straight_line"`
				Quadratic struct {
					Sigma     float64
					LackOfFit struct {
						F float64
						P float64 `json:"p_value"`
					} `json:"lack_of_fit"`
				}
				CalibrationQuadratic struct {
					Y0, X0 float64
					I      [2]float64 `json:"interval95_single_observation"`
				} `json:"calibration_quadratic"`
			}
		} `json:"load_cell"`
	}
	if err := published.StatJSON("calibration_inverse.json", &ref); err != nil {
		t.Fatal(err)
	}
	t.Run("arsenic", func(t *testing.T) {
		r, err := Regress(Polynomial(1), statData(t, "calibration_arsenic.csv", "actual", "measured"), nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		f := ref.Arsenic.Fit
		digits(t, "intercept", r.P[0], f.Intercept, 12)
		digits(t, "slope", r.P[1], f.Slope, 12)
		digits(t, "SE", r.SE()[0], f.SE[0], 10)
		digits(t, "SD", r.SD, f.Sigma, 12)
		// Three readings 3.17, 3.09, 3.16 of one sample.
		three := Target{Y: (3.17 + 3.09 + 3.16) / 3, M: 3, PooledDF: 2}
		for _, y := range []float64{3.17, 3.09, 3.16} {
			three.PooledSS += (y - three.Y) * (y - three.Y)
		}
		inv := Inverse{Result: r, Lo: -5, Hi: 15}
		for name, c := range map[string]struct {
			t     Target
			level float64
		}{
			"single_y0_3": {Target{Y: 3, M: 1}, 0.95}, "single_y0_3_90pct": {Target{Y: 3, M: 1}, 0.90},
			"mean_y0_3": {Target{Y: 3}, 0.95}, "mean_y0_3_90pct": {Target{Y: 3}, 0.90},
			"three_obs": {three, 0.95}, "three_obs_90pct": {three, 0.90},
		} {
			want := ref.Arsenic.ClosedForm[name]
			reg, err := inv.Fieller(c.t, c.level)
			if err != nil || reg.Kind != Segment {
				t.Fatalf("%s: %v %v", name, reg, err)
			}
			digits(t, name+" Fieller", reg.Lo, want.Fieller[0], 11)
			digits(t, name+" Fieller", reg.Hi, want.Fieller[1], 11)
			band, err := inv.Band(c.t, c.level)
			if err != nil || band.Kind != Segment {
				t.Fatalf("%s: %v %v", name, band, err)
			}
			digits(t, name+" band", band.Lo, want.Fieller[0], 10)
			digits(t, name+" band", band.Hi, want.Fieller[1], 10)
			x, se, ci, err := inv.Delta(c.t, c.level)
			if err != nil {
				t.Fatal(err)
			}
			digits(t, name+" x0", x, want.X0, 11)
			digits(t, name+" Wald SE", se, want.WaldSE, 9)
			digits(t, name+" Wald", ci.Lo, want.Wald[0], 9)
			digits(t, name+" Wald", ci.Hi, want.Wald[1], 9)
		}
		// For a straight line the profile is Fieller's region.
		p, err := inv.Profile(Target{Y: 3}, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		digits(t, "profile", p.Lo, ref.Arsenic.ClosedForm["mean_y0_3"].Fieller[0], 6)
		digits(t, "profile", p.Hi, ref.Arsenic.ClosedForm["mean_y0_3"].Fieller[1], 6)
	})
	t.Run("weak slope", func(t *testing.T) {
		var data []Observation
		for i, x := range ref.WeakSlope.X {
			data = append(data, Observation{X: []float64{x}, Y: ref.WeakSlope.Y[i]})
		}
		r, err := Regress(Polynomial(1), data, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		inv := Inverse{Result: r, Lo: -100, Hi: 100}
		if reg, err := inv.Fieller(Target{Y: 2.2}, 0.95); err != nil || reg.Kind != WholeLine {
			t.Errorf("y0 = 2.2: %v %v, want the whole line", reg, err)
		}
		reg, err := inv.Fieller(Target{Y: 4}, 0.95)
		if err != nil || reg.Kind != TwoHalfLines {
			t.Fatalf("y0 = 4: %v %v, want two half lines", reg, err)
		}
		digits(t, "lower half line", reg.Lo, ref.WeakSlope.SecondRoots[0], 9)
		digits(t, "upper half line", reg.Hi, ref.WeakSlope.SecondRoots[1], 9)
		band, err := inv.Band(Target{Y: 4}, 0.95)
		if err != nil || band.Kind != TwoHalfLines || math.Abs(band.Hi-reg.Hi) > 1e-9 {
			t.Errorf("band at y0 = 4: %v %v", band, err)
		}
	})
	t.Run("nasturtium", func(t *testing.T) {
		// theta1/(1+exp(theta2+theta3 ln x)) is a log-logistic to 0.
		r, err := Regress(Sigmoid{LogLogistic{}}, statData(t, "calibration_nasturtium.csv", "conc", "weight"), nil,
			&FitOptions{Fixed: map[string]float64{"infinite": 0}})
		if err != nil {
			t.Fatal(err)
		}
		inv := Inverse{Result: r, Lo: 1e-3, Hi: 10}
		y := (309.0 + 296 + 419) / 3
		ss := 0.0
		for _, v := range []float64{309, 296, 419} {
			ss += (v - y) * (v - y)
		}
		for name, c := range map[string]Target{
			"three_obs_stage1_variance_only": {Y: y, M: 3}, "three_obs_pooled_variance": {Y: y, M: 3, PooledSS: ss, PooledDF: 2},
			"mean_500": {Y: 500}, "single_500": {Y: 500, M: 1},
		} {
			want := ref.Nasturtium.Polished[name]
			reg, err := inv.Band(c, 0.95)
			if err != nil || reg.Kind != Segment {
				t.Fatalf("%s: %v %v", name, reg, err)
			}
			x, se, ci, err := inv.Delta(c, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			digits(t, name+" x0", x, want.X0, 8)
			digits(t, name+" SE", se, want.WaldSE, 7)
			digits(t, name+" Wald", ci.Lo, want.Wald[0], 7)
			digits(t, name+" band", reg.Lo, want.Inv[0], 7)
			digits(t, name+" band", reg.Hi, want.Inv[1], 7)
		}
		// The response to a huge dose is not known to be reached.
		if reg, err := inv.Band(Target{Y: 5, M: 1}, 0.95); err != nil || reg.Kind != HalfLineUp {
			t.Errorf("y0 = 5: %v %v, want a half line", reg, err)
		}
	})
	t.Run("load cell", func(t *testing.T) {
		data := statData(t, "nist_pontius_load_cell.csv", "load", "deflection")
		line, err := Regress(Polynomial(1), data, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		lof, err := line.LackOfFit()
		if err != nil {
			t.Fatal(err)
		}
		digits(t, "line F", lof.F, ref.LoadCell.Computed.StraightLine.LackOfFit.F, 6)
		digits(t, "line p", lof.P, ref.LoadCell.Computed.StraightLine.LackOfFit.P, 5)
		r, err := Regress(Polynomial(2), data, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		// NIST StRD Pontius, certified (from memory, reproduced in R).
		digits(t, "B0", r.P[0], 0.673565789473684e-3, 10)
		digits(t, "B1", r.P[1], 0.732059160401003e-6, 11)
		digits(t, "B2", r.P[2], -0.316081871345029e-14, 10)
		digits(t, "SD of B2", r.SE()[2], 0.486652849992036e-16, 9)
		if lof, err = r.LackOfFit(); err != nil {
			t.Fatal(err)
		}
		digits(t, "quadratic F", lof.F, ref.LoadCell.Computed.Quadratic.LackOfFit.F, 5)
		digits(t, "quadratic p", lof.P, ref.LoadCell.Computed.Quadratic.LackOfFit.P, 5)
		c := ref.LoadCell.Computed.CalibrationQuadratic
		reg, err := (Inverse{Result: r, Lo: 0, Hi: 3e6}).Band(Target{Y: c.Y0, M: 1}, 0.95)
		if err != nil || reg.Kind != Segment {
			t.Fatal(reg, err)
		}
		digits(t, "load", reg.Lo, c.I[0], 9)
		digits(t, "load", reg.Hi, c.I[1], 9)
	})
}

// Fieller's region is that of a straight line: other terms are refused, not taken
// for 1 and x.
func TestFiellerIsForStraightLines(t *testing.T) {
	var data []Observation
	for i := range 8 {
		x := float64(i) + 1
		data = append(data, Observation{X: []float64{x}, Y: 2 + 3*x + 0.1*float64(i%3)})
	}
	for name, c := range map[string]struct {
		basis    func(dst, x []float64)
		straight bool
	}{
		"1 and x":    {func(dst, x []float64) { dst[0], dst[1] = 1, x[0] }, true},
		"x and 1":    {func(dst, x []float64) { dst[0], dst[1] = x[0], 1 }, false},
		"1 and ln x": {func(dst, x []float64) { dst[0], dst[1] = 1, math.Log(x[0]) }, false},
	} {
		r, err := Regress(Linear{Names: []string{"a", "b"}, Basis: c.basis}, data, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		_, err = Inverse{Result: r}.Fieller(Target{Y: 10, M: 1}, 0.95)
		if c.straight != (err == nil) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
