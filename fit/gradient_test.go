package fit

import (
	"math"
	"testing"
)

// relative error, with 0 = 0
func relative(got, want float64) float64 {
	if got == want {
		return 0
	}
	return math.Abs(got-want) / math.Abs(want)
}

// Both tails keep their relative digits, where 1 − F and F − 0 would cancel:
// the series of each definition at small u = e^η, to third order.
func TestCurveTailDigits(t *testing.T) {
	for _, eta := range []float64{-60, -30, -12} {
		u := math.Exp(eta)
		for _, c := range []struct {
			curve Curve
			want  float64
		}{
			{LogLogistic{}, u - u*u + u*u*u},
			{Weibull1{}, u - u*u/2 + u*u*u/6},
			{FirstOrder{}, u - u*u/2 + u*u*u/6},
			{OrderM{1}, u - u*u/2 + u*u*u/6},
			{OrderM{1.3}, u - 1.3*u*u/2 + 1.3*1.6*u*u*u/6},
			{OrderM{4}, u - 2*u*u + 4*7*u*u*u/6},
			{OrderM{0.5}, u - u*u/4},
			{Richards{0.3}, 0.3*u - 0.3*1.3*u*u/2 + 0.3*1.3*2.3*u*u*u/6},
			{Richards{5}, 5*u - 5*6*u*u/2 + 5*6*7*u*u*u/6},
		} {
			if got := c.curve.At(eta); relative(got, c.want) > 2e-14 {
				t.Errorf("%s at %g: %.17g, want %.17g", c.curve.Name(), eta, got, c.want)
			}
		}
		// The upper tail of the Fréchet curve mirrors the lower one of Weibull.
		if got := (Weibull2{}).Remaining(-eta); relative(got, u-u*u/2+u*u*u/6) > 2e-14 {
			t.Errorf("Weibull-2 at %g remains %g", -eta, got)
		}
		if got := (LogLogistic{}).Remaining(-eta); relative(got, u-u*u+u*u*u) > 2e-14 {
			t.Errorf("log-logistic at %g remains %g", -eta, got)
		}
	}
	// Φ(−8) and Φ(−3) of normal tables.
	for eta, want := range map[float64]float64{8: 6.220960574271786e-16, 3: 1.3498980316300946e-3} {
		if got := (LogNormal{}).Remaining(eta); relative(got, want) > 1e-13 {
			t.Errorf("log-normal remains %g at %g, want %g", got, eta, want)
		}
		if got := (LogNormal{}).At(-eta); relative(got, want) > 1e-13 {
			t.Errorf("log-normal is %g at %g, want %g", got, -eta, want)
		}
	}
}

// Beyond e^700 exponentials overflow and the closed forms of the limits stand in.
func TestCurveBeyondOverflow(t *testing.T) {
	for _, c := range []struct {
		curve               Curve
		eta                 float64
		f, g, slope, dshape float64
	}{
		{Weibull1{}, 701, 1, 0, 0, 0},
		{Weibull1{}, farEta, 1, 0, 0, 0},
		{Weibull2{}, -701, 0, 1, 0, 0},
		{Weibull2{}, -farEta, 0, 1, 0, 0},
		{OrderM{0.5}, 701, 1, 0, 0, 0},
		{OrderM{1}, 701, 1, 0, 0, 0},
		{OrderM{1 + 1e-16}, 701, 1, 0, 0, 0},
		{OrderM{0.5}, math.Log(2), 1, 0, 0, 0}, // the end of a reaction of order below 1
		{OrderM{0.5}, 0.7, 1, 0, 0, 0},         // after it
		{Richards{1e3}, 700, 1, 0, 0, 0},
	} {
		fam, shape := c.curve.family(), 0.0
		if s, ok := c.curve.(ShapedCurve); ok {
			shape = s.Shape()
		}
		f, g, slope, dshape := unit(fam, shape, c.eta)
		if f != c.f || g != c.g || slope != c.slope || dshape != c.dshape {
			t.Errorf("%s(%g) at %g: %g %g %g %g", c.curve.Name(), shape, c.eta, f, g, slope, dshape)
		}
	}
	// At e^η ≫ 1 a reaction of order 1+k leaves (k e^η)^(−1/k), with
	// −g' = g/k and, by k, g·(1 − ln(k e^η))/k² times −1; e^−702 is still a number.
	for _, k := range []float64{1, 2, 7, 300} {
		for _, eta := range []float64{690, 702, 720} {
			z := eta + math.Log(k)
			want := math.Exp(-z / k)
			f, g, slope, dshape := unit(orderM, 1+k, eta)
			if want < 1e-305 {
				continue
			}
			if relative(g, want) > 1e-12 || relative(slope, want/k) > 1e-12 || relative(dshape, want*(1-z)/(k*k)) > 1e-12 || math.Abs(f+g-1) > 1e-15 {
				t.Errorf("order %g at %g: %g %g %g %g, remains %g", 1+k, eta, f, g, slope, dshape, want)
			}
		}
	}
	l, dl, dk := order(1e-305, 705)
	if !math.IsInf(l, 1) || dl != 0 || dk != 0 {
		t.Errorf("as good as first order: %g %g %g", l, dl, dk)
	}
	for _, c := range [][2]float64{{-0.5, 1}, {-0.5, 701}, {0, 701}, {-1, 0}} {
		if l, dl, dk := order(c[0], c[1]); !math.IsInf(l, 1) || dl != 0 || dk != 0 {
			t.Errorf("an ended reaction of order %g at %g: %g %g %g", 1+c[0], c[1], l, dl, dk)
		}
	}
	for _, fam := range []family{logLogistic, weibull1, weibull2, logNormal} {
		for _, eta := range []float64{-2, 0, 2} {
			if _, _, _, d := unit(fam, 3, eta); d != 0 {
				t.Errorf("a curve without shape has slope %g by it", d)
			}
		}
	}
}

