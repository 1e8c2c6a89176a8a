package discharge

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// midScatter is the median ΔE00 of one lot mean from its expectation where the
// path is half way, from dose scatter and casts.
func (m *Model) midScatter() float64 {
	var mid values
	for j := range m.basis.factors {
		mid[j] = m.basis.factors[j].value(0)
	}
	p := m.predictAt(&mid)
	var c [3][3]float64
	for i := range 3 {
		for j := range 3 {
			c[i][j] = p.LotCovariance[i][j] - p.MeanCovariance[i][j]
		}
		c[i][i] = math.Max(c[i][i], 0)
	}
	// Median of the chi-like distance is 0.4 of its 95 % point, within a few
	// percent for one to two dimensions.
	mark := m.path.mark(p.Level)
	return 0.4 * deltaEP95(&mark.metric, &c)
}

// unusualScatter is the scatter of lots, in ln of strength, from which on it is not
// taken for that of dosing alone.
const unusualScatter = 0.2

// sdLot is the scatter of lots in ln dose.
func (m *Model) sdLot() (sd float64) {
	for _, c := range m.comps {
		sd += c.weight * c.sdLot / c.link.unit
	}
	return sd
}

// dosing is the scatter of lots as a scatter of strength, at most that in dose: how
// steadily people dose is known in strength, and dose has a unit of each curve's own.
// unusual tells that it is more than dosing scatters.
func (m *Model) dosing() (sd float64, unusual bool) {
	sd = m.sdLot()
	if slope, _, shown := m.slope(m.basis.strength()); shown {
		sd /= math.Max(slope, 1)
	}
	return sd, sd > unusualScatter
}

// doubtScatter warns of lots that lie further from the curve than dosing scatters.
func (m *Model) doubtScatter() {
	if sd, unusual := m.dosing(); unusual {
		m.warnings = append(m.warnings, fmt.Errorf("lots lie as far off the curve as %.0f %% more or less strength would bring them, where dosing usually scatters by 3 to 10 %% (%s): either it is much less steady here, or the model misses something; run one setting two or three times: if those lots agree, it is the model, and lots at levels in between will teach it", 100*sd, CommonPractice))
	}
}

// doubtLots warns of lots that the others do not explain.
func (m *Model) doubtLots() {
	for _, t := range m.trials {
		if !t.OutOfLine() {
			continue
		}
		v := m.basis.values(t.Settings)
		p := m.predictAt(&v)
		lo, hi := p.Interval(0, 0.95)
		digits := 1
		if math.Min(math.Abs(t.Lab.L-lo), math.Abs(t.Lab.L-hi)) < 0.1 {
			digits = 2 // or a lot just outside would seem to be inside
		}
		if t.Lab.L >= lo && t.Lab.L <= hi {
			// The interval counts what is learned with the lot and what is learned without it.
			m.warnings = append(m.warnings, fmt.Errorf("lot %q may be out of line and has little weight: the other lots do not foresee its L* %.*f, nor rule it out (%.*f to %.*f); look up what went otherwise, and repeat it or run another lot near it",
				t.ID, digits, t.Lab.L, digits, lo, digits, hi))
			continue
		}
		m.warnings = append(m.warnings, fmt.Errorf("lot %q is out of line with the others and has little weight: L* %.*f, where %.*f to %.*f is expected of its settings; look up what went otherwise, and repeat it: if it comes out the same, run more lots around it",
			t.ID, digits, t.Lab.L, digits, lo, digits, hi))
	}
}

