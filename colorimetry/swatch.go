package colorimetry

import (
	"errors"
	"fmt"
	"image"
	"math"
)

// SwatchOptions say how a region is measured.
type SwatchOptions struct {
	// Contrast is how far L* must be above or below the mean for a pixel to
	// count as pale or dark. 0 means 10.
	Contrast float64
	// Columns and Rows of the grid for uniformity, at most 256 each. 0 means
	// 8, or as many as the region has pixels.
	Columns, Rows int
	// Correction is applied to every pixel. nil means none, and the result
	// says that it is uncalibrated.
	Correction *ChartCorrection
	// Workers is the number of goroutines; 0 means 1, -1 one per processor.
	// The result does not depend on it.
	Workers int
}

// A Swatch is what a region of an image tells of a color. All values are D65/2.
type Swatch struct {
	Region      image.Rectangle // in pixels from the top left corner
	Pixels      int             // measured
	Transparent int             // left out
	Clipped     Clipping        // of the codes, before any correction

	XYZ  XYZ // mean in linear light
	Mean Lab // of that mean

	// Spread of the pixels about their own mean Lab: standard deviations, and
	// percentiles of L* (to 0.05).
	SDL, SDA, SDB float64
	L5, L50, L95  float64

	// Shares 0..1 of pixels whose L* is more than Contrast above and below
	// Mean.L: the salt and the pepper.
	Pale, Dark float64

	// Cells of the uniformity grid, row by row, and the ΔE00 of their means
	// from Mean. A cell without opaque pixels has Pixels 0. A cell beyond ΔE00 5,
	// and beyond what the pixels' own scatter explains, stands in Warnings.
	Columns, Rows         int
	Cells                 []SwatchCell
	UniformityDE, WorstDE float64 // mean and largest of the cells
	WorstColumn, WorstRow int
	// Calibrated says that a correction was applied; how good that is, its
	// leave-one-out error tells.
	Calibrated bool
	Chart      ChartErrors // of the correction; zero without
	Warnings   []error
}

// A SwatchCell is the mean color of one cell of the grid.
type SwatchCell struct {
	Pixels int
	Mean   Lab
	DE     float64 // CIEDE2000 from the mean of the region
}

// swatchBins resolve L* -10..130 in steps of 0.05; corrected colors may leave
// 0..100. Values outside go to the end bins.
const (
	binWidth   = 0.05
	binStart   = -10.0
	swatchBins = 2800

	maxSwatchGrid = 256
)

// strip is what one row of cells contributes.
type strip struct {
	cells  []cellSum
	sum    Lab // of the pixels' deviation from center
	square Lab
	bins   [swatchBins]uint32
	pixels int
}

type cellSum struct {
	xyz    XYZ
	pixels int
}

