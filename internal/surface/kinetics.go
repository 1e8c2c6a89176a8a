package surface

import "math"

// outcome is what a run does to the garments.
type outcome struct {
	exposure float64 // of the dye at the outside of the yarn, in natural units
	cast     float64 // what the reaction with dye leaves on the cloth, 0 to 1
	stray    float64 // what the oxidizer's other reactions leave, 0 to 1
	back     float64 // loose dye taken up again, 0 to 1
}

// kinetics is the machine and its chemistry. Strength and second factor count
// from the center of the laundry's region; rate is the constant of the surface
// reaction, per minute.
type kinetics interface {
	run(rate, strength, second, minutes float64) outcome
	ease() // weakens the losses, for a laundry that could not get its shade
}

// state holds exposure, oxidizer at hand and one quantity of the process; or
// their slopes, per minute.
type state [3]float64

// add is the state after h minutes of slope d.
func (s state) add(d state, h float64) state {
	for i := range s {
		s[i] += h * d[i]
	}
	return s
}

const steps = 240 // of an integration

// integrate runs Runge-Kutta steps of fourth order and fixed number, so that the
// result is a smooth function of everything.
func integrate(s state, minutes float64, slope func(t float64, s state) state) state {
	h := minutes / steps
	for i := range steps {
		t := h * float64(i)
		a := slope(t, s)
		b := slope(t+h/2, s.add(a, h/2))
		c := slope(t+h/2, s.add(b, h/2))
		d := slope(t+h, s.add(c, h))
		for j := range s {
			s[j] += h / 6 * (a[j] + 2*b[j] + 2*c[j] + d[j])
		}
	}
	return s
}

// fiber is the reaction of adsorbed oxidizer with dye.
type fiber struct {
	affinity float64 // Langmuir constant times the concentration at the center
	order    float64 // in the adsorbed oxidizer
	spread   float64 // shape of the gamma distribution of accessibility
	demand   float64 // oxidizer that all the dye takes, of the charge at the center
}

// newFiber draws a fiber whose dye takes demandLo to demandHi of the charge.
func newFiber(d draw, demandLo, demandHi float64) fiber {
	return fiber{
		affinity: curvature * d.log(0.05, 3),
		order:    d.uniform(0.7, 1.3),
		spread:   d.log(1, 12),
		demand:   depletion * d.log(demandLo, demandHi),
	}
}

// coverage is the Langmuir isotherm, 1 at the center's concentration.
func (f fiber) coverage(c float64) float64 {
	return (1 + f.affinity) * max(c, 0) / (1 + f.affinity*max(c, 0))
}

// pace is the rate against the center's: of the order at usual coverage, and
// of first order where little is left.
func (f fiber) pace(c float64) float64 {
	const little = 0.1
	cover := f.coverage(c)
	return cover * math.Pow((cover+little)/(1+little), f.order-1)
}

// left is the share of the dye that an exposure leaves: first order, averaged
// over gamma-distributed accessibility.
func (f fiber) left(x float64) float64 { return math.Pow(1+max(x, 0)/f.spread, -f.spread) }

// bite is the slope of 1-left.
func (f fiber) bite(x float64) float64 { return math.Pow(1+max(x, 0)/f.spread, -f.spread-1) }

// ramp is the delayed start of wetting or heating, 0 to 1.
func ramp(t, delay float64) float64 { return -math.Expm1(-t / delay) }

// permanganate is carried by stones, powder or pellets: they touch the
// garments and exchange their liquid, or give up their salt, to the film on the
// fiber; there cellulose and dye use it up.
type permanganate struct {
	fiber
	release float64 // per minute at the center
	crowd   float64 // 0: contacts grow with the carrier; large: they do not
	hold    float64 // film's concentration that stops the release, in the carrier's
	loss    float64 // to cellulose, size and air, per minute
	wet     float64 // minutes
	brown   float64 // consumption at which the brown is half of its most
}

