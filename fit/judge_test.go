package fit

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
)

// threePoints are the responses 1, 2, 4 at x = 0, 1, 2, times s. By hand: slope
// Sxy/Sxx = 3/2, intercept 7/3 − 3/2 = 5/6, residuals 1/6, −1/3, 1/6, their sum of squares
// 1/6.
func threePoints(s float64) []Observation {
	return []Observation{{X: []float64{0}, Y: s}, {X: []float64{1}, Y: 2 * s}, {X: []float64{2}, Y: 4 * s}}
}

// A line from a start of zeros, for responses of any size.
func TestStartOfZeros(t *testing.T) {
	for _, s := range []float64{1e-130, 1, 1e13, 1e20, 1e130} {
		r, err := Regress(Polynomial(1), threePoints(s), nil, nil)
		if err != nil {
			t.Errorf("responses of size %g: %v", s, err)
			continue
		}
		digits(t, "intercept", r.P[0]/s, 5./6, 13)
		digits(t, "slope", r.P[1]/s, 1.5, 13)
	}
}

// Known scatter against the residuals: χ² = (1/6)/SD² on 1 degree of freedom. Its
// 0.1 % and 99.9 % points are 1.5708e-6 and 10.828 (tables of χ², 10.828 in any;
// the low one is the square of the normal quantile of 0.5005, 0.0012533).
func TestKnownSDAgainstResiduals(t *testing.T) {
	for _, c := range []struct {
		chi2 float64
		want string // part of the warning
	}{{10.7, ""}, {10.9, "too small"}, {1e6, "too small"}, {1, ""}, {1.6e-6, ""}, {1.5e-6, "too large"}} {
		sd := KnownSD{1 / math.Sqrt(6*c.chi2)}
		r, err := Regress(Polynomial(1), threePoints(1), sd, nil)
		if err != nil {
			t.Fatal(err)
		}
		digits(t, "χ²", r.RSS, c.chi2, 9)
		if w := fmt.Sprint(r.Warnings); c.want == "" && len(r.Warnings) > 0 || !strings.Contains(w, c.want) {
			t.Errorf("χ² = %g: warnings %s, want %q", c.chi2, w, c.want)
		}
	}
}

// Priors and shrinkage say nothing of the known scatter, however far from the data
// they lie: χ² stays that of the data alone, (1/6)/SD² on 1 degree of freedom. Where it
// is no reason to warn, there is no warning.
func TestKnownSDAsidePriors(t *testing.T) {
	for name, o := range map[string]FitOptions{
		"prior of the intercept": {Priors: map[string]Prior{"b0": {5, 0.01}}},
		"priors of both":         {Priors: map[string]Prior{"b0": {5, 0.01}, "b1": {-100, 0.1}}},
		"a vague prior":          {Priors: map[string]Prior{"b1": {0, 1e6}}},
		"shrunk":                 {Shrunk: []string{"b1"}},
	} {
		for _, c := range []struct {
			chi2 float64
			want string // part of the warning
		}{{10.7, ""}, {10.9, "χ² 10.9 on 1 df, priors aside, beyond"}, {1, ""}, {1.6e-6, ""}, {1.5e-6, "χ² 1.5e-06 on 1 df, priors aside, below"}} {
			if o.Shrunk != nil && c.chi2 < 1 {
				continue // scatter of 300 leaves nothing to learn of a slope of 1.5
			}
			r, err := Regress(Polynomial(1), threePoints(1), KnownSD{1 / math.Sqrt(6*c.chi2)}, &o)
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			if w := fmt.Sprint(r.Warnings); strings.Contains(w, "known SD") != (c.want != "") || !strings.Contains(w, c.want) {
				t.Errorf("%s, χ² = %g: warnings %s, want %q", name, c.chi2, w, c.want)
			}
		}
	}
	// One point has no scatter to judge: the line goes through it, whatever is known
	// beside. With both priors there is a degree of freedom, but it is of the priors.
	r, err := Regress(Polynomial(1), threePoints(1)[:1], KnownSD{1e-3}, &FitOptions{Priors: map[string]Prior{"b0": {5, 1e-3}, "b1": {0, 1}}})
	if err != nil || strings.Contains(fmt.Sprint(r.Warnings), "known SD") {
		t.Error(err, r.Warnings)
	}
}