// MeasureSwatch measures a region of an image, in pixels from its top left
// corner; the empty region means the whole image. A region that reaches outside
// it, or has no opaque pixel, is an error, and so are options out of range.
func MeasureSwatch(im *Image, region image.Rectangle, opt SwatchOptions) (*Swatch, error) {
	if im == nil {
		return nil, errNoImage
	}
	if opt.Correction != nil {
		if err := opt.Correction.check(); err != nil {
			return nil, fmt.Errorf("swatch: %w", err)
		}
	}
	r, err := inside(im.Pixels, region)
	if err != nil {
		return nil, err
	}
	contrast := orDefault(opt.Contrast, 10)
	columns := gridSize(opt.Columns, r.Dx())
	rows := gridSize(opt.Rows, r.Dy())
	if columns < 0 || columns > min(r.Dx(), maxSwatchGrid) || rows < 0 || rows > min(r.Dy(), maxSwatchGrid) {
		return nil, fmt.Errorf("swatch: a grid of %d by %d cells does not fit a region of %d by %d pixels (at most %d each way)", columns, rows, r.Dx(), r.Dy(), maxSwatchGrid)
	}
	if !(contrast > 0) || math.IsInf(contrast, 1) {
		return nil, fmt.Errorf("swatch: contrast is %v, want an L* difference above 0", contrast)
	}
	workers := opt.Workers
	switch {
	case workers == 0:
		workers = 1
	case workers < 0:
		workers = 0 // as Parallel has it
	}

	// The mean must be known before deviations are summed about it without
	// loss of digits; any color near it will do.
	near, _, clipped, err := meanColor(im.Pixels, region)
	if err != nil {
		return nil, err
	}
	center := opt.Correction.apply(near).Lab(srgbWhite())

	strips := make([]strip, rows)
	Parallel(rows, workers, func(lo, hi int) {
		line := make([]SRGB8, r.Dx())
		for i := lo; i < hi; i++ {
			strips[i].measure(im.Pixels, r, i, rows, columns, center, opt.Correction, line)
		}
	})

	s := &Swatch{Region: r.Sub(im.Pixels.Bounds().Min), Columns: columns, Rows: rows,
		Clipped: clipped, Calibrated: opt.Correction != nil, Warnings: append([]error(nil), im.Warnings...)}
	s.collect(strips, contrast)
	s.Transparent = r.Dx()*r.Dy() - s.Pixels
	if s.Transparent > 0 {
		s.Warnings = append(s.Warnings, fmt.Errorf("%d pixels that are not fully opaque are left out", s.Transparent))
	}
	if err := clipped.Warning(); err != nil {
		s.Warnings = append(s.Warnings, err)
	}
	if err := s.uneven(); err != nil {
		s.Warnings = append(s.Warnings, err)
	}
	if s.Calibrated {
		s.Chart = opt.Correction.ChartErrors
		s.Warnings = append(s.Warnings, opt.Correction.doubts(s.Mean)...)
	} else {
		s.Warnings = append(s.Warnings, errors.New("uncalibrated: without a chart in the picture, camera and light are unknown; use for comparison within one picture only"))
	}
	return s, nil
}

// uneven says that a cell differs from the whole by more than is seen at a glance
// (ΔE00 5: common practice, no source) and than its pixels' grain explains: the
// mean of a cell's pixels scatters by their standard deviation over the root of
// their number, and of 64 cells one is beyond four times that in 1 of 250 regions
// (64 × 6.3e-5, normal). nil otherwise.
func (s *Swatch) uneven() error {
	const atAGlance, grain = 5, 4
	pixels := s.Cells[s.WorstRow*s.Columns+s.WorstColumn].Pixels
	sd := math.Sqrt(s.SDL*s.SDL + s.SDA*s.SDA + s.SDB*s.SDB)
	if s.WorstDE <= max(atAGlance, grain*sd/math.Sqrt(float64(max(pixels, 1)))) {
		return nil
	}
	x, y := s.WorstColumn*s.Region.Dx()/s.Columns, s.WorstRow*s.Region.Dy()/s.Rows
	return fmt.Errorf("uneven: the part of the region that begins at %d,%d differs from its mean by ΔE00 %.1f; see that the region holds cloth only, evenly lit, without background, seams, folds or shadows",
		s.Region.Min.X+x, s.Region.Min.Y+y, s.WorstDE)
}

func gridSize(n, pixels int) int {
	if n == 0 {
		return min(8, pixels)
	}
	return n
}

