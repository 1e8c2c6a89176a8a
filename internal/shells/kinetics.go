package shells

import "math"

// Time is in units of the region's center, strength and second factor too.

// kinetics is a kind of process.
type kinetics interface {
	// load fills the machine.
	load(strength, second float64) supply
}

// A supply is what a run has of oxidizer.
type supply interface {
	// offer is what the cloth meets for dt around a time.
	offer(at, dt float64) offer
	// spend takes from the supply what the cloth has used of the last offer and
	// returns the K/S of what lies on the cloth by now.
	spend(used, dt float64) (deposit float64)
}

// An offer of oxidizer to the surface of the yarn.
type offer struct {
	concentration float64
	quicker       float64 // factor on the rate of attack
	deeper        float64 // factor on diffusion
}

// A carrier gives its permanganate up to the cloth, where it reacts or decays to
// manganese dioxide, which speeds the decay and stays as a brown deposit.
type carrier struct {
	giving   float64 // rate
	crowding float64 // of giving, by ratio
	drying   float64 // time in which giving ceases
	decay    float64
	catalyst float64 // manganese dioxide's effect on decay
	order    float64 // of the attack, in permanganate
	brown    float64 // K/S of manganese dioxide
	charge   float64 // by strength and ratio, in units of all dye

	ratio, held, free, manganese float64 // of a run
}

// manganeseUse is what attack leaves of manganese dioxide, over what decay does.
const manganeseUse = 0.5

func newCarrier(d draw) carrier {
	return carrier{
		giving: d.in(0.8, 3), crowding: d.in(0.1, 0.8), drying: d.in(0.7, 3),
		decay: d.in(0.3, 1.2), catalyst: d.in(0, 1), order: d.in(0.7, 1.1),
		brown: d.log(0.02, 0.12), charge: d.log(0.8, 4),
	}
}

func (c carrier) load(strength, second float64) supply {
	c.ratio, c.held = second, strength*second*c.charge
	return &c
}

func (c *carrier) offer(at, dt float64) offer {
	rate := c.giving / (1 + c.crowding*c.ratio) * math.Exp(-at/c.drying)
	given := c.held * (1 - math.Exp(-rate*dt))
	c.held -= given
	c.free += given
	decayed := c.free * (1 - math.Exp(-c.decay*(1+c.catalyst*c.manganese)*dt))
	c.free -= decayed
	c.manganese += decayed
	return offer{concentration: math.Pow(c.free, c.order), quicker: 1, deeper: 1}
}

func (c *carrier) spend(used, _ float64) (deposit float64) {
	used = min(used, c.free)
	c.free -= used
	c.manganese += manganeseUse * used
	return c.brown * c.manganese
}

// A bath of hypochlorite wets the cloth, decays in first and second order and is
// spent by the cloth; as it is, the bath sours and bites harder.
type bath struct {
	wetting float64 // time
	decay   float64 // first order
	clash   float64 // second order
	souring float64
	mixing  float64 // power of the liquor
	charge  float64 // by strength and liquor, in units of all dye

	strength, liquor, chlorine, used float64 // of a run
}

// buffer of the bath against souring.
const buffer = 0.3

func newBath(d draw) bath {
	return bath{
		wetting: d.in(0.03, 0.2), decay: d.in(0.05, 0.5), clash: d.in(0.05, 0.6),
		souring: d.in(0, 1.5), mixing: d.in(0.05, 0.3), charge: d.log(0.8, 4),
	}
}

func (b bath) load(strength, second float64) supply {
	b.strength, b.liquor, b.chlorine = strength, second, strength
	return &b
}

func (b *bath) offer(at, dt float64) offer {
	b.chlorine /= 1 + (b.decay+b.clash*b.chlorine)*dt
	return offer{
		concentration: b.chlorine * (1 - math.Exp(-at/b.wetting)) * math.Pow(b.liquor, b.mixing),
		quicker:       1 + b.souring*b.used/(b.charge*b.liquor*b.strength+buffer),
		deeper:        1,
	}
}

func (b *bath) spend(used, _ float64) (deposit float64) {
	b.used += used
	b.chlorine = max(0, b.chlorine-used/(b.charge*b.liquor))
	return 0
}

