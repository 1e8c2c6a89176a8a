package laundry

import (
	"math"
	"math/rand/v2"

	"example.com/dosetone/colorimetry"
)

// Seeds of the invented laundry behind datasets/demo. They were picked among a
// few so that lots scatter as is usual: about 1 ΔE00 on the steep part.
const (
	demoPelletSeed = 37
	demoHypoSeed   = 47
	demoStream     = 2 // of the generator that draws the laundry itself
)

// Demo rebuilds the laundry of the demo's permanganate pellets. Tests put
// suggested settings back into it.
func Demo() (*Laundry, error) {
	return demo(Mixed, "permanganate-pellet", demoPelletSeed)
}

// DemoHypochlorite rebuilds the laundry of the demo's hypochlorite bath.
func DemoHypochlorite() (*Laundry, error) {
	return demo(Decay, "hypochlorite-bath", demoHypoSeed)
}

// demo draws a laundry whose balances keep to the plain 24 steps, and whose
// cloth to the coarse division, with which the demo's files were made: what
// they give is what this laundry does.
func demo(kind Kind, id string, seed uint64) (*Laundry, error) {
	p, err := lookup(id)
	if err != nil {
		return nil, err
	}
	l, err := newLaundry(kind, p, rand.New(rand.NewPCG(seed, demoStream)), 1, true)
	if err != nil {
		return nil, err
	}
	l.Fabric, l.Machine = "alder-12oz", "drum-3"
	if id == "hypochlorite-bath" {
		l.Fabric, l.Machine = "birch-11oz", "washer-1"
	}
	return l, nil
}

// DemoStandardSettings are the settings from whose expected shade the demo's
// standard was made: inside the trial region, not one of the trials.
func DemoStandardSettings() map[string]float64 {
	return map[string]float64{"strength_pct": 7, "ratio": 1.3, "time_min": 13}
}

// Standard makes a buyer's standard (or a limit) of one piece read at
// positions spots: the expected shade at the settings, moved off the path by a
// smooth tilt of the spectrum, since a standard comes from another mill. The
// reflectance at 400 nm changes by the factor exp(-tilt), at 700 nm by
// exp(+tilt): 0.01 is about 0.2 ΔE00 on mid blue.
func (l *Laundry) Standard(settings map[string]float64, tilt float64, positions int, rng *rand.Rand) Lot {
	spectrum, _ := l.Expected(settings, l.weights)
	var r bands
	for i := range r {
		r[i] = spectrum[i] * math.Exp(tilt*(float64(i)/15-1))
	}
	lot := Lot{Role: "standard", Process: l.Process}
	for p := 1; p <= positions; p++ {
		lot.Readings = append(lot.Readings, Reading{Panel: 1, Position: p, R: l.read(r, rng)})
	}
	return lot
}

// ExpectedLab is Expected without the spectrum, under D65/10.
func (l *Laundry) ExpectedLab(settings map[string]float64) colorimetry.Lab {
	_, lab := l.Expected(settings, l.weights)
	return lab
}