// measure reads the i-th of rows strips of the region.
func (s *strip) measure(m image.Image, r image.Rectangle, i, rows, columns int, center Lab, correction *ChartCorrection, line []SRGB8) {
	s.cells = make([]cellSum, columns)
	table, root := linearTable(), roots()
	for y := r.Min.Y + i*r.Dy()/rows; y < r.Min.Y+(i+1)*r.Dy()/rows; y++ {
		for column := range columns {
			x0, x1 := r.Min.X+column*r.Dx()/columns, r.Min.X+(column+1)*r.Dx()/columns
			n := row(m, y, x0, x1, line)
			cell := &s.cells[column]
			for _, p := range line[:n] {
				c := linearRGB{table[p.R], table[p.G], table[p.B]}.xyz()
				if correction != nil {
					c = correction.Apply(c)
				}
				cell.xyz = cell.xyz.plus(c)
				lab := root.lab(c.X*(1./srgbWhiteX), c.Y*(1./srgbWhiteY), c.Z*(1./srgbWhiteZ))
				d := Lab{lab.L - center.L, lab.A - center.A, lab.B - center.B}
				s.sum = Lab{s.sum.L + d.L, s.sum.A + d.A, s.sum.B + d.B}
				s.square = Lab{s.square.L + d.L*d.L, s.square.A + d.A*d.A, s.square.B + d.B*d.B}
				s.bins[binOf(lab.L)]++
			}
			cell.pixels += n
			s.pixels += n
		}
	}
}

func binOf(l float64) int { return min(max(int((l-binStart)/binWidth), 0), swatchBins-1) }

func (c XYZ) plus(d XYZ) XYZ { return XYZ{c.X + d.X, c.Y + d.Y, c.Z + d.Z} }

func (c XYZ) over(n int) XYZ {
	k := 1 / float64(max(n, 1))
	return XYZ{c.X * k, c.Y * k, c.Z * k}
}

// collect puts the strips together, in their order.
func (s *Swatch) collect(strips []strip, contrast float64) {
	var total XYZ
	var sum, square Lab
	bins := new([swatchBins]uint64)
	for i := range strips {
		t := &strips[i]
		s.Pixels += t.pixels
		sum = Lab{sum.L + t.sum.L, sum.A + t.sum.A, sum.B + t.sum.B}
		square = Lab{square.L + t.square.L, square.A + t.square.A, square.B + t.square.B}
		for _, cell := range t.cells {
			total = total.plus(cell.xyz)
		}
		for b, n := range t.bins {
			bins[b] += uint64(n)
		}
	}
	white := srgbWhite()
	s.XYZ = total.over(s.Pixels)
	s.Mean = s.XYZ.Lab(white)

	n := float64(s.Pixels)
	sd := func(sum, square float64) float64 {
		if s.Pixels < 2 {
			return 0
		}
		return math.Sqrt(max(0, square-sum*sum/n) / (n - 1))
	}
	s.SDL, s.SDA, s.SDB = sd(sum.L, square.L), sd(sum.A, square.A), sd(sum.B, square.B)
	s.L5, s.L50, s.L95 = percentile(bins, n, 0.05), percentile(bins, n, 0.50), percentile(bins, n, 0.95)
	for b, count := range bins {
		switch l := binStart + (float64(b)+0.5)*binWidth; {
		case l > s.Mean.L+contrast:
			s.Pale += float64(count) / n
		case l < s.Mean.L-contrast:
			s.Dark += float64(count) / n
		}
	}

	used := 0
	for i := range strips {
		for column, cell := range strips[i].cells {
			c := SwatchCell{Pixels: cell.pixels}
			if c.Pixels > 0 {
				c.Mean = cell.xyz.over(c.Pixels).Lab(white)
				c.DE = CIEDE2000{}.Diff(s.Mean, c.Mean)
				s.UniformityDE += c.DE
				used++
				if c.DE > s.WorstDE {
					s.WorstDE, s.WorstColumn, s.WorstRow = c.DE, column, i
				}
			}
			s.Cells = append(s.Cells, c)
		}
	}
	s.UniformityDE /= float64(max(used, 1))
}

// percentile returns the middle of the bin that holds the p-th part of n.
func percentile(bins *[swatchBins]uint64, n, p float64) float64 {
	var seen float64
	for b, count := range bins {
		seen += float64(count)
		if seen >= p*n && count > 0 {
			return binStart + (float64(b)+0.5)*binWidth
		}
	}
	return 0
}
