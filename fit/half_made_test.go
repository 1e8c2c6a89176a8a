package fit

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// A model that lacks a part is an error that names the part, not a panic.
func TestHalfMadeModelsAreErrors(t *testing.T) {
	data := scattered(rand.New(rand.NewPCG(41, 0)), 10, 0)
	start := &FitOptions{Start: []float64{1}}
	for want, f := range map[string]func() (*Result, error){
		"Linear without Basis":      func() (*Result, error) { return Regress(Linear{Names: []string{"a"}}, data, nil, nil) },
		"Func without Value":        func() (*Result, error) { return Regress(Func{Parameters: []Param{{Name: "a"}}}, data, nil, start) },
		"Sigmoid without Curve":     func() (*Result, error) { return Regress(Sigmoid{}, data, nil, nil) },
		"MultiFactor without Curve": func() (*Result, error) { return Regress(MultiFactor{}, data, nil, nil) },
		"without a model":           func() (*Result, error) { return Regress(nil, data, nil, nil) },
	} {
		if r, err := f(); r != nil || !errors.Is(err, ErrBadInput) || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", want, err)
		}
	}
}

// grouped is a fit of one factor under a logarithm, in three groups.
func grouped(t *testing.T) (*Result, []Observation) {
	t.Helper()
	rng := rand.New(rand.NewPCG(1, 2))
	var data []Observation
	for i := range 60 {
		x, g := math.Exp(float64(i%10)/3), float64(i%3)
		f := (LogLogistic{}).At(2*math.Log(x) - 3 + 0.3*g)
		data = append(data, Observation{X: []float64{x, g}, Y: 20 + 50*f + 0.3*rng.NormFloat64()})
	}
	m, err := NewMultiFactor(LogLogistic{}, []Factor{{Name: "s", Transform: Ln}}, data)
	if err != nil {
		t.Fatal(err)
	}
	m.Groups = []string{"a", "b", "c"}
	r, err := Regress(m, data, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r, data
}

// A model of several groups answers at whole numbers of groups that it has,
// and a factor under a logarithm above 0: elsewhere there is an error.
func TestSigmoidAndMultiFactorWhereTheyHaveNoResponse(t *testing.T) {
	r, data := grouped(t)
	for _, g := range []float64{0, 1, 2} {
		iv, err := r.ConfidenceBand([]float64{3, g}, 0.95)
		if y := 20 + 50*(LogLogistic{}).At(2*math.Log(3)-3+0.3*g); err != nil || math.Abs((iv.Lo+iv.Hi)/2-y) > 0.5 {
			t.Errorf("group %g: %v %v, want about %g", g, iv, err, y)
		}
	}
	inf := math.Inf(1)
	for _, x := range [][]float64{{3, 3}, {3, 7}, {3, 0.5}, {3, 1.5}, {3, -1}, {3, -7}, {3, inf}, {3, -inf}, {-3, 1}, {0, 1}, {inf, 1}} {
		_, err1 := r.ConfidenceBand(x, 0.95)
		_, err2 := r.PredictionBand(x, 1, 0.95)
		for _, err := range []error{err1, err2} {
			if !errors.Is(err, ErrBadInput) {
				t.Errorf("band at %v: %v", x, err)
			}
		}
		if y, se := r.Mean(x); !math.IsNaN(y) || !math.IsNaN(se) {
			t.Errorf("mean at %v: %g, SE %g, want NaN", x, y, se)
		}
		// The search along the first predictor leaves only its group open.
		if _, err := (Inverse{Result: r, At: x, Lo: 1, Hi: 30}).Band(Target{Y: 40}, 0.95); (err == nil) != (x[1] == 1) {
			t.Errorf("inverse at %v: %v", x, err)
		}
		if math.IsInf(x[0], 0) || math.IsInf(x[1], 0) {
			continue
		}
		bad := append([]Observation(nil), data...)
		bad[5].X = x
		_, err1 = Regress(r.Model, bad, nil, nil)
		_, err2 = Regress(r.Model, bad, nil, &FitOptions{Start: r.P})
		for _, err := range []error{err1, err2} {
			if !errors.Is(err, ErrBadInput) || !strings.Contains(err.Error(), "observation 5") {
				t.Errorf("fit with %v: %v", x, err)
			}
		}
	}
	if _, err := (Inverse{Result: r, Axis: 1, At: []float64{3, 0}, Lo: 0, Hi: 2}).Band(Target{Y: 40}, 0.95); !errors.Is(err, ErrBadInput) {
		t.Errorf("inverse along the number of the group: %v", err)
	}
	short := []Observation{{X: []float64{1}, Y: 1}, {X: []float64{2}, Y: 2}, {X: []float64{3}, Y: 3}, {X: []float64{4}, Y: 4}, {X: []float64{5}, Y: 5}, {X: []float64{6}, Y: 6}}
	if _, err := Regress(r.Model, short, nil, &FitOptions{Start: r.P}); !errors.Is(err, ErrBadInput) {
		t.Errorf("fit without groups: %v", err)
	}
	// A Sigmoid has a response at no and at infinite dose, none below.
	var one []Observation
	for _, o := range data {
		one = append(one, Observation{X: o.X[:1], Y: o.Y})
	}
	s, err := Regress(Sigmoid{LogLogistic{}}, one, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.ConfidenceBand([]float64{-3}, 0.95); !errors.Is(err, ErrBadInput) {
		t.Errorf("sigmoid at a negative dose: %v", err)
	}
	// A search for a dose may begin below, where it finds nothing.
	if reg, err := (Inverse{Result: s, Lo: -5, Hi: 30}).Band(Target{Y: 45}, 0.95); err != nil || reg.Kind != Segment || reg.Lo < 0 {
		t.Errorf("search from a negative dose: %v %v", reg, err)
	}
	// At its ends the response is a parameter, and so is its interval.
	for x, j := range map[float64]int{0: Zero, inf: Infinite} {
		iv, err1 := s.ConfidenceBand([]float64{x}, 0.95)
		want, err2 := s.Wald(j, 0.95)
		if err := errors.Join(err1, err2); err != nil {
			t.Fatal(x, err)
		}
		digits(t, "band at an end", iv.Lo, want.Lo, 12)
		digits(t, "band at an end", iv.Hi, want.Hi, 12)
	}
	one[3].X = []float64{-1}
	if _, err := Regress(Sigmoid{LogLogistic{}}, one, nil, &FitOptions{Start: s.P}); !errors.Is(err, ErrBadInput) {
		t.Errorf("sigmoid with a negative dose: %v", err)
	}
}
