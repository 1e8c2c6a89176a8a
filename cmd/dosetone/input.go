package main

import (
	"bytes"
	"errors"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"example.com/dosetone/discharge"
)

// readFlags are the flags about what a file does not say itself.
type readFlags struct {
	percent reflectance
	viewing viewing
}

func (f *readFlags) register(cmd *cobra.Command) {
	cmd.Flags().Var(&f.percent, "reflectance", "scale of spectra in a file without a unit column")
	cmd.Flags().Var(&f.viewing, "viewing", "viewing of the colors, such as D65/10; default: the file's, or D65/10 for spectra")
}

// tableFlags say how tables are to be read.
type tableFlags struct {
	sheets    []string // of the workbooks, in the order in which they are read
	next      int      // the next one's place in sheets
	wide      bool
	lots      string
	condition condition // of the readings to take; "" for all
}

// registerTables adds the flags of a command that reads tables.
func (e *env) registerTables(cmd *cobra.Command) {
	cmd.Flags().StringArrayVar(&e.tables.sheets, "sheet", nil, "sheet of an XLSX workbook (default its first), table of a CGATS file (its number), or color specification of a CxF file (its Id); repeat it for a second file")
	if cmd.Name() != "predict" { // whose table holds settings
		cmd.Flags().Var(&e.tables.condition, "condition", "measurement condition of the readings to take, such as SCE or M1: those of another are left out, those that state none are taken to be of it")
		cmd.Flags().BoolVar(&e.tables.wide, "wide", false, "tables have one column per reading, as some instruments export them, and are turned")
	}
}

// registerLots adds the flag of a command that reads lots.
func (e *env) registerLots(cmd *cobra.Command) {
	cmd.Flags().StringVar(&e.tables.lots, "lot-list", "", "table of the lots with their roles and settings, for readings that name only their lot (or are named lot/panel/position)")
}

// registerProduction adds the flag to learn from production lots.
func registerProduction(cmd *cobra.Command, production *bool) {
	cmd.Flags().BoolVar(production, "production", false, "learn from the lots with role production, too")
}

// learning is a table as it is learned from, and says of its production lots whether
// they count.
func (e *env) learning(t *discharge.Table, production bool) *discharge.Table {
	n := len(t.ByRole(discharge.Production))
	switch {
	case n == 0 && production:
		e.warn("%s has no lot with role %s", t.Name, discharge.Production)
	case n > 0 && !production:
		e.warn("%s: %d %s with role %s %s not learned from; --production learns from %s, too", t.Name,
			n, plural(n, "lot", "lots"), discharge.Production, plural(n, "is", "are"), plural(n, "it", "them"))
	case n > 0:
		all, left := t.WithProduction()
		if len(left) > 0 {
			e.warn("%s: nothing is learned from production %s %s, which %s no settings", t.Name,
				plural(len(left), "lot", "lots"), strings.Join(left, ", "), plural(len(left), "has", "have"))
		}
		return all
	}
	return t
}

// lotSheet reads a table of readings and joins what --lot-list says of their lots.
func (e *env) lotSheet(name string) (*discharge.Sheet, error) {
	if e.tables.lots == "" {
		return e.sheet(name)
	}
	data, err := e.read(name)
	if err != nil {
		return nil, err
	}
	s, err := e.parseAs(name, data, e.tables.wide)
	if err != nil {
		return nil, err
	}
	if data, err = e.read(e.tables.lots); err != nil {
		return nil, err
	}
	lots, err := e.parseAs(e.tables.lots, data, false)
	if err != nil {
		return nil, err
	}
	if s, err = s.WithLots(lots); err != nil {
		return nil, err
	}
	return e.tables.condition.of(s)
}

// idleLots gathers which lots of a list the files so far have no reading of.
type idleLots struct {
	row  *discharge.RowError
	lots discharge.IdleLots
	none bool // left
}

