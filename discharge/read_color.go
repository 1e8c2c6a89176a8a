package discharge

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"example.com/dosetone/colorimetry"
)

// darkest bounds what cloth can be: no fabric stays below 1.5 % reflectance at
// every wavelength from 400 to 700 nm, and none exceeds 150 % at every one.
// The two faults of unit, percent read as factor and the reverse, are a
// hundred times apart, so the exact bound does not matter.
const darkest = 1.5

// colors reads the readings of a sheet row by row.
type colors struct {
	*layout
	viewing colorimetry.Viewing
	weights *colorimetry.Weights // of a spectral sheet
	percent []bool               // per row, of a spectral sheet
	above   repeated             // reflectance above 1
	lone    repeated             // a band that stands alone
}

// repeated is a warning that many rows may give: the first is told, and how many more.
type repeated struct {
	first error
	n     int
}

func (r *repeated) add(err error) {
	if r.n++; r.n == 1 {
		r.first = err
	}
}

// with appends it to warnings.
func (r *repeated) with(warnings []error) []error {
	switch r.n {
	case 0:
		return warnings
	case 1:
		return append(warnings, r.first)
	case 2:
		return append(warnings, fmt.Errorf("%w (and 1 more reading)", r.first))
	}
	return append(warnings, fmt.Errorf("%w (and %d more readings)", r.first, r.n-1))
}

// reading is what one row says of color.
type reading struct {
	spectrum []float64
	xyz      colorimetry.XYZ
	lab      colorimetry.Lab
}

func newColors(l *layout) (*colors, error) {
	if err := l.needColor(); err != nil {
		return nil, err
	}
	c := &colors{layout: l}
	var err error
	if c.viewing, err = l.findViewing(); err != nil {
		return nil, err
	}
	if l.kind == Spectral {
		if c.weights, err = colorimetry.NewWeights(c.viewing, l.grid); err != nil {
			return nil, l.fault(l.HeaderLine, l.Header[l.color[0]], "", err)
		}
		if c.percent, err = l.findPercent(); err != nil {
			return nil, err
		}
	}
	return c, c.checkScale()
}

// findViewing returns the viewing of the colors: of the file's columns, else
// of the options, else D65/10 for spectra and D65/2 for sRGB. Of a file with colors
// under several, the rows under the one of the options are kept.
func (l *layout) findViewing() (colorimetry.Viewing, error) {
	var none colorimetry.Viewing
	rows, column, err := l.rowViewings()
	if err != nil {
		return none, err
	}
	asked := l.opt.Viewing
	if l.kind == LabKind || l.kind == XYZKind {
		rows = l.chooseViewing(rows, column, asked)
	}
	stated, line, err := l.oneViewing(rows, column)
	if err != nil {
		return none, err
	}
	switch l.kind {
	case Spectral: // the columns say how the instrument showed it, which binds nobody
		for _, v := range []colorimetry.Viewing{asked, stated} {
			if v != none {
				return v, nil
			}
		}
		return colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}, nil
	case Swatch:
		srgb := colorimetry.SRGBViewing()
		for _, v := range []colorimetry.Viewing{stated, asked} {
			if v != none && v != srgb {
				return none, l.fault(line, "red", "", fmt.Errorf("%w: sRGB is %s by definition and cannot be taken as %s; measure spectra for another viewing", ErrViewing, srgb, v))
			}
		}
		return srgb, nil
	}
	switch {
	case stated == none && asked == none:
		return none, l.fault(l.HeaderLine, "illuminant", "", fmt.Errorf("the column is missing: L, a, b and X, Y, Z mean nothing without their viewing; add columns illuminant and observer, or state what the instrument calculated with (--viewing, such as D65/10)%s", l.takenFor()))
	case stated != none && asked != none && stated != asked:
		return none, l.fault(line, column, stated.String(), fmt.Errorf("%w: %s was asked for, and colors without spectra cannot be turned into another viewing", ErrViewing, asked))
	case stated == none:
		return asked, nil
	}
	return stated, nil
}

