package fit

import (
	"bufio"
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"example.com/dosetone/datasets/published"
	"example.com/dosetone/internal/check"
)

func groupData(t testing.TB, file string) ([]Observation, [][]float64) {
	t.Helper()
	cells, err := published.StatTable(file)
	if err != nil {
		t.Fatal(err)
	}
	c, err := published.StatColumns(file, cells[0][1])
	if err != nil {
		t.Fatal(err)
	}
	var data []Observation
	var groups [][]float64
	last := ""
	for i, row := range cells[1:] {
		data = append(data, Observation{Y: c[0][i], Group: row[0]})
		if row[0] != last {
			groups = append(groups, nil)
			last = row[0]
		}
		groups[len(groups)-1] = append(groups[len(groups)-1], c[0][i])
	}
	return data, groups
}

// Dyestuff (Davies, Goldsmith 1972), Dyestuff2 (Box, Tiao 1973) and an
// unbalanced set; REML by lme4 1.1-31, ANOVA and exact limits computed in R.
func TestNestedVariance(t *testing.T) {
	type ref struct {
		Data  string
		ANOVA struct {
			N0     float64
			SSB    float64    `json:"ss_between"`
			SSW    float64    `json:"ss_within"`
			P      float64    `json:"p_value"`
			F      float64    `json:"F"`
			Var    float64    `json:"var_between_anova"`
			Within [2]float64 `json:"ci95_var_within"`
			Ratio  [2]float64 `json:"ci95_ratio_between_to_within"`
		}
		REML struct {
			Mean    float64
			SE      float64 `json:"se_mean"`
			Between float64 `json:"var_between"`
			Within  float64 `json:"var_within"`
			LogLik  float64
			BLUP    []float64
		}
	}
	var refs struct{ Dyestuff, Dyestuff2, Unbalanced ref }
	if err := published.StatJSON("variance_components.json", &refs); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]ref{"Dyestuff": refs.Dyestuff, "Dyestuff2": refs.Dyestuff2, "unbalanced": refs.Unbalanced} {
		t.Run(name, func(t *testing.T) {
			data, groups := groupData(t, want.Data)
			a, err := NewOneWay(groups)
			if err != nil {
				t.Fatal(err)
			}
			digits(t, "between SS", a.BetweenSS, want.ANOVA.SSB, 10)
			digits(t, "within SS", a.WithinSS, want.ANOVA.SSW, 10)
			digits(t, "F", a.F, want.ANOVA.F, 10)
			digits(t, "p", a.P, want.ANOVA.P, 9)
			digits(t, "n0", a.N0, want.ANOVA.N0, 12)
			digits(t, "ANOVA variance", a.BetweenVar, want.ANOVA.Var, 9)
			w, q := a.WithinInterval(0.95), a.RatioInterval(0.95)
			digits(t, "within interval", w.Lo, want.ANOVA.Within[0], 7)
			digits(t, "within interval", w.Hi, want.ANOVA.Within[1], 7)
			digits(t, "ratio interval", q.Lo, want.ANOVA.Ratio[0], 6)
			digits(t, "ratio interval", q.Hi, want.ANOVA.Ratio[1], 6)

			r, err := NestedVariance(data)
			if err != nil {
				t.Fatal(err)
			}
			if len(r.Components) != 2 {
				t.Fatalf("components %v", r.Components)
			}
			if want.REML.Between == 0 {
				if r.Components[0].Variance != 0 {
					t.Errorf("between variance %g, want 0", r.Components[0].Variance)
				}
			} else {
				digits(t, "between variance", r.Components[0].Variance, want.REML.Between, 5)
			}
			digits(t, "within variance", r.Components[1].Variance, want.REML.Within, 5)
			digits(t, "mean", r.P[0], want.REML.Mean, 6)
			digits(t, "SE of mean", r.SE()[0], want.REML.SE, 6)
			digits(t, "REML log-likelihood", r.LogLik, want.REML.LogLik, 9)
			for i, e := range r.Effects(0) {
				if math.Abs(e.Value-want.REML.BLUP[i]) > 1e-5*math.Max(1, math.Abs(want.REML.BLUP[i])) {
					t.Errorf("effect of %s: %g, want %g", e.Group, e.Value, want.REML.BLUP[i])
				}
			}
		})
	}
}

