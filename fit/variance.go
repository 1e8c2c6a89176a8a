package fit

import (
	"fmt"
	"math"
)

// A VarianceFunction describes scatter with several causes: the covariance of
// the observations is a sum of terms, each with one unknown variance. The
// variances are estimated in turn with the fit, which they weight, by REML
// (restricted maximum likelihood) with a weak prior: with few data plain REML
// often puts a variance at zero, and intervals that trust it are too short. The
// prior, the fourth root of the product of the terms' shares of the total
// variance, keeps each off zero and leaves the total alone (a variant of Y.
// Chung et al., Psychometrika 78 (2013) 685, who lift each variance by itself).
type VarianceFunction struct {
	Terms []VarianceTerm
	// REML asks for the plain REML estimates that mixed-model programs print,
	// zeros included.
	REML bool
}

// A VarianceTerm is a cause of scatter, with standard deviation σ·h at an
// observation; h is set by Shape and the estimate is σ². Observations that
// share the cause move together.
type VarianceTerm struct {
	Name  string
	Shape VarianceShape
	Share Sharing
}

// VarianceShape says how the scatter of a term depends on the fit.
type VarianceShape int

// Shapes of scatter.
const (
	Constant VarianceShape = iota // h = 1
	OfMean                        // h = |fitted response|
	OfDose                        // h = ∂y/∂η: the scatter is in the log dose (model must be a Doser)
)

// Sharing says which observations a cause moves together.
type Sharing int

// Ways of sharing.
const (
	Each       Sharing = iota // every observation by itself
	BySubgroup                // all of one Group and Subgroup
	ByGroup                   // all of one Group
)

func (VarianceFunction) known() bool { return false }

func (v VarianceFunction) check(data []Observation) error {
	if len(v.Terms) == 0 || len(v.Terms) > 6 {
		return fmt.Errorf("fit: %w: a variance function needs 1 to 6 terms, has %d", ErrBadInput, len(v.Terms))
	}
	for _, t := range v.Terms {
		if t.Shape < Constant || t.Shape > OfDose || t.Share < Each || t.Share > ByGroup {
			return fmt.Errorf("fit: %w: variance term %q has shape %d and sharing %d (use the constants)", ErrBadInput, t.Name, t.Shape, t.Share)
		}
		for i := range data {
			if t.Share != Each && data[i].Group == "" || t.Share == BySubgroup && data[i].Subgroup == "" {
				return fmt.Errorf("fit: %w: variance term %q is shared, but observation %d names no group or subgroup", ErrBadInput, t.Name, i)
			}
		}
	}
	return nil
}

// A Component is the estimate of one term of a VarianceFunction.
type Component struct {
	Name     string
	Variance float64 // σ², ≥ 0
	SE       float64 // of the variance, from the information of the data; 0 where Variance is 0
}

// SD is the square root of the variance.
func (c Component) SD() float64 { return math.Sqrt(c.Variance) }

// shapes sets h of all terms at the parameters p.
func (c *components) shapes(t *task, p []float64) error {
	for k, term := range c.terms {
		for i := range t.data {
			h := 1.0
			switch term.Shape {
			case OfMean:
				h = math.Abs(t.model.Eval(p, t.data[i].X))
			case OfDose:
				d, ok := t.model.(Doser)
				if !ok {
					return fmt.Errorf("fit: %w: scatter in the dose needs a model with a dose", ErrBadInput)
				}
				h = d.DoseSlope(p, t.data[i].X)
			}
			if term.Share != Each {
				h *= t.base[i]
			}
			c.h[k][i] = h
		}
	}
	return nil
}

// fitVariance alternates between variance components and the weighted fit.
func (t *task) fitVariance(v VarianceFunction) error {
	c := newComponents(v, t.data)
	c.plain = v.REML
	t.comps = c
	rows := len(t.data) + len(t.priors)
	r, x := make([]float64, rows), make([]float64, rows*t.n)
	old, last := make([]float64, len(v.Terms)), make([]float64, len(v.Terms))
	part := 1.0
	for iter := 0; ; iter++ {
		p := append([]float64(nil), t.sol.P...)
		if err := c.shapes(t, p); err != nil {
			return err
		}
		t.raw(r, x, p)
		copy(old, c.theta)
		size, err := c.estimate(r, x, t.n, t.sol.Free)
		if err != nil {
			return err
		}
		// Fit and variances may chase each other to and fro: halve the step
		// then, and double it again where they creep.
		along, length := 0.0, 0.0
		for k, v := range c.theta {
			d := size[k] * (v - old[k])
			along += d * last[k]
			length += last[k] * last[k]
			last[k] = d
		}
		switch {
		case along < -0.5*length:
			part /= 2
		case along > 0.5*length:
			part = math.Min(1, 2*part)
		}
		if part < 1 {
			for k := range c.theta {
				c.theta[k] = old[k] + part*(c.theta[k]-old[k])
			}
			var ok bool
			if c.at, ok = c.score(c.theta, r, x, t.n, t.sol.Free); !ok {
				return errNoScatter
			}
		}
		t.white = &whitener{c.blocks}
		if err := t.solve(p); err != nil && t.sol == nil {
			return err
		}
		moved := 0.0
		for j, v := range t.sol.P {
			if v != p[j] {
				moved = math.Max(moved, math.Abs(v-p[j])/math.Max(math.Abs(v), math.Abs(p[j])))
			}
		}
		moved = math.Max(moved, change(old, c.theta, size))
		if moved < 1e-9*part {
			return nil
		}
		if iter == 200 {
			t.solErr = fmt.Errorf("fit: variance components and fit did not settle (last change %.1e): %w", moved, ErrNotConverged)
			return nil
		}
	}
}

// raw sets r and x to residuals and Jacobian multiplied by √weight only, with
// the priors behind them.
func (t *task) raw(r, x, p []float64) {
	t.batch(r, x, p)
	for i := range t.data {
		r[i] = (r[i] - t.data[i].Y) * t.base[i]
		for j := 0; j < t.n; j++ {
			x[i*t.n+j] *= t.base[i]
		}
	}
	for k, q := range t.priors {
		i := len(t.data) + k
		r[i] = (p[q.j] - q.mean) / q.sd
		clear(x[i*t.n : (i+1)*t.n])
		x[i*t.n+q.j] = 1 / q.sd
	}
}
