package fit

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// relativeLine draws 40 readings of 10 + 30x at x = 1 to 10 whose scatter is
// 3 % of their mean.
func relativeLine(rng *rand.Rand) []Observation {
	data := make([]Observation, 40)
	for i := range data {
		x := float64(i%10 + 1)
		data[i] = Observation{X: []float64{x}, Y: (10 + 30*x) * (1 + 0.03*rng.NormFloat64())}
	}
	return data
}

// Inverse intervals of new observations hold the true dose as often as their
// level says, also where the scatter of a new observation depends on its mean:
// within four standard errors of the nominal 95 %.
func TestInverseCoverageRelative(t *testing.T) {
	const runs, profiles = 2000, 500
	for _, target := range []struct{ m, pooled int }{{0, 0}, {1, 0}, {4, 0}, {4, 1}} {
		rng := rand.New(rand.NewPCG(31, uint64(target.m+10*target.pooled)))
		var delta, fieller, band, profile covered
		for run := range runs {
			r, err := Regress(Polynomial(1), relativeLine(rng), Relative{}, nil)
			if err != nil {
				t.Fatal(err)
			}
			x := 2 + 8*rng.Float64()
			mean := 10 + 30*x
			tg := Target{Y: mean, M: target.m}
			if tg.M > 0 {
				y := make([]float64, tg.M)
				tg.Y = 0
				for i := range y {
					y[i] = mean * (1 + 0.03*rng.NormFloat64())
					tg.Y += y[i] / float64(tg.M)
				}
				if target.pooled > 0 {
					tg.PooledDF = tg.M - 1
					for _, v := range y {
						tg.PooledSS += (v - tg.Y) * (v - tg.Y)
					}
				}
			}
			v := Inverse{Result: r, Lo: 0.1, Hi: 25}
			_, _, ci, err := v.Delta(tg, 0.95)
			delta.add(err == nil && ci.Contains(x))
			f, err := v.Fieller(tg, 0.95)
			fieller.add(err == nil && f.Contains(x))
			b, err := v.Band(tg, 0.95)
			band.add(err == nil && b.Contains(x))
			if run < profiles && tg.PooledDF == 0 {
				p, err := v.Profile(tg, 0.95)
				profile.add(err == nil && p.Contains(x))
			}
		}
		for name, c := range map[string]covered{"Delta": delta, "Fieller": fieller, "Band": band, "Profile": profile} {
			if c.all == 0 {
				continue
			}
			margin := 4 * 100 * math.Sqrt(0.95*0.05/float64(c.all))
			t.Logf("M = %d, pooled %d: %s %.1f %%", target.m, target.pooled, name, c.percent())
			if p := c.percent(); math.Abs(p-95) > margin {
				t.Errorf("M = %d, pooled %d: %s covered %.1f %%, want 95 ± %.1f", target.m, target.pooled, name, p, margin)
			}
		}
	}
}