// wordsOnScatter says what limits accuracy and what to run next.
func (m *Model) wordsOnScatter(s *Summary) []string {
	panels := "panels within a lot scatter by %.0f %%"
	if !m.PanelsMeasured() {
		panels = "that panels within a lot scatter by %.0f %% is assumed, not measured: no lot has two panels"
	}
	out := []string{fmt.Sprintf("lots lie %.0f %% of dose off the curve, about ΔE00 %.1f in the middle of the path; "+panels, 100*s.SDLot, s.LotDeltaE, 100*s.SDPanel)}
	if m.loo != nil {
		out = append(out, fmt.Sprintf("each trial lot predicted from the others: median ΔE00 %.2f, 95 %% within %.2f", s.LOOMedian, s.LOOP95))
	}
	if _, unusual := m.dosing(); unusual {
		return out // a warning says that it may not be scatter
	}
	two := m.atTwoLevels()
	switch {
	case m.curveLimits() && len(m.guesses()) > 0:
		out = append(out, "accuracy is limited by what lies between two levels: "+strings.Join(m.guesses(), "; ")+"; lots there will narrow the intervals most")
	case m.curveLimits():
		out = append(out, "accuracy is limited by the number of trial lots: more lots at new settings between the ones you have will narrow the intervals")
	case len(two) > 0 && !m.repeated():
		out = append(out, fmt.Sprintf("accuracy is limited by how far lots lie off the curve: they may scatter, or the dose may bend between the two levels of %s, which two cannot show; lots at a level between them help if it bends, one setting run twice tells how much lots scatter", strings.Join(two, " and of ")))
	default:
		out = append(out, "accuracy is limited by lot-to-lot scatter: steadier dosing helps more than further trials")
	}
	return out
}

// curveLimits tells whether what is not known of the curve makes lots less certain than
// their scatter does: in the mean of the trials already, in their middle, or all over
// the tested region, most of which may lie between lots.
func (m *Model) curveLimits() bool {
	share := func(v *values) float64 {
		p := m.predictAt(v)
		return p.MeanCovariance[0][0] / p.LotCovariance[0][0]
	}
	trials := 0.0
	for _, t := range m.trials {
		v := m.basis.values(t.Settings)
		trials += math.Sqrt(share(&v)) / float64(len(m.trials))
	}
	middle := m.basis.values(nil)
	if trials > 0.55 || math.Sqrt(share(&middle)) > 0.8 {
		return true
	}
	var curve, lots float64
	for _, v := range m.region() {
		p := m.predictAt(&v)
		curve += p.MeanCovariance[0][0]
		lots += p.LotCovariance[0][0] - p.MeanCovariance[0][0]
	}
	return curve > lots
}

// region is the ends and the middle of every factor that trials chose, each with each.
func (m *Model) region() []values {
	all := []values{m.basis.values(nil)}
	for j := range m.basis.primary {
		f := &m.basis.factors[j]
		var wider []values
		for _, v := range all {
			for _, at := range []float64{f.From, v[j], f.To} {
				v[j] = at
				wider = append(wider, v)
			}
		}
		all = wider
	}
	return all
}

// atTwoLevels lists the columns of the factors that were varied between two
// levels only.
func (m *Model) atTwoLevels() (columns []string) {
	for j := range m.basis.primary {
		f := &m.basis.factors[j]
		if f.endsOnly(m.ran(f)) {
			columns = append(columns, f.Column)
		}
	}
	return columns
}

// guesses names the factors that may have a best value between the only two levels run.
func (m *Model) guesses() (said []string) {
	for _, f := range m.Factors() {
		if f.Guessed {
			said = append(said, fmt.Sprintf("%s may be best anywhere from %.4g to %.4g", f.Column, f.Lo, f.Hi))
		}
	}
	return said
}

// ran lists what the trials ran of a factor, transformed.
func (m *Model) ran(f *doseFactor) (xs []float64) {
	for _, t := range m.trials {
		if v, ok := t.Settings[f.Column]; ok {
			xs = append(xs, f.raw(v))
		}
	}
	return xs
}

// repeated tells whether any settings were run twice, but for drift.
func (m *Model) repeated() bool {
	for i := range m.trials {
		a := m.basis.values(m.trials[i].Settings)
		for k := range i {
			b := m.basis.values(m.trials[k].Settings)
			if slices.Equal(a[:m.basis.primary], b[:m.basis.primary]) && m.trials[i].Shift == m.trials[k].Shift {
				return true
			}
		}
	}
	return false
}
