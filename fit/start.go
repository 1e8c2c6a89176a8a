package fit

import (
	"fmt"
	"math"
	"sort"
)

// Start implements Starter. Given slope and location (and shape) the curve is
// linear in zero and infinite, so a coarse grid of the former with exact least
// squares for the latter sees the whole surface; the best distinct points of
// the grid are the candidates.
func (s Sigmoid) Start(data []Observation, fixed []float64) ([][]float64, error) {
	if err := checkPoints(s, data); err != nil {
		return nil, err
	}
	n := len(fixed)
	var lx []float64
	for _, o := range data {
		if o.X[0] > 0 {
			lx = append(lx, math.Log(o.X[0]))
		}
	}
	sort.Float64s(lx)
	if len(lx) == 0 || lx[0] == lx[len(lx)-1] && (len(lx) == len(data) || n-countFixed(fixed) > 2) {
		return nil, fmt.Errorf("fit: all positive doses are equal: %w (slope and location need at least two doses)", ErrNotIdentified)
	}
	lo, hi := lx[0], lx[len(lx)-1]
	width := math.Max(hi-lo, 1)

	locations := []float64{}
	for k := -3; k <= 13; k++ {
		locations = append(locations, lo+float64(k)/10*width)
	}
	slopes := []float64{0.25, 0.5, 1, 1.5, 2, 3, 5, 8, 16}
	if !math.IsNaN(fixed[Location]) {
		locations = []float64{math.Log(fixed[Location])}
	}
	if !math.IsNaN(fixed[Slope]) {
		slopes = []float64{fixed[Slope]}
	}
	shapes := []float64{0}
	if n > Shape {
		shapes = []float64{0.5, 1, 2}
		if !math.IsNaN(fixed[Shape]) {
			shapes = []float64{fixed[Shape]}
		}
	}
	type point struct {
		p   []float64
		rss float64
	}
	var grid []point
	fam := s.Curve.family()
	f := make([]float64, len(data))
	for _, sh := range shapes {
		for _, le := range locations {
			for _, b := range slopes {
				for i, o := range data {
					if o.X[0] == 0 {
						f[i] = 0
						continue
					}
					f[i], _, _, _ = unit(fam, sh, b*(math.Log(o.X[0])-le))
				}
				zero, inf, rss, ok := ends(data, f, fixed[Zero], fixed[Infinite])
				if !ok {
					continue
				}
				p := make([]float64, n)
				p[Zero], p[Infinite], p[Slope], p[Location] = zero, inf, b, math.Exp(le)
				if n > Shape {
					p[Shape] = sh
				}
				grid = append(grid, point{p, rss})
			}
		}
	}
	if len(grid) == 0 {
		return nil, fmt.Errorf("fit: no start found: %w", ErrNotIdentified)
	}
	sort.SliceStable(grid, func(i, j int) bool { return grid[i].rss < grid[j].rss })
	// Keep points that differ in more than one grid step.
	var out [][]float64
	for _, g := range grid {
		near := false
		for _, o := range out {
			if math.Abs(math.Log(o[Slope]/g.p[Slope])) < 0.8 && math.Abs(math.Log(o[Location]/g.p[Location])) < 0.25*width {
				near = true
			}
		}
		if !near {
			out = append(out, g.p)
		}
		if len(out) == 8 {
			break
		}
	}
	return out, nil
}

func countFixed(fixed []float64) int {
	k := 0
	for _, v := range fixed {
		if !math.IsNaN(v) {
			k++
		}
	}
	return k
}

// ends fits y = zero + (inf − zero)·f by weighted least squares; NaN means free.
func ends(data []Observation, f []float64, zero, inf float64) (z, i, rss float64, ok bool) {
	// y = zero·(1−f) + inf·f
	var a11, a12, a22, b1, b2 float64
	for k := range data {
		w := data[k].weight()
		u, v, y := 1-f[k], f[k], data[k].Y
		a11 += w * u * u
		a12 += w * u * v
		a22 += w * v * v
		b1 += w * u * y
		b2 += w * v * y
	}
	z, i = zero, inf
	switch zf, inff := math.IsNaN(zero), math.IsNaN(inf); {
	case zf && inff:
		det := a11*a22 - a12*a12
		if !(det > 1e-10*a11*a22) {
			return 0, 0, 0, false
		}
		z, i = (b1*a22-b2*a12)/det, (a11*b2-a12*b1)/det
	case zf:
		if a11 == 0 {
			return 0, 0, 0, false
		}
		z = (b1 - a12*inf) / a11
	case inff:
		if a22 == 0 {
			return 0, 0, 0, false
		}
		i = (b2 - a12*zero) / a22
	}
	for k := range data {
		r := data[k].Y - z*(1-f[k]) - i*f[k]
		rss += data[k].weight() * r * r
	}
	return z, i, rss, !math.IsNaN(rss)
}
