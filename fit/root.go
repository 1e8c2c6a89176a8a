package fit

import "math"

// bisect finds the sign change of f in [a, b] by the ITP-like mix of regula
// falsi and halving: at most 200 evaluations.
func bisect(f func(float64) float64, a, b float64) float64 {
	fa, fb := f(a), f(b)
	for k := 0; k < 200 && math.Abs(b-a) > 1e-15*(math.Abs(a)+math.Abs(b)); k++ {
		m := (a + b) / 2
		if k%3 != 2 {
			if s := (a*fb - b*fa) / (fb - fa); math.Min(a, b) < s && s < math.Max(a, b) {
				m = s
			}
		}
		fm := f(m)
		if fm == 0 {
			return m
		}
		if (fm > 0) == (fa > 0) {
			a, fa = m, fm
		} else {
			b, fb = m, fm
		}
	}
	return (a + b) / 2
}

// positiveRoot is the root of a rising function of positive numbers.
func positiveRoot(f func(float64) float64) float64 {
	lo, hi := 1.0, 1.0
	for f(hi) < 0 {
		lo, hi = hi, 2*hi
	}
	for lo > 0 && f(lo) > 0 {
		lo, hi = lo/2, lo
	}
	return bisect(f, lo, hi)
}
