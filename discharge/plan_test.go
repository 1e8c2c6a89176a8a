package discharge

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"example.com/dosetone/internal/quantile"
)

// Conditioning lot by lot must give what Bayesian linear regression gives in
// one step: with unit normal weights on the features, the posterior covariance
// is (I + Σ φφᵀ/v)⁻¹ (the textbook normal equations).
func TestConditioningIsBayesianRegression(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const lots, aims, features = 12, 3, 5
	g := &learning{lots: lots, span: 60}
	for k := range lots + aims {
		phi := make([]float64, features)
		for j := range phi {
			phi[j] = rng.NormFloat64()
		}
		g.phi = append(g.phi, phi)
		if k < lots {
			g.noise = append(g.noise, 0.1+rng.Float64())
		} else {
			g.weight, g.shares = append(g.weight, 4), append(g.shares, 1.0/aims)
		}
	}
	chosen := []int{3, 3, 7, 10}
	got := g.covariance(chosen)
	prec := mat.NewSymDense(features, nil)
	for j := range features {
		prec.SetSym(j, j, 1)
	}
	for _, c := range chosen {
		prec.SymRankOne(prec, 1/g.noise[c], mat.NewVecDense(features, g.phi[c]))
	}
	var chol mat.Cholesky
	require.True(t, chol.Factorize(prec))
	var post mat.SymDense
	require.NoError(t, chol.InverseTo(&post))
	mean := 0.0
	for a := lots; a < lots+aims; a++ {
		v := mat.NewVecDense(features, g.phi[a])
		want := mat.Inner(v, &post, v)
		assert.InDelta(t, want, got[a][a], 1e-9)
		mean += want / aims
	}
	assert.InDelta(t, quantile.Normal(0.975)*60*math.Sqrt(mean), g.halfWidth(chosen).L, 1e-7)

	// No pair of candidates may beat the chosen one by more than a local
	// optimum may lose.
	value := func(c []int) float64 {
		k, sum := g.covariance(c), 0.0
		for i, w := range g.weight {
			sum += w * k[lots+i][lots+i]
		}
		return sum
	}
	best := math.Inf(1)
	for a := range lots {
		for b := range lots {
			best = math.Min(best, value([]int{a, b}))
		}
	}
	assert.LessOrEqual(t, value(g.choose(t.Context(), 2)), 1.02*best)
}

// What is known before trials, told as observations, adds up to its precision: the
// information of independent observations is the sum of their outer products.
func TestKnowledgeAsObservations(t *testing.T) {
	b := newBasis([]doseFactor{
		{Column: "strength_gpl", Transform: Log, Raises: true, Lo: -0.4, Hi: 0.4},
		{Column: "liquor_ratio", Transform: Log, Monotone: true, Lo: -0.4, Hi: 0.4},
		{Column: timeColumn, Transform: Log, Raises: true, Lo: -0.7, Hi: 0.7},
	}, 3)
	p := priorOfPlan(&b)
	n := b.terms()
	sum := make([]float64, n*n)
	for _, o := range p.observations() {
		require.Len(t, o.G, scenarios)
		for i, u := range o.G[scenarios-1] {
			for j, v := range o.G[scenarios-1] {
				sum[i*n+j] += u * v
			}
		}
	}
	assert.InDeltaSlice(t, p.precision, sum, 1e-8)
}

func TestFirstPlans(t *testing.T) {
	for _, p := range Processes() {
		plan, err := FirstPlan(p, nil)
		require.NoError(t, err, p.ID)
		trials := plan.Trials()
		require.Len(t, trials, 12, p.ID)
		require.NotEmpty(t, plan.Warnings, "%s: ranges were guessed", p.ID)
		repeats := 0
		levels := map[string]map[float64]bool{}
		for i, s := range trials {
			for column, v := range s {
				if levels[column] == nil {
					levels[column] = map[float64]bool{}
				}
				levels[column][v] = true
			}
			require.NoError(t, p.Check(s), p.ID)
			require.Empty(t, p.Unusual(s), p.ID)
			for _, other := range trials[:i] {
				if assert.ObjectsAreEqual(s, other) {
					repeats++
				}
			}
		}
		require.GreaterOrEqual(t, repeats, 1, "%s: lot scatter needs a replicate", p.ID)
		for column, values := range levels {
			require.GreaterOrEqual(t, len(values), 3, "%s: how %s bends shows at three levels or more", p.ID, column)
		}
		for i, l := range plan.Lots {
			require.Equal(t, i+1, l.Run)
			require.NotEmpty(t, l.ID)
		}
		require.Equal(t, Base, plan.Lots[0].Role)
		require.Equal(t, White, plan.Lots[len(plan.Lots)-1].Role)
	}
}

