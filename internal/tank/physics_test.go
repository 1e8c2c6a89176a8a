package tank

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
)

// Means of the powers of a standard normal variable are 1, 0, 1, 0, 3, 0, 15, 0,
// 105 and 0, the products of odd numbers (from memory); five nodes reach the ninth.
func TestHermiteHasNormalMoments(t *testing.T) {
	nodes, shares := hermite()
	for n, want := range []float64{1, 0, 1, 0, 3, 0, 15, 0, 105, 0} {
		got := 0.0
		for i := range nodes {
			got += shares[i] * math.Pow(nodes[i], float64(n))
		}
		assert.InDelta(t, want, got, 1e-11*(1+want), "power %d, to the rounding of 16 digits", n)
	}
}

// Shells of one kind are one layer: without end its reflectance is the closed
// form of Kubelka and Munk; over a core of another kind it is that of a finite
// layer as thick as six shells [1].
func TestShellsAreLayers(t *testing.T) {
	l, err := New("hypochlorite", 1)
	require.NoError(t, err)
	c := l.cloth
	c.weft, c.gloss = 0, 0
	even, core := l.yarn.fresh(), l.yarn.fresh()
	for k := range even {
		for j := range shells {
			even[k].fast[j], even[k].slow[j] = 0.02, 0.01
			core[k].fast[j], core[k].slow[j] = 0.02, 0.01
		}
		core[k].fast[shells-1] = 5
	}
	endless, over := c.reflectance(even, variation{}), c.reflectance(core, variation{})
	for i := range bands {
		ks := c.ground[i] + 0.1*c.dye*(0.02*c.fast[i]+0.01*c.slow[i])
		assert.InDelta(t, colorimetry.FromKS(ks), endless[i], 1e-12)
		under := colorimetry.FromKS(c.ground[i] + 0.1*c.dye*(5*c.fast[i]+0.01*c.slow[i]))
		a := 1 + ks
		b := math.Sqrt(a*a - 1)
		coth := 1 / math.Tanh(b*c.shell*(shells-1))
		assert.InDelta(t, (1-under*(a-b*coth))/(a-under+b*coth), over[i], 1e-12)
	}
}

// At constant concentration both dyes fall by first order: exp(-k·c·t).
func TestConstantPoolGivesFirstOrder(t *testing.T) {
	l, err := New("hypochlorite", 1)
	require.NoError(t, err)
	l.supply, l.room = constant{}, 1
	y := &l.yarn
	y.spread, y.hidden, y.demand, y.half = 0, 1, 0, math.Inf(1) // all alike, nothing used up, no saturation
	const minutes = 12.0
	y.rate = 0.1
	garments, _ := l.treat(settings{1, 1, minutes}, variation{})
	for _, c := range garments {
		for j := range shells {
			// The film takes 1e-9 of a step to fill.
			assert.InDelta(t, math.Exp(-y.rate*0.7*minutes), c.fast[j]/(y.profile[j]*(1-y.slowShare)), 1e-7)
			assert.InDelta(t, math.Exp(-y.rate*0.7*minutes*y.slowRate), c.slow[j]/(y.profile[j]*y.slowShare), 1e-7)
		}
	}
}

// constant is a pool at concentration 0.7 that never empties.
type constant struct{}

func (constant) load(settings, float64, variation) tank {
	return tank{
		near: 0.7, far: 0.7, nearVol: 1e15, farVol: 1e15, holdup: 1e-3,
		rates: func(_, _, _ float64) rates { return rates{transfer: 1e9, attack: 1, penetration: 1} },
	}
}

// What flows into a yarn is what its shells use. In a flat yarn of even use it
// is φ·tanh φ of diffusion, the closed form of diffusion with a reaction of first
// order in a slab (Thiele; from memory), less at most a share of (φ/7)²/6: seven
// shells put the mean depth that oxidizer must pass, 1/3, too high by (1/7)²·(1/8 +
// 1/24), the first for concentrations at the middle of shells, the second for
// their sum; that counts most where little is used.
func TestYarnUsesWhatFlowsIn(t *testing.T) {
	for _, phi := range []float64{0.2, 0.5, 1, 2} {
		y := yarn{half: math.Inf(1), diffusion: 1, demand: 2, cotton: 0.5, slowRate: 0.3}
		for j := range shells {
			y.volume[j], y.face[j] = 1.0/shells, shells
		}
		var c cell
		var unit [shells]float64
		rate := phi * phi / (y.demand * y.cotton)
		in := y.profileOf(&c, rate, 1, &unit)
		use := 0.0
		for _, ox := range unit {
			use += ox * phi * phi / shells
		}
		assert.InDelta(t, use, in, rounding(&y), "φ %g", phi)
		short := 1 - in/(phi*math.Tanh(phi))
		assert.True(t, 0 < short && short < phi*phi/shells/shells/6, "φ %g: short by %g", phi, short)
	}
	l, err := New("ozone", 1)
	require.NoError(t, err)
	garments, _ := l.treat(l.center(), variation{})
	for _, c := range garments {
		var unit [shells]float64
		in := l.yarn.profileOf(&c, l.yarn.rate, 1, &unit)
		use := 0.0
		for j, ox := range unit {
			use += ox * l.yarn.volume[j] * l.yarn.rate / (1 + c.ox[j]/l.yarn.half) * l.yarn.demand * (c.fast[j] + l.yarn.slowRate*c.slow[j] + l.yarn.cotton)
		}
		assert.InDelta(t, use, in, rounding(&l.yarn))
		assert.Greater(t, in, 1e6*rounding(&l.yarn), "so that the line before says something")
	}
}

// rounding is what profileOf may lose: each shell's inflow is a conductance times
// 1 less a number near 1.
func rounding(y *yarn) float64 { return shells * 2 * y.diffusion * y.face[0] * 0x1p-52 }