// Balanced data: REML is the ANOVA solution, its SE the textbook one, and
// Satterthwaite degrees of freedom of the mean those between groups.
func TestBalancedMeanDF(t *testing.T) {
	data, groups := groupData(t, "variance_Dyestuff.csv")
	a, err := NewOneWay(groups)
	if err != nil {
		t.Fatal(err)
	}
	r, err := NestedVariance(data)
	if err != nil {
		t.Fatal(err)
	}
	digits(t, "between", r.Components[0].Variance, a.BetweenVar, 8)
	se, df, err := r.contrast([]float64{1}, nil)
	if err != nil {
		t.Fatal(err)
	}
	digits(t, "SE", se, math.Sqrt(a.BetweenMS/30), 9)
	digits(t, "df", df, 5, 7)
	// A new observation from a new group: Satterthwaite's combination of
	// mean squares, v = MSB(1/30 + 1/5) + MSW·4/5.
	x, y := a.BetweenMS*(1.0/30+1.0/5), a.WithinMS*4/5
	_, df, err = r.predictive([]float64{1}, nil, r.P[0], 1)
	if err != nil {
		t.Fatal(err)
	}
	digits(t, "df of prediction", df, (x+y)*(x+y)/(x*x/5+y*y/24), 6)
}

// Three nested levels, simulated: the estimates average to the truth.
func TestThreeLevels(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 5))
	var sum [3]float64
	const runs = 150
	for range runs {
		var data []Observation
		for g := range 10 {
			a := 2 * rng.NormFloat64()
			for s := range 3 {
				b := 1 * rng.NormFloat64()
				for i := 0; i < 2+g%2; i++ {
					data = append(data, Observation{Y: 10 + a + b + 0.5*rng.NormFloat64(), Group: string(rune('A' + g)), Subgroup: string(rune('a' + s))})
				}
			}
		}
		r, err := NestedVariance(data)
		if err != nil {
			t.Fatal(err)
		}
		for i, c := range r.Components {
			sum[i] += c.Variance / runs
		}
	}
	// Standard errors of the averages are about 0.16, 0.03 and 0.006.
	for i, want := range []float64{4, 1, 0.25} {
		if tol := []float64{0.5, 0.1, 0.02}[i]; math.Abs(sum[i]-want) > tol {
			t.Errorf("component %d averages %.3f, want %g ± %g", i, sum[i], want, tol)
		}
	}
}

// NIST StRD one-way analysis of variance, certified F statistics.
func TestANOVACertified(t *testing.T) {
	for name, c := range map[string]struct{ f, need float64 }{
		"AtmWtAg": {1.59467335677930e1, 8},
		"SiRstv":  {1.18046237440255, 12},
		// Values of 1000000000000.4 carry 4 digits of the 0.4 in float64.
		"SmLs07": {2.10000000000000e1, 2.5},
	} {
		b, err := published.StatFile(name + ".dat")
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(b), "Certified") {
			t.Fatalf("%s: not a certified file", name)
		}
		groups := map[string][]float64{}
		var order []string
		sc := bufio.NewScanner(strings.NewReader(string(b)))
		on := false
		for sc.Scan() {
			f := strings.Fields(sc.Text())
			if len(f) > 0 && f[0] == "Data:" {
				on = len(f) == 3
				continue
			}
			if on && len(f) == 2 {
				v, err := parseFloat(f[1])
				if err != nil {
					continue
				}
				if _, ok := groups[f[0]]; !ok {
					order = append(order, f[0])
				}
				groups[f[0]] = append(groups[f[0]], v)
			}
		}
		var list [][]float64
		for _, k := range order {
			list = append(list, groups[k])
		}
		if len(list) == 0 {
			t.Fatalf("%s: no data found", name)
		}
		a, err := NewOneWay(list)
		if err != nil {
			t.Fatal(name, err)
		}
		if d := check.Digits(a.F, c.f); d < c.need {
			t.Errorf("%s: F = %.15g, certified %.15g (%.1f digits)", name, a.F, c.f, d)
		}
	}
}

