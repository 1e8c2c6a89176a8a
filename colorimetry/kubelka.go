package colorimetry

import (
	"fmt"
	"math"
)

// minKSReflectance is the smallest reflectance that K/S is computed for: one
// unit in the last of the four decimals that instruments report. Without a
// floor a reading of 0.0000 would give an infinite K/S; at it K/S is 4999.5,
// hundreds of times that of dark cloth, and tells of rounding alone. So K/S of a
// spectrum is an error there, while the functions of one number are finite.
const minKSReflectance = 1e-4

// KS returns K/S = (1-R)²/(2R), Kubelka-Munk's ratio of absorption to
// scattering of an opaque layer [10], for a reflectance factor. R below 1e-4
// counts as 1e-4, R above 1 as 1 (K/S = 0), so the result is finite.
func KS(r float64) float64 {
	if r < minKSReflectance {
		r = minKSReflectance
	}
	if r > 1 {
		return 0
	}
	return (1 - r) * (1 - r) / (2 * r)
}

// FromKS returns the reflectance factor of an opaque layer with the given
// K/S ≥ 0, in (0, 1]. A negative K/S counts as 0.
func FromKS(ks float64) float64 {
	if ks < 0 {
		ks = 0
	}
	// R = 1 + ks - √(ks² + 2ks), written without the cancellation.
	return 1 / (1 + ks + math.Sqrt(ks)*math.Sqrt(ks+2))
}

// KubelkaMunk computes K/S of measured spectra, with Saunderson's correction
// [11] for reflection at the surface when K1 or K2 is set. The zero value
// corrects nothing, which is usual for cloth (common practice, no source).
//
// At, Peak, Mean and Weighted return an error for coefficients that do not pass
// [KubelkaMunk.Check] and for a reflectance that leaves 1e-4 or less inside the
// layer, as one at or below K1 does with the specular part included: its K/S has
// no bound, and one such band would decide any mean. The methods of one number
// check neither.
type KubelkaMunk struct {
	K1 float64 // part of the outer light reflected at the surface, 0..1; 0.04 at a refractive index of 1.5
	K2 float64 // part of the inner diffuse light reflected back, 0..1; about 0.6 at that index
	// SpecularExcluded says that the instrument left the surface reflection out.
	SpecularExcluded bool
}

// Check reports coefficients outside 0 ≤ K < 1, and a sum of 1 or more, for
// which Internal has a pole within the readings.
func (m KubelkaMunk) Check() error {
	for _, k := range []struct {
		name  string
		value float64
	}{{"K1", m.K1}, {"K2", m.K2}} {
		if !(k.value >= 0 && k.value < 1) {
			return fmt.Errorf("saunderson coefficient %s is %v: want 0 ≤ %s < 1", k.name, k.value, k.name)
		}
	}
	if m.K1+m.K2 >= 1 {
		return fmt.Errorf("saunderson coefficients %v and %v: want a sum below 1", m.K1, m.K2)
	}
	return nil
}

// Internal returns the reflectance inside the layer of a measured reflectance,
// both factors. The coefficients must pass [KubelkaMunk.Check].
func (m KubelkaMunk) Internal(measured float64) float64 {
	d := measured
	if !m.SpecularExcluded {
		d -= m.K1
	}
	return d / ((1-m.K1)*(1-m.K2) + m.K2*d)
}

// Measured inverts Internal.
func (m KubelkaMunk) Measured(internal float64) float64 {
	r := (1 - m.K1) * (1 - m.K2) * internal / (1 - m.K2*internal)
	if !m.SpecularExcluded {
		r += m.K1
	}
	return r
}

// KS returns K/S of a measured reflectance, finite as the function [KS].
func (m KubelkaMunk) KS(measured float64) float64 { return KS(m.Internal(measured)) }

// FromKS returns the measured reflectance factor of a layer with the given K/S
// ≥ 0.
func (m KubelkaMunk) FromKS(ks float64) float64 { return m.Measured(FromKS(ks)) }

