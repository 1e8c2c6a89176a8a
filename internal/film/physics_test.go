package film

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
)

// Layers of one kind are one layer: without end its reflectance is the closed form
// of Kubelka and Munk, 1 + K/S - √((K/S)² + 2K/S) [2]; over the core it is that of
// a finite layer as thick as all of them [1].
func TestLayersAreOneLayer(t *testing.T) {
	l, err := New("hypochlorite", 1)
	require.NoError(t, err)
	f := l.fabric
	f.weft, f.gloss = 0, 0
	const dye = 0.003
	face := f.fresh(1)
	for k := range face {
		c := &face[k]
		for j := range layers {
			c.indigo[j], c.sulfur[j], c.brown[j] = dye, 0, 0
		}
	}
	finite := f.reflectance(face, 0)
	f.thickness = 1000
	thick := f.reflectance(face, 0)
	for i := range bands {
		depth := f.depth * f.indigo[i] * f.total * dye
		ks := f.ground[i] + depth
		assert.InDelta(t, 1+ks-math.Sqrt(ks*ks+2*ks), thick[i], 1e-12)
		core := colorimetry.FromKS(f.ground[i] + 0.01*depth)
		a := 1 + ks
		b := math.Sqrt(a*a - 1)
		coth := 1 / math.Tanh(b*l.fabric.thickness)
		assert.InDelta(t, (1-core*(a-b*coth))/(a-core+b*coth), finite[i], 1e-12)
	}
}

// Across a slab with even dye the oxidizer falls as cosh φ(1-z) over cosh φ + φ/Bi
// sinh φ, the closed form of diffusion with a reaction of first order behind a
// boundary layer [3, 4]. Ten layers are off by a share of up to (φ/10)²/8, the term
// of second order that a straight line over half a layer leaves out.
func TestOxidizerAcrossTheRing(t *testing.T) {
	l, err := New("ozone", 1)
	require.NoError(t, err)
	var c cell
	for j := range layers {
		c.indigo[j] = 1.0 / layers
	}
	for _, phi := range []float64{0.2, 0.5, 1, 2, 4} {
		for _, biot := range []float64{3, 30, 1e9} {
			l.chemistry.thiele, l.chemistry.biot = phi*phi/(1+0.15), biot
			for j, in := range l.profile(&c) {
				z := (float64(j) + 0.5) / layers
				want := math.Cosh(phi*(1-z)) / (math.Cosh(phi) + phi/biot*math.Sinh(phi))
				assert.InDelta(t, 1, in/want, 1.01*phi*phi/layers/layers/8, "φ %g, Bi %g, layer %d", phi, biot, j)
			}
		}
	}
}

// constant is a film that nothing empties.
type constant float64

func (c constant) fill(load) source { return c }
func (c constant) lasting() supply  { return c }
func (c constant) offer(step) offer { return offer{film: float64(c), quicker: 1} }

// In a film of constant concentration x that reaches all of the ring, dye follows
// the law of its order m, dC/dt = -k·xⁿ·Cᵐ: exp(-kxⁿt) for m = 1 and (1 +
// (m-1)kxⁿt) to the power -1/(m-1) for others.
func TestConstantFilmFollowsTheOrders(t *testing.T) {
	l, err := New("hypochlorite", 1)
	require.NoError(t, err)
	const x, rate = 1.7, 1.3
	l.supply, l.rate, l.carryOver = constant(x), rate, 1e-9
	l.chemistry = chemistry{biot: 1e12}
	for _, n := range []float64{0.6, 1, 1.1} {
		for _, m := range []float64{0.7, 1, 1.4} {
			l.chemistry.order, l.chemistry.dyeOrder = n, m
			want, tol := math.Exp(-rate*math.Pow(x, n)), 1e-6
			if m != 1 {
				// 70 steps take dye by its share at their start: first order in their length.
				want, tol = math.Pow(1+(m-1)*rate*math.Pow(x, n), -1/(m-1)), 0.003
			}
			face := l.treat(l.center, even())
			for j, dye := range face[0].indigo {
				assert.InDelta(t, want, dye*l.fabric.total/l.fabric.profile[j], tol, "orders %g and %g", n, m)
			}
		}
	}
}

// Without oxidizer wear alone takes dye, exp(-abrasion·time) at the surface, and
// nothing else comes of it.
func TestWithoutOxidizerNothingChangesButWear(t *testing.T) {
	each(t, 4, func(t *testing.T, l *Laundry, group string, _ uint64) {
		x := l.center
		x[strength] = 0
		x[minutes] *= 2
		was, is := l.fabric.fresh(1), l.treat(x, even())
		for k := range is {
			assert.InDelta(t, math.Exp(-2*l.chemistry.abrasion*is[k].exposure), is[k].indigo[0]/was[k].indigo[0], 1e-12)
			assert.Zero(t, is[k].brown)
			assert.Zero(t, is[k].yellow)
		}
		face, base := l.lab(l.run(x, even())), l.lab(l.base(1))
		if group == "permanganate" { // carriers rub
			assert.Greater(t, face.L, base.L)
			return
		}
		assert.Equal(t, was, is)
		assert.Equal(t, base, face)
	})
}

