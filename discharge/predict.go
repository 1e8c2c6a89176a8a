package discharge

import (
	"fmt"
	"math"

	"example.com/dosetone/colorimetry"
)

// Prediction is what the model expects at some settings.
type Prediction struct {
	Shade colorimetry.Lab // expected shade of lots at these settings, under Model.Viewing
	Level float64         // how far from base (0) to white (1)
	// MeanCovariance is the uncertainty of Shade; LotCovariance adds what one
	// more lot scatters about it. Both are of (L*, a*, b*).
	MeanCovariance, LotCovariance [3][3]float64
	// DeltaEP95 is the CIEDE2000 distance from Shade within which 95 % of
	// next-lot means lie.
	DeltaEP95    float64
	Extrapolated bool // outside the region of the trials
	// TensileLossPct is known when the trials' panels were tested for it.
	TensileLossPct TensileLoss

	freedom float64 // of the model
}

// Interval returns the interval that holds a share level, above 0 and below 1, of the
// means of lots, for channel 0 (L*), 1 (a*) or 2 (b*). It panics on other channels and
// levels.
func (p Prediction) Interval(channel int, level float64) (lo, hi float64) {
	if !(level > 0 && level < 1) {
		panic(fmt.Sprintf("discharge: an interval of level %g, want 0 < level < 1", level))
	}
	c := [3]float64{p.Shade.L, p.Shade.A, p.Shade.B}[channel]
	h := deviate(p.freedom, 0.5+level/2) * math.Sqrt(p.LotCovariance[channel][channel])
	return c - h, c + h
}

// extrapolationSD is the sd of η gained per e-fold of a factor beyond the
// trials: about half of a first-order exponent may be wrong out there.
const extrapolationSD = 0.35

// mixPart is the η of one curve at some settings.
type mixPart struct {
	mu, sdMean, sdLot float64
	sdOwn             float64 // of lots alone, about a dose that is known
	start             float64 // level of the own base
}

// locate reads settings into v, checking them.
func (m *Model) locate(s Settings, v *values) error {
	for j := range m.basis.factors {
		f := &m.basis.factors[j]
		u, ok := s[f.Column]
		switch {
		case !ok && f.Needed:
			return missingFactor(f.Column)
		case !ok:
			u = m.basis.unnamed(j)
		case !(u >= f.From && u <= f.To): // a value between the trials' can be
			pf, _ := m.process.Factor(f.Column)
			if err := pf.Check(u); err != nil {
				return fmt.Errorf("%s = %g: %w", f.Column, u, err)
			}
		}
		v[j] = u
	}
	if len(m.fixed) == 0 {
		return nil
	}
	for _, f := range m.process.Factors {
		if u, ok := s[f.Column]; ok && m.elsewhere(f.Column, u) {
			if err := f.Check(u); err != nil {
				return fmt.Errorf("%s = %g: %w", f.Column, u, err)
			}
		}
	}
	v[untried] = m.unlearned(s)
	return nil
}

// values reads settings that were checked before.
func (m *Model) values(s Settings) values {
	v := m.basis.values(s)
	v[untried] = m.unlearned(s)
	return v
}

// unlearned is what stands at untried in values: by how much dose may differ where a factor that
// never varied is set elsewhere is known from other laundries alone.
func (m *Model) unlearned(s Settings) (sum float64) {
	if len(m.fixed) == 0 || !m.untriedWidens {
		return 0
	}
	for _, f := range m.process.Factors {
		if u, ok := s[f.Column]; ok && m.elsewhere(f.Column, u) {
			d := newDoseFactor(f, Range{})
			mean, sd := d.drifted()
			if d.Raises && d.Transform == Log {
				mean, sd = usualExponent, usualExponentSD
			}
			far := math.Hypot(mean, sd) * (d.x(u) - d.x(m.fixed[f.Column])) / extrapolationSD
			sum += min(far*far, farOut*farOut)
		}
	}
	return sum
}

// elsewhere reports whether u is another value of a factor that never varied than the
// trials'.
func (m *Model) elsewhere(column string, u float64) bool {
	v, fixed := m.fixed[column]
	return fixed && !(math.Abs(u-v) <= 1e-9*math.Max(1, math.Abs(v)))
}

// missingFactor is the error of settings that lack a factor of the model; it is
// [ErrUnknownFactor] under errors.Is.
type missingFactor string

func (f missingFactor) Error() string { return "settings lack " + string(f) }

func (missingFactor) Is(err error) bool { return err == ErrUnknownFactor }

// Predict returns the expected shade at settings with its uncertainty. The
// settings must hold every factor of the process that varied in the trials and is
// not optional; optional ones that are left out stand at the middle of the trials
// ([FactorRange.Middle]), or vary about it as lots did where nobody chose them. One that never varied changes no shade; set to another value
// than the trials' it makes the prediction Extrapolated, and less sure by what such factors do elsewhere. Others are ignored. Errors
// are of missing factors ([ErrUnknownFactor]) and values that cannot be. It allocates
// nothing unless it fails.
func (m *Model) Predict(s Settings) (p Prediction, err error) {
	var v values
	if err = m.locate(s, &v); err != nil {
		return p, err
	}
	m.predict(&p, &v)
	p.Extrapolated = p.Extrapolated || m.movesFixed(s)
	return p, nil
}

