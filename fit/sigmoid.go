package fit

import (
	"fmt"
	"math"
)

// A Sigmoid is the dose-response curve of one dose x ≥ 0,
//
//	y = zero + (infinite − zero)·F(η),  η = slope·(ln x − ln location),
//
// with slope ≥ 0. zero and infinite are the responses at no dose and at
// infinite dose, so the same form falls and rises. With LogLogistic it is the
// four-parameter logistic in log dose, and location is the dose of half effect.
// A ShapedCurve adds its shape as a fifth parameter.
type Sigmoid struct {
	Curve Curve // must be set
}

// Places of the parameters of a Sigmoid.
const (
	Zero = iota
	Infinite
	Slope
	Location
	Shape
)

// Params implements Model.
func (s Sigmoid) Params() []Param {
	ps := []Param{{Name: "zero"}, {Name: "infinite"},
		{Name: "slope", Lower: 0, Upper: math.Inf(1)}, {Name: "location", Lower: 0, Upper: math.Inf(1)}}
	if _, ok := s.Curve.(ShapedCurve); ok {
		ps = append(ps, Param{Name: "shape", Lower: 1e-3, Upper: 1e3})
	}
	return ps
}

func (s Sigmoid) checkPoint(x []float64, skip int) error {
	switch {
	case len(x) < 1:
		return fmt.Errorf("%w: no dose", ErrBadInput)
	case skip != 0 && x[0] < 0:
		return fmt.Errorf("%w: dose must be zero or positive, is %g", ErrBadInput, x[0])
	}
	return nil
}

func (s Sigmoid) eta(p []float64, lx float64) float64 {
	if math.IsInf(lx, -1) {
		return math.Inf(-1)
	}
	return p[Slope] * (lx - math.Log(p[Location]))
}

func shapeOf(p []float64) float64 {
	if len(p) > Shape {
		return p[Shape]
	}
	return 0
}

// Eval implements Model.
func (s Sigmoid) Eval(p, x []float64) float64 {
	f, g, _, _ := unit(s.Curve.family(), shapeOf(p), s.eta(p, math.Log(x[0])))
	return p[Zero]*g + p[Infinite]*f
}

// Grad implements Model.
func (s Sigmoid) Grad(dst, p, x []float64) float64 {
	return s.grad(dst, p, math.Log(x[0]), math.Log(p[Location]), s.Curve.family())
}

func (s Sigmoid) grad(dst, p []float64, lx, le float64, fam family) float64 {
	span := p[Infinite] - p[Zero]
	d := lx - le
	if math.IsInf(lx, -1) {
		return atEnd(dst, p, Zero)
	}
	if math.IsInf(lx, 1) {
		return atEnd(dst, p, Infinite)
	}
	f, g, df, ds := unit(fam, shapeOf(p), p[Slope]*d)
	dst[Zero] = g
	dst[Infinite] = f
	dst[Slope] = span * df * d
	dst[Location] = -span * df * p[Slope] / p[Location]
	if len(p) > Shape {
		dst[Shape] = span * ds
	}
	return p[Zero]*g + p[Infinite]*f
}

// atEnd is the response at an end of the curve, with its gradient.
func atEnd(dst, p []float64, end int) float64 {
	clear(dst)
	dst[end] = 1
	return p[end]
}

// DoseSlope implements Doser: ∂y/∂η.
func (s Sigmoid) DoseSlope(p, x []float64) float64 {
	_, _, df, _ := unit(s.Curve.family(), shapeOf(p), s.eta(p, math.Log(x[0])))
	return (p[Infinite] - p[Zero]) * df
}

func (s Sigmoid) batch(data []Observation) func(f, jac, p []float64) {
	lx := make([]float64, len(data))
	for i, o := range data {
		lx[i] = math.Log(o.X[0])
	}
	n := len(s.Params())
	fam := s.Curve.family()
	return func(f, jac, p []float64) {
		le := math.Log(p[Location])
		for i, v := range lx {
			f[i] = s.grad(jac[i*n:i*n+n], p, v, le, fam)
		}
	}
}

// EffectiveDose returns the dose at which fraction q in (0,1) of the way from
// zero to infinite is gone, in units of x. It is NaN for a q outside [0,1].
func (s Sigmoid) EffectiveDose(p []float64, q float64) float64 {
	return p[Location] * math.Exp(unitInverse(s.Curve.family(), shapeOf(p), q)/p[Slope])
}
