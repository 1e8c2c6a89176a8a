package tank

import "math"

// steps of time in which a load is run.
const steps = 56

// variation is what makes one reading of one lot differ from the expected:
// shifts of logarithms.
type variation struct {
	strength, contact, rate float64
	local                   float64 // attack where the reading is taken; the pool does not notice
	dye, cast               float64
}

// A supply is the way oxidizer reaches the garments in one machine room.
type supply interface {
	// load fills the machine. Concentrations are those of the yarn's surface
	// in equilibrium, volumes are per pore volume of the yarn.
	load(x settings, potency float64, v variation) tank
}

// A tank is one loaded machine: near, what lies at the garments (skin of the
// carrier, liquor or gas between the garments), and far, what must first come
// there (pores of the carrier, free bath, free gas).
type tank struct {
	near, far       float64 // concentrations
	nearVol, farVol float64
	holdup          float64 // of the film on the cloth
	// rates are those of the step of dt minutes about time t, when so much
	// oxidizer has been passed to the garments. They are asked in the order of
	// time, once a step.
	rates func(t, dt, used float64) rates
}

// rates hold during one step; all are per minute.
type rates struct {
	exchange    float64 // near with far
	transfer    float64 // near to the film on the cloth
	decay       float64 // of the oxidizer in the tank
	filmDecay   float64 // of the oxidizer on the cloth
	nearSource  float64
	farSource   float64
	outflow     float64 // from far
	attack      float64 // multiplies the rate constants, 1 at reference
	penetration float64 // multiplies diffusion in the yarn
	abrasion    float64 // of the outermost shell
}

// treat runs a load at the settings. It also returns the share of all oxidizer
// supplied that went to the garments.
func (l *Laundry) treat(x settings, v variation) (*load, float64) {
	x[0] *= math.Exp(v.strength)
	y := &l.yarn
	garments := y.fresh()
	tk := l.supply.load(x, l.potency, v)
	tk.nearVol *= l.room
	tk.farVol *= l.room
	near, far := tk.near, tk.far
	supplied := tk.nearVol*near + tk.farVol*far
	used, loose := 0.0, 0.0
	rate := y.rate * math.Exp(v.rate)
	local := math.Exp(v.local)
	t := 0.0
	for i := range steps {
		end := x[2] * math.Pow(float64(i+1)/steps, 1.5)
		dt, mid := end-t, (end+t)/2
		r := tk.rates(mid, dt, used/l.room)
		r.exchange *= l.room
		r.outflow *= l.room
		r.nearSource *= l.room
		r.farSource *= l.room
		supplied += dt * (r.nearSource + r.farSource)

		// How the cells would drain the film per concentration in it, and the
		// profiles of oxidizer that go with it.
		var drain, transfer, attack, give [cells]float64
		var unit [cells][shells]float64
		pull, back := 0.0, 0.0
		for k := range garments {
			c := &garments[k]
			exposed := y.exposure(k, mid)
			transfer[k] = r.transfer * exposed
			attack[k] = rate * r.attack * math.Pow(exposed, y.open)
			drain[k] = y.profileOf(c, attack[k], r.penetration, &unit[k])
			give[k] = tk.holdup + dt*(transfer[k]+drain[k]+r.filmDecay)
			pull += c.share * transfer[k] * (1 - dt*transfer[k]/give[k])
			back += c.share * transfer[k] * tk.holdup * c.film / give[k]
		}
		// The two compartments, implicitly.
		a := tk.nearVol*(1+dt*r.decay) + dt*(r.exchange+pull)
		b := tk.farVol*(1+dt*r.decay) + dt*(r.exchange+r.outflow)
		e := dt * r.exchange
		p := tk.nearVol*near + dt*(r.nearSource+back)
		q := tk.farVol*far + dt*r.farSource
		det := a*b - e*e
		near, far = (p*b+e*q)/det, (a*q+e*p)/det
		used += dt * (pull*near - back)

		released := 0.0
		for k := range garments {
			c := &garments[k]
			c.film = (tk.holdup*c.film + dt*transfer[k]*near) / give[k]
			c.brown += dt * (r.filmDecay + drain[k]) * c.film
			worn := r.abrasion * y.exposure(k, mid) * dt
			for j := range shells {
				c.ox[j] = unit[k][j] * c.film
				kill := dt * local * attack[k] * c.ox[j] / (1 + c.ox[j]/y.half)
				keep, keepSlow := math.Exp(-kill), math.Exp(-kill*y.slowRate)
				gone := c.fast[j]*(1-keep) + c.slow[j]*(1-keepSlow)
				c.fast[j] *= keep
				c.slow[j] *= keepSlow
				c.yellow[j] = (c.yellow[j] + gone) * math.Exp(-kill*y.yellowEnd)
				rubbed := 1 - math.Exp(-worn)
				released += c.share * y.volume[j] * (0.1*gone + rubbed*(c.fast[j]+c.slow[j]))
				c.fast[j] *= 1 - rubbed
				c.slow[j] *= 1 - rubbed
				worn *= 0.4
			}
		}
		settle := y.restain / (1 / y.rate) // over the minutes of the chemistry
		destroy := y.looseEnd * rate * r.attack * near / (1 + near/y.half)
		loose = (loose + released) / (1 + dt*(settle+destroy))
		for k := range garments {
			c := &garments[k]
			c.stain = (c.stain + dt*settle*loose*10) / (1 + dt*0.3*y.looseEnd*rate*r.attack*c.film/(1+c.film/y.half))
		}
		t = end
	}
	return garments, used / supplied
}
