package discharge

import (
	"cmp"
	"fmt"
	"maps"
	"slices"

	"example.com/dosetone/colorimetry"
)

// Settings are the factor values of one lot, keyed by the file's column name,
// which carries the unit: {"strength_pct": 4, "ratio": 1, "time_min": 15}.
type Settings map[string]float64

// Clone returns an independent copy.
func (s Settings) Clone() Settings { return maps.Clone(s) }

// Role says what the readings of a lot stand for.
type Role string

// The roles a reading may have.
const (
	Base       Role = "base"        // prepared garment before discharge
	Blank      Role = "blank"       // whole process without oxidizer
	White      Role = "white"       // fully discharged: the end of the road
	Trial      Role = "trial"       // a lot to learn from
	Standard   Role = "standard"    // the buyer's approved shade
	LightLimit Role = "light_limit" // the lightest approved
	DarkLimit  Role = "dark_limit"  // the darkest approved
	Production Role = "production"  // a lot to be judged
)

// Roles lists every role in the order of the life of a garment.
func Roles() []Role {
	return []Role{Base, Blank, White, Trial, Standard, LightLimit, DarkLimit, Production}
}

// Known reports whether r is one of [Roles].
func (r Role) Known() bool { return slices.Contains(Roles(), r) }

// ReadingKind is the form in which a table's colors were measured.
type ReadingKind string

// The kinds of reading.
const (
	Spectral ReadingKind = "spectrum" // reflectance factor on Table.Grid
	LabKind  ReadingKind = "lab"      // L, a, b under a stated viewing
	XYZKind  ReadingKind = "xyz"      // X, Y, Z under a stated viewing
	Swatch   ReadingKind = "swatch"   // sRGB 0-255, D65/2 by definition
)

// Reading is one measurement of one spot.
type Reading struct {
	Position string
	Stage    string          // discharged, neutralized, brightened, finished; "" means finished
	State    string          // dry or damp; "" means dry
	Spectrum []float64       // reflectance factor 0..2 on Table.Grid; nil unless the table is Spectral
	Lab      colorimetry.Lab // under Table.Viewing
	Row      int             // line in the file, for messages; 0 if not from a file
}

// Panel is a garment or leg panel of a lot.
type Panel struct {
	ID             string
	Readings       []Reading
	TensileLossPct *float64 // nil when not tested
}

// Lot is one machine load run at one setting, or the readings of a base, a
// white or a standard, which need no settings.
type Lot struct {
	ID       string
	Role     Role
	Process  string
	Fabric   string
	Machine  string
	Settings Settings
	Panels   []Panel
	Row      int    // first line in the file
	File     string `json:",omitempty"` // of that line, where tables were joined; "" means Table.Name
}

// fault is an error or a warning about a lot of t, with the place where it was read.
func (t *Table) fault(l *Lot, column, value string, err error) *RowError {
	return &RowError{File: cmp.Or(l.File, t.name()), Row: l.Row, Column: column, Value: value, Err: err}
}

// Readings returns the lot's readings in order. The spectra are shared.
func (l Lot) Readings() []Reading {
	var all []Reading
	for _, p := range l.Panels {
		all = append(all, p.Readings...)
	}
	return all
}

// Table is a set of lots read under one viewing. Two rows with the same lot
// and role belong to one Lot; a trial lot may also appear with role base,
// holding the base readings of that very load. A program may make one of its own
// ([Table.Check]).
type Table struct {
	Name      string // file name, for messages
	Kind      ReadingKind
	Viewing   colorimetry.Viewing // of every Lab in the table
	Condition Condition           // of every reading; "" when not stated
	Grid      colorimetry.Grid    // of every spectrum; zero unless Kind is Spectral
	Lots      []Lot               // in file order
	Ignored   []string            // columns kept aside because their meaning is not known
	Warnings  []error
}

