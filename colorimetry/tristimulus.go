package colorimetry

import "fmt"

// Weights turn a reflectance spectrum on one grid into the tristimulus values
// of one viewing: X = Σ Wx·R and likewise Y, Z [2]. They are immutable and safe
// for concurrent use. Making them costs some microseconds: keep them.
type Weights struct {
	viewing Viewing
	grid    Grid
	x, y, z []float64
	white   XYZ
}

// NewWeights makes the weights of a viewing on a grid by the procedure of
// E2022 [3]: the reflectance between measured wavelengths is a Lagrange
// polynomial (cubic inside, quadratic in the first and last interval of
// 360-780 nm), so lamp times observer at each nanometer is handed to the
// measured wavelengths around it.
//
// Ends: the weights of wavelengths of 360-780 nm that were not measured go to
// the outermost measured one on that side, as E308 [2] prescribes; this equals
// repeating the end value outwards. So grids 400-700, 380-730, 360-740 and
// 360-780 all have the same white. Measured values above 780 nm get weight 0
// (the lamps are not tabulated there and the observer is below 2e-5 of its
// peak). The table belongs to data free of bandpass error.
func NewWeights(v Viewing, g Grid) (*Weights, error) {
	if !v.Valid() {
		return nil, fmt.Errorf("viewing %s: set illuminant and observer", v)
	}
	if err := g.Check(); err != nil {
		return nil, err
	}
	w := &Weights{
		viewing: v, grid: g,
		x: make([]float64, g.N), y: make([]float64, g.N), z: make([]float64, g.N),
	}
	p := v.products()
	full := g.widened()
	shift := (g.Start - full.Start) / g.Step // position of the measured grid in the full one
	for i := range p.x {
		first, c := full.neighbors(integrationStart + i)
		for j, cj := range c {
			if cj == 0 {
				continue
			}
			k := min(max(first+j-shift, 0), g.N-1) // outside: fold into the end
			w.x[k] += cj * p.x[i]
			w.y[k] += cj * p.y[i]
			w.z[k] += cj * p.z[i]
		}
	}
	w.white = p.white
	return w, nil
}

// widened returns the grid of the same phase that just covers the integration
// range. It may also be narrower than g, when g reaches beyond that range.
func (g Grid) widened() Grid {
	below := ceilDiv(g.Start-integrationStart, g.Step)
	above := ceilDiv(integrationEnd-g.Start, g.Step)
	return Grid{g.Start - below*g.Step, g.Step, below + above + 1}
}

func ceilDiv(a, b int) int { return (a + b - 1) / b }

// Viewing returns the viewing the weights are for.
func (w *Weights) Viewing() Viewing { return w.viewing }

// Grid returns the grid the weights are for.
func (w *Weights) Grid() Grid { return w.grid }

// At returns the weights of the i-th wavelength.
func (w *Weights) At(i int) XYZ { return XYZ{w.x[i], w.y[i], w.z[i]} }

// White returns the tristimulus values of the perfect diffuser.
func (w *Weights) White() XYZ { return w.white }

// XYZ returns the tristimulus values of a reflectance factor given on the
// weights' grid. It panics when the number of values differs.
func (w *Weights) XYZ(values []float64) XYZ {
	w.mustFit(values)
	var c XYZ
	for i, r := range values {
		c.X += w.x[i] * r
		c.Y += w.y[i] * r
		c.Z += w.z[i] * r
	}
	return c
}

// Lab returns the CIELAB values of a reflectance factor given on the weights'
// grid, against the white of the weights. It panics when the number of values
// differs.
func (w *Weights) Lab(values []float64) Lab { return w.XYZ(values).Lab(w.white) }

func (w *Weights) mustFit(values []float64) {
	if len(values) != w.grid.N {
		panic(fmt.Sprintf("colorimetry: %d reflectance values for weights on %s (%d values)", len(values), w.grid, w.grid.N))
	}
}
