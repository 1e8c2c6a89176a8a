package fit

import (
	"errors"
	"math"
	"testing"
)

// Where a model has no value there is no band, and a search from high to low finds
// nothing: errors, as documented. ln x has none at x <= 0.
func TestNoBandWithoutAValue(t *testing.T) {
	logarithm := Func{Parameters: []Param{{Name: "a"}, {Name: "b"}}, Value: func(p, x []float64) float64 { return p[0] + p[1]*math.Log(x[0]) }}
	var data []Observation
	for i, y := range []float64{1.1, 1.6, 2.2, 2.3, 2.7} {
		data = append(data, Observation{X: []float64{float64(i + 1)}, Y: y})
	}
	r, err := Regress(logarithm, data, nil, &FitOptions{Start: []float64{1, 1}})
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []float64{-1, 0} {
		if b, err := r.ConfidenceBand([]float64{x}, 0.95); !errors.Is(err, ErrNonFinite) {
			t.Errorf("confidence band at %g: %v, %v", x, b, err)
		}
		if b, err := r.PredictionBand([]float64{x}, 1, 0.95); !errors.Is(err, ErrNonFinite) {
			t.Errorf("prediction band at %g: %v, %v", x, b, err)
		}
	}
	if _, err := r.ConfidenceBand([]float64{3}, 0.95); err != nil {
		t.Error(err)
	}
	for _, v := range []Inverse{{Result: r, Lo: 5, Hi: 1}, {Result: r, Lo: 2, Hi: 2}} {
		if x, err := v.Estimate(2); !errors.Is(err, ErrBadInput) {
			t.Errorf("from %g to %g: %g, %v", v.Lo, v.Hi, x, err)
		}
	}
	if _, err := r.Bootstrap(Parametric, 1<<60, nil); !errors.Is(err, ErrBadInput) {
		t.Errorf("a bootstrap of 2^60: %v", err)
	}
}
