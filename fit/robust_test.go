package fit

import (
	"errors"
	"math"
	"math/rand/v2"
	"sort"
	"testing"
)

// scattered returns readings of 1 + 2x at n places from −1 to 1, a share of them
// with five times the scatter of the rest.
func scattered(rng *rand.Rand, n int, bad float64) []Observation {
	data := make([]Observation, n)
	for i := range data {
		x := 2*float64(i)/float64(n-1) - 1
		sd := 1.0
		if rng.Float64() < bad {
			sd = 5
		}
		data[i] = Observation{X: []float64{x}, Y: 1 + 2*x + sd*rng.NormFloat64()}
	}
	return data
}

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s: %.12g, want %.12g", what, got, want)
	}
}

// The usual constants are those of 95 % efficiency at the normal distribution
// (Huber, Robust Statistics, 1981; P.W. Holland, R.E. Welsch, Commun. Statist. A6
// (1977) 813; both from memory).
func TestRobustEfficiency(t *testing.T) {
	for _, l := range []Loss{Huber{}, Tukey{}} {
		r := newRobust(l, true)
		near(t, "efficiency", r.slope*r.slope/r.psi2, 0.95, 1e-4)
	}
	// Huber's mean ψ' is the probability to lie within K: 2Φ(1) − 1 (tables).
	near(t, "mean slope", newRobust(Huber{1}, true).slope, 0.682689492, 1e-9)
}

// A loss that limits nothing is least squares, in all that has been said of
// the fit, with priors and shrinkage too. (Of a known scatter it must not be
// more than is known: a loss would take the rest for outliers.)
func TestRobustWithoutLimitIsLeastSquares(t *testing.T) {
	data := scattered(rand.New(rand.NewPCG(3, 1)), 15, 0)
	for i := range data {
		data[i].Weight = 1 + float64(i%3)
		data[i].Y += 20 // relative weights need a mean away from zero
	}
	m := Polynomial(2)
	for name, w := range map[string]Weights{"equal": Equal{}, "relative": Relative{}, "known": KnownSD{2}} {
		for _, l := range []Loss{Huber{1e9}, Tukey{1e9}} {
			opt := &FitOptions{Start: []float64{20, 1, 0}, Priors: map[string]Prior{m.Names[2]: {0.5, 0.7}}, Shrunk: []string{m.Names[1]}}
			ls, err := Regress(m, data, w, opt)
			if err != nil {
				t.Fatal(err)
			}
			o := *opt
			o.Loss = l
			r, err := Regress(m, data, w, &o)
			if err != nil {
				t.Fatal(err)
			}
			near(t, name+" SD", r.SD, ls.SD, 1e-6)
			near(t, name+" shrinkage", r.ShrinkSD, ls.ShrinkSD, 1e-6)
			for j := range r.P {
				near(t, name+" estimate", r.P[j], ls.P[j], 1e-6)
				near(t, name+" SE", r.SE()[j], ls.SE()[j], 1e-6)
				near(t, name+" observed SE", r.ObservedSE()[j], ls.ObservedSE()[j], 1e-6)
				a, err := r.Profile(j, 0.95)
				if err != nil {
					t.Fatal(err)
				}
				b, err := ls.Profile(j, 0.95)
				if err != nil {
					t.Fatal(err)
				}
				near(t, name+" profile", a.Hi-a.Lo, b.Hi-b.Lo, 1e-6)
			}
		}
	}
}

