package fit

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sort"

	"example.com/dosetone/internal/quantile"
)

// Resampling is how a bootstrap makes new data.
type Resampling int

// Ways of resampling.
const (
	// Parametric adds new normal scatter, of the estimated size and, with a
	// VarianceFunction, structure, to the fitted curve.
	Parametric Resampling = iota
	// Cases draws observations with replacement.
	Cases
	// Groups draws whole groups with replacement: what varies from group to
	// group varies in the result. Small designs may lose a dose altogether;
	// such draws that cannot be fitted are counted in Failed.
	Groups
)

// A Bootstrap holds refits to resampled data.
type Bootstrap struct {
	P      [][]float64 // estimates of each successful refit
	Failed int         // refits without a proper minimum, left out

	r *Result
}

// maxDraws bounds a bootstrap: what a million draws do not show, more do not.
const maxDraws = 1_000_000

// Bootstrap refits the model to n, from 1 to 1 000 000, resampled data sets, drawn by rng; the same
// state of it gives the same refits. A kind or n out of range and a nil rng are
// errors.
func (r *Result) Bootstrap(kind Resampling, n int, rng *rand.Rand) (*Bootstrap, error) {
	switch {
	case kind != Parametric && kind != Cases && kind != Groups:
		return nil, fmt.Errorf("fit: %w: bootstrap of unknown kind %d", ErrBadInput, kind)
	case n < 1:
		return nil, fmt.Errorf("fit: %w: bootstrap of n = %d data sets (need 1 or more)", ErrBadInput, n)
	case n > maxDraws:
		return nil, fmt.Errorf("fit: %w: bootstrap of n = %d data sets (at most %d)", ErrBadInput, n, maxDraws)
	case rng == nil:
		return nil, fmt.Errorf("fit: %w: bootstrap without rng", ErrBadInput)
	}
	t, cells, err := r.collapsed()
	if err != nil {
		return nil, err
	}
	t.opt.Tol = 1e-6 // beyond what resampling can show
	t.opt.once, t.opt.MaxIter = true, 200
	b := &Bootstrap{r: r, P: make([][]float64, 0, n)}
	groups := [][]int{}
	at := map[string]int{}
	switch kind {
	case Cases:
		for i := range r.data {
			groups = append(groups, []int{i})
		}
	case Groups:
		for i, o := range r.data {
			if o.Group == "" {
				return nil, fmt.Errorf("fit: %w: bootstrap by group, but observation %d names no group", ErrBadInput, i)
			}
			k, ok := at[o.Group]
			if !ok {
				k = len(groups)
				at[o.Group] = k
				groups = append(groups, nil)
			}
			groups[k] = append(groups[k], i)
		}
		if len(groups) < 3 {
			return nil, fmt.Errorf("fit: %w: bootstrap by group needs at least 3 groups, have %d", ErrTooFewData, len(groups))
		}
	}
	if kind != Parametric && r.comps != nil {
		return nil, fmt.Errorf("fit: %w: with a variance function use the parametric bootstrap", ErrBadInput)
	}
	data := append([]Observation(nil), r.seen...)
	count := make([]int, len(groups))
	mult := make([]float64, len(data)) // how often each observation was drawn
	for i := range mult {
		mult[i] = 1
	}
	store := make([]float64, n*len(r.P))
	for k := 0; k < n; k++ {
		if kind == Parametric {
			r.simulate(data, rng)
		} else {
			clear(count)
			for range groups {
				count[rng.IntN(len(groups))]++
			}
			for g, rows := range groups {
				for _, i := range rows {
					mult[i] = float64(count[g])
				}
			}
		}
		if r.comps != nil {
			copy(t.data, data)
		} else {
			cells.fill(t, r, data, mult)
		}
		sol, err := t.solver.Solve(t, r.P, &t.opt)
		if err != nil || sol.Rank < len(sol.Free) || !finite(sol.P) {
			b.Failed++
			continue
		}
		p := store[:len(r.P):len(r.P)]
		store = store[len(r.P):]
		copy(p, sol.P)
		b.P = append(b.P, p)
	}
	if len(b.P) < n/2 {
		return b, fmt.Errorf("fit: only %d of %d resampled data sets could be fitted: %w", len(b.P), n, ErrNotIdentified)
	}
	return b, nil
}

