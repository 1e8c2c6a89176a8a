// Package shells is an invented garment laundry: oxidizer from carriers that give
// up what they hold, from baths that run out and decay, from an enzyme and its
// mediator or from a gas on a limited feed diffuses into a ring-dyed yarn of eight
// shells and is used up in each of them by two kinds of indigo, what becomes of
// them, and cellulose. There is no dose: what a place has met shows in what is
// left in its shells. No real laundry, fabric or product stands behind it.
package shells

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
	columns   [3]string  // strength, second factor, time
	lo, hi    [3]float64 // region, in the order of columns
	center    [3]float64
	kinetics  kinetics
	tumbling  tumbling
	fabric    fabric
	rate      float64 // of attack, by unit of concentration and time
	diffusion float64 // over the rate of attack
	spread    float64 // of ln concentration between places of a garment
	evening   float64 // of that by the second factor, a power
	scatter   scatter
	weights   *colorimetry.Weights
}

// Groups lists the groups of processes.
func Groups() []string { return []string{"permanganate", "hypochlorite", "laccase", "ozone"} }

// firstStream is the first stream of random numbers, one for each group.
const firstStream = 7700

// New draws a laundry. The same group and seed give the same laundry.
func New(group string, seed uint64) (*Laundry, error) {
	at := slices.Index(Groups(), group)
	if at < 0 {
		return nil, fmt.Errorf("shells: no group %q", group)
	}
	w, err := colorimetry.NewWeights(
		colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}, grid())
	if err != nil {
		return nil, err
	}
	d := draw{rand.New(rand.NewPCG(seed, firstStream+uint64(at)))}
	for { // about every third draw is of no use
		l := drawn(d, group)
		l.weights = w
		if l.calibrate(d.in(0.45, 0.6)) && l.useful(d) {
			return l, nil
		}
	}
}

// drawn is a laundry whose rate is still to be set.
func drawn(d draw, group string) *Laundry {
	l := &Laundry{fabric: newFabric(d)}
	strengths, seconds, times := d.log(2, 4), d.log(2, 3.5), d.log(4, 6) // highest over lowest
	switch group {
	case "permanganate":
		l.process, l.columns = "permanganate-pellet", [3]string{"strength_pct", "ratio", "time_min"}
		l.lo = [3]float64{d.log(1.5, 3.5), d.log(0.3, 0.7), d.log(4, 7)}
		l.kinetics = newCarrier(d)
		l.spread, l.evening = d.in(0.3, 0.7), 0.25
	case "hypochlorite":
		l.process, l.columns = "hypochlorite-bath", [3]string{"strength_gpl", "liquor_ratio", "time_min"}
		l.lo = [3]float64{d.log(0.8, 2.5), d.in(5, 7.5), d.log(5, 9)}
		l.kinetics = newBath(d)
		l.spread = d.in(0.1, 0.35)
		seconds = d.log(2, 2.8)
	case "laccase":
		l.process, l.columns = "laccase-bath", [3]string{"strength_pct", "liquor_ratio", "time_min"}
		l.lo = [3]float64{d.log(0.3, 1), d.in(5, 7.5), d.log(9, 12)}
		times = d.log(4, 5.5)
		l.kinetics = newEnzyme(d)
		l.tumbling = newTumbling(d)
		l.spread = d.in(0.2, 0.5)
		seconds = d.log(2, 2.8)
	case "ozone":
		l.process, l.columns = "ozone-gas", [3]string{"strength_gnm3", "moisture_pct", "time_min"}
		l.lo = [3]float64{d.log(12, 30), d.in(30, 38), d.log(4, 8)}
		seconds = d.in(1.8, 2.2)
		l.kinetics = newGas(d, l.lo[1]*math.Sqrt(seconds))
		l.spread = d.in(0.2, 0.5)
	}
	for i, width := range [3]float64{strengths, seconds, times} {
		l.hi[i] = l.lo[i] * width
		l.center[i] = l.lo[i] * math.Sqrt(width)
	}
	l.diffusion = d.log(2, 25)
	l.fabric.products = newProducts(d)
	l.scatter = newScatter(d)
	return l
}

// calibrate sets the rate so that the center of the region has a lightness level
// between base and white, and reports whether there is one.
func (l *Laundry) calibrate(level float64) bool {
	const near = 0.005
	lo, hi := math.Log(1e-3), math.Log(1e3)
	for range 40 {
		mid := (lo + hi) / 2
		l.rate = math.Exp(mid)
		switch at := l.levels()(l.center); {
		case math.Abs(at-level) < near:
			return true
		case at < level:
			lo = mid
		default:
			hi = mid
		}
	}
	return false
}

