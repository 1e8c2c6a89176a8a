package discharge

import (
	"context"
	"fmt"
	"math"
	"slices"

	"example.com/dosetone/internal/golden"
)

// gridSteps is how many values of a free factor are tried beside the one that
// is solved for.
const gridSteps = 7

func (q *search) addFactor(f *doseFactor, opt *SuggestOptions) error {
	lo, hi := readable(f.From, f.To)
	if r, ok := opt.Bounds[f.Column]; ok {
		lo, hi = r.Lo, r.Hi
	}
	pf, _ := q.m.process.Factor(f.Column)
	for _, v := range []float64{lo, hi} {
		if err := pf.Check(v); err != nil {
			return fmt.Errorf("bounds of %s: %w", f.Column, err)
		}
	}
	if err := q.m.process.safeRange(f.Column, Range{Lo: lo, Hi: hi}); err != nil {
		return err
	}
	var values []float64
	list := opt.Available[f.Column]
	switch {
	case len(list) > 0:
		for _, v := range list {
			if err := pf.Check(v); err != nil {
				return err
			}
			if _, bounded := opt.Bounds[f.Column]; bounded && (v < lo || v > hi) {
				continue
			}
			values = append(values, v)
		}
		if len(values) == 0 {
			return badValue("none of the available values of %s lies between %g and %g", f.Column, lo, hi)
		}
		slices.Sort(values)
		values = slices.Compact(values)
	case hi-lo <= 1e-9*math.Abs(hi):
		values = []float64{lo}
	default:
		a, b := f.raw(lo), f.raw(hi)
		for k := range gridSteps {
			x := a + (b-a)*float64(k)/(gridSteps-1)
			v := f.value(x - f.Center)
			if k > 0 && k < gridSteps-1 {
				v = dial(v, pf.Step, lo, hi)
			} else if k == 0 {
				v = lo
			} else {
				v = hi
			}
			values = append(values, v)
		}
		values = slices.Compact(values)
	}
	q.grid = append(q.grid, values)
	q.free = append(q.free, len(list) == 0 && len(values) > 1)
	return nil
}

// readable shortens the ends of the trials' range, which may have been titrated or
// timed to more digits than anyone sets, inward to three.
func readable(lo, hi float64) (from, to float64) {
	short := func(v, to float64) float64 {
		if v == 0 {
			return 0
		}
		unit := math.Pow(10, 2-math.Floor(math.Log10(math.Abs(v)))) // of the third digit, reciprocal
		const rounding = 1e-9
		return math.Round(v*unit+to*(0.5-rounding)) / unit
	}
	if from, to = short(lo, 1), short(hi, -1); from > to {
		return lo, hi
	}
	return from, to
}

// dial rounds v to how finely people set it, staying between lo and hi.
func dial(v, step, lo, hi float64) float64 {
	if step <= 0 {
		return min(max(v, lo), hi)
	}
	// Dividing by the reciprocal keeps 0.1 steps from printing as 0.30000000000000004.
	r := math.Round(v/step) * step
	if inv := math.Round(1 / step); step < 1 && math.Abs(inv*step-1) < 1e-12 {
		r = math.Round(v*inv) / inv
	}
	if r < lo || r > hi {
		return min(max(v, lo), hi)
	}
	return r
}

// chooseSolved picks the factor that is solved for: time if it is free, since
// nothing is easier to change, else the one with the widest range.
func (q *search) chooseSolved() {
	widest := 0.0
	for j, free := range q.free {
		f := &q.m.basis.factors[j]
		if !free {
			continue
		}
		if f.Column == timeColumn {
			q.solve = j
			return
		}
		if w := f.raw(q.grid[j][len(q.grid[j])-1]) - f.raw(q.grid[j][0]); w > widest {
			widest, q.solve = w, j
		}
	}
}

const timeColumn = "time_min"

