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
	// The same divided by the white, for Lab.
	xr, yr, zr []float64
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
// (the lamps are not tabulated there and the observer is below 5e-5 of its
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
	w.xr, w.yr, w.zr = scaled(w.x, 1/w.white.X), scaled(w.y, 1/w.white.Y), scaled(w.z, 1/w.white.Z)
	return w, nil
}

func scaled(v []float64, k float64) []float64 {
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = k * x
	}
	return out
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

// At returns the weights of the i-th wavelength, 0 being the first, for
// reflectance factors: they sum to [Weights.White]. It panics on an i that is
// not on the grid.
func (w *Weights) At(i int) XYZ {
	if i < 0 || i >= w.grid.N {
		panic(fmt.Sprintf("colorimetry: Weights.At: i = %d on %s (%d wavelengths)", i, w.grid, w.grid.N))
	}
	return XYZ{w.x[i], w.y[i], w.z[i]}
}

// White returns the tristimulus values of the perfect diffuser, Y = 100.
func (w *Weights) White() XYZ { return w.white }

// XYZ returns the tristimulus values of a reflectance factor given on the
// weights' grid. It panics when the number of values differs.
func (w *Weights) XYZ(values []float64) XYZ {
	w.mustFit(values)
	x, y, z := dot3(w.x, w.y, w.z, values)
	return XYZ{x, y, z}
}

// Lab returns the CIELAB values of a reflectance factor given on the weights'
// grid, against the white of the weights. It panics when the number of values
// differs.
func (w *Weights) Lab(values []float64) Lab {
	w.mustFit(values)
	return roots().lab(dot3(w.xr, w.yr, w.zr, values))
}

// LabOf is Lab of a spectrum, and an error where it is on another grid than the weights or
// cannot be one ([Spectrum.Check]). Two grids may have as many values, so that Lab cannot
// tell them apart.
func (w *Weights) LabOf(s Spectrum) (Lab, error) {
	if s.Grid != w.grid {
		return Lab{}, fmt.Errorf("the spectrum is on %s, the weights on %s: make weights for its grid, or resample it", s.Grid, w.grid)
	}
	if err := s.Check(); err != nil {
		return Lab{}, err
	}
	return w.Lab(s.Values), nil
}

// LabRows stores in dst the CIELAB values of many spectra, which follow each
// other in rows: len(dst) times the grid's N values. It allocates nothing and
// panics when the lengths do not agree.
func (w *Weights) LabRows(dst []Lab, rows []float64) {
	n := w.grid.N
	if len(rows) != n*len(dst) {
		panic(fmt.Sprintf("colorimetry: %d reflectance values are not %d spectra on %s", len(rows), len(dst), w.grid))
	}
	r := roots()
	for i := range dst {
		dst[i] = r.lab(dot3(w.xr, w.yr, w.zr, rows[i*n:(i+1)*n]))
	}
}

// dot3 returns the products of three weight columns with r. Even and odd
// places are summed apart, so that additions need not wait for each other.
func dot3(wx, wy, wz, r []float64) (x, y, z float64) {
	n := len(r)
	wx, wy, wz = wx[:n], wy[:n], wz[:n] // frees the loop of bounds checks
	var x1, y1, z1 float64
	i := 0
	for ; i < n-1; i += 2 {
		r0, r1 := r[i], r[i+1]
		x += wx[i] * r0
		y += wy[i] * r0
		z += wz[i] * r0
		x1 += wx[i+1] * r1
		y1 += wy[i+1] * r1
		z1 += wz[i+1] * r1
	}
	if i < n {
		x += wx[i] * r[i]
		y += wy[i] * r[i]
		z += wz[i] * r[i]
	}
	return x + x1, y + y1, z + z1
}

func (w *Weights) mustFit(values []float64) {
	if len(values) != w.grid.N {
		panic(fmt.Sprintf("colorimetry: %d reflectance values for weights on %s (%d values)", len(values), w.grid, w.grid.N))
	}
}
