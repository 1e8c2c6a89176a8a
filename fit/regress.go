package fit

import (
	"fmt"
	"maps"
	"math"
	"slices"
)

// FitOptions of Regress. nil and zero values mean the defaults.
type FitOptions struct {
	// Start values for all parameters; nil asks the model (Starter).
	Start []float64
	// Fixed parameters by name, with their values.
	Fixed map[string]float64
	// Bounds by parameter name, inside the model's own. Equal ones fix the
	// parameter.
	Bounds map[string][2]float64
	// Priors by parameter name: independent normal knowledge, added as
	// penalty rows. Each counts as one observation.
	Priors map[string]Prior
	// Shrunk names parameters, such as the shifts of groups, that come from one
	// normal distribution around zero. Its SD is estimated (EM) and pulls
	// them towards zero by what the data leave uncertain; see Result.ShrinkSD.
	Shrunk []string
	// Loss replaces least squares; nil means least squares.
	Loss Loss
	// Starts bounds how many of the model's start candidates are tried and
	// compared; 0 means 3.
	Starts int
	// Solver options; its Fixed, Lower and Upper are ignored.
	Solver Options
}

// cloned returns options for refits, which start elsewhere: they do not change
// with those given.
func (o FitOptions) cloned() FitOptions {
	o.Start = nil
	o.Fixed, o.Bounds, o.Priors = maps.Clone(o.Fixed), maps.Clone(o.Bounds), maps.Clone(o.Priors)
	o.Shrunk = slices.Clone(o.Shrunk)
	return o
}

// A Prior is normal knowledge of a parameter: Mean ± SD, both finite, SD > 0.
type Prior struct{ Mean, SD float64 }

// Regress fits a model to data by (weighted) least squares; nil weights mean
// Equal. Data, weights and options are copied and may be reused; a model that holds
// slices (Linear, Func, MultiFactor) must stay as it is while the result is in use.
// The result is nil only when no fit could be made; an error that comes with a result wraps
// ErrNotConverged or ErrNotIdentified and says what the data cannot tell.
func Regress(m Model, data []Observation, w Weights, opt *FitOptions) (*Result, error) {
	if opt == nil {
		opt = &FitOptions{}
	}
	if w == nil {
		w = Equal{}
	}
	t, err := newTask(m, cloned(data), clonedWeights(w), opt)
	if err != nil {
		return nil, err
	}
	t.source = opt.cloned()
	starts, err := t.starts(opt)
	if err != nil {
		return nil, err
	}
	if err := t.first(starts); err != nil && t.sol == nil {
		return nil, err
	}
	t.shrinkStart()
	if err := t.reweight(); err != nil {
		return nil, err
	}
	return t.result()
}

// task is one regression at work: it is the JointProblem that the solver sees.
type task struct {
	model   Model
	data    []Observation
	weights Weights
	robust  *robust // nil without a Loss
	params  []Param
	n       int
	opt     Options
	source  FitOptions // of refits
	maxTry  int
	priors  []priorRow
	shrunk  []int // places in priors whose SD is estimated
	batch   func(f, jac, p []float64)
	base    []float64 // √weight by observation, from Weight and Weights
	sw      []float64 // multiplier of each row: base × robust × multiplicity
	white   *whitener // covariance within groups, or nil
	extra   []extraRow
	scale   float64 // residual SD, for priors with unknown scatter

	solver Solver
	sol    *Solution
	solErr error
	comps  *components
}

type priorRow struct {
	j        int
	mean, sd float64
}

// extraRow is a further squared term: weight × (value(p) − target). value sets
// grad.
type extraRow struct {
	value          func(grad, p []float64) float64
	target, weight float64
}

