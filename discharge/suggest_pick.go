package discharge

import (
	"cmp"
	"math"
	"slices"
)

// rank orders candidates: pass probability first, to its fourth digit; then
// less oxidizer, shorter time, less of other factors of which the process says that less
// is better, nearer to trials. In whole percents, as it is
// shown, too many would be equal: the oxidizer would decide, and leads to corners
// of the region where the model knows least (by a tenth in the median of what
// suggestions miss on simulated laundries).
func (q *search) rank(list []Suggestion) {
	near := func(s Settings) float64 {
		v := q.m.values(s)
		x := q.m.basis.at(&v)
		best := math.Inf(1)
		for _, t := range q.trial {
			d := 0.0
			for j := range t {
				d += (t[j] - x[j]) * (t[j] - x[j])
			}
			best = math.Min(best, d)
		}
		return math.Sqrt(best)
	}
	slices.SortStableFunc(list, func(a, b Suggestion) int {
		return cmp.Or(
			cmp.Compare(math.Round(1e4*b.PassProbability), math.Round(1e4*a.PassProbability)),
			cmp.Compare(a.ActiveGPerKg, b.ActiveGPerKg),
			cmp.Compare(a.Settings[timeColumn], b.Settings[timeColumn]),
			q.less(a.Settings, b.Settings),
			cmp.Compare(near(a.Settings), near(b.Settings)),
		)
	})
}

// less compares settings by the first factor that differs of those of which less is
// better.
func (q *search) less(a, b Settings) int {
	for _, f := range q.m.process.Factors {
		if by := cmp.Compare(a[f.Column], b[f.Column]); f.Less && by != 0 {
			return by
		}
	}
	return 0
}

// pick takes the best candidates that differ enough to be a choice, by a tenth
// of an e-fold in some factor other than the solved one, and refines each as
// long as half of that remains.
func (q *search) pick(list []Suggestion, count int) []Suggestion {
	var out []Suggestion
	for _, c := range list {
		if len(out) == count {
			break
		}
		if slices.ContainsFunc(out, func(o Suggestion) bool { return q.alike(&o, &c, 0.1) }) {
			continue
		}
		if len(out) > 0 && q.deltaE(out[0].Shade) <= q.tol && q.deltaE(c.Shade) > q.tol {
			continue // expected to fail, where others are not
		}
		if r := q.refine(c); !slices.ContainsFunc(out, func(o Suggestion) bool { return q.alike(&o, &r, 0.05) }) {
			c = r
		}
		c.TimeWindowMin = q.window(c)
		c.WindowPass = q.windowPass(c)
		out = append(out, c)
	}
	q.rank(out)
	nearestFirst(out)
	return out
}

// nearestFirst puts, of a ranked list's suggestions with the same chance, those with
// a shade nearer the target first, where an instrument could tell.
func nearestFirst(list []Suggestion) {
	const told = 0.05 // ΔE00
	for len(list) > 1 {
		best := 0
		for i, s := range list {
			if s.PassProbability > list[0].PassProbability-sameChance && s.DeltaE < list[best].DeltaE-told {
				best = i
			}
		}
		s := list[best]
		copy(list[1:best+1], list[:best])
		list[0], list = s, list[1:]
	}
}

// alike reports whether two suggestions differ by at most some e-fold in every
// factor other than the solved one.
func (q *search) alike(a, b *Suggestion, most float64) bool {
	for j := range q.grid {
		f := &q.m.basis.factors[j]
		if j != q.solve && math.Abs(f.raw(a.Settings[f.Column])-f.raw(b.Settings[f.Column])) > most {
			return false
		}
	}
	return q.solve >= 0
}

// windowPass is the pass probability at the ends of a suggestion's window.
func (q *search) windowPass(c Suggestion) (pass [2]float64) {
	if c.TimeWindowMin == [2]float64{} {
		return pass
	}
	v := q.m.values(c.Settings)
	for i, t := range c.TimeWindowMin {
		v[q.m.basis.index(timeColumn)] = t
		pass[i] = q.pass(&v)
	}
	return pass
}

// window is the time range about a suggestion in which the expected shade
// stays within tolerance, and the expected loss of strength below its limit.
func (q *search) window(c Suggestion) [2]float64 {
	t0, ok := c.Settings[timeColumn]
	j := q.m.basis.index(timeColumn)
	if !ok || j < 0 || q.deltaE(c.Shade) > q.tol {
		return [2]float64{}
	}
	v := q.m.values(c.Settings)
	inside := func(t float64) bool {
		v[j] = t
		return q.deltaE(q.m.expected(&v)) <= q.tol && !q.breaks(&v)
	}
	edge := func(far float64) float64 {
		a, b := t0, far
		if inside(b) {
			return b
		}
		for range 24 {
			mid := (a + b) / 2
			if inside(mid) {
				a = mid
			} else {
				b = mid
			}
		}
		return a
	}
	// Beyond the tested times the window would be a guess: it ends there, unless the
	// suggestion is a guess itself. Bounds that leave a choice hold for it, too.
	f := &q.m.basis.factors[j]
	from, to := f.From, f.To
	if t0 < from {
		from = t0 / 2
	}
	if t0 > to {
		to = 2 * t0
	}
	if f.Primary {
		if lo, hi := q.grid[j][0], q.grid[j][len(q.grid[j])-1]; lo < hi {
			from, to = min(max(from, lo), t0), max(min(to, hi), t0)
		}
	}
	return [2]float64{edge(from), edge(to)}
}
