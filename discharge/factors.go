package discharge

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"example.com/dosetone/colorimetry"
)

// FactorRange is a factor of the model and the range that the trials cover.
type FactorRange struct {
	Factor
	Lo, Hi float64
	Middle float64 // where settings that leave the factor out are taken to stand, or to drift about
	Fixed  bool    // never varied: Lo = Hi
	// Chosen says that trials varied it on purpose; what is neither Fixed nor Chosen only
	// drifted, and suggestions and plans leave it alone.
	Chosen bool
	// Drifts says that loads are taken to go on drifting about Middle where settings do not
	// name it; model files of earlier versions take them to stand there.
	Drifts bool
	// Matters says that between Lo and Hi it changes the dose by more than lots scatter,
	// as the trials show it, or that it was chosen: settings that leave it out are
	// not told from others that do.
	Matters bool
	// Guessed says that the factor may have a best value between Lo and Hi, the
	// only levels that were run, and that they are far enough apart for that to
	// matter: what lies between them rests on what is usual.
	Guessed bool
}

// Guesses reports whether v of a Guessed factor lies between the two levels, and
// not about at one of them.
func (r FactorRange) Guesses(v float64) bool {
	if !r.Guessed {
		return false
	}
	f := doseFactor{Transform: r.Transform, Scale: 1}
	f.between(f.raw(r.Lo), f.raw(r.Hi))
	return !f.endsOnly([]float64{f.raw(v)})
}

// Lightest is the L* of the lightest lot that the model was fitted or recalibrated to, on
// its present fabric: beyond it the way to white is assumed. ok is false for model files of
// earlier versions, which do not say.
func (m *Model) Lightest() (lightness float64, ok bool) {
	return m.path.lightness(m.path.lightest), m.path.lightest > 0
}

// Viewing returns the viewing of every Lab that the model takes and gives.
func (m *Model) Viewing() colorimetry.Viewing { return m.viewing }

// Condition returns how the trials were measured; "" when they do not state it.
func (m *Model) Condition() Condition { return m.condition }

// Warnings returns what the fit wants known.
func (m *Model) Warnings() []error { return slices.Clone(m.warnings) }

// Process returns the process that the trials ran; the copy is the caller's.
func (m *Model) Process() Process { return m.process.clone() }

// Factors lists the factors that the model knows, with the trials' range.
func (m *Model) Factors() []FactorRange {
	var out []FactorRange
	for _, f := range m.process.Factors {
		if v, ok := m.fixed[f.Column]; ok {
			out = append(out, FactorRange{Factor: f, Lo: v, Hi: v, Middle: v, Fixed: true})
			continue
		}
		for j := range m.basis.factors {
			if d := &m.basis.factors[j]; d.Column == f.Column {
				out = append(out, FactorRange{Factor: f, Lo: d.From, Hi: d.To, Middle: m.basis.middle[j], Chosen: d.Primary, Drifts: d.Drift > 0, Matters: d.Primary || m.matters(j), Guessed: d.Primary && d.guessed(m.ran(d))})
			}
		}
	}
	return out
}

// matters tells of a factor that only drifted whether the dose depends on it.
func (m *Model) matters(j int) bool {
	if j == m.basis.own {
		return true // or it would not be there
	}
	d := &m.basis.factors[j]
	slope, v := m.mixed(func(_ *component, dst []float64) float64 { dst[1+j] = 1; return 0 })
	slope = math.Abs(slope)
	return slope*(d.Hi-d.Lo) > m.sdLot() && slope > 2*math.Sqrt(v)
}

// middle of the trials, to three digits.
func (r FactorRange) middle() (v float64, text string) {
	text = strconv.FormatFloat(r.Middle, 'g', 3, 64)
	v, _ = strconv.ParseFloat(text, 64) // which FormatFloat wrote
	return v, text
}

// FillIn returns settings with the factors that were chosen and s leaves out, at the
// middle of the trials, where predictions take them, to three digits. What only drifted
// stays out: predictions take loads to go on drifting. said has a sentence for each of both that
// matters.
func (m *Model) FillIn(s Settings) (full Settings, said []string) {
	full = s.Clone()
	if full == nil {
		full = Settings{}
	}
	for _, f := range m.Factors() {
		if _, given := s[f.Column]; given || f.Fixed || !f.Matters || !f.Optional {
			continue
		}
		if d := &m.basis.factors[m.basis.index(f.Column)]; d.Drift > 0 {
			said = append(said, m.drifting(d))
			continue
		}
		v, text := f.middle()
		full[f.Column] = v
		said = append(said, fmt.Sprintf("%s is not given and taken as %s, the middle of the trials: give it, since the shade depends on it",
			f.Column, strings.TrimSpace(text+" "+f.Unit)))
	}
	return full, said
}

// drifting says of a factor that it drifts.
func (m *Model) drifting(f *doseFactor) string {
	pf, _ := m.process.Factor(f.Column)
	return fmt.Sprintf("%s is not given: loads are taken to drift as the trials did, from %.4g to %s; give it for this very load, since the shade depends on it",
		f.Column, f.From, strings.TrimSpace(fmt.Sprintf("%.4g %s", f.To, pf.Unit)))
}

// Trials returns what is kept of each trial lot, in file order.
func (m *Model) Trials() []TrialRecord {
	out := slices.Clone(m.trials)
	for i := range out {
		out[i].Settings = out[i].Settings.Clone()
	}
	return out
}
