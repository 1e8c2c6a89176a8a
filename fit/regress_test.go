package fit

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
)

var ladder = []float64{0, 0.5, 1, 2, 3, 4, 6, 8, 12, 20, 40}

func simulate(seed uint64, m Model, p []float64, sd float64, reps int) []Observation {
	rng := rand.New(rand.NewPCG(seed, 1))
	var d []Observation
	for g, x := range ladder {
		for range reps {
			d = append(d, Observation{X: []float64{x}, Y: m.Eval(p, []float64{x}) + sd*rng.NormFloat64(), Group: fmt.Sprint("lot ", g)})
		}
	}
	return d
}

// Known scatter: covariance (JᵀWJ)⁻¹ without the residual SD, normal quantiles.
// The same data with Equal weights have the same estimates; the covariances
// differ by the factor s².
func TestKnownSD(t *testing.T) {
	m := Sigmoid{LogLogistic{}}
	d := simulate(1, m, []float64{80, 20, 2, 4}, 0.7, 3)
	eq, err := Regress(m, d, Equal{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	kn, err := Regress(m, d, KnownSD{0.7}, nil)
	if err != nil {
		t.Fatal(err)
	}
	for j := range eq.P {
		digits(t, "estimate", kn.P[j], eq.P[j], 10)
		digits(t, "SE", kn.SE()[j]/0.7, eq.SE()[j]/eq.SD, 9)
	}
	iv, err := kn.Wald(1, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	digits(t, "half width", (iv.Hi-iv.Lo)/2, 1.959963984540054*kn.SE()[1], 10)
	for _, bad := range []KnownSD{{}, {0}, {1, 2}, {-1}, {math.NaN()}} {
		if _, err := Regress(m, d, bad, nil); !errors.Is(err, ErrBadInput) {
			t.Errorf("KnownSD %v: error %v", bad, err)
		}
	}
}

// Relative scatter at the solution is a fixed point: weighting by the fitted
// means gives the fit back. Equal fitting of ln y agrees to first order in the
// scatter.
func TestRelative(t *testing.T) {
	m := Sigmoid{LogLogistic{}}
	p := []float64{100, 2, 1.5, 3}
	rng := rand.New(rand.NewPCG(2, 2))
	var d []Observation
	for _, x := range ladder {
		for range 4 {
			d = append(d, Observation{X: []float64{x}, Y: m.Eval(p, []float64{x}) * (1 + 0.03*rng.NormFloat64())})
		}
	}
	r, err := Regress(m, d, Relative{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	w := append([]Observation(nil), d...)
	for i := range w {
		w[i].Weight = 1 / (r.Fitted[i] * r.Fitted[i])
	}
	again, err := Regress(m, w, Equal{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	for j := range p {
		digits(t, r.Names[j], r.P[j], again.P[j], 8)
	}
	if math.Abs(r.SD-0.03) > 0.01 {
		t.Errorf("relative SD %.4f, simulated 0.03", r.SD)
	}
}

// A parameter at its bound is reported so, has a one-sided interval, and the
// others are those of a fit with it fixed there.
func TestAtBound(t *testing.T) {
	m := Sigmoid{LogLogistic{}}
	d := simulate(3, m, []float64{80, 18, 2, 4}, 0.7, 3)
	r, err := Regress(m, d, nil, &FitOptions{Bounds: map[string][2]float64{"infinite": {22, 100}}})
	if err != nil {
		t.Fatal(err)
	}
	if r.AtBound[Infinite] != -1 || r.P[Infinite] != 22 {
		t.Fatalf("at bound %v, estimates %v", r.AtBound, r.P)
	}
	said := false
	for _, w := range r.Warnings {
		said = said || strings.Contains(w.Error(), "infinite is at its lower bound")
	}
	if !said {
		t.Errorf("warnings %v", r.Warnings)
	}
	iv, err := r.Wald(Infinite, 0.95)
	if err != nil || iv.Lo != 22 || !(iv.Hi > 22) || math.IsInf(iv.Hi, 0) {
		t.Errorf("interval %+v %v", iv, err)
	}
	fixed, err := Regress(m, d, nil, &FitOptions{Fixed: map[string]float64{"infinite": 22}})
	if err != nil {
		t.Fatal(err)
	}
	for j := range r.P {
		digits(t, r.Names[j], r.P[j], fixed.P[j], 9)
	}
	if r.SE()[Infinite] != 0 || fixed.DF != len(d)-3 {
		t.Errorf("SE %v, df %d", r.SE(), fixed.DF)
	}
	// Bounds that do not bind change nothing.
	free, err := Regress(m, d, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	loose, err := Regress(m, d, nil, &FitOptions{Bounds: map[string][2]float64{"infinite": {0, 100}, "zero": {50, 90}}})
	if err != nil {
		t.Fatal(err)
	}
	for j := range free.P {
		digits(t, free.Names[j], loose.P[j], free.P[j], 9)
	}
}

// Several factors with groups: fixed shifts, and shifts shrunk by REML-like
// EM. For many groups the shrunk ones are nearer the truth.
func TestGroupShifts(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 4))
	var groups []string
	for g := range 8 {
		groups = append(groups, string(rune('A'+g)))
	}
	var errFree, errShrunk float64
	for range 12 {
		shift := make([]float64, len(groups))
		var d []Observation
		for g := range groups {
			shift[g] = 0.15 * rng.NormFloat64()
			for range 6 {
				s, tm := math.Exp(rng.Float64()*2-1), math.Exp(rng.Float64()*2+1)
				eta := 0.9*math.Log(s) + 0.7*(math.Log(tm)-2) + shift[g]
				d = append(d, Observation{X: []float64{s, tm, 40, float64(g)}, Y: 80 - 60*(LogLogistic{}).At(eta) + 1.5*rng.NormFloat64()})
			}
		}
		m, err := NewMultiFactor(LogLogistic{}, []Factor{{Name: "strength", Transform: Ln}, {Name: "time", Transform: Ln}, {Name: "temperature"}}, d)
		if err != nil {
			t.Fatal(err)
		}
		if !m.Factors[2].Dropped || m.Factors[0].Dropped {
			t.Fatalf("dropped: %+v", m.Factors)
		}
		m.Groups = groups
		fixedEnds := map[string]float64{"zero": 80, "infinite": 20}
		free, err := Regress(m, d, nil, &FitOptions{Fixed: fixedEnds})
		if err != nil {
			t.Fatal(err)
		}
		m.AllShifts = true
		sh, err := Regress(m, d, nil, &FitOptions{Fixed: fixedEnds, Shrunk: m.Shifts()})
		if err != nil {
			t.Fatal(err)
		}
		if sh.ShrinkSD <= 0 || sh.ShrinkSD > 0.5 {
			t.Errorf("shrinkage SD %g", sh.ShrinkSD)
		}
		// Compare centered shifts.
		center := func(v []float64) {
			mean := 0.0
			for _, x := range v {
				mean += x / float64(len(v))
			}
			for i := range v {
				v[i] -= mean
			}
		}
		a, b := make([]float64, len(groups)), make([]float64, len(groups))
		for g, name := range groups {
			if g > 0 {
				a[g] = free.Value(ShiftName(name))
			}
			b[g] = sh.Value(ShiftName(name))
		}
		center(a)
		center(b)
		center(shift)
		for g := range groups {
			errFree += (a[g] - shift[g]) * (a[g] - shift[g])
			errShrunk += (b[g] - shift[g]) * (b[g] - shift[g])
		}
		if math.Abs(sh.Value("strength")-0.9) > 4*sh.SE()[sh.Index("strength")] {
			t.Errorf("strength exponent %.3f ± %.3f, truth 0.9", sh.Value("strength"), sh.SE()[sh.Index("strength")])
		}
	}
	if errShrunk >= errFree {
		t.Errorf("squared error of shrunk shifts %.4f, of free ones %.4f", errShrunk, errFree)
	}
}

// The SD of shrunk group means where the scatter is known: the mean square
// between groups is n·ω² + σ², so that REML's ω² in balanced data is their
// difference over n (analysis of variance, NIST e-Handbook 3.2.3.1).
func TestShrunkWithKnownScatter(t *testing.T) {
	const groups, n, sigma = 6, 4, 0.5
	rng := rand.New(rand.NewPCG(11, 5))
	m := Func{Parameters: []Param{{Name: "mean"}}, Value: func(p, x []float64) float64 { return p[0] + p[1+int(x[0])] }}
	opt := &FitOptions{Start: make([]float64, groups+1)}
	var d []Observation
	mean := make([]float64, groups)
	for g := range groups {
		name := ShiftName(string(rune('A' + g)))
		m.Parameters = append(m.Parameters, Param{Name: name})
		opt.Shrunk = append(opt.Shrunk, name)
		shift := rng.NormFloat64()
		for range n {
			y := 3 + shift + sigma*rng.NormFloat64()
			mean[g] += y / n
			d = append(d, Observation{X: []float64{float64(g)}, Y: y})
		}
	}
	all, ss := 0.0, 0.0
	for _, v := range mean {
		all += v / groups
	}
	for _, v := range mean {
		ss += (v - all) * (v - all)
	}
	r, err := Regress(m, d, KnownSD{sigma}, opt)
	if err != nil {
		t.Fatal(err)
	}
	want := math.Sqrt(ss/(groups-1) - sigma*sigma/n)
	digits(t, "SD of the shifts", r.ShrinkSD, want, 5)
	// Means shrink by ω²/(ω² + σ²/n) towards the overall one (Henderson's BLUP).
	for g, v := range mean {
		digits(t, "shift", r.P[1+g], (v-all)*want*want/(want*want+sigma*sigma/n), 5)
	}
}

// The same with unknown scatter. Groups (1, 3), (6, 8), (5, 7), by hand: means 2, 7, 6
// around 5; mean squares 2·(9 + 4 + 1)/2 = 14 between and 6/3 = 2 within, so that σ² = 2
// and ω² = (14 − 2)/2 = 6. Means shrink by 6/(6 + 2/2), the overall one has the
// variance (6 + 2/2)/3.
func TestShrunkWithUnknownScatter(t *testing.T) {
	names := []string{"mean", "a", "b", "c"}
	m := Linear{Names: names, Basis: func(dst, x []float64) {
		clear(dst)
		dst[0], dst[1+int(x[0])] = 1, 1
	}}
	var d []Observation
	for g, ys := range [][]float64{{1, 3}, {6, 8}, {5, 7}} {
		for _, y := range ys {
			d = append(d, Observation{X: []float64{float64(g)}, Y: y})
		}
	}
	r, err := Regress(m, d, nil, &FitOptions{Shrunk: names[1:]})
	if err != nil {
		t.Fatal(err)
	}
	digits(t, "ω", r.ShrinkSD, math.Sqrt(6), 7) // EM stops at 1e-7
	digits(t, "σ", r.SD, math.Sqrt(2), 7)
	digits(t, "SE of the mean", r.SE()[0], math.Sqrt(7./3), 7)
	for j, want := range []float64{5, -3 * 6. / 7, 2 * 6. / 7, 6. / 7} {
		digits(t, names[j], r.P[j], want, 7)
	}
}

// The parametric bootstrap of a near-linear fit reproduces the standard errors;
// group resampling of groups that share a shift is wider than Wald.
func TestBootstrap(t *testing.T) {
	m := Sigmoid{LogLogistic{}}
	d := simulate(4, m, []float64{80, 20, 2, 4}, 0.5, 4)
	r, err := Regress(m, d, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	b, err := r.Bootstrap(Parametric, 1000, rand.New(rand.NewPCG(1, 1)))
	if err != nil || b.Failed > 0 {
		t.Fatal(err, b.Failed)
	}
	se := r.SE()
	for j, s := range b.SE() { // 1000 draws know an SD to 2.2 %
		if math.Abs(s/se[j]-1) > 0.1 {
			t.Errorf("%s: bootstrap SE %.4g, SE %.4g", r.Names[j], s, se[j])
		}
	}
	iv := b.Interval(Parameter(Location), 0.95)
	w, err := r.Wald(Location, 0.95)
	if err != nil || math.Abs(iv.Lo-w.Lo) > 0.2*(w.Hi-w.Lo) || math.Abs(iv.Hi-w.Hi) > 0.2*(w.Hi-w.Lo) {
		t.Errorf("bootstrap %v, Wald %v %v", iv, w, err)
	}
	// Shift whole lots: readings within a lot are no longer independent.
	rng := rand.New(rand.NewPCG(5, 5))
	shift := map[string]float64{}
	for i := range d {
		s, ok := shift[d[i].Group]
		if !ok {
			s = 2 * rng.NormFloat64()
			shift[d[i].Group] = s
		}
		d[i].Y += s
	}
	if r, err = Regress(m, d, nil, nil); err != nil {
		t.Fatal(err)
	}
	g, err := r.Bootstrap(Groups, 1000, rand.New(rand.NewPCG(2, 1)))
	if err != nil {
		t.Fatal(err)
	}
	c, err := r.Bootstrap(Cases, 1000, rand.New(rand.NewPCG(2, 1)))
	if err != nil {
		t.Fatal(err)
	}
	if g.SE()[Location] < 1.2*c.SE()[Location] {
		t.Errorf("SE of location by group %.4f, by case %.4f", g.SE()[Location], c.SE()[Location])
	}
	again, err := r.Bootstrap(Groups, 1000, rand.New(rand.NewPCG(2, 1)))
	if err != nil || !reflect.DeepEqual(again.P, g.P) {
		t.Error("the same seed gives another bootstrap")
	}
}

// Merging replicates changes no estimate.
func TestCollapsed(t *testing.T) {
	m := Sigmoid{LogLogistic{}}
	r, err := Regress(m, simulate(6, m, []float64{80, 20, 2, 4}, 0.5, 4), nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	tk, c, err := r.collapsed()
	if err != nil {
		t.Fatal(err)
	}
	mult := make([]float64, len(r.data))
	for i := range mult {
		mult[i] = 1
	}
	c.fill(tk, r, r.data, mult)
	if err := tk.solve(r.P); err != nil || len(tk.data) != len(ladder) {
		t.Fatal(err, len(tk.data))
	}
	for j := range r.P {
		digits(t, r.Names[j], tk.sol.P[j], r.P[j], 10)
	}
}

// Influence of groups: the lot with a gross error stands out.
func TestGroupInfluence(t *testing.T) {
	m := Sigmoid{LogLogistic{}}
	d := simulate(7, m, []float64{80, 20, 2, 4}, 0.5, 3)
	for i := range d {
		if d[i].Group == "lot 5" {
			d[i].Y += 8
		}
	}
	r, err := Regress(m, d, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	inf, err := r.GroupInfluences()
	if err != nil {
		t.Fatal(err)
	}
	best := 0
	for k := range inf {
		if inf[k].Largest > inf[best].Largest {
			best = k
		}
	}
	if inf[best].Group != "lot 5" || inf[best].Largest < 1 {
		t.Errorf("most influential: %+v", inf[best])
	}
	sum := 0.0
	one, err := r.Influences()
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range one {
		sum += o.Leverage
	}
	digits(t, "sum of leverages", sum, 4, 10)
}

// Inputs stay untouched by everything.
func TestInputsUntouched(t *testing.T) {
	m := Sigmoid{LogLogistic{}}
	d := simulate(8, m, []float64{80, 20, 2, 4}, 0.5, 3)
	keep := make([]Observation, len(d))
	for i := range d {
		keep[i] = d[i]
		keep[i].X = append([]float64(nil), d[i].X...)
	}
	start := []float64{75, 25, 1, 3}
	opt := &FitOptions{Start: start, Fixed: map[string]float64{"zero": 80}}
	r, err := Regress(m, d, nil, opt)
	if err != nil {
		t.Fatal(err)
	}
	exercise(t, r)
	if _, err := r.Bootstrap(Groups, 10, rand.New(rand.NewPCG(1, 1))); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(d, keep) || !reflect.DeepEqual(start, []float64{75, 25, 1, 3}) || len(opt.Fixed) != 1 || opt.Solver.Fixed != nil {
		t.Error("an input was changed")
	}
}

// All families start themselves on data of their own, rising and falling.
func TestSelfStart(t *testing.T) {
	for _, c := range []Curve{LogLogistic{}, Weibull1{}, Weibull2{}, LogNormal{}, FirstOrder{}, OrderM{2}, Richards{1}} {
		for seed, p := range [][]float64{{80, 20, 2, 4}, {20, 80, 2, 4}, {80, 20, 0.9, 10}, {0.01, 0.9, 6, 2}, {-50, 3000, 3, 1}} {
			m := Sigmoid{c}
			truth := append([]float64(nil), p...)
			if s, ok := c.(ShapedCurve); ok {
				truth = append(truth, s.Shape())
			}
			sd := 0.005 * math.Abs(p[0]-p[1])
			d := simulate(uint64(seed), m, truth, sd, 4)
			r, err := Regress(m, d, nil, nil)
			if err != nil && !(len(truth) > Shape && errors.Is(err, ErrNotIdentified)) {
				t.Errorf("%s %v: %v", c.Name(), truth, err)
				continue
			}
			// The fit must be as good as the truth.
			rss := 0.0
			for _, o := range d {
				e := o.Y - m.Eval(truth, o.X)
				rss += e * e
			}
			if r.RSS > rss {
				t.Errorf("%s %v: RSS %g, of the truth %g", c.Name(), truth, r.RSS, rss)
			}
		}
	}
}
