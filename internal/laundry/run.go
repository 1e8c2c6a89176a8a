package laundry

import (
	"math"
	"math/rand/v2"
)

// Upset is what went wrong with a whole lot.
type Upset int

// The upsets.
const (
	NoUpset   Upset = iota
	DoseUpset       // strength or time badly off: ±0.5 to ±1 in ln dose
	CastUpset       // neutralization failed: residual cast left
)

// RunOptions says how a lot is run and read. The zero value is 4 panels of 2
// positions, dry, without upset, with hot spots at the laundry's own rate.
type RunOptions struct {
	Panels     int // 0 means 4
	Positions  int // readings per panel; 0 means 2
	BasePanels int // panels of the load that are also read before discharge; 0 for none
	Upset      Upset
	NoHotSpots bool
	Damp       bool // read before drying: darker and more saturated
}

// Reading is one spectrum of one spot.
type Reading struct {
	Panel, Position int       // from 1
	R               []float64 // reflectance factor on Grid, 0..1
	Damp            bool
}

// Lot is one machine load, or the readings of a base, a white or a standard.
type Lot struct {
	ID, Role        string // set by the caller or by the functions that make roles
	Process         string
	Fabric, Machine string
	Settings        map[string]float64 // as the file shows: dialed, and drifting factors as logged; nil when there are none
	Readings        []Reading
	BaseReadings    []Reading       // of this very load, before discharge
	TensileLoss     map[int]float64 // % by panel; nil when not tested
	HotPanels       []int           // truth: panels with a hot spot
}

// Run makes one trial lot. A factor that settings do not name stands at its
// Ref. The same seed gives the same lot.
func (l *Laundry) Run(settings map[string]float64, rng *rand.Rand, o RunOptions) Lot {
	if o.Panels == 0 {
		o.Panels = 4
	}
	if o.Positions == 0 {
		o.Positions = 2
	}
	lot := Lot{
		Role: "trial", Process: l.Process, Fabric: l.Fabric, Machine: l.Machine,
		Settings: map[string]float64{}, TensileLoss: map[int]float64{},
	}
	d := l.scatter.lot.draw(rng)
	for i := range l.process.factors {
		if l.process.factors[i].Drift > 0 {
			d.drift[i] = rng.NormFloat64()
		}
	}
	switch o.Upset {
	case DoseUpset:
		z := uniform(rng, 0.5, 1)
		if rng.IntN(2) == 0 {
			z = -z
		}
		d.dose += z
	case CastUpset:
		d.badRinse = uniform(rng, 0.25, 0.8)
	}
	actual := l.drifted(settings, d)
	for _, f := range l.process.factors {
		lot.Settings[f.Column] = round(actual[f.Column], f.Step)
	}
	c := l.at(actual)
	sdLot := rng.NormFloat64()
	for p := 1; p <= o.Panels; p++ {
		panel := d.plus(l.scatter.panel.draw(rng))
		if hot := rng.Float64() < l.scatter.hotSpot; hot && !o.NoHotSpots {
			panel.dose += uniform(rng, 0.4, 0.9)
			lot.HotPanels = append(lot.HotPanels, p)
		}
		for q := 1; q <= o.Positions; q++ {
			s := l.state(c, panel.plus(l.scatter.position.draw(rng)))
			if o.Damp {
				s.damp = uniform(rng, 0.5, 0.9)
			}
			lot.Readings = append(lot.Readings, Reading{p, q, l.read(l.shade(s), rng), o.Damp})
		}
		loss := l.tensile.loss(l.state(c, panel).exposure.dose)
		loss += (l.tensile.sdLot*sdLot + l.tensile.sdPanel*rng.NormFloat64()) * (0.5 + loss/20)
		lot.TensileLoss[p] = min(max(loss, 0), 95)
		if p <= o.BasePanels {
			for q := 1; q <= o.Positions; q++ {
				s := state{d: panel.plus(l.scatter.position.draw(rng))}
				s.d.badRinse = 0
				lot.BaseReadings = append(lot.BaseReadings, Reading{Panel: p, Position: q, R: l.read(l.shade(s), rng)})
			}
		}
	}
	return lot
}

