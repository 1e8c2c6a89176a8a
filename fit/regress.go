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
// ErrNotConverged or ErrNotIdentified and says what the data cannot tell, or
// ErrBadInput where derivatives of the model (Derivative of a Func, Grad) are not those of
// its values.
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
		t.iter += t.solver.iter
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
	if t.diff != nil {
		t.diff.forget() // the steps that serve at the start may not serve here
	}
	return t.solve(best)
}

func (t *task) solve(start []float64) error {
	p := append([]float64(nil), start...)
	sol, err := t.solver.Solve(t, p, &t.opt)
	t.sol, t.solErr = sol, err
	t.iter += t.solver.iter
	return err
}

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
