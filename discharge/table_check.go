package discharge

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"example.com/dosetone/colorimetry"
)

// Check reports the first thing about a table that [FromSheet] would not have let in: what
// is made by a program, such as from the rows of a database, is held to the limits of what
// is read. [Fit], [Model.Recalibrate], [Table.Join], [Table.Targets] and those who judge lots
// call it, so that only a program that wants to know earlier needs to.
//
// Kind, Viewing and, where readings are spectra, Grid must be set; roles, stages, states
// and the words of Condition must be known; lots have a name, and two without a place in
// a file (Row) not the same one in the same role. A reading holds a color from
// L* 0 to 150 and a*, b* -200 to 200, or a spectrum of factors that passes
// [colorimetry.Spectrum.Check] with its color under Viewing, to 0.01 (see [Table.ColorSpectra]). Settings are
// finite, and those of a built-in process possible for it. What a model needs besides, such as
// all factors of the process, is left to Fit. The error is a [RowError].
func (t *Table) Check() error { return t.check(&Process{}) }

var errNoTable = errors.New("there is no table: nil was given for one")

// check is Check with a process of the user's own, too.
func (t *Table) check(own *Process) error {
	if t == nil {
		return errNoTable
	}
	if err := t.checkHead(); err != nil {
		return err
	}
	process, stated, err := t.factorsOf(own)
	if err != nil {
		return err
	}
	type key struct {
		file string
		row  int // lots of two files, or made of production lots, may share a name
		id   string
		role Role
	}
	weights, err := t.weights()
	if err != nil {
		return err
	}
	seen := make(map[key]bool, len(t.Lots))
	for i := range t.Lots {
		l := &t.Lots[i]
		k := key{l.File, l.Row, l.ID, l.Role}
		switch {
		case !l.Role.Known():
			return t.fault(l, "role", string(l.Role), fmt.Errorf("lot %q: the role is not known; want one of %s", l.ID, roleWords()))
		case l.ID == "":
			return t.fault(l, "lot", "", fmt.Errorf("a lot of role %s has no name", l.Role))
		case seen[k]:
			return t.fault(l, "lot", l.ID, fmt.Errorf("two lots of role %s have this name: readings of one load make one lot, another load needs a name of its own", l.Role))
		}
		seen[k] = true
		if err := t.checkLot(l, process, stated, weights); err != nil {
			return err
		}
	}
	return t.checkLightness()
}

// checkHead refuses a table whose readings cannot be understood.
func (t *Table) checkHead() error {
	fault := func(column, value string, err error) error {
		return &RowError{File: t.name(), Column: column, Value: value, Err: err}
	}
	kinds := []ReadingKind{Spectral, LabKind, XYZKind, Swatch}
	switch {
	case !slices.Contains(kinds, t.Kind):
		return fault("Kind", string(t.Kind), fmt.Errorf("the kind of reading is not known; want one of %v", kinds))
	case !t.Viewing.Valid():
		return fault("Viewing", t.Viewing.String(), errors.New("illuminant or observer is not set: colors mean nothing without"))
	case t.Condition != t.Condition.With(""):
		return fault("Condition", string(t.Condition), errors.New("not known; ParseCondition finds the words that are"))
	case t.Kind != Spectral && t.Grid != (colorimetry.Grid{}):
		return fault("Grid", t.Grid.String(), fmt.Errorf("readings of kind %s have no wavelengths: leave it zero, or set Kind to %s", t.Kind, Spectral))
	case t.Kind == Spectral:
		if err := t.Grid.Check(); err != nil {
			return fault("Grid", "", err)
		}
	}
	return nil
}

// factorsOf is the one process of the lots that carry settings, and whether they state
// it: where none does it is own, and columns of others may be there. It is nil where
// nothing is known of it.
func (t *Table) factorsOf(own *Process) (p *Process, stated bool, err error) {
	id := ""
	for i := range t.Lots {
		l := &t.Lots[i]
		switch {
		case !carriesSettings(l.Role) || l.Process == "" || l.Process == id:
		case id != "":
			return nil, false, t.fault(l, "process", l.Process, fmt.Errorf("%w: earlier lots are %s; a table holds one process", ErrWrongProcess, id))
		default:
			id = l.Process
		}
	}
	switch {
	case own.ID != "" && (id == "" || id == own.ID):
		return own, id != "", nil
	case own.ID != "":
		return nil, false, nil // the caller says so
	}
	if known, err := LookupProcess(id); err == nil {
		return &known, true, nil
	}
	return nil, false, nil // Fit says so; other lots may be of a process file
}