// movesFixed reports whether s sets a factor that never varied to another
// value than the trials'.
func (m *Model) movesFixed(s Settings) bool { return m.moved(s) != "" }

// moved is the first, in the process's order, of such factors, "" for none.
func (m *Model) moved(s Settings) string {
	if len(m.fixed) == 0 {
		return ""
	}
	for _, f := range m.process.Factors {
		if u, ok := s[f.Column]; ok && m.elsewhere(f.Column, u) {
			return f.Column
		}
	}
	return ""
}

// parts returns the η of every curve at v, into dst, and the squared distance
// of v from the trials' region.
func (m *Model) parts(dst *[maxComponents]mixPart, v *values) (outside float64) {
	var row [maxTerms]float64
	var grad [maxSize]float64
	var last *doseBasis
	var x values
	n := m.basis.terms()
	// The region is the model's own: under a clock whose minutes run out, any
	// time would seem to lie inside.
	nominal := m.basis.at(v)
	outside = m.basis.beyond(&nominal)
	k := m.basis.soaking(&nominal)
	start := m.start(v)
	for i := range m.comps {
		c := &m.comps[i]
		if c.basis != last {
			x = nominal
			if c.basis.clock != (clock{}) {
				c.basis.wind(&x, v, &k)
			}
			c.basis.row(row[:n], &x)
			last = c.basis
		}
		mu := c.dose(c.mean, row[:n], k.charge, grad[:])
		p := c.size()
		grad[p-1] = 0
		if m.joint {
			grad[p-1] = c.plateauAsDose(mu)
		}
		e := extrapolationSD * c.link.unit
		va := max(quadratic(c.cov, grad[:p], p), 0) + e*e*outside
		lot := c.sdLot*c.sdLot + m.drift(c, v, mu, grad[0])
		dst[i] = mixPart{mu: mu, sdMean: m.inflation * math.Sqrt(va), sdLot: m.inflation * math.Sqrt(va+lot), sdOwn: math.Sqrt(lot), start: start}
	}
	return outside
}

// drift is the variance of η of lots whose factors at adrift vary as the trials did. per is
// what η gains per unit of the η row, less than 1 where oxidizer runs short.
func (m *Model) drift(c *component, v *values, mu, per float64) (variance float64) {
	for j := m.basis.primary; j < len(m.basis.factors); j++ {
		if !drifts(v[j]) {
			continue
		}
		f, k, p := &m.basis.factors[j], 1+j, c.size()
		d := per * c.mean[k]
		if j == m.basis.own {
			d += c.startAsDose(mu) * m.path.rise(f.Scale)
		}
		variance += (d*d + per*per*max(c.cov[k*p+k], 0)) * f.Drift * f.Drift
	}
	return variance
}

// plateauReach bounds, in curve units of η per level, what a change of the
// plateau counts as: where the curve is flat, no dose makes up for it.
const plateauReach = 4

// plateauAsDose is the change of η that moves the level at eta as much as the
// upper plateau does, per unit of the plateau. What lots say of dose and
// plateau together is much surer than what they say of either.
func (c *component) plateauAsDose(eta float64) float64 {
	_, ds, dd := c.link.at(eta, c.plateau())
	return c.asDose(dd, ds)
}

// startAsDose is the same for where a load starts, which moves what is left of the way.
func (c *component) startAsDose(eta float64) float64 {
	s, ds, _ := c.link.at(eta, c.plateau())
	return c.asDose(1-s, ds)
}

// asDose is the change of η that moves the level by d where η does by ds.
func (c *component) asDose(d, ds float64) float64 {
	most := plateauReach * c.link.unit
	switch {
	case d <= 0:
		return 0
	case d > most*ds:
		return most
	}
	return d / ds
}

func (m *Model) predictAt(v *values) (p Prediction) {
	m.predict(&p, v)
	return p
}

// predict fills in p, which must be zero.
func (m *Model) predict(p *Prediction, v *values) {
	m.extend(p, v)
	if p.Extrapolated && m.edged {
		m.noSurer(p, v)
	}
}

// edge is the place among the trials nearest to v, factor by factor.
func (m *Model) edge(v *values) values {
	edge := *v
	for j := range m.basis.factors {
		f := &m.basis.factors[j]
		edge[j] = min(max(v[j], f.From), f.To)
	}
	return edge
}

