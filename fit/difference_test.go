package fit

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"example.com/dosetone/datasets/published"
	"example.com/dosetone/internal/check"
)

// All NIST problems come out without derivatives, from both starts and to the
// digits that TestStRD asks with them.
func TestStRDWithoutDerivatives(t *testing.T) {
	all, err := published.AllStRD()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range all {
		s := newStRD(p)
		m := Func{Value: func(b, x []float64) float64 { return s.model(x, b, s.g) }}
		var data []Observation
		for i, y := range s.y {
			data = append(data, Observation{X: s.x[i], Y: y})
		}
		for j := range p.Certified {
			m.Parameters = append(m.Parameters, Param{Name: fmt.Sprintf("b%d", j+1)})
		}
		for start := range p.Start {
			r, err := Regress(m, data, nil, &FitOptions{Start: p.Start[start]})
			if err != nil {
				t.Errorf("%s start %d: %v", p.Name, start+1, err)
				continue
			}
			par, sd := 17.0, 17.0
			for j, want := range p.Certified {
				par = math.Min(par, check.Digits(r.P[j], want))
				if p.Name != "Lanczos1" { // residuals of rounding error, see TestStRD
					sd = math.Min(sd, check.Digits(r.SE()[j], p.SD[j]))
				}
			}
			if !(par >= 9 && sd >= 8) {
				t.Errorf("%s start %d: parameters to %.1f digits, standard deviations to %.1f; need 9 and 8", p.Name, start+1, par, sd)
			}
			if w := fmt.Sprint(r.Warnings); strings.Contains(w, "differences") {
				t.Errorf("%s start %d: %s", p.Name, start+1, w)
			}
		}
	}
}

// peak is 10 at its center; its derivatives are worked out by hand.
func peak(center, width float64) (without, with Func, data []Observation, start []float64) {
	rng := rand.New(rand.NewPCG(5, 5))
	without = Func{Parameters: []Param{{Name: "height"}, {Name: "center"}, {Name: "width"}},
		Value: func(p, x []float64) float64 { u := (x[0] - p[1]) / p[2]; return p[0] * math.Exp(-u*u/2) }}
	with = without
	with.Derivative = func(dst, p, x []float64) {
		u := (x[0] - p[1]) / p[2]
		e := math.Exp(-u * u / 2)
		dst[0], dst[1], dst[2] = e, p[0]*e*u/p[2], p[0]*e*u*u/p[2]
	}
	for i := -20; i <= 20; i++ {
		x := []float64{center + width*float64(i)/5}
		data = append(data, Observation{X: x, Y: with.Eval([]float64{10, center, width}, x) + 0.1*rng.NormFloat64()})
	}
	return without, with, data, []float64{8, center + 0.3*width, 1.2 * width}
}

// A peak far from zero: fits with and without derivatives are one. The digits of
// the center itself go to where it lies, those left tell its distance from the start.
func TestDifferencesFarFromZero(t *testing.T) {
	for _, c := range [][2]float64{{20, 4}, {2026, 3}, {2026, 0.5}, {45000, 30}, {45000, 5}, {-1e9, 20}} {
		without, with, data, start := peak(c[0], c[1])
		want, err := Regress(with, data, nil, &FitOptions{Start: start})
		if err != nil {
			t.Fatal(err)
		}
		got, err := Regress(without, data, nil, &FitOptions{Start: start})
		if err != nil || len(got.Warnings) > 0 {
			t.Errorf("peak at %g: error %v, warnings %v", c[0], err, got.Warnings)
			continue
		}
		need := math.Min(9, 14-math.Log10(math.Abs(c[0])/c[1]))
		for j, se := range want.SE() {
			digits(t, fmt.Sprintf("peak at %g ± %g: SE of %s", c[0], c[1], want.Names[j]), got.SE()[j], se, need)
			if d := math.Abs(got.P[j]-want.P[j]) / se; d > 1e-6 {
				t.Errorf("peak at %g: %s differs by %.1g standard errors", c[0], want.Names[j], d)
			}
		}
	}
}

