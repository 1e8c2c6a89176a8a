package tank

import "math"

// carrier: stones, powder or pellets hold the oxidizer in skin and pores and
// hand it over by contacts.
type carrier struct {
	ratio         float64 // at the center of the region
	skin          float64 // share of the liquid
	volume        float64 // of liquid at the center, per pore volume of the yarn
	refill        float64 // exchange of skin and pores
	contacts      float64 // transfer at the center
	crowd         float64 // ratio at which carriers are in each other's way
	clog          float64 // lint and dioxide on the carrier per oxidizer used
	decay, film   float64 // of oxidizer in the carrier and in the film on the cloth
	holdup        float64 // of that film
	wet0, wetting float64 // moisture at the start; minutes to wet
	abrasion      float64 // of the cloth
}

// drawCarrier draws a carrier whose skin holds between skinLo and skinHi of the
// liquid, for a region about center.
func drawCarrier(d draw, center settings, skinLo, skinHi float64) supply {
	t := center[2]
	return carrier{
		ratio: center[1],
		skin:  d.uniform(skinLo, skinHi), volume: d.wide(0.7, 2),
		refill: d.wide(0.3, 8) / t, contacts: d.wide(0.5, 8) / t,
		crowd: center[1] * d.wide(0.7, 8), clog: d.wide(0.02, 0.5),
		decay: d.wide(0.02, 0.5) / t, film: d.wide(0.02, 0.5) / t,
		holdup: d.wide(0.03, 0.5), wet0: d.uniform(0.15, 0.9), wetting: t * d.wide(0.03, 0.3),
		abrasion: d.wide(0.006, 0.35) / t,
	}
}

func (c carrier) load(x settings, potency float64, v variation) tank {
	p, rel := potency*x[0], x[1]/c.ratio
	volume := c.volume * rel
	met := rel * (1 + c.ratio/c.crowd) / (1 + x[1]/c.crowd) * math.Exp(v.contact)
	return tank{
		near: p, far: p, nearVol: c.skin * volume, farVol: (1 - c.skin) * volume, holdup: c.holdup,
		rates: func(t, _, used float64) rates {
			wet := c.wet0 + (1-c.wet0)*(1-math.Exp(-t*met/c.wetting))
			return rates{
				exchange: c.refill * volume * c.skin * (1 - c.skin),
				transfer: c.contacts * met / (1 + c.clog*used/volume),
				decay:    c.decay, filmDecay: c.film,
				attack: 1, penetration: wet, abrasion: c.abrasion * met,
			}
		},
	}
}

// bath of hypochlorite: liquor between the garments and free liquor.
type bath struct {
	liquor      float64 // ratio at the center, L/kg
	volume      float64 // of liquor there, per pore volume of the yarn
	held        float64 // liquor held by the load, L/kg
	exchange    float64 // of liquor at the garments with the free one
	boundary    float64 // transfer to the cloth
	freedom     float64 // exponent of the liquor ratio in the boundary's transfer
	decay       float64 // of oxidizer
	acid        float64 // how much faster it gets as the alkali is used up
	heat        float64 // minutes to come to temperature
	cold        float64 // rate at the start
	wetting     float64 // minutes to wet
	abrasion    float64 // of the cloth
	initialLoss float64 // loss at the start to loose dye and size, as a share of the center's
}

// drawBath draws a bath for a region about center.
func drawBath(d draw, center settings) supply {
	t := center[2]
	return bath{
		liquor: center[1], volume: d.wide(0.7, 3), held: d.uniform(1.5, 3),
		exchange: d.wide(1.5, 30) / t, boundary: d.wide(1, 20) / t, freedom: d.uniform(-0.3, 0.5),
		decay: d.wide(0.02, 0.5) / t, acid: d.wide(0.02, 0.8), heat: t * d.wide(0.02, 0.25), cold: d.uniform(0.4, 1),
		wetting: t * d.wide(0.02, 0.2), abrasion: d.wide(0.004, 0.15) / t,
		initialLoss: d.uniform(0, 0.15),
	}
}

func (b bath) load(x settings, potency float64, v variation) tank {
	rel := x[1] / b.liquor
	volume := b.volume * rel
	near := b.volume * b.held / b.liquor
	p := potency * x[0] / (1 + b.initialLoss/rel)
	free := math.Pow(rel, b.freedom) * math.Exp(v.contact)
	return tank{
		near: 0.3 * p, far: p, nearVol: near, farVol: volume - near, holdup: 0.03,
		rates: func(t, _, used float64) rates {
			warm := 1 - (1-b.cold)*math.Exp(-t/b.heat)
			wet := 1 - 0.8*math.Exp(-t/b.wetting)
			return rates{
				exchange: b.exchange * near * free, transfer: b.boundary * free,
				decay: b.decay * warm, attack: warm * (1 + b.acid*used/(used+p*volume+1e-9)),
				penetration: wet, abrasion: b.abrasion / math.Sqrt(rel),
			}
		},
	}
}