// noSurer sees to it that outside the trials nothing is surer than at their edge: that
// curves end at base and white, whatever the dose, is taken for granted only where lots
// were run.
func (m *Model) noSurer(p *Prediction, v *values) {
	edge := m.edge(v)
	var e Prediction
	m.extend(&e, &edge)
	r := max(e.LotCovariance[0][0]/p.LotCovariance[0][0], 1)
	if p.DeltaEP95 > 0 {
		r = max(r, e.DeltaEP95*e.DeltaEP95/(p.DeltaEP95*p.DeltaEP95))
	}
	for i := range 3 {
		for j := range 3 {
			p.MeanCovariance[i][j] *= r
			p.LotCovariance[i][j] *= r
		}
	}
	p.DeltaEP95 *= math.Sqrt(r)
	if !m.lotsAlone {
		p.Shade, p.Level = m.overAll(v)
		return
	}
	// Three nodes of the mean and five of lots may tell otherwise out there.
	least := 1.0
	for i := range 3 {
		least = min(least, p.LotCovariance[i][i]/p.MeanCovariance[i][i])
	}
	for i := range 3 {
		for j := range 3 {
			p.MeanCovariance[i][j] *= least
		}
	}
}

// extend is predict by the curves alone.
func (m *Model) extend(p *Prediction, v *values) {
	var parts [maxComponents]mixPart
	outside := m.parts(&parts, v)
	mean, lot, own := m.spread(&parts)
	p.Extrapolated = outside > 0
	p.freedom = m.freedom
	if m.tensile != nil {
		p.TensileLossPct = m.tensile.predict(m.logDose(&parts, m.tensile.Half))
	}
	p.MeanCovariance = m.path.covariance(&mean)
	p.LotCovariance = m.path.covariance(&lot)
	if m.lotsAlone {
		p.Shade, p.Level = m.path.center(&own)
		m.path.about(&p.MeanCovariance, &mean, &p.Shade)
		m.path.about(&p.LotCovariance, &lot, &p.Shade)
	} else {
		p.Shade, p.Level = m.path.center(&lot)
	}
	mark := m.path.mark(p.Level)
	p.MeanCovariance[0][0] += meanFloor
	p.LotCovariance[0][0] += m.lightnessNoise()
	for i, v := range m.path.open(p.Level, mark.variance) {
		p.MeanCovariance[i][i] += v
		p.LotCovariance[i][i] += v
	}
	cast := m.path.cast(p.Level)
	for a := range 2 {
		for b := range 2 {
			p.LotCovariance[1+a][1+b] += cast * m.path.lotOff[a][b]
		}
	}
	p.DeltaEP95 = deltaEP95(&mark.metric, &p.LotCovariance)
}

// meanFloor keeps the covariance of a mean on the plateaus positive definite:
// 0.01 L* squared.
const meanFloor = 1e-4

// lightnessNoise is the variance of a lot mean's L* that dose does not cause.
func (m *Model) lightnessNoise() float64 {
	span := m.path.L1 - m.path.L0
	return (m.floorSD*m.floorSD + m.readSD*m.readSD/planPanels) * span * span
}

// deltaEP95 is the 95th percentile of CIEDE2000 over a normal cloud about its
// mean, by the metric of CIEDE2000 there (LL, aa, bb, ab): the squared
// distance is a quadratic form whose distribution is matched by a scaled
// chi-square with the same mean and variance (Satterthwaite, Biometrics
// Bulletin 2 (1946) 110).
func deltaEP95(g *[4]float64, cov *[3][3]float64) float64 {
	// The product of metric and covariance; its trace is the mean of the form
	// and twice the trace of its square the variance.
	p := [3][3]float64{}
	for j := range 3 {
		p[0][j] = g[0] * cov[0][j]
		p[1][j] = g[1]*cov[1][j] + g[3]*cov[2][j]
		p[2][j] = g[3]*cov[1][j] + g[2]*cov[2][j]
	}
	mean := p[0][0] + p[1][1] + p[2][2]
	square := p[0][0]*p[0][0] + p[1][1]*p[1][1] + p[2][2]*p[2][2] + 2*(p[0][1]*p[1][0]+p[0][2]*p[2][0]+p[1][2]*p[2][1])
	if mean <= 0 || square <= 0 {
		return 0
	}
	df := max(mean*mean/square, 1) // below 1 only where cov is a difference and no covariance
	return math.Sqrt(mean / df * chiSquare95(df))
}

// chiSquare95 is the 95 % quantile of chi-square by Wilson and Hilferty, PNAS
// 17 (1931) 684: for df between 1 and 3, the only range used, at most 2.5 % too small.
func chiSquare95(df float64) float64 {
	h := 2 / (9 * df)
	t := 1 - h + 1.6448536269514722*math.Sqrt(h)
	return df * t * t * t
}

// metric is the quadratic form of small CIEDE2000 differences about c.
func metric(c colorimetry.Lab) [3][3]float64 {
	const h = 0.3
	var f colorimetry.CIEDE2000
	at := func(l, a, b float64) float64 {
		e := f.Diff(c, colorimetry.Lab{L: c.L + l, A: c.A + a, B: c.B + b})
		return e * e / (h * h)
	}
	var g [3][3]float64
	g[0][0], g[1][1], g[2][2] = at(h, 0, 0), at(0, h, 0), at(0, 0, h)
	ab := (at(0, h, h) - g[1][1] - g[2][2]) / 2
	g[1][2], g[2][1] = ab, ab
	return g
}

// z975 is quantile.Normal(0.975).
const z975 = 1.959963984540054