// At returns K/S at a wavelength of the spectrum's grid, in nm. A wavelength
// that is not on it is an error.
func (m KubelkaMunk) At(s Spectrum, nm int) (float64, error) {
	r, err := s.At(nm)
	if err != nil {
		return 0, err
	}
	if err := m.Check(); err != nil {
		return 0, err
	}
	return m.bounded(r, nm)
}

// bounded is KS of a reflectance whose K/S has a bound.
func (m KubelkaMunk) bounded(measured float64, nm int) (float64, error) {
	inside := m.Internal(measured)
	switch {
	case inside > minKSReflectance:
		return KS(inside), nil
	case m.K1 > 0 && !m.SpecularExcluded:
		return 0, fmt.Errorf("K/S at %d nm has no bound: reflectance %.4g is no more than the surface reflects (K1 %v); measure the specular part, too, or choose a smaller K1", nm, measured, m.K1)
	}
	return 0, fmt.Errorf("K/S at %d nm has no bound: reflectance %.4g is within the last of four decimals from 0; measure again, check the black calibration, or leave that wavelength out", nm, measured)
}

// Peak returns the largest K/S between two wavelengths in nm, both included, and
// where it is: the band maximum of a dyeing. No wavelength of the grid between
// them is an error.
func (m KubelkaMunk) Peak(s Spectrum, from, to int) (ks float64, nm int, err error) {
	err = m.each(s, from, to, func(w int, v float64) {
		if nm == 0 || v > ks {
			ks, nm = v, w
		}
	})
	if err != nil {
		return 0, 0, err
	}
	return ks, nm, nil
}

// Mean returns the mean K/S over the wavelengths between two limits in nm, both
// included. Times the width of the band it is the integrated K/S. No wavelength
// of the grid between them is an error.
func (m KubelkaMunk) Mean(s Spectrum, from, to int) (float64, error) {
	var sum float64
	var n int
	if err := m.each(s, from, to, func(_ int, v float64) { sum += v; n++ }); err != nil {
		return 0, err
	}
	return sum / float64(n), nil
}

func (m KubelkaMunk) each(s Spectrum, from, to int, use func(nm int, ks float64)) error {
	if err := s.whole(); err != nil {
		return err
	}
	if err := m.Check(); err != nil {
		return err
	}
	found := false
	for i, r := range s.Values {
		if nm := s.Grid.Wavelength(i); nm >= from && nm <= to {
			ks, err := m.bounded(r, nm)
			if err != nil {
				return err
			}
			use(nm, ks)
			found = true
		}
	}
	if !found {
		return fmt.Errorf("no wavelength of the grid %s lies in %d-%d nm", s.Grid, from, to)
	}
	return nil
}

// Weighted returns K/S weighted by lamp and observer: the mean of K/S with the
// weights Wx + Wy + Wz. It tells how strong the color looks rather than how
// much colorant there is (formula common in textile work, from memory, here
// divided by the sum of the weights so that a flat K/S returns itself). A
// spectrum that is not on the weights' grid is an error.
func (m KubelkaMunk) Weighted(s Spectrum, w *Weights) (float64, error) {
	if s.Grid != w.grid {
		return 0, fmt.Errorf("weighted K/S: spectrum on %s, weights on %s", s.Grid, w.grid)
	}
	var sum float64
	i := 0
	err := m.each(s, s.Grid.Start, s.Grid.End(), func(_ int, ks float64) {
		sum += (w.x[i] + w.y[i] + w.z[i]) * ks
		i++
	})
	if err != nil {
		return 0, err
	}
	return sum / (w.white.X + w.white.Y + w.white.Z), nil
}

// Strength returns the color strength of a sample in percent of a standard,
// from their K/S by one and the same measure: [KubelkaMunk.Peak], [KubelkaMunk.Mean] or [KubelkaMunk.Weighted]. The standard's must be above
// 0; of 0 the strength is not finite.
func Strength(standard, sample float64) float64 { return 100 * sample / standard }