// rowViewings is what the columns illuminant and observer, or viewing, say in each row,
// nil without them, and the column that faults are told of.
func (l *layout) rowViewings() (rows []colorimetry.Viewing, column string, err error) {
	var none colorimetry.Viewing
	i0, hasI := l.col["illuminant"]
	o0, hasO := l.col["observer"]
	v0, hasV := l.col["viewing"]
	if hasI != hasO {
		column := "illuminant"
		if hasI {
			column = "observer"
		}
		return nil, "", l.fault(l.HeaderLine, column, "", errors.New("the column is missing: illuminant and observer go together"))
	}
	if !hasI && !hasV {
		return nil, "illuminant", nil
	}
	column = "viewing"
	if hasI {
		column = "illuminant"
	}
	rows = make([]colorimetry.Viewing, len(l.Rows))
	for i, row := range l.Rows {
		if hasV && row[v0] != "" {
			if rows[i], err = colorimetry.ParseViewing(row[v0]); err != nil {
				return nil, "", l.cellFault(i, v0, err)
			}
		}
		silent := !hasI || row[i0] == "" && row[o0] == ""
		switch {
		case silent && (rows[i] != none || l.kind == Spectral):
			continue
		case !hasI:
			return nil, "", l.cellFault(i, v0, errors.New("the cell is empty: L, a, b and X, Y, Z mean nothing without their viewing; write it, such as D65/10 for illuminant D65 and the 10 degree observer"))
		}
		ill, err := colorimetry.ParseIlluminant(row[i0])
		if err != nil {
			return nil, "", l.cellFault(i, i0, err)
		}
		obs, err := colorimetry.ParseObserver(row[o0])
		if err != nil {
			return nil, "", l.cellFault(i, o0, err)
		}
		pair := colorimetry.Viewing{Illuminant: ill, Observer: obs}
		if rows[i] != none && rows[i] != pair {
			return nil, "", l.cellFault(i, v0, fmt.Errorf("%w: the columns illuminant and observer say %s; correct one of them", ErrViewing, pair))
		}
		rows[i] = pair
	}
	return rows, column, nil
}

// chooseViewing keeps the rows under the viewing asked for where others are under
// another, and returns what is stated in those that are left.
func (l *layout) chooseViewing(rows []colorimetry.Viewing, column string, asked colorimetry.Viewing) []colorimetry.Viewing {
	of := 0
	for _, v := range rows {
		if v == asked {
			of++
		}
	}
	if of == 0 || of == len(rows) {
		return rows
	}
	l.warn(0, column, asked.String(), fmt.Errorf("%d of %d readings are under another viewing and were left out", len(rows)-of, len(rows)))
	l.keepRows(func(i int) bool { return rows[i] == asked })
	return slices.Repeat([]colorimetry.Viewing{asked}, of)
}

// oneViewing is the viewing that all rows state, and the first line that does.
func (l *layout) oneViewing(rows []colorimetry.Viewing, column string) (v colorimetry.Viewing, line int, err error) {
	var none colorimetry.Viewing
	for i, next := range rows {
		switch {
		case next == none || next == v:
		case v == none:
			v, line = next, l.Lines[i]
		default:
			return v, 0, l.fault(l.Lines[i], column, next.String(), fmt.Errorf("%w: %s has %s; one table has one viewing: keep the rows of one, or choose it (--viewing)", ErrViewing, place(line), v))
		}
	}
	if line == 0 {
		line = l.HeaderLine
	}
	return v, line, nil
}

// findPercent tells for every row whether reflectance is in percent, by the
// unit column or, where that says nothing, the option, never by the numbers. The
// column holds, since one option may be given for several files.
func (l *layout) findPercent() ([]bool, error) {
	percent := make([]bool, len(l.Rows))
	told := false
	j, has := l.col["unit"]
	for i := range percent {
		percent[i] = l.opt.Percent
		if !has || l.Rows[i][j] == "" {
			continue
		}
		switch strings.ToLower(l.Rows[i][j]) {
		case "percent", "%", "pct":
			percent[i] = true
		case "factor", "1", "fraction":
			percent[i] = false
			if l.opt.Percent && !told {
				told = true
				l.warnings = append(l.warnings, l.cellFault(i, j, errors.New("the file says factor, which holds: that reflectance is in percent was stated for files that do not say")))
			}
		default:
			return nil, l.cellFault(i, j, errors.New("the unit of reflectance is not known; want factor (0 to 1) or percent"))
		}
	}
	return percent, nil
}

// checkScale refuses a table whose numbers all lie on another scale than
// stated. Cells that are no numbers are left to row, which names them.
func (c *colors) checkScale() error {
	var top float64 // of the rows in percent, or of all rows
	line, column := 0, c.Header[c.color[0]]
	for i, row := range c.Rows {
		if c.kind == Spectral && !c.percent[i] {
			continue
		}
		for n, j := range c.color {
			if c.kind == LabKind && n > 0 || c.kind == XYZKind && n != 1 {
				continue
			}
			v, _, err := parseNumber(row[j], true)
			if err == nil {
				top = max(top, v)
				if line == 0 {
					line = c.Lines[i]
				}
			}
		}
	}
	if line == 0 || top == 0 {
		return nil
	}
	switch {
	case c.kind == Spectral && top < darkest:
		return c.fault(line, column, "", fmt.Errorf("reflectance is declared as percent but never exceeds %.4g: the values are factors; say unit factor: a column unit with factor holds for its file, whatever is stated for others", top))
	case c.kind == LabKind && top <= 1:
		return c.fault(line, "L", "", errLightness(top))
	case c.kind == XYZKind && top <= 1:
		return c.fault(line, "Y", "", fmt.Errorf("luminance never exceeds %.4g: Y is wanted on the scale where white is 100", top))
	case c.kind == Swatch && top <= 1:
		return c.fault(line, column, "", fmt.Errorf("no channel exceeds %.4g: red, green, blue are wanted on the scale 0 to 255", top))
	}
	return nil
}

