package discharge

import (
	"fmt"
	"maps"
	"math"
)

// LotDiagnostic is how one trial lot stands in the model that it helped to
// make.
type LotDiagnostic struct {
	TrialRecord
	LnDose   float64 // of its settings, see [Model.LnDose], and its Shift
	Level    float64 // of its mean, base 0 and white 1
	Expected float64 // L* that the model gives its settings
	Residual float64 // its L* less Expected
	// Z is the residual in standard deviations of a lot at these settings,
	// averaged over the model's curves.
	Z float64
	// Leverage is the part of the model's answer at its settings that comes
	// from the lot itself, 0 to 1: its precision against that of all lots and
	// priors together (the diagonal of the hat matrix of the weighted,
	// linearized fit). Of lots with a Shift it leaves out what is open of that.
	Leverage float64
	// LeftOut is the CIEDE2000 difference of its mean from what all other lots
	// predict, 0 when it is not known.
	LeftOut float64
}

// usualPanels stands in for the number of panels of a lot in model files that
// do not hold it.
const usualPanels = 4

// Diagnostics returns how each trial lot stands, in the order of [Model.Trials].
func (m *Model) Diagnostics() []LotDiagnostic {
	out := make([]LotDiagnostic, len(m.trials))
	for i, t := range m.Trials() {
		d := LotDiagnostic{TrialRecord: t, Level: m.path.level(t.Lab.L)}
		v := m.basis.values(t.Settings)
		d.LnDose = m.lnDose(&v) + t.Shift
		there := m.shifted(t.Shift)
		d.Expected = there.expected(&v).L
		d.Residual = t.Lab.L - d.Expected
		for k := range there.comps {
			z, h := there.comps[k].standing(m, &v, t, since(m.start(&v), d.Level))
			d.Z += m.comps[k].weight * z
			d.Leverage += m.comps[k].weight * h
		}
		if m.loo != nil {
			d.LeftOut = m.loo[i]
		}
		out[i] = d
	}
	return out
}

// standing is the standardized residual and the leverage of a lot under one
// curve, by the variance of its level as posterior.go counts it.
func (c *component) standing(m *Model, v *values, t TrialRecord, level float64) (z, leverage float64) {
	var grad [maxSize]float64
	eta := c.at(v, &grad)
	s, ds, dd := c.link.at(eta, c.plateau())
	panels := float64(t.Panels)
	if panels == 0 {
		panels = usualPanels
	}
	variance := levelVariance(ds, c.sdLot, m.sdPanel*c.link.unit, panels, m.floorSD, m.readSD*m.readSD/panels)
	p := c.size()
	for j := range p - 1 {
		grad[j] *= ds
	}
	grad[p-1] = dd
	own := quadratic(c.cov, grad[:p], p)
	// The weight in the fit is (ν+1)/ν times the one that is kept.
	weight := tailInformation / (tailScale * tailScale) * t.Weight * (tailWeight + 1) / tailWeight
	return (level - s) / math.Sqrt(variance), math.Min(weight*own/variance, 1)
}

// lnDose averages over the curves.
func (m *Model) lnDose(v *values) float64 {
	var at, mid [maxComponents]mixPart
	middle := m.basis.values(nil)
	m.parts(&at, v)
	m.parts(&mid, &middle)
	x := 0.0
	for i := range m.comps {
		x += m.comps[i].weight * (at[i].mu - mid[i].mu) / m.comps[i].link.unit
	}
	return x
}

// LnDose is ln of the dose that settings give, over the dose in the middle of
// the trials: 0 there, 0.69 where it is twice that.
func (m *Model) LnDose(s Settings) (float64, error) {
	var v values
	if err := m.locate(s, &v); err != nil {
		return 0, err
	}
	return m.lnDose(&v), nil
}

// Ladder returns n settings from the least to the most dose that the trials
// span: every factor that raises the dose goes from one end of its tested range
// to the other, on its own scale, and all others stay in the middle. It panics when n
// is not in 2 to 10000.
func (m *Model) Ladder(n int) []Settings {
	if n < 2 || n > maxLadder {
		panic("discharge: a ladder has 2 to 10000 steps")
	}
	out := make([]Settings, n)
	for i := range out {
		s := m.fixed.Clone()
		if s == nil {
			s = Settings{}
		}
		for j := range m.basis.factors {
			f := &m.basis.factors[j]
			x := 0.0
			if f.Raises {
				x = f.Lo + (f.Hi-f.Lo)*float64(i)/float64(n-1)
			}
			s[f.Column] = f.value(x)
		}
		out[i] = s
	}
	return out
}

// maxLadder of a ladder, far more than any picture shows.
const maxLadder = 10000

// Evaluation is what settings of the user's own promise for a target.
type Evaluation struct {
	Suggestion
	Decisive float64 // ΔE00 that decides on a pass: from the target, or the nearest shade between its limits
}

// Evaluate judges settings against a target as [Model.Suggest] judges its own,
// time windows aside. Tolerance 0 means 1.5.
func (m *Model) Evaluate(t Target, tolerance float64, list []Settings) ([]Evaluation, error) {
	q, err := m.newSearch(t, &SuggestOptions{Tolerance: tolerance})
	if err != nil {
		return nil, err
	}
	out := make([]Evaluation, len(list))
	for i, own := range list {
		s := q.other.Clone()
		maps.Copy(s, own)
		var v values
		if err := m.locate(s, &v); err != nil {
			return nil, fmt.Errorf("settings %d: %w", i+1, err)
		}
		out[i].Suggestion = q.evaluate(s)
		out[i].Decisive = q.deltaE(out[i].Shade)
	}
	return out, nil
}
