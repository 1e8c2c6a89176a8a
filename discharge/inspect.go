package discharge

import (
	"math"
	"slices"

	"example.com/dosetone/colorimetry"
)

// This file opens the model to those who judge lots: where a shade stands on
// the path, how much dose lies between two levels, and how lots and panels
// scatter about it all. Log doses are in ln units of dose, as in Summary.SDLot.

// Digest identifies the trial data that the model was learned from, and the fabric and machine
// that it is for where [FitOptions] name them.
func (m *Model) Digest() string { return m.digest }

// Grid returns the wavelengths of the model's spectra, the zero Grid when it
// was learned from colors alone.
func (m *Model) Grid() colorimetry.Grid {
	if m.kind != Spectral {
		return colorimetry.Grid{}
	}
	return m.grid
}

// LevelOf is how far a lightness has gone from base (0) to white (1).
func (m *Model) LevelOf(lightness float64) float64 { return m.path.level(lightness) }

// NearestLevel is the level at which the shade path comes nearest to c in
// CIEDE2000, between 0.1 before base and 0.1 beyond white.
func (m *Model) NearestLevel(c colorimetry.Lab) float64 {
	finiteLevel(c.L, c.A, c.B)
	distance := func(s float64) float64 { return colorimetry.CIEDE2000{}.Diff(c, m.path.at(s)) }
	// The nearest shade has about the same lightness: the path turns slowly.
	s := min(max(m.path.level(c.L), -0.1), 1.1)
	return goldenMin(distance, max(s-0.25, -0.1), min(s+0.25, 1.1), 1e-6)
}

// finiteLevel panics on what is no level: NaN would pass for the base.
func finiteLevel(levels ...float64) {
	if !finite(levels...) {
		panic("discharge: a level, or a color to find one for, must be finite")
	}
}

// ShadeAt is the shade of the path at a level, 0 at the base and 1 at the white; beyond
// what was read the path goes on straight, which means nothing far out. Like the other
// methods that take a level and return no error, it panics when that is NaN or infinite.
func (m *Model) ShadeAt(level float64) colorimetry.Lab {
	finiteLevel(level)
	return m.path.at(level)
}

// Tangent is the change of L*, a*, b* per unit of level along the path.
func (m *Model) Tangent(level float64) [3]float64 {
	finiteLevel(level)
	da, db := m.path.tangent(level)
	return [3]float64{m.path.L1 - m.path.L0, da, db}
}

// SpectrumAt is the reflectance of the path at a level on Grid, nil for a
// model without spectra.
func (m *Model) SpectrumAt(level float64) []float64 {
	finiteLevel(level)
	if m.kind != Spectral {
		return nil
	}
	r := make([]float64, m.grid.N)
	for i := range r {
		r[i] = colorimetry.FromKS(math.Exp(m.path.channel(2+i, level)))
	}
	return r
}

// Slope is the rise of the level per unit of ln dose where the level stands,
// averaged over the model's curves.
func (m *Model) Slope(level float64) float64 {
	finiteLevel(level)
	sum := 0.0
	for i := range m.comps {
		c := &m.comps[i]
		d := c.mean[len(c.mean)-1]
		_, ds, _ := c.link.at(c.etaAt(level), d)
		sum += c.weight * ds * c.link.unit
	}
	return sum
}

// etaAt is the η at which the curve reaches a level.
func (c *component) etaAt(level float64) float64 {
	stretch := (c.mean[len(c.mean)-1] - c.link.low) / (1 - c.link.low)
	return c.link.inverse(c.link.low + (level-c.link.low)/stretch)
}

// DoseBetween is ln of the dose that reaches level to over that which reaches
// level from. Levels on the plateaus give large values: see Slope.
func (m *Model) DoseBetween(from, to float64) float64 {
	finiteLevel(from, to)
	sum := 0.0
	for i := range m.comps {
		c := &m.comps[i]
		sum += c.weight * (c.etaAt(to) - c.etaAt(from)) / c.link.unit
	}
	return sum
}

// DoseResidual is ln of the dose that a lot seems to have had over the dose
// that its settings promise, with the standard deviations that the model's
// own uncertainty and the scatter between lots give it.
type DoseResidual struct {
	LnDose          float64
	SDModel, SDLots float64
	Extrapolated    bool
	ExpectedLevel   float64
	Slope           float64 // of the level per ln dose at ExpectedLevel
}

