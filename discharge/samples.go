package discharge

import (
	"errors"
	"io"
	"strings"

	"example.com/dosetone/colorimetry"
)

// Sample is one measured color with a name and nothing else.
type Sample struct {
	ID        string
	Lot       string          // as ReadTargets takes it; "" where only an id names the sample
	Role      Role            // "" without; it may be none that [Role.Known] knows
	Spectrum  []float64       // reflectance factor on Samples.Grid; nil unless Spectral
	XYZ       colorimetry.XYZ // under Samples.Viewing
	Lab       colorimetry.Lab // under Samples.Viewing
	Condition Condition       // "" when not stated; samples of one file may differ in it
	Row       int             // line in the file
}

// Samples are the colors of one file.
type Samples struct {
	Name     string
	Kind     ReadingKind
	Viewing  colorimetry.Viewing
	Grid     colorimetry.Grid // zero unless Spectral
	Items    []Sample         // in file order
	Ignored  []string         // columns kept aside because their meaning is not known
	Warnings []error
}

// ReadSamples reads any table with readings as named colors. The name is the
// id column or, without one, lot, panel and position joined by "/". Names may
// repeat. The reading columns and the options are those of [ReadTable]; roles are
// not checked, processes and settings not looked at.
func ReadSamples(name string, r io.Reader, opt *ReadOptions) (*Samples, error) {
	s, err := ReadCSV(name, r)
	if err != nil {
		return nil, err
	}
	return SamplesFromSheet(s, opt)
}

// SamplesFromSheet makes samples of a sheet, as [ReadSamples] does.
func SamplesFromSheet(s *Sheet, opt *ReadOptions) (*Samples, error) {
	l, err := newLayout(s, opt)
	if err != nil {
		return nil, err
	}
	if err := l.notTurned(); err != nil {
		return nil, err
	}
	if _, ok := l.col["lot"]; !ok {
		if err := l.need("id", "the name of the sample (or lot, panel, position)"); err != nil {
			return nil, err
		}
	}
	c, err := newColors(l)
	if err != nil {
		return nil, err
	}
	_, hasID := l.col["id"]
	_, hasRole := l.col["role"]
	out := &Samples{Name: l.Name, Kind: l.kind, Viewing: c.viewing, Grid: l.grid}
	conditions := l.readConditions()
	for i := range l.Rows {
		id, err := l.sampleID(i)
		if err != nil {
			return nil, err
		}
		color, err := c.row(i)
		if err != nil {
			return nil, err
		}
		lot := ""
		if !hasID || hasRole {
			lot = l.text(i, "lot")
		}
		role := Role(strings.ToLower(l.text(i, "role")))
		s := Sample{ID: id, Lot: lot, Role: role, Spectrum: color.spectrum, XYZ: color.xyz, Lab: color.lab, Row: l.Lines[i]}
		if conditions != nil {
			s.Condition = conditions[i]
		}
		out.Items = append(out.Items, s)
	}
	l.keepAside()
	c.finish()
	out.Ignored, out.Warnings = l.ignored, l.warnings
	return out, nil
}

// sampleID names row i.
func (l *layout) sampleID(i int) (string, error) {
	column := "id"
	if _, ok := l.col[column]; !ok {
		column = "lot"
	}
	id := l.text(i, column)
	if id == "" {
		return "", l.fault(l.Lines[i], column, "", errors.New("the cell is empty: every sample needs a name"))
	}
	if column == "id" {
		return id, nil
	}
	parts := []string{id}
	for _, c := range []string{"panel", "position"} {
		if t := l.text(i, c); t != "" {
			parts = append(parts, t)
		}
	}
	return strings.Join(parts, "/"), nil
}
