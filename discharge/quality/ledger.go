package quality

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/quantile"
)

// Entry is one judged lot in a ledger. Numbers that are not known are nil.
type Entry struct {
	Lot, Checked             string // Checked is when, as the writer writes it (RFC 3339)
	Fabric, Machine, Process string
	Model                    string // digest of the model, "" without
	DeltaE                   float64
	Verdict                  Decision
	First                    Decision // the verdict before the lot was discharged again, "" if it was not
	Panels                   int      // judged from; 0 in ledgers of before, which did not say
	Cause                    string   // the likeliest, "" without
	FirstCause, FirstChecked string   // those of First
	// Against what the lot was judged; "", 0 and nil in ledgers of before, which did not say.
	Standard     string
	Tolerance    float64
	Nearest      *float64 // DeltaE from the nearest approved shade, by which Verdict was found
	DoseResidual *float64 // ln of dose over what the settings promise
	DoseSD       *float64 // its standard deviation for good lots
	DoseZ        *float64
	OffA, OffB   *float64 // off the path at the lot's lightness
	OffZ         *float64 // normal deviate of the squared distance

	more []string // cells of columns that the laundry added, as Ledger.more names them
}

// Ledger is the record of judged lots, in time order.
type Ledger struct {
	Entries  []Entry
	Warnings []error // what is doubtful in the file that was read

	more []string // columns that the laundry added to the file, such as remarks: kept as they are
}

// ErrInLedger says that a lot is in the ledger already.
var ErrInLedger = errors.New("the lot is in the ledger already")

var errNoLot = errors.New("a lot without a name cannot enter the ledger")

func ledgerHeader() []string {
	return []string{"lot", "checked", "fabric", "machine", "process", "model", "delta_e", "verdict", "cause",
		"dose_residual", "dose_sd", "dose_z", "off_a", "off_b", "off_z", firstColumn, panelsColumn, firstCauseColumn, firstCheckedColumn, standardColumn, toleranceColumn, nearestColumn}
}

// Columns that ledgers of before lack.
const (
	panelsColumn     = "panels"
	firstColumn      = "first_verdict"
	firstCauseColumn = "first_cause"
	standardColumn   = "standard"
	toleranceColumn  = "tolerance"
	nearestColumn    = "delta_e_nearest"

	firstCheckedColumn = "first_checked"
)

func newerColumns() []string {
	return []string{panelsColumn, firstColumn, firstCauseColumn, standardColumn, toleranceColumn, nearestColumn, firstCheckedColumn}
}

// maxZ bounds the deviates that charts see: a lot far out counts as an alarm,
// not as a number that drowns all later ones.
const maxZ = 8

// NewEntry makes the ledger's line of a report.
func NewEntry(r *Report, lot discharge.Lot, m *discharge.Model, checked string) Entry {
	e := Entry{Lot: lot.ID, Checked: checked, Fabric: lot.Fabric, Machine: lot.Machine, Process: lot.Process, DeltaE: r.DeltaE, Verdict: r.Verdict.Decision, Panels: len(r.Panels),
		Standard: r.StandardID, Tolerance: r.Tolerance, Nearest: &r.Decisive}
	if len(r.Causes) > 0 {
		e.Cause = string(r.Causes[0].Fault)
	}
	if m == nil || r.Split == nil {
		return e
	}
	e.Model = m.Digest()
	s := r.Split
	e.OffA, e.OffB = &s.OffA, &s.OffB
	// The survival function keeps its digits far out.
	z := -quantile.Normal(distuv.ChiSquared{K: 2}.Survival(s.OffT2))
	z = min(max(z, -maxZ), maxZ)
	if math.IsNaN(z) {
		z = maxZ
	}
	e.OffZ = &z
	if s.Residual != nil && s.ResidualUsable {
		d, sd, dz := s.Residual.LnDose, s.residualTotalSD, min(max(s.ResidualZ, -maxZ), maxZ)
		e.DoseResidual, e.DoseSD, e.DoseZ = &d, &sd, &dz
	}
	return e
}