// The estimates are where the restricted likelihood is stationary: its
// derivatives and its observed information agree with differences, with a
// prior of a parameter (a row of known variance) and shared causes too.
func TestREMLDerivatives(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	var data []Observation
	for g := range 6 {
		a := rng.NormFloat64()
		for i := 0; i < 3+g%2; i++ {
			x := float64(i) - 1
			data = append(data, Observation{X: []float64{x}, Y: 3 + 2*x + a + 0.7*rng.NormFloat64(), Group: string(rune('A' + g))})
		}
	}
	m := Linear{Names: []string{"a", "b"}, Basis: func(dst, x []float64) { dst[0], dst[1] = 1, x[0] }}
	terms := []VarianceTerm{{Name: "group", Share: ByGroup}, {Name: "each", Share: Each}}
	for _, plain := range []bool{true, false} {
		r, err := Regress(m, data, VarianceFunction{Terms: terms, REML: plain}, &FitOptions{Priors: map[string]Prior{"b": {Mean: 1, SD: 0.3}}})
		if err != nil {
			t.Fatal(err)
		}
		c := r.comps
		tk, err := newTask(m, data, r.weights, &r.opt)
		if err != nil {
			t.Fatal(err)
		}
		res, x := make([]float64, len(data)+1), make([]float64, 2*(len(data)+1))
		tk.raw(res, x, r.P)
		at := func(i int, f float64) (q, s, o []float64, ll float64) {
			th := append([]float64(nil), c.theta...)
			th[i] *= 1 + f
			sc, _ := c.score(th, res, x, 2, []int{0, 1})
			q, s = sc.q, sc.s
			for k := range q { // 2 × derivative
				for l, v := range th {
					q[k] -= s[k*2+l] * v
				}
			}
			return q, s, sc.o, sc.ll
		}
		for i := range c.theta {
			const f = 1e-4
			h := f * c.theta[i]
			d0, s, o, _ := at(i, 0)
			dp, _, _, lp := at(i, f)
			dm, _, _, lm := at(i, -f)
			if got, want := d0[i]/2*c.theta[i], (lp-lm)/(2*f); math.Abs(got-want) > 1e-6 {
				t.Errorf("plain %v: derivative %d is %.8f, differences give %.8f", plain, i, got, want)
			}
			if plain && math.Abs(d0[i]*c.theta[i]) > 1e-8 {
				t.Errorf("derivative %d is %g at the maximum", i, d0[i])
			}
			for k := range c.theta {
				got, want := o[i*2+k]-s[i*2+k]/2, -(dp[k]-dm[k])/(4*h)
				if math.Abs(got-want) > 1e-6*math.Abs(want)+1e-8 {
					t.Errorf("plain %v: information %d,%d is %.8f, differences give %.8f", plain, i, k, got, want)
				}
			}
		}
	}
}

// The prior of the shares keeps a variance off zero and is no prior of one
// variance alone.
func TestShares(t *testing.T) {
	data, _ := groupData(t, "variance_Dyestuff2.csv")
	m := Linear{Names: []string{"mean"}, Basis: func(dst, _ []float64) { dst[0] = 1 }}
	terms := []VarianceTerm{{Name: "between", Share: ByGroup}, {Name: "within", Share: Each}}
	r, err := Regress(m, data, VarianceFunction{Terms: terms}, nil)
	if err != nil {
		t.Fatal(err)
	}
	plain, err := Regress(m, data, VarianceFunction{Terms: terms, REML: true}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if r.Components[0].Variance <= 0 || plain.Components[0].Variance != 0 {
		t.Errorf("between: %g with the prior, %g plain; want positive and 0", r.Components[0].Variance, plain.Components[0].Variance)
	}
	if r.LogLik >= plain.LogLik {
		t.Errorf("restricted log-likelihood %g with the prior, %g at its maximum", r.LogLik, plain.LogLik)
	}
	one, err := Regress(m, data, VarianceFunction{Terms: terms[1:]}, nil)
	if err != nil {
		t.Fatal(err)
	}
	// The variance of a sample.
	mean, ss := 0.0, 0.0
	for i, o := range data {
		d := o.Y - mean
		mean += d / float64(i+1)
		ss += d * (o.Y - mean)
	}
	digits(t, "one variance", one.Components[0].Variance, ss/float64(len(data)-1), 9)
	// The same cause twice: the data cannot share it out.
	if _, err := Regress(m, data, VarianceFunction{Terms: append(terms, terms[1])}, nil); !errors.Is(err, ErrNotIdentified) {
		t.Errorf("twice the same term: %v, want ErrNotIdentified", err)
	}
}
