package yarn

import "math"

// kinetics tells how oxidizer and dye meet. Amounts of oxidizer are relative to
// the charge at the middle of the region, amounts of dye to a mean layer's.
type kinetics struct {
	rate                    float64 // of everything, per minute
	diffusion, entry        float64 // between layers and through the surface, relative to rate
	oxidizerOrder, dyeOrder float64
	slowShare, slowRate     float64 // of the dye that is attacked at the slower rate, relative
	demand                  float64 // oxidizer that a mean layer's dye takes from its layer
	cotton                  float64 // rate at which cotton takes oxidizer, relative
	supply                  float64 // the charge over what all dye takes
	decay                   float64 // of the pool, or of an enzyme in the middle of its temperatures; per minute
	wetting                 float64 // minutes until 63 % of the yarn's surface is wet, 0 for at once
	parts                   []part
}

// part is a share of the yarns with the ease of attack in it.
type part struct{ ease, share float64 }

// transfer is what is peculiar to a form of process.
type transfer struct {
	// Carrier: contact grows with the ratio^contactPower and saturates about
	// contactLimit; what it lets go falls with the power releaseOrder of what
	// it holds.
	contactPower, contactLimit, releaseOrder float64
	// Bath and enzyme: entry grows with the liquor ratio to this power.
	liquorPower float64
	pH, pHFall  float64 // of a bath at first; its fall when all is used
	// Enzyme: half is the mediator's concentration at half the highest rate;
	// heat acts on rate and death per °C, in ln; returned is the share of used
	// oxidizer that is mediator again.
	half, heatGain, heatLoss, returned float64
	// Gas: moisture in %, rates per minute.
	passageHalf, passageBest    float64 // of the passage into the yarn
	bestMoisture, moisturePower float64 // of all rates
	drying, feed                float64
}

// yarn is the state of one part of the yarns.
type yarn struct{ oxidizer, dye, slow, black, yellow layers }

// newYarns returns yarns with all of their dye.
func (l *Laundry) newYarns(dye float64) []yarn {
	yarns := make([]yarn, len(l.kinetics.parts))
	for j := range yarns {
		for i, p := range l.cloth.profile {
			p *= dye
			yarns[j].dye[i], yarns[j].slow[i], yarns[j].black[i] = p*(1-l.kinetics.slowShare), p*l.kinetics.slowShare, p
		}
	}
	return yarns
}

// role is that of a lot, as the table says it.
type role string

const (
	base  role = "base"
	white role = "white"
	blank role = "blank"
	trial role = "trial"
)

// spectrum is that of a lot's cloth; x counts for blank and trial only.
func (l *Laundry) spectrum(r role, x point, d disturbance) bands {
	switch r {
	case white:
		return l.seen(outcome{yarns: make([]yarn, len(l.kinetics.parts)), brown: 1}, d)
	case blank, trial:
		return l.seen(l.run(x, d, r == blank), d)
	}
	return l.seen(outcome{yarns: l.newYarns(d.dye)}, d)
}

// A run is a lot in the machine, which it changes step by step.
type run struct {
	*Laundry
	x      point
	rate   float64 // per minute
	entry  float64 // through the surface, per minute
	charge float64 // relative to the middle's
	cost   float64 // to the pool of what the yarn takes, relative
	heat   float64 // factor on an enzyme's rate and on what it makes

	pool             float64 // oxidizer that may enter
	mediator, enzyme float64 // of an enzyme, from which the pool is made
	yarns            []yarn
	used             float64 // oxidizer by dye
	loosed           float64 // as in outcome
}

// run integrates a lot: oxidizer implicitly, which is stable in any step, and
// dye by the oxidizer at the end of the step. The number of steps is part of
// the laundry: sixteen times as many would shift its shades by 0.02 to 2 L* in
// the mean. With 60 they are smooth in all settings, which is what counts.
func (l *Laundry) run(x point, d disturbance, blank bool) outcome {
	const steps = 60
	r := l.start(x, d, blank)
	dt := x[minutes] / steps
	for i := range steps {
		r.step((float64(i)+0.5)*dt, dt)
	}
	const half = 0.6 // of u at half of the brown (invented)
	u := r.used / (l.kinetics.demand * layersOfYarn)
	return outcome{yarns: r.yarns, brown: u / (u + half), loosed: r.loosed}
}

