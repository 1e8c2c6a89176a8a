package fit

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// normal is the standard normal distribution function, by erfc so that both
// tails keep their digits.
func normal(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }

// ToleranceTwoSided returns k such that mean ± k·SD of n ≥ 2 values covers the
// fraction coverage of a normal population with the given confidence, exactly:
// by integration over the distribution of the mean. A coverage or confidence
// outside (0,1) is an error.
func ToleranceTwoSided(n int, coverage, confidence float64) (float64, error) {
	if err := checkTolerance(n, coverage, confidence); err != nil {
		return 0, err
	}
	nn, df := float64(n), float64(n-1)
	// Given the mean at z/√n from μ, the half width must be at least r(z),
	// where Φ(z/√n + r) − Φ(z/√n − r) = coverage: confidence =
	// 2∫₀^∞ P(χ² ≥ df r²/k²) φ(z) dz. What lies beyond top is 1e-32.
	const points, top = 200, 12
	x, w := make([]float64, points), make([]float64, points)
	quad.Legendre{}.FixedLocations(x, w, 0, top)
	r := make([]float64, points)
	cover := coverer()
	for i, z := range x {
		r[i] = positiveRoot(func(r float64) float64 { return cover(z/math.Sqrt(nn), r, coverage) })
	}
	average := func(k float64, chi2 func(a, x float64) float64) float64 {
		s := 0.0
		for i, z := range x {
			q := r[i] / k // first, so that its square does not underflow
			s += w[i] * chi2(df/2, df*q*q/2) * math.Exp(-z*z/2)
		}
		return 2 * s / math.Sqrt(2*math.Pi)
	}
	return positiveRoot(func(k float64) float64 {
		if confidence > 0.5 { // the smaller tail keeps its digits
			return (1 - confidence) - average(k, mathext.GammaIncReg)
		}
		return average(k, mathext.GammaIncRegComp) - confidence
	}), nil
}

// coverer returns the function Φ(m + r) − Φ(m − r) − coverage of m ≥ 0, r > 0,
// to nearly all digits of the smaller of coverage and 1 − coverage.
func coverer() func(m, r, coverage float64) float64 {
	const points = 20 // enough for r ≤ 1, where the difference would cancel
	x, w := make([]float64, points), make([]float64, points)
	quad.Legendre{}.FixedLocations(x, w, -1, 1)
	return func(m, r, coverage float64) float64 {
		switch {
		case r <= 1:
			s := 0.0
			for i, u := range x {
				v := m + r*u
				s += w[i] * math.Exp(-v*v/2)
			}
			return r*s/math.Sqrt(2*math.Pi) - coverage
		case coverage > 0.5:
			return (1 - coverage) - (normal(-m-r) + normal(m-r))
		}
		return normal(r-m) - normal(-m-r) - coverage
	}
}

// ToleranceOneSided returns k such that mean + k·SD of n ≥ 2 values lies above
// the fraction coverage of a normal population with the given confidence: a
// noncentral t quantile over √n. It is negative where so little is asked that
// less than the mean will do. A coverage or confidence outside (0,1) is an
// error.
func ToleranceOneSided(n int, coverage, confidence float64) (float64, error) {
	if err := checkTolerance(n, coverage, confidence); err != nil {
		return 0, err
	}
	nn, df := float64(n), float64(n-1)
	d := distuv.UnitNormal.Quantile(coverage) * math.Sqrt(nn)
	s, w := logChi(df, math.Abs(d), math.Min(confidence, 1-confidence))
	// P(T ≤ t) = ∫ Φ(t·s − d) dF(s), s = χ/√df, for noncentral t with
	// noncentrality d.
	gap := func(k float64) float64 {
		t, p := k*math.Sqrt(nn), 0.0
		if confidence > 0.5 { // the smaller tail keeps its digits
			for i, v := range s {
				p += w[i] * normal(d-t*v)
			}
			return (1 - confidence) - p
		}
		for i, v := range s {
			p += w[i] * normal(t*v-d)
		}
		return p - confidence
	}
	switch at0 := gap(0); {
	case at0 > 0:
		return -positiveRoot(func(k float64) float64 { return -gap(-k) }), nil
	case at0 < 0:
		return positiveRoot(gap), nil
	}
	return 0, nil
}

// logChi returns a rule for averages over s = χ/√df: the trapezoidal rule in
// ln s, which for a smooth function that dies away on both sides converges
// faster than any power of the step. The steps are fine against the density and
// against Φ(t·s − d), whatever t, and go on until what is left is nothing
// beside a probability of tail.
func logChi(df, d, tail float64) (s, w []float64) {
	h := math.Min(1/math.Sqrt(2*df), 1/d) / 8
	least := math.Log(tail) - 40
	sum := 0.0
	add := func(u float64) bool {
		l := df * (u - math.Expm1(2*u)/2) // ln of the density of u over that at 0
		if l < least {
			return false
		}
		s, w = append(s, math.Exp(u)), append(w, math.Exp(l))
		sum += w[len(w)-1]
		return true
	}
	add(0)
	for k := 1; add(float64(k) * h); k++ {
	}
	for k := -1; add(float64(k) * h); k-- {
	}
	for i := range w {
		w[i] /= sum
	}
	return s, w
}

func checkTolerance(n int, coverage, confidence float64) error {
	if n < 2 || !(coverage > 0 && coverage < 1) || !(confidence > 0 && confidence < 1) {
		return fmt.Errorf("fit: %w: tolerance factor for n = %d, coverage %g, confidence %g (need n ≥ 2 and fractions between 0 and 1)", ErrBadInput, n, coverage, confidence)
	}
	return nil
}
