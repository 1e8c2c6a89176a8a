package quality

import (
	"fmt"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/mat3"
)

// Metamerism is how lot and standard differ under another light than they were
// matched under.
type Metamerism struct {
	Viewing colorimetry.Viewing
	DeltaE  float64 // of lot mean and standard under it, by the chosen formula
	// Index is the special metamerism index against the lot's viewing with the
	// chosen formula and multiplicative correction: what remains of the
	// difference when the pair is made to match under the first light.
	Index float64
	// Judged says that the pair is close enough under the lot's viewing to be judged:
	// the index is meant for pairs that match there, and what it takes off one that
	// does not is larger than what it is to find.
	Judged bool
	Risk   bool // judged, and Index above half the tolerance (common practice, no source)
}

// matching is how many tolerances lot and standard may differ by and still count as
// a pair that matches (common practice, no source).
const matching = 2

// metamerism compares under D65, A and F11 (F11 stands for three-band
// fluorescent tubes in shops), with the lot's observer.
func (j *judge) metamerism(t *discharge.Table) ([]Metamerism, error) {
	lot := j.sample.spectrum()
	if lot == nil || j.target.Spectrum == nil || t.Kind != discharge.Spectral {
		return nil, nil
	}
	std := colorimetry.Spectrum{Grid: j.target.Grid, Values: j.target.Spectrum}
	if std.Grid != t.Grid {
		var err error
		if std, err = std.Resample(t.Grid); err != nil {
			return nil, fmt.Errorf("standard and lot have different wavelengths: %w", err)
		}
	}
	ref, err := colorimetry.NewWeights(t.Viewing, t.Grid)
	if err != nil {
		return nil, err
	}
	sample := colorimetry.Spectrum{Grid: t.Grid, Values: lot}
	index := colorimetry.MetamerismIndex{Difference: j.opt.Difference}
	var out []Metamerism
	for _, lamp := range []colorimetry.Illuminant{colorimetry.D65, colorimetry.A, colorimetry.F11} {
		v := colorimetry.Viewing{Illuminant: lamp, Observer: t.Viewing.Observer}
		w, err := colorimetry.NewWeights(v, t.Grid)
		if err != nil {
			return nil, err
		}
		m := Metamerism{Viewing: v, DeltaE: j.report.DeltaE, Judged: j.report.DeltaE <= matching*j.opt.Tolerance}
		if v != t.Viewing {
			m.DeltaE = j.opt.Difference.Diff(w.Lab(std.Values), j.meanUnder(w))
			if m.Index, err = index.OfSpectra(std, sample, ref, w); err != nil {
				return nil, err
			}
			m.Risk = m.Judged && m.Index > j.opt.Tolerance/2
		}
		out = append(out, m)
	}
	j.noteFluorescence("standard", std)
	j.noteFluorescence("lot", sample)
	return out, nil
}

// meanUnder is the lot mean as it is taken under the lot's own viewing: of panels, of the
// colors of their readings. The color of the mean spectrum is another where these differ.
func (j *judge) meanUnder(w *colorimetry.Weights) (mean colorimetry.Lab) {
	for _, p := range j.lot.Panels {
		var readings []discharge.Reading
		for _, r := range p.Readings {
			if r.Finished() {
				readings = append(readings, discharge.Reading{Lab: w.Lab(r.Spectrum)})
			}
		}
		if c := centroid(readings); len(readings) > 0 {
			mean = moved(mean, mat3.Vec{c.L / j.sample.n, c.A / j.sample.n, c.B / j.sample.n})
		}
	}
	return mean
}

// noteFluorescence says where another light than daylight tells little.
func (j *judge) noteFluorescence(what string, s colorimetry.Spectrum) {
	if err := s.LampWarning(colorimetry.A); err != nil {
		j.report.Notes = append(j.report.Notes, fmt.Sprintf("%s: %v", what, err))
	}
}
