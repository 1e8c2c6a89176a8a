package fit

import (
	"math"
	"math/rand/v2"
	"testing"
)

// slopeAtBound is a line whose slope would fall below the bound.
func slopeAtBound(t *testing.T, bound [2]float64) *Result {
	t.Helper()
	rng := rand.New(rand.NewPCG(1, 2))
	data := make([]Observation, 20)
	for i := range data {
		x := float64(i + 1)
		data[i] = Observation{X: []float64{x}, Y: 2 + (bound[0]-0.03)*x + 0.3*rng.NormFloat64()}
	}
	r, err := Regress(Polynomial(1), data, nil, &FitOptions{Bounds: map[string][2]float64{"b1": bound}})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// Half of the mixture that the statistic follows at a bound lies at 0 (S.G.
// Self, K.Y. Liang, J. Amer. Stat. Assoc. 82 (1987) 605): up to a level of one
// half the bound is the whole interval.
func TestOneSidedProfileOfLowLevel(t *testing.T) {
	for _, b := range []float64{0, 1} {
		r := slopeAtBound(t, [2]float64{b, b + 10})
		if r.AtBound[1] != -1 {
			t.Fatal("not at its bound")
		}
		for _, level := range []float64{0.01, 0.1, 0.3, 0.499, 0.5} {
			for name, f := range map[string]func(int, float64) (Interval, error){"Profile": r.Profile, "Wald": r.Wald} {
				iv, err := f(1, level)
				if err != nil || iv != (Interval{Lo: b, Hi: b, Level: level}) {
					t.Errorf("%s at bound %g, level %g: %+v %v, want the bound", name, b, level, iv, err)
				}
			}
		}
		last := b
		for _, level := range []float64{0.501, 0.6, 0.8, 0.95} {
			iv, err := r.Profile(1, level)
			if err != nil || iv.Lo != b || !(iv.Hi > last) {
				t.Errorf("bound %g, level %g: %+v %v, want it to grow from %g", b, level, iv, err, last)
			}
			last = iv.Hi
		}
	}
}

// Equal bounds leave nothing to estimate: the parameter is fixed.
func TestEqualBoundsFix(t *testing.T) {
	r := slopeAtBound(t, [2]float64{1, 1})
	fixed, err := Regress(r.Model, r.data, nil, &FitOptions{Fixed: map[string]float64{"b1": 1}})
	if err != nil {
		t.Fatal(err)
	}
	if !r.Fixed[1] || r.AtBound[1] != 0 || r.P[1] != 1 || r.P[0] != fixed.P[0] || r.DF != fixed.DF {
		t.Errorf("fixed %v, at bound %v, %v on %d df; fixed by name %v on %d", r.Fixed, r.AtBound, r.P, r.DF, fixed.P, fixed.DF)
	}
	for name, f := range map[string]func(int, float64) (Interval, error){"Profile": r.Profile, "Wald": r.Wald} {
		if iv, err := f(1, 0.95); err != nil || iv != (Interval{Lo: 1, Hi: 1, Level: 0.95}) {
			t.Errorf("%s: %+v %v, want the point 1", name, iv, err)
		}
	}
	// A self-starting model starts from it.
	rng := rand.New(rand.NewPCG(3, 4))
	data := make([]Observation, 24)
	for i := range data {
		x := []float64{0.5 * float64(i%8+1)}
		data[i] = Observation{X: x, Y: (Sigmoid{LogLogistic{}}).Eval([]float64{8, 0.5, 3, 2}, x) + 0.2*rng.NormFloat64()}
	}
	a, err := Regress(Sigmoid{LogLogistic{}}, data, nil, &FitOptions{Bounds: map[string][2]float64{"infinite": {0.4, 0.4}}})
	if err != nil {
		t.Fatal(err)
	}
	b, err := Regress(Sigmoid{LogLogistic{}}, data, nil, &FitOptions{Fixed: map[string]float64{"infinite": 0.4}})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(a.RSS-b.RSS) > 1e-12*b.RSS || !a.Fixed[Infinite] {
		t.Errorf("RSS %g with equal bounds, %g fixed", a.RSS, b.RSS)
	}
}
