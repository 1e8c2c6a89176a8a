package discharge

import (
	"math"
	"slices"

	"example.com/dosetone/colorimetry"
)

// closest is the expected shade nearest the target that the bounds allow. Between
// the ends of reach every level is met.
func (q *search) closest() colorimetry.Lab {
	loS, hiS := q.reach()
	best, at := math.Inf(1), loS
	for i := range 65 {
		s := loS + (hiS-loS)*float64(i)/64
		if d := q.fromStandard(q.m.path.at(s)); d < best {
			best, at = d, s
		}
	}
	h := (hiS - loS) / 64
	if h > 0 {
		at = goldenMin(func(s float64) float64 { return q.fromStandard(q.m.path.at(s)) }, math.Max(loS, at-h), math.Min(hiS, at+h), 1e-5)
	}
	return q.m.path.at(at)
}

// reach is the least and the highest level that the bounds allow. A factor by which
// dose only rises or falls has them at the ends of its bounds, one with a best value
// may have them between.
func (q *search) reach() (least, highest float64) {
	all := make([][]float64, len(q.grid)) // values to try, by factor
	for j, g := range q.grid {
		if all[j] = g; q.m.basis.factors[j].oneWay() {
			all[j] = slices.Compact([]float64{g[0], g[len(g)-1]})
		}
	}
	level := func(v values) float64 { return q.m.path.level(q.m.expected(&v).L) }
	least, highest = math.Inf(1), math.Inf(-1)
	var low, high values
	v := q.m.basis.values(q.other)
	var try func(j int)
	try = func(j int) {
		if j < len(all) {
			for _, v[j] = range all[j] {
				try(j + 1)
			}
			return
		}
		s := level(v)
		if s < least {
			least, low = s, v
		}
		if s > highest {
			highest, high = s, v
		}
	}
	try(0)
	for j := range q.grid {
		f := &q.m.basis.factors[j]
		if !q.free[j] || f.oneWay() {
			continue
		}
		// Between the values that were tried, too.
		along := func(at values, sign float64) float64 {
			end := func(x float64) float64 {
				at[j] = f.value(x)
				return -sign * level(at)
			}
			return -sign * end(goldenMin(end, f.x(q.grid[j][0]), f.x(q.grid[j][len(q.grid[j])-1]), 5e-3))
		}
		least, highest = math.Min(least, along(low, -1)), math.Max(highest, along(high, 1))
	}
	return least, highest
}