// useful reports whether most of the region is neither next to the base nor next
// to white: nobody would run trials there.
func (l *Laundry) useful(d draw) bool {
	const n = 80
	var levels []float64
	level := l.levels()
	for range n {
		levels = append(levels, level(l.random(d.Rand)))
	}
	slices.Sort(levels)
	quantile := func(p float64) float64 {
		at := p * (n - 1)
		i := int(at)
		return levels[i] + (at-float64(i))*(levels[i+1]-levels[i])
	}
	low, high := quantile(0.05), quantile(0.95)
	return 0.10 <= low && low <= 0.33 && 0.72 <= high && high <= 0.93
}

// levels tells where the lightness of an even place lies, from base 0 to white 1.
func (l *Laundry) levels() func(x [3]float64) float64 {
	base, white := l.lab(l.base(1)).L, l.lab(l.white()).L
	return func(x [3]float64) float64 {
		face := l.run(x, luck{brown: 1}, []place{{deeper: 1}})[0]
		return (l.lab(face).L - base) / (white - base)
	}
}

func (l *Laundry) lab(values [bands]float64) colorimetry.Lab { return l.weights.Lab(values[:]) }

// base is untouched cloth, of a panel dyed deeper by a factor.
func (l *Laundry) base(deeper float64) (face [bands]float64) {
	s := l.fabric.fresh()
	l.fabric.reflect(&face, &s, deeper, 1)
	return face
}

// white is cloth after more oxidizer than any lot gets.
func (l *Laundry) white() (face [bands]float64) {
	s := l.fabric.fresh()
	for i := range 400 {
		l.fabric.attack(&s, 1, l.rate, l.diffusion*l.rate, 0.05*float64(1+i)/l.rate)
	}
	if l.tumbling.settling > 0 {
		s.stain = leastStain
	}
	l.fabric.reflect(&face, &s, 1, 1)
	return face
}

// steps of a run, shorter at its start, where supplies change most.
const steps = 90

// exposures are how concentrations differ between the parts of a place, in units
// of the spread of their logarithms, with the shares of the parts.
func exposures() [3]struct{ at, share float64 } {
	return [3]struct{ at, share float64 }{{-1.2, 0.3}, {0, 0.4}, {1.2, 0.3}}
}

// run gives the spectra of places of one lot. What the mean of the cloth uses is
// what the supply loses.
func (l *Laundry) run(x [3]float64, lot luck, places []place) [][bands]float64 {
	second, end := x[1]/l.center[1], x[2]/l.center[2]
	supply := l.kinetics.load(x[0]/l.center[0]*math.Exp(lot.strength), second)
	spread := l.spread * math.Pow(second, -l.evening)
	abrasion := l.tumbling.abrasion * math.Pow(second, -0.4)
	settling := l.tumbling.settling * math.Pow(second, -0.7)
	type part struct {
		state
		exposed, worn, share float64
		place                int
	}
	var parts []part
	for i, p := range places {
		for _, e := range exposures() {
			parts = append(parts, part{
				state: l.fabric.fresh(), exposed: math.Exp(p.exposure + spread*e.at),
				worn: math.Exp(0.5 * spread * e.at), share: e.share, place: i,
			})
		}
	}
	mean := l.fabric.fresh()
	var deposit, loose, was float64
	for n := range steps {
		until := end * math.Pow(float64(n+1)/steps, 1.5)
		dt, at := until-was, (until+was)/2
		was = until
		o := supply.offer(at, dt)
		rate, diffusion := l.rate*math.Exp(lot.rate)*o.quicker, l.diffusion*l.rate*o.deeper
		deposit = supply.spend(l.fabric.attack(&mean, o.concentration, rate, diffusion, dt), dt)
		bleach := rate * o.concentration * dt // of what floats or has settled
		loose = (loose + mean.wear(abrasion*dt)) * math.Exp(-0.15*bleach)
		for i := range parts {
			p := &parts[i]
			l.fabric.attack(&p.state, o.concentration*p.exposed, rate, diffusion, dt)
			p.wear(abrasion * dt * p.worn)
			p.stain = (p.stain + settling*loose*dt) * math.Exp(-0.3*bleach)
		}
	}
	faces := make([][bands]float64, len(places))
	for i := range parts {
		p := &parts[i]
		for k := range p.brown {
			p.brown[k] *= lot.brown
		}
		p.deposit = deposit * lot.brown
		l.fabric.reflect(&faces[p.place], &p.state, places[p.place].deeper, p.share)
	}
	return faces
}

// draw is a source of randomness with the shapes used here.
type draw struct{ *rand.Rand }

// in is uniform.
func (d draw) in(lo, hi float64) float64 { return lo + (hi-lo)*d.Float64() }

// log is uniform in the logarithm.
func (d draw) log(lo, hi float64) float64 { return lo * math.Pow(hi/lo, d.Float64()) }
