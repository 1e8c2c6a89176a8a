package fit

import (
	"fmt"
	"math"
)

// An Interval is closed. A side that the data do not limit is open and says so:
// it lies at ±Inf, or at the natural limit of the quantity, such as 0 for a
// dose. Level is the confidence in (0,1), e.g. 0.95.
type Interval struct {
	Lo, Hi         float64
	Level          float64
	OpenLo, OpenHi bool
}

// Contains reports whether x lies in the interval.
func (i Interval) Contains(x float64) bool { return i.Lo <= x && x <= i.Hi }

// String prints the interval, with words for an open side.
func (i Interval) String() string {
	switch {
	case i.OpenLo && i.OpenHi:
		return "not limited by the data"
	case i.OpenLo:
		return fmt.Sprintf("at most %.6g", i.Hi)
	case i.OpenHi:
		return fmt.Sprintf("at least %.6g", i.Lo)
	}
	return fmt.Sprintf("%.6g .. %.6g", i.Lo, i.Hi)
}

// Wald returns the interval estimate ± quantile·SE of parameter j: quick,
// symmetric, and right only where the model is near linear over the interval.
// A fixed parameter gives a point, one at a bound the one-sided profile
// interval. A place j that the model does not have is an error, and so is a
// level outside (0,1).
func (r *Result) Wald(j int, level float64) (Interval, error) {
	if err := r.checkParameter(j, level); err != nil {
		return Interval{}, err
	}
	if r.Fixed[j] {
		return Interval{Lo: r.P[j], Hi: r.P[j], Level: level}, nil
	}
	if r.AtBound[j] != 0 {
		return r.Profile(j, level)
	}
	g := make([]float64, len(r.P))
	g[j] = 1
	se, df, err := r.contrast(g, nil)
	if err != nil {
		return Interval{}, err
	}
	return r.symmetric(r.P[j], se, df, level), nil
}

// symmetric is y ± the quantile's multiple of se.
func (r *Result) symmetric(y, se, df, level float64) Interval {
	h := r.quantile(level, df) * se
	return Interval{Lo: y - h, Hi: y + h, Level: level}
}

// contrast returns the standard error of gᵀp and its degrees of freedom
// (Satterthwaite's where several variances are estimated). extra, one per
// variance component, are variances added on top, in multiples of the component.
func (r *Result) contrast(g, extra []float64) (se, df float64, err error) {
	if r.cov == nil {
		return 0, 0, fmt.Errorf("fit: no interval: %w", ErrNotIdentified)
	}
	if r.comps == nil {
		if r.DF <= 0 && !r.weights.known() {
			return 0, 0, fmt.Errorf("fit: no interval without residual degrees of freedom: %w", ErrTooFewData)
		}
		return r.SD * math.Sqrt(r.factor.Quadratic(g)), float64(r.DF), nil
	}
	v, adj, d := r.comps.gradient(g)
	for k, e := range extra {
		v += e * r.comps.theta[k]
		d[k] += e
	}
	return math.Sqrt(v + adj), r.comps.satterthwaite(v, d), nil
}

// gradient returns v = gᵀCg with C = (XᵀV⁻¹X)⁻¹, what the uncertainty of the
// variances adds to it (M.G. Kenward, J.H. Roger, Biometrics 53 (1997) 983, for
// covariances linear in the components), and the derivatives of v by the
// components.
func (c *components) gradient(g []float64) (v, adj float64, d []float64) {
	p, f := c.at.p, c.at.f
	// With Z = X R⁻¹: C = R⁻¹R⁻ᵀ, so gᵀCg = |a|², a = R⁻ᵀg, and
	// ∂v/∂θ_k = aᵀM_k a.
	a := make([]float64, p)
	for i, q := range f.perm {
		a[i] = g[f.free[q]] * f.scale[q]
	}
	forwardSolve(a, f.r, a, p, p)
	v = sumSquares(a)
	nt := len(c.theta)
	d = make([]float64, nt)
	ma := make([][]float64, nt) // M_k a
	for k := range d {
		ma[k] = make([]float64, p)
		for i := range ma[k] {
			ma[k][i] = dotPlain(c.at.m[k][i*p:(i+1)*p], a)
		}
		d[k] = dotPlain(a, ma[k])
	}
	// 2 Σ_kl W_kl aᵀ(Q_kl − M_k M_l)a with W = 2S⁻¹ over the positive ones.
	pos := c.positive()
	for _, k := range pos {
		e := make([]float64, nt)
		e[k] = 1
		w := solveSymmetric(c.at.s, e, nt, pos)
		if w == nil {
			return v, 0, d
		}
		for j, l := range pos {
			q := c.at.q2[min(k, l)*nt+max(k, l)]
			t := 0.0
			for r := 0; r < p; r++ {
				t += a[r] * dotPlain(q[r*p:(r+1)*p], a)
			}
			adj += 4 * w[j] * (t - dotPlain(ma[k], ma[l]))
		}
	}
	return v, math.Max(0, adj), d
}

