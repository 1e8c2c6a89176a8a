package fit

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// An analysis of variance of values that do not vary has no F; where only the
// groups differ it is endless.
func TestOneWayOfExactData(t *testing.T) {
	for _, v := range []float64{0, 1, 0.1, -1e6 / 3} {
		if _, err := NewOneWay([][]float64{{v, v, v}, {v, v}}); !errors.Is(err, ErrTooFewData) {
			t.Errorf("all values %g: %v", v, err)
		}
	}
	a, err := NewOneWay([][]float64{{1, 1}, {2, 2}})
	if err != nil || !math.IsInf(a.F, 1) || a.P != 0 || a.WithinSS != 0 {
		t.Errorf("no scatter within groups: %+v %v, want F = +Inf, P = 0", a, err)
	}
}

// Values whose squares leave the range of numbers are refused.
func TestHugeAndTinyValues(t *testing.T) {
	for _, big := range []float64{1e200, 1e-200} {
		if _, err := NewOneWay([][]float64{{big, 2 * big}, {3 * big, 4 * big}}); !errors.Is(err, ErrScale) {
			t.Errorf("analysis of variance of %g: %v", big, err)
		}
		if _, _, _, err := Grubbs([]float64{big, 0, big / 2, big / 3}, 0.05); !errors.Is(err, ErrScale) {
			t.Errorf("Grubbs' test of %g: %v", big, err)
		}
	}
	// Scale does not matter in between.
	for _, unit := range []float64{1e100, 1, 1e-100} {
		i, g, _, err := Grubbs([]float64{1 * unit, 2 * unit, 3 * unit, 10 * unit}, 0.05)
		// Mean 4, squared deviations 9 + 4 + 1 + 36 = 50 on 3 degrees of freedom.
		if err != nil || i != 3 || math.Abs(g-6/math.Sqrt(50.0/3)) > 1e-12 {
			t.Errorf("unit %g: value %d, G = %g, %v", unit, i, g, err)
		}
	}
}

// What is left of a fit through all points is rounding error, not lack of fit;
// equal replicates off the curve are.
func TestLackOfFitOfExactData(t *testing.T) {
	data := func(y func(x float64) float64) []Observation {
		var d []Observation
		for i := 1; i <= 5; i++ {
			for range 3 {
				x := float64(i) / 3
				d = append(d, Observation{X: []float64{x}, Y: y(x)})
			}
		}
		return d
	}
	for _, slope := range []float64{2, 0.1, -1.7} {
		r, err := Regress(Polynomial(1), data(func(x float64) float64 { return 1 + slope*x }), nil, nil)
		if r == nil || err != nil && !errors.Is(err, ErrNotConverged) { // rounding error has no minimum to settle in
			t.Fatal(err)
		}
		if l, err := r.LackOfFit(); !errors.Is(err, ErrTooFewData) {
			t.Errorf("slope %g: %+v %v", slope, l, err)
		}
	}
	r, err := Regress(Polynomial(1), data(func(x float64) float64 { return x * x }), nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	if l, err := r.LackOfFit(); err != nil || !(l.F > 1e20) || l.P > 1e-20 {
		t.Errorf("a parabola by a line: %+v %v, want an endless F or nearly so", l, err)
	}
}

func TestIntervalsOfAnEmptyOneWay(t *testing.T) {
	wantPanic(t, "fit: OneWay.WithinInterval: of an analysis", func() { OneWay{}.WithinInterval(0.95) })
	wantPanic(t, "fit: OneWay.RatioInterval: of an analysis", func() { OneWay{}.RatioInterval(0.95) })
}

// Whether scatter is rounding error does not depend on the unit of the response,
// nor on that of the weights.
func TestExactInAnyUnit(t *testing.T) {
	for unit, weight := range map[float64]float64{1e-12: 1, 1: 1e-30, 1e12: 1} {
		data := relativeLine(rand.New(rand.NewPCG(36, 0)))
		data[7].Y *= 1.3
		for i := range data {
			data[i].Y *= unit
			data[i].Weight = weight
		}
		for _, w := range []Weights{Equal{}, Relative{}} {
			r, err := Regress(Polynomial(1), data, w, nil)
			if err != nil {
				t.Fatal(err)
			}
			if out, err := r.Outliers(0.01); err != nil || len(out) != 1 || out[0].Index != 7 || len(r.Warnings) > 0 {
				t.Errorf("unit %g, %T: %v %v %v, want observation 7", unit, w, out, err, r.Warnings)
			}
			if l, err := r.LackOfFit(); err != nil || !(l.F > 0 && l.F < 10) {
				t.Errorf("unit %g, %T: %+v %v", unit, w, l, err)
			}
		}
	}
}
