package fit

import (
	"fmt"
	"math"
)

// Transform is what is done to a factor before it enters the log dose.
type Transform int

// Transforms of factors.
const (
	Identity   Transform = iota
	Ln                   // ln x: the coefficient is the exponent of a power law
	Reciprocal           // 1/x: with x in kelvin the coefficient is −Ea/R (Arrhenius)
)

func (t Transform) apply(x float64) float64 {
	switch t {
	case Ln:
		return math.Log(x)
	case Reciprocal:
		return 1 / x
	}
	return x
}

// A Factor is one setting that contributes to the log dose.
type Factor struct {
	Name      string
	Transform Transform
	// Center is subtracted after the transform, to keep the coefficients
	// apart; NewMultiFactor sets it to the mean of the data.
	Center float64
	// Lo and Hi are the range of the data, untransformed.
	Lo, Hi float64
	// Dropped factors were the same in all data: their effect is unknown, and
	// a prediction with another value is an extrapolation.
	Dropped bool
}

// A MultiFactor model is a dose-response curve of several settings,
//
//	y = zero + (infinite − zero)·F(η),  η = b0 + Σ b_j·(g_j(x_j) − center_j) + shift of the group.
//
// Predictors are the factors in order and, with Groups, the number of the
// group at the end. The shift of the first group is zero, unless the shifts
// are shrunk (see FitOptions.Shrunk and Shifts).
type MultiFactor struct {
	Curve   Curve
	Factors []Factor
	Groups  []string
	// AllShifts gives the first group a shift too, for shrinking or priors.
	AllShifts bool
}

// NewMultiFactor centers the factors on the data and drops those that do not
// vary.
func NewMultiFactor(c Curve, factors []Factor, data []Observation) (MultiFactor, error) {
	m := MultiFactor{Curve: c, Factors: append([]Factor(nil), factors...)}
	if err := checkData(data); err != nil {
		return m, err
	}
	if len(data[0].X) < len(factors) {
		return m, fmt.Errorf("fit: %w: %d factors, but observations have %d predictors", ErrBadInput, len(factors), len(data[0].X))
	}
	varied := false
	for j := range m.Factors {
		f := &m.Factors[j]
		f.Lo, f.Hi = math.Inf(1), math.Inf(-1)
		sum := 0.0
		for i, o := range data {
			x := o.X[j]
			if f.Transform == Ln && x <= 0 || f.Transform == Reciprocal && x <= 0 {
				return m, fmt.Errorf("fit: %w: observation %d: %s is %g, must be positive", ErrBadInput, i, f.Name, x)
			}
			f.Lo, f.Hi = math.Min(f.Lo, x), math.Max(f.Hi, x)
			sum += f.Transform.apply(x)
		}
		f.Center = sum / float64(len(data))
		f.Dropped = f.Hi-f.Lo <= 1e-9*math.Abs(f.Hi)
		varied = varied || !f.Dropped
	}
	if !varied {
		return m, fmt.Errorf("fit: no factor was varied: %w", ErrNotIdentified)
	}
	return m, nil
}

// ShiftName is the name of the parameter of a group's shift.
func ShiftName(group string) string { return "shift " + group }

// Shifts returns the names of the shift parameters.
func (m MultiFactor) Shifts() []string {
	var s []string
	for k, g := range m.Groups {
		if k > 0 || m.AllShifts {
			s = append(s, ShiftName(g))
		}
	}
	return s
}

// Params implements Model: zero, infinite, b0, one per varied factor (named
// as the factor), shape, shifts.
func (m MultiFactor) Params() []Param {
	ps := []Param{{Name: "zero"}, {Name: "infinite"}, {Name: "b0"}}
	for _, f := range m.Factors {
		if !f.Dropped {
			ps = append(ps, Param{Name: f.Name})
		}
	}
	if _, ok := m.Curve.(ShapedCurve); ok {
		ps = append(ps, Param{Name: "shape", Lower: 1e-3, Upper: 1e3})
	}
	for _, s := range m.Shifts() {
		ps = append(ps, Param{Name: s})
	}
	return ps
}