// For a straight line three ways lead to one region: a closed form, the band
// read sideways, and refits through the target.
func TestInverseRelativeAgrees(t *testing.T) {
	r, err := Regress(Polynomial(1), relativeLine(rand.New(rand.NewPCG(32, 0))), Relative{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	v := Inverse{Result: r, Lo: 0.1, Hi: 25}
	for _, m := range []int{0, 1, 4} {
		tg := Target{Y: 160, M: m}
		f, err1 := v.Fieller(tg, 0.95)
		b, err2 := v.Band(tg, 0.95)
		p, err3 := v.Profile(tg, 0.95)
		if err := errors.Join(err1, err2, err3); err != nil || f.Kind != Segment || b.Kind != Segment || p.Kind != Segment {
			t.Fatal(f, b, p, err)
		}
		for _, o := range []Region{b, p} {
			digits(t, "lower limit", o.Lo, f.Lo, 6)
			digits(t, "upper limit", o.Hi, f.Hi, 6)
		}
	}
}

// A known scatter leaves nothing for pooled scatter to add: the two would be
// in different units.
func TestInversePooledNeedsUnknownScatter(t *testing.T) {
	r, err := Regress(Polynomial(1), relativeLine(rand.New(rand.NewPCG(33, 0))), KnownSD{5}, nil)
	if err != nil {
		t.Fatal(err)
	}
	v := Inverse{Result: r, Lo: 0.1, Hi: 25}
	tg := Target{Y: 160, M: 3, PooledSS: 40, PooledDF: 2}
	_, err1 := v.Fieller(tg, 0.95)
	_, err2 := v.Band(tg, 0.95)
	_, _, _, err3 := v.Delta(tg, 0.95)
	for _, err := range []error{err1, err2, err3} {
		if !errors.Is(err, ErrBadInput) {
			t.Errorf("pooled scatter beside a known one: %v, want bad input", err)
		}
	}
	// Pooled scatter of relative size needs a response to be relative to.
	r, err = Regress(Polynomial(1), relativeLine(rand.New(rand.NewPCG(33, 0))), Relative{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := (Inverse{Result: r, Lo: -10, Hi: 25}).Fieller(Target{M: 3, PooledSS: 40, PooledDF: 2}, 0.95); !errors.Is(err, ErrBadInput) {
		t.Errorf("relative scatter about 0: %v, want bad input", err)
	}
}

// Without residual degrees of freedom there is no scatter to go by but that
// of the new observations.
func TestInverseOfExactlyDetermined(t *testing.T) {
	data := []Observation{{X: []float64{1}, Y: 5}, {X: []float64{2}, Y: 8}}
	r, err := Regress(Polynomial(1), data, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	v := Inverse{Result: r, Lo: 0, Hi: 10}
	tg := Target{Y: 6, M: 4}
	_, err1 := v.Fieller(tg, 0.95)
	_, err2 := v.Band(tg, 0.95)
	_, _, _, err3 := v.Delta(tg, 0.95)
	_, err4 := v.Profile(tg, 0.95)
	for i, err := range []error{err1, err2, err3, err4} {
		if !errors.Is(err, ErrTooFewData) {
			t.Errorf("method %d without scatter: %v, want too few data", i, err)
		}
	}
	// With s² = 0.3/3 = 0.1 on 3 degrees of freedom, t = 3.182446 (tables of
	// Student's t): at the line 2 + 3x through the two points, doses x with
	// (6 − 2 − 3x)² ≤ t² s² (1/4 + 5 − 6x + 2x²), by the formula of the
	// variance of a line through two points at 1 and 2, (2−x)² + (x−1)².
	tg.PooledSS, tg.PooledDF = 0.3, 3
	k := 3.182446305284263 * 3.182446305284263 * 0.1
	a, b, c := 9-2*k, -24+6*k, 16-5.25*k
	d := math.Sqrt(b*b - 4*a*c)
	lo, hi := (-b-d)/(2*a), (-b+d)/(2*a)
	f, err := v.Fieller(tg, 0.95)
	if err != nil || f.Kind != Segment {
		t.Fatal(f, err)
	}
	digits(t, "Fieller", f.Lo, lo, 9)
	digits(t, "Fieller", f.Hi, hi, 9)
	w, err := v.Band(tg, 0.95)
	if err != nil || w.Kind != Segment {
		t.Fatal(w, err)
	}
	digits(t, "band", w.Lo, lo, 9)
	digits(t, "band", w.Hi, hi, 9)
	x, se, _, err := v.Delta(tg, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	digits(t, "dose", x, 4.0/3, 12)
	// √(s²(1/4 + (2−x)² + (x−1)²))/slope at x = 4/3.
	digits(t, "SE", se, math.Sqrt(0.1*(0.25+4.0/9+1.0/9))/3, 9)
}

// A region narrower than the steps of the scan is found by the least distance
// from the band.
func TestInverseNarrowerThanItsScan(t *testing.T) {
	r, err := Regress(Polynomial(1), relativeLine(rand.New(rand.NewPCG(35, 0))), nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	tg := Target{Y: 160, M: 1}
	f, err := Inverse{Result: r}.Fieller(tg, 0.95)
	if err != nil || f.Kind != Segment {
		t.Fatal(f, err)
	}
	for _, reach := range []float64{1e3, 1e4, 1e6} {
		b, err := Inverse{Result: r, Lo: -reach, Hi: 1.3 * reach}.Band(tg, 0.95)
		if err != nil || b.Kind != Segment {
			t.Fatal(b, err)
		}
		digits(t, "lower limit", b.Lo, f.Lo, 9)
		digits(t, "upper limit", b.Hi, f.Hi, 9)
	}
	// Where the range is next to nothing, the search ends all the same.
	x, err := Inverse{Result: r, Lo: 0, Hi: 30}.Estimate(160)
	if err != nil {
		t.Fatal(err)
	}
	for _, lo := range []float64{x, x + 1} {
		if _, err := (Inverse{Result: r, Lo: lo, Hi: math.Nextafter(lo, 30)}).Band(Target{Y: 160}, 1e-9); err != nil {
			t.Error(err)
		}
	}
}