func TestFirstPlanFollowsOrders(t *testing.T) {
	p, err := LookupProcess("permanganate-pellet")
	require.NoError(t, err)
	opt := &PlanOptions{Lots: 9, Seed: 5,
		Bounds:    map[string]Range{"ratio": {Lo: 1.5, Hi: 1.5}, "time_min": {Lo: 7, Hi: 21}, "moisture_pct": {Lo: 30, Hi: 50}},
		Available: map[string][]float64{"strength_pct": {8, 4, 6}}}
	a, err := FirstPlan(p, opt)
	require.NoError(t, err)
	b, err := FirstPlan(p, opt)
	require.NoError(t, err)
	require.Equal(t, a, b)
	ends := map[float64]bool{}
	for _, s := range a.Trials() {
		require.Equal(t, 1.5, s["ratio"])
		require.Contains(t, []float64{4, 6, 8}, s["strength_pct"])
		require.True(t, opt.Bounds["moisture_pct"].Contains(s["moisture_pct"]))
		ends[s["time_min"]] = true
	}
	require.True(t, ends[7] && ends[21], "the ends of the bounds are run as given")
	opt.Seed = 6
	c, err := FirstPlan(p, opt)
	require.NoError(t, err)
	require.NotEqual(t, a.Trials(), c.Trials(), "another seed, another order")
	require.ElementsMatch(t, a.Trials(), c.Trials(), "but the same lots")

	for _, bad := range []*PlanOptions{
		{Lots: 3}, {Lots: -1}, {Lots: 1000}, {Target: &Target{}},
		{Bounds: map[string]Range{"liquor_ratio": {Lo: 1, Hi: 2}}},
		{Bounds: map[string]Range{"time_min": {Lo: 0, Hi: 2}}},
		{Bounds: map[string]Range{"time_min": {Lo: math.NaN(), Hi: 2}}},
		{Bounds: map[string]Range{"time_min": {Lo: 3, Hi: 2}}},
		{Available: map[string][]float64{"strength_pct": {-1}}},
		{Available: map[string][]float64{"strength_pct": {2}}, Bounds: map[string]Range{"strength_pct": {Lo: 4, Hi: 6}}},
		{Bounds: map[string]Range{"strength_pct": {Lo: 4, Hi: 4}, "ratio": {Lo: 1, Hi: 1}, "time_min": {Lo: 9, Hi: 9}}},
	} {
		_, err := FirstPlan(p, bad)
		require.Error(t, err, "%+v", bad)
	}
}

// A second plan goes on counting, so that its lots can stand in one file with
// those of the first.
func TestPlansGoOnCounting(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	m.trials[0].ID, m.trials[1].ID = "N01", "N03"
	plan, err := m.Plan(&PlanOptions{Lots: 3, Seed: 1})
	require.NoError(t, err)
	var ids []string
	for _, l := range plan.Lots {
		ids = append(ids, l.ID)
	}
	assert.ElementsMatch(t, []string{"N02", "N04", "N05"}, ids)
}

// Lists of any length give a plan from some of their values. With all of them
// the covariances of these candidates would take gigabytes.
func TestLongListsAreThinned(t *testing.T) {
	p, err := LookupProcess("permanganate-pellet")
	require.NoError(t, err)
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	var list []float64
	for i := range 3001 {
		list = append(list, 3+float64(i)/500)
	}
	opt := &PlanOptions{Lots: 6, Available: map[string][]float64{"strength_pct": list}}
	first, err := FirstPlan(p, opt)
	require.NoError(t, err)
	next, err := m.Plan(opt)
	require.NoError(t, err)
	opt.Target = &Target{ID: "T", Viewing: m.Viewing(), Lab: m.ShadeAt(0.5)}
	toTarget, err := m.Plan(opt)
	require.NoError(t, err)
	for _, plan := range []*Plan{first, next, toTarget} {
		require.Contains(t, strings.Join(plan.Warnings, "\n"), "available values of strength_pct are more than a plan can weigh")
		require.Len(t, plan.Trials(), 6)
		for _, s := range plan.Trials() {
			require.Contains(t, list, s["strength_pct"])
		}
	}
	factors := make([]planFactor, 3)
	var thinned Plan
	for j, f := range []string{"strength_pct", "ratio", "time_min"} {
		factor, _ := p.Factor(f)
		factors[j], err = newPlanFactor(factor, Range{Lo: 3, Hi: 9}, list[:300], 7)
		require.NoError(t, err)
	}
	thinned.thin(factors)
	require.LessOrEqual(t, len(grid(factors)), maxPlanPoints)
	for _, f := range factors {
		require.Equal(t, []float64{3, list[299]}, []float64{f.values[0], f.values[len(f.values)-1]}, "the ends stay")
	}
}
