package quantile

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

func relative(got, want float64) float64 { return math.Abs(got-want) / math.Abs(want) }

// The normal quantiles of tables, to their digits (NIST/SEMATECH e-Handbook 1.3.6.7.1
// and common tables, from memory).
func TestNormal(t *testing.T) {
	for p, want := range map[float64]float64{0.5: 0, 0.975: 1.959963984540054, 0.95: 1.6448536269514722, 0.999: 3.090232306167813, 0.025: -1.959963984540054} {
		if got := Normal(p); !(math.Abs(got-want) <= 1e-13) {
			t.Errorf("z(%g) = %.16g, want %.16g", p, got, want)
		}
	}
}

// Student's t in closed form: 1 and 2 degrees of freedom; tables for others.
func TestStudentQuantiles(t *testing.T) {
	for _, p := range []float64{0.5, 0.6, 0.75, 0.9, 0.975, 0.999, 1 - 1e-6} {
		if got, want := Student(p, 1), math.Tan(math.Pi*(p-0.5)); math.Abs(got-want) > 2e-11*math.Max(1e-3, math.Abs(want)) {
			t.Errorf("t(%g; 1) = %.15g, want %.15g", p, got, want)
		}
		if got, want := Student(p, 2), (2*p-1)*math.Sqrt(2/(4*p*(1-p))); math.Abs(got-want) > 1e-14*math.Max(1e-3, math.Abs(want)) {
			t.Errorf("t(%g; 2) = %.15g, want %.15g", p, got, want)
		}
	}
	for df, want := range map[float64]float64{3: 3.182446305284263, 5: 2.570581835636314, 10: 2.228138851964939, 30: 2.042272456301238, 1e3: 1.962339080778, 1e9: 1.95996398691, math.Inf(1): 1.959963984540054} {
		if got := Student(0.975, df); relative(got, want) > 1e-10 {
			t.Errorf("t(0.975; %g) = %.15g, want %.15g (tables)", df, got, want)
		}
	}
	// The series and the incomplete beta function meet at 1000.
	for _, p := range []float64{0.6, 0.9, 0.975, 0.9999, 1 - 1e-6} {
		below, above := Student(p, math.Nextafter(1000, 0)), Student(p, 1000)
		if relative(below, above) > 2e-12 {
			t.Errorf("t(%g; 1000) is %.16g from below, %.16g from above", p, below, above)
		}
	}
	for _, df := range []float64{0, -1, math.NaN()} {
		if !math.IsNaN(Student(0.975, df)) {
			t.Errorf("a quantile on %g degrees of freedom", df)
		}
	}
	if q := Student(0.75, 0.5); !(q > 1) { // heavier tails than 1 degree
		t.Errorf("t(0.75; 0.5) = %g", q)
	}
}

// A wrong coefficient would leave an error of the fourth power or lower: then
// doubling the degrees of freedom divides it by 16 instead of 32.
func TestStudentSeriesHasFourTerms(t *testing.T) {
	for _, p := range []float64{0.7, 0.9, 0.975, 0.999, 1 - 1e-5} {
		z := distuv.UnitNormal.Quantile(p)
		off := func(df float64) float64 {
			return studentSeries(z, df) - distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p)
		}
		df := 8 * math.Max(1, z*z)
		if ratio := off(df) / off(2*df); ratio < 26 || ratio > 42 {
			t.Errorf("p %g: error %.2e at %g, %.2e at %g, ratio %g", p, off(df), df, off(2*df), 2*df, ratio)
		}
	}
}

// The four terms as Abramowitz and Stegun print them, 26.7.5 (from memory), each on its own.
func TestStudentSeriesTermByTerm(t *testing.T) {
	for _, z := range []float64{-2.5, 0.5, 1.2, 3} {
		p := func(k float64) float64 { return math.Pow(z, k) }
		for _, df := range []float64{1.5, 2, 7} {
			want := z + (p(3)+z)/4/df + (5*p(5)+16*p(3)+3*z)/96/p2(df) + (3*p(7)+19*p(5)+17*p(3)-15*z)/384/(df*p2(df)) +
				(79*p(9)+776*p(7)+1482*p(5)-1920*p(3)-945*z)/92160/(p2(df)*p2(df))
			if got := studentSeries(z, df); relative(got, want) > 1e-14 {
				t.Errorf("z %g, df %g: %.17g, want %.17g", z, df, got, want)
			}
		}
	}
}

func p2(x float64) float64 { return x * x }
