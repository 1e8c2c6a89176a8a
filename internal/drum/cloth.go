package drum

import (
	"math"

	"example.com/dosetone/colorimetry"
)

const (
	bands  = 31 // 400 to 700 nm by 10
	layers = 6  // of the yarn, from the surface
)

func grid() colorimetry.Grid { return colorimetry.Grid{Start: 400, Step: 10, N: bands} }

// A cloth is a twill of dyed warp and undyed, stained weft. Shades are means
// of reflectance over the face; within a yarn colorants add in K/S.
type cloth struct {
	indigo, sulfur    [bands]float64 // K/S of the unit dye
	amount            float64        // K/S of the warp at the indigo band
	bottom            float64        // share of sulfur dye
	bottomRate        float64        // its rate of attack over indigo's
	optical           [layers]float64
	reach             float64 // depth of attack, in yarn layers' unit
	order             float64 // of attack in the dye
	first             float64 // dose spent on size and finish before the dye
	warp              float64 // share of the face
	stain             float64 // of the weft in the base, share of the warp's dye
	yellow, gray      float64
	bleaching         float64 // of the cloth's own yellow
	gloss             float64
	intermediate      float64 // yellow products of the dye
	fading            float64 // how fast they fade, over the dye
	brown             float64
	backstain         float64
	backFade          float64
	abrasion, abraded float64 // share of dye lost to tumbling and its time
}

func newCloth(d draw, group string) cloth {
	c := cloth{
		amount: d.log(14, 36), order: d.in(1, 1+orderScale), reach: d.log(0.25, 3),
		first: d.in(0, 0.5) * curvatureScale,
		warp:  d.in(0.91, 0.99), stain: d.log(0.02, 0.25),
		yellow: d.log(0.05, 0.25), gray: d.log(0.01, 0.035), bleaching: d.in(0, 0.6),
		gloss: d.in(0.003, 0.015), intermediate: d.log(0.01, 0.09) * colorScale, fading: d.in(0.3, 0.9),
		backstain: d.log(0.001, 0.02) * colorScale, backFade: d.in(0.1, 0.6),
		abrasion: d.in(0, 0.06), abraded: d.in(0.5, 2),
		bottomRate: 1,
	}
	switch group {
	case "permanganate":
		c.brown = d.log(0.01, 0.3) * colorScale
	case "laccase":
		c.backstain *= 2
	case "ozone":
		c.reach *= 0.7
		c.intermediate *= 1.5
	}
	if d.Float64() < 0.3 {
		c.bottom, c.bottomRate = d.in(0.05, 0.3), d.in(0.4, 1.1)
	}
	ring, sight := d.log(0.15, 3), d.log(0.2, 1)
	total := 0.0
	for k := range c.optical {
		z := (float64(k) + 0.5) / layers
		c.optical[k] = math.Exp(-z/sight - z/ring)
		total += c.optical[k]
	}
	for k := range c.optical {
		c.optical[k] /= total
	}
	shift, cast := d.in(-6, 6), d.in(0.8, 1.2)
	for i := range bands {
		nm := 400 + 10*float64(i)
		c.indigo[i] = 0.68*bell(nm, 652+shift, 47) + 0.43*bell(nm, 585+shift, 62) + 0.2*cast*bell(nm, 385, 42) + 0.12*bell(nm, 530, 70) + 0.085*cast
		c.sulfur[i] = 0.6 - 0.15*(nm-550)/150
	}
	return c
}

func bell(nm, at, sd float64) float64 { return math.Exp(-math.Pow((nm-at)/sd, 2) / 2) }

// calmCasts makes the casts smaller.
func (c *cloth) calmCasts() {
	c.brown /= 2
	c.backstain /= 2
	c.intermediate /= 1.5
}

// left is the share of a dye that a dose has not destroyed.
func (c *cloth) left(dose float64) float64 {
	if c.order < 1.001 {
		return math.Exp(-dose)
	}
	return math.Pow(1+(c.order-1)*dose, -1/(c.order-1))
}

// taken is the rate at which dye takes oxidizer, over that at the start.
func (c *cloth) taken(dose float64) float64 { return math.Pow(c.left(dose), c.order) }

// state of one spot.
type state struct {
	indigo, sulfur, yellow float64 // shares of the dye at the start
}

