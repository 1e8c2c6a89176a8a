// Package golden finds the minimum of a function of one variable.
package golden

// Section returns where on [a, b] a function with one minimum there has it,
// to within tol, and its value, by golden-section search (Kiefer, Proc. Amer.
// Math. Soc. 4 (1953) 502).
func Section(f func(float64) float64, a, b, tol float64) (x, y float64) {
	const r = 0.6180339887498949 // (√5 - 1)/2
	c, d := b-r*(b-a), a+r*(b-a)
	fc, fd := f(c), f(d)
	for b-a > tol {
		if fc < fd {
			b, d, fd = d, c, fc
			c = b - r*(b-a)
			fc = f(c)
		} else {
			a, c, fc = c, d, fd
			d = a + r*(b-a)
			fd = f(d)
		}
	}
	if fc < fd {
		return c, fc
	}
	return d, fd
}
