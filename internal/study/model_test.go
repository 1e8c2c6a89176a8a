package study

import (
	"bytes"
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/laundry"
)

func demoTable(t *testing.T, csv []byte) *discharge.Table {
	t.Helper()
	tab, err := discharge.ReadTable("demo", bytes.NewReader(csv), nil)
	require.NoError(t, err)
	return tab
}

func demoModel(t *testing.T) *discharge.Model {
	t.Helper()
	m, err := discharge.Fit(demoTable(t, demo.PelletTrials()), nil)
	require.NoError(t, err)
	return m
}

// leaveOneOut is the peers' cross-validation: every trial lot predicted by a
// peer that has not seen it.
func leaveOneOut(tab *discharge.Table, build func(*discharge.Table) Peer) []float64 {
	var out []float64
	var f colorimetry.CIEDE2000
	for i, l := range tab.Lots {
		if l.Role != discharge.Trial {
			continue
		}
		sub := *tab
		sub.Lots = slices.Delete(slices.Clone(tab.Lots), i, i+1)
		out = append(out, f.Diff(meanOf(l), build(&sub)(l.Settings)))
	}
	return out
}

// The model must predict trial lots that it has not seen better than a full
// quadratic surface per channel (the usual response-surface practice; Box and
// Wilson, JRSS B 13 (1951) 1) does on the same lots.
func TestDemoLeaveOneOutBeatsSurface(t *testing.T) {
	t.Parallel()
	tab := demoTable(t, demo.PelletTrials())
	s := demoModel(t).Summary()
	columns := []string{"strength_pct", "ratio", "time_min"}
	raw := leaveOneOut(tab, func(t *discharge.Table) Peer { return Surface(t, columns, false) })
	log := leaveOneOut(tab, func(t *discharge.Table) Peer { return Surface(t, columns, true) })
	near := leaveOneOut(tab, func(t *discharge.Table) Peer { return Nearest(t, columns) })
	w, err := colorimetry.NewWeights(tab.Viewing, laundry.Grid())
	require.NoError(t, err)
	l, err := laundry.Demo()
	require.NoError(t, err)
	spread := l.LotSpread(laundry.DemoStandardSettings(), w, rand.New(rand.NewPCG(1, 2)), 400, laundry.RunOptions{NoHotSpots: true})
	t.Logf("leave-one-lot-out ΔE00, median / p95: model %.2f / %.2f, quadratic surface %.2f / %.2f, in logarithms %.2f / %.2f, nearest lot %.2f / %.2f; one lot about its mean %.2f / %.2f",
		s.LOOMedian, s.LOOP95, Quantile(raw, .5), Quantile(raw, .95), Quantile(log, .5), Quantile(log, .95), Quantile(near, .5), Quantile(near, .95), spread.Median, spread.P95)
	assert.Less(t, s.LOOP95, 0.8*Quantile(raw, .95))
	assert.Less(t, s.LOOP95, 0.8*Quantile(log, .95))
	assert.Less(t, s.LOOMedian, 0.8*Quantile(log, .5))
	assert.Less(t, s.LOOMedian, 2.5*spread.Median, "a lot left out misses by its own scatter and the model's")

	// A lot left out carries its own scatter. The expected shade of the
	// generator does not: there the model must win clearly.
	m := demoModel(t)
	pr, pl := Surface(tab, columns, false), Surface(tab, columns, true)
	rng := rand.New(rand.NewPCG(11, 12))
	var ours, surface, logSurface []float64
	var f colorimetry.CIEDE2000
	for range 300 {
		set := l.RandomSettings(rng)
		truth := l.ExpectedLab(set)
		p, err := m.Predict(set)
		require.NoError(t, err)
		ours = append(ours, f.Diff(truth, p.Shade))
		surface = append(surface, f.Diff(truth, pr(set)))
		logSurface = append(logSurface, f.Diff(truth, pl(set)))
	}
	t.Logf("against the generator's expected shade at 300 random settings: model %.2f / %.2f, quadratic surface %.2f / %.2f, in logarithms %.2f / %.2f",
		Quantile(ours, .5), Quantile(ours, .95), Quantile(surface, .5), Quantile(surface, .95), Quantile(logSurface, .5), Quantile(logSurface, .95))
	for _, peer := range [][]float64{surface, logSurface} {
		assert.Less(t, Quantile(ours, .5), 0.8*Quantile(peer, .5))
		assert.Less(t, Quantile(ours, .95), 0.9*Quantile(peer, .95))
	}
}

