package tank

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"

	"example.com/dosetone/colorimetry"
)

// The strength of what makes a laundry hard, common to all processes.
const (
	regionWidth = 1.7  // scales the log width of the region
	lotScatter  = 0.55 // scales the scatter between and within lots
	depletion   = 1.2  // scales the oxidizer that dye and cotton use up
	offPath     = 1.0  // scales brown, stain and yellow
	unevenness  = 2    // scales the spread of exposure
)

// settings are strength, second factor and time.
type settings [3]float64

// A Laundry is one machine room with one fabric. It does not change after [New]
// and is safe for concurrent use.
type Laundry struct {
	process string
	columns [3]string // strength, second factor, time
	lo, hi  settings
	rising  [3]bool // lightness must not fall with the factor
	supply  supply
	potency float64 // pool concentration per unit of strength
	room    float64 // scales the volumes and flows of the tank
	yarn    yarn
	cloth   cloth
	scatter scatter
	weights *colorimetry.Weights
}

// scatter is what differs between runs at the same settings. Standard
// deviations are of logarithms unless said otherwise.
type scatter struct {
	lot, contact, rate float64
	panel, position    float64
	cast               float64 // of brown and stain, by lot
	dye                float64 // of the dye on the cloth, by panel
	hot, hotSize       float64 // chance per reading; mean rise of ln dose
	upset, upsetSize   float64 // chance per lot; size in ln dose
	reading            float64 // of reflectance
}

// draw has the distributions that laundries are drawn from.
type draw struct{ *rand.Rand }

// source is what the laundry of a group and seed is drawn from.
func source(group string, seed uint64) draw {
	h := fnv.New64a()
	h.Write([]byte(group))
	return draw{rand.New(rand.NewPCG(seed, h.Sum64()))}
}

// uniform lies between lo and hi.
func (d draw) uniform(lo, hi float64) float64 { return lo + (hi-lo)*d.Float64() }

// wide is uniform in the logarithm.
func (d draw) wide(lo, hi float64) float64 { return lo * math.Pow(hi/lo, d.Float64()) }

// Groups lists the kinds of process: permanganate on stones, powder or pellets
// as it is drawn, hypochlorite, laccase and ozone.
func Groups() []string { return []string{"permanganate", "hypochlorite", "laccase", "ozone"} }

// New draws a laundry of a group of [Groups]. The same group and seed give the
// same laundry.
func New(group string, seed uint64) (*Laundry, error) {
	if !slices.Contains(Groups(), group) {
		return nil, fmt.Errorf("tank: no group %q", group)
	}
	w, err := colorimetry.NewWeights(colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}, grid())
	if err != nil {
		return nil, err
	}
	d := source(group, seed)
	l := &Laundry{room: 1, weights: w}
	center, usual := l.drawProcess(d, group)
	span := [3]float64{d.uniform(0.9, 1.3), d.uniform(0.55, 0.85), d.uniform(1.05, 1.4)} // of logarithms
	if group == "ozone" {
		span[1] *= 0.6 // moisture has a best value, and people stay around it
	}
	for j := range 3 {
		half := math.Exp(regionWidth * span[j] / 2)
		l.lo[j] = math.Max(center[j]/half, usual[j][0])
		l.hi[j] = math.Min(center[j]*half, usual[j][1])
	}
	l.yarn = drawYarn(d, group, center[2])
	l.cloth = drawCloth(d, group)
	l.scatter = drawScatter(d)
	l.dyeTo(d.uniform(19, 32))
	level, used := d.uniform(0.45, 0.6), math.Min(0.9, depletion*d.wide(0.07, 0.9))
	for range 8 { // the pool that empties as much as drawn
		l.setPotency(level, center)
		if group == "laccase" {
			break // its pool is renewed; death and want of air empty it
		}
		_, share := l.treat(center, variation{})
		l.room = math.Min(20, math.Max(0.1, l.room*math.Pow(share/used, 0.8)))
	}
	for range 8 {
		l.setPotency(level, center)
		if l.monotone() {
			return l, nil
		}
		l.cloth.weakenCasts()
	}
	return nil, fmt.Errorf("tank: %s %d: lightness falls in the region whatever the casts", group, seed)
}

