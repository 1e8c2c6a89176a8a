package fit

import (
	"context"
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// A Candidate is a setting where an observation could be made, or was made.
type Candidate struct {
	X []float64
	// G are the derivatives of the mean by the parameters there, divided by
	// the standard deviation of an observation, for each scenario of
	// parameter values that the design should serve.
	G [][]float64
}

// Candidates evaluates a model at settings xs, for one or several parameter
// values (scenarios). sd is the standard deviation of an observation at x; nil
// means 1. Only parameters in free count (nil: all).
func Candidates(m Model, scenarios [][]float64, xs [][]float64, sd func(p, x []float64) float64, free []int) ([]Candidate, error) {
	n := len(m.Params())
	if free == nil {
		for j := 0; j < n; j++ {
			free = append(free, j)
		}
	}
	out := make([]Candidate, len(xs))
	g := make([]float64, n)
	for i, x := range xs {
		out[i].X = x
		for _, p := range scenarios {
			m.Grad(g, p, x)
			s := 1.0
			if sd != nil {
				s = sd(p, x)
			}
			row := make([]float64, len(free))
			for k, j := range free {
				row[k] = g[j] / s
			}
			if !finite(row) {
				return nil, fmt.Errorf("fit: candidate %v: %w", x, ErrNonFinite)
			}
			out[i].G = append(out[i].G, row)
		}
	}
	return out, nil
}

// A Criterion says what a design should make small. The set is closed: D, C
// and I.
type Criterion interface {
	// weight returns B of the criterion tr(M⁻¹B) for a scenario, or nil for
	// the determinant.
	weight(scenario, p int) []float64
}

// D is the volume of the confidence ellipsoid of all parameters: D-optimal.
type D struct{}

// C is the variance of one combination of the parameters, the same in every
// scenario or one for each: c-optimal. An effective dose with its gradient is a
// C.
type C [][]float64

// I is the variance of the fitted mean, averaged over settings that matter:
// I-optimal.
type I []Candidate

func (D) weight(_, _ int) []float64 { return nil }

func (c C) weight(scenario, p int) []float64 {
	v := c[min(scenario, len(c)-1)]
	b := make([]float64, p*p)
	for i := range v {
		for j := range v {
			b[i*p+j] = v[i] * v[j]
		}
	}
	return b
}

func (c I) weight(scenario, p int) []float64 {
	b := make([]float64, p*p)
	for _, q := range c {
		g := q.G[scenario]
		for i := range g {
			for j := range g {
				b[i*p+j] += g[i] * g[j] / float64(len(c))
			}
		}
	}
	return b
}

// A Design is a choice of n settings among candidates.
type Design struct {
	// Points are the places of the chosen candidates, ascending; repeats are
	// replicates.
	Points []int
	// Value is the criterion per scenario, averaged: for D the mean of
	// −ln det M, for C and I the mean of ln tr(M⁻¹B), with M the information
	// of the design and of what was already run. Smaller is better; a drop by
	// ln 4 of C or I halves the standard error.
	Value float64
	// Before is the value of what was already run alone; +Inf when that does
	// not determine the parameters.
	Before float64
}

// Exchange finds n settings, in addition to those already run, by exchanging
// points for candidates until nothing improves (V.V. Fedorov, Theory of Optimal
// Experiments, 1972), from several starts. The result is deterministic, and a
// local optimum that is usually the best.
func Exchange(c Criterion, candidates, done []Candidate, n int) (*Design, error) {
	return ExchangeContext(context.Background(), c, candidates, done, n)
}

// ExchangeContext is [Exchange], and ends early with the error of ctx. The time
// grows with the points, the candidates and the cube of the parameters.
func ExchangeContext(ctx context.Context, c Criterion, candidates, done []Candidate, n int) (*Design, error) {
	if n < 1 || len(candidates) == 0 {
		return nil, fmt.Errorf("fit: %w: a design needs points to choose and candidates to choose from", ErrBadInput)
	}
	e := newExchanger(c, candidates, done)
	e.ctx = ctx
	if e.p == 0 {
		return nil, fmt.Errorf("fit: %w: candidates have no free parameters", ErrBadInput)
	}
	var best []int
	bestV := math.Inf(1)
	for _, start := range e.starts(n) {
		v := e.improve(start)
		if v < bestV-1e-12 {
			best, bestV = append([]int(nil), start...), v
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	sort.Ints(best)
	d := &Design{Points: best, Value: e.value(e.information(best), 0), Before: e.value(e.information(nil), 0)}
	if math.IsInf(d.Value, 1) {
		return d, fmt.Errorf("fit: %d points among these candidates do not determine %d parameters: %w", n, e.p, ErrNotIdentified)
	}
	return d, nil
}

type exchanger struct {
	ctx        context.Context
	cand, done []Candidate
	p, ns      int
	b          [][]float64
	ridge      []float64
	l, tmp     []float64
}

func newExchanger(c Criterion, candidates, done []Candidate) *exchanger {
	e := &exchanger{cand: candidates, done: done, ns: len(candidates[0].G)}
	if e.ns > 0 {
		e.p = len(candidates[0].G[0])
	}
	e.l, e.tmp = make([]float64, e.p*e.p), make([]float64, e.p*e.p)
	for s := 0; s < e.ns; s++ {
		e.b = append(e.b, c.weight(s, e.p))
		// A ridge small against any real design lets a start grow from nothing.
		t := 0.0
		for _, q := range candidates {
			t = math.Max(t, sumSquares(q.G[s]))
		}
		e.ridge = append(e.ridge, 1e-9*t)
	}
	return e
}

// information returns M for each scenario.
func (e *exchanger) information(points []int) [][]float64 {
	m := make([][]float64, e.ns)
	for s := range m {
		m[s] = make([]float64, e.p*e.p)
		for _, q := range e.done {
			rankOne(m[s], q.G[s], 1)
		}
		for _, k := range points {
			rankOne(m[s], e.cand[k].G[s], 1)
		}
	}
	return m
}

func rankOne(m, g []float64, f float64) {
	p := len(g)
	for i, a := range g {
		a *= f
		for j, b := range g {
			m[i*p+j] += a * b
		}
	}
}

// value is the averaged criterion of M + ridge·I.
func (e *exchanger) value(m [][]float64, ridge float64) float64 {
	sum := 0.0
	p := e.p
	for s := range m {
		// Scale to a unit diagonal for a safe Cholesky factorization.
		logdet := 0.0
		ok := true
		d := make([]float64, p)
		for i := 0; i < p; i++ {
			d[i] = math.Sqrt(m[s][i*p+i] + ridge*e.ridge[s])
			if !(d[i] > 0) {
				return math.Inf(1)
			}
		}
		for i := 0; i < p && ok; i++ {
			for j := 0; j <= i; j++ {
				v := m[s][i*p+j]
				if i == j {
					v += ridge * e.ridge[s]
				}
				v /= d[i] * d[j]
				for k := 0; k < j; k++ {
					v -= e.l[i*p+k] * e.l[j*p+k]
				}
				if i == j {
					if !(v > 1e-14) {
						ok = false
						break
					}
					e.l[i*p+i] = math.Sqrt(v)
					logdet += math.Log(v) + 2*math.Log(d[i])
				} else {
					e.l[i*p+j] = v / e.l[j*p+j]
				}
			}
		}
		if !ok {
			return math.Inf(1)
		}
		if e.b[s] == nil {
			sum -= logdet
			continue
		}
		// tr(M⁻¹B) = tr(L⁻¹ B L⁻ᵀ): solve for the columns, then the rows.
		t := e.tmp
		for c := 0; c < p; c++ {
			for i := 0; i < p; i++ {
				v := e.b[s][i*p+c] / (d[i] * d[c])
				for k := 0; k < i; k++ {
					v -= e.l[i*p+k] * t[k*p+c]
				}
				t[i*p+c] = v / e.l[i*p+i]
			}
		}
		tr := 0.0
		for r := 0; r < p; r++ {
			// Row r of t times L⁻ᵀ, of which only element r counts.
			row := make([]float64, p)
			for i := 0; i < p; i++ {
				v := t[r*p+i]
				for k := 0; k < i; k++ {
					v -= e.l[i*p+k] * row[k]
				}
				row[i] = v / e.l[i*p+i]
			}
			tr += row[r]
		}
		sum += math.Log(math.Max(tr, math.SmallestNonzeroFloat64))
	}
	return sum / float64(e.ns)
}

// with returns what value becomes with candidate k besides m, by the formula of
// Sherman and Morrison (Hager, SIAM Rev. 31 (1989) 221; from memory, a test
// compares designs with all there are) where m is far from singular, else by
// factoring anew.
func (e *exchanger) with(m [][]float64, ridge float64) func(k int) float64 {
	p := e.p
	inv, trace := make([][]float64, e.ns), make([]float64, e.ns)
	for s := range m {
		full := append([]float64(nil), m[s]...)
		for i := range p {
			full[i*p+i] += ridge * e.ridge[s]
		}
		if inv[s] = inverse(full, p); inv[s] == nil {
			return func(k int) float64 {
				e.add(m, k, 1)
				defer e.add(m, k, -1)
				return e.value(m, ridge)
			}
		}
		if e.b[s] != nil {
			trace[s] = dotPlain(e.b[s], inv[s])
		}
	}
	before := e.value(m, ridge)
	u := make([]float64, p)
	return func(k int) float64 {
		gain, sum := 0.0, 0.0
		for s, g := range e.cand[k].G {
			for i := range u {
				u[i] = dotPlain(inv[s][i*p:(i+1)*p], g)
			}
			h := dotPlain(u, g)
			if e.b[s] == nil {
				gain += math.Log1p(h)
				continue
			}
			sum += math.Log(math.Max(trace[s]-form(e.b[s], u)/(1+h), math.SmallestNonzeroFloat64))
		}
		if e.b[0] == nil {
			return before - gain/float64(e.ns)
		}
		return sum / float64(e.ns)
	}
}

// inverse of a symmetric matrix of order p, nil where it is singular or so near to
// it that half of the digits are lost.
func inverse(m []float64, p int) []float64 {
	scaled, d := mat.NewSymDense(p, nil), make([]float64, p)
	for i := range p {
		d[i] = math.Sqrt(m[i*p+i])
		if !(d[i] > 0) {
			return nil
		}
		for j := range i + 1 {
			scaled.SetSym(i, j, m[i*p+j]/(d[i]*d[j]))
		}
	}
	var c mat.Cholesky
	if !c.Factorize(scaled) || c.Cond() > 1e9 {
		return nil
	}
	var inv mat.SymDense
	if err := c.InverseTo(&inv); err != nil {
		return nil
	}
	out := make([]float64, p*p)
	for i := range p {
		for j := range p {
			out[i*p+j] = inv.At(i, j) / (d[i] * d[j])
		}
	}
	return out
}

// form is xᵀMx.
func form(m, x []float64) float64 {
	sum := 0.0
	for i, v := range x {
		sum += v * dotPlain(x, m[i*len(x):(i+1)*len(x)])
	}
	return sum
}

// starts returns designs to improve: one grown greedily, one spread evenly over
// the candidates, one of the ends.
func (e *exchanger) starts(n int) [][]int {
	var greedy []int
	m := e.information(nil)
	for len(greedy) < n && e.ctx.Err() == nil {
		best, bestV := 0, math.Inf(1)
		with := e.with(m, 1)
		for k := range e.cand {
			if v := with(k); v < bestV {
				best, bestV = k, v
			}
		}
		e.add(m, best, 1)
		greedy = append(greedy, best)
	}
	spread, ends := make([]int, n), make([]int, n)
	for i := range spread {
		if n > 1 {
			spread[i] = i * (len(e.cand) - 1) / (n - 1)
		}
		if i%2 == 1 {
			ends[i] = len(e.cand) - 1
		}
	}
	return [][]int{greedy, spread, ends}
}

func (e *exchanger) add(m [][]float64, k int, f float64) {
	for s := range m {
		rankOne(m[s], e.cand[k].G[s], f)
	}
}

// improve exchanges in place until no single exchange helps.
func (e *exchanger) improve(points []int) float64 {
	ridge := 1e-3 // far below any real design, yet lets singular starts move
	cur := e.value(e.information(points), ridge)
	for pass := 0; pass < 100; pass++ {
		moved := false
		for i := range points {
			if e.ctx.Err() != nil {
				return cur
			}
			m := e.information(points)
			e.add(m, points[i], -1)
			best, bestV := points[i], cur
			with := e.with(m, ridge)
			for k := range e.cand {
				if v := with(k); v < bestV-1e-10*math.Max(1, math.Abs(bestV)) {
					best, bestV = k, v
				}
			}
			if best != points[i] {
				points[i], cur, moved = best, bestV, true
			}
		}
		if !moved {
			break
		}
	}
	return cur
}

// Sensitivity returns, for a D-optimal weighting of settings (weights sum to
// 1), the standardized variance gᵀM⁻¹g at each candidate, in the first
// scenario. By the equivalence theorem its maximum is the number of parameters
// exactly for the optimum; p/maximum bounds the efficiency from below.
func Sensitivity(support []Candidate, weights []float64, candidates []Candidate) ([]float64, error) {
	e := newExchanger(D{}, candidates, nil)
	m := make([]float64, e.p*e.p)
	for i, q := range support {
		rankOne(m, q.G[0], weights[i])
	}
	idx := make([]int, e.p)
	for i := range idx {
		idx[i] = i
	}
	out := make([]float64, len(candidates))
	for k, q := range candidates {
		x := solveSymmetric(m, q.G[0], e.p, idx)
		if x == nil {
			return nil, fmt.Errorf("fit: the design does not determine the parameters: %w", ErrNotIdentified)
		}
		out[k] = dotPlain(x, q.G[0])
	}
	return out, nil
}

// DesignWeights finds the D-optimal weights of candidates for one scenario by the
// vertex exchange method (D. Böhning, Metrika 33 (1986) 337), until the
// efficiency bound p/max reaches 1 − tol (0 means 1e-6).
func DesignWeights(candidates []Candidate, tol float64) ([]float64, error) {
	if tol == 0 {
		tol = 1e-6
	}
	e := newExchanger(D{}, candidates, nil)
	p := e.p
	// Start from an exact design of p points, which is not singular.
	d, err := Exchange(D{}, candidates, nil, p)
	if err != nil {
		return nil, err
	}
	w := make([]float64, len(candidates))
	for _, k := range d.Points {
		w[k] += 1 / float64(p)
	}
	idx := make([]int, p)
	for i := range idx {
		idx[i] = i
	}
	m := make([]float64, p*p)
	for iter := 0; iter < 20000; iter++ {
		clear(m)
		for k, v := range w {
			if v > 0 {
				rankOne(m, candidates[k].G[0], v)
			}
		}
		hi, lo := -1, -1
		dHi, dLo := math.Inf(-1), math.Inf(1)
		var xHi []float64
		for k, q := range candidates {
			x := solveSymmetric(m, q.G[0], p, idx)
			if x == nil {
				return nil, fmt.Errorf("fit: singular information: %w", ErrNotIdentified)
			}
			v := dotPlain(x, q.G[0])
			if v > dHi {
				hi, dHi, xHi = k, v, x
			}
			if w[k] > 0 && v < dLo {
				lo, dLo = k, v
			}
		}
		if dHi <= float64(p)/(1-tol) {
			break
		}
		// Best step from lo to hi: det(M + a(g_h g_hᵀ − g_l g_lᵀ)).
		c := dotPlain(xHi, candidates[lo].G[0])
		den := 2 * (dHi*dLo - c*c)
		a := w[lo]
		if den > 0 {
			a = math.Min(a, (dHi-dLo)/den)
		}
		w[hi] += a
		w[lo] -= a
		if w[lo] < 1e-12 {
			w[lo] = 0
		}
	}
	return w, nil
}
