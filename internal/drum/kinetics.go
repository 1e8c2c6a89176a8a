package drum

import "math"

// A run is what a process is asked for. Strength, second and time are in units
// of the region's center; raw is the second factor in its own unit.
type run struct {
	strength, second, raw, time float64
	rate                        float64
	cloth                       *cloth
}

// An exposure is what the cloth has gone through.
type exposure struct {
	dose   float64 // mean attack on the dye at the surface of touched cloth
	spread float64 // sd of ln dose over the face of the cloth
	bare   float64 // share of the face that nothing has touched
	reach  float64 // factor on the depth of attack in the yarn
	time   float64 // in units of the center
	cast   float64 // factor on brown and stain
}

type kinetics interface {
	run(r run, e *exposure)
}

// steps of integration: enough for the quickest filling of a drum with gas.
const steps = 160

// A drum brings cloth and carrier together at random. A patch of cloth meets
// pieces of carrier in a Poisson process; each meeting passes on what the
// surface of the piece has to give. The surface is drained by meetings, fed
// from inside the piece, decays, and is sealed by manganese dioxide.
type drum struct {
	contacts  float64 // per patch by the center time
	crowding  float64 // of carrier, by ratio
	onset     float64 // time until the carrier is spread through the load
	drain     float64 // of the surface, by meetings
	feed      float64 // from the inside to the surface
	reserve   float64 // of the inside, over that of the surface
	decay     float64
	seal      float64 // by manganese dioxide
	langmuir  float64 // uptake of the cloth
	delay     float64 // between deposit and attack
	uneven    float64 // coefficient of variation of one meeting, squared
	roughness float64
	reachTime float64
}

func newDrum(d draw) *drum {
	return &drum{
		contacts: d.log(4, 60),
		crowding: d.bend(0.05, 2.5) * curvatureScale,
		onset:    d.in(0, 0.35) * curvatureScale,
		drain:    d.bend(0.1, 2) * depletionScale,
		feed:     d.log(0.1, 3),
		reserve:  d.log(0.5, 5),
		decay:    d.bend(0.03, 0.7) * depletionScale,
		seal:     d.bend(0.02, 0.7) * depletionScale,
		langmuir: d.bend(0.03, 0.8) * curvatureScale,
		delay:    d.bend(0.02, 0.5) * curvatureScale,
		uneven:   d.in(0.2, 1.5),

		roughness: d.in(0.1, 0.5),
		reachTime: d.in(0, 0.3),
	}
}

func (m *drum) run(r run, e *exposure) {
	crowd := (1 + m.crowding) / (1 + m.crowding*r.second)
	meetings := m.contacts * r.second * crowd
	uptake := r.strength * (1 + m.langmuir) / (1 + m.langmuir*r.strength)
	drain := m.drain * crowd
	h := r.time / steps
	surface, inside, given := 1.0, 1.0, 0.0
	slopes := func(s, i float64) (float64, float64) {
		flow := m.feed * (i - s)
		return flow - (drain+m.decay)*s, -flow/m.reserve - m.decay*i
	}
	var n, mean, square float64
	for k := range steps {
		s1, i1 := slopes(surface, inside)
		s2, i2 := slopes(surface+h/2*s1, inside+h/2*i1)
		at := (float64(k) + 0.5) * h
		mid := surface + h/2*s1
		given += h * drain * mid
		deposit := uptake * mid / (1 + m.seal*r.strength*given)
		acted := 1 - math.Exp(-(r.time-at)/m.delay)
		often := meetings * (1 - math.Exp(-at/(m.onset+1e-6)))
		n += h * often
		mean += h * often * deposit * acted
		square += h * often * math.Pow(deposit*acted, 2) * (1 + m.uneven)
		surface, inside = surface+h*s2, inside+h*i2
	}
	e.bare = math.Exp(-n)
	touched := 1 - e.bare
	e.dose = r.rate * mean / m.contacts / touched
	e.spread = math.Sqrt(math.Log(math.Max(1, (square/(mean*mean)+1)*touched)) + m.roughness*m.roughness)
	e.reach = math.Pow(r.time, m.reachTime)
}

// A bath is well mixed: chlorine attacks dye, is spent on dye and cellulose,
// and decays in second order; as it is spent the pH falls and it bites harder.
type bath struct {
	order     float64 // in chlorine
	wetting   float64
	mixing    float64 // of wetting, by liquor
	dye       float64 // chlorine that the dye takes at center strength and liquor
	cotton    float64 // spent on cellulose and size
	decay     float64 // second order
	souring   float64
	langmuir  float64
	roughness float64
	folds     float64 // unevenness of rope and folds, less with liquor
	reachTime float64
}

func newBath(d draw) *bath {
	return &bath{
		order:    d.in(0.7, 1.15),
		wetting:  d.in(0.01, 0.4) * curvatureScale,
		mixing:   d.in(0, 0.8),
		dye:      d.bend(0.05, 0.8) * depletionScale,
		cotton:   d.bend(0.05, 1) * depletionScale,
		decay:    d.bend(0.02, 0.6) * depletionScale,
		souring:  d.in(0, 1.2),
		langmuir: d.bend(0.02, 0.6) * curvatureScale,

		roughness: d.in(0.1, 0.5),
		folds:     d.in(0.05, 0.4),
		reachTime: d.in(0.05, 0.4),
	}
}