// take takes the warning about them from a file's sheet.
func (i *idleLots) take(s *discharge.Sheet) {
	var lots discharge.IdleLots
	s.Warnings = slices.DeleteFunc(s.Warnings, func(w error) bool {
		if !errors.As(w, &lots) {
			return false
		}
		if i.row == nil {
			errors.As(w, &i.row)
			i.lots = lots
		}
		return true
	})
	i.lots = slices.DeleteFunc(slices.Clone(i.lots), func(name string) bool { return !slices.Contains(lots, name) })
	i.none = i.none || len(lots) == 0
}

// inAll is the warning about those that no file had.
func (i *idleLots) inAll() []error {
	if i.row == nil || i.none || len(i.lots) == 0 {
		return nil
	}
	return []error{&discharge.RowError{File: i.row.File, Err: i.lots}}
}

// condition is the measurement condition that a flag names.
type condition discharge.Condition

func (c *condition) String() string { return string(*c) }

func (c *condition) Type() string { return "condition" }

func (c *condition) Set(s string) error {
	if *c = condition(discharge.ParseCondition(s)); *c == "" {
		return errors.New("want M0, M1, M2, M3, SCI, SCE, sphere or 45/0, or two such as \"M1 45/0\"")
	}
	return nil
}

// of takes the readings of a condition, if one was asked for.
func (c condition) of(s *discharge.Sheet) (*discharge.Sheet, error) {
	if c == "" {
		return s, nil
	}
	return s.UnderCondition(discharge.Condition(c))
}

// readProcess reads a process file; name "" means none.
func (e *env) readProcess(name string) (*discharge.Process, error) {
	if name == "" {
		return nil, nil
	}
	data, err := e.read(name)
	if err != nil {
		return nil, err
	}
	p, err := discharge.ReadProcess(shown(name), bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	return &p, nil
}

// columnOf is the place of the column of that name in a sheet, -1 where there is none.
func columnOf(s *discharge.Sheet, name string) int {
	return slices.IndexFunc(s.Header, func(h string) bool { return strings.EqualFold(strings.TrimSpace(h), name) })
}

// hasColumn reports whether a sheet has a column of that name.
func hasColumn(s *discharge.Sheet, name string) bool { return columnOf(s, name) >= 0 }

// readTargetsUnder reads target shades for a model. Spectra are seen under its
// viewing; other readings must be under it, and are taken to be when neither
// the file nor v says; the zero v says nothing.
func (e *env) readTargetsUnder(name string, m *discharge.Model, percent bool, v viewing) ([]discharge.Target, error) {
	s, err := e.sheet(name)
	if err != nil {
		return nil, err
	}
	opt := &discharge.ReadOptions{Viewing: m.Viewing(), Percent: percent, Processes: ownProcess(m)}
	said := v != viewing{}
	if said {
		opt.Viewing = v.Viewing
	}
	if !hasColumn(s, "process") {
		opt.Process = m.Process().ID
	}
	list, err := discharge.TargetsFromSheet(s, opt)
	if err != nil {
		return nil, err
	}
	e.warnAll(list.Warnings)
	if said && v.Viewing != m.Viewing() && list.Items[0].Spectrum != nil {
		e.warn("%s: the spectra are seen under the model's %s, not %s: to aim at the shade under another light, fit the trials with --viewing %[3]s", shown(name), m.Viewing(), v.Viewing)
	}
	if !said && list.Items[0].Spectrum == nil && !statesViewing(s) {
		e.warn("%s: no columns illuminant and observer: the colors are taken to be under the model's %s", shown(name), m.Viewing())
	}
	return list.Items, nil
}

// statesViewing reports whether a sheet says under which viewing its colors are.
func statesViewing(s *discharge.Sheet) bool {
	return hasColumn(s, "illuminant") || hasColumn(s, "viewing") || hasColumn(s, "red")
}

// ownProcess is the process of a model if it is the user's own; tables that name it are
// read with it.
func ownProcess(m *discharge.Model) []discharge.Process {
	if p := m.Process(); !builtIn(p) {
		return []discharge.Process{p}
	}
	return nil
}

func builtIn(p discharge.Process) bool {
	_, err := discharge.LookupProcess(p.ID)
	return err == nil
}