func (l *Laundry) start(x point, d disturbance, blank bool) *run {
	k, t := &l.kinetics, &l.transfer
	r := &run{Laundry: l, x: x, rate: k.rate * d.rate, heat: 1, charge: x[strength] / l.middle[strength] * d.strength, yarns: l.newYarns(d.dye)}
	if blank {
		r.charge = 0
	}
	if l.process.form == gas {
		r.rate *= t.moistureRate(x[medium]) / t.moistureRate(l.middle[medium])
	}
	r.entry = k.entry * r.rate
	r.cost = 1 / (k.supply * k.demand * layersOfYarn)
	r.pool = r.charge
	amount := x[medium] / l.middle[medium]
	switch l.process.form {
	case carrier:
		r.entry *= t.contact(x[medium]*l.process.contacts) / t.contact(l.middle[medium]*l.process.contacts)
		r.cost /= amount
	case bath:
		r.entry *= math.Pow(amount, t.liquorPower)
		r.cost /= amount
	case enzyme:
		r.entry *= math.Pow(amount, t.liquorPower)
		r.cost /= amount
		r.enzyme, r.mediator, r.pool = r.charge/amount, r.charge/amount, 0 // weighed on garment, diluted by liquor
		r.heat = math.Exp(t.heatGain * (x[celsius] - l.middle[celsius]))
	case gas:
		r.pool = 0
	}
	return r
}

// moistureRate is the factor of moisture on all rates, highest at bestMoisture.
func (t *transfer) moistureRate(pct float64) float64 {
	return math.Pow(pct/t.bestMoisture, t.moisturePower) * math.Exp(t.moisturePower*(1-pct/t.bestMoisture))
}

// passage is the factor of moisture on the way into the yarn: water carries the
// gas, too much of it bars the way.
func (t *transfer) passage(pct float64) float64 {
	return pct / (pct + t.passageHalf) * math.Exp(-pct/(2*t.passageBest)) * (1 + pct/(4*t.passageBest))
}

// contact of so much carrier with the cloth.
func (t *transfer) contact(ratio float64) float64 {
	return math.Pow(ratio, t.contactPower) / (1 + ratio/t.contactLimit)
}

// flow adds up what yarns and pool exchange in a step.
type flow struct {
	in   float64 // rate of entry per unit of the pool
	out  float64 // rate at which oxidizer comes back
	used float64 // by dye
}

// step goes on by dt minutes, of which t is the middle.
func (r *run) step(t, dt float64) {
	activity := r.activity()
	entry := r.entry * r.fill(t, dt)
	if r.kinetics.wetting > 0 {
		entry *= 1 - math.Exp(-t/r.kinetics.wetting)
	}
	var f flow
	for j := range r.yarns {
		r.treat(j, activity, entry, dt, &f)
	}
	r.used += f.used
	r.loosed *= math.Exp(-0.2 * r.casts.stainRate * r.rate * r.pool * dt)
	r.drain(f, dt)
}

// activity is a factor on the attack: in a bath that of its share of HOCl, to
// the power 0.7 (invented).
func (r *run) activity() float64 {
	t := &r.transfer
	if t.pHFall == 0 || r.charge <= 0 {
		return 1
	}
	hocl := func(pH float64) float64 { return 1/(1+math.Pow(10, pH-7.5)) + 0.002 } // [2]; OCl⁻ as strong as 0.002 of it
	return math.Pow(hocl(t.pH-t.pHFall*min(1, 1-r.pool/r.charge))/hocl(t.pH), 0.7)
}

// fill brings oxidizer into the pool, where it does not start full, and returns
// what moisture makes of the entry.
func (r *run) fill(t, dt float64) float64 {
	tr := &r.transfer
	switch r.process.form {
	case enzyme:
		r.enzyme *= math.Exp(-r.kinetics.decay * math.Exp(tr.heatLoss*(r.x[celsius]-r.middle[celsius])) * dt)
		// Michaelis-Menten; 8 (invented) lets the enzyme make oxidizer faster than dye uses it.
		speed := 8 * r.rate * r.heat * r.enzyme * r.mediator / (tr.half + r.mediator) * (1 + tr.half)
		made := r.mediator * (1 - math.Exp(-speed/max(r.mediator, 1e-9)*dt))
		r.mediator -= made
		r.pool += made
	case gas:
		r.pool += (r.charge - r.pool) * (1 - math.Exp(-tr.feed*dt))
		return tr.passage(r.x[medium]*math.Exp(-tr.drying*t)) / tr.passage(r.middle[medium])
	}
	return 1
}

