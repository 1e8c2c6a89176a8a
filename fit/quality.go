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
	// 2∫₀^∞ P(χ² ≥ df r²/k²) φ(z) dz.
	const points = 200
	x, w := make([]float64, points), make([]float64, points)
	const top = 9
	quad.Legendre{}.FixedLocations(x, w, 0, top)
	r := make([]float64, points)
	for i, z := range x {
		m := z / math.Sqrt(nn)
		r[i] = bisect(func(r float64) float64 { return normal(m+r) - normal(m-r) - coverage }, 0, m+12)
	}
	conf := func(k float64) float64 {
		s := 0.0
		for i, z := range x {
			q := df * r[i] * r[i] / (k * k)
			s += w[i] * mathext.GammaIncRegComp(df/2, q/2) * math.Exp(-z*z/2)
		}
		return 2*s/math.Sqrt(2*math.Pi) - confidence
	}
	hi := 1.0
	for conf(hi) < 0 {
		hi *= 2
	}
	return bisect(conf, hi/1e3, hi), nil
}

// ToleranceOneSided returns k such that mean + k·SD of n ≥ 2 values lies above
// the fraction coverage of a normal population with the given confidence: a
// noncentral t quantile over √n. A coverage or confidence outside (0,1) is an
// error.
func ToleranceOneSided(n int, coverage, confidence float64) (float64, error) {
	if err := checkTolerance(n, coverage, confidence); err != nil {
		return 0, err
	}
	nn, df := float64(n), float64(n-1)
	d := distuv.UnitNormal.Quantile(coverage) * math.Sqrt(nn)
	// P(T ≤ t) = ∫ Φ(t·s − d) dF(s), s = χ/√df, for noncentral t with
	// noncentrality d. The density of s is integrated on a fixed rule.
	lo, hi := chiRange(df)
	const points = 400
	x, w := make([]float64, points), make([]float64, points)
	quad.Legendre{}.FixedLocations(x, w, lo, hi)
	lg, _ := math.Lgamma(df / 2)
	for i, s := range x {
		w[i] *= math.Exp(math.Ln2 + df/2*math.Log(df/2) - lg + (df-1)*math.Log(s) - df*s*s/2)
	}
	conf := func(k float64) float64 {
		p := 0.0
		for i, s := range x {
			p += w[i] * normal(k*math.Sqrt(nn)*s-d)
		}
		return p - confidence
	}
	top := 1.0
	for conf(top) < 0 {
		top *= 2
	}
	return bisect(conf, -top, top), nil
}

func checkTolerance(n int, coverage, confidence float64) error {
	if n < 2 || !(coverage > 0 && coverage < 1) || !(confidence > 0 && confidence < 1) {
		return fmt.Errorf("fit: %w: tolerance factor for n = %d, coverage %g, confidence %g (need n ≥ 2 and fractions between 0 and 1)", ErrBadInput, n, coverage, confidence)
	}
	return nil
}

// chiRange is where the density of χ/√df is not negligible.
func chiRange(df float64) (lo, hi float64) {
	w := 12 / math.Sqrt(2*df)
	return math.Max(1e-12, 1-w), 1 + w
}

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
