package fit

import (
	"fmt"
	"math"
	"strings"
)

// checkLevel refuses what is no confidence level. Quantiles of such a number
// are NaN or infinite, and a NaN is never beyond a limit: it would pass for
// data that say nothing.
func checkLevel(level float64) error {
	if !(level > 0 && level < 1) {
		return fmt.Errorf("fit: %w: level %g (need a fraction between 0 and 1, such as 0.95)", ErrBadInput, level)
	}
	return nil
}

// mustLevel is checkLevel for functions without an error.
func mustLevel(function string, level float64) {
	if !(level > 0 && level < 1) {
		panic(fmt.Sprintf("fit: %s: level %g is outside (0,1)", function, level))
	}
}

// checkParameter checks the place of a parameter and a level.
func (r *Result) checkParameter(j int, level float64) error {
	if j < 0 || j >= len(r.P) {
		return fmt.Errorf("fit: %w: parameter %d of a model with %d (the first is 0)", ErrBadInput, j, len(r.P))
	}
	return checkLevel(level)
}

// checkModel refuses a model that lacks what it cannot do without.
func checkModel(m Model) error {
	missing := ""
	switch m := m.(type) {
	case nil:
		return fmt.Errorf("fit: %w: regression without a model", ErrBadInput)
	case Linear:
		if m.Basis == nil {
			missing = "Basis"
		}
	case Func:
		if m.Value == nil {
			missing = "Value"
		}
	case Sigmoid:
		if m.Curve == nil {
			missing = "Curve"
		}
	case MultiFactor:
		if m.Curve == nil {
			missing = "Curve"
		}
	}
	if missing != "" {
		return fmt.Errorf("fit: %w: a %s without %s", ErrBadInput, strings.TrimPrefix(fmt.Sprintf("%T", m), "fit."), missing)
	}
	return nil
}

// checkPoints checks the predictors of observations against the model.
func checkPoints(m Model, data []Observation) error {
	p, ok := m.(pointed)
	if !ok {
		return nil
	}
	for i, o := range data {
		if err := p.checkPoint(o.X, -1); err != nil {
			return fmt.Errorf("fit: observation %d: %w", i, err)
		}
	}
	return nil
}

// checkX checks the predictors of a prediction against those of the data and
// the model. An infinite value may be meant: a Sigmoid has a response at infinite
// dose.
func (r *Result) checkX(x []float64) error {
	if want := len(r.data[0].X); len(x) != want {
		return fmt.Errorf("fit: %w: x has %d predictors, the data have %d", ErrBadInput, len(x), want)
	}
	for i, v := range x {
		if math.IsNaN(v) {
			return fmt.Errorf("fit: predictor %d of x: %w", i, ErrNonFinite)
		}
	}
	if p, ok := r.Model.(pointed); ok {
		if err := p.checkPoint(x, -1); err != nil {
			return fmt.Errorf("fit: x: %w", err)
		}
	}
	return nil
}

// checkPlace checks that the inverse names one predictor of the fit and gives
// values for the others.
func (v Inverse) checkPlace() error {
	if v.Result == nil {
		return fmt.Errorf("fit: %w: an Inverse without a Result", ErrBadInput)
	}
	n := len(v.Result.data[0].X)
	switch {
	case v.Axis < 0 || v.Axis >= n:
		return fmt.Errorf("fit: %w: Axis %d of an Inverse, the data have %d predictors (the first is 0)", ErrBadInput, v.Axis, n)
	case v.At == nil && n > 1:
		return fmt.Errorf("fit: %w: an Inverse along one of %d predictors needs At for the others", ErrBadInput, n)
	case v.At != nil && len(v.At) != n:
		return fmt.Errorf("fit: %w: At of an Inverse has %d values, the data have %d predictors", ErrBadInput, len(v.At), n)
	}
	for i, a := range v.At {
		if i != v.Axis && math.IsNaN(a) {
			return fmt.Errorf("fit: predictor %d in At of an Inverse: %w", i, ErrNonFinite)
		}
	}
	if p, ok := v.Result.Model.(pointed); ok {
		if err := p.checkPoint(v.x(v.Lo), v.Axis); err != nil {
			return fmt.Errorf("fit: At of an Inverse: %w", err)
		}
	}
	return nil
}

// checkTarget checks the place, a target and a level.
func (v Inverse) checkTarget(t Target, level float64) error {
	if err := v.checkPlace(); err != nil {
		return err
	}
	if !finite([]float64{t.Y, t.PooledSS}) {
		return fmt.Errorf("fit: target %g with pooled sum of squares %g: %w", t.Y, t.PooledSS, ErrNonFinite)
	}
	if t.M < 0 || t.PooledDF < 0 || t.PooledSS < 0 {
		return fmt.Errorf("fit: %w: target of %d observations, pooled %g on %d degrees of freedom (none may be negative)", ErrBadInput, t.M, t.PooledSS, t.PooledDF)
	}
	return checkLevel(level)
}
