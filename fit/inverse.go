package fit

import (
	"fmt"
	"math"
)

// A Target is a response whose dose is wanted. Y is in units of the response. M
// is the number of new observations behind Y (their mean); M = 0 means that Y
// is a true mean response, without scatter of its own.
//
// PooledSS and PooledDF add the scatter among the new observations, a sum of
// squares with its degrees of freedom, to the residual variance; leave them
// zero to rely on the fit's residuals alone. With Relative weights PooledSS is
// taken in proportion to Y², so that Y must not be 0; with KnownSD there is
// nothing to add to, and a PooledDF is an error.
type Target struct {
	Y        float64
	M        int
	PooledSS float64
	PooledDF int
}

// An Inverse estimates the dose x that gives a response, along one predictor.
type Inverse struct {
	Result *Result
	// Axis is the place of the predictor in X, from 0; At has as many values as
	// X and holds the others (nil for one predictor). Methods return an error
	// where these do not go with the data.
	Axis int
	At   []float64
	// Lo and Hi bound the search. ±Inf is allowed for models that are linear
	// in the predictor (see Fieller); elsewhere give the range that makes sense.
	Lo, Hi float64
}

func (v Inverse) x(x float64) []float64 {
	if v.At == nil {
		return []float64{x}
	}
	xs := append([]float64(nil), v.At...)
	xs[v.Axis] = x
	return xs
}

// Estimate returns the dose at which the fitted response is y, by bisection on
// [Lo, Hi], both finite and Lo below Hi; an error says where y lies when it is not reached.
func (v Inverse) Estimate(y float64) (float64, error) {
	if err := v.checkPlace(); err != nil {
		return math.NaN(), err
	}
	if !finite([]float64{y, v.Lo, v.Hi}) {
		return math.NaN(), fmt.Errorf("fit: response %g in the search range [%g, %g]: %w", y, v.Lo, v.Hi, ErrNonFinite)
	}
	if !(v.Lo < v.Hi) {
		return math.NaN(), fmt.Errorf("fit: %w: the search range [%g, %g] needs Lo below Hi", ErrBadInput, v.Lo, v.Hi)
	}
	f := func(x float64) float64 { return v.Result.Model.Eval(v.Result.P, v.x(x)) - y }
	const steps = 256
	at := func(k int) float64 { return v.Lo + (v.Hi-v.Lo)*float64(k)/steps }
	for k := 0; k < steps; k++ {
		a, b := at(k), at(k+1)
		fa, fb := f(a), f(b)
		if fa == 0 {
			return a, nil
		}
		if fb == 0 {
			return b, nil
		}
		if (fa > 0) != (fb > 0) && !math.IsNaN(fa) && !math.IsNaN(fb) {
			return bisect(f, a, b), nil
		}
	}
	return math.NaN(), fmt.Errorf("fit: response %.6g is not reached between %.6g (%.6g) and %.6g (%.6g)", y, v.Lo, f(v.Lo)+y, v.Hi, f(v.Hi)+y)
}

// scatter is what an interval for a target rests on.
type scatter struct {
	s2 float64 // residual variance at unit weight
	// The variance of the target itself, where the mean response is y, is
	// own + relative·y².
	own, relative float64
	q             float64 // quantile
}

// at is the variance of the target where the mean response is y.
func (s scatter) at(y float64) float64 { return s.own + s.relative*y*y }

// scatter of a target that passed check.
func (v Inverse) scatter(t Target, level float64) scatter {
	r := v.Result
	df, ss := float64(r.DF), 0.0
	if r.DF > 0 {
		ss = r.SD * r.SD * df
	}
	_, relative := r.weights.(Relative)
	s := scatter{s2: r.SD * r.SD}
	if t.PooledDF > 0 {
		pooled := t.PooledSS
		if relative {
			pooled /= t.Y * t.Y
		}
		df += float64(t.PooledDF)
		s.s2 = (ss + pooled) / df
	}
	s.q = r.quantile(level, df)
	if t.M > 0 {
		m := float64(t.M)
		switch k, ok := r.weights.(KnownSD); {
		case ok:
			s.own = k[0] * k[0] / m
		case relative:
			s.relative = s.s2 / m
		default:
			s.own = s.s2 / m
		}
	}
	return s
}

