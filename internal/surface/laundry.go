package surface

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"example.com/dosetone/colorimetry"
)

// Constants by which the difficulty was set, once, from models that are not ours.
const (
	widthPower = 1.85  // of the ratios between the ends of the region
	lotScale   = 0.78  // of the scatter between and within lots
	depletion  = 0.8   // of the oxidizer's losses
	curvature  = 0.45  // of saturation and delays
	brightest  = 0.955 // level at the strongest corner, at most
)

// draw wraps the generator of a laundry's constants.
type draw struct{ *rand.Rand }

// uniform draws between lo and hi.
func (d draw) uniform(lo, hi float64) float64 { return lo + (hi-lo)*d.Float64() }

// log draws between lo and hi, uniform in the logarithm.
func (d draw) log(lo, hi float64) float64 { return lo * math.Pow(hi/lo, d.Float64()) }

// scatter is what differs between lots, panels and readings.
type scatter struct {
	charge, lot, panel, spot float64 // sd of ln strength, and of ln exposure
	minutes                  float64 // sd of the time of unloading
	cloth                    float64 // sd of ln depth of the dye, between lots
	residue                  float64 // sd of ln cast and back-stain, between lots
	upset                    float64 // chance of a lot with three times the scatter
	hot                      float64 // chance of a hot spot in a reading
	noise                    float64 // sd of a reading, relative
}

// Laundry is one machine room with one fabric. It does not change after [New].
type Laundry struct {
	process  string
	columns  [3]string
	lo, hi   [3]float64 // the trial region: strength, second factor, minutes
	rate     float64    // of the reaction, per minute at the center
	kinetics            // the machine and its chemistry
	fabric   fabric
	scatter  scatter
	weights  *colorimetry.Weights
}

// Groups lists the kinds of process: permanganate on stones, powder or pellets
// as it is drawn, hypochlorite, laccase and ozone.
func Groups() []string { return []string{"permanganate", "hypochlorite", "laccase", "ozone"} }

// grid is that of all spectra.
func grid() colorimetry.Grid { return colorimetry.Grid{Start: 400, Step: 10, N: bands} }

// New draws a laundry of a group of [Groups].
func New(group string, seed uint64) (*Laundry, error) {
	number := slices.Index(Groups(), group)
	if number < 0 {
		return nil, fmt.Errorf("surface: no group %q", group)
	}
	w, err := colorimetry.NewWeights(colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}, grid())
	if err != nil {
		return nil, err
	}
	d := draw{rand.New(rand.NewPCG(seed, 0xec40+uint64(number)))}
	l := &Laundry{weights: w}
	var p plan
	p.goal = d.uniform(0.35, 0.6)
	p.width = [3]float64{d.log(2, 2.8), d.log(1.6, 2.2), d.log(3.5, 6)}
	p.penetration = d.log(0.4, 3)
	p.ring = d.log(0.15, 1.2)
	l.fabric = newFabric(d)
	l.drawProcess(d, group, &p)
	l.fabric.yarn(p.ring, p.penetration, d.uniform(0.25, 0.7), d.log(1.6, 10))
	lot := lotScale * d.log(0.065, 0.125)
	l.scatter = scatter{
		charge: 0.8 * lot, lot: 0.6 * lot,
		panel: lot * d.log(0.6, 1.6), spot: lot * d.log(0.2, 0.6),
		minutes: d.uniform(0.05, 0.3), cloth: d.log(0.005, 0.03), residue: d.log(0.05, 0.3),
		upset: d.uniform(0, 0.04), hot: d.log(0.002, 0.03), noise: d.log(0.002, 0.008),
	}
	for k, f := range factors(l.process) {
		l.columns[k] = f.column
		half := math.Pow(p.width[k], widthPower/2)
		l.lo[k], l.hi[k] = max(p.center[k]/half, f.lo), min(p.center[k]*half, f.hi)
	}
	l.findRate(p.goal)
	for l.level(l.hi) > brightest {
		l.narrow()
		l.findRate(p.goal)
	}
	for range 30 {
		if l.neverDarker() {
			return l, nil
		}
		l.fabric.cleaner()
	}
	return nil, fmt.Errorf("surface: %s %d darkens with dose", group, seed)
}

// center is the middle of the region in logarithms.
func (l *Laundry) center(k int) float64 { return math.Sqrt(l.lo[k] * l.hi[k]) }

// lab is the color of a reflectance, under D65 for the 10 degree observer.
func (l *Laundry) lab(r spectrum) colorimetry.Lab { return l.weights.Lab(r[:]) }

// ends are the lightnesses of base and white.
func (l *Laundry) ends() (base, white float64) {
	return l.lab(l.fabric.face(outcome{}, 1)).L, l.lab(l.fabric.white()).L
}

// shade is the color without scatter.
func (l *Laundry) shade(s [3]float64) colorimetry.Lab {
	return l.lab(l.fabric.face(l.treat(s[0], s[1], s[2], 1), 1))
}

// findRate sets the rate so that the center of the region, which a laundry
// chooses for its shades, is at goal between base and white. Where no rate
// gets there, it weakens the losses and asks for a little less.
func (l *Laundry) findRate(goal float64) {
	base, white := l.ends()
	aim := base + goal*(white-base)
	at := func(rate float64) float64 {
		l.rate = rate
		return l.shade([3]float64{l.center(0), l.center(1), l.center(2)}).L
	}
	for {
		for r := 0.001; r < 3; r *= 1.3 {
			if at(r) < aim {
				continue
			}
			lo, hi := r/1.3, r
			for range 30 {
				if m := (lo + hi) / 2; at(m) < aim {
					lo = m
				} else {
					hi = m
				}
			}
			return
		}
		l.ease()
		aim -= 0.5
	}
}

// level is how far settings bring the shade from base to white, in lightness.
func (l *Laundry) level(s [3]float64) float64 {
	base, white := l.ends()
	return (l.shade(s).L - base) / (white - base)
}

// narrow draws the ends of the region together: nobody runs trials that
// only tell that all is white.
func (l *Laundry) narrow() {
	for k := range l.lo {
		c, half := l.center(k), math.Pow(l.hi[k]/l.lo[k], 0.47)
		l.lo[k], l.hi[k] = c/half, c*half
	}
}

// between is factor k at a share of the way through the region, in logarithms.
func (l *Laundry) between(k int, share float64) float64 {
	return l.lo[k] * math.Pow(l.hi[k]/l.lo[k], share)
}

// neverDarker tells whether lightness rises all over the region, with
// strength, time and carrier.
func (l *Laundry) neverDarker() bool {
	const n, hair = 5, 0.01 // what no eye and no instrument sees
	var shade [n][n][n]float64
	at := func(k, i int) float64 { return l.between(k, float64(i)/(n-1)) }
	for i := range n {
		for j := range n {
			for k := range n {
				shade[i][j][k] = l.shade([3]float64{at(0, i), at(1, j), at(2, k)}).L
				if i > 0 && shade[i][j][k] < shade[i-1][j][k]-hair || k > 0 && shade[i][j][k] < shade[i][j][k-1]-hair ||
					j > 0 && l.columns[1] == "ratio" && shade[i][j][k] < shade[i][j-1][k]-hair {
					return false
				}
			}
		}
	}
	return true
}

// treat runs the machine; dose multiplies the rate. Without oxidizer only
// rubbing is left.
func (l *Laundry) treat(strength, second, minutes, dose float64) outcome {
	var o outcome
	if strength > 0 {
		o = l.run(dose*l.rate, strength/l.center(0), second/l.center(1), minutes)
	}
	o.exposure += l.fabric.rubbing * minutes / l.center(2)
	return o
}