// drawProcess draws the process of a group and its supply. It returns the
// center of the region and the usual range of each factor.
func (l *Laundry) drawProcess(d draw, group string) (center settings, usual [3][2]float64) {
	l.rising = [3]bool{true, group == "permanganate", true}
	switch group {
	case "permanganate":
		switch d.IntN(3) {
		case 0:
			l.process, l.columns = "permanganate-stone", [3]string{"strength_gpl", "ratio", "time_min"}
			center = settings{d.wide(4, 20), d.wide(0.7, 1.5), d.wide(5, 12)}
			usual = [3][2]float64{{1.5, 50}, {0.3, 2.5}, {1.5, 30}}
			l.supply = drawCarrier(d, center, 0.2, 0.6)
		case 1:
			l.process, l.columns = "permanganate-powder", [3]string{"strength_pct", "ratio", "time_min"}
			center = settings{d.wide(1.5, 4), d.wide(0.12, 0.3), d.wide(9, 15)}
			usual = [3][2]float64{{0.5, 10}, {0.05, 0.6}, {5, 30}}
			l.supply = drawCarrier(d, center, 0.5, 0.9)
		default:
			l.process, l.columns = "permanganate-pellet", [3]string{"strength_pct", "ratio", "time_min"}
			center = settings{d.wide(2, 6), d.wide(0.3, 1.4), d.wide(8, 16)}
			usual = [3][2]float64{{0.5, 12}, {0.05, 2.5}, {3, 40}}
			l.supply = drawCarrier(d, center, 0.1, 0.4)
		}
	case "hypochlorite":
		l.process, l.columns = "hypochlorite-bath", [3]string{"strength_gpl", "liquor_ratio", "time_min"}
		center = settings{d.wide(1, 4), d.wide(7, 12), d.wide(9, 20)}
		usual = [3][2]float64{{0.3, 12}, {4, 20}, {3, 60}}
		l.supply = drawBath(d, center)
	case "laccase":
		l.process, l.columns = "laccase-bath", [3]string{"strength_pct", "liquor_ratio", "time_min"}
		center = settings{d.wide(0.5, 2), d.wide(7, 12), d.wide(18, 32)}
		usual = [3][2]float64{{0.1, 5}, {4, 20}, {10, 60}}
		l.supply = drawEnzyme(d, center)
	case "ozone":
		l.process, l.columns = "ozone-gas", [3]string{"strength_gnm3", "moisture_pct", "time_min"}
		center = settings{d.wide(20, 60), d.wide(32, 60), d.wide(9, 18)}
		usual = [3][2]float64{{5, 120}, {20, 80}, {3, 50}}
		l.supply = drawGas(d, center)
	}
	return center, usual
}

// drawScatter draws how much lots, panels and readings differ.
func drawScatter(d draw) scatter {
	s := scatter{lot: lotScatter * d.wide(0.06, 0.12)}
	s.contact, s.rate = s.lot*d.uniform(0.2, 0.6), s.lot*d.uniform(0.2, 0.6)
	s.panel = s.lot * d.uniform(0.6, 1.4)
	s.position = s.panel * d.uniform(0.2, 0.6)
	s.cast, s.dye = d.uniform(0.05, 0.35), d.uniform(0.005, 0.03)
	s.hot, s.hotSize = d.uniform(0, 0.06), d.uniform(0.1, 0.5)
	if d.Float64() < 0.5 {
		s.upset = d.uniform(0.01, 0.04)
	}
	s.upsetSize = d.uniform(0.2, 0.5)
	s.reading = d.uniform(0.002, 0.008)
	return s
}

// dyeTo sets the amount of dye that makes the base as light as asked.
func (l *Laundry) dyeTo(lightness float64) {
	lo, hi := math.Log(0.3), math.Log(1e4)
	for range 30 {
		l.cloth.dye = math.Exp((lo + hi) / 2)
		if l.base().L > lightness {
			lo = math.Log(l.cloth.dye)
		} else {
			hi = math.Log(l.cloth.dye)
		}
	}
}

// setPotency makes the center of the region a middling shade: a practitioner
// chooses a region in which something is to be seen.
func (l *Laundry) setPotency(level float64, center settings) {
	base, white := l.base().L, l.white().L
	want := base + level*(white-base)
	most := 1e3 / center[0]
	l.potency = most
	for range 60 {
		if l.shade(center, variation{}).L >= want {
			break
		}
		l.yarn.rate *= 1.3 // else the machine room could not do its work
		l.yarn.diffusion *= 1.3
		l.yarn.demand /= 1.2
	}
	lo, hi := math.Log(1e-4/center[0]), math.Log(most)
	for range 26 {
		l.potency = math.Exp((lo + hi) / 2)
		if l.shade(center, variation{}).L < want {
			lo = math.Log(l.potency)
		} else {
			hi = math.Log(l.potency)
		}
	}
}

// monotone reports whether lightness rises wherever it has to, on a grid over
// the region.
func (l *Laundry) monotone() bool {
	const strengths, seconds, times = 4, 3, 5
	var light [strengths][seconds][times]float64
	for a := range strengths {
		for b := range seconds {
			for c := range times {
				var x settings
				for j, at := range [3]float64{float64(a) / (strengths - 1), float64(b) / (seconds - 1), float64(c) / (times - 1)} {
					x[j] = l.lo[j] * math.Pow(l.hi[j]/l.lo[j], at)
				}
				g := l.shade(x, variation{}).L
				light[a][b][c] = g
				if a > 0 && g < light[a-1][b][c] || l.rising[1] && b > 0 && g < light[a][b-1][c] || c > 0 && g < light[a][b][c-1] {
					return false
				}
			}
		}
	}
	return true
}

// spectrum of the cloth after a run at the settings.
func (l *Laundry) spectrum(x settings, v variation) spectrum {
	garments, _ := l.treat(x, v)
	return l.cloth.reflectance(garments, v)
}

// shade is that of [Laundry.spectrum] under D65/10.
func (l *Laundry) shade(x settings, v variation) colorimetry.Lab {
	r := l.spectrum(x, v)
	return l.weights.Lab(r[:])
}

// base is the shade of cloth that was not treated.
func (l *Laundry) base() colorimetry.Lab {
	r := l.cloth.reflectance(l.yarn.fresh(), variation{})
	return l.weights.Lab(r[:])
}

// white is the shade of cloth without dye.
func (l *Laundry) white() colorimetry.Lab {
	r := l.cloth.reflectance(l.yarn.stripped(), variation{})
	return l.weights.Lab(r[:])
}