// Derivatives at single points against those worked out by hand, at parameters
// of zero, next to it, far from it, and next to where the model ends.
func TestDifferencesOfKnownFunctions(t *testing.T) {
	for _, c := range []struct {
		name    string
		f, df   func(p, x float64) float64
		p, x    float64
		correct float64 // digits
	}{
		{"line from 0", func(p, x float64) float64 { return 3 + p*x }, func(_, x float64) float64 { return x }, 0, 7, 12},
		{"line from next to 0", func(p, x float64) float64 { return 1 + p*x }, func(_, x float64) float64 { return x }, 1e-17, 7, 11},
		{"exponential from 0", func(p, x float64) float64 { return math.Exp(p * x) }, func(p, x float64) float64 { return x * math.Exp(p*x) }, 0, 1e8, 11},
		{"exponential from 0", func(p, x float64) float64 { return math.Exp(p * x) }, func(p, x float64) float64 { return x * math.Exp(p*x) }, 0, 1e-12, 11},
		{"logarithm", func(p, x float64) float64 { return math.Log(p + x) }, func(p, x float64) float64 { return 1 / (p + x) }, 5, -4.999, 9},
		{"sine far out", func(p, _ float64) float64 { return math.Sin(p) }, func(p, _ float64) float64 { return math.Cos(p) }, 1e6, 0, 8},
		{"power", func(p, x float64) float64 { return math.Pow(x, p) }, func(p, x float64) float64 { return math.Pow(x, p) * math.Log(x) }, 1.5, 300, 11},
	} {
		m := Func{Parameters: []Param{{Name: "p"}}, Value: func(p, x []float64) float64 { return c.f(p[0], x[0]) }}
		g := make([]float64, 1)
		if y := m.Grad(g, []float64{c.p}, []float64{c.x}); y != c.f(c.p, c.x) {
			t.Errorf("%s: value %g", c.name, y)
		}
		digits(t, c.name, g[0], c.df(c.p, c.x), c.correct)
	}
	// No effect at all, and a peak so far off that nothing of it is left here:
	// exp(-x²/2) is 0 in float64 from x = 39 on.
	none := Func{Parameters: []Param{{Name: "p"}}, Value: func(_, x []float64) float64 { return x[0] }}
	far := Func{Parameters: []Param{{Name: "p"}}, Value: func(p, x []float64) float64 { u := x[0] - p[0]; return math.Exp(-u * u / 2) }}
	for _, m := range []Func{none, far} {
		for _, p := range []float64{0, 1, 1000} {
			g := []float64{1}
			if m.Grad(g, []float64{p}, []float64{p + 100}); g[0] != 0 {
				t.Errorf("derivative %g at %g, want 0", g[0], p)
			}
		}
	}
}

// No value is asked for farther beyond the bounds of a parameter than half their width,
// as Func says, whether Value depends on it or not, nor without bounds farther than
// 1024 from a parameter below 1 that Value does not depend on. The line is that of the
// hand computation at threePoints.
func TestDifferencesStayNearBounds(t *testing.T) {
	for _, c := range []struct {
		share  Param
		bounds map[string][2]float64
		lo, hi float64
	}{
		{Param{Name: "share", Lower: 0, Upper: 1}, nil, -0.5, 1.5},
		{Param{Name: "share"}, map[string][2]float64{"share": {0, 1}}, -0.5, 1.5},
		{Param{Name: "share"}, nil, -1025, 1025},
	} {
		for _, start := range []float64{0, 1e-9, 0.5, 1} {
			lo, hi := 0.0, 0.0
			m := Func{Parameters: []Param{{Name: "a", Lower: -10, Upper: 10}, {Name: "b", Lower: -10, Upper: 10}, c.share},
				Value: func(p, x []float64) float64 {
					lo, hi = math.Min(lo, p[2]), math.Max(hi, p[2])
					if math.Abs(p[0]) > 20 || math.Abs(p[1]) > 20 {
						t.Fatalf("asked at a = %g, b = %g", p[0], p[1])
					}
					return p[0] + p[1]*x[0]
				}}
			r, err := Regress(m, threePoints(1), nil, &FitOptions{Start: []float64{0, 1, start}, Bounds: c.bounds})
			if r == nil {
				t.Fatal(err)
			}
			digits(t, "slope", r.P[1], 1.5, 10)
			if lo < c.lo || hi > c.hi {
				t.Errorf("%+v %v from %g: share asked from %g to %g", c.share, c.bounds, start, lo, hi)
			}
			m.Grad(make([]float64, 3), []float64{0, 1, start}, []float64{1})
			if c.bounds == nil && (lo < c.lo || hi > c.hi) {
				t.Errorf("%+v: Grad at %g asks from %g to %g", c.share, start, lo, hi)
			}
			lo, hi = 0, 0
			if _, _, _, err := r.Delta(Derived{Name: "slope", Value: func(p []float64) float64 {
				lo, hi = math.Min(lo, p[2]), math.Max(hi, p[2])
				return p[1]
			}}, 0.95); err == nil && (lo < c.lo || hi > c.hi) {
				t.Errorf("%+v %v: a derived quantity is asked from %g to %g", c.share, c.bounds, lo, hi)
			}
		}
	}
}

