package quality

import (
	"math"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/mat3"
)

// colorant is something on the cloth that dose does not put there or take away,
// by the shape of its K/S over wavelength [8]. Only shapes are used: how much
// of it there is comes from the lot.
type colorant int

const (
	noColorant colorant = iota
	brown               // manganese dioxide: broad, falling from the blue to the red
	yellow              // isatin and other yellow products: one band in the blue
	stain               // dye that has come off and settled again: the base's own K/S
)

// brownLength is the wavelength over which the K/S of manganese dioxide on
// cloth falls to 1/e, and yellowCenter and yellowWidth the band of isatin-like
// products (both from memory, for the order of magnitude: colloidal manganese
// dioxide absorbs broadly with a maximum below 400 nm, isatin near 400-420 nm).
const (
	brownLength  = 130.0
	yellowCenter = 405.0
	yellowWidth  = 45.0
)

// palette knows what each colorant does to a shade of the path.
type palette struct {
	model   *discharge.Model
	grid    colorimetry.Grid
	weights *colorimetry.Weights
	base    []float64 // K/S of the base
	real    bool      // the spectra are the laundry's own
	shapes  [stain + 1][]float64
	last    bare // the cloth asked for last: levels are asked for several times in a row
}

// bare is cloth of the path without a colorant.
type bare struct {
	level float64
	r, ks []float64
	lab   colorimetry.Lab
}

// newPalette uses the model's spectra or, for a model of colors alone, a
// denim's that has the path's lightness: what a colorant does to Lab depends
// little on the rest.
func newPalette(m *discharge.Model) (*palette, error) {
	p := &palette{model: m, grid: m.Grid(), real: true}
	if p.grid.N == 0 {
		p.grid, p.real = colorimetry.Grid{Start: 400, Step: 10, N: 31}, false
	}
	var err error
	if p.weights, err = colorimetry.NewWeights(m.Viewing(), p.grid); err != nil {
		return nil, err
	}
	p.base = make([]float64, p.grid.N)
	for c := range p.shapes {
		p.shapes[c] = make([]float64, p.grid.N)
	}
	base := m.SpectrumAt(0)
	for i := range p.grid.N {
		nm := float64(p.grid.Wavelength(i))
		p.base[i] = indigoLike(nm)
		if base != nil {
			p.base[i] = colorimetry.KS(clamp(base[i]))
		}
		p.shapes[brown][i] = math.Exp(-(nm - 400) / brownLength)
		u := (nm - yellowCenter) / yellowWidth
		p.shapes[yellow][i] = math.Exp(-u * u / 2)
		p.shapes[stain][i] = p.base[i]
	}
	return p, nil
}

// indigoLike is the K/S of dyed denim in arbitrary units: a maximum near
// 660 nm, broad towards the blue (common practice, no source).
func indigoLike(nm float64) float64 {
	width := 40.0
	if nm < 660 {
		width = 85
	}
	u := (nm - 660) / width
	return math.Exp(-u*u/2) + 0.25
}

func clamp(r float64) float64 { return math.Min(math.Max(r, 1e-3), 0.98) }

// spectrum is the reflectance at a level of the path.
func (p *palette) spectrum(level float64) []float64 {
	if p.real {
		return p.model.SpectrumAt(level)
	}
	// Dye on cotton of K/S 0.05, falling to the red, in the amount that gives
	// the lightness.
	want := p.model.ShadeAt(level).L
	r := make([]float64, p.grid.N)
	lo, hi := math.Log(1e-3), math.Log(60.0)
	for range 40 {
		mid := (lo + hi) / 2
		for i := range r {
			nm := float64(p.grid.Wavelength(i))
			r[i] = colorimetry.FromKS(math.Exp(mid)*p.base[i] + 0.05*math.Exp(-(nm-400)/150))
		}
		if p.weights.Lab(r).L > want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return r
}

// bare is the cloth at a level.
func (p *palette) bare(level float64) bare {
	if p.last.r == nil || p.last.level != level {
		r := p.spectrum(level)
		ks := make([]float64, len(r))
		for i, v := range r {
			r[i] = clamp(v)
			ks[i] = colorimetry.KS(r[i])
		}
		p.last = bare{level, r, ks, p.weights.Lab(r)}
	}
	return p.last
}

// tint is the change of Lab when an amount of a colorant is added at a level.
func (p *palette) tint(level float64, c colorant, amount float64) mat3.Vec {
	on := p.bare(level)
	with := make([]float64, len(on.ks))
	for i := range with {
		with[i] = colorimetry.FromKS(on.ks[i] + amount*p.shapes[c][i])
	}
	return minus(p.weights.Lab(with), on.lab)
}

// misfit is the root mean square of ln K/S between a measured spectrum and the
// path at a level with an amount of a colorant; ownDepth allows the cloth another depth
// of dye than the path has there.
func (p *palette) misfit(measured []float64, level float64, c colorant, amount float64, ownDepth bool) float64 {
	n := float64(len(measured))
	mean, square := 0.0, 0.0
	for i, ks := range p.bare(level).ks {
		d := math.Log(colorimetry.KS(clamp(measured[i])) / (ks + amount*p.shapes[c][i]))
		mean += d / n
		square += d * d / n
	}
	if ownDepth {
		square -= mean * mean
	}
	return math.Sqrt(math.Max(square, 0))
}
