package fit

import (
	"fmt"
	"maps"
	"math"
	"slices"
)

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
	diff    *differences // of a model without derivatives, or nil
	base    []float64    // √weight by observation, from Weight and Weights
	sw      []float64    // multiplier of each row: base × robust × multiplicity
	white   *whitener    // covariance within groups, or nil
	extra   []extraRow
	scale   float64 // residual SD, for priors with unknown scatter

	solver Solver
	iter   int // Jacobians factored by all solutions
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
	if err := t.setLoss(opt.Loss); err != nil {
		return nil, err
	}
	at, err := placesOf(t.params)
	if err != nil {
		return nil, err
	}
	if err := t.setLimits(opt, at); err != nil {
		return nil, err
	}
	if err := t.setPriors(opt, at); err != nil {
		return nil, err
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
	t.setRows()
	return t, nil
}

func (t *task) setLoss(l Loss) error {
	if l == nil {
		return nil
	}
	if _, ok := t.weights.(VarianceFunction); ok {
		return fmt.Errorf("fit: %w: a robust loss with a variance function", ErrBadInput)
	}
	if k := l.k(); !(k > 0) || math.IsInf(k, 1) {
		return fmt.Errorf("fit: %w: robust loss with K = %g, must be positive (0 means the default)", ErrBadInput, k)
	}
	t.robust = newRobust(l, t.weights.known())
	return nil
}

// places are those of the parameters by name.
type places map[string]int

// placesOf refuses a name that two parameters have. Options do not reach parameters without
// a name where they are several.
func placesOf(params []Param) (places, error) {
	at := make(places, len(params))
	unnamed := 0
	for j, p := range params {
		if p.Name == "" {
			unnamed++
		} else if k, ok := at[p.Name]; ok {
			return nil, fmt.Errorf("fit: %w: parameters %d and %d of the model are both named %q", ErrBadInput, k, j, p.Name)
		}
		at[p.Name] = j
	}
	if unnamed > 1 {
		delete(at, "")
	}
	return at, nil
}

func (at places) find(what, name string) (int, error) {
	j, ok := at[name]
	if !ok {
		return 0, fmt.Errorf("fit: %w: %s of unknown parameter %q", ErrBadInput, what, name)
	}
	return j, nil
}

// setLimits sets bounds and what is fixed.
func (t *task) setLimits(opt *FitOptions, at places) error {
	t.opt.Lower, t.opt.Upper, t.opt.Fixed = make([]float64, t.n), make([]float64, t.n), make([]bool, t.n)
	for j, p := range t.params {
		t.opt.Lower[j], t.opt.Upper[j] = p.Bounds()
	}
	// Names in their order, so that the same one of several is refused each time.
	for _, name := range names(opt.Bounds) {
		b := opt.Bounds[name]
		j, err := at.find("bounds", name)
		if err != nil {
			return err
		}
		t.opt.Lower[j], t.opt.Upper[j] = math.Max(t.opt.Lower[j], b[0]), math.Min(t.opt.Upper[j], b[1])
	}
	for j := range t.params {
		t.opt.Fixed[j] = t.opt.Lower[j] == t.opt.Upper[j]
	}
	for _, name := range names(opt.Fixed) {
		j, err := at.find("fixed value", name)
		if err != nil {
			return err
		}
		t.opt.Fixed[j] = true
	}
	for _, p := range t.params { // so that the same one of several is named
		if v := opt.Fixed[p.Name]; math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("fit: %q is fixed at %g: %w", p.Name, v, ErrNonFinite)
		}
	}
	return nil
}

// setPriors sets priors and, behind them, those that shrink.
func (t *task) setPriors(opt *FitOptions, at places) error {
	for _, name := range names(opt.Priors) {
		if _, err := at.find("prior", name); err != nil {
			return err
		}
	}
	for j, p := range t.params { // in the order of the parameters, not of the map
		pr, ok := opt.Priors[p.Name]
		if !ok {
			continue
		}
		if !(pr.SD > 0) || math.IsInf(pr.SD, 1) {
			return fmt.Errorf("fit: %w: prior SD of %q is %g, must be positive and finite (leave the prior out where nothing is known)", ErrBadInput, p.Name, pr.SD)
		}
		if math.IsNaN(pr.Mean) || math.IsInf(pr.Mean, 0) {
			return fmt.Errorf("fit: prior mean of %q is %g: %w", p.Name, pr.Mean, ErrNonFinite)
		}
		t.priors = append(t.priors, priorRow{j, pr.Mean, pr.SD})
	}
	for k, name := range opt.Shrunk {
		j, err := at.find("shrinkage", name)
		if err != nil {
			return err
		}
		if slices.Contains(opt.Shrunk[:k], name) {
			return fmt.Errorf("fit: %w: %q is shrunk twice", ErrBadInput, name)
		}
		if _, ok := opt.Priors[name]; ok {
			return fmt.Errorf("fit: %w: %q has both a prior and shrinkage", ErrBadInput, name)
		}
		t.shrunk = append(t.shrunk, len(t.priors))
		t.priors = append(t.priors, priorRow{j, 0, 1e3})
	}
	return nil
}

// setRows sets the weights of the rows and what evaluates them.
func (t *task) setRows() {
	m, data := t.model, t.data
	t.base = make([]float64, len(data))
	t.sw = make([]float64, len(data))
	for i := range data {
		t.base[i] = math.Sqrt(data[i].weight())
		if k, ok := t.weights.(KnownSD); ok {
			t.base[i] /= k[min(i, len(k)-1)]
		}
	}
	copy(t.sw, t.base)
	if f, ok := m.(Func); ok && f.Derivative == nil {
		t.batch = t.differenced()
	} else if b, ok := m.(batcher); ok {
		t.batch = b.batch(data)
	} else {
		t.batch = func(f, jac, p []float64) {
			for i := range data {
				f[i] = m.Grad(jac[i*t.n:(i+1)*t.n], p, data[i].X)
			}
		}
	}
}

// values sets dst to the response of each observation.
func (t *task) values(dst, p []float64) {
	for i := range t.data {
		dst[i] = t.model.Eval(p, t.data[i].X)
	}
}

// differenced evaluates a model without derivatives: one step for all
// observations, kept from one point to the next.
func (t *task) differenced() func(f, jac, p []float64) {
	t.diff = newDifferences(len(t.data), t.n, t.values)
	t.diff.skip = func(j int) bool { return t.opt.Fixed[j] }
	t.diff.reach = reaches(t.opt.Lower, t.opt.Upper)
	return func(f, jac, p []float64) {
		t.values(f, p)
		t.diff.jacobian(jac, p)
	}
}

// names are the keys of an option in their order.
func names[V any](option map[string]V) []string {
	if len(option) == 0 {
		return nil // without the allocations of an iterator
	}
	return slices.Sorted(maps.Keys(option))
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
