package fit

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"example.com/dosetone/internal/quantile"
)

// A Result is a fitted model with what can be said about it. It is read-only
// after Regress and safe for concurrent use.
type Result struct {
	Model   Model
	Names   []string
	P       []float64 // estimates, fixed ones included
	Fixed   []bool
	AtBound []int // −1 or +1 for a parameter held by its lower or upper bound
	// N is the number of observations and DF the residual degrees of freedom:
	// N, plus one for each prior, minus the free parameters.
	N, DF int
	// RSS is the weighted residual sum of squares, those of priors included.
	RSS float64
	// SD is the residual standard deviation at unit weight; 1 when the
	// scatter is known or described by Components. With a Loss it is the one
	// of normal scatter whose residuals, limited by the loss, would have the
	// same mean square; the median scale that limits them (see [Loss]) is not kept.
	SD     float64
	Fitted []float64
	// Residuals are observed − fitted, in units of the response.
	Residuals []float64
	// LogLik is the Gaussian log-likelihood: with σ² = RSS/N (Equal,
	// Relative), with the known scatter (KnownSD), or restricted
	// (VarianceFunction). With a Loss it takes the robust weights for given
	// and does not compare models.
	LogLik float64
	// Components of a VarianceFunction, in the order of its terms.
	Components []Component
	// RobustWeights of a Loss, by observation, 0..1; nil without.
	RobustWeights []float64
	// ShrinkSD is the estimated SD of the Shrunk parameters; 0 without.
	ShrinkSD float64
	// Condition of the Jacobian with columns of unit length. Above 1e3 a
	// warning names the parameters that moved together, above 1e10 an error
	// says that they are not determined.
	Condition float64
	Warnings  []error
	// Iter is the number of Jacobians factored, all starts and weights counted.
	Iter int

	data    []Observation
	weights Weights
	priors  int
	opt     FitOptions
	// What follows is of the least-squares fit that has these estimates and
	// their covariance SD²·cov: the fit itself or, with a Loss, that of the
	// pseudo-observations (see robust).
	seen   []Observation // data or pseudo-observations
	factor *Factorization
	cov    []float64 // unit-weight covariance (JᵀWJ)⁻¹, n×n
	jac    []float64 // weighted, rows of data then priors
	wres   []float64 // weighted residuals (fitted − observed), likewise
	row    []float64 // multiplier of each observation, without whitening
	scaled []float64 // weighted residuals/scale of a robust fit
	comps  *components
	free   []int
	reach  []float64 // of differences by the parameters
}

// result takes over what the task has worked out: the task ends with it.
func (t *task) result() (*Result, error) {
	s := t.sol
	n := t.n
	r := &Result{Model: t.model, P: append([]float64(nil), s.P...), Fixed: append([]bool(nil), t.opt.Fixed...),
		AtBound: append([]int(nil), s.AtBound...), N: len(t.data), DF: t.df(), RSS: s.RSS, SD: 1,
		Iter: t.iter, data: t.data, seen: t.data, weights: t.weights, priors: len(t.priors), comps: t.comps, opt: t.source,
		free: append([]int(nil), s.Free...), reach: reaches(t.opt.Lower, t.opt.Upper)}
	for _, p := range t.params {
		r.Names = append(r.Names, p.Name)
	}
	for j := range r.Fixed {
		if r.Fixed[j] {
			r.AtBound[j] = 0
		}
	}
	r.factor = s.Factorization()
	r.Condition = r.factor.Condition()
	r.cov = r.factor.Inverse()
	r.jac, r.wres, r.row = s.jac[:s.m*n], s.Residuals, t.sw
	f := make([]float64, len(t.data))
	t.batch(f, t.solver.jacTry, r.P)
	r.Fitted = f
	r.Residuals = make([]float64, len(f))
	for i, o := range t.data {
		r.Residuals[i] = o.Y - f[i]
	}
	wrong := r.checkDerivatives(t, t.solver.jacTry)
	if len(t.shrunk) > 0 {
		r.ShrinkSD = t.priors[t.shrunk[0]].sd
	}
	r.scatter(t)
	if t.robust != nil {
		r.linearize(t)
	}
	err := r.judge(t)
	switch {
	case wrong != nil && err != nil:
		err = fmt.Errorf("%w (%w)", wrong, err)
	case wrong != nil:
		err = wrong
	}
	return r, err
}

