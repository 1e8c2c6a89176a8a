package fit

import (
	"math"
	"testing"

	"example.com/dosetone/datasets/published"
)

// Factors computed in R and SciPy by integration; two of them are printed in
// e-Handbook 7.2.6.3 and ISO 16269-6 style tables. By turning the normal
// population over, mean + k·SD lies above p of it when mean − k·SD lies below
// 1 − p: the factor of coverage 1 − p with confidence 1 − γ is that of p with γ,
// negative.
func TestToleranceFactors(t *testing.T) {
	c, err := published.StatColumns("tolerance_factors.csv", "n", "coverage", "confidence", "k_one_sided", "k_two_sided_exact")
	if err != nil {
		t.Fatal(err)
	}
	for i := range c[0] {
		n := int(c[0][i])
		if i%3 != 0 && n > 10 { // a third of the large ones is enough
			continue
		}
		one, err := ToleranceOneSided(n, c[1][i], c[2][i])
		if err != nil {
			t.Fatal(err)
		}
		mirror, err := ToleranceOneSided(n, 1-c[1][i], 1-c[2][i])
		if err != nil {
			t.Fatal(err)
		}
		two, err := ToleranceTwoSided(n, c[1][i], c[2][i])
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(one-c[3][i]) > 1e-8*c[3][i] || math.Abs(mirror+c[3][i]) > 1e-8*c[3][i] || math.Abs(two-c[4][i]) > 1e-8*c[4][i] {
			t.Errorf("n=%d %g/%g: one-sided %.10g and %.10g (want ±%.10g), two-sided %.10g (want %.10g)", n, c[1][i], c[2][i], one, mirror, c[3][i], two, c[4][i])
		}
	}
	if _, err := ToleranceTwoSided(1, 0.9, 0.9); err == nil {
		t.Error("no error for n = 1")
	}
}

// A coverage of one half is Student's t over √n: t = tan(π(γ − ½)) on one
// degree of freedom, (2γ − 1)/√(2γ(1 − γ)) on two.
func TestToleranceOfTheMean(t *testing.T) {
	for _, g := range []float64{1e-9, 0.01, 0.05, 0.3, 0.7, 0.95, 0.999, 1 - 1e-9} {
		cauchy := -1 / math.Tan(math.Pi*g)
		if g > 0.5 { // where π·g would have lost the digits of 1 − γ
			cauchy = 1 / math.Tan(math.Pi*(1-g))
		}
		for n, want := range map[int]float64{
			2: cauchy / math.Sqrt2,
			3: (2*g - 1) / math.Sqrt(2*g*(1-g)) / math.Sqrt(3),
		} {
			k, err := ToleranceOneSided(n, 0.5, g)
			if err != nil {
				t.Fatal(err)
			}
			digits(t, "factor of the mean", k, want, 11)
		}
	}
}

// simpson integrates f from a to b.
func simpson(f func(float64) float64, a, b float64) float64 {
	const steps = 20000
	h := (b - a) / steps
	s := f(a) + f(b)
	for i := 1; i < steps; i++ {
		s += f(a+float64(i)*h) * float64(2+2*(i%2))
	}
	return s * h / 3
}

// The noncentral t distribution of one degree of freedom is P(T ≤ t) = Φ(−δ√B)
// + 2T(δ√B, t), B = 1/(1 + t²), with Owen's T(h, a) = (2π)⁻¹∫₀^a
// exp(−h²(1 + x²)/2)/(1 + x²) dx, here with x = sinh v (D.B. Owen, Technometrics 10 (1968) 445; from memory, and
// at 0.95, 0.95 it gives the published 26.2597).
func TestToleranceOfTwo(t *testing.T) {
	confidence := func(k, coverage float64) float64 {
		x := k * math.Sqrt2
		d := -math.Sqrt2 * math.Sqrt2 * math.Erfinv(1-2*coverage) // δ = √2·z
		h := d / math.Hypot(1, x)
		owen := simpson(func(v float64) float64 { c := math.Cosh(v); return math.Exp(-h*h*c*c/2) / c }, 0, math.Asinh(x)) / (2 * math.Pi)
		return 0.5*math.Erfc(h/math.Sqrt2) + 2*owen
	}
	if g := confidence(26.2597, 0.95); math.Abs(g-0.95) > 1e-6 {
		t.Fatalf("Owen's formula gives confidence %.8f at the published factor of 0.95", g)
	}
	for _, p := range []float64{1e-6, 0.001, 0.1, 0.5, 0.9, 0.95, 0.99, 1 - 1e-6} {
		for _, g := range []float64{0.01, 0.05, 0.5, 0.9, 0.99, 0.999, 0.9999} {
			k, err := ToleranceOneSided(2, p, g)
			if err != nil {
				t.Fatal(err)
			}
			if got := confidence(k, p); math.Abs(got-g) > 1e-9*math.Min(g, 1-g) {
				t.Errorf("coverage %g: k = %.9g has confidence %.12g, want %g", p, k, got, g)
			}
		}
	}
}

// With one and two degrees of freedom χ² has the tails erfc(√(q/2)) and
// exp(−q/2). The half widths that the integral needs are found by halving here.
func TestToleranceTwoSidedOfFew(t *testing.T) {
	missed := func(n int, k, coverage float64) float64 {
		half := func(m float64) float64 {
			lo, hi := 0.0, m+40
			for range 60 {
				r := (lo + hi) / 2
				if (math.Erfc((m-r)/math.Sqrt2)-math.Erfc((m+r)/math.Sqrt2))/2 < coverage {
					lo = r
				} else {
					hi = r
				}
			}
			return lo
		}
		s, h := 0.0, 0.01
		for i := 0; i <= 1200; i++ { // trapezoidal rule, both ends flat or nil
			z := float64(i) * h
			q := half(z/math.Sqrt(float64(n))) / k
			p := math.Erf(q / math.Sqrt2)
			if n == 3 {
				p = -math.Expm1(-q * q)
			}
			if i == 0 {
				p /= 2
			}
			s += p * math.Exp(-z*z/2) * h
		}
		return s * math.Sqrt(2/math.Pi)
	}
	for _, n := range []int{2, 3} {
		for _, p := range []float64{0.01, 0.5, 0.9, 0.99} {
			for _, g := range []float64{0.01, 0.05, 0.5, 0.95, 0.9999, 1 - 1e-12, 1 - 1e-16} {
				k, err := ToleranceTwoSided(n, p, g)
				if err != nil {
					t.Fatal(err)
				}
				if got := missed(n, k, p); math.Abs(got-(1-g)) > 1e-9*math.Min(g, 1-g) {
					t.Errorf("n=%d coverage %g: k = %.9g fails with %.9g, want %.9g", n, p, k, got, 1-g)
				}
			}
		}
	}
	// Little coverage is in proportion to the width, up to its square.
	for _, n := range []int{2, 10, 100} {
		a, err1 := ToleranceTwoSided(n, 1e-4, 0.5)
		b, err2 := ToleranceTwoSided(n, 1e-8, 0.5)
		c, err3 := ToleranceTwoSided(n, 1e-200, 0.5)
		if err1 != nil || err2 != nil || err3 != nil {
			t.Fatal(err1, err2, err3)
		}
		digits(t, "little coverage", a/1e-4, b/1e-8, 7)
		digits(t, "next to no coverage", c/1e-200, b/1e-8, 11)
	}
}
