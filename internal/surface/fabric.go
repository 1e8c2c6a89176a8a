package surface

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"example.com/dosetone/colorimetry"
)

const bands = 31 // 400 to 700 nm by 10

// spectrum is a number for each band.
type spectrum [bands]float64

// shape is a function of the wavelength at every band.
func shape(f func(nm float64) float64) (s spectrum) {
	for i := range s {
		s[i] = f(float64(400 + 10*i))
	}
	return s
}

// bell is a peak that is short and long nm wide to its two sides.
func bell(nm, peak, short, long float64) float64 {
	w := short
	if nm > peak {
		w = long
	}
	return math.Exp(-math.Pow((nm-peak)/w, 2))
}

// fading is a brown or yellow that fades towards the red; reach is in nm.
func fading(reach float64) spectrum {
	return shape(func(nm float64) float64 { return math.Exp(-(nm - 400) / reach) })
}

// colorants are absorptions over the scattering of cotton, each about 1 at its peak.
type colorants struct{ indigo, sulfur, isatin, cotton spectrum }

func newColorants() colorants {
	return colorants{
		indigo: shape(func(nm float64) float64 {
			return 0.54*bell(nm, 660, 80, 60) + 0.38*bell(nm, 600, 105, 70) + 0.05*bell(nm, 400, 1, 60) + 0.11
		}),
		sulfur: shape(func(nm float64) float64 { // greenish black
			return 0.62 + 0.38*bell(nm, 640, 110, 90) + 0.10*bell(nm, 400, 1, 70) - 0.10*bell(nm, 520, 50, 40)
		}),
		isatin: shape(func(nm float64) float64 { return bell(nm, 415, 40, 48) }),
		cotton: fading(95),
	}
}

const (
	patches  = 8    // of equal area, that differ in how the oxidizer reaches them
	layers   = 5    // of a yarn, from its surface to its center
	bareWarp = 0.02 // K/S of warp without any colorant
	bareWeft = 0.06 // the same of weft
	weftSeen = 0.7  // reflectance of weft, which lies deeper, against warp's
)

// gaussLegendre gives nodes and weights of [layers] points on 0 to 1.
func gaussLegendre() (at, mass [layers]float64) {
	return [layers]float64{0.04691008, 0.23076534, 0.5, 0.76923466, 0.95308992},
		[layers]float64{0.11846344, 0.23931434, 0.28444444, 0.23931434, 0.11846344}
}

// fabric is cloth and dye: warp yarn dyed to some depth, of which the outer
// layers are seen and attacked most.
type fabric struct {
	depth     float64 // K/S of indigo at its peak
	bottom    float64 // K/S of sulfur dye
	sturdy    float64 // rate of the sulfur dye, of indigo's
	order     float64 // of the attack in indigo
	yellow    float64 // K/S at 400 nm of the cloth
	cleaned   float64 // the same of the white, relative
	isatin    float64 // K/S of isatin from all of the indigo
	isatinDie float64 // its rate, of indigo's
	castMost  float64 // K/S of the cast at 400 nm
	cast      spectrum
	stray     float64 // share of the cast that other reactions leave
	backMost  float64 // K/S of indigo that stains back
	weft      float64 // share of the face that is weft
	gloss     float64 // reflection at the surface
	rubbing   float64 // exposure by abrasion alone at the center's time

	colorants colorants

	reach  [layers]float64  // exposure against the outside's
	dyed   [layers]float64  // share of the visible dye, in sum 1
	access [patches]float64 // exposure against the mean
}

// newFabric draws what no process changes the draws of.
func newFabric(d draw) fabric {
	f := fabric{
		depth:     d.log(14, 48),
		order:     d.uniform(0.85, 1.8),
		yellow:    d.log(0.05, 0.35),
		cleaned:   d.uniform(0.8, 1),
		isatin:    d.log(0.03, 0.6),
		isatinDie: d.log(0.05, 0.5),
		backMost:  d.log(0.005, 0.12),
		weft:      d.log(0.003, 0.05),
		gloss:     d.uniform(0.002, 0.012),
		rubbing:   d.log(0.003, 0.08),
		sturdy:    d.log(0.2, 0.9),
		stray:     d.uniform(0.1, 0.7),
		colorants: newColorants(),
	}
	if d.Float64() < 0.35 {
		f.bottom = f.depth * d.log(0.03, 0.25)
	}
	return f
}

