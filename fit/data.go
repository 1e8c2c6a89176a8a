package fit

import (
	"fmt"
	"math"
	"slices"
)

// An Observation is one response at one point of the predictors. X and Y are
// finite and in units of the caller's choice; all X of a fit have one length.
type Observation struct {
	X []float64
	Y float64
	// Weight multiplies the squared residual, beside what the Weights say of
	// the scatter: the number of readings behind a mean, say. It is not
	// negative; 0 means 1 and leaves nothing out, which a result warns of where
	// others have weights. What shall not count is left out of the data.
	Weight float64
	// Group and Subgroup name what readings share (lot; panel within lot).
	Group, Subgroup string
}

// Weights say what is known of the scatter. The set is closed: Equal,
// KnownSD, Relative and VarianceFunction.
type Weights interface {
	// known reports whether the scale of the scatter is known (normal
	// quantiles) or estimated from the residuals (Student t).
	known() bool
	check(data []Observation) error
}

// Equal is the same unknown scatter for all observations (per unit weight).
type Equal struct{}

// KnownSD holds the known standard deviation of each observation (per unit
// weight), or one for all, > 0 and in units of the response. A result warns where
// the residuals contradict it.
type KnownSD []float64

// Relative is scatter in proportion to the fitted mean, with an unknown factor;
// the weights follow the fit until both agree. Fitted means must stay away
// from zero.
type Relative struct{}

func (Equal) known() bool    { return false }
func (KnownSD) known() bool  { return true }
func (Relative) known() bool { return false }

func (Equal) check([]Observation) error    { return nil }
func (Relative) check([]Observation) error { return nil }
func (k KnownSD) check(data []Observation) error {
	if len(k) != 1 && len(k) != len(data) {
		return fmt.Errorf("fit: %w: %d known standard deviations for %d observations (give one, or one each)", ErrBadInput, len(k), len(data))
	}
	for i, s := range k {
		if !(s > 0) || math.IsInf(s, 0) {
			return fmt.Errorf("fit: %w: standard deviation %d is %g, must be positive", ErrBadInput, i, s)
		}
	}
	return nil
}

// cloned returns the data with predictors of their own.
func cloned(data []Observation) []Observation {
	width := 0
	for i := range data {
		width += len(data[i].X)
	}
	x := make([]float64, 0, width)
	own := slices.Clone(data)
	for i := range own {
		from := len(x)
		x = append(x, own[i].X...)
		own[i].X = x[from:len(x):len(x)]
	}
	return own
}

// clonedWeights returns weights that do not change with those given.
func clonedWeights(w Weights) Weights {
	switch w := w.(type) {
	case KnownSD:
		return slices.Clone(w)
	case VarianceFunction:
		w.Terms = slices.Clone(w.Terms)
		return w
	}
	return w
}

// checkData validates observations at the door: finite, of one width, in range.
func checkData(data []Observation) error {
	if len(data) == 0 {
		return fmt.Errorf("fit: %w: no observations", ErrTooFewData)
	}
	big := 0.0
	for i, o := range data {
		if len(o.X) != len(data[0].X) {
			return fmt.Errorf("fit: %w: observation %d has %d predictors, the first has %d", ErrBadInput, i, len(o.X), len(data[0].X))
		}
		if !finite(o.X) || math.IsNaN(o.Y) || math.IsInf(o.Y, 0) {
			return fmt.Errorf("fit: observation %d (x = %v, y = %g): %w", i, o.X, o.Y, ErrNonFinite)
		}
		if o.Weight < 0 || math.IsNaN(o.Weight) || math.IsInf(o.Weight, 0) {
			return fmt.Errorf("fit: %w: observation %d has weight %g, must be positive (0 means 1)", ErrBadInput, i, o.Weight)
		}
		big = math.Max(big, math.Abs(o.Y))
	}
	return checkSize("responses", big)
}

// checkSize refuses the largest of some numbers where squares of residuals and of
// differences would not stay normal numbers.
func checkSize(what string, big float64) error {
	if big > 1e140 || big > 0 && big < 1e-140 {
		return fmt.Errorf("fit: %s of size %.3g: %w", what, big, ErrScale)
	}
	return nil
}

// largest is the largest absolute value.
func largest(v []float64) float64 {
	big := 0.0
	for _, x := range v {
		big = math.Max(big, math.Abs(x))
	}
	return big
}

func (o *Observation) weight() float64 {
	if o.Weight == 0 {
		return 1
	}
	return o.Weight
}
