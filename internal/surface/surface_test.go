package surface

import (
	"bytes"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// each runs f on a few laundries of each group.
func each(t *testing.T, f func(t *testing.T, l *Laundry, group string, seed uint64)) {
	for i, g := range Groups() {
		t.Run(g, func(t *testing.T) {
			for k := range 3 {
				seed := uint64(100 + 10*i + k)
				l, err := New(g, seed)
				require.NoError(t, err)
				f(t, l, g, seed)
			}
		})
	}
}

func TestUnknownGroupIsRefused(t *testing.T) {
	_, err := New("chalk", 1)
	require.ErrorContains(t, err, `"chalk"`)
}

// More oxidizer, time or carrier never gives a darker shade. New asks for it at
// 125 settings, to 0.01; between them twice as much may happen, which is still
// below what an instrument tells apart.
func TestNeverDarker(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry, _ string, seed uint64) {
		rng := rand.New(rand.NewPCG(seed, 1))
		for range 30 {
			x := l.of(l.RandomSettings(rng))
			was := l.Expected(l.named(x)).L
			for k, c := range l.Columns() {
				if k == 1 && c != "ratio" {
					continue // liquor dilutes, and moisture has an optimum
				}
				y := x
				y[k] = draw{rng}.uniform(x[k], l.hi[k])
				assert.GreaterOrEqual(t, l.Expected(l.named(y)).L, was-0.02, "seed %d, %s from %v to %g", seed, c, x, y[k])
			}
		}
	})
}

// Base, center and white are where the drawing puts them, and base and white are
// read where they are.
func TestBaseCenterWhite(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry, _ string, seed uint64) {
		// As New draws it; no laundry here had its losses weakened to get there.
		lo, hi := 0.35, 0.6
		if l.process == "laccase-bath" {
			lo, hi = 0.2, 0.45
		}
		level := l.level([3]float64{l.center(0), l.center(1), l.center(2)})
		assert.True(t, lo-0.01 < level && level < hi+0.01, "seed %d: level %.3f, to what less cast may move it", seed, level)
		assert.LessOrEqual(t, l.level(l.hi), brightest, "seed %d", seed)
		base := l.Expected(l.named([3]float64{}))
		white := l.lab(l.fabric.white())
		assert.Less(t, base.L, white.L-30, "a third of the way from black to white, at least")
		rng := rand.New(rand.NewPCG(seed, 3))
		// Four panels whose dye differs by up to 3 %, and by noise of up to 0.8 %: at L* 20
		// to 30 and 80 to 95 an sd of up to 0.25.
		assert.Less(t, colorimetry.CIEDE2000{}.Diff(base, l.mean(l.base(rng))), 1.0)
		assert.Less(t, colorimetry.CIEDE2000{}.Diff(white, l.mean(l.white(rng))), 1.0)
	})
}

// A hundred lots lie about the expected shade: nearer than the 0.74 in which 95 % of
// the means of 16 are, see the package comment.
func TestLotsLieAboutExpected(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry, _ string, seed uint64) {
		rng := rand.New(rand.NewPCG(seed, 2))
		s := l.RandomSettings(rng)
		var mean colorimetry.Lab
		const n = 100
		for range n {
			c := l.Lot(rng, s)
			mean.L, mean.A, mean.B = mean.L+c.L/n, mean.A+c.A/n, mean.B+c.B/n
		}
		assert.Less(t, colorimetry.CIEDE2000{}.Diff(l.Expected(s), mean), 0.74, "seed %d at %v", seed, s)
	})
}

// The same seeds give the same bytes, which read as a table of the tool.
func TestTrials(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry, group string, seed uint64) {
		design, err := l.Ladder(12)
		require.NoError(t, err)
		again, err := New(group, seed)
		require.NoError(t, err)
		var a, b, c bytes.Buffer
		require.NoError(t, l.WriteTrials(&a, rand.New(rand.NewPCG(3, 3)), design))
		require.NoError(t, again.WriteTrials(&b, rand.New(rand.NewPCG(3, 3)), design))
		require.NoError(t, l.WriteTrials(&c, rand.New(rand.NewPCG(3, 4)), design))
		assert.Equal(t, a.String(), b.String())
		assert.NotEqual(t, a.String(), c.String())
		table, err := discharge.ReadTable("trials.csv", &a, nil)
		require.NoError(t, err)
		assert.Len(t, table.Lots, 15, "base, blank, white and 12 trials")
		for _, lots := range []int{-8, 0, 4, 10} {
			_, err = l.Ladder(lots)
			require.Error(t, err, "%d lots", lots)
		}
	})
}