// checkLot refuses settings and readings that cannot be.
func (t *Table) checkLot(l *Lot, process *Process, stated bool, weights *colorimetry.Weights) error {
	for _, column := range slices.Sorted(maps.Keys(l.Settings)) {
		v := l.Settings[column]
		f, known := Factor{}, false
		if process != nil {
			f, known = process.Factor(column)
		}
		if !known {
			f = Factor{Column: column, Transform: Linear}
		}
		err := checkSetting(f, l.Role, v)
		if !known && stated {
			err = fmt.Errorf("%w for %s%s", ErrUnknownFactor, process.ID, didYouMean(column, process.columns()))
		}
		if err != nil {
			return t.fault(l, column, fmt.Sprint(v), fmt.Errorf("lot %q: %w", l.ID, err))
		}
	}
	for j := range l.Panels {
		p := &l.Panels[j]
		if loss := p.TensileLossPct; loss != nil {
			if err := checkTensile(*loss); err != nil {
				return t.fault(l, "tensile_loss_pct", fmt.Sprint(*loss), fmt.Errorf("lot %q, panel %q: %w", l.ID, p.ID, err))
			}
		}
		for k := range p.Readings {
			r := &p.Readings[k]
			column, value, err := r.check(t, weights)
			if err != nil {
				fault := t.fault(l, column, value, fmt.Errorf("lot %q, panel %q: %w", l.ID, p.ID, err))
				fault.Row = cmp.Or(r.Row, l.Row)
				return fault
			}
		}
	}
	return nil
}

// sameColor is how far L*, a* and b* that were rounded, or worked out by another processor,
// may lie from those of the spectrum.
const sameColor = 0.01

// check refuses a reading that cannot be, or not of t.
func (r *Reading) check(t *Table, weights *colorimetry.Weights) (column, value string, err error) {
	if err := checkWord(r.Stage, stages()); err != nil {
		return "stage", r.Stage, err
	}
	if err := checkWord(r.State, states()); err != nil {
		return "state", r.State, err
	}
	lo, hi := labLimits()
	if t.Kind != LabKind { // of no X, Y, Z that is read, and no spectrum, is a color beyond
		const rounding = 1e-9
		lo, hi = [3]float64{-rounding, -colorLimit, -colorLimit}, [3]float64{hi[0], colorLimit, colorLimit}
	}
	for n, v := range [3]float64{r.Lab.L, r.Lab.A, r.Lab.B} {
		if err := inRange(v, lo[n], hi[n]); err != nil {
			return colorColumns(LabKind)[n], fmt.Sprint(v), err
		}
	}
	if t.Kind != Spectral {
		if r.Spectrum != nil {
			return "Spectrum", "", fmt.Errorf("the table holds no spectra but readings of kind %s: set Kind to %s and Grid, or leave it nil", t.Kind, Spectral)
		}
		return "", "", nil
	}
	s := colorimetry.Spectrum{Grid: t.Grid, Values: r.Spectrum}
	if err := s.Check(); err != nil {
		return "Spectrum", "", fmt.Errorf("%w; a Reading takes factors, percent divided by 100", err)
	}
	is := weights.Lab(r.Spectrum)
	if d := max(math.Abs(is.L-r.Lab.L), math.Abs(is.A-r.Lab.A), math.Abs(is.B-r.Lab.B)); d > sameColor {
		return "L", fmt.Sprint(r.Lab.L), fmt.Errorf("the color is not that of the spectrum under %s, which has L* %.2f, a* %.2f, b* %.2f: call Table.ColorSpectra, which works it out for all readings", t.Viewing, is.L, is.A, is.B)
	}
	return "", "", nil
}

// checkLightness refuses a table whose lightness lies on another scale; a single lot
// may be a part of one that does not.
func (t *Table) checkLightness() error {
	if t.Kind != LabKind || len(t.Lots) < 2 {
		return nil
	}
	top := 0.0
	for i := range t.Lots {
		for j := range t.Lots[i].Panels {
			for _, r := range t.Lots[i].Panels[j].Readings {
				top = math.Max(top, r.Lab.L)
			}
		}
	}
	if top == 0 || top > 1 {
		return nil
	}
	return &RowError{File: t.name(), Column: "L", Err: errLightness(top)}
}

// weights give the colors of the table's spectra; nil where it has none.
func (t *Table) weights() (*colorimetry.Weights, error) {
	if t.Kind != Spectral {
		return nil, nil
	}
	w, err := colorimetry.NewWeights(t.Viewing, t.Grid)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", t.name(), err)
	}
	return w, nil
}

// ColorSpectra works out the color of every reading of a table of spectra under its
// Viewing, as [FromSheet] does, and overwrites what Lab holds. It is for tables that a
// program makes.
func (t *Table) ColorSpectra() error {
	if t.Kind != Spectral {
		return fmt.Errorf("%s holds no spectra but readings of kind %q", t.name(), t.Kind)
	}
	w, err := t.weights()
	if err != nil {
		return err
	}
	for i := range t.Lots {
		for j := range t.Lots[i].Panels {
			p := &t.Lots[i].Panels[j]
			for k := range p.Readings {
				if n := len(p.Readings[k].Spectrum); n != t.Grid.N {
					return t.fault(&t.Lots[i], "Spectrum", "", fmt.Errorf("lot %q, panel %q: grid %s needs %d values, have %d", t.Lots[i].ID, p.ID, t.Grid, t.Grid.N, n))
				}
				p.Readings[k].Lab = w.XYZ(p.Readings[k].Spectrum).Lab(w.White())
			}
		}
	}
	return nil
}