func newTask(m Model, data []Observation, w Weights, opt *FitOptions) (*task, error) {
	if err := checkModel(m); err != nil {
		return nil, err
	}
	if err := checkData(data); err != nil {
		return nil, err
	}
	if err := checkPoints(m, data); err != nil {
		return nil, err
	}
	if opt.Starts < 0 {
		return nil, fmt.Errorf("fit: %w: Starts is %d, must not be negative", ErrBadInput, opt.Starts)
	}
	if err := w.check(data); err != nil {
		return nil, err
	}
	t := &task{model: m, data: data, weights: w, params: m.Params(), opt: opt.Solver, maxTry: opt.Starts, scale: 1}
	t.n = len(t.params)
	if t.maxTry == 0 {
		t.maxTry = 3
	}
	if opt.Loss != nil {
		if _, ok := w.(VarianceFunction); ok {
			return nil, fmt.Errorf("fit: %w: a robust loss with a variance function", ErrBadInput)
		}
		if k := opt.Loss.k(); !(k > 0) || math.IsInf(k, 1) {
			return nil, fmt.Errorf("fit: %w: robust loss with K = %g, must be positive (0 means the default)", ErrBadInput, k)
		}
		t.robust = newRobust(opt.Loss, w.known())
	}
	index := make(map[string]int, t.n)
	t.opt.Lower, t.opt.Upper, t.opt.Fixed = make([]float64, t.n), make([]float64, t.n), make([]bool, t.n)
	for j, p := range t.params {
		index[p.Name] = j
		t.opt.Lower[j], t.opt.Upper[j] = p.Bounds()
	}
	find := func(what, name string) (int, error) {
		j, ok := index[name]
		if !ok {
			return 0, fmt.Errorf("fit: %w: %s of unknown parameter %q", ErrBadInput, what, name)
		}
		return j, nil
	}
	// Names in their order, so that the same one of several is refused each time.
	for _, name := range names(opt.Bounds) {
		b := opt.Bounds[name]
		j, err := find("bounds", name)
		if err != nil {
			return nil, err
		}
		t.opt.Lower[j], t.opt.Upper[j] = math.Max(t.opt.Lower[j], b[0]), math.Min(t.opt.Upper[j], b[1])
	}
	for j := range t.params {
		t.opt.Fixed[j] = t.opt.Lower[j] == t.opt.Upper[j]
	}
	for _, name := range names(opt.Fixed) {
		j, err := find("fixed value", name)
		if err != nil {
			return nil, err
		}
		t.opt.Fixed[j] = true
	}
	for _, p := range t.params { // so that the same one of several is named
		if v := opt.Fixed[p.Name]; math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("fit: %q is fixed at %g: %w", p.Name, v, ErrNonFinite)
		}
	}
	for j, p := range t.params { // in the order of the parameters, not of the map
		pr, ok := opt.Priors[p.Name]
		if !ok {
			continue
		}
		if !(pr.SD > 0) || math.IsInf(pr.SD, 1) {
			return nil, fmt.Errorf("fit: %w: prior SD of %q is %g, must be positive and finite (leave the prior out where nothing is known)", ErrBadInput, p.Name, pr.SD)
		}
		if math.IsNaN(pr.Mean) || math.IsInf(pr.Mean, 0) {
			return nil, fmt.Errorf("fit: prior mean of %q is %g: %w", p.Name, pr.Mean, ErrNonFinite)
		}
		t.priors = append(t.priors, priorRow{j, pr.Mean, pr.SD})
	}
	for k, name := range opt.Shrunk {
		j, err := find("shrinkage", name)
		if err != nil {
			return nil, err
		}
		if slices.Contains(opt.Shrunk[:k], name) {
			return nil, fmt.Errorf("fit: %w: %q is shrunk twice", ErrBadInput, name)
		}
		if _, ok := opt.Priors[name]; ok {
			return nil, fmt.Errorf("fit: %w: %q has both a prior and shrinkage", ErrBadInput, name)
		}
		t.shrunk = append(t.shrunk, len(t.priors))
		t.priors = append(t.priors, priorRow{j, 0, 1e3})
	}
	if len(t.priors)-len(t.shrunk) != len(opt.Priors) {
		for _, name := range names(opt.Priors) {
			if _, err := find("prior", name); err != nil {
				return nil, err
			}
		}
	}
	free := 0
	for _, f := range t.opt.Fixed {
		if !f {
			free++
		}
	}
	if len(data)+len(t.priors) < free {
		return nil, fmt.Errorf("fit: %w: %d observations for %d free parameters (fix some, or measure more)", ErrTooFewData, len(data), free)
	}
	t.base = make([]float64, len(data))
	t.sw = make([]float64, len(data))
	for i := range data {
		t.base[i] = math.Sqrt(data[i].weight())
		if k, ok := w.(KnownSD); ok {
			t.base[i] /= k[min(i, len(k)-1)]
		}
	}
	copy(t.sw, t.base)
	if b, ok := m.(batcher); ok {
		t.batch = b.batch(data)
	} else {
		t.batch = func(f, jac, p []float64) {
			for i := range data {
				f[i] = m.Grad(jac[i*t.n:(i+1)*t.n], p, data[i].X)
			}
		}
	}
	return t, nil
}

