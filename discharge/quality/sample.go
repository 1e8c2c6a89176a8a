package quality

import (
	"fmt"
	"math"
	"slices"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/mat3"
)

// sample is what was measured on a lot, one entry per panel.
type sample struct {
	panels []discharge.PanelMean
	mean   colorimetry.Lab
	ss     mat3.Mat // sum of squares and products about the mean
	extra  mat3.Mat // covariance that all panels share: of a stage's shift
	n      float64
	mapped string // the stage that the readings were taken at, "" for finished, dry
}

// newSample gathers the panel means of a lot. Readings of finished, dry cloth
// come first; a lot without any is mapped from the one earlier stage at which
// it was read, if its shift is known.
func newSample(lot discharge.Lot, st *Stages) (*sample, error) {
	s := &sample{}
	var skipped int
	s.panels, skipped = discharge.PanelMeans(lot)
	if len(s.panels) == 0 {
		if skipped == 0 {
			return nil, fmt.Errorf("lot %q has no readings", lot.ID)
		}
		if err := s.fromStage(lot, st); err != nil {
			return nil, err
		}
	}
	s.average()
	return s, nil
}

// average works out what follows from the panels.
func (s *sample) average() {
	s.n, s.mean, s.ss = float64(len(s.panels)), colorimetry.Lab{}, mat3.Mat{}
	for _, p := range s.panels {
		s.mean.L += p.Lab.L / s.n
		s.mean.A += p.Lab.A / s.n
		s.mean.B += p.Lab.B / s.n
	}
	for _, p := range s.panels {
		d := minus(p.Lab, s.mean)
		for i := range 3 {
			for j := range 3 {
				s.ss[i][j] += d[i] * d[j]
			}
		}
	}
}

// without is the sample without some of its panels, unless too few would be left to go by.
func (s *sample) without(some []int) *sample {
	const least = 2
	if len(some) == 0 || len(s.panels)-len(some) < least {
		return s
	}
	rest := *s
	rest.panels = nil
	for i, p := range s.panels {
		if !slices.Contains(some, i) {
			rest.panels = append(rest.panels, p)
		}
	}
	rest.average()
	return &rest
}

// spectrum is the mean reflectance of the panels, nil without spectra.
func (s *sample) spectrum() []float64 {
	var sum []float64
	for _, p := range s.panels {
		if p.Spectrum == nil {
			return nil
		}
		if sum == nil {
			sum = make([]float64, len(p.Spectrum))
		}
		for i, v := range p.Spectrum {
			sum[i] += v / s.n
		}
	}
	return sum
}

func minus(a, b colorimetry.Lab) mat3.Vec { return mat3.Vec{a.L - b.L, a.A - b.A, a.B - b.B} }

func moved(a colorimetry.Lab, d mat3.Vec) colorimetry.Lab {
	return colorimetry.Lab{L: a.L + d[0], A: a.A + d[1], B: a.B + d[2]}
}

// typicalScatter is how panels scatter within a lot where nothing is known of
// the laundry: standard deviations of 0.8 L*, 0.15 a* and 0.35 b* (common
// practice, no source; the width of three to five tenths of a ΔE00 that
// readings of one garment show, and half a unit between garments).
func typicalScatter() mat3.Mat {
	return mat3.Mat{{0.64, 0, 0}, {0, 0.0225, 0}, {0, 0, 0.1225}}
}

// scatter is the covariance of panels within the lot: what is expected, with
// the weight of prior panels, and what was seen. The posterior is inverse
// Wishart with scale psi and nu degrees of freedom ([3], section 3.6).
func (s *sample) scatter(m *discharge.Model) (psi mat3.Mat, nu int) {
	prior, nu := s.expected(m, mat3.Mat{})
	return mat3.Plus(prior, s.ss), nu + len(s.panels) - 1
}

// expected is the same before the lot is looked at; more is a covariance of its panels
// on top of what trials or common practice say.
func (s *sample) expected(m *discharge.Model, more mat3.Mat) (psi mat3.Mat, nu int) {
	expected, prior := typicalScatter(), 3
	if knowsScatter(m) {
		// The trials' own scatter, worth eight panels: lots do differ in
		// evenness, so that even many trials say only about as much.
		expected, prior = m.ScatterAt(m.LevelOf(s.mean.L)).Panel, 8
	}
	return mat3.Scaled(mat3.Plus(expected, more), float64(prior)), prior + 2
}

// surprise is -2 ln of the probability density of how the panels scatter off the path
// about their mean, up to a constant, the covariance integrated over ([3], section 3.6).
// How they scatter along it says how even the dose was, and nothing of what is on the
// cloth. Tangent is the path's direction.
func (s *sample) surprise(m *discharge.Model, tangent mat3.Vec, more mat3.Mat) float64 {
	psi, nu := s.expected(m, more)
	nu-- // two dimensions of three
	return float64(nu+len(s.panels)-1)*logDet(offPath(mat3.Plus(psi, s.ss), tangent)) - float64(nu)*logDet(offPath(psi, tangent))
}

// offPath is the covariance of a* and b* at one lightness of the path, with a row and
// column of the identity in the place of L*.
func offPath(v mat3.Mat, tangent mat3.Vec) mat3.Mat {
	t := mat3.Mat{{1, 0, 0}, {-tangent[1] / tangent[0], 1, 0}, {-tangent[2] / tangent[0], 0, 1}}
	v = mat3.Mul(mat3.Mul(t, v), mat3.Transpose(t))
	v[0] = mat3.Vec{1, 0, 0}
	v[1][0], v[2][0] = 0, 0
	return v
}

// knowsScatter reports whether trials showed how panels scatter within a lot.
func knowsScatter(m *discharge.Model) bool { return m != nil && m.PanelsMeasured() }

// covariance is the posterior mean of the covariance of panels, where more scatter than
// that of the trials may be expected.
func (s *sample) covariance(m *discharge.Model, more mat3.Mat) mat3.Mat {
	psi, nu := s.expected(m, more)
	nu += len(s.panels) - 1
	return mat3.Scaled(mat3.Plus(psi, s.ss), 1/math.Max(float64(nu-4), 1))
}
