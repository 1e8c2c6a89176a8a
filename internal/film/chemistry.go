package film

import "math"

// chemistry is what happens on the cloth. Concentrations are over that at the
// center of the region.
type chemistry struct {
	thiele      float64 // squared Thiele modulus of the ring with all its dye [3]
	biot        float64 // diffusion from the film into the ring over that within it [4]
	order       float64 // of the attack, in oxidizer
	dyeOrder    float64 // of the attack, in dye
	yellowYield float64 // per unit of indigo
	yellowRate  float64 // of attack on products, over that on indigo
	yellowUse   float64 // oxidizer for products, over that for indigo
	parasitic   float64 // oxidizer that other things use, over the rate
	brown       float64 // deposit per dye
	abrasion    float64 // of the surface, per center time
	backstain   float64 // share of lost indigo that settles again
}

const (
	cottonUse = 0.15  // of oxidizer in the ring, over that of its mean dye
	noFilm    = 1e-12 // least concentration at which there is a film
	idle      = 0.5   // what a film would be used at where there is none, over the rate
	// Below these, the concentration across the ring and the share of dye left count
	// as these: negative powers of them would grow without end.
	scarce, faint = 1e-6, 1e-4
)

// profile is the steady concentration of oxidizer across the ring of a cell, over
// that in the film: diffusion inward against what dyes and cotton use, in finite
// volumes. With flows between layers of 1 the equations are tridiagonal with -1
// beside the diagonal; the Thomas algorithm [5] solves them.
func (l *Laundry) profile(c *cell) (in [layers]float64) {
	const h = 1.0 / layers
	k := &l.chemistry
	var diagonal [layers]float64
	for j := range diagonal {
		dye := c.indigo[j] + c.sulfur[j]*l.fabric.sulfurRate + c.yellow[j]*k.yellowUse
		diagonal[j] = k.thiele * (dye*layers + cottonUse) * h * h
		if j > 0 {
			diagonal[j]++
		}
		if j < layers-1 {
			diagonal[j]++
		}
	}
	film := k.biot * h / (1 + k.biot*h/2) // and half a layer to its middle
	diagonal[0] += film
	in[0] = film
	for j := 1; j < layers; j++ {
		passed := 1 / diagonal[j-1]
		diagonal[j] -= passed
		in[j] = passed * in[j-1]
	}
	in[layers-1] /= diagonal[layers-1]
	for j := layers - 2; j >= 0; j-- {
		in[j] = (in[j] + in[j+1]) / diagonal[j]
	}
	return in
}

// attack lets a film of a concentration act on the face at a rate for dt and
// returns how much oxidizer it used per concentration and time, in units of what
// all indigo takes.
func (l *Laundry) attack(face []cell, film, rate, dt float64) (use float64) {
	if film < noFilm {
		return rate * idle
	}
	c, f := &l.chemistry, &l.fabric
	use = c.parasitic * rate
	quicker := math.Pow(film, c.order-1)
	for k := range face {
		p := &face[k]
		for j, in := range l.profile(p) {
			attack := rate * p.exposure * in * quicker * math.Pow(math.Max(in, scarce), c.order-1) * film
			left := math.Max(p.indigo[j]*f.total/f.profile[j], faint)
			indigo := p.indigo[j] * (1 - math.Exp(-attack*math.Pow(left, c.dyeOrder-1)*dt))
			sulfur := p.sulfur[j] * (1 - math.Exp(-attack*f.sulfurRate*dt))
			yellow := p.yellow[j] * (1 - math.Exp(-attack*c.yellowRate*dt))
			p.indigo[j] -= indigo
			p.sulfur[j] -= sulfur
			p.yellow[j] += c.yellowYield*indigo - yellow
			p.brown[j] += c.brown * (indigo + sulfur)
			use += p.area * (indigo + sulfur + c.yellowUse*yellow) / (film * dt)
		}
	}
	return use
}

// wearDepth is how many layers deep wear has fallen to 1/e.
const wearDepth = 2

// wear takes dye off the surface of raised parts, and off the rest less, in so many
// minutes.
func (l *Laundry) wear(face []cell, time float64) {
	for k := range face {
		c := &face[k]
		for j := range layers {
			keep := math.Exp(-l.chemistry.abrasion * time / l.center[minutes] * math.Exp(-float64(j)/wearDepth) * c.exposure)
			c.indigo[j] *= keep
			c.sulfur[j] *= keep
		}
	}
}