// slope is the central difference of f at x, to about 1e-9.
func slope(f func(x float64) float64, x float64) float64 {
	const h = 1e-5
	return (f(x+h) - f(x-h)) / (2 * h)
}

// The closed forms solve the rate laws that they stand for (all from memory):
// dy/dx = -y^m; A → B → C, where dB/dx = A - kB; and, of a first order averaged
// over gamma-distributed rates, its slope. A central difference is good to 1e-9.
func TestClosedFormsSolveRateLaws(t *testing.T) {
	d := draw{rand.New(rand.NewPCG(5, 5))}
	for range 200 {
		x, m, k := d.log(0.01, 4), d.uniform(0.85, 1.8), d.log(0.05, 0.5)
		y := func(x float64) float64 { return remaining(x, m) }
		assert.InDelta(t, -math.Pow(y(x), m), slope(y, x), 1e-7, "order %g at %g", m, x)
		b := func(x float64) float64 { return intermediate(1, x, k) }
		assert.InDelta(t, math.Exp(-x)-k*b(x), slope(b, x), 1e-7, "rate %g at %g", k, x)
		f := newFiber(d, 0.1, 0.5)
		assert.InDelta(t, -f.bite(x), slope(f.left, x), 1e-7, "shape %g at %g", f.spread, x)
	}
	assert.InDelta(t, math.Exp(-2), remaining(2, 1), 1e-15)
	assert.InDelta(t, math.Exp(-2), remaining(2, 1+1e-5), 1e-4, "orders go over into the first")
	assert.Equal(t, 1.0, remaining(0, 1.5))
	assert.Zero(t, remaining(20, 0.9), "below first order dye comes to an end")
}

// The share of dye left is the mean of exp(-ax) over gamma-distributed a: by
// quantiles in the middle of n equal shares, whose error for a falling function
// between 1 and 0 is below 1/n.
func TestLeftAveragesOverAccess(t *testing.T) {
	const n = 1000
	d := draw{rand.New(rand.NewPCG(6, 6))}
	for range 5 {
		f, x := newFiber(d, 0.1, 0.5), d.log(0.1, 5)
		g, mean := distuv.Gamma{Alpha: f.spread, Beta: f.spread}, 0.0
		for i := range n {
			mean += math.Exp(-x*g.Quantile((float64(i)+0.5)/n)) / n
		}
		assert.InDelta(t, mean, f.left(x), 1.0/n, "shape %g at %g", f.spread, x)
	}
}

// What crosses the boundary layer is what reacts: put into the balance, the
// concentration at the fiber satisfies it to rounding.
func TestBoundaryLayerBalances(t *testing.T) {
	d := draw{rand.New(rand.NewPCG(7, 7))}
	for range 200 {
		f, c, transfer := newFiber(d, 0.1, 0.5), d.log(0.01, 5), d.log(0.4, 30)
		x := atFiber(c, transfer, f.affinity)
		assert.InEpsilon(t, f.coverage(x), transfer*(c-x), 1e-9, "%+v, %g, %g", f, c, transfer)
	}
}

// Without other losses, the permanganate used is what the destroyed dye takes. The
// integration takes steps of 0.05 min at rates below 1/min: fourth order leaves 1e-5.
func TestPermanganateBalances(t *testing.T) {
	d := draw{rand.New(rand.NewPCG(8, 8))}
	for range 100 {
		p := newPermanganate(d, "permanganate-stone")
		p.loss = 0
		o := p.run(d.log(0.02, 0.5), d.log(0.5, 2), d.log(0.5, 2), 12)
		used := p.brown * o.stray / (1 - o.stray)
		assert.InDelta(t, p.demand*(1-p.left(o.exposure)), used, 1e-4, "%+v", p)
	}
}

// Points and weights of Gauss and Legendre are exact for powers up to 2n - 1; they
// are written to eight digits.
func TestLayersIntegratePowers(t *testing.T) {
	at, mass := gaussLegendre()
	for power := range 2 * layers {
		sum := 0.0
		for j, z := range at {
			sum += mass[j] * math.Pow(z, float64(power))
		}
		assert.InDelta(t, 1/float64(power+1), sum, 5e-8, "power %d", power)
	}
}
