package fit

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"

	"example.com/dosetone/internal/quantile"
)

// An Influence says how much one observation weighs in the fit.
type Influence struct {
	// Leverage is how far the fitted value follows the observation, 0..1;
	// over all observations (and priors) it sums to the number of free
	// parameters.
	Leverage float64
	// Student is the externally studentized residual, observed − fitted: its
	// own effect on the scatter is taken out, so that it follows Student's t
	// on DF − 1 degrees of freedom. ±Inf where the others have no scatter, NaN
	// with fewer than 2 degrees of freedom.
	Student float64
	// Cook is Cook's distance: the squared shift of all estimates when the
	// observation is left out, in units of their covariance, per parameter.
	Cook float64
}

// Influences returns the influence of each observation, by the linear
// approximation at the estimate. With a VarianceFunction residuals are whitened
// first and stand for the part of an observation that its predecessors in the
// group do not explain.
func (r *Result) Influences() ([]Influence, error) {
	if r.cov == nil {
		return nil, fmt.Errorf("fit: no influences: %w", ErrNotIdentified)
	}
	n, p := len(r.P), float64(len(r.free))
	s2 := r.SD * r.SD
	df := float64(r.DF)
	out := make([]Influence, len(r.data))
	for i := range out {
		h := math.Min(1, r.factor.Quadratic(r.jac[i*n:(i+1)*n]))
		e := -r.wres[i]
		o := &out[i]
		o.Leverage = h
		left := 1 - h
		if left < 1e-12 {
			o.Student, o.Cook = math.NaN(), math.Inf(1)
			continue
		}
		v := s2
		if !r.weights.known() && r.comps == nil {
			// Exact data but for this one leave nothing, or less by rounding.
			v = math.Max(0, (df*s2-e*e/left)/(df-1))
		}
		o.Student = e / math.Sqrt(v*left)
		if df < 2 && !r.weights.known() {
			o.Student = math.NaN()
		}
		o.Cook = e * e * h / (p * s2 * left * left)
	}
	return out, nil
}

// A GroupInfluence says what leaving out one group does to the estimates.
type GroupInfluence struct {
	Group string
	// Shift is (estimate without the group − estimate)/SE, by parameter.
	Shift []float64
	// Largest is the largest |Shift|: above 1 the group alone moves a
	// parameter by more than its standard error.
	Largest float64
}

// GroupInfluences compares the fit with exact refits without each group.
func (r *Result) GroupInfluences() ([]GroupInfluence, error) {
	lo, err := r.LeaveGroupOut()
	if err != nil {
		return nil, err
	}
	se := r.SE()
	out := make([]GroupInfluence, len(lo.Parts))
	for k, g := range lo.Parts {
		out[k] = GroupInfluence{Group: g, Shift: make([]float64, len(se))}
		for _, j := range r.free {
			s := (lo.P[k][j] - r.P[j]) / se[j]
			out[k].Shift[j] = s
			out[k].Largest = math.Max(out[k].Largest, math.Abs(s))
		}
	}
	return out, nil
}

// An Outlier is an observation that does not go with the others.
type Outlier struct {
	Index int
	// Score is the externally studentized residual or, from a robust fit,
	// residual/scale.
	Score float64
	// P is the probability of so large a score somewhere among N
	// observations (Bonferroni), 0..1; NaN for robust flags.
	P float64
}

// Outliers lists observations whose studentized residual would be this large
// in fewer than alpha of all data sets (Bonferroni over N), most extreme first.
// One outlier may hide another: a robust fit (Loss) does not share this
// weakness, and flags what it gave less than half weight. Data that lie on the
// curve to rounding error have none. An alpha outside (0,1) is an error.
func (r *Result) Outliers(alpha float64) ([]Outlier, error) {
	if !(alpha > 0 && alpha < 1) {
		return nil, fmt.Errorf("fit: %w: outliers at level %g (need a fraction between 0 and 1, such as 0.01)", ErrBadInput, alpha)
	}
	var out []Outlier
	if r.RobustWeights != nil {
		for i, w := range r.RobustWeights {
			if w < 0.5 {
				out = append(out, Outlier{Index: i, Score: r.scaled[i], P: math.NaN()})
			}
		}
	} else if !r.exact() {
		inf, err := r.Influences()
		if err != nil {
			return nil, err
		}
		for i, o := range inf {
			if math.IsNaN(o.Student) {
				continue
			}
			t := math.Abs(o.Student)
			var p float64
			if r.weights.known() {
				p = 2 * distuv.UnitNormal.Survival(t)
			} else {
				p = 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: math.Max(1, float64(r.DF-1))}.Survival(t)
			}
			if p = math.Min(1, p*float64(r.N)); p < alpha {
				out = append(out, Outlier{Index: i, Score: o.Student, P: p})
			}
		}
	}
	sort.SliceStable(out, func(a, b int) bool { return math.Abs(out[a].Score) > math.Abs(out[b].Score) })
	return out, nil
}

// Grubbs returns the largest deviation from the mean in units of the standard
// deviation, where it is, and the critical value at level alpha (two-sided):
// an outlier test for one normal sample of 3 or more finite values (NIST
// e-Handbook 1.3.5.17.1). It is 0 where all are equal. An alpha outside (0,1) is an
// error, and so are values whose squares are out of range.
func Grubbs(v []float64, alpha float64) (index int, g, critical float64, err error) {
	n := float64(len(v))
	if !(alpha > 0 && alpha < 1) {
		return 0, 0, 0, fmt.Errorf("fit: %w: Grubbs' test at level %g (need a fraction between 0 and 1, such as 0.05)", ErrBadInput, alpha)
	}
	if len(v) < 3 {
		return 0, 0, 0, fmt.Errorf("fit: Grubbs' test needs at least 3 values, has %d: %w", len(v), ErrTooFewData)
	}
	if !finite(v) {
		return 0, 0, 0, fmt.Errorf("fit: Grubbs' test: %w", ErrNonFinite)
	}
	if err := checkSize("Grubbs' test of values", largest(v)); err != nil {
		return 0, 0, 0, err
	}
	mean, ss := 0.0, 0.0
	for k, x := range v {
		d := x - mean
		mean += d / float64(k+1)
		ss += d * (x - mean)
	}
	sd := math.Sqrt(ss / (n - 1))
	if sd == 0 {
		return 0, 0, GrubbsCritical(len(v), alpha/2), nil
	}
	for i, x := range v {
		if d := math.Abs(x-mean) / sd; d > g {
			index, g = i, d
		}
	}
	return index, g, GrubbsCritical(len(v), alpha/2), nil
}

// GrubbsCritical is the one-sided critical value for n values, in standard
// deviations; for a two-sided test at level α ask for α/2. It panics on an n
// below 3 and on an alpha outside (0,1).
func GrubbsCritical(n int, alpha float64) float64 {
	if n < 3 {
		panic(fmt.Sprintf("fit: GrubbsCritical: n = %d is below 3", n))
	}
	if !(alpha > 0 && alpha < 1) {
		panic(fmt.Sprintf("fit: GrubbsCritical: alpha %g is outside (0,1)", alpha))
	}
	nn := float64(n)
	t := quantile.Student(1-alpha/nn, nn-2)
	return (nn - 1) / math.Sqrt(nn) * math.Sqrt(t*t/(nn-2+t*t))
}
