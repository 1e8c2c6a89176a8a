package laundry

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"

	"example.com/dosetone/colorimetry"
)

// Form is how a table gives its readings.
type Form int

// The forms of readings.
const (
	Spectra  Form = iota // R400 … R700, factor with 5 decimals
	Swatches             // red, green, blue: 8-bit sRGB (D65/2)
	LabForm              // L, a, b with illuminant and observer, 3 decimals
)

// TableOptions says how [Table] writes. The zero value writes spectra.
type TableOptions struct {
	Form    Form
	Viewing colorimetry.Viewing // of LabForm; unset means D65/10
	Tensile bool                // with the column tensile_loss_pct
	Comment string              // first line, after "# "; "" for none
}

// Table writes lots of one process as a tidy CSV, one row per reading, LF line
// ends. Lots without an ID or with an unknown column are errors.
func Table(w io.Writer, o TableOptions, lots ...Lot) error {
	if len(lots) == 0 {
		return errors.New("laundry: no lots to write")
	}
	p, err := lookup(lots[0].Process)
	if err != nil {
		return err
	}
	if !o.Viewing.Valid() {
		o.Viewing = colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}
	}
	if o.Form == Swatches {
		o.Viewing = colorimetry.SRGBViewing()
	}
	weights, err := colorimetry.NewWeights(o.Viewing, Grid())
	if err != nil {
		return err
	}
	damp := false
	for _, l := range lots {
		if l.ID == "" || l.Role == "" {
			return fmt.Errorf("laundry: a lot of role %q has ID %q: both are needed", l.Role, l.ID)
		}
		if l.Process != p.id {
			return fmt.Errorf("laundry: lot %s is %s, the table %s", l.ID, l.Process, p.id)
		}
		for _, r := range l.Readings {
			damp = damp || r.Damp
		}
	}
	if o.Comment != "" {
		if _, err := fmt.Fprintf(w, "# %s\n", o.Comment); err != nil {
			return err
		}
	}
	out := csv.NewWriter(w)
	header := []string{"lot", "role", "process", "fabric", "machine"}
	for _, f := range p.factors {
		header = append(header, f.Column)
	}
	header = append(header, "panel", "position")
	if o.Tensile {
		header = append(header, "tensile_loss_pct")
	}
	if damp {
		header = append(header, "state")
	}
	switch o.Form {
	case Spectra:
		for i := range Bands {
			header = append(header, fmt.Sprintf("R%d", Grid().Wavelength(i)))
		}
	case Swatches:
		header = append(header, "red", "green", "blue")
	case LabForm:
		header = append(header, "L", "a", "b", "illuminant", "observer")
	}
	rows := [][]string{header}
	add := func(l Lot, role string, settings map[string]float64, r Reading, loss string) {
		row := []string{l.ID, role, l.Process, l.Fabric, l.Machine}
		for _, f := range p.factors {
			cell := ""
			if v, ok := settings[f.Column]; ok {
				cell = strconv.FormatFloat(v, 'g', 6, 64)
			}
			row = append(row, cell)
		}
		row = append(row, strconv.Itoa(r.Panel), strconv.Itoa(r.Position))
		if o.Tensile {
			row = append(row, loss)
		}
		if damp {
			row = append(row, map[bool]string{false: "dry", true: "damp"}[r.Damp])
		}
		rows = append(rows, append(row, reading(o, weights, r.R)...))
	}
	for _, l := range lots {
		for _, r := range l.BaseReadings {
			add(l, "base", nil, r, "")
		}
		for _, r := range l.Readings {
			loss := ""
			if v, ok := l.TensileLoss[r.Panel]; ok {
				loss = strconv.FormatFloat(v, 'f', 1, 64)
			}
			add(l, l.Role, l.Settings, r, loss)
		}
	}
	return out.WriteAll(rows)
}

// reading formats the color columns of one reading.
func reading(o TableOptions, w *colorimetry.Weights, r []float64) (cells []string) {
	switch o.Form {
	case Spectra:
		for _, v := range r {
			cells = append(cells, strconv.FormatFloat(v, 'f', 5, 64))
		}
	case Swatches:
		c := Swatch(w, r)
		for _, v := range [3]uint8{c.R, c.G, c.B} {
			cells = append(cells, strconv.Itoa(int(v)))
		}
	case LabForm:
		c := w.Lab(r)
		for _, v := range [3]float64{c.L, c.A, c.B} {
			cells = append(cells, strconv.FormatFloat(v, 'f', 3, 64))
		}
		cells = append(cells, o.Viewing.Illuminant.String(), o.Viewing.Observer.String())
	}
	return cells
}

// Swatch returns the 8-bit sRGB color of a spectrum; w must be made for
// colorimetry.SRGBViewing. Denim colors lie inside the gamut; others are cut
// to it.
func Swatch(w *colorimetry.Weights, r []float64) colorimetry.SRGB8 {
	rgb, _ := colorimetry.LabToSRGB(w.Lab(r))
	return rgb.Quantize()
}
