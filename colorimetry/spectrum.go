package colorimetry

import (
	"fmt"
	"math"
	"slices"
)

// A Grid is a uniform set of wavelengths in whole nanometers:
// Start, Start+Step, … N values. Grids compare with ==; [Grid.Check] says which
// are of use.
type Grid struct{ Start, Step, N int }

// Limits of the grids that can be read and weighted, in nm.
const (
	minWavelength = 360
	maxWavelength = 830
	mustCoverFrom = 400
	mustCoverTo   = 700
)

// GridRange returns the grid from start to end inclusive, in steps of step, all
// in nm. What [Grid.Check] refuses is an error.
func GridRange(start, end, step int) (Grid, error) {
	if step <= 0 || end < start || (end-start)%step != 0 {
		return Grid{}, fmt.Errorf("wavelengths %d-%d nm cannot be divided into steps of %d nm", start, end, step)
	}
	g := Grid{start, step, (end-start)/step + 1}
	return g, g.Check()
}

// GridOf returns the grid of the given wavelengths in nm, which must be uniform,
// rising and pass [Grid.Check].
func GridOf(nm []int) (Grid, error) {
	if len(nm) < 2 {
		return Grid{}, fmt.Errorf("%d wavelengths are too few for a spectrum", len(nm))
	}
	g := Grid{nm[0], nm[1] - nm[0], len(nm)}
	for i, w := range nm {
		if w != g.Wavelength(i) {
			return Grid{}, fmt.Errorf("wavelengths are not uniform: %d nm follows %d nm where %d nm was expected", w, nm[i-1], g.Wavelength(i))
		}
	}
	return g, g.Check()
}

// Check reports what is wrong with the grid: the step must be 1, 2, 5, 10 or
// 20 nm, the range must lie inside 360-830 nm and cover 400-700 nm.
func (g Grid) Check() error {
	switch {
	case !slices.Contains([]int{1, 2, 5, 10, 20}, g.Step):
		return fmt.Errorf("grid %s: step %d nm, want 1, 2, 5, 10 or 20 nm", g, g.Step)
	case g.Start < minWavelength || g.End() > maxWavelength:
		return fmt.Errorf("grid %s reaches outside %d-%d nm", g, minWavelength, maxWavelength)
	case g.Start > mustCoverFrom || g.End() < mustCoverTo:
		return fmt.Errorf("grid %s does not cover %d-%d nm", g, mustCoverFrom, mustCoverTo)
	}
	return nil
}

// Wavelength returns the i-th wavelength in nm, 0 being the first; i may lie
// beyond the grid.
func (g Grid) Wavelength(i int) int { return g.Start + i*g.Step }

// End returns the last wavelength in nm.
func (g Grid) End() int { return g.Wavelength(g.N - 1) }

// Index returns the position of a wavelength in nm, or false when it is not on
// the grid.
func (g Grid) Index(nm int) (int, bool) {
	d := nm - g.Start
	if g.Step <= 0 || d < 0 || d%g.Step != 0 || d/g.Step >= g.N {
		return 0, false
	}
	return d / g.Step, true
}

// String returns range and step, such as "400-700/10".
func (g Grid) String() string { return fmt.Sprintf("%d-%d/%d", g.Start, g.End(), g.Step) }

// A Spectrum is a reflectance factor on a grid. Made by [NewSpectrum], it has
// one value per wavelength, all finite and in 0..2.
type Spectrum struct {
	Grid   Grid
	Values []float64 // reflectance factor, 1 = perfect diffuser
}

// maxReflectance bounds what is believed. Optically brightened cloth re-emits
// ultraviolet near 440 nm and may exceed 1; nothing textile reaches 2, but
// percent values do.
const maxReflectance = 2

// lightest bounds the smallest value of a spectrum. Nothing reflects more than the
// perfect diffuser at every wavelength; a white standard read with a slightly
// wrong calibration may come out some thousandths above 1 (common practice, no
// source). Dark cloth in percent lies above.
const lightest = 1.02

