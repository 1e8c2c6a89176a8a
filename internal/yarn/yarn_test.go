package yarn

import (
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// each runs f on a few laundries of every process, whose seeds all differ: a
// seed means much the same laundry in every process.
func each(t *testing.T, f func(t *testing.T, l *Laundry)) {
	for i, p := range Processes() {
		t.Run(p, func(t *testing.T) {
			for k := range 3 {
				seed := uint64(2000 + 3*i + k)
				l, err := New(p, seed)
				require.NoError(t, err, "seed %d", seed)
				f(t, l)
			}
		})
	}
}

// across returns L* at n points of a factor's region in equal ratios, all other
// factors as in x.
func (l *Laundry) across(x point, factor, n int) (lightness []float64) {
	f := l.factors[factor]
	x = slices.Clone(x)
	for i := range n {
		x[factor] = f.Lo * math.Pow(f.Hi/f.Lo, float64(i)/float64(n-1))
		lightness = append(lightness, l.lab(trial, x).L)
	}
	return lightness
}

// A numerical step would stand out in third differences: between points this
// close, those of a smooth shade are below 0.01 L* (the steepest has 0.008).
func TestShadesAreSmooth(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry) {
		for k, f := range l.factors {
			y := l.across(l.middle, k, 81)
			worst := 0.0
			for i := 3; i < len(y); i++ {
				worst = max(worst, math.Abs(y[i]-3*y[i-1]+3*y[i-2]-y[i-3]))
			}
			assert.Less(t, worst, 0.015, "seed %d, %s", l.Seed, f.Column)
		}
	})
}

func TestLightness(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry) {
		assert.True(t, 19.99 < l.base.L && l.base.L < 28.01, "seed %d: base L* %.2f", l.Seed, l.base.L)
		assert.True(t, 80 <= l.white.L && l.white.L <= 90, "seed %d: white L* %.2f", l.Seed, l.white.L)
		rng := rand.New(rand.NewPCG(l.Seed, 1))
		for range 10 {
			x := l.RandomSettings(rng)
			c := l.Expected(x)
			assert.True(t, l.base.L < c.L && c.L < l.white.L, "seed %d, %v: L* %.2f", l.Seed, x, c.L)
		}
		// Wear alone hardly changes the blank; what it loosens may stain.
		assert.InDelta(t, l.base.L, l.lab(blank, l.idle()).L, 2, "seed %d", l.Seed)
	})
}

// More strength, time or carrier never darkens. Laccase and its mediator are
// weighed on garment: more liquor dilutes them and never lightens. Liquor of
// a hypochlorite bath and moisture may do either, and heat kills an enzyme.
func TestLightnessFollowsOxidizer(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry) {
		rng := rand.New(rand.NewPCG(l.Seed, 2))
		for range 3 {
			x := l.at(l.RandomSettings(rng))
			for k, f := range l.factors[:minutes+1] {
				y := l.across(x, k, 6)
				switch {
				case k == medium && l.process.form == enzyme:
					slices.Reverse(y)
				case k == medium && l.process.form != carrier:
					continue
				}
				assert.True(t, slices.IsSorted(y), "seed %d, %v, %s: %v", l.Seed, x, f.Column, y)
			}
		}
	})
}

func TestSeedsSettleLaundries(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry) {
		again, err := New(l.Process, l.Seed)
		require.NoError(t, err)
		assert.Equal(t, l, again, "seed %d", l.Seed)
	})
	a, err := New("ozone-gas", 1)
	require.NoError(t, err)
	b, err := New("ozone-gas", 2)
	require.NoError(t, err)
	assert.NotEqual(t, a.Expected(nil), b.Expected(nil))
}

func TestLotsScatterAboutExpected(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry) {
		rng := rand.New(rand.NewPCG(l.Seed, 3))
		const n = 20
		var mean, square float64
		for range n {
			d := l.Lot(rng, nil).L - l.Expected(nil).L
			mean, square = mean+d/n, square+d*d/n
		}
		sd := math.Sqrt(square)
		assert.True(t, 0.5 < sd && sd < 5, "seed %d: lots %.2f L* off", l.Seed, sd) // orientation from memory
		assert.Less(t, math.Abs(mean), 4*sd/math.Sqrt(n), "seed %d", l.Seed)
	})
}

func TestLadders(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry) {
		for _, n := range []int{12, 16, 24} {
			lots, err := l.Ladder(n)
			require.NoError(t, err)
			assert.Len(t, lots, n)
			for i, f := range l.factors {
				levels := map[float64]int{}
				for _, s := range lots {
					levels[s[f.Column]]++
				}
				assert.Contains(t, levels, f.Lo, f.Column)
				assert.Contains(t, levels, f.Hi, f.Column)
				if i == minutes {
					assert.Len(t, levels, n/4)
				} else {
					assert.Equal(t, n/2, levels[f.Lo], f.Column)
				}
			}
		}
	})
}

func TestWrongInput(t *testing.T) {
	_, err := New("permanganate-snow", 1)
	assert.ErrorContains(t, err, "permanganate-pellet")
	l, err := New("ozone-gas", 1)
	require.NoError(t, err)
	for _, n := range []int{-4, 0, 8, 13} {
		_, err := l.Ladder(n)
		assert.ErrorContains(t, err, "multiple of 4", "%d", n)
	}
	rng := rand.New(rand.NewPCG(1, 1))
	assert.Error(t, l.WriteTrials(io.Discard, rng, nil))
	assert.ErrorContains(t, l.WriteTrials(io.Discard, rng, []map[string]float64{{"time_min": 10}}), "lot 1 has no strength_gnm3")
}
