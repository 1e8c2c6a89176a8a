package quality

import (
	"fmt"
	"math"
	"strings"

	"example.com/dosetone/discharge"
)

// rareResidual and upsetResidual bound, in standard deviations of lots, what a
// lot's dose departs from its settings: 1 sound lot in 22 lies beyond the first, 1 in
// 370 beyond the second.
const (
	rareResidual  = 2
	upsetResidual = 3
)

// blame is what put a lot where it lies along the path.
type blame int

const (
	unknownBlame  blame = iota
	bySettings          // they promise a shade off the standard
	byDrift             // of a factor that nobody chose, which makes them do so
	byStray             // or may: one stands where no trial was
	byScatter           // of lots
	byRareScatter       // or an upset: too seldom to be passed over
	byUpset
)

// blame tells settings, scatter and upset apart. Only what the settings themselves
// promise is a reason to change them: chasing the scatter of lots, or an upset, with
// the settings makes later lots worse.
func (j *judge) blame() blame {
	b := j.blameByDose()
	switch b {
	case unknownBlame, byScatter, byRareScatter:
		if len(j.strays()) > 0 {
			return byStray
		}
	}
	return b
}

func (j *judge) blameByDose() blame {
	s := j.report.Split
	if s == nil || s.Residual == nil {
		return unknownBlame
	}
	promised, found := j.beyondAccepted(s.Residual.ExpectedLevel), j.doseExcess()
	astray := promised*found > 0 && math.Abs(promised) > math.Abs(found)/2
	switch z := math.Abs(s.ResidualZ); {
	case !s.ResidualUsable && astray:
		return bySettings
	case !s.ResidualUsable:
		return unknownBlame
	case z > upsetResidual:
		return byUpset
	case astray:
		if _, usual := j.drifted(); usual*found <= 0 || math.Abs(usual) <= math.Abs(found)/2 {
			return byDrift
		}
		return bySettings
	case z > rareResidual:
		return byRareScatter
	}
	return byScatter
}

// drifted is the factor that nobody chose by whose value in this lot its settings promise most
// to either side, and how far from the accepted ones the shade is that they would promise with
// all such factors as the trials had them.
func (j *judge) drifted() (most *discharge.FactorRange, usual float64) {
	m := j.opt.Model
	promise := func(s discharge.Settings) float64 {
		r, err := m.DoseResidual(s, j.report.Split.Level)
		if err != nil || !finite(r.ExpectedLevel) {
			return math.NaN() // settings that Residual has been worked out for: not reached
		}
		return j.beyondAccepted(r.ExpectedLevel)
	}
	all, without := promise(j.lot.Settings), j.lot.Settings.Clone()
	least := 0.0
	for _, f := range m.Factors() {
		if _, named := j.lot.Settings[f.Column]; !named || !f.Drifts {
			continue
		}
		delete(without, f.Column)
		one := j.lot.Settings.Clone()
		delete(one, f.Column)
		if d := math.Abs(all - promise(one)); d > least {
			least, most = d, &f
		}
	}
	if most == nil {
		return nil, all
	}
	return most, promise(without)
}

// strays are the factors that nobody chose, or that never varied, and stand well outside the
// trials in this lot: what they do there nobody knows, so they come before any other doubt.
// Well outside is by half of what the trials spanned, and by a twentieth of the value (common
// practice, no source). One of which more only ever does the other way than the lot lies is none.
func (j *judge) strays() (out []discharge.FactorRange) {
	for _, f := range j.opt.Model.Factors() {
		v, named := j.lot.Settings[f.Column]
		if !named || f.Measured || f.Chosen && !f.Fixed {
			continue
		}
		nearest := min(max(v, f.Lo), f.Hi)
		way := 0.0 // in which more of it moves the dose, if that is known
		switch {
		case f.Increases && f.Transform == discharge.Log:
			way = 1
		case f.Monotone && !f.Increases:
			way = -1
		}
		if way*(v-nearest)*j.doseExcess() >= 0 && math.Abs(v-nearest) > max((f.Hi-f.Lo)/2, math.Abs(nearest)/20) {
			out = append(out, f)
		}
	}
	return out
}

// strayWords names them with their values.
func (j *judge) strayWords() string {
	var words []string
	for _, f := range j.strays() {
		words = append(words, j.driftWords(&f))
	}
	return strings.Join(words, ", and ")
}

// driftWords names such a factor with its value and what the trials had.
func (j *judge) driftWords(f *discharge.FactorRange) string {
	unit := ""
	if f.Unit != "" {
		unit = " " + f.Unit
	}
	had := fmt.Sprintf("%.4g to %.4g", f.Lo, f.Hi)
	if f.Lo == f.Hi {
		had = fmt.Sprintf("%.4g", f.Lo)
	}
	return fmt.Sprintf("its %s of %.4g%s, where the trials had %s", f.Column, j.lot.Settings[f.Column], unit, had)
}

// residualWords says whether the settings or the lot are to blame.
func (j *judge) residualWords() string {
	s := j.report.Split
	if s.Residual == nil || !s.ResidualUsable {
		if j.blame() == byStray {
			return "; what came of " + j.strayWords() + ", is not known"
		}
		return ""
	}
	dose, strength := DoseWords(100*math.Expm1(s.Residual.LnDose)), j.strengthWords(s.Residual.LnDose)
	if s.ResidualAtLeast {
		dose, strength = atLeast(dose), ""
	}
	text := fmt.Sprintf("; against its settings that is %s%s (%+.1f standard deviations of lots)", dose, strength, s.ResidualZ)
	switch j.blame() {
	case byUpset:
		text += ": an upset of this lot, so check strength, weighing and time"
		if w := j.strayWords(); w != "" {
			text += ", and what came of " + w
		}
	case bySettings:
		text += fmt.Sprintf(": the settings themselves promise a shade %.1f units off this standard", math.Abs(j.beyondAccepted(s.Residual.ExpectedLevel)))
	case byDrift:
		f, usual := j.drifted()
		text += fmt.Sprintf(": %s, promises a shade %.1f units off this standard; at its usual value the settings promise one %.1f off", j.driftWords(f), math.Abs(j.beyondAccepted(s.Residual.ExpectedLevel)), math.Abs(usual))
	case byStray:
		text += ": what came of " + j.strayWords() + ", is not known"
	case byRareScatter:
		text += ": fewer than 1 sound lot in 20 departs so far"
	default:
		text += ": within the scatter of lots"
	}
	return text
}

// atLeast are words of [DoseWords] for a bound; those beyond any number are one already.
func atLeast(dose string) string {
	if strings.HasPrefix(dose, "more than") || strings.HasPrefix(dose, "less than") {
		return dose
	}
	return "at least " + dose
}

// strengthWords says what strength would have done as much: dose has a unit of each curve's
// own, strength is what is weighed. It is "" where the trials do not show it, or no
// slip of strength goes so far.
func (j *judge) strengthWords(lnDose float64) string {
	f := j.opt.Model.Strength(lnDose, 0)[1]
	const far = 3
	switch {
	case f == 0 || f > far || f < 1./far:
		return ""
	case f < 1:
		return fmt.Sprintf(", as %.0f %% less strength gives", 100*(1-f))
	}
	return fmt.Sprintf(", as %.0f %% more strength gives", 100*(f-1))
}
