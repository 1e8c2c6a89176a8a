package film

import "math"

const (
	soaking  = 70 // steps of a run until its time is over
	draining = 12 // steps after that
)

// luck is what makes one panel of a lot differ.
type luck struct {
	strength, rate float64 // logarithms
	deeper         float64 // factor on the dye
	hot            bool    // has hot spots
}

// even is a panel that differs in nothing.
func even() luck { return luck{deeper: 1} }

// steps of a run, shorter at its start, where supplies change most.
func (l *Laundry) steps(time float64) (all [soaking + draining]step) {
	for n := range all {
		s := &all[n]
		if n < soaking {
			from, to := math.Pow(float64(n)/soaking, 1.5), math.Pow(float64(n+1)/soaking, 1.5)
			s.at, s.minutes = time*(from+to)/2, time*(to-from)
		} else {
			s.at, s.minutes, s.drained = time, l.carryOver/draining, true
		}
		s.dt = s.minutes / l.center[minutes]
	}
	return all
}

// treat runs a load and returns the face of a panel.
func (l *Laundry) treat(x settings, panel luck) []cell {
	face := l.fabric.fresh(panel.deeper)
	if panel.hot {
		face = l.scatter.hot.on(face)
	}
	source := l.supply.fill(load{
		strength: x[strength] / l.center[strength] * math.Exp(panel.strength),
		second:   x[second] / l.center[second], raw: x[second],
		capacity: l.capacity,
	})
	rate := l.rate * math.Exp(panel.rate)
	rate *= math.Exp(l.warming * (x[celsius] - l.center[celsius]) / 10)
	used := 0.0
	for _, s := range l.steps(x[minutes]) {
		s.lastUsed = used
		o := source.offer(s)
		used = l.attack(face, o.film, rate*o.quicker, s.dt)
	}
	l.wear(face, x[minutes])
	return face
}

// run is the spectrum of a panel of a load.
func (l *Laundry) run(x settings, panel luck) spectrum {
	return l.look(l.treat(x, panel), panel.deeper)
}

// look is the spectrum of a face, of a panel dyed deeper by a factor, after some of
// what it lost has settled.
func (l *Laundry) look(face []cell, deeper float64) spectrum {
	return l.fabric.reflectance(face, lost(face, deeper)*l.chemistry.backstain)
}

// base is the spectrum of cloth before treatment, dyed deeper by a factor.
func (l *Laundry) base(deeper float64) spectrum { return l.look(l.fabric.fresh(deeper), deeper) }

// white is the spectrum of cloth after more oxidizer and time than any lot gets,
// rinsed better and handled with more care.
func (l *Laundry) white(deeper float64) spectrum {
	k := *l
	k.rate *= 3
	k.capacity *= 30
	k.supply = l.supply.lasting()
	k.chemistry.abrasion = 0
	k.chemistry.backstain *= 0.5
	k.chemistry.brown *= 0.3
	x := l.center
	x[strength] = l.hi[strength] * 2
	x[minutes] = l.hi[minutes] * 8
	return k.run(x, luck{deeper: deeper})
}
