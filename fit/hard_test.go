package fit

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// xy makes observations from pairs.
func xy(v ...float64) []Observation {
	var d []Observation
	for i := 0; i < len(v); i += 2 {
		d = append(d, Observation{X: []float64{v[i]}, Y: v[i+1]})
	}
	return d
}

// Hard cases end in a clear error or an honest warning, never in a panic, NaN
// or silent nonsense.
func TestHardCases(t *testing.T) {
	good := xy(0, 80, 0, 81, 1, 78, 2, 69, 3, 58, 5, 40, 8, 28, 12, 22, 20, 21, 50, 20)
	scaled := func(f float64) []Observation {
		d := append([]Observation(nil), good...)
		for i := range d {
			d[i].Y *= f
		}
		return d
	}
	double := append(append([]Observation(nil), good...), good...)
	outlier := append([]Observation(nil), good...)
	outlier[5].Y = 70
	noise := xy(0, 80, 1, 78, 2, 69, 3, 58)
	for _, c := range []struct {
		name string
		data []Observation
		opt  *FitOptions
		want error  // nil: a fit without error
		says string // part of the error, or of a warning
	}{
		{"no data", nil, nil, ErrTooFewData, "no observations"},
		{"fewer points than parameters", noise[:3], nil, ErrTooFewData, "3 observations for 4"},
		{"as many points as parameters", noise, nil, nil, "scatter cannot be estimated"},
		{"all doses equal", xy(2, 1, 2, 2, 2, 3, 2, 4, 2, 5), nil, ErrNotIdentified, "doses are equal"},
		{"one dose and zero", xy(0, 1, 0, 2, 3, 3, 3, 4, 3, 5), nil, ErrNotIdentified, "equal"},
		{"negative dose", xy(-1, 1, 1, 2, 2, 3, 3, 4, 4, 5), nil, ErrBadInput, "dose must be"},
		{"constant response", xy(0, 5, 1, 5, 2, 5, 3, 5, 4, 5, 5, 5), nil, ErrNotIdentified, ""},
		{"NaN response", xy(0, 80, 1, math.NaN(), 2, 69, 3, 58, 5, 40), nil, ErrNonFinite, "observation 1"},
		{"infinite dose", xy(0, 80, 1, 78, math.Inf(1), 69, 3, 58, 5, 40), nil, ErrNonFinite, "observation 2"},
		{"huge responses", scaled(1e298), nil, ErrScale, "rescale"},
		{"tiny responses", scaled(1e-302), nil, ErrScale, "rescale"},
		{"large but fair responses", scaled(1e100), nil, nil, ""},
		{"small but fair responses", scaled(1e-100), nil, nil, ""},
		{"duplicated rows", double, nil, nil, ""},
		{"one outlier", outlier, nil, nil, ""},
		{"unknown fixed name", good, &FitOptions{Fixed: map[string]float64{"plateau": 1}}, ErrBadInput, `"plateau"`},
		{"crossed bounds", good, &FitOptions{Bounds: map[string][2]float64{"slope": {3, 2}}}, ErrBadInput, "bounds"},
		{"wrong start length", good, &FitOptions{Start: []float64{1}}, ErrBadInput, "start values"},
		{"all fixed", good, &FitOptions{Fixed: map[string]float64{"zero": 80, "infinite": 20, "slope": 2, "location": 4}}, nil, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := Regress(Sigmoid{LogLogistic{}}, c.data, nil, c.opt)
			if c.want == nil && err != nil {
				t.Fatalf("error %v", err)
			}
			if c.want != nil && !errors.Is(err, c.want) {
				t.Fatalf("error %v, want one that is %v", err, c.want)
			}
			text := ""
			if err != nil {
				text = err.Error()
			}
			if r != nil {
				for _, w := range r.Warnings {
					text += w.Error() + "; "
				}
				if !finite(r.P) || math.IsNaN(r.RSS) {
					t.Errorf("estimates %v, RSS %g", r.P, r.RSS)
				}
				exercise(t, r)
			}
			if !strings.Contains(text, c.says) {
				t.Errorf("says %q, want %q in it", text, c.says)
			}
		})
	}
}

// exercise calls everything a result offers; errors are fine, NaN in an answer
// without an error is not.
func exercise(t *testing.T, r *Result) {
	t.Helper()
	iv := func(what string, i Interval, err error) {
		if err == nil && (math.IsNaN(i.Lo) || math.IsNaN(i.Hi) || i.Lo > i.Hi) {
			t.Errorf("%s: %+v without an error", what, i)
		}
	}
	for j := range r.P {
		a, err := r.Wald(j, 0.95)
		iv("Wald", a, err)
		b, err := r.Profile(j, 0.95)
		iv("profile", b, err)
	}
	for _, x := range []float64{0, 1, 1e6} {
		a, err := r.ConfidenceBand([]float64{x}, 0.95)
		iv("confidence band", a, err)
		b, err := r.PredictionBand([]float64{x}, 3, 0.95)
		iv("prediction band", b, err)
	}
	if s, ok := r.Model.(Sigmoid); ok {
		_, _, ci, err := r.Delta(EffectiveDose(s, 0.5), 0.95)
		iv("effective dose", ci, err)
		ci, err = r.ProfileDerived(EffectiveDose(s, 0.5), 0.95)
		iv("profile of the effective dose", ci, err)
	}
	inv := Inverse{Result: r, Lo: 0.01, Hi: 100}
	for _, y := range []float64{50, -1e6} {
		if reg, err := inv.Band(Target{Y: y, M: 1}, 0.95); err == nil && (math.IsNaN(reg.Lo) || math.IsNaN(reg.Hi)) {
			t.Errorf("inverse of %g: %+v", y, reg)
		}
	}
	_ = r.Correlation()
	_ = r.ObservedSE()
	if inf, err := r.Influences(); err == nil {
		for i, o := range inf {
			if math.IsNaN(o.Leverage) {
				t.Errorf("leverage of %d is NaN", i)
			}
		}
	}
	_, _ = r.Outliers(0.05)
	_, _ = r.LackOfFit()
	_, _ = r.LeaveOneOut()
	_, _ = r.Bootstrap(Parametric, 5, rand.New(rand.NewPCG(1, 2)))
	if r.String() == "" {
		t.Error("empty summary")
	}
}

