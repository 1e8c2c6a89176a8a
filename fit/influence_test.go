package fit

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// One reading off a line that all others lie on is found, whichever way the
// scatter without it is rounded: it is nil, and the score endless or nearly so.
func TestOutlierOfExactData(t *testing.T) {
	for n := 5; n < 40; n++ {
		for _, shift := range []float64{5, -0.3} {
			data := make([]Observation, n)
			for i := range data {
				x := float64(i + 1)
				data[i] = Observation{X: []float64{x}, Y: 2 + 3*x}
			}
			data[n/2].Y += shift
			r, err := Regress(Polynomial(1), data, nil, nil)
			if err != nil {
				t.Fatal(err)
			}
			out, err := r.Outliers(0.01)
			if err != nil || len(out) != 1 || out[0].Index != n/2 || !(out[0].Score*shift > 1e6) {
				t.Errorf("n = %d, shifted by %g at %d: %v %v", n, shift, n/2, out, err)
			}
		}
	}
}

// What is left of exact data is rounding error, and no outlier.
func TestNoOutliersAmongRoundingErrors(t *testing.T) {
	rng := rand.New(rand.NewPCG(34, 0))
	for run := range 200 {
		a, b := rng.NormFloat64(), rng.NormFloat64()
		data := make([]Observation, 4+run%8)
		for i := range data {
			x := rng.Float64()
			data[i] = Observation{X: []float64{x}, Y: a + b*x}
		}
		r, err := Regress(Polynomial(1), data, nil, nil)
		if r == nil || err != nil && !errors.Is(err, ErrNotConverged) { // rounding error has no minimum to settle in
			t.Fatal(err)
		}
		if out, err := r.Outliers(0.01); err != nil || len(out) > 0 {
			t.Errorf("run %d: %v %v, SD %g", run, out, err, r.SD)
		}
	}
}

// A residual whose own left-out scatter rounds to nothing is not NaN.
func TestStudentOfExactDataIsInfinite(t *testing.T) {
	for n := 5; n < 40; n++ {
		data := make([]Observation, n)
		for i := range data {
			x := float64(i + 1)
			data[i] = Observation{X: []float64{x}, Y: 2 + 3*x}
		}
		data[n/2].Y += 5
		r, err := Regress(Polynomial(1), data, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		inf, err := r.Influences()
		if err != nil {
			t.Fatal(err)
		}
		for i, o := range inf {
			if math.IsNaN(o.Student) {
				t.Errorf("n = %d: Student of reading %d is NaN", n, i)
			}
		}
	}
}