// DoseResidual compares the level of a lot with its settings.
func (m *Model) DoseResidual(s Settings, level float64) (DoseResidual, error) {
	if !finite(level) {
		return DoseResidual{}, errLevel
	}
	var v values
	if err := m.locate(s, &v); err != nil {
		return DoseResidual{}, err
	}
	var parts [maxComponents]mixPart
	r := DoseResidual{Extrapolated: m.parts(&parts, &v) > 0 || m.movesFixed(s)}
	var residual mixMoments
	lots := 0.0
	for i := range m.comps {
		c := &m.comps[i]
		unit := c.link.unit
		x := (c.etaAt(since(parts[i].start, level)) - parts[i].mu) / unit
		sd := parts[i].sdMean / unit
		residual.add(c.weight, x, sd*sd)
		lots += c.weight * (parts[i].sdLot*parts[i].sdLot/(unit*unit) - sd*sd)
	}
	r.LnDose, r.SDModel = residual.mean, residual.sd()
	r.SDLots = math.Sqrt(max(lots, 0))
	r.ExpectedLevel = m.path.level(m.expected(&v).L)
	r.Slope = m.Slope(r.ExpectedLevel)
	return r, nil
}

// GoOnSD is the standard deviation, by the model's own uncertainty, of the ln
// dose that lots at settings, whose own time is not looked at, gain between two
// times, about what leads from the expected level of the first to that of the
// second. Part of what is uncertain of either cancels.
func (m *Model) GoOnSD(s Settings, from, to float64) (float64, error) {
	var v [2]values
	var level [2]float64
	for i, t := range []float64{from, to} {
		if err := m.locate(withTime(s, t), &v[i]); err != nil {
			return 0, err
		}
		level[i] = since(m.start(&v[i]), m.path.level(m.expected(&v[i]).L))
	}
	var residual mixMoments
	for i := range m.comps {
		c := &m.comps[i]
		var grad [2][maxSize]float64
		p := c.size()
		gain := c.at(&v[1], &grad[1]) - c.at(&v[0], &grad[0])
		for j := range p - 1 {
			grad[1][j] -= grad[0][j]
		}
		grad[1][p-1] = 0
		x := (gain - c.etaAt(level[1]) + c.etaAt(level[0])) / c.link.unit
		sd := m.inflation * math.Sqrt(max(quadratic(c.cov, grad[1][:p], p), 0)) / c.link.unit
		residual.add(c.weight, x, sd*sd)
	}
	return residual.sd(), nil
}

// Scatter is how lots and panels differ at one level.
type Scatter struct {
	// Panel is the covariance of L*, a*, b* of a panel's mean about its lot.
	Panel [3][3]float64
	// LotOff is the covariance of a*, b* of a lot's mean about the path at its
	// own L*, the path's uncertainty included.
	LotOff [2][2]float64
	// LotLightness is the variance of a lot mean's L* that dose does not cause.
	LotLightness float64
}

// PanelsMeasured reports whether a trial lot has two panels or more, so that the scatter
// of panels within a lot was measured; otherwise it is assumed. Model files that do not
// say how many panels lots had count as measured.
func (m *Model) PanelsMeasured() bool {
	return slices.ContainsFunc(m.trials, func(t TrialRecord) bool { return t.Panels != 1 })
}

// ScatterAt returns the scatter at a level.
func (m *Model) ScatterAt(level float64) Scatter {
	var s Scatter
	t := m.Tangent(level)
	slope := m.Slope(level)
	v := slope * slope * m.sdPanel * m.sdPanel
	for i := range 3 {
		for j := range 3 {
			s.Panel[i][j] = v * t[i] * t[j]
		}
	}
	span := m.path.L1 - m.path.L0
	s.Panel[0][0] += m.readSD * m.readSD * span * span
	cast := m.path.cast(level)
	for i := range 2 {
		for j := range 2 {
			s.Panel[1+i][1+j] += cast * m.path.panelOff[i][j]
			s.LotOff[i][j] = cast * m.path.lotOff[i][j]
		}
	}
	open := m.path.open(level, m.path.mark(level).variance)
	s.LotOff[0][0] += open[1]
	s.LotOff[1][1] += open[2]
	s.LotLightness = m.floorSD * m.floorSD * span * span
	return s
}