// yarn sets the dye's depth, the oxidizer's and the eye's, in yarn radii, and
// spread, the shape of the gamma distribution of access.
func (f *fabric) yarn(ring, penetration, sight, spread float64) {
	var dye, seen [layers]float64
	at, mass := gaussLegendre()
	sum := 0.0
	for j, z := range at {
		dye[j] = 1 / (1 + math.Pow(z/ring, 4))
		f.reach[j] = math.Exp(-z / penetration)
		seen[j] = mass[j] * math.Exp(-z/sight)
		sum += seen[j] * dye[j]
	}
	for j := range seen {
		seen[j] /= sum
		f.dyed[j] = seen[j] * dye[j]
	}
	g := distuv.Gamma{Alpha: spread, Beta: spread}
	mean := 0.0
	for i := range f.access {
		f.access[i] = g.Quantile((float64(i) + 0.5) / patches)
		mean += f.access[i] / patches
	}
	for i := range f.access {
		f.access[i] /= mean
	}
}

// cleaner takes away some of what darkens cloth while dye is destroyed.
func (f *fabric) cleaner() {
	f.stray *= 0.5
	f.castMost *= 0.85
	f.backMost *= 0.85
	f.isatin *= 0.85
}

// remaining is the share of dye left by kinetics of any order in it: the
// integral of dy/dx = -y^order from 1.
func remaining(x, order float64) float64 {
	if math.Abs(order-1) < 1e-6 {
		return math.Exp(-x)
	}
	u := 1 + (order-1)*x
	if u <= 0 {
		return 0
	}
	return math.Pow(u, -1/(order-1))
}

// intermediate is the isatin from an amount of dye that turns into it at rate 1
// while it is destroyed at another rate: A → B → C of first order.
func intermediate(amount, x, rate float64) float64 {
	return amount * (math.Exp(-rate*x) - math.Exp(-x)) / (1 - rate)
}

// face is the reflectance of the cloth's face. strong is the depth of this
// garment's dye, relative.
func (f *fabric) face(o outcome, strong float64) (r spectrum) {
	c := &f.colorants
	back := f.backMost * o.back
	cast := f.castMost * ((1-f.stray)*o.cast + f.stray*o.stray)
	for _, a := range f.access {
		var blue, black, gold float64
		for j, w := range f.dyed {
			x := o.exposure * a * f.reach[j]
			blue += w * remaining(x, f.order)
			black += w * math.Exp(-f.sturdy*x)
			gold += intermediate(w, x, f.isatinDie)
		}
		blue = strong*f.depth*blue + back
		black *= strong * f.bottom
		gold *= f.isatin
		for i := range r {
			r[i] += colorimetry.FromKS(f.yellow*c.cotton[i]+blue*c.indigo[i]+black*c.sulfur[i]+gold*c.isatin[i]+
				cast*f.cast[i]+bareWarp) * (1 - f.weft) / patches
		}
	}
	for i := range r {
		r[i] += f.weft * weftSeen * colorimetry.FromKS(f.yellow*c.cotton[i]+bareWeft+2*back*c.indigo[i]+cast*f.cast[i])
		r[i] = f.gloss + (1-f.gloss)*r[i]
	}
	return r
}

// white is the reflectance of the same cloth without dye.
func (f *fabric) white() (r spectrum) {
	c := &f.colorants
	for i := range r {
		r[i] = (1-f.weft)*colorimetry.FromKS(f.cleaned*f.yellow*c.cotton[i]+bareWarp) +
			f.weft*weftSeen*colorimetry.FromKS(f.cleaned*f.yellow*c.cotton[i]+bareWeft)
		r[i] = f.gloss + (1-f.gloss)*r[i]
	}
	return r
}
