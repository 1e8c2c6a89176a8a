package fit

import (
	"fmt"
	"math"
)

// Sensitivity returns, for a D-optimal weighting of settings (weights sum to
// 1), the standardized variance gᵀM⁻¹g at each candidate, in the first
// scenario. By the equivalence theorem its maximum is the number of parameters
// exactly for the optimum; p/maximum bounds the efficiency from below. It is an
// error when weights are not as many as support, or negative, or when candidates
// differ in scenarios or parameters.
func Sensitivity(support []Candidate, weights []float64, candidates []Candidate) ([]float64, error) {
	if len(support) == 0 || len(weights) != len(support) || len(candidates) == 0 {
		return nil, fmt.Errorf("fit: %w: sensitivity of %d settings with %d weights at %d candidates", ErrBadInput, len(support), len(weights), len(candidates))
	}
	for i, w := range weights {
		if !(w >= 0) || math.IsInf(w, 1) {
			return nil, fmt.Errorf("fit: %w: weight %d of a design is %g, must not be negative", ErrBadInput, i, w)
		}
	}
	e, err := newExchanger(D{}, candidates, nil)
	if err != nil {
		return nil, err
	}
	if err := checkCandidates("setting of support", support, e.ns, e.p); err != nil {
		return nil, err
	}
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
// efficiency bound p/max reaches 1 − tol (0 means 1e-6). Where rounding or many
// alike candidates keep it from there, the weights come with an error that says
// how far it got.
func DesignWeights(candidates []Candidate, tol float64) ([]float64, error) {
	return designWeights(candidates, tol, 20000)
}

// designWeights is DesignWeights with a limit of exchanges.
func designWeights(candidates []Candidate, tol float64, limit int) ([]float64, error) {
	if tol == 0 {
		tol = 1e-6
	}
	if len(candidates) == 0 || !(tol > 0 && tol < 1) {
		return nil, fmt.Errorf("fit: %w: weights of %d candidates to a tolerance of %g (need candidates and a tolerance between 0 and 1)", ErrBadInput, len(candidates), tol)
	}
	e, err := newExchanger(D{}, candidates, nil)
	if err != nil {
		return nil, err
	}
	if e.ns > 1 {
		return nil, fmt.Errorf("fit: %w: design weights are for one scenario, candidates have %d", ErrBadInput, e.ns)
	}
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
	for iter := 0; ; iter++ {
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
			return w, nil
		}
		if iter == limit {
			return w, fmt.Errorf("fit: design weights after %d exchanges are %.9f efficient, short of 1 − %g: %w", iter, float64(p)/dHi, tol, ErrNotConverged)
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
}
