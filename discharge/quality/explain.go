package quality

import (
	"math"

	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/golden"
	"example.com/dosetone/internal/mat3"
)

// Split is the deviation of a lot from the standard, along the shade path,
// where dose acts, and off it.
type Split struct {
	Level, StandardLevel float64 // of lot and standard on the path, a cast set aside
	LevelSD              float64 // of Level, from the panels
	// Along is the signed difference of the path's shades at the two levels,
	// lighter positive; Off is the lot's distance from the nearest shade of the
	// path, without sign. Both in the formula's units.
	Along, Off float64
	OffA, OffB float64 // off the path in a* and b*, at the lot's own lightness
	// OffT2 is the squared distance off the path in the scatter of good lots:
	// chi-square with 2 degrees of freedom for those.
	OffT2 float64
	// DosePct is how much more (+) or less (-) dose than for the standard the
	// lot has had, and Minutes what that is in time at the lot's settings.
	DosePct         float64
	Minutes         float64
	HasMinutes      bool
	Residual        *discharge.DoseResidual // against the settings; nil without
	ResidualZ       float64                 // Residual in its own standard deviations
	ResidualUsable  bool                    // false on the plateaus, where level says nothing of dose
	AcceptedFrom    float64                 // level of the dark limit, or of the standard
	AcceptedTo      float64                 // level of the light limit, or of the standard
	residualTotalSD float64
}

// explained is the best account of a lot's mean: a level and one colorant.
type explained struct {
	colorant colorant
	amount   float64
	level    float64
	levelSD  float64
	off      float64  // of the mean from the nearest shade of the path
	effect   mat3.Vec // of the colorant on Lab
	size     float64  // of the effect in the formula's units
	chi2     float64  // of what remains, one degree of freedom less with a colorant
	chi2None float64  // without any colorant, 2 degrees of freedom
}

// Limits of chi-square: 99.5 % with one degree of freedom, 99.9 % with two, 95 %
// with three.
const (
	chi2Three95 = 7.815
	chi2One995  = 7.879
	chi2Two999  = 13.816
)

// spectralSD is the root mean square by which ln K/S of good lots departs from
// the path's spectrum, and spectralWeight the number of independent departures
// that a smooth spectrum has (both of the order met with reflectances of
// denim; common practice, no source).
const (
	spectralSD     = 0.06
	spectralWeight = 3
)

// balanced is how many times as large as the lot's distance from the path a colorant
// may be, seen in Lab alone: what is larger is mostly undone by a dose the other way,
// and Lab does not tell such a pair from neither (common practice, no source).
const balanced = 2

// explain finds level and colorant.
func (j *judge) explain(t *discharge.Table) {
	m := j.opt.Model
	p, err := newPalette(m)
	if err != nil {
		return // a viewing that the model has can be weighted: not reached
	}
	spectrum := j.sample.spectrum()
	if t.Grid != m.Grid() {
		spectrum = nil
	}
	j.shift = j.account(p, spectrum)
	j.report.Split = j.split()
}

// noise is the covariance of the lot mean about the path, dose set aside.
func (j *judge) noise(level float64) mat3.Mat {
	s := j.opt.Model.ScatterAt(level)
	v := mat3.Plus(mat3.Scaled(j.sample.covariance(j.opt.Model), 1/j.sample.n), j.sample.extra)
	v[0][0] += s.LotLightness
	for i := range 2 {
		for k := range 2 {
			v[1+i][1+k] += s.LotOff[i][k]
		}
	}
	return v
}

