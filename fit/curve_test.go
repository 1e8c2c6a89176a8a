package fit

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func allCurves() []Curve {
	return []Curve{LogLogistic{}, Weibull1{}, Weibull2{}, LogNormal{}, FirstOrder{},
		OrderM{0.5}, OrderM{1}, OrderM{1 + 1e-12}, OrderM{1.3}, OrderM{2}, OrderM{4}, Richards{0.3}, Richards{1}, Richards{5}}
}

// Definitions, computed here in another way (big exponents are avoided).
func TestCurveDefinitions(t *testing.T) {
	for eta := -5.0; eta <= 5; eta += 0.25 {
		e := math.Exp(eta)
		for _, c := range []struct {
			curve Curve
			want  float64
		}{
			{LogLogistic{}, e / (1 + e)},
			{Weibull1{}, 1 - math.Exp(-e)},
			{Weibull2{}, math.Exp(-1 / e)},
			{FirstOrder{}, 1 - math.Exp(-e)},
			{OrderM{2}, e / (1 + e)},
			{OrderM{3}, 1 - 1/math.Sqrt(1+2*e)},
			{OrderM{1.5}, 1 - math.Pow(1+0.5*e, -2)},
			{Richards{2}, 1 - 1/((1+e)*(1+e))},
		} {
			if got := c.curve.At(eta); math.Abs(got-c.want) > 1e-15 {
				t.Errorf("%s at %g: %.17g, want %.17g", c.curve.Name(), eta, got, c.want)
			}
		}
	}
	// Standard normal quantile, any table: Φ(1.959964) = 0.975.
	if got := (LogNormal{}).Inverse(0.975); math.Abs(got-1.959963984540054) > 1e-14 {
		t.Errorf("Φ⁻¹(0.975) = %.16g", got)
	}
}

func TestCurveLaws(t *testing.T) {
	for _, c := range allCurves() {
		rapid.Check(t, func(t *rapid.T) {
			eta := rapid.Float64Range(-12, 12).Draw(t, "eta")
			f, rem, s := c.At(eta), c.Remaining(eta), c.Slope(eta)
			if math.Abs(f+rem-1) > 4e-16 || f < 0 || f > 1 || s < 0 {
				t.Fatalf("%s: F=%g 1-F=%g slope=%g", c.Name(), f, rem, s)
			}
			const h = 1e-5
			if d := (c.At(eta+h) - c.At(eta-h)) / (2 * h); math.Abs(d-s) > 1e-7 {
				t.Fatalf("%s: slope %g, difference quotient %g", c.Name(), s, d)
			}
			if f > 1e-300 && f < 0.999 && s > 1e-300 {
				if back := c.Inverse(f); math.Abs(back-eta)*s > 1e-14*math.Max(1, math.Abs(eta))*f+4e-16 && math.Abs(back-eta) > 1e-13*math.Max(1, math.Abs(eta)) {
					t.Fatalf("%s: inverse of F(%g) is %g", c.Name(), eta, back)
				}
			}
			if sh, ok := c.(ShapedCurve); ok {
				v := sh.Shape()
				d := (sh.WithShape(v+h).At(eta) - sh.WithShape(v-h).At(eta)) / (2 * h)
				if want := sh.ShapeSlope(eta); math.Abs(d-want) > 1e-6*math.Max(1, math.Abs(want)) {
					t.Fatalf("%s(%g) at %g: shape slope %g, difference quotient %g", c.Name(), v, eta, want, d)
				}
			}
		})
	}
}

// Small and large log doses stay finite and ordered, and order m meets its
// special cases without a seam.
func TestCurveTails(t *testing.T) {
	for _, c := range allCurves() {
		last := 0.0
		for _, eta := range []float64{-1e308, -1e4, -746, -700, -300, -40, 0, 40, 300, 700, 710, 746, 1e4, 1e308} {
			f, rem, s := c.At(eta), c.Remaining(eta), c.Slope(eta)
			if math.IsNaN(f) || math.IsNaN(rem) || math.IsNaN(s) || math.IsInf(s, 0) || f < last || f > 1 {
				t.Errorf("%s at %g: F=%g, 1-F=%g, slope=%g", c.Name(), eta, f, rem, s)
			}
			last = f
			if sh, ok := c.(ShapedCurve); ok {
				if d := sh.ShapeSlope(eta); math.IsNaN(d) || math.IsInf(d, 0) {
					t.Errorf("%s at %g: shape slope %g", c.Name(), eta, d)
				}
			}
		}
		for _, f := range []float64{5e-324, 1e-300, 1e-17, 0.5, 1 - 1e-16} {
			if eta := c.Inverse(f); math.IsNaN(eta) || math.IsInf(eta, 0) {
				t.Errorf("%s inverse of %g: %g", c.Name(), f, eta)
			}
		}
		if !math.IsInf(c.Inverse(0), -1) || math.IsNaN(c.Inverse(1)) || !math.IsNaN(c.Inverse(1.1)) || !math.IsNaN(c.Inverse(-0.1)) {
			t.Errorf("%s: inverse at or beyond the limits", c.Name())
		}
	}
	for eta := -30.0; eta < 8; eta += 0.37 {
		lo, mid, hi := OrderM{1 - 1e-9}.At(eta), FirstOrder{}.At(eta), OrderM{1 + 1e-9}.At(eta)
		if math.Abs(lo-mid) > 1e-8 || math.Abs(hi-mid) > 1e-8 {
			t.Errorf("order 1±1e-9 at %g: %g %g %g", eta, lo, mid, hi)
		}
		// Richards S is order 1+1/S moved by ln(1/S).
		if a, b := (Richards{4}).At(eta), (OrderM{1.25}).At(eta+math.Log(4)); math.Abs(a-b) > 1e-15 {
			t.Errorf("Richards and order m differ at %g: %g %g", eta, a, b)
		}
	}
}
