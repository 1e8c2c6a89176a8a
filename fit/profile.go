package fit

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// A Derived quantity is a function of the parameters, such as an effective
// dose or a response. p has all parameters of the model, fixed ones included, and
// Grad sets dst, as long, to the derivatives. Grad may be nil: extrapolated
// differences of Value then stand in for it, as in Func.
type Derived struct {
	Name  string
	Value func(p []float64) float64
	Grad  func(dst, p []float64)
	// Lower and Upper are the natural limits, such as 0 for a dose; both 0
	// means none.
	Lower, Upper float64
}

// gradient returns the derivatives by the parameters as a function; where
// differences make them, 0 by parameters that are not free.
func (r *Result) gradient(d Derived) func(dst, p []float64) {
	if d.Grad != nil {
		return d.Grad
	}
	by := newDifferences(1, len(r.P), func(dst, p []float64) { dst[0] = d.Value(p) })
	by.skip = func(j int) bool { return !slices.Contains(r.free, j) }
	by.reach = r.reach
	return by.jacobian
}

// Delta returns a derived quantity with its delta-method standard error and
// symmetric interval. A level outside (0,1) is an error.
func (r *Result) Delta(d Derived, level float64) (value, se float64, ci Interval, err error) {
	if d.Value == nil {
		return math.NaN(), math.NaN(), ci, fmt.Errorf("fit: %w: derived quantity %q has no Value", ErrBadInput, d.Name)
	}
	if err := checkLevel(level); err != nil {
		return math.NaN(), math.NaN(), ci, err
	}
	g := make([]float64, len(r.P))
	r.gradient(d)(g, r.P)
	value = d.Value(r.P)
	se, df, err := r.contrast(g, nil)
	if err != nil {
		return value, math.NaN(), ci, err
	}
	if !finite(g) || math.IsNaN(value) || math.IsInf(value, 0) {
		return value, math.NaN(), ci, fmt.Errorf("fit: %s at the estimate: %w", d.Name, ErrNonFinite)
	}
	return value, se, r.symmetric(value, se, df, level), nil
}

// EffectiveDose returns the dose at which fraction q in (0,1) of the way from
// no dose to infinite dose is gone, as a Derived quantity of a Sigmoid fit. It is
// in units of x, and NaN for a q outside [0,1]. It panics on an s without Curve.
func EffectiveDose(s Sigmoid, q float64) Derived {
	fam := s.Curve.family()
	return Derived{Name: fmt.Sprintf("ED%g", 100*q), Lower: 0, Upper: math.Inf(1),
		Value: func(p []float64) float64 { return s.EffectiveDose(p, q) },
		Grad: func(dst, p []float64) {
			clear(dst)
			u := unitInverse(fam, shapeOf(p), q)
			ed := p[Location] * math.Exp(u/p[Slope])
			dst[Location] = ed / p[Location]
			dst[Slope] = -ed * u / (p[Slope] * p[Slope])
			if len(p) > Shape {
				// F(u, shape) = q: du/dshape = −F_shape/F_u.
				_, _, du, ds := unit(fam, p[Shape], u)
				dst[Shape] = -ed / p[Slope] * ds / du
			}
		}}
}

// Profile returns the profile-likelihood interval of parameter j: all values
// at which the other parameters can still follow the data within the
// threshold. A side that never reaches the threshold is open, and says so. At a
// bound the interval is one-sided, and up to a level of one half it is the bound
// alone. A place j that the model does not have is an error, and so is a level outside
// (0,1).
func (r *Result) Profile(j int, level float64) (Interval, error) {
	if err := r.checkParameter(j, level); err != nil {
		return Interval{}, err
	}
	if r.Fixed[j] {
		return Interval{Lo: r.P[j], Hi: r.P[j], Level: level}, nil
	}
	pr, err := r.profiler()
	if err != nil {
		return Interval{}, err
	}
	lower, upper := pr.t.opt.Lower[j], pr.t.opt.Upper[j]
	pr.rss = func(v float64) (float64, bool) {
		pr.t.opt.Fixed[j] = true
		pr.p[j] = v
		return pr.solve()
	}
	g := make([]float64, len(r.P))
	g[j] = 1
	pr.setDF(r, g, level)
	return pr.interval(r.P[j], r.guess(j), lower, upper, r.AtBound[j], level, r)
}

