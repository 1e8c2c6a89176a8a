package fit

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"
)

// entangled is the condition number above which a warning names what moves
// together: there SEs have grown by more than 100 over those of unrelated
// parameters.
const entangled = 1e3

func (r *Result) warn(format string, args ...any) {
	r.Warnings = append(r.Warnings, fmt.Errorf(format, args...))
}

// called is what messages call parameter j.
func (r *Result) called(j int) string {
	if r.Names[j] == "" {
		return fmt.Sprintf("parameter %d", j)
	}
	return r.Names[j]
}

// judge adds warnings and returns the error that goes with the result.
func (r *Result) judge(t *task) error {
	for j, b := range r.AtBound {
		if b != 0 {
			side := "lower"
			if b > 0 {
				side = "upper"
			}
			r.warn("%s is at its %s bound %g: its interval is one-sided, and other intervals are conditional on it", r.called(j), side, r.P[j])
		}
	}
	if r.DF == 0 && !t.weights.known() {
		r.warn("as many parameters as observations: the scatter cannot be estimated and there are no intervals")
	}
	constant := true
	for _, o := range t.data[1:] {
		constant = constant && o.Y == t.data[0].Y
	}
	if constant && len(t.data) > 1 && len(r.free) > 1 {
		return fmt.Errorf("fit: all responses are equal, there is no effect to fit: %w", ErrNotIdentified)
	}
	r.judgeKnown(t)
	r.judgeWeights()
	solErr := t.solErr
	if r.exact() {
		solErr = nil // rounding errors cannot be made orthogonal to the derivatives
		r.warn("the curve passes through all points to rounding error: the scatter is not informative")
	}
	r.judgeDifferences(t)
	r.judgeBends(t)
	names := r.entangled()
	switch {
	case solErr != nil && r.Condition > entangled:
		return fmt.Errorf("fit: no finite optimum found: %s; reach further along the dose, or fix one of them: %w (%w)", names, ErrNotIdentified, solErr)
	case solErr != nil:
		return solErr
	case r.factor.rank < len(r.free) || r.Condition > 1e10:
		return fmt.Errorf("fit: %s; vary them apart, or fix one of them: %w", names, ErrNotIdentified)
	case r.Condition > entangled:
		r.warn("%s: their intervals are wide and belong together", names)
	}
	return nil
}

// judgeKnown warns where residuals contradict the known scatter: the sum of squares that
// the data leave, in units of it, is χ² on their degrees of freedom.
func (r *Result) judgeKnown(t *task) {
	if !r.weights.known() || t.robust != nil {
		return
	}
	rss, df := r.leftByData()
	if df <= 0 {
		return
	}
	chi := distuv.ChiSquared{K: float64(df)}
	ratio := math.Sqrt(rss / chi.K)
	aside, cause := "", "the SD is too small or the model misses the data"
	if r.priors > 0 {
		aside, cause = ", priors aside", "the SD is too small, the model misses the data, or a prior holds it far from them"
	}
	switch {
	case chi.Survival(rss) < 0.001:
		r.warn("residuals are %.3g times what the known SD says (χ² %.4g on %d df%s, beyond its 99.9 %% point): %s, and standard errors are too small", ratio, rss, df, aside, cause)
	case chi.CDF(rss) < 0.001:
		r.warn("residuals are %.3g times what the known SD says (χ² %.4g on %d df%s, below its 0.1 %% point): the SD is too large, and standard errors with it", ratio, rss, df, aside)
	}
}

// leftByData is the weighted sum of squares, and its degrees of freedom, that the data
// would leave without priors and shrinkage: the part of their residuals that no small
// step of the parameters takes away. A prior that contradicts the data says nothing of
// their scatter. Exact for models linear in the parameters; others may bend on the way
// from where a prior holds them.
func (r *Result) leftByData() (rss float64, df int) {
	if r.priors == 0 {
		return r.RSS, r.DF
	}
	res := append([]float64(nil), r.wres[:r.N]...)
	f := project(r.jac[:r.N*len(r.P)], res, len(r.P), r.free)
	return sumSquares(res[min(f.rank, r.N):]), r.N - f.rank
}

