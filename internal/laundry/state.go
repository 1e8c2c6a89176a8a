package laundry

import "math"

// disturbance is everything that makes a reading differ from its setting, in
// units of the quantities disturbed.
type disturbance struct {
	dose                             float64    // of ln rate
	depth, yellow, stain, cast, weft float64    // ln of dye content, products, loose dye, cast, open weft
	drift                            [6]float64 // of the drifting factors, in standard deviations
	badRinse                         float64    // K/S at 400 nm of a cast that neutralization left
}

func (d disturbance) plus(o disturbance) disturbance {
	d.dose += o.dose
	d.depth += o.depth
	d.yellow += o.yellow
	d.stain += o.stain
	d.cast += o.cast
	d.weft += o.weft
	d.badRinse += o.badRinse
	return d
}

// state is the cloth before it is looked at.
type state struct {
	exposure exposure
	worn     float64 // share of a reference run
	d        disturbance
	reduced  float64 // oxidizer that has reacted to residues, relative
	damp     float64 // liquid in the cloth, 0 dry
}

// state returns what settings and a disturbance make of the base.
func (l *Laundry) state(c conditions, d disturbance) state {
	z := d.dose + math.Log(l.fabric.respond)
	return state{
		exposure: l.supply.expose(l.Kind, c, l.process.gas, z),
		worn:     c.t / l.supply.refT * c.hits, d: d, reduced: math.Pow(c.q, 0.3),
	}
}

func (l *Laundry) baseState() state { return state{} }

// whiteState is discharge repeated until nothing more happens.
func (l *Laundry) whiteState() state {
	return state{exposure: exposure{dose: 2000, hits: 1000}, worn: 3, reduced: 1}
}

// shade averages the elements' reflectances, the weft's and the gloss.
func (l *Laundry) shade(s state) bands {
	f := &l.fabric
	d := &s.d
	rub := math.Exp(-l.wear.rub * s.worn)
	depth := f.depth * math.Exp(d.depth) * rub
	yellow := f.yellow * math.Exp(d.yellow)
	cast := d.badRinse + f.cast*math.Exp(d.cast)*s.reduced*s.exposure.dose/(0.3+s.exposure.dose)
	wetness := 1 + 0.9*s.damp // a film of water couples light in: less scattering, more K/S

	var left [maxElements]remains
	var removed float64
	for i, e := range l.cloth.elements {
		left[i] = l.cloth.after(l.form, e, s.exposure)
		removed += e.weight * left[i].removed
	}
	// Loose dye is what has come off and is not yet destroyed.
	stain := f.stain * math.Exp(d.stain) * (0.05*s.worn/(1+s.worn) + removed*(1-removed))
	if s.worn == 0 && s.exposure.dose == 0 {
		stain = 0
	}

	var sum bands
	for i, e := range l.cloth.elements {
		r := &left[i]
		dye := depth*r.dye + stain
		sulfur := f.sulfur * math.Exp(d.depth) * e.content / (1 + f.sulfurRate*r.dose)
		prod := yellow * math.Pow(r.removed, f.yellowPower) / (1 + f.yellowRate*r.dose/(1+0.1*r.dose))
		for j := range sum {
			q := f.warp[j] + dye*f.dye[j] + sulfur*f.colorants.sulfur[j] + prod*f.colorants.yellow[j] + cast*f.colorants.cast[j]
			sum[j] += e.weight * kubelkaMunk(q*wetness)
		}
	}
	open := f.weftShare*math.Exp(d.weft) + l.wear.open*s.worn
	gloss := f.gloss / (1 + 2*s.damp)
	for j := range sum {
		q := f.weft[j] + 1.5*stain*f.dye[j] + cast*f.colorants.cast[j]
		sum[j] = gloss + (1-gloss)*((1-open)*sum[j]+open*kubelkaMunk(q*wetness))
	}
	return sum
}