// check refuses what [ReadLedger] would, with the column it is about.
func (e *Entry) check() (column, value string, err error) {
	verdicts := []Decision{Accept, Reject, MeasureMore}
	switch {
	case e.Lot == "":
		return "lot", "", errNoLot
	case !slices.Contains(verdicts, e.Verdict):
		return "verdict", string(e.Verdict), errors.New("want accept, reject or measure-more")
	case e.First != "" && !slices.Contains(verdicts, e.First):
		return firstColumn, string(e.First), errors.New("want accept, reject, measure-more or nothing")
	case !(e.Tolerance >= 0) || math.IsInf(e.Tolerance, 0):
		return toleranceColumn, exact(&e.Tolerance), errors.New("want a tolerance above 0, or nothing")
	case e.Panels < 0:
		return panelsColumn, strconv.Itoa(e.Panels), errors.New("want the number of panels that were judged, or nothing")
	}
	for _, c := range []struct {
		column string
		v      *float64
	}{{"delta_e", &e.DeltaE}, {nearestColumn, e.Nearest}, {"dose_residual", e.DoseResidual}, {"dose_sd", e.DoseSD}, {"dose_z", e.DoseZ}, {"off_a", e.OffA}, {"off_b", e.OffB}, {"off_z", e.OffZ}} {
		if c.v != nil && !finite(*c.v) {
			return c.column, exact(c.v), errors.New("want a finite number")
		}
	}
	if (e.DoseZ != nil) != (e.DoseResidual != nil) || (e.DoseZ != nil) != (e.DoseSD != nil) || e.DoseSD != nil && *e.DoseSD <= 0 {
		return "dose_sd", "", errors.New("dose_residual, dose_sd (above 0) and dose_z belong together")
	}
	return "", "", nil
}

// survives reports whether the entry is read as it was written: one line that is not makes
// a ledger unreadable.
func (e *Entry) survives() bool {
	alone := *e
	alone.more = nil
	data, err := (&Ledger{Entries: []Entry{alone}}).Bytes()
	if err != nil {
		return false
	}
	back, err := ReadLedger("", bytes.NewReader(data))
	return err == nil && len(back.Entries) == 1 && reflect.DeepEqual(back.Entries[0], alone)
}

// checked is check where there is no file yet.
func (e *Entry) checked() error {
	column, value, err := e.check()
	if err == nil && unguard(strings.TrimSpace(guard(e.Lot))) != e.Lot {
		column, value, err = "lot", e.Lot, errors.New("a name must not begin or end with a blank: it would be read back without")
	}
	if err == nil && !e.survives() {
		column, value, err = "lot", e.Lot, errors.New("a text of it would not be read back as it is: leave out control characters and what is no UTF-8")
	}
	if err == nil || errors.Is(err, errNoLot) {
		return err
	}
	return fmt.Errorf("lot %q cannot enter the ledger: %s %q: %w", e.Lot, column, value, err)
}

// Add appends an entry unless its lot is there already (ErrInLedger). What
// [ReadLedger] would refuse is an error, as it is of Put and Rework.
func (l *Ledger) Add(e Entry) error {
	if err := e.checked(); err != nil {
		return err
	}
	if slices.ContainsFunc(l.Entries, func(o Entry) bool { return o.Lot == e.Lot }) {
		return fmt.Errorf("%w: %s", ErrInLedger, e.Lot)
	}
	l.Entries = append(l.Entries, e)
	return nil
}

// Put adds an entry as [Ledger.Add] does, but a lot that is there as
// [MeasureMore] and is now judged from more panels gets the new entry in the
// place of the old one, which is returned: one line per lot, in the order in
// which lots came. A line of before, which does not say its panels, gives way
// to another verdict only, since the same readings give the same one.
func (l *Ledger) Put(e Entry) (old *Entry, err error) {
	return l.place(e, func(was *Entry) bool {
		more := e.Panels > was.Panels
		if was.Panels == 0 {
			more = e.Verdict != MeasureMore
		}
		return was.Verdict == MeasureMore && more
	})
}

// Replace enters a lot that was judged anew, such as against the right standard, in the place of
// its line, which is returned. A lot that is not there is added. One that was discharged again keeps
// its First, and the dose and place off the path of its first pass, as of [Ledger.Rework].
func (l *Ledger) Replace(e Entry) (old *Entry, err error) {
	if i := slices.IndexFunc(l.Entries, func(o Entry) bool { return o.Lot == e.Lot && o.First != "" }); i >= 0 {
		e.keepFirst(&l.Entries[i])
	}
	return l.place(e, func(*Entry) bool { return true })
}

// keepFirst takes what a line says of the lot's first pass.
func (e *Entry) keepFirst(was *Entry) {
	e.First, e.FirstCause, e.FirstChecked = was.First, was.FirstCause, was.FirstChecked
	e.DoseResidual, e.DoseSD, e.DoseZ, e.OffA, e.OffB, e.OffZ = was.DoseResidual, was.DoseSD, was.DoseZ, was.OffA, was.OffB, was.OffZ
}