// simulate draws responses around the fitted curve.
func (r *Result) simulate(data []Observation, rng *rand.Rand) {
	if r.comps == nil {
		for i := range data {
			sd := 0.0
			if r.row[i] > 0 {
				sd = r.SD / r.row[i]
			}
			data[i].Y = r.Fitted[i] + sd*rng.NormFloat64()
		}
		return
	}
	for _, b := range r.comps.blocks {
		k := len(b.rows)
		z := make([]float64, k)
		for a := range z {
			z[a] = rng.NormFloat64()
		}
		for a, i := range b.rows {
			e := 0.0
			for d := 0; d <= a; d++ {
				e += b.l[a*k+d] * z[d]
			}
			data[i].Y = r.Fitted[i] + e/r.row[i]
		}
	}
}

// Interval returns the percentile interval of a derived quantity: the plain
// quantiles of its values over the refits. It respects limits and skewness,
// but not bias, and is too narrow for very small n. It panics on a level outside
// (0,1).
func (b *Bootstrap) Interval(d Derived, level float64) Interval {
	mustLevel("Bootstrap.Interval", level)
	v := make([]float64, 0, len(b.P))
	for _, p := range b.P {
		if x := d.Value(p); !math.IsNaN(x) {
			v = append(v, x)
		}
	}
	sort.Float64s(v)
	lo, hi := quantile.Sorted(v, 0.5-level/2), quantile.Sorted(v, 0.5+level/2)
	return Interval{Lo: lo, Hi: hi, Level: level, OpenLo: math.IsInf(lo, -1), OpenHi: math.IsInf(hi, 1)}
}

// SE returns the standard deviations of the parameters over the refits, NaN for
// fewer than two.
func (b *Bootstrap) SE() []float64 {
	n := len(b.r.P)
	se := make([]float64, n)
	for j := range se {
		mean, ss := 0.0, 0.0
		for k, p := range b.P {
			d := p[j] - mean
			mean += d / float64(k+1)
			ss += d * (p[j] - mean)
		}
		se[j] = math.Sqrt(ss / float64(len(b.P)-1))
	}
	return se
}

// Parameter is parameter j as a derived quantity, the first being 0. It panics on
// a negative j; where it is used, one that the model does not have panics, too.
func Parameter(j int) Derived {
	if j < 0 {
		panic(fmt.Sprintf("fit: Parameter: j = %d is negative", j))
	}
	must := func(p []float64) {
		if j >= len(p) {
			panic(fmt.Sprintf("fit: Parameter: j = %d of a model with %d parameters", j, len(p)))
		}
	}
	return Derived{Name: fmt.Sprintf("parameter %d", j),
		Value: func(p []float64) float64 { must(p); return p[j] },
		Grad:  func(dst, p []float64) { must(p); clear(dst); dst[j] = 1 }}
}

// cells map observations to the rows of a task in which those at equal X are
// merged: their weighted mean gives the same estimates as all of them.
type cells []int

// collapsed returns a task of merged rows, ready for refits. With correlated
// scatter nothing is merged.
func (r *Result) collapsed() (*task, cells, error) {
	if r.comps != nil {
		t, err := newTask(r.Model, append([]Observation(nil), r.data...), r.weights, &r.opt)
		if err != nil {
			return nil, nil, err
		}
		r.restore(t)
		return t, nil, nil
	}
	at := map[string]int{}
	c := make(cells, len(r.data))
	var merged []Observation
	for i, o := range r.data {
		key := fmt.Sprint(o.X)
		k, ok := at[key]
		if !ok {
			k = len(merged)
			at[key] = k
			merged = append(merged, Observation{X: o.X, Y: o.Y})
		}
		c[i] = k
	}
	opt := r.opt
	for len(merged) < len(r.P) { // the task wants as many rows as parameters
		merged = append(merged, merged[0])
	}
	t, err := newTask(r.Model, merged, Equal{}, &opt)
	if err != nil {
		return nil, nil, err
	}
	for j := range r.P {
		if r.Fixed[j] {
			t.opt.Fixed[j] = true
		}
	}
	for _, k := range t.shrunk {
		t.priors[k].sd = r.ShrinkSD
	}
	if !r.weights.known() && !math.IsNaN(r.SD) {
		t.scale = r.SD
	}
	return t, c, nil
}

// fill sets the merged rows from data in which observation i counts mult[i] times.
func (c cells) fill(t *task, r *Result, data []Observation, mult []float64) {
	clear(t.sw)
	for k := range t.data {
		t.data[k].Y = 0
	}
	for i, k := range c {
		w := r.row[i] * r.row[i] * mult[i]
		t.sw[k] += w
		t.data[k].Y += w * data[i].Y
	}
	for k, w := range t.sw {
		if w > 0 {
			t.data[k].Y /= w
			t.sw[k] = math.Sqrt(w)
		}
	}
}
