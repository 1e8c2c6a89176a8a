package film

import "math"

// A supply is the way oxidizer reaches a film on the cloth.
type supply interface {
	// fill loads the machine.
	fill(l load) source
	// lasting is the supply with which cloth is made white.
	lasting() supply
}

// A load is what a machine is filled with.
type load struct {
	strength float64 // over that of the center
	second   float64 // the same
	raw      float64 // second factor in its own unit
	capacity float64 // dye that the oxidizer of the center can destroy, over that of the cloth
}

// A step of a run.
type step struct {
	at       float64 // middle, minutes
	minutes  float64 // length
	dt       float64 // the same, over the center time
	drained  bool    // the time is over, what the cloth holds goes on
	lastUsed float64 // use of oxidizer in the step before, as attack returns it
}

// A source is a filled machine. It is asked for each step in the order of time.
type source interface{ offer(s step) offer }

// An offer is the film on the cloth in a step.
type offer struct {
	film    float64 // concentration over that at the center
	quicker float64 // factor on the rate of attack
}

// A carrier holds permanganate in its core, which passes to its skin and from
// there, by contacts, to the film on the cloth, where it also decays.
type carrier struct {
	wetting  float64 // minutes
	refill   float64 // of the skin from the core
	skin     float64 // share of what the carrier holds
	contact  float64 // transfer at the center
	byRatio  float64 // power of contacts in the ratio
	crowding float64 // of carriers, which are in each other's way
	back     float64 // from the film to the skin, over the other way
	decay    float64 // in the film
}

type carrierRun struct {
	carrier
	load
	within, outside, film float64 // core, skin, cloth
}

// mostOfSkin is the share of the skin that goes to the film in one step at most.
const mostOfSkin = 0.9

func (c carrier) fill(l load) source {
	all := l.strength * l.second
	return &carrierRun{carrier: c, load: l, within: all * (1 - c.skin), outside: all * c.skin}
}

func (c carrier) lasting() supply {
	c.decay *= 0.2
	return c
}

func (c *carrierRun) offer(s step) offer {
	out := (c.within/(1-c.skin) - c.outside/c.skin) * (1 - math.Exp(-c.refill*s.dt)) * c.skin * (1 - c.skin)
	c.within -= out
	c.outside += out
	if !s.drained {
		wet := 1 - math.Exp(-math.Pow(s.at/c.wetting, 1.5))
		met := math.Pow(c.second, c.byRatio)
		passing := c.contact * met * (1 + c.crowding) / (1 + c.crowding*met) * wet * s.dt
		given := (c.outside/(c.second*c.skin) - c.back*c.film) * (1 - math.Exp(-passing))
		given = math.Min(given, c.outside*mostOfSkin)
		c.film += given
		c.outside -= given
	}
	c.film /= 1 + s.dt*(c.decay+s.lastUsed/c.capacity)
	return offer{c.film, 1}
}

// A bath is dosed with hypochlorite, which decays and is used up. What is gone
// lets the pH fall, and hypochlorous acid attacks quicker than hypochlorite.
type bath struct {
	dosing  float64 // minutes
	decay   float64
	pH      float64 // at the start
	souring float64 // fall of pH by what is gone
	acid    float64 // rate of hypochlorous acid over that of hypochlorite
}

type bathRun struct {
	bath
	load
	dosed, chlorine, gone float64 // gone is per liquor
}

const (
	pKa        = 7.5  // of hypochlorous acid at 25 °C [6]
	liquorHeld = 0.25 // by the cloth once drained, over that of the center
)

func (b bath) fill(l load) source { return &bathRun{bath: b, load: l} }

func (b bath) lasting() supply { return b }

func (b *bathRun) offer(s step) offer {
	liquor := b.second
	all, dose := b.strength*liquor, 0.0
	switch rest := math.Max(0, all-b.dosed); {
	case s.at < b.dosing:
		dose = math.Min(all/b.dosing*s.minutes, rest)
	case s.at-s.minutes < b.dosing:
		dose = rest
	}
	b.dosed += dose
	before := b.chlorine + dose
	holds := liquor
	if s.drained {
		holds = liquorHeld
	}
	b.chlorine = before / (1 + s.dt*(b.decay+s.lastUsed/(b.capacity*holds)))
	b.gone += (before - b.chlorine) / liquor
	return offer{b.chlorine / liquor, b.quickness(b.pH-b.souring*b.gone) / b.quickness(b.pH)}
}

// quickness of attack at a pH, over that of hypochlorite alone.
func (b *bath) quickness(pH float64) float64 {
	acid := 1 / (1 + math.Pow(10, pH-pKa)) // share, Henderson and Hasselbalch's equation [6]
	return acid*b.acid + 1 - acid
}

// An enzyme oxidizes a mediator with oxygen; it dies, and the mediator is used
// up. More liquor dilutes both.
type enzyme struct {
	lag         float64 // minutes
	death       float64
	oxygen      float64 // enzyme that uses half of the oxygen there can be
	mediatorUse float64
	fading      float64 // of the oxidized mediator
}

type enzymeRun struct {
	enzyme
	load
	alive, mediator, film float64
}

const (
	halfMediator  = 0.3 // mediator at which the enzyme works at half its speed
	drainedEnzyme = 0.5 // its activity once drained, over that before
)

func (z enzyme) fill(l load) source {
	all := l.strength / l.second
	return &enzymeRun{enzyme: z, load: l, alive: all, mediator: all}
}

func (z enzyme) lasting() supply {
	z.death, z.mediatorUse = 0.02, 0
	return z
}

func (z *enzymeRun) offer(s step) offer {
	active := 1 - math.Exp(-s.at/z.lag)
	if s.drained {
		active *= drainedEnzyme
	}
	z.alive *= math.Exp(-z.death * s.dt)
	mediator := math.Max(z.mediator, 0)
	made := z.alive / (1 + z.alive/z.oxygen) * (1 + 1/z.oxygen) * active * mediator / (halfMediator + mediator) * (1 + halfMediator)
	z.film = (z.film + s.dt*made*z.fading) / (1 + s.dt*(z.fading+s.lastUsed/(z.capacity*z.second)*z.fading))
	z.mediator -= z.mediatorUse * s.dt * z.film * z.mediator
	return offer{z.film, 1}
}

// A gas is fed into a drum that it fills, and leaves, breaks down or is used up
// there. It attacks best at a moisture of the cloth, which dries.
type gas struct {
	center    float64 // moisture of the region, %
	filling   float64 // minutes
	breakdown float64 // over what leaves
	best      float64 // moisture, %
	steepness float64 // about it
	drying    float64
}

type gasRun struct {
	gas
	load
	inside, moisture float64
}

func (g gas) fill(l load) source { return &gasRun{gas: g, load: l, moisture: l.raw} }

func (g gas) lasting() supply {
	g.drying = 0
	return g
}

func (g *gasRun) offer(s step) offer {
	feed := g.strength
	if s.drained {
		feed = 0
	}
	turned := s.minutes / g.filling
	g.inside = (g.inside + turned*feed) / (1 + turned*(1+g.breakdown+s.lastUsed/g.capacity))
	g.moisture *= math.Exp(-g.drying * s.dt)
	return offer{g.inside, g.damp(g.moisture) / g.damp(g.center)}
}

// damp is the readiness of cloth of a moisture: dry cloth does not react, a film of
// water keeps gas out.
func (g *gas) damp(moisture float64) float64 {
	x := math.Pow(moisture/g.best, g.steepness)
	return x / ((1 + x) * (1 + x))
}
