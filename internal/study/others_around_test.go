package study

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// Around the model, in the other simulators: a lot that got the wrong strength, and
// a machine on which minutes and strength count otherwise. Both are run at settings
// that differ from those written down, so that the simulators need know nothing of it.

// off is what settings are multiplied by, by the first part of the column's name.
type off map[string]float64

func (o off) of(settings map[string]float64) map[string]float64 {
	out := map[string]float64{}
	for c, v := range settings {
		name, _, _ := strings.Cut(c, "_")
		if f, ok := o[name]; ok {
			v *= f
		}
		out[c] = v
	}
	return out
}

// ran is the table of lots that were run at what really(i) makes of the settings of
// lot i.
func ran(t *testing.T, l other, design []map[string]float64, stream uint64, really func(i int) off) *discharge.Table {
	t.Helper()
	var actual []map[string]float64
	for i, d := range design {
		actual = append(actual, really(i).of(d))
	}
	table, err := l.run(actual, stream)
	require.NoError(t, err)
	lots := table.ByRole(discharge.Trial)
	require.Len(t, lots, len(design))
	for i, lot := range lots {
		for c, v := range design[i] {
			require.Contains(t, lot.Settings, c)
			lot.Settings[c] = v
		}
	}
	return table
}

// eachOther runs what on laundries of every other simulator, each of which has its
// own errors, and returns the geometric mean over simulators of the ratio of two
// medians.
func eachOther(t *testing.T, what func(l other, e *Table, rng *rand.Rand), above, below string) float64 {
	z := others()
	if !full() {
		z.seeds = 1
	}
	sum, n := 0.0, 0.0
	for _, s := range simulators() {
		e := &Table{}
		seed := z.from
		processes := s.processes
		if !full() {
			processes = processes[:2]
		}
		for _, p := range processes {
			for range z.seeds {
				l, err := s.make(p, seed)
				require.NoError(t, err)
				what(l, e, rand.New(rand.NewPCG(seed, 31)))
				seed++
			}
		}
		ratio := e.Median(above) / e.Median(below)
		t.Logf("%s%s%s / %s: %.3f", s.name, e, above, below, ratio)
		sum += math.Log(ratio)
		n++
	}
	t.Logf("%s / %s, geometric mean over simulators: %.3f", above, below, math.Exp(sum/n))
	return math.Exp(sum / n)
}

// settingsAround is at how many random settings each laundry is asked.
const settingsAround = 16

func errorAt(t *testing.T, m *discharge.Model, set map[string]float64, truth colorimetry.Lab) float64 {
	t.Helper()
	p, err := m.Predict(set)
	require.NoError(t, err)
	return diff(truth, p.Shade)
}

func TestUpsetLotsOfOtherPhysics(t *testing.T) {
	t.Parallel()
	named := Count{}
	const all, oneUpset = "16 lots", "16 lots, one upset"
	cost := eachOther(t, func(l other, e *Table, rng *rand.Rand) {
		design, err := l.Ladder(16)
		require.NoError(t, err)
		at, wrong := rng.IntN(len(design)), math.Exp(0.5+0.5*rng.Float64())
		if rng.IntN(2) == 0 {
			wrong = 1 / wrong
		}
		clean := ran(t, l, design, 116, asWritten)
		upset := ran(t, l, design, 116, func(i int) off {
			if i == at {
				return off{"strength": wrong}
			}
			return nil
		})
		id := upset.ByRole(discharge.Trial)[at].ID
		m, err := discharge.Fit(clean, nil)
		require.NoError(t, err)
		misled, err := discharge.Fit(upset, nil)
		require.NoError(t, err)
		for _, r := range misled.Trials() {
			if r.ID == id {
				named = named.with(r.OutOfLine())
			}
		}
		for range settingsAround {
			set := l.RandomSettings(rng)
			truth := l.Expected(set)
			e.add(all, errorAt(t, m, set, truth))
			e.add(oneUpset, errorAt(t, misled, set, truth))
		}
	}, oneUpset, all)
	t.Logf("named: %d of %d", named.Hits, named.Of)
	assert.Greater(t, named.Share(), 0.5)
	if full() {
		assert.LessOrEqual(t, cost, 1.1) // the goal
	} else {
		assert.Less(t, cost, 1.5)
	}
}