// Inverses meet their curves to nearly all digits, also where the closed form
// would cancel or overflow.
func TestCurveInverseDigits(t *testing.T) {
	curves := allCurves()
	for _, s := range []float64{1e-3, 0.05, 20, 1e3} {
		curves = append(curves, Richards{s})
	}
	for _, m := range []float64{0.9, 1 - 1e-9, 1 + 1e-9, 30, 1e3} {
		curves = append(curves, OrderM{m})
	}
	for _, c := range curves {
		for _, f := range []float64{1e-290, 1e-30, 1e-12, 1e-9, 1e-6, 0.01, 0.4, 0.5, 0.505, 0.6, 0.63, 0.65, 0.87, 0.99} {
			eta := c.Inverse(f)
			if math.IsInf(eta, 0) || math.Abs(eta) > 600 {
				continue
			}
			// The last bit of η moves F by slope × η × 1e-16.
			if got := c.At(eta); relative(got, f) > 1e-14+4e-16*math.Abs(eta)*c.Slope(eta)/f {
				t.Errorf("%s %v: F(inverse of %g) = %.17g", c.Name(), c, f, got)
			}
		}
	}
	for f, want := range map[float64]float64{0: math.Inf(-1), 1: math.Inf(1)} {
		if got := (LogNormal{}).Inverse(f); got != want {
			t.Errorf("log-normal inverse of %g is %g", f, got)
		}
	}
}

// gradientsAgree holds Grad against difference quotients of Eval, Eval against
// want, and the batch form against both.
func gradientsAgree(t *testing.T, m Model, p, x []float64, want, slope float64) {
	t.Helper()
	n := len(p)
	if got := m.Eval(p, x); relative(got, want) > 1e-13 {
		t.Fatalf("%+v at %v, %v: %.15g, want %.15g", m, p, x, got, want)
	}
	dst := make([]float64, n)
	for j := range dst {
		dst[j] = math.NaN() // must not matter
	}
	if got := m.Grad(dst, p, x); relative(got, want) > 1e-13 {
		t.Fatalf("%+v: Grad returns %g, want %g", m, got, want)
	}
	for j := range p {
		q := append([]float64(nil), p...)
		at := func(d float64) float64 { q[j] = p[j] + d; return m.Eval(q, x) }
		h := 1e-3 * math.Max(0.1, math.Abs(p[j])) // fourth order: about 1e-11
		d := (at(-2*h) - 8*at(-h) + 8*at(h) - at(2*h)) / (12 * h)
		if math.Abs(d-dst[j]) > 1e-8*math.Max(1, math.Abs(d)) {
			t.Errorf("%+v at %v, %v: derivative %d is %.12g, difference quotient %.12g", m, p, x, j, dst[j], d)
		}
	}
	if got := m.(Doser).DoseSlope(p, x); math.Abs(got-slope) > 1e-13*math.Max(1, math.Abs(slope)) {
		t.Errorf("%+v: dose slope %g, want %g", m, got, slope)
	}
	f, jac := make([]float64, 2), make([]float64, 2*n)
	for i := range jac {
		jac[i] = math.NaN()
	}
	m.(batcher).batch([]Observation{{X: x}, {X: x}})(f, jac, p)
	for i := range f {
		if f[i] != m.Eval(p, x) && relative(f[i], want) > 1e-13 {
			t.Errorf("%+v: batch %g, want %g", m, f[i], want)
		}
		for j := range dst {
			if math.Abs(jac[i*n+j]-dst[j]) > 1e-13*math.Max(1, math.Abs(dst[j])) {
				t.Errorf("%+v: batch derivative %d is %g, want %g", m, j, jac[i*n+j], dst[j])
			}
		}
	}
}

