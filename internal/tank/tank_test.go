package tank

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// each asks f of the first so many laundries of every group.
func each(t *testing.T, seeds uint64, f func(t *testing.T, l *Laundry, group string, seed uint64)) {
	for _, g := range Groups() {
		for seed := range seeds {
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

// Base, center and white are where the drawing puts them.
func TestShadesLieWhereDrawn(t *testing.T) {
	seen := map[string]bool{}
	each(t, 3, func(t *testing.T, l *Laundry, group string, seed uint64) {
		seen[l.process] = true
		base, white := l.base(), l.white()
		// To what 30 halvings of the dye's range and 26 of the potency's leave.
		assert.True(t, 19-1e-3 < base.L && base.L < 32+1e-3, "base L* %.3f", base.L)
		center, _ := new(Laundry).drawProcess(source(group, seed), group)
		level := (l.shade(center, variation{}).L - base.L) / (white.L - base.L)
		assert.True(t, 0.45-1e-4 < level && level < 0.6+1e-4, "level %.4f at the center", level)
		// No dye and, at 700 nm, no yellow to 1e-13: all shells are ground alone.
		last := bands - 1
		r := l.cloth.reflectance(l.yarn.stripped(), variation{})
		assert.InDelta(t, l.cloth.gloss+(1-l.cloth.gloss)*colorimetry.FromKS(l.cloth.ground[last]), r[last], 1e-9)
		assert.Greater(t, white.L, base.L+30, "ground of K/S below 0.2 against a base of at most L* 32")
	})
	assert.Len(t, seen, 6, "processes drawn by these seeds: %v", seen)
}

// More strength or time, and of a carrier more of it, never darkens by more than
// 0.02: New asks on a grid over the region, and between its points nobody could
// see or measure that much.
func TestLightnessRises(t *testing.T) {
	each(t, 3, func(t *testing.T, l *Laundry, _ string, seed uint64) {
		rng := rand.New(rand.NewPCG(seed, 1))
		for range 25 {
			x := l.of(l.RandomSettings(rng))
			before := l.Expected(l.named(x)).L
			for j := range x {
				if !l.rising[j] {
					continue
				}
				y := x
				y[j] = draw{rng}.wide(x[j], l.hi[j])
				assert.GreaterOrEqual(t, l.Expected(l.named(y)).L, before-0.02, "%v to %v of %s", x, y[j], l.columns[j])
			}
		}
	})
}

// Lots lie about the expected shade. Hot spots move their mean, by about what
// their mean rise of the attack does to every reading.
func TestLotsScatterAboutExpected(t *testing.T) {
	each(t, 3, func(t *testing.T, l *Laundry, _ string, seed uint64) {
		rng := rand.New(rand.NewPCG(seed, 2))
		s := l.RandomSettings(rng)
		expected := l.Expected(s)
		hot := l.shade(l.of(s), variation{local: l.scatter.hot * l.scatter.hotSize})
		var mean colorimetry.Lab
		const n = 30
		square := 0.0
		for range n {
			c := l.Lot(rng, s)
			mean.L, mean.A, mean.B = mean.L+c.L/n, mean.A+c.A/n, mean.B+c.B/n
			square += math.Pow(colorimetry.CIEDE2000{}.Diff(expected, c), 2) / n
		}
		// Means of 16 lots are off by 0.18 in the median, by 0.73 at the 95th
		// percentile (doc.go), so one lot by four times that; and some room.
		apart := math.Sqrt(square)
		assert.True(t, 0.2 < apart && apart < 4, "lots are %.2f off", apart)
		// Three standard errors, and 0.1 for the curve of shade over dose.
		assert.Less(t, colorimetry.CIEDE2000{}.Diff(hot, mean), 3*apart/math.Sqrt(n)+0.1)
	})
}

// The same seed gives the same bytes, and they read as a table of the tool.
func TestTrials(t *testing.T) {
	each(t, 2, func(t *testing.T, l *Laundry, group string, seed uint64) {
		again, err := New(group, seed)
		require.NoError(t, err)
		design, err := l.Ladder(12)
		require.NoError(t, err)
		var a, b, c bytes.Buffer
		require.NoError(t, l.WriteTrials(&a, rand.New(rand.NewPCG(3, 3)), design))
		require.NoError(t, again.WriteTrials(&b, rand.New(rand.NewPCG(3, 3)), design))
		require.NoError(t, l.WriteTrials(&c, rand.New(rand.NewPCG(4, 3)), design))
		assert.Equal(t, a.String(), b.String())
		assert.NotEqual(t, a.String(), c.String())
		table, err := discharge.ReadTable("trials.csv", &a, nil)
		require.NoError(t, err)
		assert.Len(t, table.Lots, 15, "base, blank, white and 12 trials")
		for _, n := range []int{-8, 0, 4, 10} {
			_, err = l.Ladder(n)
			require.Error(t, err, "%d lots", n)
		}
	})
}

// The garments never get more oxidizer than is supplied, and of a carrier that
// loses none they get all in the end.
func TestOxidizerIsConserved(t *testing.T) {
	each(t, 3, func(t *testing.T, l *Laundry, _ string, seed uint64) {
		rng := rand.New(rand.NewPCG(seed, 4))
		for range 20 {
			_, share := l.treat(l.of(l.RandomSettings(rng)), variation{})
			assert.True(t, 0 < share && share <= 1+1e-12, "share %g", share)
		}
		c, ok := l.supply.(carrier)
		if !ok {
			return
		}
		c.decay, c.film = 0, 0
		closed := *l
		closed.supply = c
		x := l.center()
		x[2] *= 1e5
		_, share := closed.treat(x, variation{})
		assert.InDelta(t, 1, share, 1e-9, "after 100 000 times the usual time")
	})
}