// positive lists the components that are not zero.
func (c *components) positive() []int {
	var pos []int
	for k, th := range c.theta {
		if th > 0 {
			pos = append(pos, k)
		}
	}
	return pos
}

// satterthwaite returns 2v²/Var(v) with Var(v) = dᵀ(2S⁻¹)d over the positive
// components.
func (c *components) satterthwaite(v float64, d []float64) float64 {
	pos := c.positive()
	x := solveSymmetric(c.at.s, d, len(c.theta), pos)
	if x == nil {
		return math.NaN()
	}
	q := 0.0
	for i, k := range pos {
		q += x[i] * d[k]
	}
	if q <= 0 {
		return math.Inf(1)
	}
	return math.Max(1, v*v/q)
}

// Mean returns the fitted response at x and its standard error, NaN where there
// is none; both are NaN where the model has no response, such as in a group
// that it does not have. It panics on an x that has not as many predictors as the
// data.
func (r *Result) Mean(x []float64) (y, se float64) {
	if want := len(r.data[0].X); len(x) != want {
		panic(fmt.Sprintf("fit: Mean: x has %d predictors, the data have %d", len(x), want))
	}
	if p, ok := r.Model.(pointed); ok && p.checkPoint(x, -1) != nil {
		return math.NaN(), math.NaN()
	}
	g := make([]float64, len(r.P))
	y = r.Model.Grad(g, r.P, x)
	se, _, err := r.contrast(g, nil)
	if err != nil {
		se = math.NaN()
	}
	return y, se
}

// response is the mean at x with its gradient, if x and the level of a band can be.
func (r *Result) response(x []float64, level float64) (y float64, g []float64, err error) {
	if err := r.checkX(x); err != nil {
		return 0, nil, err
	}
	if err := checkLevel(level); err != nil {
		return 0, nil, err
	}
	g = make([]float64, len(r.P))
	if y = r.Model.Grad(g, r.P, x); !finite(append([]float64{y}, g...)) {
		return 0, nil, fmt.Errorf("fit: at x = %v the model gives %g with derivatives %g: %w", x, y, g, ErrNonFinite)
	}
	return y, g, nil
}

// ConfidenceBand is the interval for the mean response at x: where the curve
// is. It says nothing of single observations. It is an error when x has not as
// many predictors as the data, when the model has no response there (a group that
// it does not have, a dose below 0, a value that is no finite number, which is
// ErrNonFinite), or when level is outside (0,1).
func (r *Result) ConfidenceBand(x []float64, level float64) (Interval, error) {
	y, g, err := r.response(x, level)
	if err != nil {
		return Interval{}, err
	}
	se, df, err := r.contrast(g, nil)
	if err != nil {
		return Interval{}, err
	}
	return r.symmetric(y, se, df, level), nil
}

// PredictionBand is the interval for the mean of m ≥ 1 further observations of
// unit weight at x, all from one new group and subgroup where the scatter has
// such terms. KnownSD must then be one value for all. It is an error when x has
// not as many predictors as the data, when the model has no response there, or
// when m or level is out of range.
func (r *Result) PredictionBand(x []float64, m int, level float64) (Interval, error) {
	if m < 1 {
		return Interval{}, fmt.Errorf("fit: %w: prediction band of %d observations (need 1 or more)", ErrBadInput, m)
	}
	y, g, err := r.response(x, level)
	if err != nil {
		return Interval{}, err
	}
	se, df, err := r.predictive(g, x, y, m)
	if err != nil {
		return Interval{}, err
	}
	return r.symmetric(y, se, df, level), nil
}

// predictive is the standard error of a new mean of m at x, given the
// gradient g and the response y there.
func (r *Result) predictive(g, x []float64, y float64, m int) (se, df float64, err error) {
	if r.comps != nil {
		extra := make([]float64, len(r.comps.theta))
		for k, t := range r.comps.terms {
			h := 1.0
			switch t.Shape {
			case OfMean:
				h = y
			case OfDose:
				h = r.Model.(Doser).DoseSlope(r.P, x)
			}
			extra[k] = h * h
			if t.Share == Each {
				extra[k] /= float64(m)
			}
		}
		return r.contrast(g, extra)
	}
	se, df, err = r.contrast(g, nil)
	if err != nil {
		return 0, 0, err
	}
	v := r.SD * r.SD
	switch w := r.weights.(type) {
	case Relative:
		v *= y * y
	case KnownSD:
		if len(w) != 1 {
			return 0, 0, fmt.Errorf("fit: %w: prediction needs one known SD for all observations", ErrBadInput)
		}
		v = w[0] * w[0]
	}
	return math.Sqrt(se*se + v/float64(m)), df, nil
}