// otherColor is a column of another kind of reading in which row i is filled in.
func (c *colors) otherColor(i int) (column string, ok bool) {
	for _, kind := range []ReadingKind{LabKind, XYZKind, Swatch} {
		for _, column := range colorColumns(kind) {
			if j, has := c.col[column]; has && kind != c.kind && c.Rows[i][j] != "" {
				return c.Header[j], true
			}
		}
	}
	return "", false
}

// row reads the color of row i.
func (c *colors) row(i int) (reading, error) {
	values := make([]float64, len(c.color))
	for n, j := range c.color {
		if c.Rows[i][j] == "" {
			remedy := "delete the row if nothing was measured"
			if other, ok := c.otherColor(i); ok {
				remedy = fmt.Sprintf("the row has a color in column %s, but a file holds one kind of reading: put these rows into a file of their own", other)
			}
			return reading{}, c.fault(c.Lines[i], c.Header[j], "", fmt.Errorf("the cell is empty: a reading needs every one; %s", remedy))
		}
		v, err := c.number(i, j)
		if err != nil {
			return reading{}, err
		}
		values[n] = v
	}
	if c.kind == Spectral {
		return c.spectral(i, values)
	}
	lo, hi := [3]float64{}, [3]float64{255, 255, 255}
	switch c.kind {
	case LabKind:
		lo, hi = labLimits()
	case XYZKind:
		hi = [3]float64{200, 200, 250}
	}
	for n, v := range values {
		if err := inRange(v, lo[n], hi[n]); err != nil {
			return reading{}, c.cellFault(i, c.color[n], err)
		}
	}
	white := c.viewing.White()
	switch c.kind {
	case LabKind:
		lab := colorimetry.Lab{L: values[0], A: values[1], B: values[2]}
		return reading{lab: lab, xyz: lab.XYZ(white)}, nil
	case XYZKind:
		xyz := colorimetry.XYZ{X: values[0], Y: values[1], Z: values[2]}
		return reading{lab: xyz.Lab(white), xyz: xyz}, nil
	}
	rgb := colorimetry.SRGB{R: values[0] / 255, G: values[1] / 255, B: values[2] / 255}
	return reading{lab: colorimetry.SRGBToLab(rgb), xyz: colorimetry.SRGBToXYZ(rgb)}, nil
}

// labLimits bound L*, a* and b* as they are read.
func labLimits() (lo, hi [3]float64) { return [3]float64{0, -200, -200}, [3]float64{150, 200, 200} }

func inRange(v, lo, hi float64) error {
	if v >= lo && v <= hi {
		return nil
	}
	return fmt.Errorf("out of range: want %g to %g", lo, hi)
}

// errLightness is of a table whose lightness never exceeds top, on another scale.
func errLightness(top float64) error {
	return fmt.Errorf("lightness never exceeds %.4g: L* is wanted on the scale 0 to 100", top)
}

// spectral turns the numbers of row i into a spectrum.
func (c *colors) spectral(i int, values []float64) (reading, error) {
	low, high, at := math.Inf(1), 0.0, 0
	for n, v := range values {
		if v < 0 {
			return reading{}, c.cellFault(i, c.color[n], errors.New("reflectance must not be negative; check the black calibration and measure again"))
		}
		if c.percent[i] {
			values[n] = hundredth(c.Rows[i][c.color[n]], v)
		}
		low = min(low, values[n])
		if values[n] > high {
			high, at = values[n], n
		}
	}
	if !c.percent[i] && (low > darkest || high > 2) {
		return reading{}, c.cellFault(i, c.color[at], errors.New("reflectance is a factor, 0 to 1 (2 at most on brightened cloth); if the file is in percent, add a column unit with percent, or state it (--reflectance percent)"))
	}
	if high > 2 {
		return reading{}, c.cellFault(i, c.color[at], errors.New("reflectance above 200 %: check the white calibration, and that the unit is percent"))
	}
	s, err := colorimetry.NewSpectrum(c.grid, values)
	if err != nil {
		return reading{}, c.fault(c.Lines[i], "", "", err)
	}
	if w := s.Warning(); w != nil {
		c.above.add(c.cellFault(i, c.color[at], w))
	}
	if nm := s.LoneBand(); nm != 0 {
		n := (nm - c.grid.Start) / c.grid.Step
		c.lone.add(c.cellFault(i, c.color[n], fmt.Errorf("reflectance at %d nm departs from the bands beside it as no dye makes it: was it read, and written down, right? Measure again", nm)))
	}
	xyz := c.weights.XYZ(s.Values)
	return reading{spectrum: s.Values, xyz: xyz, lab: xyz.Lab(c.weights.White())}, nil
}

// finish adds the warnings that sum up all rows.
func (c *colors) finish() {
	c.warnings = c.lone.with(c.above.with(c.warnings))
}
