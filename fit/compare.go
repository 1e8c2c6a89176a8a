package fit

import (
	"fmt"
	"math"
)

// LackOfFit is the F test of the model against the scatter of replicates:
// observations at the same X. P, in 0..1, is small where the model does not fit.
type LackOfFit struct {
	PureSS, LackSS float64
	PureDF, LackDF int
	F, P           float64
}

// LackOfFit tests the model against replicates. It needs some, and more
// distinct doses than parameters. Where replicates agree exactly and the curve
// misses them, F is +Inf or as large as rounding leaves it; where it passes through
// them all there is nothing to compare, an error.
func (r *Result) LackOfFit() (LackOfFit, error) {
	var t LackOfFit
	if r.comps != nil || r.RobustWeights != nil {
		return t, fmt.Errorf("fit: %w: lack of fit needs least squares with one kind of scatter", ErrBadInput)
	}
	type cell struct{ w, wy float64 }
	cells := map[string]*cell{}
	order := make([]*cell, len(r.data))
	for i, o := range r.data {
		k := fmt.Sprint(o.X)
		c, ok := cells[k]
		if !ok {
			c = &cell{}
			cells[k] = c
		}
		w := r.row[i] * r.row[i]
		c.w += w
		c.wy += w * o.Y
		order[i] = c
	}
	var ss []float64
	for i, o := range r.data {
		if c := order[i]; c.w > 0 {
			ss = append(ss, r.row[i]*(o.Y-c.wy/c.w))
		}
	}
	t.PureSS = sumSquares(ss)
	t.PureDF = len(r.data) - len(cells)
	t.LackDF = len(cells) - len(r.free) + r.priors
	t.LackSS = math.Max(0, r.RSS-t.PureSS)
	if t.PureDF < 1 {
		return t, fmt.Errorf("fit: no replicates, lack of fit cannot be told from scatter: %w", ErrTooFewData)
	}
	if t.LackDF < 1 {
		return t, fmt.Errorf("fit: %d distinct settings for %d parameters, no lack of fit to see: %w", len(cells), len(r.free), ErrTooFewData)
	}
	if r.exact() || t.LackSS == 0 && t.PureSS == 0 {
		return t, fmt.Errorf("fit: the curve passes through all points, neither lack of fit nor scatter is to be seen: %w", ErrTooFewData)
	}
	t.F = t.LackSS / float64(t.LackDF) / (t.PureSS / float64(t.PureDF))
	t.P = survivalF(t.F, float64(t.LackDF), float64(t.PureDF))
	return t, nil
}

// parametersK counts the parameters of the likelihood: the free ones, and the
// scatter when it is estimated.
func (r *Result) parametersK() int {
	k := len(r.free)
	if r.comps != nil {
		return k + len(r.comps.theta)
	}
	if !r.weights.known() {
		k++
	}
	return k
}

// AIC is Akaike's criterion −2·LogLik + 2K. K counts the free parameters and what is
// estimated of the scatter: its size or the variances, nothing with KnownSD.
func (r *Result) AIC() float64 { return -2*r.LogLik + 2*float64(r.parametersK()) }

// AICc is AIC with the small-sample correction; +Inf where N − K − 1 ≤ 0, that
// is where the data are too few to compare models by it.
func (r *Result) AICc() float64 {
	k := float64(r.parametersK())
	d := float64(r.N) - k - 1
	if d <= 0 {
		return math.Inf(1)
	}
	return r.AIC() + 2*k*(k+1)/d
}

// BIC is −2·LogLik + K·ln N.
func (r *Result) BIC() float64 {
	return -2*r.LogLik + float64(r.parametersK())*math.Log(float64(r.N))
}

// AkaikeWeights turns criteria (all AIC or all AICc, of fits to the same data)
// into relative weights that sum to 1. At very small N, AICc prefers a constant
// to an obvious curve: look at leave-one-out errors too. +Inf gets weight 0; a
// NaN makes all weights NaN.
func AkaikeWeights(criteria []float64) []float64 {
	best := math.Inf(1)
	for _, c := range criteria {
		best = math.Min(best, c)
	}
	w := make([]float64, len(criteria))
	if math.IsInf(best, 1) {
		return w
	}
	sum := 0.0
	for i, c := range criteria {
		w[i] = math.Exp(-(c - best) / 2)
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}

// LeaveOut holds refits without parts of the data.
type LeaveOut struct {
	Parts []string // group names, or observation numbers
	// P are the estimates without each part.
	P [][]float64
	// Errors are observed − predicted of each observation, from the refit
	// that did not see it.
	Errors []float64
	// RMSE is the root mean square of Errors.
	RMSE float64
	// Unfit counts parts without which the model could not be fitted; their
	// errors are those of the last point of the iteration.
	Unfit int
}

// LeaveOneOut refits without each observation in turn.
func (r *Result) LeaveOneOut() (*LeaveOut, error) {
	parts := make([][]int, len(r.data))
	names := make([]string, len(r.data))
	for i := range parts {
		parts[i] = []int{i}
		names[i] = fmt.Sprint(i)
	}
	return r.leaveOut(names, parts)
}

// LeaveGroupOut refits without each group in turn: the honest error for a new
// group when readings within a group are alike.
func (r *Result) LeaveGroupOut() (*LeaveOut, error) {
	var names []string
	var parts [][]int
	at := map[string]int{}
	for i, o := range r.data {
		k, ok := at[o.Group]
		if !ok {
			k = len(parts)
			at[o.Group] = k
			parts = append(parts, nil)
			names = append(names, o.Group)
		}
		parts[k] = append(parts[k], i)
	}
	if len(parts) < 2 {
		return nil, fmt.Errorf("fit: %w: leaving groups out needs at least 2 groups", ErrTooFewData)
	}
	return r.leaveOut(names, parts)
}

func (r *Result) leaveOut(names []string, parts [][]int) (*LeaveOut, error) {
	out := &LeaveOut{Parts: names, Errors: make([]float64, len(r.data))}
	f, jac := make([]float64, len(r.data)), make([]float64, len(r.data)*len(r.P))
	for _, rows := range parts {
		drop := make(map[int]bool, len(rows))
		for _, i := range rows {
			drop[i] = true
		}
		t, err := newTask(r.Model, r.data, r.weights, &r.opt)
		if err != nil {
			return nil, err
		}
		r.restore(t)
		if r.comps == nil {
			for _, i := range rows {
				t.sw[i] = 0
			}
		} else {
			// Whole blocks drop out; inside a block the covariance shrinks.
			t.white = r.comps.without(drop)
			for _, i := range rows {
				t.sw[i] = 0
			}
		}
		err = t.solve(r.P)
		if t.sol == nil {
			return nil, err
		}
		if err != nil || t.sol.Rank < len(t.sol.Free) {
			out.Unfit++
		}
		p := append([]float64(nil), t.sol.P...)
		out.P = append(out.P, p)
		t.batch(f, jac, p)
		for _, i := range rows {
			out.Errors[i] = r.data[i].Y - f[i]
		}
	}
	out.RMSE = math.Sqrt(sumSquares(out.Errors) / float64(len(out.Errors)))
	return out, nil
}