func (v Inverse) check(t Target, level float64) error {
	if err := v.checkTarget(t, level); err != nil {
		return err
	}
	r := v.Result
	if r.cov == nil {
		return fmt.Errorf("fit: no inverse interval: %w", ErrNotIdentified)
	}
	if r.comps != nil {
		return fmt.Errorf("fit: %w: inverse intervals of a variance function go by Profile or Bootstrap", ErrBadInput)
	}
	if k, ok := r.weights.(KnownSD); ok && len(k) != 1 {
		return fmt.Errorf("fit: %w: inverse intervals need one known SD for all", ErrBadInput)
	}
	_, relative := r.weights.(Relative)
	switch {
	case t.PooledDF > 0 && r.weights.known():
		return fmt.Errorf("fit: %w: pooled scatter beside a known SD (leave PooledSS and PooledDF zero, or fit with Equal weights)", ErrBadInput)
	case t.PooledDF > 0 && relative && t.Y == 0:
		return fmt.Errorf("fit: %w: pooled scatter in proportion to a target of 0", ErrBadInput)
	case r.DF+t.PooledDF <= 0 && !r.weights.known():
		return fmt.Errorf("fit: no inverse interval without residual degrees of freedom (measure more, or give the scatter among several new observations as PooledSS and PooledDF): %w", ErrTooFewData)
	}
	return nil
}

// Delta returns the dose for the target with its delta-method standard error
// and symmetric interval, at a level in (0,1).
func (v Inverse) Delta(t Target, level float64) (x, se float64, ci Interval, err error) {
	if err = v.check(t, level); err != nil {
		return
	}
	if x, err = v.Estimate(t.Y); err != nil {
		return
	}
	r := v.Result
	g := make([]float64, len(r.P))
	r.Model.Grad(g, r.P, v.x(x))
	s := v.scatter(t, level)
	var slope [1]float64
	by := newDifferences(1, 1, func(dst, x []float64) { dst[0] = r.Model.Eval(r.P, v.x(x[0])) })
	by.reach = reaches([]float64{v.Lo}, []float64{v.Hi})
	by.jacobian(slope[:], []float64{x})
	se = math.Sqrt(s.s2*r.factor.Quadratic(g)+s.at(t.Y)) / math.Abs(slope[0])
	if math.IsNaN(se) || math.IsInf(se, 0) {
		return x, se, ci, fmt.Errorf("fit: the curve is flat at dose %.6g: %w", x, ErrNotIdentified)
	}
	return x, se, Interval{Lo: x - s.q*se, Hi: x + s.q*se, Level: level}, nil
}

// straight tells whether l is the line p0 + p1·x in the one predictor there is.
func (l Linear) straight(predictors, axis int) bool {
	if len(l.Names) != 2 || predictors != 1 || axis != 0 {
		return false
	}
	var g [2]float64
	for _, x := range []float64{-2, 0, 1, 3} {
		if l.Basis(g[:], []float64{x}); g != [2]float64{1, x} {
			return false
		}
	}
	return true
}

// Fieller returns the exact region for a model y = p0 + p1·x (Polynomial(1)):
// the doses at which the band covers the target. It is a segment only while the
// slope is significant. With Relative weights it is as exact as these, which
// follow the fit. The level is in (0,1).
func (v Inverse) Fieller(t Target, level float64) (Region, error) {
	if err := v.checkTarget(t, level); err != nil {
		return Region{}, err
	}
	r := v.Result
	if l, ok := r.Model.(Linear); !ok || !l.straight(len(r.data[0].X), v.Axis) {
		return Region{}, fmt.Errorf("fit: %w: Fieller's region is for straight lines, a Linear with the terms 1 and x", ErrBadInput)
	}
	if err := v.check(t, level); err != nil {
		return Region{}, err
	}
	s := v.scatter(t, level)
	c := r.cov
	p0, p1 := r.P[0], r.P[1]
	k := s.q * s.q
	// (Y − p0 − p1 x)² ≤ q²(own + relative (p0 + p1 x)² + s²(c00 + 2c01 x + c11 x²)),
	// a x² + 2b x + e ≤ 0.
	d := t.Y - p0
	a := p1*p1 - k*(s.relative*p1*p1+s.s2*c[3])
	b := -d*p1 - k*(s.relative*p0*p1+s.s2*c[1])
	e := d*d - k*(s.at(p0)+s.s2*c[0])
	disc := b*b - a*e
	inf := math.Inf(1)
	switch {
	case a > 0 && disc < 0:
		return Region{Kind: Nowhere, Lo: inf, Hi: -inf, Level: level}, nil
	case a <= 0 && disc < 0:
		return Region{Kind: WholeLine, Lo: -inf, Hi: inf, Level: level}, nil
	case a == 0:
		x := -e / (2 * b)
		if b > 0 {
			return Region{Kind: HalfLineDown, Lo: -inf, Hi: x, Level: level}, nil
		}
		return Region{Kind: HalfLineUp, Lo: x, Hi: inf, Level: level}, nil
	}
	// The stable pair of roots.
	w := -(b + math.Copysign(math.Sqrt(disc), b))
	x1, x2 := w/a, e/w
	lo, hi := math.Min(x1, x2), math.Max(x1, x2)
	if a > 0 {
		return Region{Kind: Segment, Lo: lo, Hi: hi, Level: level}, nil
	}
	return Region{Kind: TwoHalfLines, Lo: lo, Hi: hi, Level: level}, nil
}