// Join is a table with the lots of both, such as those of last month's file and of this
// one's. They must hold one kind of reading under one viewing, spectra on one grid,
// and no trial or production lot in both; such a lot with the very readings of one in the
// other under another name is warned of. Neither changes; readings are shared.
func (t *Table) Join(more *Table) (*Table, error) {
	if t == nil || more == nil {
		return nil, errNoTable
	}
	differ := func(what string, a, b any) error {
		return fmt.Errorf("%s holds %s %v, %s %v: only files that agree in that are learned from together", t.name(), what, a, more.name(), b)
	}
	switch {
	case t.Kind != more.Kind:
		return nil, differ("readings of kind", t.Kind, more.Kind)
	case t.Viewing != more.Viewing:
		return nil, differ("colors under", t.Viewing, more.Viewing)
	case t.Grid != more.Grid:
		return nil, differ("spectra on", t.Grid, more.Grid)
	}
	if err := t.Condition.Against(t.name(), more.Condition, more.name()); err != nil {
		return nil, err
	}
	process := t.process()
	for _, l := range more.Lots {
		if l.Process != "" && process != "" && l.Process != process {
			return nil, more.fault(&l, "process", l.Process, fmt.Errorf("the lots of %s are of %s: a model is of one process", t.name(), process))
		}
	}
	for _, each := range []*Table{t, more} {
		if err := each.Check(); err != nil {
			return nil, err
		}
	}
	mine, theirs := t.run(), more.run()
	for _, l := range theirs {
		if slices.ContainsFunc(mine, func(o Lot) bool { return o.ID == l.ID }) {
			return nil, more.fault(&l, "lot", l.ID, fmt.Errorf("%s has a lot of that name, too: rename one, or name the file once", t.name()))
		}
	}
	out := *t
	out.Name = t.name() + ", " + more.name()
	out.Condition = t.Condition.With(more.Condition)
	out.Lots = slices.Concat(t.named(), more.named())
	out.Ignored = slices.Concat(t.Ignored, more.Ignored)
	out.Warnings = slices.Concat(t.Warnings, more.Warnings)
	both := out.run()
	for _, pair := range twins(both, t.Kind) {
		if pair[0] < len(mine) && pair[1] >= len(mine) { // others are told with their own table
			first, l := &both[pair[0]], &both[pair[1]]
			out.Warnings = append(out.Warnings, out.fault(l, "lot", l.ID, twinFault(l, first, first.File+", "+place(first.Row))))
		}
	}
	if doubts := doubtMixture(&out, site{}, nameOne); len(doubtMixture(t, site{}, nameOne))+len(doubtMixture(more, site{}, nameOne)) == 0 {
		out.Warnings = append(out.Warnings, doubts...)
	}
	return &out, nil
}

// named are the lots of t, each with the name of its file.
func (t *Table) named() []Lot {
	lots := slices.Clone(t.Lots)
	for i := range lots {
		lots[i].File = cmp.Or(lots[i].File, t.name())
	}
	return lots
}

// run are the trial and production lots, in file order.
func (t *Table) run() []Lot {
	return slices.DeleteFunc(slices.Clone(t.Lots), func(l Lot) bool { return l.Role != Trial && l.Role != Production })
}

// process is that of the lots, "" where none says.
func (t *Table) process() string {
	for _, l := range t.Lots {
		if l.Process != "" {
			return l.Process
		}
	}
	return ""
}

// WithProduction is the table with its production lots as trial lots, so that a fit
// or a recalibration learns from them, too. Lots without settings teach nothing and
// stay as they are; left names them. t does not change, but readings are shared.
func (t *Table) WithProduction() (all *Table, left []string) {
	out := *t
	out.Lots = slices.Clone(t.Lots)
	for i := range out.Lots {
		switch l := &out.Lots[i]; {
		case l.Role != Production:
		case len(l.Settings) == 0:
			left = append(left, l.ID)
		default:
			l.Role = Trial
		}
	}
	return &out, left
}

// ByRole returns the lots with that role, in file order.
func (t *Table) ByRole(r Role) []Lot {
	var lots []Lot
	for _, l := range t.Lots {
		if l.Role == r {
			lots = append(lots, l)
		}
	}
	return lots
}
