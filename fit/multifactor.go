package fit

import (
	"fmt"
	"math"
	"sort"
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

// Start implements Starter: for several guesses of the ends, levels are turned
// into log doses and these regressed on the factors.
func (m MultiFactor) Start(data []Observation, fixed []float64) ([][]float64, error) {
	if err := checkPoints(m, data); err != nil {
		return nil, err
	}
	s := m.newStarter(data, fixed)
	for _, shape := range s.shapes() {
		for _, e := range endGuesses(data) {
			s.try(e[0], e[1], shape)
		}
	}
	if len(s.list) == 0 {
		return nil, fmt.Errorf("fit: no start found: %w", ErrNotIdentified)
	}
	return s.best(), nil
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

// endGuesses are pairs of ends, of no dose and of infinite dose, somewhat
// beyond the responses: on both sides, below or above.
func endGuesses(data []Observation) [][2]float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, o := range data {
		lo, hi = math.Min(lo, o.Y), math.Max(hi, o.Y)
	}
	if lo == hi {
		hi = lo + math.Max(1e-6*math.Abs(lo), 1e-12)
	}
	const little = 0.02
	var ends [][2]float64
	for _, ext := range []float64{little, 0.1, 0.4, 1.5} {
		l, h := lo-ext*(hi-lo), hi+ext*(hi-lo)
		nearL, nearH := lo-little*(hi-lo), hi+little*(hi-lo)
		ends = append(ends, [2]float64{l, h}, [2]float64{l, nearH}, [2]float64{nearL, h},
			[2]float64{h, l}, [2]float64{nearH, l}, [2]float64{h, nearL})
	}
	return ends
}

// starter collects start values of a MultiFactor.
type starter struct {
	m     MultiFactor
	data  []Observation
	fixed []float64 // NaN where free
	rows  []float64 // ∂η/∂p by observation
	fam   family
	at    int   // place of the shape, or −1
	free  []int // parameters of η
	f     []float64
	list  []startPoint
}

type startPoint struct {
	p   []float64
	rss float64
}

func (m MultiFactor) newStarter(data []Observation, fixed []float64) *starter {
	n := len(fixed)
	s := &starter{m: m, data: data, fixed: fixed, rows: make([]float64, len(data)*n), fam: m.Curve.family(), at: m.shapeAt(), f: make([]float64, len(data))}
	for i, o := range data {
		m.basis(s.rows[i*n:(i+1)*n], o.X)
	}
	for j := 2; j < n; j++ {
		if j != s.at && math.IsNaN(fixed[j]) {
			s.free = append(s.free, j)
		}
	}
	return s
}

// shapes are guesses of the shape: one that does not matter for curves without.
func (s *starter) shapes() []float64 {
	switch {
	case s.at < 0:
		return []float64{0}
	case !math.IsNaN(s.fixed[s.at]):
		return []float64{s.fixed[s.at]}
	}
	return []float64{1.2, 2, 4}
}

// try adds the start from one guess of ends and shape, if there is one.
func (s *starter) try(zero, inf, shape float64) {
	n := len(s.fixed)
	p := make([]float64, n)
	for j, v := range s.fixed {
		if !math.IsNaN(v) {
			p[j] = v
		}
	}
	if math.IsNaN(s.fixed[Zero]) {
		p[Zero] = zero
	}
	if math.IsNaN(s.fixed[Infinite]) {
		p[Infinite] = inf
	}
	if p[Zero] == p[Infinite] {
		return
	}
	if s.at >= 0 {
		p[s.at] = shape
	}
	s.m.linearStart(p, s.data, s.rows, s.free, s.fam, shape)
	for i := range s.data {
		s.f[i], _, _, _ = unit(s.fam, shape, dotPlain(s.rows[i*n+2:(i+1)*n], p[2:]))
	}
	z, iv, rss, ok := ends(s.data, s.f, s.fixed[Zero], s.fixed[Infinite])
	if !ok || !finite(p) {
		return
	}
	p[Zero], p[Infinite] = z, iv
	s.list = append(s.list, startPoint{p, rss})
}

// best returns up to eight starts: the best three and every third after them.
// Of mirror images (a symmetric curve with ends exchanged) the one comes first in
// which the factors together raise the dose.
func (s *starter) best() [][]float64 {
	sort.SliceStable(s.list, func(i, j int) bool {
		a, b := s.list[i], s.list[j]
		if math.Abs(a.rss-b.rss) > 1e-6*(a.rss+b.rss) {
			return a.rss < b.rss
		}
		return s.raises(a.p) && !s.raises(b.p)
	})
	var out [][]float64
	for i, q := range s.list {
		if i%3 == 0 || i < 3 {
			out = append(out, q.p)
		}
		if len(out) == 8 {
			break
		}
	}
	return out
}

// raises reports whether the factors together raise the dose over their ranges.
func (s *starter) raises(p []float64) bool {
	n, sum := len(p), 0.0
	for j := 3; j < 3+s.m.varied(); j++ {
		lo, hi := math.Inf(1), math.Inf(-1)
		for i := range s.data {
			lo, hi = math.Min(lo, s.rows[i*n+j]), math.Max(hi, s.rows[i*n+j])
		}
		sum += p[j] * (hi - lo)
	}
	return sum > 0
}

// linearStart regresses the log doses that belong to the responses, given the
// ends, on the basis.
func (m MultiFactor) linearStart(p []float64, data []Observation, rows []float64, free []int, fam family, sh float64) {
	n, k := len(p), len(free)
	if k == 0 {
		return
	}
	var q qr
	q.resize(len(data), k)
	rhs := make([]float64, len(data))
	for i, o := range data {
		level := math.Min(0.98, math.Max(0.02, (o.Y-p[Zero])/(p[Infinite]-p[Zero])))
		eta := unitInverse(fam, sh, level)
		_, _, w, _ := unit(fam, sh, eta)
		for j := 2; j < n; j++ {
			eta -= rows[i*n+j] * p[j] // fixed coefficients; free ones are still zero
		}
		rhs[i] = w * eta
		for c, j := range free {
			q.a[c*q.m+i] = w * rows[i*n+j]
		}
	}
	q.factor(rhs)
	r := make([]float64, k*k)
	q.r(r)
	x := make([]float64, k)
	backSolve(x, r, rhs[:k], k, rankOf(r, k, 1e-10))
	for c, j := range q.perm {
		p[free[j]] = x[c]
	}
}
