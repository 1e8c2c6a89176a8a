package drum

import (
	"bytes"
	"fmt"
	"maps"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge"
)

// each asks f of the first three laundries of every group.
func each(t *testing.T, f func(t *testing.T, l *Laundry, group string, seed uint64)) {
	for _, g := range Groups() {
		for seed := range uint64(3) {
			t.Run(fmt.Sprint(g, seed), func(t *testing.T) {
				l, err := New(g, seed)
				require.NoError(t, err)
				f(t, l, g, seed)
			})
		}
	}
}

func TestUnknownGroup(t *testing.T) {
	_, err := New("chalk", 1)
	require.ErrorContains(t, err, `no group "chalk"`)
}

// More strength or time, and of a carrier more of it, never darkens: no oxidizer
// puts dye back. Small steps make small differences.
func TestLightnessRisesWithoutJumps(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry, group string, seed uint64) {
		rng := rand.New(rand.NewPCG(seed, 5))
		for range 10 {
			s := l.RandomSettings(rng)
			v := l.Expected(s)
			for k, c := range l.Columns() {
				near, more := maps.Clone(s), maps.Clone(s)
				near[c] *= 1 + 1e-5
				more[c] *= 1.03
				assert.InDelta(t, v.L, l.Expected(near).L, 1e-2, c)
				if k != 1 || group == "permanganate" { // liquor and moisture may go either way
					assert.GreaterOrEqual(t, l.Expected(more).L, v.L-1e-9, c)
				}
			}
		}
	})
}

// A carrier that is not drained, does not decay and is not sealed gives more.
func TestSpendingLowersTheDose(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry, group string, _ uint64) {
		k, ok := l.kinetics.(*drum)
		if !ok {
			require.NotEqual(t, "permanganate", group)
			return
		}
		dose := func(k drum) float64 {
			var e exposure
			k.run(run{strength: 1, second: 1, raw: l.center[1], time: 1, rate: l.rate, cloth: &l.cloth}, &e)
			return e.dose
		}
		lasting := *k
		lasting.drain, lasting.decay, lasting.seal = 0, 0, 0
		assert.Less(t, dose(*k), dose(lasting))
	})
}

// The same seed gives the same bytes, and they read as a table of the tool.
func TestTrials(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry, group string, seed uint64) {
		again, err := New(group, seed)
		require.NoError(t, err)
		design, err := l.Ladder(12)
		require.NoError(t, err)
		var a, b bytes.Buffer
		require.NoError(t, l.WriteTrials(&a, rand.New(rand.NewPCG(3, 3)), design))
		require.NoError(t, again.WriteTrials(&b, rand.New(rand.NewPCG(3, 3)), design))
		assert.Equal(t, a.String(), b.String())
		table, err := discharge.ReadTable("trials.csv", &a, nil)
		require.NoError(t, err)
		assert.Len(t, table.Lots, 15, "base, blank, white and 12 trials")
		for _, n := range []int{-8, 0, 4, 10} {
			_, err = l.Ladder(n)
			require.Error(t, err, "%d lots", n)
		}
	})
}