// OECD 2006 fish data: with a free plateau the decay has no finite optimum, the
// plateau and the rate run away together.
func TestNoFiniteOptimum(t *testing.T) {
	decay := Func{
		Parameters: []Param{{Name: "plateau"}, {Name: "start"}, {Name: "scale"}},
		Value:      func(p, x []float64) float64 { return p[0] + (p[1]-p[0])*math.Exp(-x[0]/p[2]) },
	}
	r, err := Regress(decay, doseData(t, "O_mykiss.csv"), nil, &FitOptions{Start: []float64{0, 2.8, 100}})
	if !errors.Is(err, ErrNotIdentified) {
		t.Fatalf("error %v, want not identified", err)
	}
	for _, s := range []string{"plateau", "scale", "moved together"} {
		if !strings.Contains(err.Error(), s) {
			t.Errorf("error %q does not name %q", err, s)
		}
	}
	if r == nil || !finite(r.P) {
		t.Errorf("result %v", r)
	}
}

// Two clusters of doses cannot tell slope from location: the message names them.
func TestTwoClusters(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 2))
	var data []Observation
	for range 6 {
		data = append(data, Observation{X: []float64{0.1}, Y: 79 + rng.NormFloat64()}, Observation{X: []float64{50}, Y: 20 + rng.NormFloat64()})
	}
	r, err := Regress(Sigmoid{LogLogistic{}}, data, nil, nil)
	if err == nil {
		t.Fatalf("two doses fitted four parameters: %v", r)
	}
	if !errors.Is(err, ErrNotIdentified) {
		t.Errorf("error %v", err)
	}
}

// Strength and ratio always changed by the same factor: the data cannot tell
// which did it, and the message says so.
func TestConfoundedFactors(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	var data []Observation
	for k := range 12 {
		s := math.Exp(0.25 * float64(k))
		eta := 1.2*math.Log(s) - 1.5
		data = append(data, Observation{X: []float64{s, 2 * s}, Y: 80 - 60/(1+math.Exp(-eta)) + 0.3*rng.NormFloat64()})
	}
	m, err := NewMultiFactor(LogLogistic{}, []Factor{{Name: "strength", Transform: Ln}, {Name: "ratio", Transform: Ln}}, data)
	if err != nil {
		t.Fatal(err)
	}
	_, err = Regress(m, data, nil, nil)
	if !errors.Is(err, ErrNotIdentified) || !strings.Contains(err.Error(), "strength and ratio moved together") {
		t.Errorf("error %v", err)
	}
	// A prior on one exponent resolves it.
	r, err := Regress(m, data, nil, &FitOptions{Priors: map[string]Prior{"ratio": {0.5, 0.1}}})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(r.Value("ratio")-0.5) > 0.01 || math.Abs(r.Value("strength")+r.Value("ratio")-1.2) > 0.1 {
		t.Errorf("with a prior: %v", r)
	}
}

// A robust fit shrugs off what least squares cannot.
func TestRobust(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	truth := []float64{80, 20, 2, 5}
	m := Sigmoid{LogLogistic{}}
	var data []Observation
	for k := range 30 {
		x := math.Exp(-1 + 0.17*float64(k))
		data = append(data, Observation{X: []float64{x}, Y: m.Eval(truth, []float64{x}) + 0.5*rng.NormFloat64()})
	}
	data[12].Y += 25
	data[20].Y -= 18
	for _, l := range []Loss{Huber{}, Tukey{}} {
		r, err := Regress(m, data, nil, &FitOptions{Loss: l})
		if err != nil {
			t.Fatal(err)
		}
		for j, v := range truth {
			if math.Abs(r.P[j]-v) > 0.06*v {
				t.Errorf("%T: %s = %.3f, truth %g", l, r.Names[j], r.P[j], v)
			}
		}
		out, err := r.Outliers(0.05)
		if err != nil || len(out) < 2 || !(out[0].Index == 12 && out[1].Index == 20) {
			t.Errorf("%T: outliers %v %v", l, out, err)
		}
	}
	ls, err := Regress(m, data, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	out, err := ls.Outliers(0.05)
	if err != nil || len(out) == 0 || out[0].Index != 12 {
		t.Errorf("least squares: outliers %v %v", out, err)
	}
}
