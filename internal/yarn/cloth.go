package yarn

import (
	"math"

	"example.com/dosetone/colorimetry"
)

const layersOfYarn = 6

// Bands is the number of wavelengths.
const Bands = 31

// Grid is that of all spectra, 400 to 700 nm in steps of 10 nm.
func Grid() colorimetry.Grid { return colorimetry.Grid{Start: 400, Step: 10, N: Bands} }

// layers holds a value for each layer of a yarn, the surface first.
type layers [layersOfYarn]float64

// bands holds a value for each wavelength of [Grid].
type bands [Bands]float64

// cloth is what the eye sees of the fabric. Absorptions are K/S.
type cloth struct {
	profile       layers  // of the dye, mean 1
	depth         float64 // absorption of the dye at its maximum in a mean layer
	power         float64 // of scattering, S·X of a layer
	indigo, black bands   // absorption relative to depth
	yellow, stain bands
	cotton, brown bands   // absorption itself, the brown's times its amount
	sulfur        float64 // sulfur black at the dye's maximum, relative to the dye; 0 for none
	sulfurRate    float64 // of its removal, relative to the dye's
	weft, gloss   float64 // shares of undyed yarn and of surface reflection in what is seen
}

func gauss(nm, center, sd float64) float64 { return math.Exp(-0.5 * math.Pow((nm-center)/sd, 2)) }

func drawCloth(src *source) (c cloth) {
	c.drawProfile(src)
	c.power = src.uniform(0.5, 0.9)
	peak, wide := src.uniform(652, 668), src.uniform(0.9, 1.1) // [3]
	shoulder, floor, violet := src.uniform(0.2, 0.5), src.uniform(0.17, 0.30), src.uniform(0.05, 0.2)
	flat, blue := src.uniform(0.018, 0.05), src.uniform(0.02, 0.08)
	for i := range Bands {
		nm := float64(Grid().Wavelength(i))
		sd := 88.0 // steeper on the red side
		if nm > peak {
			sd = 42
		}
		c.indigo[i] = gauss(nm, peak, sd*wide) + shoulder*gauss(nm, peak-75, 50*wide) + floor + violet*math.Exp(-(nm-400)/35)
		c.stain[i] = gauss(nm, peak-15, 1.1*sd*wide) + 0.6*shoulder*gauss(nm, peak-85, 50) + floor
		c.cotton[i] = flat + blue*math.Exp(-(nm-400)/60)
		c.brown[i] = math.Exp(-(nm - 400) / 95)
		c.yellow[i] = gauss(nm, 415, 38)
		c.black[i] = 0.9 + 0.25*gauss(nm, 620, 90)
	}
	if src.has(0.15, "sulfur-black") {
		c.sulfur, c.sulfurRate = src.uniform(0.04, 0.12), src.uniform(0.3, 0.9)
	}
	c.weft, c.gloss = src.uniform(0, 0.012), src.uniform(0.002, 0.01)
	return c
}

// drawProfile lets the dye fall off exponentially from the surface.
func (c *cloth) drawProfile(src *source) {
	reach := src.between(1.5, 6) // layers to 1/e
	switch {
	case reach < 2.5:
		src.note("thin-ring")
	case reach > 4.5:
		src.note("deep-dye")
	}
	var sum float64
	for i := range c.profile {
		c.profile[i] = math.Exp(-(float64(i) + 0.5) / reach)
		sum += c.profile[i]
	}
	for i := range c.profile {
		c.profile[i] *= layersOfYarn / sum
	}
}

// casts are colors that do not come from the dye in its place.
type casts struct {
	brown      float64 // absorption at 400 nm once much oxidizer was used, 0 for none
	yellow     float64 // absorption at 415 nm of the products of all dye of a layer, relative to depth
	yellowRate float64 // of their own removal, relative to the dye's
	rub        float64 // share of the surface's dye that wear loosens per minute
	stain      float64 // absorption of loose dye that stained back, relative to depth
	stainRate  float64 // of its oxidation in the pool, relative
}

// outcome is the cloth after a run.
type outcome struct {
	yarns  []yarn
	brown  float64 // share of the brown cast, 0 to 1
	loosed float64 // dye of the surface that came loose and was not destroyed
}

// seen is the spectrum of cloth after a run under disturbances of its casts, at
// least 0.001.
func (l *Laundry) seen(o outcome, d disturbance) (r bands) {
	c := &l.cloth
	brown, stain := l.casts.brown*o.brown*d.brown, l.casts.stain*o.loosed*d.stain*c.depth
	for i := range r {
		var warp float64
		for j, y := range o.yarns {
			warp += l.kinetics.parts[j].share * l.stack(i, y, brown, stain)
		}
		weft := colorimetry.FromKS(c.cotton[i] + brown*c.brown[i] + stain*c.stain[i])
		r[i] = (1-c.weft-c.gloss)*warp + c.weft*weft + c.gloss
		r[i] *= 1 + d.tilt*(float64(i)-15)/15 // none in the middle of the spectrum
		r[i] = max(r[i], 0.001)
	}
	return r
}

// stack is the reflectance of a yarn's layers at wavelength i, on a core of
// cotton that the cast reaches little (0.3, invented).
func (l *Laundry) stack(i int, y yarn, brown, stain float64) float64 {
	c := &l.cloth
	r := colorimetry.FromKS(c.cotton[i] + 0.3*brown*c.brown[i])
	for k := layersOfYarn - 1; k >= 0; k-- {
		dye := (y.dye[k]+y.slow[k])*c.indigo[i] + c.sulfur*y.black[k]*c.black[i] + l.casts.yellow*y.yellow[k]*c.yellow[i]
		ks := c.cotton[i] + c.depth*dye + brown*c.brown[i]
		if k == 0 {
			ks += stain * c.stain[i]
		}
		r = onGround(ks, c.power, r)
	}
	return r
}

// onGround is the reflectance of a layer on a ground [1].
func onGround(ks, power, ground float64) float64 {
	a := 1 + ks
	b := math.Sqrt(a*a - 1)
	e := math.Exp(-2 * b * power)
	coth := (1 + e) / (1 - e)
	return (1 - ground*(a-b*coth)) / (a - ground + b*coth)
}
