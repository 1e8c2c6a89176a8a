package film

import (
	"math"
	"math/rand/v2"
)

// draw is a source of randomness with the shapes used here.
type draw struct{ *rand.Rand }

// in is uniform.
func (d draw) in(lo, hi float64) float64 { return lo + (hi-lo)*d.Float64() }

// log is uniform in the logarithm.
func (d draw) log(lo, hi float64) float64 { return lo * math.Pow(hi/lo, d.Float64()) }

// yes with a chance.
func (d draw) yes(chance float64) bool { return d.Float64() < chance }

// A span of a factor in trials is drawn by its center and its width, both between
// ends.
type span struct {
	centerLo, centerHi float64
	widthLo, widthHi   float64 // highest over lowest setting
	digits             int     // after the point, as people set it
}

func (d draw) span(s span) (lo, hi float64) {
	center, width := d.log(s.centerLo, s.centerHi), d.log(s.widthLo, s.widthHi)
	unit := math.Pow(10, float64(s.digits))
	round := func(x float64) float64 { return math.Round(x*unit) / unit }
	return round(center / math.Sqrt(width)), round(center * math.Sqrt(width))
}

// traits are drawn for every process and used as each needs them.
type traits struct {
	scarce   bool    // oxidizer runs short
	slow     bool    // the start takes a good part of the shortest run
	cast     bool    // products, deposits or loose dye show
	start    float64 // minutes
	shortest float64 // run of the region, minutes
}

// drawChemistry draws what happens on the cloth and the supply of oxidizer.
func (l *Laundry) drawChemistry(d draw, group string) {
	t := traits{shortest: l.lo[minutes]}
	t.scarce = d.yes(0.35)
	if t.scarce {
		l.capacity = d.log(0.6, 1.4)
	} else {
		l.capacity = d.log(2, 12)
	}
	l.chemistry = newChemistry(d)
	t.slow = d.yes(0.4)
	t.start = d.in(0, 0.08) * t.shortest
	if t.slow {
		t.start = d.in(0.2, 0.6) * t.shortest
	}
	carries := d.yes(0.35)
	l.carryOver = d.in(0, 0.08) * t.shortest
	if carries {
		l.carryOver = d.in(0.15, 0.4) * t.shortest
	}
	t.cast = d.yes(0.3)
	switch group {
	case "permanganate":
		l.supply = newCarrier(d, t, &l.chemistry)
	case "hypochlorite":
		l.drawBath(d, t)
	case "laccase":
		l.drawEnzyme(d, t)
	case "ozone":
		l.drawGas(d, t)
	}
}

func newChemistry(d draw) chemistry {
	c := chemistry{order: 1, dyeOrder: 1}
	if d.yes(0.35) { // a front moves through the ring
		c.thiele = d.log(4, 25)
	} else {
		c.thiele = d.log(0.1, 2)
	}
	c.biot = d.log(3, 30)
	if d.yes(0.5) {
		c.order = d.in(0.55, 1.15)
	}
	if d.yes(0.5) {
		c.dyeOrder = d.in(0.67, 1.4)
	}
	c.yellowYield, c.yellowRate, c.yellowUse = d.in(0, 0.3), d.log(0.1, 0.8), d.in(0.3, 1)
	c.parasitic = d.in(0, 0.3)
	if d.yes(0.2) {
		c.parasitic = d.in(0.4, 1)
	}
	return c
}

// overoxidized makes more yellow products, which go more slowly.
func (c *chemistry) overoxidized(d draw) {
	c.yellowYield, c.yellowRate = d.in(0.35, 0.8), d.log(0.05, 0.3)
}

func newCarrier(d draw, t traits, on *chemistry) carrier {
	on.brown = d.in(0, 0.0005)
	if t.cast {
		on.brown = d.in(0.001, 0.004)
	}
	on.abrasion = d.in(0, 0.25)
	c := carrier{
		wetting: t.start,
		refill:  d.log(0.2, 4), skin: d.in(0.15, 0.5), contact: d.log(0.5, 3),
		byRatio: d.in(0.6, 1), crowding: d.in(0, 1), back: d.in(0, 1), decay: d.log(0.2, 4),
	}
	on.yellowYield *= 0.5
	on.backstain = d.in(0, 0.004)
	return c
}

func (l *Laundry) drawBath(d draw, t traits) {
	b := bath{dosing: t.start, decay: d.in(0, 0.3), pH: d.in(9.3, 11), souring: d.in(0, 0.4)}
	if d.yes(0.35) {
		b.souring = d.in(0.7, 1.6)
	}
	b.acid = d.log(10, 80)
	l.supply = b
	l.warming = d.in(0.4, 0.9)
	if t.cast {
		l.chemistry.overoxidized(d)
	}
	l.chemistry.backstain = d.in(0, 0.006)
}

func (l *Laundry) drawEnzyme(d draw, t traits) {
	l.supply = enzyme{
		lag: t.start, death: d.log(0.1, 2), oxygen: d.log(0.4, 6), mediatorUse: d.log(0.05, 1), fading: d.log(5, 40),
	}
	l.chemistry.backstain = d.in(0.002, 0.012)
	if t.cast {
		l.chemistry.backstain = d.in(0.02, 0.06)
	}
	if d.yes(0.2) { // what becomes of the mediator
		l.chemistry.brown = d.in(0.0008, 0.003)
	}
	if t.scarce {
		l.capacity = d.log(0.3, 1)
	}
}

func (l *Laundry) drawGas(d draw, t traits) {
	g := gas{center: l.center[second], filling: d.in(0.05, 0.3) * t.shortest}
	if t.slow {
		g.filling = d.in(0.3, 0.8) * t.shortest
	}
	g.breakdown = d.in(0, 0.6)
	switch {
	case d.yes(0.35):
		g.best = l.center[second] * d.in(0.85, 1.2)
	case d.yes(0.6):
		g.best = l.hi[second] * d.in(1, 1.6)
	default:
		g.best = l.lo[second] * d.in(0.6, 1)
	}
	g.steepness = d.in(0.8, 2.2)
	g.drying = d.in(0, 0.15)
	if d.yes(0.25) {
		g.drying = d.in(0.2, 0.5)
	}
	l.supply = g
	if t.cast {
		l.chemistry.overoxidized(d)
	}
	l.chemistry.backstain = d.in(0, 0.003)
	if t.scarce {
		l.capacity = d.log(0.15, 0.6)
	}
}
