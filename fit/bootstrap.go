package fit

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sort"
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

// Bootstrap refits the model to n resampled data sets.
func (r *Result) Bootstrap(kind Resampling, n int, rng *rand.Rand) (*Bootstrap, error) {
	t, err := newTask(r.Model, r.data, r.weights, &r.opt)
	if err != nil {
		return nil, err
	}
	r.restore(t)
	t.opt.Tol = 1e-8 // beyond what resampling can show
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
	data := append([]Observation(nil), r.data...)
	t.data = data
	count := make([]int, len(groups))
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
					t.sw[i] = r.row[i] * math.Sqrt(float64(count[g]))
				}
			}
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
// but not bias, and is too narrow for very small n.
func (b *Bootstrap) Interval(d Derived, level float64) Interval {
	v := make([]float64, 0, len(b.P))
	for _, p := range b.P {
		if x := d.Value(p); !math.IsNaN(x) {
			v = append(v, x)
		}
	}
	sort.Float64s(v)
	lo, hi := quantile(v, 0.5-level/2), quantile(v, 0.5+level/2)
	return Interval{Lo: lo, Hi: hi, Level: level, OpenLo: math.IsInf(lo, -1), OpenHi: math.IsInf(hi, 1)}
}

// SE returns the standard deviations of the parameters over the refits.
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

// Parameter is parameter j as a derived quantity.
func Parameter(j int) Derived {
	return Derived{Name: fmt.Sprintf("parameter %d", j), Value: func(p []float64) float64 { return p[j] },
		Grad: func(dst, p []float64) { clear(dst); dst[j] = 1 }}
}

// quantile of sorted values by linear interpolation at (n−1)q (definition 7 of
// Hyndman, Fan, Am. Statist. 50 (1996) 361).
func quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	h := q * float64(len(v)-1)
	i := int(h)
	if i >= len(v)-1 {
		return v[len(v)-1]
	}
	return v[i] + (h-float64(i))*(v[i+1]-v[i])
}
