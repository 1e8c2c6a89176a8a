package fit

import (
	"fmt"
	"math"
	"sort"
)

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