// Huber's formula (Robust Statistics, 1981, section 7.6; from memory), written
// out for a straight line with the closed form of (XᵀX)⁻¹.
func TestRobustCovarianceFormula(t *testing.T) {
	data := scattered(rand.New(rand.NewPCG(3, 2)), 25, 0.2)
	n, p := float64(len(data)), 2.0
	for i := range data {
		data[i].Weight = 1 + float64(i%3)
	}
	for _, l := range []Loss{Huber{}, Tukey{}} {
		r, err := Regress(Polynomial(1), data, nil, &FitOptions{Loss: l, Start: []float64{0, 0}})
		if err != nil {
			t.Fatal(err)
		}
		var abs []float64
		for i, o := range data {
			abs = append(abs, math.Abs(r.Residuals[i])*math.Sqrt(o.Weight))
		}
		sorted := append([]float64(nil), abs...)
		sort.Float64s(sorted)
		// The two smallest, which the line meets, are left out: of the other
		// 23 the median is the 12th.
		sigma := sorted[13] / 0.6744897501960817 // Φ⁻¹(3/4), tables
		ss, s1, s2 := 0.0, 0.0, 0.0
		for _, a := range abs {
			u := a / sigma
			var psi, slope float64
			if _, ok := l.(Huber); ok {
				psi = math.Min(u, 1.345)
				if u <= 1.345 {
					slope = 1
				}
			} else if v := u * u / (4.685 * 4.685); v < 1 {
				psi = u * (1 - v) * (1 - v)
				slope = (1-v)*(1-v) - 4*v*(1-v) // product rule
			}
			ss += sigma * sigma * psi * psi
			s1 += slope
			s2 += slope * slope
		}
		mean := s1 / n
		k := 1 + p/n*(s2/n-mean*mean)/(mean*mean)
		var w, wx, wxx float64
		for _, o := range data {
			w, wx, wxx = w+o.Weight, wx+o.Weight*o.X[0], wxx+o.Weight*o.X[0]*o.X[0]
		}
		tau2 := k * k * ss / (n - p) / (mean * mean)
		det := w*wxx - wx*wx
		for i, want := range []float64{tau2 * wxx / det, -tau2 * wx / det, -tau2 * wx / det, tau2 * w / det} {
			near(t, "covariance", r.Covariance()[i], want, 1e-7)
		}
	}
}

// All that is said of the scatter of the estimates is one covariance: on a
// straight line the intervals agree to rounding, resampling to its own error.
func TestRobustCovarianceIsOne(t *testing.T) {
	data := scattered(rand.New(rand.NewPCG(3, 3)), 60, 0.1)
	for _, w := range []Weights{Equal{}, KnownSD{1}} {
		for _, l := range []Loss{Huber{}, Tukey{}} {
			r, err := Regress(Polynomial(1), data, w, &FitOptions{Loss: l, Start: []float64{0, 0}})
			if err != nil {
				t.Fatal(err)
			}
			cov, cor, se := r.Covariance(), r.Correlation(), r.SE()
			near(t, "correlation", cor[1], cov[1]/se[0]/se[1], 1e-12)
			_, mean := r.Mean([]float64{0.3})
			near(t, "variance of the mean", mean*mean, cov[0]+0.6*cov[1]+0.09*cov[3], 1e-9)
			for j := range se {
				near(t, "observed SE", r.ObservedSE()[j], se[j], 1e-6)
				wald, err := r.Wald(j, 0.95)
				if err != nil {
					t.Fatal(err)
				}
				for _, of := range []func() (Interval, error){
					func() (Interval, error) { return r.Profile(j, 0.95) },
					func() (Interval, error) { return r.ProfileDerived(Parameter(j), 0.95) },
				} {
					iv, err := of()
					if err != nil {
						t.Fatal(err)
					}
					near(t, "profile", iv.Lo, wald.Lo, 1e-6)
					near(t, "profile", iv.Hi, wald.Hi, 1e-6)
				}
			}
			// The band's region of a dose, in closed form and by its profile.
			inv := Inverse{Result: r, Lo: -3, Hi: 3}
			a, err := inv.Fieller(Target{Y: 2}, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			b, err := inv.Profile(Target{Y: 2}, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "inverse", b.Lo, a.Lo, 1e-4)
			near(t, "inverse", b.Hi, a.Hi, 1e-4)
			// 4000 refits: 1.1 % of a standard deviation. Cases know nothing of
			// equal scatter and differ by some more (HC0: by the data's own
			// Σψ²XXᵀ, here of 60).
			for kind, tol := range map[Resampling]float64{Parametric: 0.05, Cases: 0.3} {
				boot, err := r.Bootstrap(kind, 4000, rand.New(rand.NewPCG(4, 4)))
				if err != nil {
					t.Fatal(err)
				}
				for j, v := range boot.SE() {
					near(t, "bootstrap SE", v, se[j], tol)
				}
			}
		}
	}
}

// Weights are precisions: rows multiplied by their roots give the same fit
// and covariance without weights.
func TestRobustWeighted(t *testing.T) {
	data := scattered(rand.New(rand.NewPCG(3, 4)), 30, 0.1)
	rows := make([]Observation, len(data))
	for i := range data {
		data[i].Weight = 1 + float64(i%4)
		s := math.Sqrt(data[i].Weight)
		rows[i] = Observation{X: []float64{s, s * data[i].X[0]}, Y: s * data[i].Y}
	}
	plane := Func{Parameters: []Param{{Name: "a"}, {Name: "b"}}, Value: func(p, x []float64) float64 { return p[0]*x[0] + p[1]*x[1] }}
	for _, l := range []Loss{Huber{}, Tukey{}} {
		opt := &FitOptions{Loss: l, Start: []float64{0, 0}}
		a, err := Regress(Polynomial(1), data, nil, opt)
		if err != nil {
			t.Fatal(err)
		}
		b, err := Regress(plane, rows, nil, opt)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "SD", a.SD, b.SD, 1e-6)
		for i, v := range a.Covariance() {
			near(t, "covariance", v, b.Covariance()[i], 1e-6)
		}
	}
}

