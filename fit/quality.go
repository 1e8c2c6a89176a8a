package fit

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mathext"
)

// ControlConstants are the factors of Shewhart charts for samples of n normal
// values (ASTM E2587, ISO 7870-2; symbols as there). Limits are three standard
// deviations; factors of lower limits are zero where those would be negative.
type ControlConstants struct {
	N                  int
	D2, D3             float64 // mean and SD of the range, in σ (d2, d3)
	C4                 float64 // mean of the standard deviation, in σ
	A, A2, A3          float64 // limits of means, from σ, R̄, s̄
	B3, B4, B5, B6     float64 // limits of standard deviations, from s̄ and σ
	DD1, DD2, DD3, DD4 float64 // limits of ranges D1, D2 from σ and D3, D4 from R̄
	E2                 float64 // limits of single values, from the mean moving range of n
}

// NewControlConstants computes the factors for 2 ≤ n ≤ 1000 by integration;
// another n is an error.
func NewControlConstants(n int) (ControlConstants, error) {
	if n < 2 || n > 1000 {
		return ControlConstants{}, fmt.Errorf("fit: %w: control chart constants for n = %d (need 2 to 1000)", ErrBadInput, n)
	}
	c := ControlConstants{N: n}
	nn := float64(n)
	c.D2, c.D3 = rangeMoments(n)
	a, _ := math.Lgamma(nn / 2)
	b, _ := math.Lgamma((nn - 1) / 2)
	c.C4 = math.Sqrt(2/(nn-1)) * math.Exp(a-b)
	c5 := math.Sqrt(1 - c.C4*c.C4)
	c.A, c.A2, c.A3 = 3/math.Sqrt(nn), 3/(c.D2*math.Sqrt(nn)), 3/(c.C4*math.Sqrt(nn))
	c.B3, c.B4 = math.Max(0, 1-3*c5/c.C4), 1+3*c5/c.C4
	c.B5, c.B6 = math.Max(0, c.C4-3*c5), c.C4+3*c5
	c.DD1, c.DD2 = math.Max(0, c.D2-3*c.D3), c.D2+3*c.D3
	c.DD3, c.DD4 = math.Max(0, 1-3*c.D3/c.D2), 1+3*c.D3/c.D2
	c.E2 = 3 / c.D2
	return c, nil
}

// rangeMoments returns mean and SD of the range of n standard normal values:
// E R = ∫ 1 − Φⁿ − (1−Φ)ⁿ, and E R² = 2∫∫_{y<x} [1 − Φ(x)ⁿ − (1−Φ(y))ⁿ +
// (Φ(x) − Φ(y))ⁿ] (L.H.C. Tippett, Biometrika 17 (1925) 364).
func rangeMoments(n int) (mean, sd float64) {
	const points = 160
	const top = 9.5
	x, w := make([]float64, points), make([]float64, points)
	quad.Legendre{}.FixedLocations(x, w, -top, top)
	nn := float64(n)
	for i, v := range x {
		// 1 − Φⁿ by expm1, so that the tail keeps its digits.
		mean += w[i] * (-math.Expm1(nn*math.Log1p(-normal(-v))) - math.Pow(normal(-v), nn))
	}
	x2, w2 := make([]float64, points), make([]float64, points)
	second := 0.0
	for i, v := range x {
		quad.Legendre{}.FixedLocations(x2, w2, -top, v)
		inner := 0.0
		for k, y := range x2 {
			inner += w2[k] * (1 - math.Pow(normal(v), nn) - math.Pow(normal(-y), nn) + math.Pow(math.Max(0, normal(v)-normal(y)), nn))
		}
		second += w[i] * inner
	}
	return mean, math.Sqrt(2*second - mean*mean)
}

// EWMA is an exponentially weighted moving average chart: z_t = λ y_t +
// (1−λ) z_{t−1}, z_0 = Target, with limits Target ± K·Sigma·√(λ/(2−λ)·(1 −
// (1−λ)^{2t})) (NIST e-Handbook 6.3.2.4).
type EWMA struct {
	Target, Sigma float64
	Lambda        float64 // 0 < λ ≤ 1
	K             float64 // ≥ 0; 0 means 3
}

// EWMAPoint is one point of the chart.
type EWMAPoint struct {
	Z, Lo, Hi float64
	Out       bool
}

// Run returns the chart of the values, in units of Target. A chart out of range
// is an error, and so are values that are not finite.
func (e EWMA) Run(y []float64) ([]EWMAPoint, error) {
	if !(e.Lambda > 0 && e.Lambda <= 1) || !(e.Sigma >= 0) || !(e.K >= 0) || !finite(y) || !finite([]float64{e.Target, e.Sigma, e.K}) {
		return nil, fmt.Errorf("fit: %w: EWMA around %g with λ = %g, σ = %g and K = %g (need 0 < λ ≤ 1, σ ≥ 0, K ≥ 0, finite values)", ErrBadInput, e.Target, e.Lambda, e.Sigma, e.K)
	}
	k := e.K
	if k == 0 {
		k = 3
	}
	out := make([]EWMAPoint, len(y))
	z := e.Target
	for t, v := range y {
		z = e.Lambda*v + (1-e.Lambda)*z
		h := k * e.Sigma * math.Sqrt(e.Lambda/(2-e.Lambda)*(1-math.Pow(1-e.Lambda, 2*float64(t+1))))
		out[t] = EWMAPoint{Z: z, Lo: e.Target - h, Hi: e.Target + h, Out: math.Abs(z-e.Target) > h}
	}
	return out, nil
}

// gammaQuantile is the quantile of the gamma distribution with shape a.
func gammaQuantile(a, p float64) float64 { return mathext.GammaIncRegInv(a, p) }