func TestSigmoidGradients(t *testing.T) {
	for _, c := range allCurves() {
		s := Sigmoid{c}
		p := []float64{21, 78, 1.7, 6}
		sh, shaped := c.(ShapedCurve)
		if shaped {
			p = append(p, sh.Shape())
			c = sh.WithShape(sh.Shape())
		}
		for _, x := range []float64{0.3, 4, 6, 9} {
			eta := 1.7 * math.Log(x/6) // by the definition of Sigmoid
			if o, ok := c.(OrderM); ok && o.M < 1 && math.Exp(eta)*(1-o.M) > 0.9 {
				continue // the end of the reaction is a kink
			}
			gradientsAgree(t, s, p, []float64{x}, 21+(78-21)*c.At(eta), (78-21)*c.Slope(eta))
		}
		// No dose: the response at zero, which nothing else moves.
		dst := []float64{9, 9, 9, 9, 9}[:len(p)]
		y := s.Grad(dst, p, []float64{0})
		for j, d := range dst {
			if want := map[bool]float64{true: 1}[j == Zero]; d != want {
				t.Errorf("%s without dose: derivative %d is %g", c.Name(), j, d)
			}
		}
		if y != 21 || s.Eval(p, []float64{0}) != 21 || s.DoseSlope(p, []float64{0}) != 0 {
			t.Errorf("%s without dose: %g, %g, slope %g", c.Name(), y, s.Eval(p, []float64{0}), s.DoseSlope(p, []float64{0}))
		}
		flat := append([]float64(nil), p...)
		flat[Slope] = 0 // a bound that fits may reach: 0·∞ must not come of it
		if s.Eval(flat, []float64{0}) != 21 || s.DoseSlope(flat, []float64{0}) != 0 {
			t.Errorf("%s without dose and slope: %g, slope %g", c.Name(), s.Eval(flat, []float64{0}), s.DoseSlope(flat, []float64{0}))
		}
		if d := s.EffectiveDose(p, 0.3); math.Abs(c.At(1.7*math.Log(d/6))-0.3) > 1e-13 {
			t.Errorf("%s: at its dose of 0.3, %g is gone", c.Name(), c.At(1.7*math.Log(d/6)))
		}
		ps := s.Params()
		if len(ps) != len(p) || ps[Slope].Lower != 0 || !math.IsInf(ps[Slope].Upper, 1) || ps[Location].Lower != 0 || !math.IsInf(ps[Location].Upper, 1) {
			t.Errorf("%s: parameters %+v", c.Name(), ps)
		}
		if shaped && (ps[Shape].Name != "shape" || ps[Shape].Lower != 1e-3 || ps[Shape].Upper != 1e3) {
			t.Errorf("%s: shape %+v", c.Name(), ps[Shape])
		}
	}
	if shapeOf([]float64{1, 2, 3, 4}) != 0 {
		t.Error("no shape, no value")
	}
}

// η by hand: b0 + Σ b·(g(x) − center) + shift of the group, with a dropped
// factor in the middle.
func TestMultiFactorGradients(t *testing.T) {
	factors := []Factor{
		{Name: "strength", Transform: Ln, Center: 1.5},
		{Name: "machine speed", Dropped: true},
		{Name: "temperature", Transform: Reciprocal, Center: 1. / 313},
		{Name: "moisture", Transform: Identity, Center: 0.5},
	}
	for _, c := range allCurves() {
		for _, groups := range [][]string{nil, {"a", "b", "c"}} {
			for _, all := range []bool{false, true} {
				m := MultiFactor{Curve: c, Factors: factors, Groups: groups, AllShifts: all}
				p := []float64{21, 78, -0.6, 0.9, -400, 0.7}
				sh, shaped := c.(ShapedCurve)
				if shaped {
					p = append(p, sh.Shape())
				}
				shifts := map[int]float64{}
				for k := range groups {
					if k > 0 || all {
						shifts[k] = 0.2 * float64(k+1)
						p = append(p, shifts[k])
					}
				}
				if len(m.Params()) != len(p) {
					t.Fatalf("%d parameters, want %d", len(m.Params()), len(p))
				}
				for g := range max(1, len(groups)) {
					x := []float64{5, 30, 320, 0.3}
					eta := -0.6 + 0.9*(math.Log(5)-1.5) - 400*(1./320-1./313) + 0.7*(0.3-0.5)
					if groups != nil {
						x = append(x, float64(g))
						eta += shifts[g]
					}
					if got := m.Eta(p, x); math.Abs(got-eta) > 1e-13 {
						t.Fatalf("η = %g, want %g", got, eta)
					}
					gradientsAgree(t, m, p, x, 21+(78-21)*c.At(eta), (78-21)*c.Slope(eta))
				}
			}
		}
	}
	one := MultiFactor{Curve: LogLogistic{}, Factors: []Factor{{Name: "x", Transform: Ln}}, Groups: []string{"only"}, AllShifts: true}
	gradientsAgree(t, one, []float64{0, 1, 0.1, 1, 0.4}, []float64{2, 0}, LogLogistic{}.At(0.5+math.Log(2)), LogLogistic{}.Slope(0.5+math.Log(2)))
}