// candidates evaluates the grid, solving for one factor at each point.
func (q *search) candidates(ctx context.Context) ([]Suggestion, error) {
	n := len(q.grid)
	index := make([]int, n)
	var out []Suggestion
	for {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		s := q.other.Clone()
		for j, k := range index {
			if j != q.solve {
				s[q.m.basis.factors[j].Column] = q.grid[j][k]
			}
		}
		if q.solve >= 0 {
			s[q.m.basis.factors[q.solve].Column] = q.solveAt(s)
		}
		out = append(out, q.spare(q.evaluate(s)))
		j := n - 1
		for ; j >= 0; j-- {
			if j == q.solve {
				continue
			}
			if index[j]++; index[j] < len(q.grid[j]) {
				break
			}
			index[j] = 0
		}
		if j < 0 {
			return out, nil
		}
	}
}

// solveAt returns the value of the solved factor, as dialed, that brings the
// expected shade nearest the target.
func (q *search) solveAt(s Settings) float64 {
	f := &q.m.basis.factors[q.solve]
	pf, _ := q.m.process.Factor(f.Column)
	g := q.grid[q.solve]
	lo, hi := g[0], g[len(g)-1]
	a, b := f.x(lo), f.x(hi)
	v := q.m.values(s)
	distance := func(x float64) float64 {
		v[q.solve] = f.value(x)
		return q.fromStandard(q.m.expected(&v))
	}
	best := f.value(goldenMin(distance, a, b, 5e-3))
	return dial(best, q.fineness(pf.Step, best), lo, hi)
}

// fineness is the step of the dial of the factor solved for, at v. Where it is the
// only one free, no other can make up for a coarse step: then it is at most
// about a fiftieth of v, rounded down to 1, 2 or 5 of a decimal place, as scales
// and clocks are read.
func (q *search) fineness(step, v float64) float64 {
	for j := range q.grid {
		if j != q.solve && len(q.grid[j]) > 1 {
			return step
		}
	}
	if !(v > 0) {
		return step
	}
	place := math.Pow(10, math.Floor(math.Log10(v/50)))
	for _, by := range []float64{5, 2, 1} {
		if by*place <= v/50 {
			return min(step, by*place)
		}
	}
	return step
}

// refine turns the free dials by up to two steps together where that brings
// the expected shade nearer the target: a dial of half a minute alone may leave a
// quarter of a ΔE00.
func (q *search) refine(c Suggestion) Suggestion {
	if q.solve < 0 || q.limit > 0 {
		return c
	}
	v := q.m.values(c.Settings)
	best, at, found := q.fromStandard(q.m.expected(&v)), v, false
	var turn func(u values, j int)
	turn = func(u values, j int) {
		switch {
		case j == len(q.grid):
			if x := q.fromStandard(q.m.expected(&u)); x < best {
				best, at, found = x, u, true
			}
		case j != q.solve && !q.free[j]:
			turn(u, j+1)
		default:
			before := u[j]
			for _, steps := range []float64{-2, -1, 0, 1, 2} {
				u[j] = q.turned(j, before, steps)
				turn(u, j+1)
			}
		}
	}
	turn(v, 0)
	if !found {
		return c
	}
	s := c.Settings.Clone()
	for j := range q.grid {
		s[q.m.basis.factors[j].Column] = at[j]
	}
	if r := q.evaluate(s); r.PassProbability > c.PassProbability-sameChance {
		return r
	}
	return c
}

// sameChance is how much of a pass probability, known to some percent at best,
// is given up for a shade nearer the target.
const sameChance = 0.005

// turned is factor j at v turned by some steps of its dial, inside its bounds.
func (q *search) turned(j int, v, steps float64) float64 {
	f, _ := q.m.process.Factor(q.m.basis.factors[j].Column)
	g := q.grid[j]
	return dial(v+steps*f.Step, f.Step, g[0], g[len(g)-1])
}

// goldenMin finds the minimum of f on [a,b], after a coarse scan that finds
// the right valley.
func goldenMin(f func(float64) float64, a, b, tol float64) float64 {
	const scan = 5
	best, at := math.Inf(1), a
	for i := range scan + 1 {
		x := a + (b-a)*float64(i)/scan
		if y := f(x); y < best {
			best, at = y, x
		}
	}
	h := (b - a) / scan
	a, b = math.Max(a, at-h), math.Min(b, at+h)
	if x, y := golden.Section(f, a, b, tol); y < best {
		return x
	}
	return at
}
