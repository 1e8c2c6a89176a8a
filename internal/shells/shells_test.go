package shells

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

// More strength or time, and of a carrier more of it, does not darken by what
// anybody could see or measure. It may by less: New does not ask, and brown
// deposits grow where no indigo is left (by 0.04 at most at 400 settings in 40
// laundries), and a bath that has run out is followed in longer steps over more
// time (by 0.0014). Small steps make small differences.
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
					assert.GreaterOrEqual(t, l.Expected(more).L, v.L-0.05, c)
				}
			}
		}
	})
}

// A charge that runs out gives less than one that lasts. The enzyme has none: of
// it, that is mediator that lasts.
func TestRunningOutDarkens(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry, _ string, _ uint64) {
		lasting := *l
		switch k := l.kinetics.(type) {
		case carrier: // as much of it given up, less of it gone
			k.decay = 0
			lasting.kinetics = k
		case bath:
			k.charge *= 100
			lasting.kinetics = k
		case enzyme:
			k.using = 0
			lasting.kinetics = k
		case gas:
			k.charge *= 100
			lasting.kinetics = k
		}
		s := l.settings(l.center)
		assert.Less(t, l.Expected(s).L, lasting.Expected(s).L)
	})
}

// Only an enzyme's load is tumbled for so long that the blank loses dye to it,
// and the weft takes some of that up.
func TestBlankIsTheBaseUnlessTumbled(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry, group string, _ uint64) {
		blank := l.settings(l.center)
		blank[l.columns[0]] = 0
		base := l.lab(l.base(1)).L
		if group == "laccase" {
			assert.Greater(t, l.Expected(blank).L, base)
			return
		}
		assert.InDelta(t, base, l.Expected(blank).L, 1e-9)
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
	})
}

// Every corner is run at every time; with 24 lots a half of them, one at every
// strength, second factor and time, twice.
func TestLadder(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry, _ string, _ uint64) {
		for lots, different := range map[int]int{12: 12, 16: 16, 24: 16} {
			design, err := l.Ladder(lots)
			require.NoError(t, err)
			require.Len(t, design, lots)
			seen := map[[3]float64]int{}
			for _, s := range design {
				seen[l.values(s)]++
			}
			assert.Len(t, seen, different)
		}
		for _, n := range []int{-8, 0, 4, 8, 10, 20, 28} {
			_, err := l.Ladder(n)
			require.Error(t, err, "%d lots", n)
		}
	})
}
