package study

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/laundry"
)

// Sixteen lots of a ladder, half of them on a machine whose minutes and strength count
// otherwise: a model for the other one that learns from all of them, against all taken
// alike, against its own eight alone and against sixteen on it.
func TestLotsOfTwoMachinesOfOtherPhysics(t *testing.T) {
	t.Parallel()
	together := &Table{}
	shifts, inside := Count{}, Count{}
	const alike, one, few, all = "16 lots, all alike", "16 lots, 8 of them its own", "its 8 lots alone", "16 lots of its own"
	cost := eachOther(t, func(l other, e *Table, rng *rand.Rand) {
		design, err := l.Ladder(16)
		require.NoError(t, err)
		machine := off{"time": math.Exp(0.2 * rng.NormFloat64()), "strength": math.Exp(0.15 * rng.NormFloat64())}
		there := make([]bool, len(design))
		for _, i := range rng.Perm(len(design))[:len(design)/2] {
			there[i] = true
		}
		own := ran(t, l, design, 116, asWritten)
		mixed := ran(t, l, design, 116, func(i int) off {
			if there[i] {
				return machine
			}
			return nil
		})
		k := 0
		for i := range mixed.Lots {
			if lot := &mixed.Lots[i]; lot.Role == discharge.Trial {
				lot.Machine = map[bool]string{false: "W1", true: "W2"}[there[k]]
				k++
			}
		}
		half := *mixed
		half.Lots = slices.DeleteFunc(slices.Clone(mixed.Lots), func(l discharge.Lot) bool { return l.Machine == "W2" })
		models := map[string]*discharge.Model{}
		for name, table := range map[string]*discharge.Table{all: own, alike: mixed, few: &half} {
			models[name], err = discharge.Fit(table, nil)
			require.NoError(t, err)
		}
		models[one], err = discharge.Fit(mixed, &discharge.FitOptions{Machine: "W1"})
		require.NoError(t, err)
		for range settingsAround {
			set := l.RandomSettings(rng)
			truth := l.Expected(set)
			for _, name := range []string{alike, one, few, all} {
				miss := errorAt(t, models[name], set, truth)
				e.add(name, miss)
				together.add(name, miss)
			}
			p, err := models[one].Predict(set)
			require.NoError(t, err)
			inside = inside.with(Inside(&p, l.Lot(rng, set)))
		}
		require.Len(t, models[one].Others(), 1)
		// What the other machine does in the middle of the trials, by the model of the machine's own lots.
		middle := discharge.Settings{}
		for _, f := range models[all].Factors() {
			middle[f.Column] = f.Middle
		}
		at, err := models[all].LnDose(middle)
		require.NoError(t, err)
		really, err := models[all].LnDose(machine.of(middle))
		require.NoError(t, err)
		o := models[one].Others()[0]
		shifts = shifts.with(math.Abs(o.Shift-(really-at)) < 1.96*o.ShiftSD)
	}, one, all)
	t.Logf("together%s", together)
	t.Logf("next lots in the 95 %% region: %.1f %% of %d; shifts within their 95 %% interval: %d of %d", 100*inside.Share(), inside.Of, shifts.Hits, shifts.Of)
	assert.Less(t, together.Median(one), together.Median(alike))
	assert.Less(t, together.Median(one), together.Median(few))
	assert.GreaterOrEqual(t, inside.Share(), 0.9)
	assert.GreaterOrEqual(t, shifts.Share(), 0.8)
	if full() {
		assert.LessOrEqual(t, cost, 1.25)
	}
}

// The same for fabrics, whose base and white differ, too: the next lot of one fabric, and
// another one altogether.
func TestLotsOfTwoFabrics(t *testing.T) {
	t.Parallel()
	z := size()
	const alike, one, few, all = "16 lots, all alike", "16 lots, 8 of them its own", "its 8 lots alone", "16 lots of its own"
	for _, what := range novelties() {
		if what.name == "machine" {
			continue
		}
		e, inside := &Table{}, Count{}
		require.NoError(t, z.each(func(s *Scene, rng *rand.Rand) error {
			design := s.Ladder(16)
			order := rng.Perm(len(design))
			var mine, theirs []map[string]float64
			for k, i := range order {
				if k < len(design)/2 {
					mine = append(mine, design[i])
				} else {
					theirs = append(theirs, design[i])
				}
			}
			named := func(t *discharge.Table, fabric string) *discharge.Table {
				for i := range t.Lots {
					t.Lots[i].ID, t.Lots[i].Fabric = fabric+t.Lots[i].ID, fabric
				}
				return t
			}
			half := named(s.Table(mine, -1), "F1")
			own := s.Table(design, -1)
			own0 := s.Laundry
			s.Laundry = what.make(s.Laundry, rng)
			mixed, err := half.Join(named(s.Table(theirs, -1), "F2"))
			if err != nil {
				return err
			}
			s.Laundry = own0
			models := map[string]*discharge.Model{}
			for name, table := range map[string]*discharge.Table{all: own, alike: mixed, few: half} {
				if models[name], err = discharge.Fit(table, nil); err != nil {
					return fmt.Errorf("%s: %w", name, err)
				}
			}
			if models[one], err = discharge.Fit(mixed, &discharge.FitOptions{Fabric: "F1"}); err != nil {
				return err
			}
			for range z.Settings {
				set := s.Random(rng)
				for _, name := range []string{alike, one, few, all} {
					p, err := models[name].Predict(set)
					if err != nil {
						return err
					}
					e.add(name, diff(s.truth(set), p.Shade))
					if name == one {
						luck := rand.New(rand.NewPCG(s.Seed, rng.Uint64()))
						inside = inside.with(Inside(&p, s.Laundry.Run(set, luck, laundry.RunOptions{NoHotSpots: true}).MeanLab(s.Weights)))
					}
				}
			}
			return nil
		}))
		t.Logf("new %s%s%.1f %% of %d next lots in the 95 %% region", what.name, e, 100*inside.Share(), inside.Of)
		assert.Less(t, e.Median(one), e.Median(alike))
		if full() {
			assert.Less(t, e.Median(one), e.Median(few))
		}
		assert.GreaterOrEqual(t, inside.Share(), 0.85)
	}
}