// An enzyme works through a mediator, dies, and uses the mediator up; more
// liquor dilutes it, the less so the more of it sits on the cloth anyway.
type enzyme struct {
	sitting float64 // share that liquor does not dilute, a power
	death   float64
	half    float64 // mediator at which the enzyme works at half its speed
	using   float64 // of mediator

	active, mediator float64 // of a run; active if none had died
	working          float64 // in the last offer
}

// enzymeWetting is a time.
const enzymeWetting = 0.08

func newEnzyme(d draw) enzyme {
	return enzyme{sitting: d.in(0.1, 0.8), death: d.in(0.3, 1.5), half: d.in(0.1, 1.2), using: d.in(0.1, 0.8)}
}

func (z enzyme) load(strength, second float64) supply {
	z.active, z.mediator = strength/math.Pow(second, 1-z.sitting), strength
	return &z
}

func (z *enzyme) offer(at, dt float64) offer {
	z.working = z.active * math.Exp(-z.death*at)
	x := z.working * z.mediator / (z.mediator + z.half) * (1 - math.Exp(-at/enzymeWetting))
	return offer{concentration: x, quicker: 1, deeper: 1}
}

func (z *enzyme) spend(_, dt float64) (deposit float64) {
	z.mediator *= math.Exp(-z.using * z.working * dt)
	return 0
}

// A gas is fed at a limited rate into a machine that it fills, and passes through
// a film of water on the cloth. Without water it does not react, soaked cloth
// keeps it out, and it dries the cloth.
type gas struct {
	damp    float64 // moisture at which half reacts, %
	soaked  float64 // moisture that keeps half of it out, %
	edge    float64 // width of that, %
	filling float64 // time
	want    float64 // of gas, by what the cloth takes
	water   float64 // loss of gas to the film
	drying  float64 // time
	charge  float64 // by strength, in units of all dye
	center  float64 // of the region in moisture, %

	feed, moisture, inside float64 // of a run
	film                   float64 // in the last offer
}

const (
	leastGas    = 0.02 // of the feed, however much the cloth takes
	turnover    = 10   // how much what the cloth takes thins the gas, over how slowly it fills
	driestReach = 1.3  // diffusion in dry cloth, over that at a moisture of 30 %
)

func newGas(d draw, center float64) gas {
	return gas{
		damp: d.in(18, 40), soaked: d.in(58, 90), edge: d.in(5, 13), filling: d.in(0.05, 0.25),
		want: d.in(0.2, 1), water: d.in(0, 1), drying: d.in(2, 8), charge: d.log(1.5, 6),
		center: center,
	}
}

func (g gas) load(strength, second float64) supply {
	g.feed, g.moisture = strength, second*g.center
	return &g
}

func (g *gas) offer(at, _ float64) offer {
	m := g.moisture * math.Exp(-at/g.drying)
	g.film = m * m / (m*m + g.damp*g.damp) / (1 + math.Exp((m-g.soaked)/g.edge))
	return offer{concentration: g.inside * g.film, quicker: 1, deeper: driestReach - m/100}
}

func (g *gas) spend(used, dt float64) (deposit float64) {
	taken := used / dt / g.charge * g.want * turnover * g.filling
	target := max(leastGas*g.feed, g.feed-taken) / (1 + g.water*g.film)
	g.inside = target + (g.inside-target)*math.Exp(-dt/g.filling)
	return 0
}

// Tumbling wears dye off the outer shells. It floats in the liquor, fades, and
// settles on the weft.
type tumbling struct {
	abrasion float64 // at the surface, per time
	settling float64
}

// leastStain stays on the weft of the whitest cloth that a tumbled load gives.
const leastStain = 0.002

func newTumbling(d draw) tumbling {
	return tumbling{abrasion: d.in(0.1, 0.5), settling: d.log(0.005, 0.03)}
}

// wear takes a share of the dye off the outermost shell, and of each one inside
// less, and returns how much that was.
func (s *state) wear(share float64) (off float64) {
	inward := math.Exp(-1 / 1.3)
	for i := range shells {
		off += share * (s.fast[i] + s.slow[i])
		s.fast[i] *= 1 - share
		s.slow[i] *= 1 - share
		share *= inward
	}
	return off
}
