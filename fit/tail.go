package fit

import "gonum.org/v1/gonum/mathext"

// survivalF is P(F ≥ f) with d1 and d2 degrees of freedom, by the incomplete
// beta function of the far tail itself, so that small values keep their digits.
func survivalF(f, d1, d2 float64) float64 {
	if f <= 0 {
		return 1
	}
	return mathext.RegIncBeta(d2/2, d1/2, d2/(d2+d1*f))
}