// Base reads the prepared garment before discharge, with the scatter of one lot.
func (l *Laundry) Base(rng *rand.Rand, o RunOptions) Lot {
	return l.special("base", l.baseState(), rng, o)
}

// Blank runs the whole process without oxidizer; its strength is written as 0.
func (l *Laundry) Blank(settings map[string]float64, rng *rand.Rand, o RunOptions) Lot {
	c := l.at(settings)
	s := state{worn: c.t / l.supply.refT * c.hits}
	lot := l.special("blank", s, rng, o)
	lot.Settings = l.drifted(settings, disturbance{})
	for _, f := range l.process.factors {
		lot.Settings[f.Column] = round(lot.Settings[f.Column], f.Step)
		if isStrength(f.Column) {
			lot.Settings[f.Column] = 0
		}
	}
	return lot
}

// White is the fabric discharged until nothing more happens.
func (l *Laundry) White(rng *rand.Rand, o RunOptions) Lot {
	return l.special("white", l.whiteState(), rng, o)
}

func (l *Laundry) special(role string, s state, rng *rand.Rand, o RunOptions) Lot {
	if o.Panels == 0 {
		o.Panels = 4
	}
	if o.Positions == 0 {
		o.Positions = 2
	}
	lot := Lot{Role: role, Process: l.Process, Fabric: l.Fabric, Machine: l.Machine}
	d := l.scatter.lot.draw(rng)
	for p := 1; p <= o.Panels; p++ {
		panel := d.plus(l.scatter.panel.draw(rng))
		for q := 1; q <= o.Positions; q++ {
			s.d = panel.plus(l.scatter.position.draw(rng))
			if o.Damp {
				s.damp = uniform(rng, 0.5, 0.9)
			}
			lot.Readings = append(lot.Readings, Reading{p, q, l.read(l.shade(s), rng), o.Damp})
		}
	}
	return lot
}

func isStrength(column string) bool { return len(column) > 9 && column[:9] == "strength_" }

func (v level) draw(rng *rand.Rand) disturbance {
	return disturbance{
		dose: v.dose * rng.NormFloat64(), depth: v.depth * rng.NormFloat64(), yellow: v.yellow * rng.NormFloat64(),
		stain: v.stain * rng.NormFloat64(), cast: v.cast * rng.NormFloat64(), weft: v.weft * rng.NormFloat64(),
	}
}

// drifted completes settings with what is not named and moves the drifting factors.
func (l *Laundry) drifted(settings map[string]float64, d disturbance) map[string]float64 {
	s := map[string]float64{}
	for i, f := range l.process.factors {
		v, ok := settings[f.Column]
		if !ok {
			v = f.Ref
		}
		if f.Drift > 0 {
			v += f.Drift * f.Ref * d.drift[i]
		}
		s[f.Column] = v
	}
	return s
}

// round to a multiple of step without the binary tail.
func round(v, step float64) float64 {
	n := math.Round(v / step)
	return math.Round(n*step*1e6) / 1e6
}

// loss is the expected tensile loss in % after a dose: in proportion to its
// power up to 20 %, then steeper, as in the series of [8].
func (t tensile) loss(dose float64) float64 {
	u := t.slope * math.Pow(dose/t.center, t.power)
	if u > 20 {
		u += 0.5 * (u - 20)
	}
	return min(t.base+u, 90)
}

// read adds the instrument's errors: gain, tilt and curvature over wavelength,
// zero, and white noise per band.
func (l *Laundry) read(r bands, rng *rand.Rand) []float64 {
	n := l.scatter.noise
	gain, tilt, bow := n.gain*rng.NormFloat64(), n.tilt*rng.NormFloat64(), n.tilt*rng.NormFloat64()
	zero := n.zero * rng.NormFloat64()
	out := make([]float64, Bands)
	for i := range r {
		x := float64(i)/15 - 1 // -1..1 over the range
		v := r[i]*(1+gain+tilt*x+bow*(x*x-1.0/3)) + zero + n.white*math.Sqrt(0.1+r[i])*rng.NormFloat64()
		out[i] = min(max(v, 0.001), 1)
	}
	return out
}
