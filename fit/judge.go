package fit

import (
	"fmt"
	"math"
	"strings"
)

// entangled is the condition number above which a warning names what moves
// together: there SEs have grown by more than 100 over those of unrelated
// parameters.
const entangled = 1e3

func (r *Result) warn(format string, args ...any) {
	r.Warnings = append(r.Warnings, fmt.Errorf(format, args...))
}

// judge adds warnings and returns the error that goes with the result.
func (r *Result) judge(t *task) error {
	for j, b := range r.AtBound {
		if b != 0 {
			side := "lower"
			if b > 0 {
				side = "upper"
			}
			r.warn("%s is at its %s bound %g: its interval is one-sided, and other intervals are conditional on it", r.Names[j], side, r.P[j])
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
	solErr := t.solErr
	if r.exact() {
		solErr = nil // rounding errors cannot be made orthogonal to the derivatives
		r.warn("the curve passes through all points to rounding error: the scatter is not informative")
	}
	r.judgeDifferences(t)
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
			r.warn("the derivative by %s, taken by differences, may be off by %.1g of its size, and the estimates and standard errors with it: give Derivative, or make Value smoother", r.Names[j], e)
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
	var names []string
	for i := 0; i < k; i++ {
		if math.Abs(f.v.At(i, k-1)) > 0.2 {
			names = append(names, r.Names[f.free[f.perm[i]]])
		}
	}
	// In the order of the parameters.
	ordered := names[:0:0]
	for _, n := range r.Names {
		for _, m := range names {
			if m == n {
				ordered = append(ordered, n)
			}
		}
	}
	switch len(ordered) {
	case 0:
		return "the data do not determine the parameters"
	case 1:
		return fmt.Sprintf("%s has no effect on the fit here", ordered[0])
	}
	return fmt.Sprintf("%s and %s moved together in these data", strings.Join(ordered[:len(ordered)-1], ", "), ordered[len(ordered)-1])
}