// linearize replaces the fit with robust weights by that of
// pseudo-observations.
func (r *Result) linearize(t *task) {
	var tau float64
	r.SD, tau = t.robust.sds(r.DF, sumSquares(r.wres[r.N:]))
	relative := r.SD / tau
	switch {
	case r.DF <= 0 && !t.weights.known():
		r.SD, relative = math.NaN(), 1
	case tau == 0:
		relative = 1
	}
	l := t.linearized(relative)
	r.RobustWeights = l.robust
	r.scaled = make([]float64, r.N)
	for i, w := range t.weight(r.Fitted) {
		r.scaled[i] = r.Residuals[i] * w / t.robust.scale
	}
	r.seen, r.row, r.wres, r.jac = l.data, l.row, l.res, l.jac
	switch {
	case r.cov == nil:
	case relative == 0:
		r.cov = nil
		r.warn("so many observations lie where the loss gives way that the estimates do not hold still: there are no standard errors")
	default:
		r.factor = factorize(r.jac, len(r.wres), t.n, r.free)
		r.cov = r.factor.Inverse()
	}
}

// scatter sets SD, LogLik and Components.
func (r *Result) scatter(t *task) {
	logw := 0.0
	rss := 0.0
	for i, w := range r.row {
		if w > 0 {
			logw += math.Log(w)
		}
		rss += r.wres[i] * r.wres[i]
	}
	nn := float64(r.N)
	switch {
	case t.comps != nil:
		r.LogLik = t.comps.at.ll
		for _, w := range t.base {
			r.LogLik += math.Log(w)
		}
		nt := len(t.comps.theta)
		var pos []int
		for k, th := range t.comps.theta {
			if th > 0 {
				pos = append(pos, k)
			}
		}
		for k, th := range t.comps.theta {
			c := Component{Name: t.comps.terms[k].Name, Variance: th}
			for i, kk := range pos {
				if kk == k {
					e := make([]float64, nt)
					e[k] = 1
					if x := solveSymmetric(t.comps.at.s, e, nt, pos); x != nil {
						c.SE = math.Sqrt(2 * x[i])
					}
				}
			}
			r.Components = append(r.Components, c)
			if th == 0 {
				r.warn("variance %q is estimated as zero", c.Name)
			}
		}
	case t.weights.known():
		r.LogLik = -0.5*(rss+nn*math.Log(2*math.Pi)) + logw
	default:
		if r.DF > 0 {
			r.SD = math.Sqrt(r.RSS / float64(r.DF))
		} else {
			r.SD = math.NaN()
		}
		r.LogLik = -0.5*nn*(math.Log(2*math.Pi*rss/nn)+1) + logw
	}
}

// Index returns the place of a parameter by name, or −1.
func (r *Result) Index(name string) int {
	for j, n := range r.Names {
		if n == name {
			return j
		}
	}
	return -1
}

// Value returns an estimate by name; NaN for an unknown name.
func (r *Result) Value(name string) float64 {
	if j := r.Index(name); j >= 0 {
		return r.P[j]
	}
	return math.NaN()
}

// Covariance returns the covariance matrix of the estimates by rows,
// s²(JᵀWJ)⁻¹ or, with a Loss, the asymptotic one of M-estimators (see the
// package comment), with zero rows for fixed parameters and those at a bound; nil
// when the data do not determine the parameters.
func (r *Result) Covariance() []float64 {
	if r.cov == nil {
		return nil
	}
	c := append([]float64(nil), r.cov...)
	for i := range c {
		c[i] *= r.SD * r.SD
	}
	return c
}

// SE returns the standard errors, square roots of the diagonal of Covariance:
// the ones that NIST certifies and most fitters print. Zero for fixed
// parameters and for those at a bound (AtBound; Profile gives an interval for the
// latter), NaN where the data do not determine them.
func (r *Result) SE() []float64 { return roots(r.Covariance(), len(r.P)) }

func roots(c []float64, n int) []float64 {
	se := make([]float64, n)
	for j := range se {
		se[j] = math.NaN()
		if c != nil {
			se[j] = math.Sqrt(c[j*n+j])
		}
	}
	return se
}

// Correlation returns the correlation matrix of the estimates by rows, with
// zeros for parameters that are not free.
func (r *Result) Correlation() []float64 {
	n := len(r.P)
	if r.cov == nil {
		return nil
	}
	c := make([]float64, n*n)
	for _, i := range r.free {
		for _, j := range r.free {
			c[i*n+j] = r.cov[i*n+j] / math.Sqrt(r.cov[i*n+i]*r.cov[j*n+j])
		}
	}
	return c
}