// place adds an entry, or puts it where its lot stands, which is returned, if that one may give way.
func (l *Ledger) place(e Entry, mayGiveWay func(was *Entry) bool) (old *Entry, err error) {
	i := slices.IndexFunc(l.Entries, func(o Entry) bool { return o.Lot == e.Lot })
	if i < 0 {
		return nil, l.Add(e)
	}
	if err := e.checked(); err != nil {
		return nil, err
	}
	was := l.Entries[i]
	if !mayGiveWay(&was) {
		return &was, fmt.Errorf("%w: %s", ErrInLedger, e.Lot)
	}
	e.more = was.more
	l.Entries[i] = e
	return &was, nil
}

// Rework enters what became of a lot that was discharged again: its line gets the
// new verdict and keeps, as First with its cause, the one before, and the dose and place off the path of its first
// pass, which are what the settings did. A lot that is not there is added without a dose.
func (l *Ledger) Rework(e Entry) (old *Entry, err error) {
	i := slices.IndexFunc(l.Entries, func(o Entry) bool { return o.Lot == e.Lot })
	if i < 0 {
		e.DoseResidual, e.DoseSD, e.DoseZ, e.OffA, e.OffB, e.OffZ = nil, nil, nil, nil, nil, nil
		return nil, l.Add(e)
	}
	was := l.Entries[i]
	now := was
	now.Checked, now.DeltaE, now.Verdict, now.Panels, now.Cause = e.Checked, e.DeltaE, e.Verdict, e.Panels, e.Cause
	now.Standard, now.Tolerance, now.Nearest = e.Standard, e.Tolerance, e.Nearest
	if was.First == "" {
		now.First, now.FirstCause, now.FirstChecked = was.Verdict, was.Cause, was.Checked
	}
	if err := now.checked(); err != nil {
		return nil, err
	}
	l.Entries[i] = now
	return &was, nil
}

