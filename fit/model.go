package fit

import (
	"fmt"
	"math"
)

// A Param is a parameter of a model: its name, which no other one has, and
// natural bounds. Lower = Upper = 0 means no bounds. Parameters may lack names: options
// do not reach them where they are several, and messages call them by their place.
type Param struct {
	Name         string
	Lower, Upper float64
}

// Bounds returns the bounds with "none" as infinities.
func (p Param) Bounds() (lower, upper float64) {
	if p.Lower == 0 && p.Upper == 0 {
		return math.Inf(-1), math.Inf(1)
	}
	return p.Lower, p.Upper
}

// A Model is a mean response with analytic derivatives. p and dst have one entry
// per parameter, x one per predictor; methods may panic on shorter ones.
type Model interface {
	Params() []Param
	// Eval returns the response at x.
	Eval(p, x []float64) float64
	// Grad returns the response and sets dst to its derivatives by p.
	Grad(dst, p, x []float64) float64
}

// A Starter is a model that finds its own start values. It returns candidates,
// best first, each with one value per parameter. fixed, as long, holds the values
// of fixed parameters and NaN for the others.
type Starter interface {
	Start(data []Observation, fixed []float64) ([][]float64, error)
}

// A Doser is a model with a log dose η: DoseSlope returns ∂y/∂η at x.
type Doser interface {
	DoseSlope(p, x []float64) float64
}

// A pointed model has no response at some points: checkPoint says what is wrong
// with x. It does not look at predictor skip, which a search moves; −1 means none.
type pointed interface {
	checkPoint(x []float64, skip int) error
}

// batcher evaluates a model at all observations with what does not depend on
// the parameters computed once. f and jac are of the size of the data.
type batcher interface {
	batch(data []Observation) func(f, jac, p []float64)
}

// Func is a model given by functions. Derivative may be nil: then extrapolated
// differences of Value stand in for it, to about 10 digits where Value is smooth and
// exact to rounding, at some six evaluations for each parameter and ten times as many where
// a step is looked for: at the start and the end of a fit, and at each point by parameters
// that Value does not depend on there. Value is then asked around the parameters, beyond
// bounds by up to half their width, too, and without bounds up to a thousand times as far
// out as they are or 1 is, farther where a parameter is hardly seen in Value. Where
// the estimated error of such a derivative matters, the Result of Regress has a warning.
type Func struct {
	Parameters []Param
	Value      func(p, x []float64) float64
	// Derivative sets dst to the derivatives of Value by the parameters. Regress
	// checks it at the solution.
	Derivative func(dst, p, x []float64)
}

// Params implements Model.
func (m Func) Params() []Param { return m.Parameters }

// Eval implements Model.
func (m Func) Eval(p, x []float64) float64 { return m.Value(p, x) }

// Grad implements Model.
func (m Func) Grad(dst, p, x []float64) float64 {
	if m.Derivative != nil {
		m.Derivative(dst, p, x)
	} else {
		d := newDifferences(1, len(p), func(y, p []float64) { y[0] = m.Value(p, x) })
		lower, upper := make([]float64, len(p)), make([]float64, len(p))
		for j, q := range m.Parameters {
			lower[j], upper[j] = q.Bounds()
		}
		d.reach = reaches(lower, upper)
		d.jacobian(dst, p)
	}
	return m.Value(p, x)
}

// Linear is the model Σ p_j·g_j(x), linear in its parameters. Basis sets dst, one
// entry per name, to the g_j at x.
type Linear struct {
	Names []string
	Basis func(dst, x []float64)
}

// Polynomial returns the polynomial of degree d ≥ 0 in the first predictor. A
// negative d gives a model without parameters, which Regress refuses.
func Polynomial(d int) Linear {
	l := Linear{Basis: func(dst, x []float64) {
		v := 1.0
		for j := range dst {
			dst[j] = v
			v *= x[0]
		}
	}}
	for j := 0; j <= d; j++ {
		l.Names = append(l.Names, fmt.Sprintf("b%d", j))
	}
	return l
}

// Params implements Model.
func (l Linear) Params() []Param {
	ps := make([]Param, len(l.Names))
	for j, n := range l.Names {
		ps[j].Name = n
	}
	return ps
}

// Eval implements Model.
func (l Linear) Eval(p, x []float64) float64 { return l.Grad(make([]float64, len(p)), p, x) }

// Grad implements Model.
func (l Linear) Grad(dst, p, x []float64) float64 {
	l.Basis(dst, x)
	y := 0.0
	for j, g := range dst {
		y += p[j] * g
	}
	return y
}

// Start implements Starter: any point does for a linear model.
func (l Linear) Start(_ []Observation, fixed []float64) ([][]float64, error) {
	s := make([]float64, len(l.Names))
	for j, v := range fixed {
		if !math.IsNaN(v) {
			s[j] = v
		}
	}
	return [][]float64{s}, nil
}
