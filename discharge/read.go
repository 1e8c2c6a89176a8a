package discharge

import (
	"cmp"
	"errors"
	"fmt"
	"hash/maphash"
	"io"
	"math"
	"slices"
	"strings"

	"example.com/dosetone/colorimetry"
)

// ReadOptions states what a file does not say itself. Nil means the zero value.
type ReadOptions struct {
	Process   string              // when the file has no process column; must not contradict it
	Viewing   colorimetry.Viewing // for spectra, zero means D65/10; for L, a, b and X, Y, Z needed unless in the file; of several there, the one to read
	Percent   bool                // reflectance is in percent where the file has no unit column or an empty cell there
	Processes []Process           // the user's own, besides the built-in ones
}

// ReadTable reads a trial table, one row per reading, from a text file (see
// [ReadCSV] for its dialects); name is used in messages.
//
// Columns, in any order and case: lot and role must be there; process, fabric,
// machine, panel, position, stage, state and tensile_loss_pct may be; then the
// factors of the process, named with their unit as in [Processes]; then one
// kind of reading: R400 … R700 on any grid of 1, 2, 5, 10 or 20 nm (factor
// 0 to 1, or percent when the unit column says so), or L, a, b or X, Y, Z with
// illuminant and observer, or with both in one column viewing, such as D65/10, or
// red, green, blue from 0 to 255. Of L, a, b or X, Y, Z under several viewings the rows
// under that of the options are read. A column condition may say how was measured (see
// [Condition]), alike in all rows that say it; a column of no known meaning in which
// every cell does is read like it, with a warning.
//
// Rows of the same lot and role make one [Lot]; what holds for the whole lot
// may be written in one of its rows only, but must not contradict itself. The
// stage "finished" and the state "dry" are stored as "". The first fault is
// returned as a [RowError]; doubts are in Table.Warnings.
func ReadTable(name string, r io.Reader, opt *ReadOptions) (*Table, error) {
	s, err := ReadCSV(name, r)
	if err != nil {
		return nil, err
	}
	return FromSheet(s, opt)
}

// FromSheet makes a trial table of a sheet, as [ReadTable] does.
func FromSheet(s *Sheet, opt *ReadOptions) (*Table, error) {
	l, err := newLayout(s, opt)
	if err != nil {
		return nil, err
	}
	return l.table()
}

// table gathers the rows into lots.
func (l *layout) table() (*Table, error) {
	if err := l.notTurned(); err != nil {
		return nil, err
	}
	if err := l.need("lot", "the name of the machine load, or give a list of lots (--lot-list)"); err != nil {
		return nil, err
	}
	if err := l.need("role", "one of "+roleWords()+" for every row, here or in a list of lots (--lot-list)"); err != nil {
		return nil, err
	}
	c, err := newColors(l)
	if err != nil {
		return nil, err
	}
	b := &lotBuilder{colors: c, lots: map[lotKey]int{}, panels: map[panelKey]int{}, seen: map[readingKey]bool{}, seed: maphash.MakeSeed()}
	if err := b.findProcess(); err != nil {
		return nil, err
	}
	conditions := l.readConditions()
	condition, err := l.oneCondition(conditions)
	if err != nil {
		return nil, err
	}
	l.doubtConditions(conditions)
	for i := range l.Rows {
		if err := b.add(i); err != nil {
			return nil, err
		}
	}
	if err := b.checkLots(); err != nil {
		return nil, err
	}
	if err := b.doubt(); err != nil {
		return nil, err
	}
	b.advise()
	l.keepAside()
	c.finish()
	return &Table{Name: l.Name, Kind: l.kind, Viewing: c.viewing, Condition: condition, Grid: l.grid,
		Lots: b.table, Ignored: l.ignored, Warnings: l.warnings}, nil
}

func roleWords() string {
	var words []string
	for _, r := range Roles() {
		words = append(words, string(r))
	}
	return strings.Join(words, ", ")
}

type lotKey struct {
	id   string
	role Role
}

type panelKey struct {
	lot int
	id  string
}

type readingKey struct {
	lotKey
	panel, position, stage, state string
	values                        uint64
}

// lotBuilder gathers rows into lots.
type lotBuilder struct {
	*colors
	process *Process // of the lots with settings; nil when none is stated
	table   []Lot
	lots    map[lotKey]int
	panels  map[panelKey]int
	seen    map[readingKey]bool
	seed    maphash.Seed
	copies  []int            // lines that repeat an earlier one, value for value
	lines   []map[string]int // per lot, where each column was first given
}

// role reads the role of row i.
func (b *lotBuilder) role(i int) (Role, error) {
	text := b.text(i, "role")
	r := Role(strings.ToLower(text))
	if r.Known() {
		return r, nil
	}
	var words []string
	for _, known := range Roles() {
		words = append(words, string(known))
	}
	hint := didYouMean(text, words)
	if hint == "" {
		hint = "; want one of " + roleWords()
	}
	if text == "" {
		return "", b.fault(b.Lines[i], "role", "", errors.New("the cell is empty"+hint))
	}
	return "", b.fault(b.Lines[i], "role", clip(text), errors.New("the role is not known"+hint))
}