func TestMachinesOfOtherPhysics(t *testing.T) {
	t.Parallel()
	inside := Count{}
	together := &Table{}
	const asItWas, two, anew = "as it was", "2 lots", "16 lots anew"
	eachOther(t, func(l other, e *Table, rng *rand.Rand) {
		design, err := l.Ladder(16)
		require.NoError(t, err)
		machine := off{"time": math.Exp(0.2 * rng.NormFloat64()), "strength": math.Exp(0.15 * rng.NormFloat64())}
		there := func(int) off { return machine }
		m, err := discharge.Fit(ran(t, l, design, 116, asWritten), nil)
		require.NoError(t, err)
		region := map[string]discharge.Range{}
		for _, c := range l.columns {
			region[c] = spanned(design, c)
		}
		carried, err := m.Recalibrate(ran(t, l, apart(region), 118, there), nil)
		require.NoError(t, err)
		own, err := discharge.Fit(ran(t, l, design, 117, there), nil)
		require.NoError(t, err)
		for range settingsAround {
			set := l.RandomSettings(rng)
			really := machine.of(set)
			truth := l.Expected(really)
			p, err := carried.Predict(set)
			require.NoError(t, err)
			before, after := errorAt(t, m, set, truth), diff(truth, p.Shade)
			e.add(asItWas, before)
			e.add(two, after)
			e.add(anew, errorAt(t, own, set, truth))
			together.add(asItWas, before)
			together.add(two, after)
			inside = inside.with(Inside(&p, l.Lot(rng, really)))
		}
	}, two, anew)
	assert.Less(t, together.Median(two), together.Median(asItWas))
	t.Logf("next lots in the 95 %% region of the recalibrated model: %.1f %% of %d", 100*inside.Share(), inside.Of)
	assert.GreaterOrEqual(t, inside.Share(), 0.85)
}

// asWritten is lots that were run as they were written down.
func asWritten(int) off { return nil }

// ladders are those of twelve and of sixteen lots.
func ladders(t *testing.T, l other) (twelve, sixteen []map[string]float64) {
	t.Helper()
	twelve, err := l.Ladder(12)
	require.NoError(t, err)
	sixteen, err = l.Ladder(16)
	require.NoError(t, err)
	return twelve, sixteen
}

// A first plan of twelve lots against ladders, over the same region.
func TestPlansOfOtherPhysics(t *testing.T) {
	t.Parallel()
	together := &Table{}
	const short, long, plan = "ladder of 12", "ladder of 16", "plan of 12"
	eachOther(t, func(l other, e *Table, rng *rand.Rand) {
		twelve, sixteen := ladders(t, l)
		trials := ran(t, l, sixteen, 116, asWritten)
		process, err := discharge.LookupProcess(trials.ByRole(discharge.Trial)[0].Process)
		require.NoError(t, err)
		region := map[string]discharge.Range{}
		for _, c := range l.columns {
			region[c] = spanned(sixteen, c)
		}
		first, err := discharge.FirstPlan(process, &discharge.PlanOptions{Lots: 12, Seed: 1, Bounds: region})
		require.NoError(t, err)
		models := map[string]*discharge.Model{}
		for name, table := range map[string]*discharge.Table{short: ran(t, l, twelve, 112, asWritten), long: trials, plan: ran(t, l, plain(first.Trials()), 212, asWritten)} {
			models[name], err = discharge.Fit(table, nil)
			require.NoError(t, err)
		}
		for range settingsAround {
			set := l.RandomSettings(rng)
			truth := l.Expected(set)
			for _, name := range []string{short, long, plan} {
				miss := errorAt(t, models[name], set, truth)
				e.add(name, miss)
				together.add(name, miss)
			}
		}
	}, plan, long)
	t.Logf("together%s", together)
	if full() {
		assert.Less(t, together.Median(plan), together.Median(short))
	} else {
		assert.Less(t, together.Median(plan), 1.5*together.Median(short))
	}
}

// Four more lots, planned towards a target, against four more of a ladder: what is
// missed at the target.
func TestNextLotsOfOtherPhysics(t *testing.T) {
	t.Parallel()
	together := &Table{}
	const before, ladder, planned = "12 lots", "4 more of the ladder", "4 planned"
	eachOther(t, func(l other, e *Table, rng *rand.Rand) {
		twelve, sixteen := ladders(t, l)
		// The stream is the same, and lots are drawn in order: the twelve have the same luck.
		with := func(more []map[string]float64) *discharge.Model {
			m, err := discharge.Fit(ran(t, l, append(slices.Clone(twelve), more...), 112, asWritten), nil)
			require.NoError(t, err)
			return m
		}
		m, laddered := with(nil), with(sixteen[:4])
		for range 4 {
			set := l.RandomSettings(rng)
			truth := l.Expected(set)
			next, err := m.Plan(&discharge.PlanOptions{Seed: 1, Target: &discharge.Target{ID: "target", Viewing: m.Viewing(), Lab: truth}})
			if err != nil {
				continue // the model holds the target to be out of reach
			}
			own := with(plain(next.Trials()))
			for name, x := range map[string]*discharge.Model{before: m, ladder: laddered, planned: own} {
				miss := errorAt(t, x, set, truth)
				e.add(name, miss)
				together.add(name, miss)
			}
		}
	}, planned, before)
	gain := together.Median(before) - together.Median(planned)
	t.Logf("together%sgain in the median: planned %.2f, ladder %.2f", together, gain, together.Median(before)-together.Median(ladder))
	assert.Positive(t, gain)
	if full() {
		assert.GreaterOrEqual(t, gain, 2*(together.Median(before)-together.Median(ladder))) // the goal
	}
}