// judgeWeights warns where a weight of 0, which counts as 1, stands among others:
// elsewhere it leaves an observation out.
func (r *Result) judgeWeights() {
	zero, given := -1, false
	for i, o := range r.data {
		given = given || o.Weight != 0
		if o.Weight == 0 && zero < 0 {
			zero = i
		}
	}
	if given && zero >= 0 {
		r.warn("observation %d has weight 0, which counts as 1, while others have weights: say 1 if that is meant, and take out of the data what shall not count", zero)
	}
}

// judgeDifferences warns where derivatives taken by differences are not good
// enough. Condition is how much of their relative error may reach the standard
// errors; the fourth digit of those matters to nobody. A fit ends where residuals are
// orthogonal to the derivatives to 1e-7, which takes derivatives as good.
func (r *Result) judgeDifferences(t *task) {
	if t.diff == nil || r.factor.rank < len(r.free) {
		return
	}
	for _, j := range r.free {
		if e := t.diff.rel[j]; !(e*r.Condition <= 1e-3) || t.solErr != nil && e > 1e-7 {
			r.warn("the derivative by %s, taken by differences, may be off by %.1g of its size, and the estimates and standard errors with it: give Derivative, or make Value smoother", r.called(j), e)
		}
	}
}

// judgeBends warns of standard errors far beyond where the fit is linear, as of the slope of
// a step: what moves the fit hardly at all here moves it much at a fraction of its
// standard error. Only those that dwarf their estimates are asked.
func (r *Result) judgeBends(t *task) {
	if r.cov == nil || t.robust != nil || !(r.SD > 0) {
		return
	}
	const dwarfs, fraction, most = 30, 0.01, 0.5
	se := r.SE()
	m, n := t.Dims()
	here, there := make([]float64, m), make([]float64, m)
	t.Residuals(here, r.P)
	for _, j := range r.free {
		if !(se[j] > dwarfs*math.Abs(r.P[j])) || r.AtBound[j] != 0 {
			continue
		}
		p := slices.Clone(r.P)
		p[j] += fraction * se[j]
		if t.opt.Upper != nil {
			p[j] = min(p[j], t.opt.Upper[j])
		}
		t.Residuals(there, p)
		linear, bent := 0.0, 0.0
		for i := range m {
			d := r.jac[i*n+j] * (p[j] - r.P[j])
			linear += d * d
			bent += (there[i] - here[i] - d) * (there[i] - here[i] - d)
		}
		if !(bent <= most*most*linear) {
			r.warn("the standard error of %s, %.3g, says nothing: the curve has another shape long before; ask Profile", r.called(j), se[j])
		}
	}
}

// exact reports whether an estimated scatter is rounding error.
func (r *Result) exact() bool {
	if r.weights.known() || r.comps != nil || !(r.DF > 0) {
		return false
	}
	big := 0.0 // weighted, as SD is
	for i, o := range r.data {
		big = math.Max(big, r.row[i]*math.Abs(o.Y))
	}
	return r.SD <= 1e-13*big
}

// entangled names the parameters in the combination that the data determine
// least.
func (r *Result) entangled() string {
	f := r.factor
	k := len(f.free)
	if k == 0 || f.v == nil {
		return "the data do not determine the parameters"
	}
	var at []int
	for i := 0; i < k; i++ {
		if math.Abs(f.v.At(i, k-1)) > 0.2 {
			at = append(at, f.free[f.perm[i]])
		}
	}
	slices.Sort(at) // in the order of the parameters
	var ordered []string
	for _, j := range at {
		ordered = append(ordered, r.called(j))
	}
	switch len(ordered) {
	case 0:
		return "the data do not determine the parameters"
	case 1:
		return fmt.Sprintf("%s has no effect on the fit here", ordered[0])
	}
	return fmt.Sprintf("%s and %s moved together in these data", strings.Join(ordered[:len(ordered)-1], ", "), ordered[len(ordered)-1])
}
