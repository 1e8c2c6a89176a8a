package discharge

import (
	"cmp"
	"slices"

	"example.com/dosetone/colorimetry"
)

// closest is the expected shade nearest the target at any settings between the ends of
// the bounds, also between values that are available. Expected shades lie off the path by
// what lots scatter along its bend, so it is sought among settings, not on the path: from
// the best of the candidates one factor is turned after the other, and for every
// value of it the dose made up for by the factor that changes it most.
func (q *search) closest(list []Suggestion) colorimetry.Lab {
	best := slices.MinFunc(list, func(a, b Suggestion) int {
		return cmp.Compare(q.fromStandard(a.Shade), q.fromStandard(b.Shade))
	})
	v := q.m.values(best.Settings)
	distance := func() float64 { return q.fromStandard(q.m.expected(&v)) }
	// turn sets factor j where f is least, and returns that.
	turn := func(j int, tol float64, f func() float64) float64 {
		d, g := &q.m.basis.factors[j], q.grid[j]
		at := func(x float64) float64 {
			v[j] = d.value(x)
			return f()
		}
		return at(goldenMin(at, d.x(g[0]), d.x(g[len(g)-1]), tol))
	}
	dose := q.widest()
	if dose < 0 {
		return best.Shade
	}
	// In ln of a factor: a hundredth of what is a ΔE00 at the end, more on the way there.
	const fine, coarse = 1e-4, 5e-2
	for j, g := range q.grid {
		if j != dose && len(g) > 1 {
			turn(j, coarse, func() float64 { return turn(dose, 50*fine, distance) })
		}
	}
	turn(dose, fine, distance)
	if c := q.m.expected(&v); q.fromStandard(c) < q.fromStandard(best.Shade) {
		return c
	}
	return best.Shade
}

// widest is the factor solved for or, when all are given, the one whose values lie
// farthest apart; -1 when there is no choice at all.
func (q *search) widest() int {
	at, most := q.solve, 0.0
	for j, g := range q.grid {
		f := &q.m.basis.factors[j]
		if w := f.raw(g[len(g)-1]) - f.raw(g[0]); q.solve < 0 && w > most {
			at, most = j, w
		}
	}
	return at
}
