package quality

import (
	"math"

	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/mat3"
)

// Split is the deviation of a lot from the standard, along the shade path,
// where dose acts, and off it.
type Split struct {
	Level, StandardLevel float64 // of lot and standard on the path, a cast set aside
	StandardOff          float64 // of the standard from the nearest shade of the path, in the formula's units
	LevelSD              float64 // of Level, from the panels
	// Along is the signed difference of the path's shades at the two levels,
	// lighter positive; Off is the lot's distance from the nearest shade of the
	// path, without sign. Both in the formula's units.
	Along, Off float64
	OffA, OffB float64 // off the path in a* and b*, at the lot's own lightness
	// WithoutHotSpots says that Off, OffA and OffB are of the lot without its hot spots: of pale
	// panels and dark ones the mean lies off a bent path, where neither does.
	WithoutHotSpots bool
	// OffT2 is the squared distance off the path in the scatter of good lots:
	// chi-square with 2 degrees of freedom for those.
	OffT2 float64
	// DosePct is how much more (+) or less (-) dose than for the standard the
	// lot has had, and Minutes what that is in time at the lot's settings.
	DosePct        float64
	Minutes        float64
	HasMinutes     bool
	Residual       *discharge.DoseResidual // against the settings; nil without
	ResidualZ      float64                 // Residual in its own standard deviations
	ResidualUsable bool                    // false where level says nothing of dose
	// ResidualAtLeast says that the lot lies on a plateau, where level hardly tells dose, and its
	// settings promise one off it: Residual is then of where the plateau ends, and the lot's is
	// further out.
	ResidualAtLeast bool
	AcceptedFrom    float64 // level of the dark limit, or of the standard
	AcceptedTo      float64 // level of the light limit, or of the standard
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
	fabric   bool     // another fabric accounts for it better than this one
}

// Limits of chi-square: 99.5 % with one degree of freedom, 99.9 % with two, 95 %
// with three.
const (
	chi2Three95 = 7.815
	chi2One995  = 7.879
	chi2Two999  = 13.816
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
	spectrum := j.even.spectrum()
	if t.Grid != m.Grid() {
		spectrum = nil
	}
	j.shift = j.account(p, spectrum)
	j.report.Split = j.split()
}

// noise is the covariance of the mean of a sample about the path, dose set aside; more is
// what panels are expected to scatter besides those of the trials.
func (p *sample) noise(m *discharge.Model, level float64, more mat3.Mat) mat3.Mat {
	s := m.ScatterAt(level)
	v := mat3.Plus(mat3.Scaled(p.covariance(m, more), 1/p.n), p.extra)
	v[0][0] += s.LotLightness
	for i := range 2 {
		for k := range 2 {
			v[1+i][1+k] += s.LotOff[i][k]
		}
	}
	return v
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
	s := &Split{WithoutHotSpots: j.even != j.sample, Level: e.level, LevelSD: e.levelSD, StandardLevel: m.NearestLevel(j.target.Lab), Off: e.off, OffT2: e.chi2None}
	s.StandardOff = j.opt.Difference.Diff(j.target.Lab, m.ShadeAt(s.StandardLevel))
	s.AcceptedFrom, s.AcceptedTo = s.StandardLevel, s.StandardLevel
	if j.target.Dark != nil {
		s.AcceptedFrom = m.NearestLevel(*j.target.Dark)
	}
	if j.target.Light != nil {
		s.AcceptedTo = m.NearestLevel(*j.target.Light)
	}
	s.Along = j.along(s.StandardLevel, s.Level)
	own := m.LevelOf(j.even.mean.L)
	on := m.ShadeAt(own)
	s.OffA, s.OffB = j.even.mean.A-on.A, j.even.mean.B-on.B
	s.DosePct = 100 * math.Expm1(m.DoseBetween(s.StandardLevel, s.Level))
	if len(j.lot.Settings) == 0 {
		return s
	}
	now, _, ok1, err1 := m.TimeFor(j.lot.Settings, s.Level)
	then, _, ok2, err2 := m.TimeFor(j.lot.Settings, s.StandardLevel)
	if err1 == nil && err2 == nil && ok1 && ok2 {
		s.Minutes, s.HasMinutes = now-then, true
	}
	j.residual(s)
	return s
}

// flat is the slope of the level by ln dose below which level tells no dose.
const flat = 0.03

// residual compares the lot's dose with what its settings promise. A lot that was left at base
// by a dead oxidizer says that it had much less, if not how much less.
func (j *judge) residual(s *Split) {
	m, at := j.opt.Model, s.Level
	r, err := m.DoseResidual(j.lot.Settings, at)
	if err != nil {
		j.unplaced = err
		return
	}
	if m.Slope(at) <= flat && r.Slope > flat {
		const steps = 100
		for i := 1; i <= steps && m.Slope(at) <= flat; i++ {
			at = s.Level + (r.ExpectedLevel-s.Level)*float64(i)/steps
		}
		if r, err = m.DoseResidual(j.lot.Settings, at); err != nil {
			return
		}
		s.ResidualAtLeast = true
	}
	slope := m.Slope(at)
	// Reading noise counts by how flat the curve is; on a plateau it is all.
	read := s.LevelSD / math.Max(slope, 1e-3)
	s.Residual = &r
	s.residualTotalSD = math.Sqrt(r.SDModel*r.SDModel + r.SDLots*r.SDLots + read*read)
	s.ResidualZ = r.LnDose / s.residualTotalSD
	s.ResidualUsable = slope > flat && finite(s.ResidualZ)
}

// along is the signed difference between two levels of the path.
func (j *judge) along(from, to float64) float64 {
	m := j.opt.Model
	d := j.opt.Difference.Diff(m.ShadeAt(from), m.ShadeAt(to))
	return math.Copysign(d, to-from)
}