// account minimizes the distance of the mean from the path with each colorant
// and chooses between them.
func (j *judge) account(p *palette, spectrum []float64) *explained {
	m := j.opt.Model
	start := min(max(m.LevelOf(j.sample.mean.L), -0.1), 1.1)
	precision := mat3.Inverse(j.noise(start))
	chi2 := func(level float64, tint mat3.Vec) float64 {
		d := minus(j.sample.mean, moved(m.ShadeAt(level), tint))
		return mat3.Form(&precision, d, d)
	}
	best := func(lo, hi float64, c colorant, amount float64) (level, y float64) {
		return golden.Section(func(s float64) float64 {
			if amount == 0 {
				return chi2(s, mat3.Vec{})
			}
			y := chi2(s, p.tint(s)(c, amount))
			if spectrum != nil {
				// Lab alone leaves one degree of freedom to tell dose from
				// colorant: the spectrum does the rest.
				d := p.misfit(spectrum, s, c, amount) / spectralSD
				y += spectralWeight * d * d
			}
			return y
		}, lo, hi, 1e-4)
	}
	e := &explained{off: j.opt.Difference.Diff(m.ShadeAt(m.NearestLevel(j.sample.mean)), j.sample.mean)}
	_, e.chi2None = best(start-0.15, start+0.15, noColorant, 0)
	e.chi2 = e.chi2None
	leastTotal := math.Inf(1)
	for _, c := range j.suspects() {
		unit := 1.0
		if c == stain {
			unit = 0.05 // of the base's dye
		}
		// The amount enters nearly linearly: one minimum.
		x, total := golden.Section(func(lnAmount float64) float64 {
			_, y := best(start-0.1, start+0.5, c, unit*math.Exp(lnAmount))
			return y
		}, math.Log(0.002), math.Log(3), 0.03)
		amount := unit * math.Exp(x)
		level, _ := best(start-0.1, start+0.5, c, amount)
		tint := p.tint(level)(c, amount)
		left := chi2(level, tint)
		on := m.ShadeAt(level)
		size := j.opt.Difference.Diff(on, moved(on, tint))
		if e.chi2None-left < chi2One995 || total >= leastTotal || spectrum == nil && size > balanced*e.off {
			continue
		}
		leastTotal = total
		e.colorant, e.amount, e.chi2, e.effect, e.size = c, amount, left, tint, size
	}
	// Dose is told by lightness alone, what lies on the cloth set aside: a* and b*
	// that fit no level would move it by more than they know of it.
	e.level = m.LevelOf(j.sample.mean.L - e.effect[0])
	e.levelSD = math.Sqrt(j.noise(e.level)[0][0]) / m.Tangent(e.level)[0]
	return e
}

// suspects are the colorants that the process can leave: manganese dioxide
// needs permanganate.
func (j *judge) suspects() []colorant {
	if usesPermanganate(j.opt.Model.Process()) {
		return []colorant{brown, yellow, stain}
	}
	return []colorant{yellow, stain}
}

// split measures along and off the path.
func (j *judge) split() *Split {
	m, e := j.opt.Model, j.shift
	s := &Split{Level: e.level, LevelSD: e.levelSD, StandardLevel: m.NearestLevel(j.target.Lab), Off: e.off, OffT2: e.chi2None}
	s.AcceptedFrom, s.AcceptedTo = s.StandardLevel, s.StandardLevel
	if j.target.Dark != nil {
		s.AcceptedFrom = m.NearestLevel(*j.target.Dark)
	}
	if j.target.Light != nil {
		s.AcceptedTo = m.NearestLevel(*j.target.Light)
	}
	s.Along = j.along(s.StandardLevel, s.Level)
	own := m.LevelOf(j.sample.mean.L)
	on := m.ShadeAt(own)
	s.OffA, s.OffB = j.sample.mean.A-on.A, j.sample.mean.B-on.B
	s.DosePct = 100 * math.Expm1(m.DoseBetween(s.StandardLevel, s.Level))
	if len(j.lot.Settings) == 0 {
		return s
	}
	now, _, ok1, err1 := m.TimeFor(j.lot.Settings, s.Level)
	then, _, ok2, err2 := m.TimeFor(j.lot.Settings, s.StandardLevel)
	if err1 == nil && err2 == nil && ok1 && ok2 {
		s.Minutes, s.HasMinutes = now-then, true
	}
	if r, err := m.DoseResidual(j.lot.Settings, s.Level); err == nil {
		s.Residual = &r
		slope := m.Slope(s.Level)
		// Reading noise counts by how flat the curve is; on a plateau it is all.
		read := s.LevelSD / math.Max(slope, 1e-3)
		s.residualTotalSD = math.Sqrt(r.SDModel*r.SDModel + r.SDLots*r.SDLots + read*read)
		s.ResidualZ = r.LnDose / s.residualTotalSD
		s.ResidualUsable = slope > 0.03 && finite(s.ResidualZ)
	}
	return s
}

// along is the signed difference between two levels of the path.
func (j *judge) along(from, to float64) float64 {
	m := j.opt.Model
	d := j.opt.Difference.Diff(m.ShadeAt(from), m.ShadeAt(to))
	return math.Copysign(d, to-from)
}