func (b *bath) run(r run, e *exposure) {
	e.reach = math.Pow(r.time, b.reachTime)
	e.spread = math.Hypot(b.roughness, b.folds*math.Pow(r.second, -0.3))
	wet := b.wetting * math.Pow(r.second, -b.mixing)
	h := r.time / steps
	slopes := func(at, c, dose float64) (dc, dd float64) {
		c = max(c, 0)
		bite := math.Pow(c, b.order) * (1 + b.langmuir) / (1 + b.langmuir*c) *
			(1 + b.souring*(1-c/r.strength))
		w := 1 - math.Exp(-at/(wet+1e-6))
		dd = r.rate * bite * w
		spent := b.dye*r.cloth.taken(dose)*dd + b.cotton*c*w
		return -spent/r.second - b.decay*c*c, dd
	}
	e.dose = integrate(h, r.strength, slopes)
	e.dose *= spreadMean(e.spread)
}

// An enzyme works with a mediator and the oxygen of the air. It dies; the
// mediator is used up; oxygen limits what strong baths can do; liquor dilutes
// it and moves the garments.
type enzyme struct {
	order     float64
	dilution  float64 // exponent of the liquor ratio
	oxygen    float64 // saturation
	death     float64
	mediator  float64
	wetting   float64
	roughness float64
	folds     float64
	reachTime float64
}

func newEnzyme(d draw) *enzyme {
	return &enzyme{
		order:    d.in(0.7, 1.1),
		dilution: d.in(-0.9, 0.4),
		oxygen:   d.bend(0.1, 1.6) * curvatureScale,
		death:    d.bend(0.05, 1.2) * depletionScale,
		mediator: d.bend(0.05, 0.8) * depletionScale,
		wetting:  d.in(0.02, 0.45) * curvatureScale,

		roughness: d.in(0.1, 0.4),
		folds:     d.in(0.05, 0.3),
		reachTime: d.in(0, 0.3),
	}
}

func (z *enzyme) run(r run, e *exposure) {
	e.reach = math.Pow(r.time, z.reachTime)
	e.spread = math.Hypot(z.roughness, z.folds*math.Pow(r.second, -0.5))
	strength := math.Pow(r.strength, z.order) * math.Pow(r.second, z.dilution)
	slopes := func(at, med, dose float64) (dm, dd float64) {
		v := strength * math.Exp(-z.death*at) * max(med, 0)
		v *= (1 + z.oxygen) / (1 + z.oxygen*v)
		w := 1 - math.Exp(-at/z.wetting)
		return -z.mediator * v * w / max(strength, 1e-12), r.rate * v * w
	}
	e.dose = integrate(r.time/steps, 1, slopes)
	e.dose *= spreadMean(e.spread)
}

// A gas fills the drum, is taken up through the water in the cloth and decays.
// Dry cloth does not react, soaked cloth keeps the gas out, and the stream
// dries the cloth.
type gas struct {
	filling   float64 // drums of gas by the center time
	uptake    float64 // by dye, against the stream
	cotton    float64
	decay     float64
	best      float64 // moisture, %
	width     float64 // in ln moisture
	drying    float64
	langmuir  float64
	roughness float64
	folds     float64
	reachTime float64
	reachWet  float64
}

func newGas(d draw) *gas {
	g := &gas{
		filling:  d.log(3, 30),
		best:     d.in(38, 68),
		width:    d.in(0.45, 0.95),
		drying:   d.in(0, 0.4),
		langmuir: d.bend(0.03, 0.8) * curvatureScale,

		roughness: d.in(0.1, 0.5),
		folds:     d.in(0.05, 0.5),
		reachTime: d.in(0, 0.3),
		reachWet:  d.in(0, 0.3),
	}
	g.uptake = g.filling * d.bend(0.05, 1.2) * depletionScale
	g.cotton = d.in(0.1, 0.8)
	g.decay = g.filling * d.bend(0.01, 0.3) * depletionScale
	return g
}

func (g *gas) run(r run, e *exposure) {
	e.reach = math.Pow(r.time, g.reachTime) * math.Pow(r.second, -g.reachWet)
	e.spread = math.Hypot(g.roughness, g.folds*math.Pow(r.time, -0.3))
	slopes := func(at, c, dose float64) (dc, dd float64) {
		x := (math.Log(r.raw/g.best) - g.drying*at) / g.width
		open := math.Exp(-curvatureScale * x * x / 2)
		left := r.cloth.taken(dose)
		dc = g.filling*(r.strength-c) - g.uptake*open*c*(g.cotton+(1-g.cotton)*left) - g.decay*c
		return dc, r.rate * open * c * (1 + g.langmuir) / (1 + g.langmuir*c)
	}
	e.dose = integrate(r.time/steps, 0, slopes)
	e.dose *= spreadMean(e.spread)
}

// integrate is the dose from 0 on while y runs from its start, over steps of h,
// by the classical Runge-Kutta rule.
func integrate(h, y float64, slopes func(at, y, dose float64) (dy, dd float64)) (dose float64) {
	for k := range steps {
		at := float64(k) * h
		y1, d1 := slopes(at, y, dose)
		y2, d2 := slopes(at+h/2, y+h/2*y1, dose+h/2*d1)
		y3, d3 := slopes(at+h/2, y+h/2*y2, dose+h/2*d2)
		y4, d4 := slopes(at+h, y+h*y3, dose+h*d3)
		y += h / 6 * (y1 + 2*y2 + 2*y3 + y4)
		dose += h / 6 * (d1 + 2*d2 + 2*d3 + d4)
	}
	return dose
}

// spreadMean is the mean of a log-normal dose over its median.
func spreadMean(sd float64) float64 { return math.Exp(sd * sd / 2) }
