package film

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"example.com/dosetone/colorimetry"
)

// A Laundry is one machine room with one fabric. It does not change after [New]
// and is safe for concurrent use.
type Laundry struct {
	process   string
	columns   []string // strength, second factor, time and perhaps temperature
	lo, hi    settings // region
	center    settings
	supply    supply
	capacity  float64 // dye that the oxidizer of the center can destroy, over that of the cloth
	rate      float64 // of attack at the center's concentration, per center time
	warming   float64 // rise of the logarithm of the rate by 10 °C
	carryOver float64 // minutes for which a load goes on after its time
	fabric    fabric
	chemistry chemistry
	scatter   scatter
	whiteRead bool // trials have a white
	weights   *colorimetry.Weights
}

// settings of a run, in the units of the columns.
type settings [4]float64

// Places in settings. A laundry whose column it is not keeps its temperature.
const (
	strength = iota
	second   // ratio, liquor ratio or moisture
	minutes
	celsius
)

// Groups lists the kinds of process: permanganate on stones, powder or pellets
// as it is drawn, hypochlorite, laccase and ozone.
func Groups() []string { return []string{"permanganate", "hypochlorite", "laccase", "ozone"} }

// stream of random numbers that laundries are drawn from, in all groups.
const stream = 4711

// New draws a laundry of a group of [Groups]. The same group and seed give the
// same laundry.
func New(group string, seed uint64) (*Laundry, error) {
	if !slices.Contains(Groups(), group) {
		return nil, fmt.Errorf("film: no group %q", group)
	}
	w, err := colorimetry.NewWeights(colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}, grid())
	if err != nil {
		return nil, err
	}
	d := draw{rand.New(rand.NewPCG(seed, stream))}
	for { // until one is of use
		l := &Laundry{weights: w}
		if l.drawn(d, group) {
			return l, nil
		}
	}
}

// drawn draws a laundry and reports whether it is of use: its draws end where that
// shows.
func (l *Laundry) drawn(d draw, group string) bool {
	l.drawRegion(d, group)
	base := d.in(20, 28)
	l.fabric = newFabric(d)
	if !l.dyeTo(base) {
		return false
	}
	l.drawChemistry(d, group)
	l.scatter = newScatter(d)
	l.whiteRead = d.yes(0.75)
	d.yes(0.5) // was to say whether there is a blank; what is drawn next must stay as it is
	return l.calibrate(d.in(40, 51)) && l.useful(group, base)
}

// drawRegion draws the process and the region of its trials.
func (l *Laundry) drawRegion(d draw, group string) {
	l.columns = []string{"strength_pct", "liquor_ratio", "time_min"}
	switch group {
	case "permanganate":
		l.columns[second] = "ratio"
		l.process = []string{"permanganate-pellet", "permanganate-powder", "permanganate-stone"}[d.IntN(3)]
		strengths, ratios := span{2, 4, 2, 3.3, 1}, span{0.7, 1.2, 1.5, 2.5, 2}
		switch l.process {
		case "permanganate-stone":
			l.columns[strength] = "strength_gpl"
			strengths = span{8, 14, 2, 3.3, 1}
		case "permanganate-powder":
			ratios = span{0.4, 0.6, 1.5, 2.5, 2}
		}
		l.spanned(d, strengths, ratios, span{8, 16, 2, 3.3, 0})
	case "hypochlorite":
		l.process, l.columns[strength] = "hypochlorite-bath", "strength_gpl"
		l.spanned(d, span{1.6, 3.2, 2, 3.3, 1}, span{8, 12, 1.5, 2.5, 1}, span{12, 22, 2, 3.3, 0})
		if d.yes(0.4) {
			l.columns = append(l.columns, "temp_c")
			l.lo[celsius] = math.Round(d.in(25, 38))
			l.hi[celsius] = l.lo[celsius] + math.Round(d.in(8, 16))
		}
	case "laccase":
		l.process = "laccase-bath"
		l.spanned(d, span{0.6, 1.2, 2, 3.3, 2}, span{8, 12, 1.5, 2.5, 1}, span{20, 35, 2, 3.3, 0})
	case "ozone":
		l.process, l.columns[strength], l.columns[second] = "ozone-gas", "strength_gnm3", "moisture_pct"
		l.spanned(d, span{22, 50, 2, 3.3, 0}, span{38, 52, 1.5, 2.3, 0}, span{10, 20, 2, 3.3, 0})
	}
	for i := range l.center {
		l.center[i] = math.Sqrt(l.lo[i] * l.hi[i])
	}
	l.center[celsius] = (l.lo[celsius] + l.hi[celsius]) / 2
}

// spanned draws the region in strength, second factor and time.
func (l *Laundry) spanned(d draw, spans ...span) {
	for i, s := range spans {
		l.lo[i], l.hi[i] = d.span(s)
	}
}

// dyeTo dyes the fabric until the base is as light as asked and reports whether
// that takes a usual amount of dye.
func (l *Laundry) dyeTo(lightness float64) bool {
	lo, hi := 2.0, 300.0
	for range 40 {
		l.fabric.depth = math.Sqrt(lo * hi)
		if l.lab(l.base(1)).L > lightness {
			lo = l.fabric.depth
		} else {
			hi = l.fabric.depth
		}
	}
	return 8 <= l.fabric.depth && l.fabric.depth <= 150
}

// calibrate sets the rate so that the center of the region is as light as asked,
// with more oxidizer where it runs out before that, and reports whether it can be.
func (l *Laundry) calibrate(lightness float64) bool {
	const quick, tooQuick = 60, 100
	for range 10 {
		lo, hi := 0.01, 400.0
		for range 24 {
			l.rate = math.Sqrt(lo * hi)
			if l.lab(l.run(l.center, even())).L < lightness {
				lo = l.rate
			} else {
				hi = l.rate
			}
		}
		if l.rate < quick {
			break
		}
		l.capacity *= 1.5
	}
	return l.rate <= tooQuick
}

// useful reports whether the region goes from a shade lighter than the base to one
// darker than white, far enough apart: nobody would run trials elsewhere.
func (l *Laundry) useful(group string, base float64) bool {
	least, most := l.lo, l.hi
	switch group {
	case "laccase": // liquor dilutes it
		least[second], most[second] = l.hi[second], l.lo[second]
	case "ozone": // moisture may go either way
		least[second], most[second] = l.center[second], l.center[second]
	}
	dark, light := l.lab(l.run(least, even())).L, l.lab(l.run(most, even())).L
	white := l.lab(l.white(1)).L
	return base+2 <= dark && dark <= 46 && light <= 77 && light-dark >= 10 && light+2 <= white && white <= 93
}

// lab is a spectrum's shade under D65/10°.
func (l *Laundry) lab(face spectrum) colorimetry.Lab { return l.weights.Lab(face[:]) }
