package fit

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// lineFit is a straight line through ten scattered points.
func lineFit(t testing.TB) *Result {
	t.Helper()
	data := make([]Observation, 10)
	for i := range data {
		x := float64(i)
		data[i] = Observation{X: []float64{x}, Y: 3 + 2*x + 0.3*math.Sin(7*x)}
	}
	r, err := Regress(Polynomial(1), data, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// noLevels are what a caller may take for a level: percent, 1 for "all", NaN
// of a quotient. 1 would mean an infinite interval.
func noLevels() []float64 { return []float64{math.NaN(), math.Inf(1), -0.95, 0, 1, 5, 95} }

// wantError wants an error of the given kind that names what is wrong.
func wantError(t *testing.T, what string, err, kind error, names string) {
	t.Helper()
	if !errors.Is(err, kind) || !strings.Contains(err.Error(), names) {
		t.Errorf("%s: error %v, want one of %q that names %q", what, err, kind, names)
	}
}

func TestWrongLevelsAreErrors(t *testing.T) {
	r := lineFit(t)
	fixed, err := Regress(Polynomial(1), r.data, nil, &FitOptions{Fixed: map[string]float64{"b0": 3}})
	if err != nil {
		t.Fatal(err)
	}
	inv := Inverse{Result: r, Lo: -5, Hi: 15}
	target := Target{Y: 10, M: 1}
	for name, f := range map[string]func(level float64) error{
		"Wald":             func(l float64) error { _, err := r.Wald(1, l); return err },
		"Wald, fixed":      func(l float64) error { _, err := fixed.Wald(0, l); return err },
		"Profile":          func(l float64) error { _, err := r.Profile(1, l); return err },
		"Profile, fixed":   func(l float64) error { _, err := fixed.Profile(0, l); return err },
		"Delta":            func(l float64) error { _, _, _, err := r.Delta(Parameter(1), l); return err },
		"ProfileDerived":   func(l float64) error { _, err := r.ProfileDerived(Parameter(1), l); return err },
		"ConfidenceBand":   func(l float64) error { _, err := r.ConfidenceBand([]float64{3}, l); return err },
		"PredictionBand":   func(l float64) error { _, err := r.PredictionBand([]float64{3}, 1, l); return err },
		"Inverse.Delta":    func(l float64) error { _, _, _, err := inv.Delta(target, l); return err },
		"Inverse.Fieller":  func(l float64) error { _, err := inv.Fieller(target, l); return err },
		"Inverse.Band":     func(l float64) error { _, err := inv.Band(target, l); return err },
		"Inverse.Profile":  func(l float64) error { _, err := inv.Profile(target, l); return err },
		"Grubbs":           func(l float64) error { _, _, _, err := Grubbs([]float64{1, 2, 3, 9}, l); return err },
		"Grubbs, all same": func(l float64) error { _, _, _, err := Grubbs([]float64{2, 2, 2}, l); return err },
		"Outliers":         func(l float64) error { _, err := r.Outliers(l); return err },
	} {
		if err := f(0.9); err != nil {
			t.Errorf("%s at 0.9: %v", name, err)
		}
		for _, level := range noLevels() {
			wantError(t, name, f(level), ErrBadInput, "level")
		}
	}
}

func TestWrongPlacesAreErrors(t *testing.T) {
	r := lineFit(t)
	for _, j := range []int{-1, 2, 9} {
		_, err := r.Wald(j, 0.95)
		wantError(t, "Wald", err, ErrBadInput, "parameter")
		_, err = r.Profile(j, 0.95)
		wantError(t, "Profile", err, ErrBadInput, "parameter")
	}
	for _, x := range [][]float64{nil, {1, 2}} {
		_, err := r.ConfidenceBand(x, 0.95)
		wantError(t, "ConfidenceBand", err, ErrBadInput, "predictors")
		_, err = r.PredictionBand(x, 1, 0.95)
		wantError(t, "PredictionBand", err, ErrBadInput, "predictors")
	}
	nan := []float64{math.NaN()}
	_, err := r.ConfidenceBand(nan, 0.95)
	wantError(t, "ConfidenceBand", err, ErrNonFinite, "predictor 0")
	_, err = r.PredictionBand(nan, 1, 0.95)
	wantError(t, "PredictionBand", err, ErrNonFinite, "predictor 0")
	for _, m := range []int{-1, 0} {
		_, err := r.PredictionBand([]float64{3}, m, 0.95)
		wantError(t, "PredictionBand", err, ErrBadInput, "observations")
	}
	_, _, _, err = r.Delta(Derived{Name: "half life"}, 0.95)
	wantError(t, "Delta", err, ErrBadInput, "half life")
	_, err = r.ProfileDerived(Derived{Name: "half life"}, 0.95)
	wantError(t, "ProfileDerived", err, ErrBadInput, "half life")
}

// A mean alone has no predictors, and a band at nil.
func TestBandOfAMeanNeedsNoPredictors(t *testing.T) {
	r, err := NestedVariance([]Observation{{Y: 1}, {Y: 2}, {Y: 4}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := r.ConfidenceBand(nil, 0.95); err != nil {
		t.Error(err)
	}
}

func TestWrongInversesAreErrors(t *testing.T) {
	one := lineFit(t)
	plane := Linear{Names: []string{"b0", "b1", "b2"}, Basis: func(dst, x []float64) { dst[0], dst[1], dst[2] = 1, x[0], x[1] }}
	var data []Observation
	for i := range 12 {
		x := []float64{float64(i % 4), float64(i / 4)}
		data = append(data, Observation{X: x, Y: 1 + 2*x[0] + 3*x[1] + 0.2*math.Sin(5*float64(i))})
	}
	two, err := Regress(plane, data, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	good := Target{Y: 8, M: 1}
	for name, c := range map[string]struct {
		inv    Inverse
		target Target
		kind   error
		names  string
	}{
		"no result":          {Inverse{Hi: 10}, good, ErrBadInput, "Result"},
		"axis of none":       {Inverse{Result: one, Axis: 3, Hi: 10}, good, ErrBadInput, "Axis 3"},
		"negative axis":      {Inverse{Result: one, Axis: -1, Hi: 10}, good, ErrBadInput, "Axis -1"},
		"axis beyond At":     {Inverse{Result: two, Axis: 2, At: []float64{1, 1}, Hi: 10}, good, ErrBadInput, "Axis 2"},
		"no At":              {Inverse{Result: two, Axis: 1, Hi: 10}, good, ErrBadInput, "At"},
		"short At":           {Inverse{Result: two, At: []float64{1}, Hi: 10}, good, ErrBadInput, "At"},
		"NaN in At":          {Inverse{Result: two, At: []float64{0, math.NaN()}, Hi: 10}, good, ErrNonFinite, "At"},
		"NaN target":         {Inverse{Result: one, Hi: 10}, Target{Y: math.NaN()}, ErrNonFinite, "NaN"},
		"negative M":         {Inverse{Result: one, Hi: 10}, Target{Y: 8, M: -1}, ErrBadInput, "-1 observations"},
		"negative pooled SS": {Inverse{Result: one, Hi: 10}, Target{Y: 8, PooledSS: -1, PooledDF: 2}, ErrBadInput, "pooled"},
	} {
		_, _, _, err := c.inv.Delta(c.target, 0.95)
		wantError(t, name+", Delta", err, c.kind, c.names)
		_, err = c.inv.Fieller(c.target, 0.95)
		wantError(t, name+", Fieller", err, c.kind, c.names)
		_, err = c.inv.Band(c.target, 0.95)
		wantError(t, name+", Band", err, c.kind, c.names)
		_, err = c.inv.Profile(c.target, 0.95)
		wantError(t, name+", Profile", err, c.kind, c.names)
		if c.target == good || math.IsNaN(c.target.Y) {
			_, err = c.inv.Estimate(c.target.Y)
			wantError(t, name+", Estimate", err, c.kind, c.names)
		}
	}
	_, err = Inverse{Result: one, Lo: math.Inf(-1), Hi: 10}.Estimate(8)
	wantError(t, "infinite range", err, ErrNonFinite, "range")
	// What At holds at Axis itself does not matter.
	if x, err := (Inverse{Result: two, Axis: 1, At: []float64{1, math.NaN()}, Hi: 10}).Estimate(8); err != nil || math.Abs(x-5./3) > 0.2 {
		t.Errorf("two predictors: %g, %v", x, err)
	}
}

// wantPanic wants a panic whose message names the function and the argument.
func wantPanic(t *testing.T, names string, f func()) {
	t.Helper()
	defer func() {
		t.Helper()
		v := recover()
		if s, ok := v.(string); !ok || !strings.HasPrefix(s, names) {
			t.Errorf("panic %v, want one that begins with %q", v, names)
		}
	}()
	f()
}

func TestWrongArgumentsPanicWithTheirName(t *testing.T) {
	r := lineFit(t)
	b, err := r.Bootstrap(Cases, 20, rand.New(rand.NewPCG(1, 1)))
	if err != nil {
		t.Fatal(err)
	}
	a, err := NewOneWay([][]float64{{1, 2}, {3, 5}})
	if err != nil {
		t.Fatal(err)
	}
	for _, level := range noLevels() {
		wantPanic(t, "fit: Bootstrap.Interval: level", func() { b.Interval(Parameter(0), level) })
		wantPanic(t, "fit: OneWay.WithinInterval: level", func() { a.WithinInterval(level) })
		wantPanic(t, "fit: OneWay.RatioInterval: level", func() { a.RatioInterval(level) })
		wantPanic(t, "fit: GrubbsCritical: alpha", func() { GrubbsCritical(5, level) })
	}
	for _, n := range []int{-1, 0, 2} {
		wantPanic(t, "fit: GrubbsCritical: n =", func() { GrubbsCritical(n, 0.05) })
	}
	wantPanic(t, "fit: Mean: x has 0 predictors", func() { r.Mean(nil) })
	wantPanic(t, "fit: Mean: x has 2 predictors", func() { r.Mean([]float64{1, 2}) })
	wantPanic(t, "fit: Parameter: j = -1", func() { Parameter(-1) })
	wantPanic(t, "fit: Parameter: j = 9", func() { b.Interval(Parameter(9), 0.95) })
	wantPanic(t, "fit: Parameter: j = 9", func() { _, _, _, _ = r.Delta(Parameter(9), 0.95) })
}

func TestBootstrapOfWrongArgumentsIsAnError(t *testing.T) {
	r := lineFit(t)
	rng := rand.New(rand.NewPCG(1, 1))
	for _, n := range []int{-5, 0} {
		_, err := r.Bootstrap(Parametric, n, rng)
		wantError(t, "Bootstrap", err, ErrBadInput, "n =")
	}
	_, err := r.Bootstrap(Resampling(7), 20, rng)
	wantError(t, "Bootstrap", err, ErrBadInput, "kind 7")
	_, err = r.Bootstrap(Cases, 20, nil)
	wantError(t, "Bootstrap", err, ErrBadInput, "rng")
}

func TestWrongDesignsAreErrors(t *testing.T) {
	line := Polynomial(1)
	xs := [][]float64{{0}, {1}, {2}}
	one := []float64{0, 1}
	unit := func(v float64) func(p, x []float64) float64 { return func(_, _ []float64) float64 { return v } }
	for name, f := range map[string]func() error{
		"short scenario": func() error { _, err := Candidates(line, [][]float64{{0}}, xs, nil, nil); return err },
		"free beyond":    func() error { _, err := Candidates(line, [][]float64{one}, xs, nil, []int{2}); return err },
		"free below":     func() error { _, err := Candidates(line, [][]float64{one}, xs, nil, []int{-1}); return err },
		"no scatter":     func() error { _, err := Candidates(line, [][]float64{one}, xs, unit(0), nil); return err },
		"negative SD":    func() error { _, err := Candidates(line, [][]float64{one}, xs, unit(-1), nil); return err },
	} {
		wantError(t, name, f(), ErrBadInput, "fit:")
	}
	at := func(scenarios ...[]float64) []Candidate {
		c, err := Candidates(line, scenarios, xs, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	cand, twice := at(one), at(one, one)
	mixed := append(at(one), twice[0])
	narrow := append(at(one), Candidate{X: []float64{1}, G: [][]float64{{1}}})
	for name, c := range map[string]struct {
		c          Criterion
		cand, done []Candidate
		names      string
	}{
		"no criterion":         {nil, cand, nil, "criterion"},
		"mixed scenarios":      {D{}, mixed, nil, "candidate 3"},
		"mixed parameters":     {D{}, narrow, nil, "candidate 3"},
		"run in two scenarios": {D{}, cand, twice, "run setting 0"},
		"C of none":            {C{}, cand, nil, "criterion C"},
		"C of two for three":   {C{one, one}, at(one, one, one), nil, "criterion C"},
		"C too long":           {C{{0, 1, 2}}, cand, nil, "criterion C"},
		"I of none":            {I{}, cand, nil, "criterion I"},
		"I of two scenarios":   {I(twice), cand, nil, "criterion I"},
	} {
		_, err := Exchange(c.c, c.cand, c.done, 3)
		wantError(t, name, err, ErrBadInput, c.names)
	}
	_, err := Exchange(D{}, []Candidate{{G: [][]float64{{1, math.NaN()}}}}, nil, 3)
	wantError(t, "NaN", err, ErrNonFinite, "candidate 0")
	_, err = DesignWeights(twice, 0)
	wantError(t, "DesignWeights", err, ErrBadInput, "one scenario")
	_, err = DesignWeights(mixed, 0)
	wantError(t, "DesignWeights", err, ErrBadInput, "candidate 3")
	_, err = Sensitivity(cand, []float64{1, 1, -1}, cand)
	wantError(t, "Sensitivity", err, ErrBadInput, "weight 2")
	_, err = Sensitivity(twice, []float64{1, 1, 1}, cand)
	wantError(t, "Sensitivity", err, ErrBadInput, "support")
}

func TestWrongChartsAreErrors(t *testing.T) {
	for _, e := range []EWMA{
		{Sigma: 1, Lambda: 0.2, K: -3}, {Sigma: 1, Lambda: 0.2, K: math.NaN()},
		{Target: math.NaN(), Sigma: 1, Lambda: 0.2}, {Target: math.Inf(1), Sigma: 1, Lambda: 0.2},
	} {
		_, err := e.Run([]float64{1, 2})
		wantError(t, "EWMA", err, ErrBadInput, "EWMA")
	}
}

func TestWrongOptionsAreErrors(t *testing.T) {
	line, data := Polynomial(1), lineFit(t).data
	nan, inf := math.NaN(), math.Inf(1)
	for name, c := range map[string]struct {
		m     Model
		w     Weights
		opt   FitOptions
		kind  error
		names string
	}{
		"no model":       {nil, nil, FitOptions{}, ErrBadInput, "model"},
		"Starts":         {line, nil, FitOptions{Starts: -1}, ErrBadInput, "Starts"},
		"Huber":          {line, nil, FitOptions{Loss: Huber{-1}}, ErrBadInput, "K = -1"},
		"Tukey":          {line, nil, FitOptions{Loss: Tukey{nan}}, ErrBadInput, "K = NaN"},
		"fixed NaN":      {line, nil, FitOptions{Fixed: map[string]float64{"b0": nan}}, ErrNonFinite, `"b0"`},
		"fixed infinite": {line, nil, FitOptions{Fixed: map[string]float64{"b0": inf}}, ErrNonFinite, `"b0"`},
		"endless prior":  {line, nil, FitOptions{Priors: map[string]Prior{"b0": {0, inf}}}, ErrBadInput, `"b0"`},
		"prior at NaN":   {line, nil, FitOptions{Priors: map[string]Prior{"b0": {nan, 1}}}, ErrNonFinite, `"b0"`},
		"MaxIter":        {line, nil, FitOptions{Solver: Options{MaxIter: -1}}, ErrBadInput, "MaxIter"},
		"Tol":            {line, nil, FitOptions{Solver: Options{Tol: nan}}, ErrBadInput, "Tol"},
		"StepBound":      {line, nil, FitOptions{Solver: Options{StepBound: -1}}, ErrBadInput, "StepBound"},
		"shape":          {line, VarianceFunction{Terms: []VarianceTerm{{Name: "a", Shape: 9}}}, FitOptions{}, ErrBadInput, `"a"`},
		"sharing":        {line, VarianceFunction{Terms: []VarianceTerm{{Name: "a", Share: -1}}}, FitOptions{}, ErrBadInput, `"a"`},
	} {
		_, err := Regress(c.m, data, c.w, &c.opt)
		wantError(t, name, err, c.kind, c.names)
	}
	sd := make(KnownSD, len(data))
	for i := range sd {
		sd[i] = 1 + float64(i)
	}
	r, err := Regress(line, data, sd, nil)
	if err != nil {
		t.Fatal(err)
	}
	_, err = Inverse{Result: r, Lo: -5, Hi: 15}.Profile(Target{Y: 10, M: 1}, 0.95)
	wantError(t, "profile of a new observation", err, ErrBadInput, "one known SD")
}