// basis sets row to ∂η/∂p over all parameters (zero for the ends and shape).
func (m MultiFactor) basis(row, x []float64) {
	clear(row)
	row[2] = 1
	k := 3
	for j, f := range m.Factors {
		if !f.Dropped {
			row[k] = f.Transform.apply(x[j]) - f.Center
			k++
		}
	}
	if _, ok := m.Curve.(ShapedCurve); ok {
		k++
	}
	if len(m.Groups) > 0 {
		g := int(x[len(m.Factors)])
		if !m.AllShifts {
			g--
		}
		if g >= 0 {
			row[k+g] = 1
		}
	}
}

// varied is the number of factors that were not dropped.
func (m MultiFactor) varied() int {
	k := 0
	for _, f := range m.Factors {
		if !f.Dropped {
			k++
		}
	}
	return k
}

// shapeAt is the place of the shape parameter, or −1.
func (m MultiFactor) shapeAt() int {
	if _, ok := m.Curve.(ShapedCurve); !ok {
		return -1
	}
	return 3 + m.varied()
}

// shapeIn is the shape parameter at its place in p, 0 for curves without.
func shapeIn(p []float64, at int) float64 {
	if at < 0 {
		return 0
	}
	return p[at]
}

// Eta returns the log dose at x.
func (m MultiFactor) Eta(p, x []float64) float64 {
	row := make([]float64, len(p))
	m.basis(row, x)
	return dotPlain(row, p)
}

func dotPlain(a, b []float64) float64 {
	s := 0.0
	for i, v := range a {
		s += v * b[i]
	}
	return s
}

func (m MultiFactor) grad(dst, p, basis []float64, fam family, at int) float64 {
	eta := dotPlain(basis, p)
	f, g, df, ds := unit(fam, shapeIn(p, at), eta)
	span := p[Infinite] - p[Zero]
	for j, b := range basis {
		dst[j] = span * df * b
	}
	dst[Zero], dst[Infinite] = g, f
	if at >= 0 {
		dst[at] = span * ds
	}
	return p[Zero]*g + p[Infinite]*f
}

// Eval implements Model.
func (m MultiFactor) Eval(p, x []float64) float64 { return m.Grad(make([]float64, len(p)), p, x) }

// Grad implements Model.
func (m MultiFactor) Grad(dst, p, x []float64) float64 {
	row := make([]float64, len(p))
	m.basis(row, x)
	return m.grad(dst, p, row, m.Curve.family(), m.shapeAt())
}

// DoseSlope implements Doser.
func (m MultiFactor) DoseSlope(p, x []float64) float64 {
	_, _, df, _ := unit(m.Curve.family(), shapeIn(p, m.shapeAt()), m.Eta(p, x))
	return (p[Infinite] - p[Zero]) * df
}

func (m MultiFactor) batch(data []Observation) func(f, jac, p []float64) {
	n := len(m.Params())
	rows := make([]float64, len(data)*n)
	for i, o := range data {
		m.basis(rows[i*n:(i+1)*n], o.X)
	}
	fam, at := m.Curve.family(), m.shapeAt()
	return func(f, jac, p []float64) {
		for i := range f[:len(data)] {
			f[i] = m.grad(jac[i*n:(i+1)*n], p, rows[i*n:(i+1)*n], fam, at)
		}
	}
}

// checkPoint makes sure that x has all factors, where their transforms are
// finite, and a group.
func (m MultiFactor) checkPoint(x []float64, skip int) error {
	k := len(m.Factors)
	if want := k + min(1, len(m.Groups)); len(x) < want {
		return fmt.Errorf("%w: %d predictors, need %d", ErrBadInput, len(x), want)
	}
	for j, f := range m.Factors {
		switch v := x[j]; {
		case j == skip || f.Dropped:
		case f.Transform != Identity && !(v > 0):
			return fmt.Errorf("%w: %s is %g, must be positive", ErrBadInput, f.Name, v)
		case f.Transform != Reciprocal && math.IsInf(v, 0):
			return fmt.Errorf("%w: %s is %g, must be finite", ErrBadInput, f.Name, v)
		}
	}
	if len(m.Groups) == 0 {
		return nil
	}
	if skip == k {
		return fmt.Errorf("%w: predictor %d is the number of the group, not a dose", ErrBadInput, k)
	}
	if g := x[k]; !(g >= 0 && g < float64(len(m.Groups))) || g != math.Trunc(g) {
		return fmt.Errorf("%w: group number %g of %d groups (a whole number from 0 to %d)", ErrBadInput, g, len(m.Groups), len(m.Groups)-1)
	}
	return nil
}