// ProfileDerived is like Profile for a derived quantity, which is held by a
// constraint of overwhelming weight.
func (r *Result) ProfileDerived(d Derived, level float64) (Interval, error) {
	value, se, _, err := r.Delta(d, level)
	if err != nil && (r.cov != nil || errors.Is(err, ErrBadInput)) {
		return Interval{}, err
	}
	pr, err := r.profiler()
	if err != nil {
		return Interval{}, err
	}
	g := make([]float64, len(r.P))
	gradient := r.gradient(d)
	gradient(g, r.P)
	pr.setDF(r, g, level)
	if !(se > 0) {
		se = 0.1 * math.Max(math.Abs(value), 1e-300)
	}
	if d.Lower == 0 && d.Upper > 0 && value > 0 {
		se = min(se, value) // of a step's place it is beyond measure, and the constraint would hold nothing
	}
	// An error of the constraint of 1e-7 of the standard error changes the
	// statistic by as much; the row stays within the solver's reach.
	scale := pr.s
	pr.t.extra = []extraRow{{weight: 1e7 * scale / se, value: func(grad, p []float64) float64 {
		gradient(grad, p)
		for k := range grad {
			if r.Fixed[k] {
				grad[k] = 0
			}
		}
		return d.Value(p)
	}}}
	pr.rss = func(v float64) (float64, bool) {
		pr.t.extra[0].target = v
		rss, ok := pr.solve()
		if !ok {
			return rss, ok
		}
		last := pr.t.sol.Residuals[len(pr.t.sol.Residuals)-1]
		return rss - last*last, math.Abs(last) < 10*scale
	}
	lower, upper := math.Inf(-1), math.Inf(1)
	if d.Lower != 0 || d.Upper != 0 {
		lower, upper = d.Lower, d.Upper
	}
	return pr.interval(value, se, lower, upper, 0, level, r)
}

// guess is a first step for the profile of parameter j.
func (r *Result) guess(j int) float64 {
	if se := r.SE()[j]; se > 0 {
		return se
	}
	if r.P[j] != 0 {
		return 0.1 * math.Abs(r.P[j])
	}
	return 1
}

// profiler walks along one quantity and refits the rest.
type profiler struct {
	t    *task
	p    []float64
	s    float64 // residual SD
	rss0 float64
	q    float64 // threshold of the signed root
	one  float64 // one-sided threshold
	rss  func(v float64) (float64, bool)
}

func (r *Result) profiler() (*profiler, error) {
	if r.DF <= 0 && !r.weights.known() {
		return nil, fmt.Errorf("fit: no profile without residual degrees of freedom: %w", ErrTooFewData)
	}
	t, err := newTask(r.Model, r.data, r.weights, &r.opt)
	if err != nil {
		return nil, err
	}
	r.restore(t)
	t.opt.once, t.opt.MaxIter = true, 200
	rss := r.RSS
	if r.RobustWeights != nil {
		rss = sumSquares(r.wres)
	}
	return &profiler{t: t, p: append([]float64(nil), r.P...), s: r.SD, rss0: rss}, nil
}

func (pr *profiler) setDF(r *Result, g []float64, level float64) {
	df, wider := float64(r.DF), 1.0
	if r.comps != nil && r.cov != nil {
		if _, d, err := r.contrast(g, nil); err == nil {
			df = d
		}
		// The uncertainty of the variances counts as in the other intervals.
		if v, adj, _ := r.comps.gradient(g); v > 0 {
			wider = math.Sqrt(1 + adj/v)
		}
	}
	pr.q = wider * r.quantile(level, df)
	// At a bound half of the statistic's distribution lies at 0 (S.G. Self,
	// K.Y. Liang, J. Amer. Stat. Assoc. 82 (1987) 605): it holds levels up to ½.
	pr.one = wider * r.quantile(math.Max(0, 2*level-1), df)
}