// names are the keys of an option in their order.
func names[V any](option map[string]V) []string {
	if len(option) == 0 {
		return nil // without the allocations of an iterator
	}
	return slices.Sorted(maps.Keys(option))
}

// starts returns start candidates with fixed values in place.
func (t *task) starts(opt *FitOptions) ([][]float64, error) {
	fixed := make([]float64, t.n)
	for j := range fixed {
		fixed[j] = math.NaN()
		if t.opt.Lower[j] == t.opt.Upper[j] {
			fixed[j] = t.opt.Lower[j]
		}
		if v, ok := opt.Fixed[t.params[j].Name]; ok {
			fixed[j] = v
		}
	}
	var list [][]float64
	switch s, ok := t.model.(Starter); {
	case opt.Start != nil:
		if len(opt.Start) != t.n {
			return nil, fmt.Errorf("fit: %w: %d start values for %d parameters", ErrBadInput, len(opt.Start), t.n)
		}
		list = [][]float64{append([]float64(nil), opt.Start...)}
	case ok:
		var err error
		if list, err = s.Start(t.data, fixed); err != nil {
			return nil, err
		}
	default:
		return nil, fmt.Errorf("fit: %w: the model has no self-start, give Start", ErrBadInput)
	}
	for _, s := range list {
		for j, v := range fixed {
			if !math.IsNaN(v) {
				s[j] = v
			}
		}
	}
	return list, nil
}

// first solves from the candidates and keeps the best.
func (t *task) first(starts [][]float64) error {
	var best []float64
	bestRSS := math.Inf(1)
	bestOK := false
	var firstErr error
	tried := 0
	for _, s := range starts {
		if tried == t.maxTry && bestOK {
			break
		}
		sol, err := t.solver.Solve(t, s, &t.opt)
		tried++
		if sol == nil {
			if firstErr == nil {
				firstErr = err
			}
			continue
		}
		ok := err == nil && sol.Rank == len(sol.Free)
		if best == nil || sol.RSS < bestRSS*(1-1e-9) || ok && !bestOK && sol.RSS <= bestRSS*(1+1e-9) {
			best = append(best[:0], sol.P...)
			bestRSS, bestOK = sol.RSS, ok
		}
	}
	if best == nil {
		return firstErr
	}
	return t.solve(best)
}

func (t *task) solve(start []float64) error {
	p := append([]float64(nil), start...)
	sol, err := t.solver.Solve(t, p, &t.opt)
	t.sol, t.solErr = sol, err
	return err
}

// Dims implements Problem.
func (t *task) Dims() (m, n int) { return len(t.data) + len(t.priors) + len(t.extra), t.n }

// Residuals implements Problem.
func (t *task) Residuals(dst, p []float64) {
	t.ResidualsJacobian(dst, make([]float64, len(dst)*t.n), p)
}

// Jacobian implements Problem.
func (t *task) Jacobian(dst, p []float64) {
	t.ResidualsJacobian(make([]float64, len(dst)/t.n), dst, p)
}

// ResidualsJacobian implements JointProblem.
func (t *task) ResidualsJacobian(r, jac, p []float64) {
	t.batch(r, jac, p)
	n := t.n
	for i := range t.data {
		w := t.sw[i]
		r[i] = (r[i] - t.data[i].Y) * w
		if w != 1 {
			row := jac[i*n : (i+1)*n]
			for j := range row {
				row[j] *= w
			}
		}
	}
	if t.white != nil {
		t.white.apply(r, jac, n)
	}
	k := len(t.data)
	for _, q := range t.priors {
		row := jac[k*n : (k+1)*n]
		clear(row)
		w := t.scale / q.sd
		row[q.j] = w
		r[k] = (p[q.j] - q.mean) * w
		k++
	}
	for _, e := range t.extra {
		row := jac[k*n : (k+1)*n]
		r[k] = (e.value(row, p) - e.target) * e.weight
		for j := range row {
			row[j] *= e.weight
		}
		k++
	}
}