// Weights of 0 alone are the default; among others they are warned of and count as 1.
func TestWeightOfZeroAmongOthers(t *testing.T) {
	for _, c := range []struct {
		weights [3]float64
		warned  bool
	}{{[3]float64{}, false}, {[3]float64{1, 1, 1}, false}, {[3]float64{1, 1, 0}, true}, {[3]float64{0, 2, 0}, true}} {
		d := threePoints(1)
		for i, w := range c.weights {
			d[i].Weight = w
		}
		r, err := Regress(Polynomial(1), d, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Contains(fmt.Sprint(r.Warnings), "has weight 0, which counts as 1"); got != c.warned {
			t.Errorf("weights %v: warnings %v", c.weights, r.Warnings)
		}
		if c.weights[1] <= 1 {
			digits(t, "slope", r.P[1], 1.5, 13)
		}
	}
}

func TestParametersOfOneName(t *testing.T) {
	m := Func{Parameters: []Param{{Name: "k"}, {Name: "b"}, {Name: "k"}}, Value: func(p, x []float64) float64 { return p[0] + p[1]*x[0] + p[2] }}
	_, err := Regress(m, threePoints(1), nil, &FitOptions{Start: []float64{0, 0, 0}})
	if !errors.Is(err, ErrBadInput) || !strings.Contains(err.Error(), `parameters 0 and 2 of the model are both named "k"`) {
		t.Error(err)
	}
}

// Parameters without names fit as others do; messages call them by their place, and
// an option that could mean several is refused.
func TestParametersWithoutNames(t *testing.T) {
	line := Func{Parameters: make([]Param, 2), Value: func(p, x []float64) float64 { return p[0] + p[1]*x[0] }}
	start := []float64{0, 0}
	r, err := Regress(line, threePoints(1), nil, &FitOptions{Start: start})
	if err != nil {
		t.Fatal(err)
	}
	digits(t, "intercept", r.P[0], 5./6, 10)
	digits(t, "slope", r.P[1], 1.5, 10)
	for _, o := range []FitOptions{
		{Start: start, Fixed: map[string]float64{"": 1}},
		{Start: start, Bounds: map[string][2]float64{"": {0, 1}}},
		{Start: start, Priors: map[string]Prior{"": {0, 1}}},
		{Start: start, Shrunk: []string{""}},
	} {
		if _, err := Regress(line, threePoints(1), nil, &o); !errors.Is(err, ErrBadInput) || !strings.Contains(err.Error(), `unknown parameter ""`) {
			t.Errorf("%+v: %v", o, err)
		}
	}
	sum := Func{Parameters: make([]Param, 2), Value: func(p, _ []float64) float64 { return p[0] + p[1] }}
	if _, err := Regress(sum, threePoints(1), nil, &FitOptions{Start: start}); !errors.Is(err, ErrNotIdentified) || !strings.Contains(err.Error(), "parameter 0 and parameter 1 moved together") {
		t.Error(err)
	}
	one := Func{Parameters: []Param{{Name: "a"}, {}}, Value: line.Value}
	if r, err = Regress(one, threePoints(1), nil, &FitOptions{Start: start, Fixed: map[string]float64{"": 1}}); err != nil {
		t.Fatal(err)
	}
	digits(t, "intercept at slope 1", r.P[0], 4./3, 10) // mean of y − x: (1 + 1 + 2)/3
}

// Rosenbrock's valley takes more than 3 Jacobians from its usual start: each of the
// 4 runs, with first steps of 100, 1, 0.1 and 0.01, stops at 3, and the last resort is a
// fifth run from the best point.
func TestIterationsAreCounted(t *testing.T) {
	valley := rosenbrock{}
	_, err := Solve(valley, []float64{-1.2, 1}, &Options{MaxIter: 3})
	if !errors.Is(err, ErrNotConverged) || !strings.Contains(err.Error(), "after 12 iterations in 4 runs") && !strings.Contains(err.Error(), "after 15 iterations in 5 runs") {
		t.Error(err)
	}
}

// rosenbrock is 100(y − x²)² + (1 − x)² (H.H. Rosenbrock, Computer J. 3 (1960) 175).
type rosenbrock struct{}

func (rosenbrock) Dims() (m, n int) { return 2, 2 }
func (rosenbrock) Residuals(dst, p []float64) {
	dst[0], dst[1] = 10*(p[1]-p[0]*p[0]), 1-p[0]
}
func (rosenbrock) Jacobian(dst, p []float64) {
	copy(dst, []float64{-20 * p[0], 10, -1, 0})
}

// The data are a step: between doses 3 and 4 any place fits as well, with a slope as steep as
// one likes. Standard errors by the tangent say nothing then, which is told, and the
// profile still finds the doses between which the step lies. Doses in between tell the
// slope, and nothing is warned of.
func TestStepIsToldAndPlaced(t *testing.T) {
	var data []Observation
	add := func(x, y float64) { data = append(data, Observation{X: []float64{x}, Y: y}) }
	for x, y := range []float64{10, 10.1, 9.9, 10, 0, 0.1, -0.1, 0} {
		add(float64(x), y)
	}
	m := Sigmoid{Curve: LogLogistic{}}
	r, err := Regress(m, data, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(r.Warnings...); err == nil || !strings.Contains(err.Error(), "the standard error of slope") {
		t.Error("nothing is said of the slope's standard error:", err)
	}
	iv, err := r.ProfileDerived(EffectiveDose(m, 0.5), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if iv.OpenLo || iv.OpenHi || math.Abs(iv.Lo-3) > 0.05 || math.Abs(iv.Hi-4) > 0.05 {
		t.Error("the step lies between 3 and 4, not", iv)
	}
	for i, y := range []float64{9, 7, 5.2, 3, 1} {
		add(3+0.2*float64(i), y)
	}
	if r, err = Regress(m, data, nil, nil); err != nil || len(r.Warnings) > 0 {
		t.Error(err, r.Warnings)
	}
}