// Suggested settings, put back into the generator, must give the standard:
// the mean of many lots within 1.0 ΔE00.
func TestDemoSuggestionsHitTheStandard(t *testing.T) {
	t.Parallel()
	m := demoModel(t)
	targets, err := discharge.ReadTargets("standard", bytes.NewReader(demo.PelletStandard()), nil)
	require.NoError(t, err)
	l, err := laundry.Demo()
	require.NoError(t, err)
	w, err := colorimetry.NewWeights(m.Viewing(), laundry.Grid())
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(5, 6))
	var f colorimetry.CIEDE2000
	target := targets.Items[0]
	r, err := m.Suggest(target, nil)
	require.NoError(t, err)
	require.True(t, r.Reachable)
	require.NotEmpty(t, r.List)
	for i, s := range r.List {
		mean := l.LotSpread(s.Settings, w, rng, 200, laundry.RunOptions{NoHotSpots: true}).Mean
		d := f.Diff(target.Lab, mean)
		t.Logf("%v: expected %.2f, in the laundry %.2f, pass %.2f", s.Settings, s.DeltaE, d, s.PassProbability)
		if i == 0 {
			assert.LessOrEqual(t, d, 1.0)
		}
	}
}

func TestRedIsUnreachable(t *testing.T) {
	t.Parallel()
	m := demoModel(t)
	r, err := m.Suggest(discharge.Target{ID: "red", Viewing: m.Viewing(), Lab: colorimetry.Lab{L: 45, A: 40, B: 20}}, nil)
	require.NoError(t, err)
	assert.False(t, r.Reachable)
	assert.Empty(t, r.List)
	assert.Greater(t, r.ClosestDeltaE, 10.0)
	assert.Contains(t, r.Why, "redder")
}

func TestSaveLoadIsBitIdentical(t *testing.T) {
	t.Parallel()
	m := demoModel(t)
	var buf, again bytes.Buffer
	require.NoError(t, m.Save(&buf, "test"))
	data := slices.Clone(buf.Bytes())
	n, err := discharge.Load(&buf)
	require.NoError(t, err)
	require.NoError(t, n.Save(&again, "test"))
	assert.Equal(t, string(data), again.String())
	rng := rand.New(rand.NewPCG(7, 8))
	l, err := laundry.Demo()
	require.NoError(t, err)
	for range 50 {
		s := l.RandomSettings(rng)
		a, err := m.Predict(s)
		require.NoError(t, err)
		b, err := n.Predict(s)
		require.NoError(t, err)
		assert.Equal(t, a, b)
	}
}

// Predictions may not depend on the order of lots nor on the units.
func TestInvariance(t *testing.T) {
	t.Parallel()
	tab := demoTable(t, demo.PelletTrials())
	m, err := discharge.Fit(tab, nil)
	require.NoError(t, err)
	shuffled := *tab
	shuffled.Lots = slices.Clone(tab.Lots)
	rng := rand.New(rand.NewPCG(3, 4))
	l, err := laundry.Demo()
	require.NoError(t, err)
	rng.Shuffle(len(shuffled.Lots), func(i, j int) {
		shuffled.Lots[i], shuffled.Lots[j] = shuffled.Lots[j], shuffled.Lots[i]
	})
	scaled := *tab
	scaled.Lots = slices.Clone(tab.Lots)
	const grams = 1000 // ratio in g per kg
	for i := range scaled.Lots {
		if s := scaled.Lots[i].Settings; s["ratio"] > 0 {
			s = s.Clone()
			s["ratio"] *= grams
			scaled.Lots[i].Settings = s
		}
	}
	ms, err := discharge.Fit(&shuffled, nil)
	require.NoError(t, err)
	mu, err := discharge.Fit(&scaled, nil)
	require.NoError(t, err)
	for range 30 {
		s := l.RandomSettings(rng)
		a, err := m.Predict(s)
		require.NoError(t, err)
		b, err := ms.Predict(s)
		require.NoError(t, err)
		assert.Equal(t, a, b, "order of lots")
		u := discharge.Settings(s).Clone()
		u["ratio"] *= grams
		c, err := mu.Predict(u)
		require.NoError(t, err)
		assert.InDelta(t, a.Shade.L, c.Shade.L, 1e-6, "units")
		assert.InDelta(t, a.DeltaEP95, c.DeltaEP95, 1e-6, "units")
	}
}