// A prior and robust data are weighed by their precisions (Bayes' rule for
// normal knowledge).
func TestRobustPrior(t *testing.T) {
	data := scattered(rand.New(rand.NewPCG(3, 5)), 201, 0.1)
	for _, l := range []Loss{Huber{}, Tukey{}} {
		for _, w := range []Weights{Equal{}, KnownSD{1}} {
			m := Polynomial(1)
			opt := &FitOptions{Loss: l, Start: []float64{0, 0}}
			free, err := Regress(m, data, w, opt)
			if err != nil {
				t.Fatal(err)
			}
			const sd = 0.1
			opt.Priors = map[string]Prior{m.Names[1]: {Mean: free.P[1] + 0.1, SD: sd}}
			r, err := Regress(m, data, w, opt)
			if err != nil {
				t.Fatal(err)
			}
			precision := 1 / (free.SE()[1] * free.SE()[1])
			share := 1 / (sd * sd) / (precision + 1/(sd*sd))
			// To the first order, of shifts small against the scatter.
			near(t, "shift", r.P[1]-free.P[1], 0.1*share, 0.03)
			near(t, "SE", r.SE()[1], 1/math.Sqrt(precision+1/(sd*sd)), 0.03)
		}
	}
}

func TestRobustWithoutStandardErrors(t *testing.T) {
	// All residuals lie where ψ of Tukey's loss falls, at two thirds of K.
	var data []Observation
	for i, e := range []float64{0.8, -0.8, -0.8, 0.8, 0.8, -0.8, -0.8, 0.8} {
		x := float64(i)
		data = append(data, Observation{X: []float64{x}, Y: 1 + 2*x + e})
	}
	r, err := Regress(Polynomial(1), data, KnownSD{1}, &FitOptions{Loss: Tukey{1.2}, Start: []float64{1, 2}})
	if r == nil {
		t.Fatal(err)
	}
	if r.Covariance() != nil || len(r.Warnings) == 0 {
		t.Errorf("mean ψ' not positive, but covariance %v and warnings %v", r.Covariance(), r.Warnings)
	}
	if _, err := r.Wald(0, 0.95); !errors.Is(err, ErrNotIdentified) {
		t.Errorf("interval: %v", err)
	}
	vf := VarianceFunction{Terms: []VarianceTerm{{Name: "reading"}}}
	if _, err := Regress(Polynomial(1), data, vf, &FitOptions{Loss: Huber{}, Start: []float64{0, 0}}); !errors.Is(err, ErrBadInput) {
		t.Errorf("a loss with a variance function: %v", err)
	}
}