// NewSpectrum copies values that pass [Spectrum.Check].
func NewSpectrum(g Grid, values []float64) (Spectrum, error) {
	s := Spectrum{g, values}
	if err := s.Check(); err != nil {
		return Spectrum{}, err
	}
	s.Values = slices.Clone(values)
	return s, nil
}

// Check reports what is wrong with a spectrum: a grid that [Grid.Check] refuses, another
// number of values, negative, infinite and NaN ones and those above 2, and values that
// all exceed 1.02, as those of dark cloth in percent do; single values above 1 are legal
// (see [Spectrum.Warning]).
func (s Spectrum) Check() error {
	if err := s.Grid.Check(); err != nil {
		return err
	}
	if len(s.Values) != s.Grid.N {
		return fmt.Errorf("grid %s needs %d reflectance values, have %d", s.Grid, s.Grid.N, len(s.Values))
	}
	for i, r := range s.Values {
		switch nm := s.Grid.Wavelength(i); {
		case math.IsNaN(r) || math.IsInf(r, 0):
			return fmt.Errorf("reflectance at %d nm is %v: want a finite factor, 0 to 1", nm, r)
		case r < 0:
			return fmt.Errorf("reflectance at %d nm is %v: must not be negative (check the instrument's black calibration)", nm, r)
		case r > maxReflectance:
			return fmt.Errorf("reflectance at %d nm is %v: above %d; if the values are percent, declare the unit", nm, r, maxReflectance)
		}
	}
	if low := slices.Min(s.Values); low > lightest {
		return fmt.Errorf("reflectance is %v or more at every wavelength: a factor is 1 for the perfect diffuser; if the values are percent, declare the unit, otherwise recalibrate the white", low)
	}
	return nil
}

// Warning returns nil, or says where the reflectance exceeds 1: legal on
// optically brightened cloth, otherwise a sign of a bad white calibration.
func (s Spectrum) Warning() error {
	peak, nm := s.above1()
	if nm == 0 {
		return nil
	}
	unit := ""
	if low := slices.Min(s.Values); peak > 1.1 && low < peak/2 { // cloth that white has no dark band
		unit = ", and dark cloth in percent looks so: declare the unit"
	}
	return fmt.Errorf("reflectance reaches %.4g at %d nm: above 1 only optically brightened cloth is expected%s; otherwise recalibrate the white", peak, nm, unit)
}

// LoneBand returns the wavelength in nm of a single band that departs from the middle of those
// beside it as no colorant makes it, or is 0 where one of them is above 0.01: a slip of
// instrument or file, such as a value that was not read. It is 0 where there is none. A band
// departs so by more than 0.03 and 4 times what the next five on either side do; of 51
// textiles (Vrhel's and those of CIE 224) at 2, 5 and 10 nm none comes near both. Grids of more
// than 10 nm, across which colorants have edges of one band, are looked at for zeros alone.
func (s Spectrum) LoneBand() (nm int) {
	const zero, small, times, near, widest = 0.01, 0.03, 4, 5, 10
	v, last := s.Values, len(s.Values)-1
	if last < 0 {
		return 0
	}
	departs := make([]float64, len(v)) // from the middle of the bands beside it
	most := 0
	for i, r := range v {
		if r == 0 && max(v[max(i-1, 0)], v[min(i+1, last)]) > zero {
			return s.Grid.Wavelength(i)
		}
		if i > 0 && i < last {
			departs[i] = math.Abs(r - (v[i-1]+v[i+1])/2)
		}
		if departs[i] > departs[most] {
			most = i
		}
	}
	others := 0.0
	for i, d := range departs {
		if apart := max(i-most, most-i); apart > 1 && apart <= near {
			others = max(others, d)
		}
	}
	if s.Grid.Step > widest || departs[most] <= small || departs[most] <= times*others {
		return 0
	}
	return s.Grid.Wavelength(most)
}

