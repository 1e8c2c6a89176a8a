package fit

import "math"

// Compensated sums: Ogita, Rump, Oishi, "Accurate sum and dot product",
// SIAM J. Sci. Comput. 26 (2005) 1955, algorithms 4.1 and 5.3. The result is
// as if computed in twice the working precision and rounded once.

// dot2 returns the scalar product of a and b.
func dot2(a, b []float64) float64 {
	var s, c float64
	b = b[:len(a)]
	for i, x := range a {
		y := b[i]
		h := x * y
		e := math.FMA(x, y, -h)
		t := s + h
		z := t - s
		c += e + ((s - (t - z)) + (h - z))
		s = t
	}
	return s + c
}

// sumSquares returns Σ a².
func sumSquares(a []float64) float64 { return dot2(a, a) }

// finite reports whether all values are finite.
func finite(v []float64) bool {
	// x·0 is NaN for NaN and infinities; four sums run side by side.
	var a, b, c, d float64
	for len(v) >= 4 {
		a += v[0] * 0
		b += v[1] * 0
		c += v[2] * 0
		d += v[3] * 0
		v = v[4:]
	}
	for _, x := range v {
		a += x * 0
	}
	return a+b+c+d == 0
}