// newPermanganate draws the kinetics of one of the carriers.
func newPermanganate(d draw, process string) *permanganate {
	p := &permanganate{
		fiber:   newFiber(d, 0.03, 0.7),
		release: d.log(0.03, 0.4),
		crowd:   curvature * d.log(0.1, 2),
		hold:    d.uniform(0.3, 1.2), // stones: the liquid goes both ways
		loss:    depletion * d.log(0.005, 0.12),
		wet:     curvature * d.log(0.2, 3),
		brown:   d.log(0.3, 3),
	}
	switch process {
	case "permanganate-powder": // dry salt melts into the moisture of the cloth
		p.hold *= 0.2
		p.wet *= 1.5
	case "permanganate-pellet": // salt must come out of the pores
		p.hold *= 0.5
		p.release *= 0.6
	}
	return p
}

func (p *permanganate) run(rate, strength, second, minutes float64) outcome {
	contact := p.release * second * (1 + p.crowd) / (1 + p.crowd*second)
	end := integrate(state{0, 0, strength * second}, minutes, func(t float64, s state) state {
		x, film, stock := s[0], s[1], s[2]
		flux := contact * ramp(t, p.wet) * (stock/second - p.hold*film)
		attack := rate * p.pace(film)
		return state{attack, flux - p.loss*film - p.demand*p.bite(x)*attack, -flux}
	})
	used := max(strength*second-end[1]-end[2], 0)
	gone := 1 - p.left(end[0])
	return outcome{exposure: end[0], cast: gone, stray: used / (used + p.brown), back: 0.3 * gone}
}

func (p *permanganate) ease() { p.demand *= 0.7; p.loss *= 0.7 }

// hypochlorite must cross the boundary layer at the fiber; the bath loses
// chlorine to cellulose and dye, and turns less alkaline, which quickens it.
type hypochlorite struct {
	fiber
	transfer float64 // boundary layer against surface reaction: large is fast
	stir     float64 // exponent of the liquor ratio in the transfer
	loss     float64 // per minute, at the center
	decay    float64 // in the bath itself, per minute
	drift    float64 // gain of rate as acid forms
	wet      float64 // minutes
	yellow   float64 // consumption at half the yellowing
}

// newHypochlorite draws the kinetics of a bath.
func newHypochlorite(d draw) *hypochlorite {
	return &hypochlorite{
		fiber:    newFiber(d, 0.03, 0.6),
		transfer: d.log(0.4, 10) / curvature,
		stir:     d.uniform(-0.3, 0.4),
		loss:     depletion * d.log(0.003, 0.08),
		decay:    depletion * d.log(0.001, 0.02),
		drift:    curvature * d.uniform(0, 0.6),
		wet:      curvature * d.log(0.3, 5),
		yellow:   d.log(0.5, 4),
	}
}

// atFiber is the concentration at the fiber: what crosses the layer,
// transfer·(c - x), is what the adsorbed oxidizer takes at first order, its
// coverage at x; a quadratic.
func atFiber(c, transfer, affinity float64) float64 {
	c = max(c, 0)
	b := 1 + (1+affinity)/transfer - affinity*c
	return 2 * c / (b + math.Sqrt(b*b+4*affinity*c))
}

func (p *hypochlorite) run(rate, strength, second, minutes float64) outcome {
	transfer := p.transfer * math.Pow(second, p.stir)
	end := integrate(state{0, strength, 0}, minutes, func(t float64, s state) state {
		x, c := s[0], max(s[1], 0)
		quick := 1 + p.drift*(1-p.left(x))
		attack := rate * quick * ramp(t, p.wet) * p.pace(atFiber(c, transfer, p.affinity))
		used := p.loss*c + p.demand*p.bite(x)*attack
		return state{attack, -used/second - p.decay*c, used}
	})
	gone := 1 - p.left(end[0])
	return outcome{exposure: end[0], cast: gone, stray: end[2] / (end[2] + p.yellow), back: 0.5 * gone / second}
}

func (p *hypochlorite) ease() { p.demand *= 0.7; p.loss *= 0.7; p.decay *= 0.7 }

// laccase makes mediator radicals by Michaelis-Menten kinetics with the oxygen
// that the liquor takes up, and dies; part of it sits on the fiber. Loose dye
// goes to the liquor and back to the cloth unless the radicals meet it.
type laccase struct {
	fiber
	cling  float64 // partition of enzyme to fiber, in liquor ratios of the center
	onSite float64 // share of the work done by enzyme on the fiber
	oxygen float64 // supply over demand at the center
	splash float64 // exponent of the liquor ratio in the supply
	dying  float64 // per minute
	turn   float64 // dying per radical
	rest   float64 // activity of half-dead enzyme
	heat   float64 // minutes
	shed   float64 // minutes to loosen dye
	clean  float64 // radicals' work on loose dye
	film   float64 // exposure at half of the polymer cast
}