// add reads row i.
func (b *lotBuilder) add(i int) error {
	role, err := b.role(i)
	if err != nil {
		return err
	}
	key := lotKey{b.text(i, "lot"), role}
	if key.id == "" {
		return b.fault(b.Lines[i], "lot", "", errors.New("the cell is empty: name the lot; rows of one name and role belong together"))
	}
	n, ok := b.lots[key]
	if !ok {
		n = len(b.table)
		b.lots[key] = n
		b.table = append(b.table, Lot{ID: key.id, Role: role, Row: b.Lines[i]})
		b.lines = append(b.lines, map[string]int{})
	}
	if err := b.describe(i, n); err != nil {
		return err
	}
	if err := b.settings(i, n); err != nil {
		return err
	}
	return b.reading(i, n, key)
}

// describe merges what the row says of the whole lot.
func (b *lotBuilder) describe(i, n int) error {
	lot := &b.table[n]
	for _, f := range []struct {
		column string
		have   *string
	}{{"fabric", &lot.Fabric}, {"machine", &lot.Machine}} {
		text := b.text(i, f.column)
		if text != "" && *f.have != "" && text != *f.have {
			return b.contradiction(i, n, f.column, *f.have)
		}
		if text != "" && *f.have == "" {
			*f.have = text
			b.lines[n][f.column] = b.Lines[i]
		}
	}
	id := strings.ToLower(b.text(i, "process"))
	if id == "" && carriesSettings(lot.Role) && b.process != nil {
		id = b.process.ID
	}
	if id == "" {
		return nil
	}
	p, err := b.lookup(id)
	if err != nil {
		return b.fault(b.Lines[i], "process", clip(id), err)
	}
	if lot.Process != "" && lot.Process != p.ID {
		return b.contradiction(i, n, "process", lot.Process)
	}
	lot.Process = p.ID
	b.lines[n]["process"] = cmp.Or(b.lines[n]["process"], b.Lines[i])
	return nil
}

func (b *lotBuilder) contradiction(i, n int, column, have string) error {
	return b.fault(b.Lines[i], column, clip(b.text(i, column)), fmt.Errorf("lot %q has %s in %s: a lot has one; give the other load its own lot name", b.table[n].ID, have, place(b.lines[n][column])))
}

// reading adds the color of row i to its panel.
func (b *lotBuilder) reading(i, n int, key lotKey) error {
	color, err := b.row(i)
	if err != nil {
		return err
	}
	r := Reading{Position: b.text(i, "position"), Spectrum: color.spectrum, Lab: color.lab, Row: b.Lines[i]}
	if r.Stage, err = b.word(i, "stage", stages()); err != nil {
		return err
	}
	if r.State, err = b.word(i, "state", states()); err != nil {
		return err
	}
	lot := &b.table[n]
	panel := b.text(i, "panel")
	k, ok := b.panels[panelKey{n, panel}]
	if !ok {
		k = len(lot.Panels)
		b.panels[panelKey{n, panel}] = k
		lot.Panels = append(lot.Panels, Panel{ID: panel})
	}
	p := &lot.Panels[k]
	if err := b.tensile(i, lot, p); err != nil {
		return err
	}
	p.Readings = append(p.Readings, r)

	same := readingKey{key, panel, r.Position, r.Stage, r.State, b.hash(color)}
	if b.seen[same] {
		b.copies = append(b.copies, b.Lines[i])
	}
	b.seen[same] = true
	return nil
}

func (b *lotBuilder) hash(r reading) uint64 {
	var h maphash.Hash
	h.SetSeed(b.seed)
	for _, v := range append([]float64{r.lab.L, r.lab.A, r.lab.B}, r.spectrum...) {
		maphash.WriteComparable(&h, math.Float64bits(v))
	}
	return h.Sum64()
}

// stages and states are the words that a reading may have for them, the usual one last.
func stages() []string { return []string{"discharged", "neutralized", "brightened", "finished"} }
func states() []string { return []string{"damp", "dry"} }

// word reads a cell that may hold one of a few words; the last is stored as "".
func (b *lotBuilder) word(i int, column string, words []string) (string, error) {
	text := strings.ToLower(b.text(i, column))
	if err := checkWord(text, words); err != nil {
		return "", b.fault(b.Lines[i], column, clip(text), err)
	}
	if text == words[len(words)-1] {
		return "", nil
	}
	return text, nil
}

// checkWord refuses a text that is none of the words, and not empty.
func checkWord(text string, words []string) error {
	if text == "" || slices.Contains(words, text) {
		return nil
	}
	return fmt.Errorf("not known; want one of %s%s", strings.Join(words, ", "), didYouMean(text, words))
}

// checkTensile refuses a loss of strength in percent that cannot be.
func checkTensile(v float64) error {
	if !(v >= -100 && v <= 100) {
		return errors.New("out of range: want -100 to 100 %, a loss being positive")
	}
	return nil
}

// tensile reads the strength loss of a panel, which may stand in any of its rows.
func (b *lotBuilder) tensile(i int, lot *Lot, p *Panel) error {
	const column = "tensile_loss_pct"
	if b.text(i, column) == "" {
		return nil
	}
	v, err := b.number(i, b.col[column])
	if err != nil {
		return err
	}
	if err := checkTensile(v); err != nil {
		return b.cellFault(i, b.col[column], err)
	}
	if p.TensileLossPct != nil && *p.TensileLossPct != v {
		return b.cellFault(i, b.col[column], fmt.Errorf("panel %q of lot %q has %g in an earlier row: a panel has one", p.ID, lot.ID, *p.TensileLossPct))
	}
	p.TensileLossPct = &v
	return nil
}