// The dye never takes more oxidizer than was charged, blown in or, of an enzyme,
// made at its full speed, not even where it reacts twenty times as quickly.
func TestDyeTakesNoMoreThanCharged(t *testing.T) {
	each(t, 4, func(t *testing.T, l *Laundry, _ string, seed uint64) {
		l.chemistry.abrasion = 0 // takes dye, too
		rng := rand.New(rand.NewPCG(seed, 4))
		for _, quicker := range []float64{1, 20} {
			l.rate *= quicker
			for range 10 {
				x := l.of(l.RandomSettings(rng))
				charged := l.charged(x)
				used := l.usedBy(l.treat(x, even())) / l.capacity
				assert.True(t, 0 < used && used <= charged, "%g used of %g", used, charged)
			}
		}
	})
}

// charged is the oxidizer that a load gets at most, in units of the charge of the
// center or, of what is made or blown in as time goes, of its time at 1.
func (l *Laundry) charged(x settings) float64 {
	s, r, time := x[strength]/l.center[strength], x[second]/l.center[second], x[minutes]/l.center[minutes]
	switch z := l.supply.(type) {
	case enzyme: // none dies, all mediator stays
		e := s / r
		made := e / (1 + e/z.oxygen) * (1 + 1/z.oxygen) * e / (0.3 + e) * 1.3
		return r * made * (time + l.carryOver/l.center[minutes])
	case gas:
		return s * time
	default:
		return s * r
	}
}

// usedBy is the oxidizer that the face has used, in units of what all indigo takes.
func (l *Laundry) usedBy(face []cell) (used float64) {
	was := l.fabric.fresh(1)
	for k := range face {
		for j := range layers {
			indigo, sulfur := was[k].indigo[j]-face[k].indigo[j], was[k].sulfur[j]-face[k].sulfur[j]
			yellow := l.chemistry.yellowYield*indigo - face[k].yellow[j]
			used += face[k].area * (indigo + sulfur + l.chemistry.yellowUse*yellow)
		}
	}
	return used
}

// Of a carrier whose oxidizer does not decay, core, skin and film hold all of it
// at any time, and at rest the core is as full as the skin. A bath keeps what it was
// dosed with, and a gas comes to its feed over 1 + breakdown.
func TestNothingUsedIsNothingLost(t *testing.T) {
	each(t, 3, func(t *testing.T, l *Laundry, _ string, _ uint64) {
		full := load{strength: 1.3, second: 0.8, raw: l.center[second], capacity: l.capacity}
		switch s := l.supply.(type) {
		case carrier:
			s.decay = 0
			run := s.fill(full).(*carrierRun)
			for _, step := range l.steps(l.hi[minutes]) {
				film := run.offer(step).film
				assert.InDelta(t, 1.3*0.8, run.within+run.outside+film, 1e-12)
			}
			s.contact = 0
			rest := s.fill(full).(*carrierRun)
			rest.within, rest.outside = 1, 0
			for _, step := range l.steps(1000 * l.hi[minutes]) {
				rest.offer(step)
			}
			assert.InDelta(t, s.skin, rest.outside, 1e-9)
		case bath:
			s.decay = 0
			run := s.fill(full)
			for _, step := range l.steps(l.hi[minutes]) {
				film := run.offer(step).film
				if step.at-step.minutes >= s.dosing {
					assert.InDelta(t, 1.3, film, 1e-12)
				}
			}
		case gas:
			run := s.fill(full)
			inside := 0.0
			for _, step := range l.steps(1000 * l.hi[minutes]) {
				if !step.drained {
					inside = run.offer(step).film
				}
			}
			assert.InDelta(t, 1.3/(1+s.breakdown), inside, 1e-9)
		}
	})
}

// Half of chlorine is acid at its pKa, next to all far below it and next to none
// far above: Henderson and Hasselbalch's equation [6]. Gas attacks best at the best
// moisture.
func TestPHAndMoisture(t *testing.T) {
	b := bath{acid: 41}
	assert.InDelta(t, 21, b.quickness(7.5), 1e-12)
	assert.InDelta(t, 41, b.quickness(1.5), 1e-4)
	assert.InDelta(t, 1, b.quickness(13.5), 1e-4)
	g := gas{best: 45, steepness: 1.6}
	for _, off := range []float64{0.5, 0.99, 1.01, 2} {
		assert.Less(t, g.damp(45*off), g.damp(45))
	}
}