// solve refits from the last point; false when no fit is possible there.
func (pr *profiler) solve() (float64, bool) {
	start := append([]float64(nil), pr.p...)
	err := pr.t.solve(start)
	if pr.t.sol == nil {
		return math.Inf(1), false
	}
	_ = err // a slow refit is still an upper bound of the profile
	copy(pr.p, pr.t.sol.P)
	return pr.t.sol.RSS, true
}

// root is the signed root of the profile statistic at v.
func (pr *profiler) root(v float64) float64 {
	rss, ok := pr.rss(v)
	if !ok || math.IsNaN(rss) {
		return math.Inf(1)
	}
	return math.Sqrt(math.Max(0, rss-pr.rss0)) / pr.s
}

func (pr *profiler) interval(est, se, lower, upper float64, atBound int, level float64, r *Result) (Interval, error) {
	iv := Interval{Level: level}
	q := pr.q
	if atBound != 0 {
		q = pr.one
	}
	if !(pr.s > 0) {
		return iv, fmt.Errorf("fit: no profile of an exact fit: %w", ErrTooFewData)
	}
	if q <= 0 {
		iv.Lo, iv.Hi = est, est
		return iv, nil
	}
	if atBound < 0 {
		iv.Lo = est
	} else {
		copy(pr.p, r.P)
		iv.Lo, iv.OpenLo = pr.side(est, -se, lower, q)
	}
	if atBound > 0 {
		iv.Hi = est
	} else {
		copy(pr.p, r.P)
		iv.Hi, iv.OpenHi = pr.side(est, se, upper, q)
	}
	return iv, nil
}

// side finds where the root of the statistic crosses q in the direction of
// step. It is open when the crossing is not found before the natural limit or
// within a million standard errors.
func (pr *profiler) side(est, step, limit, q float64) (float64, bool) {
	a, ra := est, 0.0
	b, rb := est, 0.0
	d := step * q
	// toward approaches a finite limit by halves of the remaining distance.
	toward := func(v float64) float64 {
		if math.IsInf(limit, 0) || (v-limit)*step < 0 {
			return v
		}
		return limit - (limit-a)/2
	}
	keep := append([]float64(nil), pr.p...)
	for k := 0; ; k++ {
		b = toward(est + d)
		rb = pr.root(b)
		if rb >= q {
			break
		}
		a, ra = b, rb
		copy(keep, pr.p)
		gap := math.Abs(limit - b)
		if k == 40 || math.Abs(d) > 1e6*math.Abs(step) || gap < 1e-9*math.Max(math.Abs(est), math.Abs(step)) {
			if step > 0 {
				if !math.IsInf(limit, 0) {
					return limit, true
				}
				return math.Inf(1), true
			}
			if !math.IsInf(limit, 0) {
				return limit, true
			}
			return math.Inf(-1), true
		}
		// Aim a little beyond the crossing when the root still grows.
		grow := 2.0
		if rb > 0 && k == 0 {
			grow = math.Min(2, math.Max(1.02, 1.02*q/rb))
		}
		d = (b - est) * grow
	}
	// Inverse interpolation between a and b (Illinois method).
	fa, fb := ra-q, rb-q
	if math.IsInf(fb, 0) {
		fb = q
	}
	side := 0
	for k := 0; k < 100; k++ {
		v := (a*fb - b*fa) / (fb - fa)
		if !(math.Min(a, b) < v && v < math.Max(a, b)) {
			v = (a + b) / 2
		}
		copy(pr.p, keep)
		f := pr.root(v) - q
		if math.IsInf(f, 0) {
			f = q
		}
		if math.Abs(f) < 1e-11*q || math.Abs(b-a) <= 4e-16*math.Abs(v) {
			return v, false
		}
		if f > 0 {
			b, fb = v, f
			if side > 0 {
				fa /= 2
			}
			side = 1
		} else {
			a, fa = v, f
			copy(keep, pr.p)
			if side < 0 {
				fb /= 2
			}
			side = -1
		}
	}
	return (a + b) / 2, false
}
