// Package check holds helpers of the tests: digits and golden files.
package check

import "math"

// Digits returns how many significant digits of want are matched by got:
// −log10 of the relative error (of the absolute error where want is 0),
// 17 for equal values, 0 for anything worse than no digit, NaN or Inf.
func Digits(got, want float64) float64 {
	if got == want {
		return 17
	}
	e := math.Abs(got - want)
	if want != 0 {
		e /= math.Abs(want)
	}
	d := -math.Log10(e)
	if math.IsNaN(d) || d < 0 {
		return 0
	}
	return math.Min(d, 17)
}
