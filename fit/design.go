package fit

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/mat"
)

// A Candidate is a setting where an observation could be made, or was made. All
// candidates of a design have G of one size: scenarios by parameters.
type Candidate struct {
	X []float64
	// G are the derivatives of the mean by the parameters there, divided by
	// the standard deviation of an observation, for each scenario of
	// parameter values that the design should serve.
	G [][]float64
}

// Candidates evaluates a model at settings xs, for one or several parameter
// values (scenarios), each of all parameters of the model. sd is the standard
// deviation of an observation at x, > 0; nil means 1. Only parameters in free,
// places from 0, count (nil: all). Other lengths, places and scatter are errors.
func Candidates(m Model, scenarios [][]float64, xs [][]float64, sd func(p, x []float64) float64, free []int) ([]Candidate, error) {
	n := len(m.Params())
	if free == nil {
		for j := 0; j < n; j++ {
			free = append(free, j)
		}
	}
	for _, j := range free {
		if j < 0 || j >= n {
			return nil, fmt.Errorf("fit: %w: free parameter %d of a model with %d (the first is 0)", ErrBadInput, j, n)
		}
	}
	for k, p := range scenarios {
		if len(p) != n {
			return nil, fmt.Errorf("fit: %w: scenario %d has %d values for %d parameters", ErrBadInput, k, len(p), n)
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
			if !(s > 0) || math.IsInf(s, 1) {
				return nil, fmt.Errorf("fit: %w: candidate %v has standard deviation %g, must be positive", ErrBadInput, x, s)
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

// checkCandidates checks that all have ns scenarios of p finite derivatives.
func checkCandidates(what string, candidates []Candidate, ns, p int) error {
	for i, q := range candidates {
		if len(q.G) != ns {
			return fmt.Errorf("fit: %w: %s %d has %d scenarios, the first candidate has %d", ErrBadInput, what, i, len(q.G), ns)
		}
		for _, g := range q.G {
			if len(g) != p {
				return fmt.Errorf("fit: %w: %s %d has %d derivatives, the first candidate has %d", ErrBadInput, what, i, len(g), p)
			}
			if !finite(g) {
				return fmt.Errorf("fit: derivatives of %s %d: %w", what, i, ErrNonFinite)
			}
		}
	}
	return nil
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
// local optimum that is usually the best. It is an error when there is nothing
// to choose, or when candidates, done and the criterion differ in scenarios or
// parameters.
func Exchange(c Criterion, candidates, done []Candidate, n int) (*Design, error) {
	return ExchangeContext(context.Background(), c, candidates, done, n)
}

// ExchangeContext is [Exchange], and ends early with the error of ctx. The time
// grows with the points, the candidates and the square of the parameters.
func ExchangeContext(ctx context.Context, c Criterion, candidates, done []Candidate, n int) (*Design, error) {
	if c == nil {
		return nil, fmt.Errorf("fit: %w: a design without a criterion", ErrBadInput)
	}
	if n < 1 || len(candidates) == 0 {
		return nil, fmt.Errorf("fit: %w: a design needs points to choose and candidates to choose from", ErrBadInput)
	}
	e, err := newExchanger(c, candidates, done)
	if err != nil {
		return nil, err
	}
	e.ctx = ctx
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
}

func newExchanger(c Criterion, candidates, done []Candidate) (*exchanger, error) {
	e := &exchanger{cand: candidates, done: done, ns: len(candidates[0].G)}
	if e.ns > 0 {
		e.p = len(candidates[0].G[0])
	}
	if e.p == 0 {
		return nil, fmt.Errorf("fit: %w: candidates have no free parameters", ErrBadInput)
	}
	if err := checkCandidates("candidate", candidates, e.ns, e.p); err != nil {
		return nil, err
	}
	if err := checkCandidates("run setting", done, e.ns, e.p); err != nil {
		return nil, err
	}
	if err := c.check(e.ns, e.p); err != nil {
		return nil, err
	}
	for s := 0; s < e.ns; s++ {
		e.b = append(e.b, c.weight(s, e.p))
		// A ridge small against any real design lets a start grow from nothing.
		t := 0.0
		for _, q := range candidates {
			t = math.Max(t, sumSquares(q.G[s]))
		}
		e.ridge = append(e.ridge, 1e-9*t)
	}
	return e, nil
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
	for s := range m {
		inv, logDet, cond := e.invert(m, s, ridge)
		if !(cond < singular) {
			return math.Inf(1)
		}
		if e.b[s] == nil {
			sum -= logDet
			continue
		}
		sum += logTrace(dotPlain(e.b[s], inv))
	}
	return sum / float64(e.ns)
}

func logTrace(t float64) float64 { return math.Log(math.Max(t, math.SmallestNonzeroFloat64)) }

// with returns what value becomes with candidate k besides m, by the formula of
// Sherman and Morrison (Hager, SIAM Rev. 31 (1989) 221; from memory, a test
// compares designs with all there are) where m is far from singular, else by
// factoring anew.
func (e *exchanger) with(m [][]float64, ridge float64) func(k int) float64 {
	inv, before := make([][]float64, e.ns), make([]float64, e.ns) // before: ln det M or tr(M⁻¹B)
	for s := range m {
		var cond float64
		inv[s], before[s], cond = e.invert(m, s, ridge)
		if !(cond < nearSingular) {
			return func(k int) float64 {
				e.add(m, k, 1)
				defer e.add(m, k, -1)
				return e.value(m, ridge)
			}
		}
		if e.b[s] != nil {
			before[s] = dotPlain(e.b[s], inv[s])
		}
	}
	u := make([]float64, e.p)
	return func(k int) float64 {
		sum := 0.0
		for s, g := range e.cand[k].G {
			for i := range u {
				u[i] = dotPlain(inv[s][i*e.p:(i+1)*e.p], g)
			}
			h := dotPlain(u, g)
			if e.b[s] == nil {
				sum -= before[s] + math.Log1p(h)
				continue
			}
			sum += logTrace(before[s] - form(e.b[s], u)/(1+h))
		}
		return sum / float64(e.ns)
	}
}

// Condition numbers of M, scaled to a unit diagonal, from which on it counts as
// singular, and from which on updates of its inverse lose half of their digits.
const (
	singular     = 1e14
	nearSingular = 1e9
)

// invert inverts M + ridge·I of a scenario; cond is infinite where it is singular.
func (e *exchanger) invert(m [][]float64, s int, ridge float64) (inv []float64, logDet, cond float64) {
	p := e.p
	scaled, d := mat.NewSymDense(p, nil), make([]float64, p)
	for i := range p {
		d[i] = math.Sqrt(m[s][i*p+i] + ridge*e.ridge[s])
		if !(d[i] > 0) {
			return nil, 0, math.Inf(1)
		}
		for j := range i {
			scaled.SetSym(i, j, m[s][i*p+j]/(d[i]*d[j]))
		}
		scaled.SetSym(i, i, 1)
		logDet += 2 * math.Log(d[i])
	}
	var c mat.Cholesky
	var full mat.SymDense
	if !c.Factorize(scaled) {
		return nil, 0, math.Inf(1)
	}
	var ill mat.Condition // a warning; cond says it, too
	if err := c.InverseTo(&full); err != nil && !errors.As(err, &ill) {
		return nil, 0, math.Inf(1)
	}
	inv = make([]float64, p*p)
	for i := range p {
		for j := range p {
			inv[i*p+j] = full.At(i, j) / (d[i] * d[j])
		}
	}
	return inv, logDet + c.LogDet(), c.Cond()
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