// above1 returns the largest value above 1 and its wavelength in nm, which is 0
// when there is none.
func (s Spectrum) above1() (peak float64, nm int) {
	peak = 1
	for i, r := range s.Values {
		if r > peak {
			peak, nm = r, s.Grid.Wavelength(i)
		}
	}
	return peak, nm
}

// LampWarning returns nil, or says that the color under a lamp is doubtful: the
// reflectance exceeds 1, so the cloth fluoresces, and the lamp is not D65, to whose
// ultraviolet instruments are usually adjusted (common practice, no source). See
// the package's notes on fluorescence. Brightened cloth that stays below 1 is not
// noticed.
func (s Spectrum) LampWarning(lamp Illuminant) error {
	peak, nm := s.above1()
	if nm == 0 || lamp == D65 {
		return nil
	}
	return fmt.Errorf("reflectance reaches %.4g at %d nm, as of optically brightened cloth: such values hold only for the ultraviolet of the lamp they were measured with, "+
		"and what they give under %s, or for metamerism, may be far off; look at the cloth itself under that lamp", peak, nm, lamp)
}

// whole reports a spectrum that was not made by [NewSpectrum] and has not one
// value per wavelength.
func (s Spectrum) whole() error {
	if len(s.Values) != s.Grid.N {
		return fmt.Errorf("spectrum on %s has %d values, want %d", s.Grid, len(s.Values), s.Grid.N)
	}
	return nil
}

// At returns the value at a wavelength of the grid, in nm. A wavelength that is
// not on it is an error.
func (s Spectrum) At(nm int) (float64, error) {
	if err := s.whole(); err != nil {
		return 0, err
	}
	i, ok := s.Grid.Index(nm)
	if !ok {
		return 0, fmt.Errorf("%d nm is not on the grid %s", nm, s.Grid)
	}
	return s.Values[i], nil
}

// Resample returns the spectrum on another grid inside its range, by the
// interpolation that E2022 [3] assumes: a cubic through the four nearest
// values, a quadratic in the first and last interval. To a coarser grid it
// picks points; it does not widen the bandpass. Interpolation may overshoot
// below zero next to a black band: such a value is set to zero. It is an error
// when either grid fails [Grid.Check] or the new one reaches farther.
func (s Spectrum) Resample(g Grid) (Spectrum, error) {
	if err := s.Grid.Check(); err != nil {
		return Spectrum{}, err
	}
	if err := s.whole(); err != nil {
		return Spectrum{}, err
	}
	if err := g.Check(); err != nil {
		return Spectrum{}, err
	}
	if g.Start < s.Grid.Start || g.End() > s.Grid.End() {
		return Spectrum{}, fmt.Errorf("cannot resample %s to %s: no values outside the measured range", s.Grid, g)
	}
	out := Spectrum{g, make([]float64, g.N)}
	for i := range out.Values {
		first, c := s.Grid.neighbors(g.Wavelength(i))
		var r float64
		for j, cj := range c {
			if cj != 0 {
				r += cj * s.Values[first+j]
			}
		}
		out.Values[i] = max(r, 0)
	}
	return out, nil
}

// neighbors returns the coefficients that interpolate at nm, which must lie in
// the range of the grid, from the values at first, first+1, … . Unused
// trailing coefficients are zero and may lie beyond the grid.
func (g Grid) neighbors(nm int) (first int, c [4]float64) {
	i, r := (nm-g.Start)/g.Step, (nm-g.Start)%g.Step
	if r == 0 {
		return i, [4]float64{1}
	}
	first = i - 1
	if i == 0 || i == g.N-2 {
		first = min(i, g.N-3)
		q := lagrange3(float64(nm-g.Wavelength(first)) / float64(g.Step))
		return first, [4]float64{q[0], q[1], q[2]}
	}
	return first, lagrange4(float64(nm-g.Wavelength(first)) / float64(g.Step))
}
