package discharge

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"example.com/dosetone/colorimetry"
)

// Targets are the target shades of one file.
type Targets struct {
	Items    []Target // in file order
	Ignored  []string // columns kept aside because their meaning is not known
	Warnings []error
}

// ReadTargets reads target shades from either of two kinds of file: a table
// with a role column, whose standards are the targets and whose light and dark
// limits go with them; or one with an id (or lot) and readings, where every id
// is a target. The readings of one target are averaged, spectra and other
// readings alike in reflected light, not in Lab. Columns and options are those
// of [ReadTable].
func ReadTargets(name string, r io.Reader, opt *ReadOptions) (*Targets, error) {
	s, err := ReadCSV(name, r)
	if err != nil {
		return nil, err
	}
	return TargetsFromSheet(s, opt)
}

// TargetsFromSheet makes targets of a sheet, as [ReadTargets] does.
func TargetsFromSheet(s *Sheet, opt *ReadOptions) (*Targets, error) {
	l, err := newLayout(s, opt)
	if err != nil {
		return nil, err
	}
	if err := l.notTurned(); err != nil {
		return nil, err
	}
	id, hasID := l.col["id"]
	_, hasLot := l.col["lot"]
	_, hasRole := l.col["role"]
	switch {
	case !hasID && !hasLot:
		return nil, l.need("id", "the name of the target (or lot)")
	case hasID && (!hasLot || !hasRole):
		l.col["lot"] = id
	}
	if !hasRole { // every row is of a standard
		l.col["role"] = len(l.Header)
		l.Header = append(slices.Clone(l.Header), "role")
		for i, row := range l.Rows {
			l.Rows[i] = append(slices.Clone(row), string(Standard))
		}
	}
	if hasRole {
		l.dropUnknownRoles()
	}
	t, err := l.table()
	if err != nil {
		return nil, err
	}
	targets, warnings, err := t.Targets()
	if err != nil {
		return nil, err
	}
	return &Targets{targets, t.Ignored, append(t.Warnings, warnings...)}, nil
}

// dropUnknownRoles leaves out rows without a role where others are standards:
// an instrument's file may hold samples beside its standard.
func (l *layout) dropUnknownRoles() {
	j := l.col["role"]
	if !slices.ContainsFunc(l.Rows, func(row []string) bool { return strings.EqualFold(row[j], string(Standard)) }) {
		return
	}
	dropped, first := 0, 0
	for i, row := range l.Rows {
		if row[j] != "" {
			continue
		}
		if dropped++; dropped == 1 {
			first = l.Lines[i]
		}
	}
	if dropped > 0 {
		l.keepRows(func(i int) bool { return l.Rows[i][j] != "" })
		l.warn(first, l.Header[j], "", fmt.Errorf("%d rows without a role are no targets and were left out; this is the first", dropped))
	}
}

// Targets returns the standards of a table as target shades, each with its
// light and dark limit. With several standards the limits must bear the name
// of theirs. Readings that are not of finished, dry cloth are an error.
func (t *Table) Targets() (targets []Target, warnings []error, err error) {
	if err := t.Check(); err != nil {
		return nil, nil, err
	}
	standards := t.ByRole(Standard)
	if len(standards) == 0 {
		return nil, nil, &RowError{File: t.Name, Err: fmt.Errorf("no row with role %s: there is no target", Standard)}
	}
	m, err := newAverager(t)
	if err != nil {
		return nil, nil, err
	}
	at := map[string]int{}
	for _, lot := range standards {
		target := Target{ID: lot.ID, Viewing: t.Viewing, Condition: t.Condition, Grid: t.Grid}
		if target.Lab, target.Spectrum, err = m.average(lot); err != nil {
			return nil, nil, err
		}
		at[lot.ID] = len(targets)
		targets = append(targets, target)
	}
	for _, lot := range t.Lots {
		if lot.Role != LightLimit && lot.Role != DarkLimit {
			continue
		}
		i, ok := at[lot.ID]
		if !ok && len(targets) > 1 {
			return nil, nil, &RowError{File: t.Name, Row: lot.Row, Column: "lot", Value: lot.ID,
				Err: fmt.Errorf("there are %d standards: a limit needs the lot name of its own", len(targets))}
		}
		lab, _, err := m.average(lot)
		if err != nil {
			return nil, nil, err
		}
		limit := &targets[i].Light
		if lot.Role == DarkLimit {
			limit = &targets[i].Dark
		}
		if *limit != nil {
			return nil, nil, &RowError{File: t.Name, Row: lot.Row, Column: "lot", Value: lot.ID,
				Err: fmt.Errorf("standard %q has a second %s: give its rows one lot name", targets[i].ID, lot.Role)}
		}
		*limit = &lab
	}
	for _, target := range targets {
		if err := target.CheckLimits(); err != nil {
			return nil, nil, &RowError{File: t.Name, Err: fmt.Errorf("standard %q: %w", target.ID, err)}
		}
	}
	return targets, m.warnings, nil
}

// averager averages readings in reflected light.
type averager struct {
	t        *Table
	white    colorimetry.XYZ
	weights  *colorimetry.Weights
	warnings []error
}

func newAverager(t *Table) (*averager, error) {
	m := &averager{t: t, white: t.Viewing.White()}
	if t.Kind == Spectral {
		var err error
		if m.weights, err = colorimetry.NewWeights(t.Viewing, t.Grid); err != nil {
			return nil, err
		}
	}
	return m, nil
}

// Readings of one shade are averaged; how far from their mean they lie, in ΔE00, is
// said from noted on, which is about what readings of a denim panel differ, and from
// far on they are doubted (common practice, no source).
const (
	noted = 1
	far   = 3
)

func (m *averager) average(lot Lot) (colorimetry.Lab, []float64, error) {
	readings := lot.Readings()
	var xyz colorimetry.XYZ
	var spectrum []float64
	if m.weights != nil {
		spectrum = make([]float64, m.t.Grid.N)
	}
	n := float64(len(readings))
	for i := range readings {
		r := &readings[i]
		if !r.usable() {
			return colorimetry.Lab{}, nil, &RowError{File: m.t.Name, Row: r.Row, Err: errors.New("a target must be measured on finished, dry cloth")}
		}
		// Averages of Lab made linear do not depend on the white.
		c := r.Lab.XYZ(m.white)
		xyz.X += c.X / n
		xyz.Y += c.Y / n
		xyz.Z += c.Z / n
		for k, v := range r.Spectrum {
			spectrum[k] += v / n
		}
	}
	lab := xyz.Lab(m.white)
	switch {
	case len(readings) == 1:
		lab = readings[0].Lab
	case m.weights != nil:
		lab = m.weights.Lab(spectrum)
	}
	worst, row := 0.0, 0
	for _, r := range readings {
		if d := (colorimetry.CIEDE2000{}).Diff(lab, r.Lab); d > worst {
			worst, row = d, r.Row
		}
	}
	text := ""
	switch {
	case worst > far:
		text = "this reading of %q (%s) is %.1f ΔE00 from the mean of its %d readings: are they of one shade?"
	case worst > noted:
		text = "this reading of %q (%s) is %.1f ΔE00 from the mean of its %d readings, which is what is aimed at"
	}
	if text != "" {
		m.warnings = append(m.warnings, &RowError{File: m.t.Name, Row: row, Err: fmt.Errorf(text, lot.ID, lot.Role, worst, len(readings))})
	}
	return lab, spectrum, nil
}