// Values in steps, such as those of an iteration inside, do not take a height of 10 to
// where it is another model: a thousand times the values is enough.
func TestDifferencesOfRoughValuesStayNear(t *testing.T) {
	without, _, data, start := peak(20, 4)
	for _, step := range []float64{1e-2, 1e-5, 1e-8} {
		far := 0.0
		rough := without
		rough.Value = func(p, x []float64) float64 {
			far = math.Max(far, math.Abs(p[0]))
			return step * math.Round(without.Value(p, x)/step)
		}
		if r, err := Regress(rough, data, nil, &FitOptions{Start: start}); r == nil {
			t.Fatal(err)
		}
		if far > 2e4 { // the step after the first beyond 1024·10
			t.Errorf("steps of %g: height asked at %g", step, far)
		}
	}
}

// A Value in steps of a hundredth, a thousandth of the peak, leaves its derivatives
// too few digits for the standard errors; one in steps of 1e-4 keeps the fit from
// ending. Results say so, and their standard errors are still those of the smooth
// model, to what the steps leave.
func TestRoughValueIsWarnedOf(t *testing.T) {
	without, with, data, start := peak(2026, 3)
	want, err := Regress(with, data, nil, &FitOptions{Start: start})
	if err != nil {
		t.Fatal(err)
	}
	for _, step := range []float64{1e-2, 1e-4} {
		rough := without
		rough.Value = func(p, x []float64) float64 { return step * math.Round(without.Value(p, x)/step) }
		r, err := Regress(rough, data, nil, &FitOptions{Start: start})
		if r == nil {
			t.Fatal(err)
		}
		if w := fmt.Sprint(r.Warnings); !strings.Contains(w, "the derivative by width, taken by differences, may be off") {
			t.Errorf("steps of %g: error %v, warnings %s", step, err, w)
		}
		for j, se := range want.SE() {
			digits(t, "SE of "+want.Names[j], r.SE()[j], se, 2.3)
		}
	}
}

// A derived quantity without Grad is one with it, however little the data scatter:
// the half-life ln 2/k has the derivative −ln 2/k² by k.
func TestDerivedWithoutGrad(t *testing.T) {
	decay := Func{Parameters: []Param{{Name: "start"}, {Name: "k"}},
		Value: func(p, x []float64) float64 { return p[0] * math.Exp(-p[1]*x[0]) }}
	half := Derived{Name: "half-life", Value: func(p []float64) float64 { return math.Ln2 / p[1] }}
	by := half
	by.Grad = func(dst, p []float64) { dst[0], dst[1] = 0, -math.Ln2/(p[1]*p[1]) }
	for _, sd := range []float64{0.1, 1e-6, 1e-10} {
		rng := rand.New(rand.NewPCG(1, 1))
		var data []Observation
		for i := range 12 {
			x := []float64{float64(i) / 3}
			data = append(data, Observation{X: x, Y: decay.Eval([]float64{10, 0.7}, x) + sd*rng.NormFloat64()})
		}
		r, err := Regress(decay, data, nil, &FitOptions{Start: []float64{8, 1}})
		if err != nil {
			t.Fatal(err)
		}
		_, want, _, err := r.Delta(by, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		_, se, _, err := r.Delta(half, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		digits(t, fmt.Sprintf("SE at scatter %g", sd), se, want, 9)
		wantIv, err := r.ProfileDerived(by, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		iv, err := r.ProfileDerived(half, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if wide := wantIv.Hi - wantIv.Lo; math.Abs(iv.Lo-wantIv.Lo) > 1e-3*wide || math.Abs(iv.Hi-wantIv.Hi) > 1e-3*wide {
			t.Errorf("scatter %g: profile %v, want %v", sd, iv, wantIv)
		}
	}
}

// The delta method of an inverse is the same wherever the curve lies: at the middle
// of a logistic curve of height a and width w the slope is a/(4w), so that the standard
// error is that of the mean response times 4w/a.
func TestInverseDeltaFarFromZero(t *testing.T) {
	m := Func{Parameters: []Param{{Name: "height"}, {Name: "center"}, {Name: "width"}},
		Value: func(p, x []float64) float64 { return p[0] / (1 + math.Exp(-(x[0]-p[1])/p[2])) }}
	for _, c := range [][2]float64{{0, 1}, {45000, 5}, {1e9, 20}} {
		var data []Observation
		for i := -10; i <= 10; i++ {
			x := []float64{c[0] + c[1]*float64(i)/2}
			data = append(data, Observation{X: x, Y: m.Eval([]float64{10, c[0], c[1]}, x) + 0.1*math.Sin(17*float64(i))})
		}
		r, err := Regress(m, data, nil, &FitOptions{Start: []float64{9, c[0] + 0.3*c[1], c[1]}})
		if err != nil {
			t.Fatal(err)
		}
		v := Inverse{Result: r, Lo: c[0] - 5*c[1], Hi: c[0] + 5*c[1]}
		x, se, _, err := v.Delta(Target{Y: r.P[0] / 2}, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		_, mean := r.Mean([]float64{x})
		digits(t, fmt.Sprintf("SE of a dose near %g", c[0]), se, mean*4*r.P[2]/r.P[0], 6)
	}
}