// ObservedCovariance returns 2s²H⁻¹ with H the Hessian of the (weighted)
// residual sum of squares: the inverse of the observed information. Its
// standard errors differ from SE by the curvature of the model. nil when H is
// not positive definite.
func (r *Result) ObservedCovariance() []float64 {
	n, k := len(r.P), len(r.free)
	t, err := newTask(r.Model, r.data, r.weights, &r.opt)
	if err != nil {
		return nil
	}
	r.restore(t)
	m, _ := t.Dims()
	res, jac := make([]float64, m), make([]float64, m*n)
	grad := func(dst, p []float64) {
		t.ResidualsJacobian(res, jac, p)
		for a, j := range r.free {
			s := 0.0
			for i, v := range res {
				s += jac[i*n+j] * v
			}
			dst[a] = s
		}
	}
	// Half the Hessian by fourth-order differences of the gradient.
	se := r.SE()
	h := make([]float64, k*k)
	g := make([][]float64, 4)
	for i := range g {
		g[i] = make([]float64, k)
	}
	p := append([]float64(nil), r.P...)
	for a, j := range r.free {
		d := 2e-3 * se[j]
		if lim := 1e-3 * math.Abs(r.P[j]); d > lim && lim > 0 {
			d = lim
		}
		if !(d > 0) {
			return nil
		}
		for i, f := range []float64{-2, -1, 1, 2} {
			p[j] = r.P[j] + f*d
			grad(g[i], p)
		}
		p[j] = r.P[j]
		for b := 0; b < k; b++ {
			h[a*k+b] = (g[0][b] - 8*g[1][b] + 8*g[2][b] - g[3][b]) / (12 * d)
		}
	}
	idx := make([]int, k)
	for a := range idx {
		idx[a] = a
		for b := 0; b < a; b++ {
			v := (h[a*k+b] + h[b*k+a]) / 2
			h[a*k+b], h[b*k+a] = v, v
		}
	}
	cov := make([]float64, n*n)
	for a, j := range r.free {
		e := make([]float64, k)
		e[a] = 1
		x := solveSymmetric(h, e, k, idx)
		if x == nil {
			return nil
		}
		for b, l := range r.free {
			cov[j*n+l] = x[b] * r.SD * r.SD
		}
	}
	return cov
}

// ObservedSE returns the standard errors of ObservedCovariance.
func (r *Result) ObservedSE() []float64 { return roots(r.ObservedCovariance(), len(r.P)) }

// restore puts a task into the state of the finished fit: weights, whitening,
// prior scale.
func (r *Result) restore(t *task) {
	if r.RobustWeights != nil {
		t.data = r.seen
	}
	copy(t.sw, r.row)
	for _, k := range t.shrunk {
		t.priors[k].sd = r.ShrinkSD
	}
	t.comps = r.comps
	if r.comps != nil {
		t.white = &whitener{r.comps.blocks}
	}
	if !r.weights.known() && r.comps == nil && !math.IsNaN(r.SD) {
		t.scale = r.SD
	}
	for j := range r.AtBound {
		if r.Fixed[j] {
			t.opt.Fixed[j] = true
		}
	}
}

// quantile returns the two-sided quantile of the scatter: normal when known,
// Student t on df otherwise.
func (r *Result) quantile(level, df float64) float64 {
	p := 0.5 + level/2
	if r.weights.known() {
		return distuv.UnitNormal.Quantile(p)
	}
	return quantile.Student(p, df)
}

// String summarizes the fit as a table.
func (r *Result) String() string {
	var b strings.Builder
	se := r.SE()
	fmt.Fprintf(&b, "%-16s %14s %12s\n", "parameter", "estimate", "SE")
	for j := range r.Names {
		n := r.called(j)
		switch {
		case r.Fixed[j]:
			fmt.Fprintf(&b, "%-16s %14.6g %12s\n", n, r.P[j], "fixed")
		case r.AtBound[j] != 0:
			fmt.Fprintf(&b, "%-16s %14.6g %12s\n", n, r.P[j], "at bound")
		default:
			fmt.Fprintf(&b, "%-16s %14.6g %12.3g\n", n, r.P[j], se[j])
		}
	}
	if len(r.Components) == 0 {
		how := "s²(JᵀWJ)⁻¹"
		if r.RobustWeights != nil {
			how = "the covariance of M-estimators"
		}
		fmt.Fprintf(&b, "residual SD %.4g on %d df (SE from %s)\n", r.SD, r.DF, how)
	}
	for _, c := range r.Components {
		fmt.Fprintf(&b, "SD %s %.4g\n", c.Name, c.SD())
	}
	if err := errors.Join(r.Warnings...); err != nil {
		fmt.Fprintf(&b, "warning: %s\n", strings.ReplaceAll(err.Error(), "\n", "\nwarning: "))
	}
	return b.String()
}