// TimeFor is the time at which lots at settings, whose own time is not looked
// at, are expected to reach a level. It is searched from a tenth of the
// shortest trial to three times the longest; ok is false when the level lies
// outside what these reach, or when time is no factor of the model, and
// extrapolated says that it lies outside the trials.
func (m *Model) TimeFor(s Settings, level float64) (minutes float64, extrapolated, ok bool, err error) {
	if !finite(level) {
		return 0, false, false, errLevel
	}
	j := m.basis.index(timeColumn)
	if j < 0 {
		return 0, false, false, nil
	}
	f := &m.basis.factors[j]
	from, to := f.value(f.Lo), f.value(f.Hi)
	s = withTime(s, from)
	var v values
	if err := m.locate(s, &v); err != nil {
		return 0, false, false, err
	}
	at := func(t float64) float64 {
		v[j] = t
		return m.path.level(m.expected(&v).L)
	}
	lo, hi := from/10, 3*to
	if at(lo) > level || at(hi) < level {
		return 0, false, false, nil
	}
	v[j] = bisect(lo, hi, 50, func(t float64) bool { return at(t) < level })
	x := m.basis.at(&v)
	return v[j], m.basis.beyond(&x) > 0 || m.movesFixed(s), true, nil
}

// bisect halves the way from lo, where short holds, to hi, where it does not,
// steps times, and returns the middle of what is left.
func bisect(lo, hi float64, steps int, short func(float64) bool) float64 {
	for range steps {
		if mid := (lo + hi) / 2; short(mid) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// withTime is a copy of settings with another time.
func withTime(s Settings, minutes float64) Settings {
	s = s.Clone()
	if s == nil {
		s = Settings{}
	}
	s[timeColumn] = minutes
	return s
}

// PanelMeans averages the readings of finished, dry cloth of each panel of a
// lot in the file's order: Lab under the viewing of the readings, and the
// spectrum when they have one. Panels without such readings are left out, and
// skipped counts their readings and others not of finished, dry cloth.
func PanelMeans(l Lot) (means []PanelMean, skipped int) {
	for i := range l.Panels {
		m, n := l.Panels[i].mean()
		skipped += n
		if m.N > 0 {
			means = append(means, m)
		}
	}
	return means, skipped
}

// MeanLightness is the mean L* of the panels of lots, by [PanelMeans] and under the viewing of their
// readings; ok is false of lots without any.
func MeanLightness(lots ...Lot) (light float64, ok bool) {
	n := 0.0
	for _, l := range lots {
		means, _ := PanelMeans(l)
		for _, p := range means {
			light += p.Lab.L
			n++
		}
	}
	if n == 0 {
		return 0, false
	}
	return light / n, true
}

// mean averages a panel's usable readings and counts the others.
func (p *Panel) mean() (m PanelMean, skipped int) {
	m.ID = p.ID
	for i := range p.Readings {
		r := &p.Readings[i]
		if !r.usable() {
			skipped++
			continue
		}
		m.N++
		m.Lab.L += r.Lab.L
		m.Lab.A += r.Lab.A
		m.Lab.B += r.Lab.B
		if r.Spectrum != nil && m.Spectrum == nil {
			m.Spectrum = make([]float64, len(r.Spectrum))
		}
		for k, v := range r.Spectrum {
			m.Spectrum[k] += v
		}
	}
	if m.N == 0 {
		return m, skipped
	}
	c := 1 / float64(m.N)
	m.Lab = colorimetry.Lab{L: m.Lab.L * c, A: m.Lab.A * c, B: m.Lab.B * c}
	for k := range m.Spectrum {
		m.Spectrum[k] *= c
	}
	return m, skipped
}

// PanelMean is the mean of a panel's readings.
type PanelMean struct {
	ID       string
	N        int // readings
	Lab      colorimetry.Lab
	Spectrum []float64
}

// Finished reports whether a reading is of finished, dry cloth.
func (r *Reading) Finished() bool { return r.usable() }