// newLaccase draws the kinetics of an enzyme.
func newLaccase(d draw) *laccase {
	return &laccase{
		fiber:  newFiber(d, 0.01, 0.2),
		cling:  d.log(0.05, 2),
		onSite: d.uniform(0, 0.8),
		oxygen: d.log(0.7, 10) / curvature,
		splash: d.uniform(-0.4, 0.1),
		dying:  depletion * d.log(0.003, 0.06),
		turn:   depletion * d.log(0.002, 0.04),
		rest:   d.uniform(0, 0.4),
		heat:   curvature * d.log(0.5, 8),
		shed:   d.log(5, 60),
		clean:  d.log(0.2, 3),
		film:   d.log(0.5, 5),
	}
}

func (p *laccase) run(rate, strength, second, minutes float64) outcome {
	bound := p.cling / (p.cling + second)
	normal := p.onSite*p.cling/(p.cling+1) + (1-p.onSite)/(p.cling+1)
	dose := strength * (p.onSite*bound + (1-p.onSite)*(1-bound)/second) / normal
	supply := p.oxygen * math.Pow(second, p.splash)
	// The state's second part is the live share of the enzyme.
	end := integrate(state{0, 1, 0}, minutes, func(t float64, s state) state {
		x, live := s[0], max(s[1], 0)
		active := dose * (live + p.rest*(1-live))
		radicals := active * supply / (active + supply) * (1 + 1/p.oxygen) * ramp(t, p.heat)
		attack := rate * p.pace(radicals*(1-p.demand*p.left(x)))
		return state{attack, -(p.dying + p.turn*radicals) * live, 0}
	})
	x := end[0]
	return outcome{exposure: x, cast: 1 - p.left(x), stray: x / (x + p.film), back: ramp(minutes, p.shed) / (1 + p.clean*x) / second}
}

func (p *laccase) ease() { p.dying *= 0.7; p.turn *= 0.7 }

// ozone fills the drum, dissolves in the film of water on the fiber, and dies on its
// way through it; dry cloth gives it no film to dissolve in. The garments dry.
type ozone struct {
	fiber
	center  float64 // moisture at the center, %
	fill    float64 // exchanges of the drum's gas per minute
	takeUp  float64 // by garments, against the exchange
	need    float64 // moisture of half the solution, %
	sharp   float64 // exponent of the moisture
	barrier float64 // moisture at which the film's Hatta number is 1, %
	drying  float64 // per minute
}

// newOzone draws the kinetics of a gas, for garments of the center's moisture.
func newOzone(d draw, center float64) *ozone {
	return &ozone{
		fiber:   newFiber(d, 0.03, 0.6),
		center:  center,
		fill:    d.log(0.3, 1.5) / curvature,
		takeUp:  depletion * d.log(0.05, 1.5),
		need:    d.log(10, 35),
		sharp:   d.uniform(1, 2.5),
		barrier: d.log(40, 120),
		drying:  d.log(0.001, 0.012),
	}
}

// film is what share of the gas's ozone the fiber meets under moisture m.
func (p *ozone) film(m float64) float64 {
	w := math.Pow(m, p.sharp)
	return w / (w + math.Pow(p.need, p.sharp)) / math.Cosh(m/p.barrier)
}

func (p *ozone) run(rate, strength, second, minutes float64) outcome {
	unit := p.film(p.center)
	end := integrate(state{}, minutes, func(t float64, s state) state {
		x, gas := s[0], max(s[1], 0)
		share := p.film(p.center*second*math.Exp(-p.drying*t)) / unit
		attack := rate * p.pace(gas*share)
		used := p.takeUp*share*gas*(0.4+0.6*p.left(x)) + p.demand*p.bite(x)*attack
		return state{attack, p.fill * (strength - gas - used), 0}
	})
	return outcome{exposure: end[0], back: 0.1 * (1 - p.left(end[0]))}
}

func (p *ozone) ease() { p.takeUp *= 0.7; p.demand *= 0.7 }
