package capped

import (
	"bytes"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

func each(t *testing.T, f func(t *testing.T, l *Laundry)) {
	for i, g := range Groups() {
		t.Run(g, func(t *testing.T) {
			for k := range 5 {
				l, err := New(g, uint64(100+10*i+k))
				require.NoError(t, err)
				f(t, l)
			}
		})
	}
	_, err := New("chalk", 1)
	require.Error(t, err)
}

// More oxidizer or time never gives a darker shade, and base, middle and white
// are where the drawing puts them.
func TestShadesRunFromBaseToWhite(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry) {
		base, white := l.shade(0, casts{}), l.shade(math.Inf(1), casts{})
		assert.True(t, 20.5 <= base.L+0.01 && base.L <= 31.51, "base L* %.2f", base.L)
		assert.True(t, 80.5 <= white.L+0.01 && white.L <= 91.01, "white L* %.2f", white.L)
		middle := (l.shade(l.dose(l.mid), casts{}).L - base.L) / (white.L - base.L)
		assert.True(t, 0.379 < middle && middle < 0.581, "level %.3f at the center", middle)
		rng := rand.New(rand.NewPCG(l.Seed, 1))
		for range 50 {
			x := l.of(l.RandomSettings(rng))
			for _, j := range []int{0, 2} {
				y := x
				y[j] = uniform(rng, x[j], l.hi[j])
				assert.GreaterOrEqual(t, l.shade(l.dose(y), casts{}).L, l.shade(l.dose(x), casts{}).L-1e-9)
			}
		}
	})
}

// However long a load runs, its dose stays below the cap, in proportion to what was
// charged; ozone's is fed as time goes on.
func TestChargeCapsTheDose(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry) {
		x := l.mid
		x[2] *= 1000
		most := l.cap
		if l.Group == "ozone" {
			most *= 1000
		}
		assert.Less(t, l.dose(x), most)
		x[0] *= 2
		assert.Less(t, l.dose(x), 2*most)
		assert.Less(t, l.dose(l.mid), l.uncapped(l.mid))
	})
}

// Lots lie about the expected shade, and the trials read as a table of the tool.
func TestLotsAndTables(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry) {
		rng := rand.New(rand.NewPCG(l.Seed, 2))
		s := l.RandomSettings(rng)
		var mean colorimetry.Lab
		const n = 100
		for range n {
			c := l.Lot(rng, s)
			mean.L, mean.A, mean.B = mean.L+c.L/n, mean.A+c.A/n, mean.B+c.B/n
		}
		assert.Less(t, colorimetry.CIEDE2000{}.Diff(l.Expected(s), mean), 0.8, "of lots that scatter by 1 to 3")
		design, err := l.Ladder(12)
		require.NoError(t, err)
		var a, b bytes.Buffer
		require.NoError(t, l.WriteTrials(&a, rand.New(rand.NewPCG(3, 3)), design))
		require.NoError(t, l.WriteTrials(&b, rand.New(rand.NewPCG(3, 3)), design))
		assert.Equal(t, a.String(), b.String())
		table, err := discharge.ReadTable("trials.csv", &a, nil)
		require.NoError(t, err)
		assert.Len(t, table.Lots, 15)
		_, err = l.Ladder(10)
		require.Error(t, err)
	})
}
