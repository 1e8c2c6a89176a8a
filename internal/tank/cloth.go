package tank

import (
	"math"

	"example.com/dosetone/colorimetry"
)

// bands is the number of wavelengths, 400 to 700 nm by 10.
const bands = 31

// grid is that of all spectra.
func grid() colorimetry.Grid { return colorimetry.Grid{Start: 400, Step: 10, N: bands} }

// spectrum holds one value per wavelength of [grid].
type spectrum [bands]float64

// nanometers is the wavelength of band i.
func nanometers(i int) float64 { return 400 + 10*float64(i) }

// cloth is what the yarns look like. Absorptions are in units of scattering.
type cloth struct {
	dye, yellow, brown, stain float64  // amounts
	brownHalf                 float64  // deposit at half of the most that stays
	fast, slow                spectrum // absorption by the two kinds of dye
	yellowBy, brownBy, ground spectrum // by yellow products, brown deposit and undyed cloth
	shell                     float64  // scattering power of a shell
	weft                      float64  // share of undyed yarn seen
	gloss                     float64  // reflected before any dye is met
}

// drawCloth draws all of a cloth but its amount of dye.
func drawCloth(d draw, group string) cloth {
	var c cloth
	peak, sulfur := d.uniform(648, 664), 0.0
	if d.Float64() < 0.4 {
		sulfur = d.uniform(0.2, 1) // black bottoming or topping among the slow dye
	}
	bell := func(w, at, width float64) float64 { return math.Exp(-(w - at) * (w - at) / (2 * width * width)) }
	blue, floor := d.uniform(0.10, 0.20), d.uniform(0.12, 0.22)
	ground, slope := d.wide(0.02, 0.06), d.uniform(70, 140)
	for i := range bands {
		w := nanometers(i)
		indigo := func(at float64) float64 {
			return bell(w, at, 38) + 0.75*bell(w, at-50, 42) + 0.35*bell(w, at-110, 50) + floor + blue*bell(w, 390, 40)
		}
		black := 0.55 + 0.25*bell(w, 600, 90) + 0.1*bell(w, 420, 50)
		c.fast[i] = indigo(peak)
		c.slow[i] = (1-sulfur)*indigo(peak+6) + sulfur*black
		c.yellowBy[i] = bell(w, 410, 38)
		c.brownBy[i] = math.Exp(-(w - 400) / 95)
		c.ground[i] = ground * (0.6 + 2.5*math.Exp(-(w-400)/slope))
	}
	c.yellow = offPath * d.wide(0.008, 0.25)
	c.stain = offPath * d.wide(0.1, 3)
	switch group {
	case "permanganate":
		c.brown = offPath * d.wide(0.005, 0.25)
	case "ozone":
		c.yellow *= 1.5
	}
	c.brownHalf = d.wide(0.3, 3)
	c.shell, c.weft, c.gloss = d.wide(0.3, 1.2), d.uniform(0, 0.012), d.uniform(0.004, 0.012)
	return c
}

// weakenCasts halves what may darken cloth that has lost its dye.
func (c *cloth) weakenCasts() {
	c.brown /= 2
	c.stain /= 2
	c.yellow *= 0.8
}

// reflectance of the cloth: in each cell light passes the shells of the yarn
// one upon another [1], the core as a layer without end.
func (c *cloth) reflectance(l *load, v variation) spectrum {
	dye, cast := c.dye*math.Exp(v.dye), math.Exp(v.cast)
	var out spectrum
	for k := range l {
		e := &l[k]
		brown := c.brown * cast * e.brown / (e.brown + c.brownHalf)
		stain := c.stain * cast * e.stain
		for i := range bands {
			r := 0.0
			for j := shells - 1; j >= 0; j-- {
				absorb := c.ground[i] + dye*(e.fast[j]*c.fast[i]+e.slow[j]*c.slow[i])*0.1 + c.yellow*e.yellow[j]*c.yellowBy[i]
				if j < 2 {
					absorb += brown*c.brownBy[i] + stain*c.fast[i]
				}
				a := 1 + absorb
				b := math.Sqrt(a*a - 1)
				if j == shells-1 {
					r = a - b
					continue
				}
				coth := b / tanh(b*c.shell) // with the factor b of [1]
				r = (1 - r*(a-coth)) / (a - r + coth)
			}
			weft := colorimetry.FromKS(c.ground[i] + stain*c.fast[i] + brown*c.brownBy[i])
			out[i] += e.share * (c.gloss + (1-c.gloss)*((1-c.weft)*r+c.weft*weft))
		}
	}
	return out
}

// tanh of x > 0; the one of math is slower.
func tanh(x float64) float64 {
	q := math.Exp(-2 * x)
	return (1 - q) / (1 + q)
}