// spot is what a local dose leaves.
func (c *cloth) spot(dose, reach float64) (s state) {
	dose = dose * dose / (dose + c.first + 1e-12)
	for k, w := range c.optical {
		z := (float64(k) + 0.5) / layers
		local := dose * math.Exp(-z/(c.reach*reach))
		q := c.left(local)
		s.indigo += w * q
		s.yellow += w * (math.Pow(q, c.fading) - q) / (1 - c.fading)
		if c.bottom > 0 {
			s.sulfur += w * c.left(local*c.bottomRate)
		}
	}
	return s
}

// reflectance of a yarn with so much of each colorant.
func (c *cloth) reflectance(dst *[bands]float64, weight, indigo, sulfur, products, brown, yellow float64) {
	for i := range bands {
		uv := tail[i]
		ks := c.gray + yellow*uv.cloth + c.amount*(indigo*c.indigo[i]+sulfur*c.sulfur[i]) +
			c.amount*products*uv.products + brown*uv.brown
		dst[i] += weight * (c.gloss + (1-c.gloss)*colorimetry.FromKS(ks))
	}
}

// tail holds the spectra of what is yellow or brown.
var tail = func() (t [bands]struct{ cloth, products, brown float64 }) {
	for i := range t {
		nm := 400 + 10*float64(i)
		t[i].cloth = math.Exp(-(nm - 400) / 70)
		t[i].products = bell(nm, 408, 42)
		t[i].brown = 0.08 + math.Exp(-(nm-400)/110)
	}
	return t
}()

// Gauss-Hermite nodes and weights for the normal distribution.
var nodes = []struct{ z, w float64 }{
	{-3.750439717725742, 0.000548268858737}, {-2.366759410734541, 0.030757123967586},
	{-1.154405394739968, 0.240123178605013}, {0, 0.457142857142857},
	{1.154405394739968, 0.240123178605013}, {2.366759410734541, 0.030757123967586},
	{3.750439717725742, 0.000548268858737},
}

// spectrum of the face after an exposure, with the dose times a factor.
func (c *cloth) spectrum(e exposure, factor float64) (out [bands]float64) {
	kept := 1 - c.abrasion*(1-math.Exp(-e.time/c.abraded))
	dose := e.dose * factor
	if dose <= 0 {
		return c.face(state{1 - c.bottom, c.bottom, 0}, kept)
	}
	add := func(dose, weight, indigoMean float64) {
		s := c.spot(dose, e.reach)
		brown := c.brown * (1 - indigoMean) * e.cast
		c.reflectance(&out, weight*c.warp, kept*s.indigo*(1-c.bottom), kept*s.sulfur*c.bottom,
			c.intermediate*s.yellow, brown, c.yellow*(1-c.bleaching*(1-s.indigo)))
	}
	mean := 0.0
	for _, n := range nodes {
		mean += n.w * (1 - e.bare) * c.spot(dose*math.Exp(e.spread*n.z-e.spread*e.spread/2), e.reach).indigo
	}
	mean += e.bare
	for _, n := range nodes {
		add(dose*math.Exp(e.spread*n.z-e.spread*e.spread/2), n.w*(1-e.bare), mean)
	}
	if e.bare > 1e-9 {
		add(0, e.bare, mean)
	}
	back := c.backstain * (1 - mean) * math.Exp(-c.backFade*dose) * e.cast
	s := c.spot(dose, e.reach)
	c.reflectance(&out, 1-c.warp, (c.stain*s.indigo+back)*(1-c.bottom), (c.stain*s.sulfur)*c.bottom,
		c.intermediate*c.stain*s.yellow, c.brown*(1-mean)*e.cast, c.yellow*(1-c.bleaching*(1-mean)))
	return out
}

// face is the spectrum of cloth that no oxidizer touched.
func (c *cloth) face(s state, kept float64) (out [bands]float64) {
	c.reflectance(&out, c.warp, kept*s.indigo, kept*s.sulfur, 0, 0, c.yellow)
	c.reflectance(&out, 1-c.warp, c.stain*s.indigo, c.stain*s.sulfur, 0, 0, c.yellow)
	return out
}

func (c *cloth) base() [bands]float64 {
	return c.face(state{indigo: 1 - c.bottom, sulfur: c.bottom}, 1)
}

// white is the cloth with no dye and its own yellow bleached as far as it goes.
func (c *cloth) white() (out [bands]float64) {
	c.reflectance(&out, 1, 0, 0, 0, 0, c.yellow*(1-c.bleaching))
	return out
}
