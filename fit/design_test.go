package fit

import (
	"errors"
	"math"
	"sort"
	"testing"

	"example.com/dosetone/datasets/published"
)

// Locally D-optimal designs in closed form and verified numerically.
func TestOptimalDesigns(t *testing.T) {
	var ref struct {
		Designs []struct {
			Name       string
			Parameters map[string]float64
			Region     []float64
			RegionU    []float64 `json:"region_u"`
			Support    []float64
			SupportU   []float64 `json:"support_u"`
			Weights    []float64
			LogDet     *float64 `json:"log_det_information"`
			P          int
		}
	}
	if err := published.StatJSON("optimal_design.json", &ref); err != nil {
		t.Fatal(err)
	}
	exp := math.Exp
	fn := func(f func(p, x []float64) float64, names ...string) Model {
		m := Func{Value: f}
		for _, n := range names {
			m.Parameters = append(m.Parameters, Param{Name: n})
		}
		return m
	}
	done := 0
	for _, d := range ref.Designs {
		var m Model
		var p []float64
		get := func(names ...string) {
			for _, n := range names {
				p = append(p, d.Parameters[n])
			}
		}
		region, support := d.Region, d.Support
		free := []int(nil)
		switch {
		case contains(d.Name, "michaelis"):
			m = fn(func(p, x []float64) float64 { return p[0] * x[0] / (p[1] + x[0]) }, "V", "K")
			get("V", "K")
		case contains(d.Name, "one_parameter"):
			m = fn(func(p, x []float64) float64 { return exp(-p[0] * x[0]) }, "k")
			get("k")
		case contains(d.Name, "exp_decay"):
			m = fn(func(p, x []float64) float64 { return p[0] * exp(-p[1]*x[0]) }, "a", "k")
			get("a", "k")
		case contains(d.Name, "first_order"):
			m = fn(func(p, x []float64) float64 { return -p[0] * math.Expm1(-p[1]*x[0]) }, "A", "k")
			get("A", "k")
		case contains(d.Name, "exp_plateau"):
			m = fn(func(p, x []float64) float64 { return p[0] + (p[1]-p[0])*exp(-p[2]*x[0]) }, "c", "d", "k")
			get("c", "d", "k")
		case contains(d.Name, "emax"):
			m = fn(func(p, x []float64) float64 { return p[0] + p[1]*x[0]/(p[2]+x[0]) }, "E0", "Emax", "ED50")
			get("E0", "Emax", "ED50")
		case contains(d.Name, "LL4_dose"):
			m = Sigmoid{LogLogistic{}}
			get("d", "c", "b", "e")
		case d.RegionU != nil:
			// Dose e^u with slope and location 1: η = u.
			p = []float64{0, 1, 1, 1}
			region, support = d.RegionU, d.SupportU
			switch {
			case contains(d.Name, "LN4"):
				m = Sigmoid{LogNormal{}}
			case contains(d.Name, "W4"):
				m = Sigmoid{Weibull1{}}
			default:
				m = Sigmoid{LogLogistic{}}
			}
			if contains(d.Name, "LL3") {
				free = []int{Infinite, Slope, Location}
			}
		default:
			continue // binary responses have another information
		}
		done++
		t.Run(d.Name, func(t *testing.T) {
			// A grid of 400 and the published support.
			var xs []float64
			for k := 0; k <= 400; k++ {
				xs = append(xs, region[0]+(region[1]-region[0])*float64(k)/400)
			}
			if region[1]-region[0] > 20 && d.RegionU != nil { // the action is around 0
				for k := -200; k <= 200; k++ {
					if u := float64(k) / 50; u > region[0] && u < region[1] {
						xs = append(xs, u)
					}
				}
			}
			xs = append(xs, support...)
			sort.Float64s(xs)
			var set [][]float64
			at := map[float64]int{}
			for _, x := range xs {
				if _, ok := at[x]; ok {
					continue
				}
				at[x] = len(set)
				if d.RegionU != nil {
					set = append(set, []float64{exp(x)})
				} else {
					set = append(set, []float64{x})
				}
			}
			keys := make([]float64, len(set))
			for x, k := range at {
				keys[k] = x
			}
			cand, err := Candidates(m, [][]float64{p}, set, nil, free)
			if err != nil {
				t.Fatal(err)
			}
			// Exact design with two points per parameter: pairs on the support.
			ex, err := Exchange(D{}, cand, nil, 2*d.P)
			if err != nil {
				t.Fatal(err)
			}
			var got []float64
			for _, k := range ex.Points {
				got = append(got, keys[k])
			}
			for i, x := range support {
				for _, g := range []float64{got[2*i], got[2*i+1]} {
					if math.Abs(g-x) > 1e-6*math.Max(1, math.Abs(x)) && !(d.RegionU != nil && math.Abs(x) >= 5 && math.Abs(g) >= 3.5) {
						t.Errorf("point %g, want %g (design %v)", g, x, got)
					}
				}
			}
			if d.LogDet != nil {
				if v := -ex.Value - float64(d.P)*math.Log(2*float64(d.P)); math.Abs(v-*d.LogDet) > 1e-8*math.Max(1, math.Abs(*d.LogDet)) {
					t.Errorf("ln det of the normalized information %.10g, want %.10g", v, *d.LogDet)
				}
			}
			// Equivalence theorem on the published support and weights.
			var sup []Candidate
			for _, x := range support {
				sup = append(sup, cand[at[x]])
			}
			v, err := Sensitivity(sup, d.Weights, cand)
			if err != nil {
				t.Fatal(err)
			}
			top := 0.0
			for _, s := range v {
				top = math.Max(top, s)
			}
			if math.Abs(top-float64(d.P)) > 1e-4 {
				t.Errorf("largest standardized variance %.6f, want %d", top, d.P)
			}
			w, err := DesignWeights(cand, 1e-5)
			if err != nil {
				t.Fatal(err)
			}
			for i, x := range support {
				near := 0.0
				for k, wk := range w {
					if math.Abs(keys[k]-x) < 0.02*(region[1]-region[0]) {
						near += wk
					}
				}
				if math.Abs(near-d.Weights[i]) > 0.01 && !(d.RegionU != nil && math.Abs(x) >= 5) {
					t.Errorf("weight near %g is %.4f, want %g", x, near, d.Weights[i])
				}
			}
		})
	}
	if done < 20 {
		t.Errorf("only %d designs compared", done)
	}
}