// More strength, carrier or time never gives a darker expected shade, inside
// the trials' region and outside it.
func TestExpectedLightnessNeverFalls(t *testing.T) {
	t.Parallel()
	for seed, kind := range laundry.Kinds() {
		s, err := NewScene(kind, "permanganate-stone", uint64(seed))
		require.NoError(t, err)
		tab := s.Table(s.Ladder(12), -1)
		m, err := discharge.Fit(tab, nil)
		require.NoError(t, err)
		neverFalls(t, s, m, uint64(seed))
		// Two lots of a new fabric that say the opposite: the weak one is lighter.
		two := *tab
		light := func(a, b discharge.Lot) int {
			return cmp.Compare(a.Readings()[0].Lab.L, b.Readings()[0].Lab.L)
		}
		weak, strong := slices.MinFunc(tab.ByRole(discharge.Trial), light), slices.MaxFunc(tab.ByRole(discharge.Trial), light)
		weak.Settings, strong.Settings = strong.Settings, weak.Settings
		two.Lots = []discharge.Lot{weak, strong}
		n, err := m.Recalibrate(&two, nil)
		require.NoError(t, err)
		neverFalls(t, s, n, uint64(seed))
	}
}

func neverFalls(t *testing.T, s *Scene, m *discharge.Model, seed uint64) {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 1))
	for range 40 {
		at := s.Random(rng)
		for _, column := range []string{"strength_gpl", "ratio", "time_min"} {
			last := math.Inf(-1)
			for _, f := range []float64{0.4, 0.6, 0.8, 1, 1.3, 1.7, 2.5} {
				set := discharge.Settings(at).Clone()
				set[column] *= f
				p, err := m.Predict(set)
				require.NoError(t, err)
				require.GreaterOrEqual(t, p.Shade.L, last-1e-9, "%s × %g", column, f)
				last = p.Shade.L
			}
		}
	}
}

func TestOutsideTheTrialsIsFlaggedAndWider(t *testing.T) {
	t.Parallel()
	m := demoModel(t)
	in, err := m.Predict(discharge.Settings{"strength_pct": 7, "ratio": 1.4, "time_min": 13})
	require.NoError(t, err)
	assert.False(t, in.Extrapolated)
	out, err := m.Predict(discharge.Settings{"strength_pct": 7, "ratio": 1.4, "time_min": 60})
	require.NoError(t, err)
	assert.True(t, out.Extrapolated)
	// As dark as the one inside, with twice the strongest strength.
	edge, err := m.Predict(discharge.Settings{"strength_pct": 20, "ratio": 1, "time_min": 5})
	require.NoError(t, err)
	assert.True(t, edge.Extrapolated)
	assert.Greater(t, edge.LotCovariance[0][0], in.LotCovariance[0][0])
}

func TestFitRefuses(t *testing.T) {
	t.Parallel()
	tab := demoTable(t, demo.PelletTrials())
	only := func(keep func(discharge.Lot, int) bool) *discharge.Table {
		sub := *tab
		sub.Lots = nil
		n := 0
		for _, l := range tab.Lots {
			if l.Role == discharge.Trial {
				n++
				if !keep(l, n) {
					continue
				}
			}
			sub.Lots = append(sub.Lots, l)
		}
		return &sub
	}
	_, err := discharge.Fit(only(func(_ discharge.Lot, n int) bool { return n == 1 }), nil)
	assert.ErrorIs(t, err, discharge.ErrTooFewLots)
	assert.ErrorContains(t, err, "demo")
	same := only(func(discharge.Lot, int) bool { return true })
	for i := range same.Lots {
		if same.Lots[i].Role == discharge.Trial {
			same.Lots[i].Settings = discharge.Settings{"strength_pct": 6, "ratio": 1.5, "time_min": 12}
		}
	}
	_, err = discharge.Fit(same, nil)
	assert.ErrorIs(t, err, discharge.ErrNoVariation)
	for i := range same.Lots {
		if same.Lots[i].Role == discharge.Trial {
			same.Lots[i].Settings = tab.Lots[i].Settings.Clone()
			same.Lots[i].Settings["ratio"] = 1.5
		}
	}
	m, err := discharge.Fit(same, nil)
	require.NoError(t, err)
	var text string
	for _, w := range m.Warnings() {
		text += w.Error() + "\n"
	}
	assert.Contains(t, text, "ratio was 1.5 in every trial lot")
	p, err := m.Predict(discharge.Settings{"strength_pct": 6, "ratio": 1.8, "time_min": 12})
	require.NoError(t, err)
	assert.True(t, p.Extrapolated, "a factor that never varied was moved")
}