// Band returns the doses in [Lo, Hi] at which the confidence band (M = 0) or
// the prediction band (M > 0) covers the target. A side that reaches the end of
// the search range without leaving the band counts as not limited. The level is
// in (0,1).
func (v Inverse) Band(t Target, level float64) (Region, error) {
	if err := v.check(t, level); err != nil {
		return Region{}, err
	}
	r := v.Result
	s := v.scatter(t, level)
	g := make([]float64, len(r.P))
	return v.region(level, func(x float64) float64 {
		y := r.Model.Grad(g, r.P, v.x(x))
		return math.Abs(y-t.Y) - s.q*math.Sqrt(s.s2*r.factor.Quadratic(g)+s.at(y))
	})
}

// Profile returns the doses in [Lo, Hi] at which the curve can be refitted
// through the target (M = 0), or together with M new observations of mean Y,
// within the likelihood-ratio threshold. It is slower than Band and right for
// strongly curved models. With a VarianceFunction the target must have M = 0.
// The level is in (0,1). PooledSS and PooledDF of the target are not used. With
// Relative weights new observations weigh what others would at the dose tried, by
// the fit as it is.
func (v Inverse) Profile(t Target, level float64) (Region, error) {
	if err := v.checkTarget(t, level); err != nil {
		return Region{}, err
	}
	r := v.Result
	if r.cov == nil {
		return Region{}, fmt.Errorf("fit: no inverse interval: %w", ErrNotIdentified)
	}
	if r.comps != nil && t.M > 0 {
		return Region{}, fmt.Errorf("fit: %w: with a variance function only a mean response (M = 0) has a profile", ErrBadInput)
	}
	if k, ok := r.weights.(KnownSD); ok && t.M > 0 && len(k) != 1 {
		return Region{}, fmt.Errorf("fit: %w: inverse intervals of new observations need one known SD for all", ErrBadInput)
	}
	pr, err := r.profiler()
	if err != nil {
		return Region{}, err
	}
	g := make([]float64, len(r.P))
	x0, err := v.Estimate(t.Y)
	if err != nil {
		x0 = (v.Lo + v.Hi) / 2
	}
	r.Model.Grad(g, r.P, v.x(x0))
	pr.setDF(r, g, level)
	unit := 1.0
	if k, ok := r.weights.(KnownSD); ok {
		unit = 1 / k[0]
	}
	at := 0.0
	weight := unit * math.Sqrt(float64(t.M))
	if t.M == 0 {
		se, _, _ := r.contrast(g, nil)
		weight = 1e7 * pr.s / se
	}
	pr.t.extra = []extraRow{{target: t.Y, weight: weight, value: func(grad, p []float64) float64 {
		return r.Model.Grad(grad, p, v.x(at))
	}}}
	_, relative := r.weights.(Relative)
	return v.region(level, func(x float64) float64 {
		at = x
		if relative && t.M > 0 {
			pr.t.extra[0].weight = weight / math.Abs(r.Model.Eval(r.P, v.x(x)))
		}
		copy(pr.p, r.P)
		rss, ok := pr.solve()
		if !ok {
			return math.Inf(1)
		}
		if t.M == 0 {
			last := pr.t.sol.Residuals[len(pr.t.sol.Residuals)-1]
			rss -= last * last
			if math.Abs(last) > 10*pr.s {
				return math.Inf(1)
			}
		}
		return math.Sqrt(math.Max(0, rss-pr.rss0))/pr.s - pr.q
	})
}