// drain balances the pool, implicitly so that it is stable.
func (r *run) drain(f flow, dt float64) {
	r.pool = (r.pool + f.out*r.cost*dt) / (1 + f.in*r.cost*dt)
	switch r.process.form {
	case enzyme:
		r.mediator += r.transfer.returned * f.used * r.cost
		r.pool *= math.Exp(-0.3 * r.kinetics.decay * dt) // the oxidizer outlives the enzyme
	case carrier, bath:
		r.pool *= math.Exp(-r.kinetics.decay * dt)
	case gas: // the feed makes up for decay
	}
	r.pool = max(r.pool, 0)
}

// treat goes on with one part of the yarns.
func (r *run) treat(j int, activity, entry, dt float64, f *flow) {
	p, y := r.kinetics.parts[j], &r.yarns[j]
	entry *= p.ease
	attack := r.attack(y, p.ease*activity)
	if r.process.form == carrier {
		release := r.transfer.releaseOrder
		r.soak(y, attack, 0, entry*math.Pow(r.pool, release), dt)
		f.in += p.share * entry * math.Pow(max(r.pool, 1e-6), release-1)
	} else {
		r.soak(y, attack, entry, entry*r.pool, dt)
		f.in += p.share * entry
		f.out += p.share * entry * y.oxidizer[0]
	}
	surface := y.dye[0]
	f.used += p.share * r.bleach(y, attack, dt)
	r.loosed += p.share * 0.02 * (surface - y.dye[0]) // of what is destroyed at the surface, some comes loose whole
	rubbed := y.dye[0] * r.casts.rub * dt
	y.dye[0] -= rubbed
	r.loosed += p.share * rubbed
}

// attack is the rate per unit of oxidizer and of dye in each layer, per minute.
func (r *run) attack(y *yarn, ease float64) (k layers) {
	for i, o := range y.oxidizer {
		k[i] = r.rate * r.heat * ease * math.Pow(max(o, 2e-3), r.kinetics.oxidizerOrder-1)
	}
	return k
}

// ordered is the attack on dye of an order other than 1, per unit of the dye.
func (k *kinetics) ordered(dye float64) float64 {
	if k.dyeOrder == 1 {
		return 1
	}
	return math.Pow(max(dye, 1e-6), k.dyeOrder-1)
}

// soak moves the oxidizer: in at a given rate and out with exchange through the
// surface, between layers, and into dye and cotton.
func (r *run) soak(y *yarn, attack layers, exchange, in, dt float64) {
	k, c := &r.kinetics, &r.cloth
	between := dt * k.diffusion * r.rate
	diagonal, right := layers{}, y.oxidizer
	for i := range diagonal {
		dye := y.dye[i]*k.ordered(y.dye[i]) + k.slowRate*y.slow[i] + c.sulfur*c.sulfurRate*y.black[i]
		diagonal[i] = 1 + dt*(k.demand*attack[i]*dye+k.cotton*r.rate) + 2*between
	}
	diagonal[0] += dt*exchange - between
	diagonal[layersOfYarn-1] -= between
	right[0] += dt * in
	y.oxidizer = solve(diagonal, between, right)
}

// solve is Gaussian elimination for a symmetric tridiagonal matrix with the
// given diagonal and -beside on both sides of it.
func solve(diagonal layers, beside float64, right layers) (x layers) {
	for i := 1; i < layersOfYarn; i++ {
		w := beside / diagonal[i-1]
		diagonal[i] -= w * beside
		right[i] += w * right[i-1]
	}
	x[layersOfYarn-1] = right[layersOfYarn-1] / diagonal[layersOfYarn-1]
	for i := layersOfYarn - 2; i >= 0; i-- {
		x[i] = (right[i] + beside*x[i+1]) / diagonal[i]
	}
	return x
}

// bleach turns dye into yellow products, and these into colorless ones. It
// returns the oxidizer used.
func (r *run) bleach(y *yarn, attack layers, dt float64) (used float64) {
	k := &r.kinetics
	for i := range y.dye {
		e := attack[i] * y.oxidizer[i] * dt
		gone := y.dye[i] * (1 - math.Exp(-e*k.ordered(y.dye[i])))
		slow := y.slow[i] * (1 - math.Exp(-e*k.slowRate))
		y.dye[i] -= gone
		y.slow[i] -= slow
		y.black[i] *= math.Exp(-e * r.cloth.sulfurRate)
		y.yellow[i] = (y.yellow[i] + gone + slow) * math.Exp(-e*r.casts.yellowRate)
		used += k.demand * (gone + slow)
	}
	return used
}