// df is the number of residual degrees of freedom.
func (t *task) df() int { return len(t.data) + len(t.priors) - len(t.sol.Free) }

// reweight alternates between the fit and whatever depends on it: relative
// weights, robust weights, variance components, the scale of priors.
func (t *task) reweight() error {
	if vf, ok := t.weights.(VarianceFunction); ok {
		return t.fitVariance(vf)
	}
	_, relative := t.weights.(Relative)
	scaled := len(t.priors) > 0 && !t.weights.known()
	if !relative && !scaled && len(t.shrunk) == 0 && t.robust == nil {
		return nil
	}
	f, jac := make([]float64, len(t.data)), make([]float64, len(t.data)*t.n)
	abs := make([]float64, len(t.data))
	for iter := 0; ; iter++ {
		p := append([]float64(nil), t.sol.P...)
		t.batch(f, jac, p)
		for i := range t.data {
			t.sw[i] = t.base[i]
			if relative {
				if f[i] == 0 {
					return fmt.Errorf("fit: %w: relative weights need a fitted mean different from zero at observation %d", ErrBadInput, i)
				}
				t.sw[i] /= math.Abs(f[i])
			}
		}
		switch {
		case t.robust != nil:
			for i := range t.data {
				abs[i] = math.Abs((t.data[i].Y - f[i]) * t.sw[i])
			}
			t.robust.look(abs, len(t.sol.Free))
			for i := range t.data {
				t.sw[i] *= math.Sqrt(t.robust.weight(abs[i]))
			}
			if len(t.priors) > 0 && t.df() > 0 {
				// The fit weighs the data by mean ψ'/τ², so that priors
				// need this scale to weigh what their SD says.
				if _, tau := t.robust.sds(t.df(), sumSquares(t.sol.Residuals[len(t.data):])); !math.IsInf(tau, 1) && tau > 0 {
					t.scale = tau * math.Sqrt(t.robust.mean)
				}
			}
		case scaled:
			if df := t.df(); df > 0 && t.sol.RSS > 0 {
				t.scale = math.Sqrt(t.sol.RSS / float64(df))
			}
		}
		tau := t.shrink()
		if err := t.solve(p); err != nil && t.sol == nil {
			return err
		}
		moved := tau
		for j, v := range t.sol.P {
			if v != p[j] {
				moved = math.Max(moved, math.Abs(v-p[j])/math.Max(math.Abs(v), math.Abs(p[j])))
			}
		}
		if moved < 1e-11 {
			return nil
		}
		if iter == 200 && len(t.shrunk) == 0 || iter == 5000 {
			t.solErr = fmt.Errorf("fit: weights and fit did not settle (last change %.1e): %w", moved, ErrNotConverged)
			return nil
		}
	}
}

// shrink updates the SD of the shrunk parameters by one EM step and returns
// its relative change.
func (t *task) shrink() float64 {
	if len(t.shrunk) == 0 {
		return 0
	}
	f := t.sol.Factorization()
	if t.robust != nil && t.robust.mean > 0 {
		l := t.linearized(math.Sqrt(t.robust.mean))
		f = factorize(l.jac, len(l.res), t.n, t.sol.Free)
	}
	cov := f.Inverse()
	if cov == nil {
		return 0
	}
	s := 0.0
	for _, k := range t.shrunk {
		j := t.priors[k].j
		s += t.sol.P[j]*t.sol.P[j] + cov[j*t.n+j]*t.scale*t.scale
	}
	sd := math.Sqrt(s / float64(len(t.shrunk)))
	old := t.priors[t.shrunk[0]].sd
	for _, k := range t.shrunk {
		t.priors[k].sd = sd
	}
	return math.Abs(sd-old) / sd * 1e-4 // EM is slow: 1e-7 of the SD is enough
}

// shrinkStart begins the EM iteration from the spread of the free estimates.
func (t *task) shrinkStart() {
	s := 0.0
	for _, k := range t.shrunk {
		v := t.sol.P[t.priors[k].j]
		s += v * v
	}
	for _, k := range t.shrunk {
		t.priors[k].sd = math.Max(math.Sqrt(s/float64(len(t.shrunk))), 1e-3)
	}
}
