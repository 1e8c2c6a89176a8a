package colorimetry

import (
	"errors"
	"fmt"
	"math"
)

// A MatchCorrection says how a pair that does not match exactly under the
// reference light is made to match before its difference is taken under the
// test light.
type MatchCorrection int

// Corrections, applied to each tristimulus value of the sample under the test
// light.
const (
	Multiplicative MatchCorrection = iota // times standard/sample under the reference light, [1] section 9.2
	Additive                              // plus standard - sample under the reference light
)

// String returns the name.
func (c MatchCorrection) String() string {
	if c == Additive {
		return "additive"
	}
	return "multiplicative"
}

// MetamerismIndex is the special metamerism index for change of illuminant
// [1]: the color difference that a matching pair shows under another light.
// The number means nothing without the formula and the correction: state String
// beside it. It is meant for pairs that match under the reference light but for
// what a correction can take off, and for cloth that does not fluoresce.
type MetamerismIndex struct {
	Difference Difference // nil means CIE76
	Correction MatchCorrection
}

func (m MetamerismIndex) difference() Difference {
	if m.Difference == nil {
		return CIE76{}
	}
	return m.Difference
}

// String names formula and correction, such as "metamerism index (CIE76, multiplicative)".
func (m MetamerismIndex) String() string {
	return fmt.Sprintf("metamerism index (%s, %s)", m.difference(), m.Correction)
}

// Pair is the tristimulus values of a standard and a sample under one light.
type Pair struct{ Standard, Sample XYZ }

// Of returns the index from the tristimulus values under the reference and the
// test light and the white of the test light, all of one observer and on the
// scale Y = 100. A sample value of zero under the reference light cannot be
// corrected by a factor and is an error, and so are values that are not finite.
func (m MetamerismIndex) Of(reference, test Pair, testWhite XYZ) (float64, error) {
	s := test.Sample
	switch m.Correction {
	case Additive:
		s.X += reference.Standard.X - reference.Sample.X
		s.Y += reference.Standard.Y - reference.Sample.Y
		s.Z += reference.Standard.Z - reference.Sample.Z
	default:
		r := reference.Sample
		if !(r.X > 0 && r.Y > 0 && r.Z > 0) {
			return 0, fmt.Errorf("metamerism index: sample has tristimulus values %v under the reference light, want all above 0", r)
		}
		s.X *= reference.Standard.X / r.X
		s.Y *= reference.Standard.Y / r.Y
		s.Z *= reference.Standard.Z / r.Z
	}
	index := m.difference().Diff(test.Standard.Lab(testWhite), s.Lab(testWhite))
	if math.IsNaN(index) || math.IsInf(index, 0) {
		return 0, fmt.Errorf("metamerism index: %v under the reference light, %v under the test light, white %v: want finite values and a white above 0", reference, test, testWhite)
	}
	return index, nil
}

// OfSpectra returns the index of two spectra. It is an error when the weights
// are not of one observer and on the grid of both spectra, or when a spectrum has
// not one value per wavelength.
func (m MetamerismIndex) OfSpectra(standard, sample Spectrum, reference, test *Weights) (float64, error) {
	if reference == nil || test == nil {
		return 0, errors.New("metamerism index: needs weights of the reference and of the test light")
	}
	for _, s := range []Spectrum{standard, sample} {
		if err := s.whole(); err != nil {
			return 0, fmt.Errorf("metamerism index: %w", err)
		}
	}
	for _, w := range []*Weights{reference, test} {
		if standard.Grid != w.grid || sample.Grid != w.grid {
			return 0, fmt.Errorf("metamerism index: spectra on %s and %s, weights on %s", standard.Grid, sample.Grid, w.grid)
		}
	}
	if reference.viewing.Observer != test.viewing.Observer {
		return 0, fmt.Errorf("metamerism index: viewings %s and %s have different observers", reference.viewing, test.viewing)
	}
	return m.Of(
		Pair{reference.XYZ(standard.Values), reference.XYZ(sample.Values)},
		Pair{test.XYZ(standard.Values), test.XYZ(sample.Values)},
		test.white,
	)
}