// enzyme: laccase makes mediator radicals as long as it lives and has oxygen.
type enzyme struct {
	liquor   float64 // ratio at the center, L/kg
	volume   float64 // of liquor there, per pore volume of the yarn
	exchange float64 // of liquor at the garments with the free one
	boundary float64 // transfer to the cloth
	freedom  float64 // exponent of the liquor ratio in it
	death    float64 // of the enzyme
	wornOut  float64 // death by radicals passed to the load
	fading   float64 // of radicals
	mediator float64 // concentration at which the mediator limits
	air      float64 // transfer of oxygen
	bubbles  float64 // exponent of the liquor ratio in it
	breath   float64 // oxygen used per radical
	halfAir  float64 // oxygen at half speed, of saturation
	adsorbed float64 // share of the enzyme on the cloth at the center
	lag      float64 // minutes until radicals are made
	abrasion float64 // of the cloth
}

// drawEnzyme draws an enzyme for a region about center.
func drawEnzyme(d draw, center settings) supply {
	t := center[2]
	return enzyme{
		liquor: center[1], volume: d.wide(0.7, 3), exchange: d.wide(3, 40) / t, boundary: d.wide(2, 20) / t,
		freedom: d.uniform(-0.2, 0.5), death: d.wide(0.05, 3) / t, wornOut: d.wide(0.02, 0.5),
		fading: d.wide(3, 30) / t, mediator: d.wide(1, 30), air: d.wide(3, 40) / t, bubbles: d.uniform(0, 0.6),
		breath: d.wide(0.05, 1), halfAir: d.uniform(0.1, 0.5), adsorbed: d.uniform(0, 0.6),
		lag: t * d.wide(0.02, 0.25), abrasion: d.wide(0.01, 0.3) / t,
	}
}

func (z enzyme) load(x settings, potency float64, v variation) tank {
	rel := x[1] / z.liquor
	volume := z.volume * rel
	near := z.volume * 0.25
	far := volume - near
	amount := potency * x[0]
	bound := z.adsorbed / (z.adsorbed + (1-z.adsorbed)*rel)
	inNear, inFar := amount*(bound+(1-bound)*near/volume), amount*(1-bound)*far/volume
	free := math.Pow(rel, z.freedom) * math.Exp(v.contact)
	air := z.air * math.Pow(rel, -z.bubbles)
	alive, oxygen := 1.0, 1.0
	return tank{
		nearVol: near, farVol: far, holdup: 0.03,
		rates: func(t, dt, used float64) rates {
			alive /= 1 + dt*(z.death+z.wornOut*used/(1+used)*z.death)
			speed := alive * (1 - math.Exp(-t/z.lag)) * z.fading
			making := amount * speed / (1 + amount/z.mediator)
			oxygen = (oxygen + dt*air) / (1 + dt*(air+z.breath*making/(volume*(z.halfAir+oxygen))))
			breathing := oxygen / (z.halfAir + oxygen) * (1 + z.halfAir)
			share := speed * breathing / (1 + amount/z.mediator)
			return rates{
				exchange: z.exchange * near * free, transfer: z.boundary * free, decay: z.fading,
				nearSource: inNear * share, farSource: inFar * share,
				attack: 1, penetration: 1, abrasion: z.abrasion / math.Sqrt(rel),
			}
		},
	}
}

// gas: ozone blown into the drum reaches moist cloth through a film of water.
type gas struct {
	flow      float64 // of gas into and out of the drum
	drum      float64 // volume, per pore volume of the yarn
	exchange  float64 // of gas at the garments with the free one
	transfer  float64 // to the cloth
	decay     float64 // of ozone
	half      float64 // moisture at half reactivity, %
	need      float64 // steepness in it
	flood     float64 // moisture at which the water film halves transfer, %
	flooding  float64 // steepness in it
	drying    float64 // minutes to dry
	waterLoss float64 // decay in the water film
	abrasion  float64 // of the cloth
}

// drawGas draws a gas for a region about center.
func drawGas(d draw, center settings) supply {
	t := center[2]
	return gas{
		flow: d.wide(0.7, 12) / t, drum: d.wide(0.05, 0.5), exchange: d.wide(0.7, 15) / t,
		transfer: d.wide(1, 15) / t, decay: d.wide(0.05, 1) / t,
		half: d.wide(10, 35), need: d.uniform(1, 2.5), flood: d.wide(60, 180), flooding: d.uniform(1.5, 3),
		drying: t * d.wide(4, 60), waterLoss: d.wide(0.02, 0.4) / t, abrasion: d.wide(0.001, 0.02) / t,
	}
}

func (o gas) load(x settings, potency float64, v variation) tank {
	feed := potency * x[0]
	return tank{
		nearVol: 0.3 * o.drum, farVol: 0.7 * o.drum, holdup: 0.03,
		rates: func(t, _, _ float64) rates {
			w := x[1] * math.Exp(-t/o.drying)
			damp := math.Pow(w/o.half, o.need)
			damp /= 1 + damp
			open := 1 / (1 + math.Pow(w/o.flood, o.flooding))
			return rates{
				exchange: o.exchange, transfer: o.transfer * open * math.Exp(v.contact),
				decay: o.decay, filmDecay: o.waterLoss * w / 50,
				farSource: o.flow * feed, outflow: o.flow,
				attack: damp, penetration: 0.3 + 0.7*open, abrasion: o.abrasion,
			}
		},
	}
}