func TestDesignWeightsErrors(t *testing.T) {
	// A parabola at places among which the best three, the ends and the
	// middle, are not: the exchanges must share the middle between two.
	var xs [][]float64
	for _, x := range []float64{-1, -0.6, -0.13, 0.11, 0.5, 1} {
		xs = append(xs, []float64{x})
	}
	cand, err := Candidates(Polynomial(2), [][]float64{{0, 0, 0}}, xs, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := DesignWeights(nil, 0); !errors.Is(err, ErrBadInput) {
		t.Errorf("no candidates: %v", err)
	}
	for _, tol := range []float64{-1, 1, math.NaN()} {
		if _, err := DesignWeights(cand, tol); !errors.Is(err, ErrBadInput) {
			t.Errorf("tolerance %g: %v", tol, err)
		}
	}
	for _, c := range [][2][]Candidate{{nil, cand}, {cand, nil}} {
		if _, err := Sensitivity(c[0], make([]float64, len(c[0])), c[1]); !errors.Is(err, ErrBadInput) {
			t.Errorf("sensitivity of %d settings at %d: %v", len(c[0]), len(c[1]), err)
		}
	}
	// The largest sensitivity is the number of parameters for the optimum, and
	// for no other design (J. Kiefer, J. Wolfowitz, Canad. J. Math. 12 (1960) 363).
	excess := func(w []float64) float64 {
		v, err := Sensitivity(cand, w, cand)
		if err != nil {
			t.Fatal(err)
		}
		top := 0.0
		for _, s := range v {
			top = math.Max(top, s)
		}
		return top - 3
	}
	short, err := designWeights(cand, 1e-6, 1)
	if !errors.Is(err, ErrNotConverged) || short == nil || !(excess(short) > 3e-6) {
		t.Errorf("after one exchange: %v, %v", short, err)
	}
	w, err := DesignWeights(cand, 1e-6)
	if err != nil || excess(w) > 4e-6 {
		t.Errorf("weights %v: %v", w, err)
	}
}

func contains(s, sub string) bool {
	for i := 0; i+len(sub) <= len(s); i++ {
		if s[i:i+len(sub)] == sub {
			return true
		}
	}
	return false
}

// C and I designs and the use of points already run, against enumeration of
// all designs of 4 among 9 candidates.
func TestExchangeAgainstEnumeration(t *testing.T) {
	m := Sigmoid{LogLogistic{}}
	p := []float64{80, 20, 2, 5}
	var xs [][]float64
	for k := range 9 {
		xs = append(xs, []float64{math.Exp(0.45*float64(k)) - 0.9})
	}
	cand, err := Candidates(m, [][]float64{p, {80, 20, 1.5, 8}}, xs, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	ed := EffectiveDose(m, 0.5)
	g := make([]float64, 4)
	ed.Grad(g, p)
	done := cand[2:3]
	for name, c := range map[string]Criterion{"D": D{}, "C": C{g}, "I": I(cand)} {
		got, err := Exchange(c, cand, done, 5)
		if err != nil {
			t.Fatal(err)
		}
		e, err := newExchanger(c, cand, done)
		if err != nil {
			t.Fatal(err)
		}
		best := math.Inf(1)
		var bestP []int
		pts := make([]int, 5)
		var rec func(i, from int)
		rec = func(i, from int) {
			if i == 5 {
				if v := e.value(e.information(pts), 0); v < best {
					best, bestP = v, append([]int(nil), pts...)
				}
				return
			}
			for k := from; k < len(cand); k++ {
				pts[i] = k
				rec(i+1, k)
			}
		}
		rec(0, 0)
		if got.Value > best+1e-9 {
			t.Errorf("%s: exchange %v value %.9g, enumeration %v value %.9g", name, got.Points, got.Value, bestP, best)
		}
		if !math.IsInf(got.Before, 1) {
			t.Errorf("%s: one point run determines four parameters: %g", name, got.Before)
		}
	}
	if _, err := Exchange(D{}, cand[:1], nil, 4); err == nil {
		t.Error("no error for a single candidate")
	}
}
