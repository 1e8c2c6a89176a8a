package tank

import "math"

const (
	shells  = 7           // across the yarn, the outermost first
	degrees = 5           // of exposure within a garment
	cells   = 2 * degrees // in two zones of the load
)

// hermite returns nodes and weights by which a mean over the standard normal
// distribution is a sum [2], exact for polynomials up to the ninth degree.
func hermite() (nodes, shares [degrees]float64) {
	return [degrees]float64{-2.8569700138728056, -1.3556261799742659, 0, 1.3556261799742659, 2.8569700138728056},
		[degrees]float64{0.011257411327720693, 0.22207592200561266, 0.5333333333333333, 0.22207592200561266, 0.011257411327720693}
}

// yarn is the cross section and its chemistry.
type yarn struct {
	profile   [shells]float64  // dye, mean over the volume 1
	volume    [shells]float64  // sum 1
	face      [shells]float64  // conductance of the shell's outer face at diffusion 1
	nodes     [degrees]float64 // of [hermite]
	slowShare float64          // of dye that is aggregated or of another kind
	slowRate  float64          // its rate, over that of the other
	rate      float64          // of attack per concentration
	half      float64          // concentration at which the attack saturates half
	diffusion float64          // of oxidizer in wet yarn
	demand    float64          // oxidizer per dye
	cotton    float64          // oxidizer used by the cotton, as if by that much dye
	spread    float64          // of ln exposure within a garment
	hidden    float64          // exposure inside the load, over the mean
	turnover  float64          // minutes in which the load turns over
	open      float64          // exponent of exposure in the attack: raised yarns are also looser
	firm      float64          // share of the spread that mixing does not even out
	yellowEnd float64          // rate at which yellow products are destroyed, over the dye's
	restain   float64          // of the dye set free, what settles again
	looseEnd  float64          // rate at which loose dye is destroyed, over the dye's
}

// cell is a part of the cloth that has one history.
type cell struct {
	share      float64         // of the cloth
	fast, slow [shells]float64 // dye
	yellow     [shells]float64 // products of dye
	brown      float64         // reduced oxidizer deposited
	stain      float64         // loose dye that settled again
	ox         [shells]float64 // oxidizer
	film       float64         // concentration of oxidizer in the film on it
}

// load is all the cloth in the machine.
type load [cells]cell

// drawYarn draws a yarn for lots that take about so many minutes.
func drawYarn(d draw, group string, minutes float64) yarn {
	var y yarn
	y.nodes, _ = hermite()
	const inner = 0.25 // radius of the core that nothing reaches
	depth := d.wide(0.10, 2)
	width := (1 - inner) / shells
	total, mean := 0.0, 0.0
	for j := range shells {
		r := 1 - float64(j)*width
		y.volume[j] = r*r - (r-width)*(r-width)
		y.face[j] = r / width
		total += y.volume[j]
		y.profile[j] = math.Exp(-(float64(j) + 0.5) * width / depth)
	}
	for j := range shells {
		y.volume[j] /= total
		mean += y.volume[j] * y.profile[j]
	}
	for j := range shells {
		y.profile[j] /= mean
	}
	y.slowShare, y.slowRate = d.uniform(0.05, 0.6), d.wide(0.06, 0.7)
	y.rate = 1 / minutes
	y.half = d.wide(1.5, 60)
	y.demand = d.wide(0.05, 2)
	y.cotton = d.wide(0.03, 0.6)
	thiele := d.wide(0.05, 6)
	if group == "ozone" {
		thiele *= 2
	}
	y.diffusion = y.rate * (y.demand + 0.1) / thiele
	y.spread, y.hidden = unevenness*d.wide(0.12, 0.5), d.uniform(0.4, 1)
	y.turnover, y.firm = minutes*d.wide(0.05, 1), d.uniform(0.2, 0.9)
	y.open = d.uniform(0.3, 1.2)
	y.yellowEnd, y.looseEnd = d.wide(0.05, 0.6), d.wide(0.3, 3)
	y.restain = d.wide(0.01, 0.2)
	if group == "laccase" {
		y.restain *= 2
	}
	return y
}

// fresh is the load before it is treated.
func (y *yarn) fresh() *load {
	_, shares := hermite()
	var l load
	for k := range l {
		c := &l[k]
		c.share = shares[k%degrees] / 2
		for j, p := range y.profile {
			c.fast[j], c.slow[j] = p*(1-y.slowShare), p*y.slowShare
		}
	}
	return &l
}

// stripped is the load without dye; a little of its yellow products stay.
func (y *yarn) stripped() *load {
	l := y.fresh()
	for k := range l {
		for j, p := range y.profile {
			l[k].fast[j], l[k].slow[j], l[k].yellow[j] = 0, 0, 0.15*p
		}
	}
	return l
}

// exposure of cell k relative to the mean of the load at time t.
func (y *yarn) exposure(k int, t float64) float64 {
	zone := y.hidden
	if k >= degrees {
		zone = 2 - y.hidden
	}
	zone = 1 + (zone-1)*math.Exp(-t/y.turnover)
	sd := y.spread * (y.firm + (1-y.firm)*math.Exp(-t/y.turnover))
	return zone * math.Exp(sd*y.nodes[k%degrees]-sd*sd/2)
}

// profileOf solves the steady profile of oxidizer across the yarn of a cell for
// concentration 1 in the film: diffusion inward against what dye and cotton
// use. It returns what flows in.
func (y *yarn) profileOf(c *cell, rate, penetration float64, unit *[shells]float64) float64 {
	diffusion := y.diffusion * penetration
	outer := 2 * diffusion * y.face[0] // half a shell to its middle
	// Thomas algorithm from the core outward.
	var slope, inflow [shells]float64 // ox[j] = slope[j]·ox[j−1]
	below := 0.0                      // conductance into what lies below
	for j := shells - 1; j >= 0; j-- {
		sink := y.volume[j] * rate / (1 + c.ox[j]/y.half) *
			y.demand * (c.fast[j] + y.slowRate*c.slow[j] + y.cotton)
		g := diffusion * y.face[j]
		if j == 0 {
			g = outer
		}
		slope[j] = g / (g + sink + below)
		inflow[j] = g * (1 - slope[j])
		below = inflow[j]
	}
	ox := 1.0
	for j := range shells {
		ox *= slope[j]
		unit[j] = ox
	}
	return inflow[0]
}