// ReadLedger reads what [Ledger.Bytes] wrote. An empty file is an empty ledger.
// A line below the header that starts with # is an error: it may be a lot, and
// would be lost when the ledger is written again.
func ReadLedger(name string, r io.Reader) (*Ledger, error) {
	data, err := io.ReadAll(io.LimitReader(r, discharge.MaxFileBytes+1))
	if err != nil {
		return nil, err
	}
	l := &Ledger{}
	if len(bytes.TrimSpace(data)) == 0 {
		return l, nil
	}
	sheet, err := discharge.ReadCSV(name, bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	if len(sheet.Skipped) > 0 {
		return nil, &discharge.RowError{File: name, Row: sheet.Skipped[0], Err: errors.New(
			"the line starts with # and would be lost when the ledger is written again: if # belongs to the lot's name, put the name in quotes, otherwise delete the line")}
	}
	l.Warnings = sheet.Warnings
	t := ledgerTable{sheet, map[string]int{}}
	for k, h := range sheet.Header {
		t.at[h] = k
	}
	for _, h := range ledgerHeader() {
		if _, ok := t.at[h]; !ok && !slices.Contains(newerColumns(), h) {
			return nil, t.fault(-1, h, "", errors.New("the ledger lacks this column: it is not a ledger of this tool, or was changed; name another file"))
		}
	}
	var added []int
	for k, h := range sheet.Header {
		if h != "" && !slices.Contains(ledgerHeader(), h) {
			added, l.more = append(added, k), append(l.more, h)
		}
	}
	there := map[string]bool{} // Add would look through all entries for each
	for i := range sheet.Rows {
		e, err := t.entry(i)
		if err != nil {
			return nil, err
		}
		if there[e.Lot] {
			return nil, t.fault(i, "lot", e.Lot, fmt.Errorf("%w: %s", ErrInLedger, e.Lot))
		}
		there[e.Lot] = true
		for _, k := range added {
			e.more = append(e.more, t.in(i, k))
		}
		l.Entries = append(l.Entries, e)
	}
	return l, nil
}

// ledgerTable is a ledger's file at work.
type ledgerTable struct {
	*discharge.Sheet
	at map[string]int // columns by name
}

// fault places an error in row i, or in the header where i is -1.
func (t ledgerTable) fault(i int, column, value string, err error) error {
	line := t.HeaderLine
	if i >= 0 {
		line = t.Lines[i]
	}
	return &discharge.RowError{File: t.Name, Row: line, Column: column, Value: value, Err: err}
}

// cell is "" in a row that lacks its last cells.
func (t ledgerTable) cell(i int, column string) string {
	if k, ok := t.at[column]; ok {
		return t.in(i, k)
	}
	return ""
}

// in is the cell in column k.
func (t ledgerTable) in(i, k int) string {
	if k < len(t.Rows[i]) {
		return t.Rows[i][k]
	}
	return ""
}

// number is nil for an empty cell.
func (t ledgerTable) number(i int, column string) (*float64, error) {
	s := t.cell(i, column)
	if s == "" {
		return nil, nil
	}
	text := s
	if t.DecimalComma { // a spreadsheet wrote it
		text = strings.Replace(s, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !finite(v) {
		return nil, t.fault(i, column, s, errors.New("want a finite number, such as 1.25"))
	}
	return &v, nil
}

// entry reads row i.
func (t ledgerTable) entry(i int) (e Entry, err error) {
	text := func(column string) string { return unguard(t.cell(i, column)) }
	e = Entry{Lot: text("lot"), Checked: text("checked"), Fabric: text("fabric"), Machine: text("machine"), Process: text("process"),
		Model: text("model"), Verdict: Decision(text("verdict")), First: Decision(text(firstColumn)), Cause: text("cause"), FirstCause: text(firstCauseColumn), FirstChecked: text(firstCheckedColumn), Standard: text(standardColumn)}
	deltaE, err := t.number(i, "delta_e")
	if err != nil {
		return e, err
	}
	if deltaE == nil {
		return e, t.fault(i, "delta_e", "", errors.New("the cell is empty"))
	}
	e.DeltaE = *deltaE
	if tolerance, err := t.number(i, toleranceColumn); err != nil {
		return e, err
	} else if tolerance != nil {
		e.Tolerance = *tolerance
	}
	for _, c := range []struct {
		column string
		v      **float64
	}{{nearestColumn, &e.Nearest}, {"dose_residual", &e.DoseResidual}, {"dose_sd", &e.DoseSD}, {"dose_z", &e.DoseZ}, {"off_a", &e.OffA}, {"off_b", &e.OffB}, {"off_z", &e.OffZ}} {
		if *c.v, err = t.number(i, c.column); err != nil {
			return e, err
		}
	}
	if s := t.cell(i, panelsColumn); s != "" {
		if e.Panels, err = strconv.Atoi(s); err != nil || e.Panels < 1 {
			return e, t.fault(i, panelsColumn, s, errors.New("want the number of panels that were judged, or nothing"))
		}
	}
	if column, value, err := e.check(); err != nil {
		return e, t.fault(i, column, value, err)
	}
	return e, nil
}

// Bytes is the ledger as CSV.
func (l *Ledger) Bytes() ([]byte, error) {
	var b bytes.Buffer
	rows := [][]string{append(ledgerHeader(), l.more...)}
	for _, e := range l.Entries {
		panels := ""
		if e.Panels > 0 {
			panels = strconv.Itoa(e.Panels)
		}
		tolerance := ""
		if e.Tolerance > 0 {
			tolerance = exact(&e.Tolerance)
		}
		row := []string{guard(e.Lot), guard(e.Checked), guard(e.Fabric), guard(e.Machine), guard(e.Process), guard(e.Model),
			exact(&e.DeltaE), string(e.Verdict), guard(e.Cause),
			exact(e.DoseResidual), exact(e.DoseSD), exact(e.DoseZ), exact(e.OffA), exact(e.OffB), exact(e.OffZ), string(e.First), panels,
			guard(e.FirstCause), guard(e.FirstChecked), guard(e.Standard), tolerance, exact(e.Nearest)}
		for k := range l.more {
			cell := ""
			if k < len(e.more) {
				cell = e.more[k] // guarded in the file it came from, if need be
			}
			row = append(row, cell)
		}
		rows = append(rows, row)
	}
	if err := discharge.WriteCSV(&b, rows); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

func exact(v *float64) string {
	if v == nil {
		return ""
	}
	return strconv.FormatFloat(*v, 'g', -1, 64)
}

// guard puts an apostrophe before text that a spreadsheet would take for a
// formula, and before one that has such an apostrophe itself; unguard takes
// it away.
func guard(s string) string {
	if s != "" && bytes.ContainsRune([]byte("=+-@\t\r'"), rune(s[0])) {
		return "'" + s
	}
	return s
}

func unguard(s string) string {
	if len(s) > 1 && s[0] == '\'' && bytes.ContainsRune([]byte("=+-@\t\r'"), rune(s[1])) {
		return s[1:]
	}
	return s
}
