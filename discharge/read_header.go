package discharge

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"example.com/dosetone/colorimetry"
)

// The columns that are not factors.
func plainColumns() []string {
	return []string{"lot", "role", "process", "fabric", "machine", "panel", "position", "stage", "state",
		"tensile_loss_pct", "unit", "illuminant", "observer", "viewing", "condition", "id",
		"run"} // the order in which plan proposes its lots: nothing is learned from it
}

// colorColumns are the three columns of each kind of reading, as we write them.
func colorColumns(k ReadingKind) []string {
	switch k {
	case LabKind:
		return []string{"L", "a", "b"}
	case XYZKind:
		return []string{"X", "Y", "Z"}
	case Swatch:
		return []string{"red", "green", "blue"}
	}
	return nil
}

// isReservedColumn reports whether a user's process may not call a factor so.
func isReservedColumn(name string) bool {
	if slices.Contains(plainColumns(), name) {
		return true
	}
	if _, _, err := wavelength(name); err == nil {
		return true
	}
	for _, k := range []ReadingKind{LabKind, XYZKind, Swatch} {
		if slices.ContainsFunc(colorColumns(k), func(c string) bool { return strings.EqualFold(c, name) }) {
			return true
		}
	}
	return false
}

// layout says where in a sheet each thing stands.
type layout struct {
	*Sheet
	opt       ReadOptions
	processes []Process
	known     []string       // the factors of all processes
	col       map[string]int // known column → index
	kind      ReadingKind
	color     []int // the reading's columns: wavelengths, or three
	grid      colorimetry.Grid
	factors   []string // columns that are a factor of some process and not empty, in file order
	unknown   []int
	// conditions are the columns that state measurement conditions, see readConditions.
	conditions []int
	ignored    []string
	warnings   []error
	pointAt    string // the first number with a decimal point, and where
	commaAt    string // the first with a decimal comma
}

var errSpectralName = errors.New("wavelength columns are R400 … R700: whole nanometers")

// wavelength reads a spectral column name: R400, also r400, R_400, R400 nm; a
// bare 400 or 400.00 nm is told apart. It fails on names of other columns, and
// with errSpectralName on a fraction of a nanometer.
func wavelength(name string) (nm int, bare bool, err error) {
	digits := strings.TrimLeft(strings.TrimLeft(name, "Rr"), "_ ")
	bare = len(digits) == len(name)
	digits = strings.TrimSpace(strings.TrimSuffix(strings.ToLower(digits), "nm"))
	whole, part, broken := strings.Cut(strings.Replace(digits, ",", ".", 1), ".")
	nm, err = strconv.Atoi(whole)
	if err != nil || nm < 200 || nm > 2500 {
		return 0, false, errors.New("not a wavelength")
	}
	if broken && (part == "" || strings.Trim(part, "0") != "") { // 400.00 is whole
		return 0, false, errSpectralName
	}
	return nm, bare, nil
}

// newLayout recognizes the columns of a sheet.
func newLayout(raw *Sheet, opt *ReadOptions) (*layout, error) {
	s, err := raw.tidy()
	if err != nil {
		return nil, err
	}
	l := &layout{Sheet: s, col: map[string]int{}, warnings: s.Warnings, processes: Processes()}
	if opt != nil {
		l.opt = *opt
		l.processes = slices.Concat(opt.Processes, l.processes) // the caller's first: hints prefer them
	}
	for _, p := range l.processes {
		l.known = append(l.known, p.columns()...)
	}
	spectral := map[int]int{} // nm → index
	var nms []int
	bare := false
	for j, h := range s.Header {
		if h == "" {
			continue
		}
		nm, noR, err := wavelength(h)
		if err == nil {
			if k, twice := spectral[nm]; twice {
				return nil, s.doubled(k, j)
			}
			spectral[nm] = j
			nms = append(nms, nm)
			bare = bare || noR
			continue
		}
		if errors.Is(err, errSpectralName) {
			return nil, s.fault(s.HeaderLine, h, "", err)
		}
		name, known := l.canonical(h)
		if !known {
			l.unknown = append(l.unknown, j)
			continue
		}
		if k, twice := l.col[name]; twice {
			return nil, s.doubled(k, j)
		}
		l.col[name] = j
	}
	if err := l.chooseKind(nms, spectral); err != nil {
		return nil, err
	}
	l.otherViewing()
	if bare && l.kind == Spectral {
		l.warn(s.HeaderLine, "", "", fmt.Errorf("columns named by wavelength only are read as reflectance; %w", errSpectralName))
	}
	l.findFactors()
	if err := l.oneStrength(); err != nil {
		return nil, err
	}
	return l, nil
}

func (s *Sheet) doubled(first, second int) error {
	return s.fault(s.HeaderLine, s.Header[second], "", fmt.Errorf("stands twice, as columns %d and %d: keep one", first+1, second+1))
}

func (l *layout) warn(line int, column, value string, err error) {
	l.warnings = append(l.warnings, l.fault(line, column, value, err))
}

// canonical returns our spelling of a column name. Case does not matter,
// except that X, Y, Z are tristimulus values and x, y chromaticities.
func (l *layout) canonical(header string) (string, bool) {
	if slices.Contains(colorColumns(XYZKind), header) {
		return header, true
	}
	h := strings.ToLower(header)
	switch h {
	case "l", "l*":
		return "L", true
	case "a", "a*", "b", "b*":
		return h[:1], true
	case "red", "green", "blue":
		return h, true
	}
	return h, slices.Contains(plainColumns(), h) || slices.Contains(l.known, h)
}

// chooseKind finds the reading columns. When a file has several kinds, the
// one from which the others follow is read.
func (l *layout) chooseKind(nms []int, spectral map[int]int) error {
	if len(nms) > 0 {
		if err := l.chooseSpectral(nms, spectral); err != nil {
			return err
		}
	}
	kinds := []ReadingKind{LabKind, XYZKind, Swatch}
	found, lacking := map[ReadingKind][]string{}, map[ReadingKind][]string{}
	for _, k := range kinds {
		for _, c := range colorColumns(k) {
			if _, ok := l.col[c]; ok {
				found[k] = append(found[k], c)
			} else {
				lacking[k] = append(lacking[k], c)
			}
		}
		if l.kind == "" && len(lacking[k]) == 0 {
			l.kind = k
			for _, c := range colorColumns(k) {
				l.color = append(l.color, l.col[c])
			}
		}
	}
	for _, k := range kinds {
		if len(found[k]) == 0 || k == l.kind {
			continue
		}
		if l.kind == "" {
			return l.fault(l.HeaderLine, lacking[k][0], "", fmt.Errorf("is missing beside %s%s", strings.Join(found[k], ", "), l.colorHint()))
		}
		l.ignored = append(l.ignored, found[k]...)
		l.warn(l.HeaderLine, found[k][0], "", fmt.Errorf("kept aside with all of %s: the %s readings of the file are used", strings.Join(found[k], ", "), l.kind))
	}
	return nil
}

func (l *layout) chooseSpectral(nms []int, spectral map[int]int) error {
	l.kind = Spectral
	if slices.IsSortedFunc(nms, func(a, b int) int { return b - a }) {
		slices.Reverse(nms) // falling: each value stands under its wavelength all the same
	}
	for i, nm := range nms {
		if i > 0 && nm <= nms[i-1] {
			return l.fault(l.HeaderLine, l.Header[spectral[nm]], "", fmt.Errorf("follows %d nm: wavelengths must rise, or all fall, from left to right", nms[i-1]))
		}
	}
	nms = l.withinObservers(nms, spectral)
	for _, nm := range nms {
		l.color = append(l.color, spectral[nm])
	}
	var err error
	if l.grid, err = colorimetry.GridOf(nms); err != nil {
		return l.fault(l.HeaderLine, l.Header[l.color[0]], "", err)
	}
	return nil
}

// The wavelengths that the CIE's standard observers weigh (ISO/CIE 11664-1).
const (
	firstSeen = 360
	lastSeen  = 830
)

// withinObservers leaves out the bands of which color says nothing.
func (l *layout) withinObservers(nms []int, spectral map[int]int) []int {
	outside := func(nm int) bool { return nm < firstSeen || nm > lastSeen }
	var aside []string
	for _, nm := range nms {
		if outside(nm) {
			aside = append(aside, l.Header[spectral[nm]])
		}
	}
	if len(aside) == 0 || len(aside) == len(nms) { // none is left: its fault tells
		return nms
	}
	l.ignored = append(l.ignored, aside...)
	l.warn(l.HeaderLine, aside[0], "", fmt.Errorf("%d bands outside %d to %d nm, which no observer weighs, were kept aside", len(aside), firstSeen, lastSeen))
	return slices.DeleteFunc(nms, outside)
}

// notTurned is the error for a sheet in which wavelengths stand below one another,
// nil for others.
func (l *layout) notTurned() error {
	if l.kind != "" {
		return nil
	}
	const few = 5 // so that numbers which name samples are not taken for bands
	for j, h := range l.Header {
		met := map[int]bool{}
		count := 0
		for _, row := range l.Rows {
			if nm, _, err := wavelength(row[j]); err == nil {
				met[nm] = true
				count++
			}
		}
		_, known := l.canonical(h)
		switch {
		case known || len(met) < few:
		case j == 0 && count == len(met):
			return l.fault(l.HeaderLine, h, "", errors.New("the first column names wavelengths, so each further column is a reading: read the table with --wide"))
		case count == len(l.Rows):
			return l.fault(l.HeaderLine, h, "", errors.New("one row per wavelength is not read: make it one row per reading with columns R400 … R700, or one column per reading (--wide)"))
		}
	}
	return nil
}

// needColor is the error for a sheet without readings.
func (l *layout) needColor() error {
	if l.kind != "" {
		return nil
	}
	return l.fault(l.HeaderLine, "", "", fmt.Errorf("no readings: want columns R400 … R700, or L, a, b, or X, Y, Z, or red, green, blue%s%s", l.colorHint(), l.takenFor()))
}

// colorHint finds usual misnomers among the headers.
func (l *layout) colorHint() string {
	has := func(names ...string) bool {
		return !slices.ContainsFunc(names, func(n string) bool { return !slices.Contains(l.Header, n) })
	}
	switch {
	case has("R", "G", "B"), has("r", "g", "b"):
		return "; write red, green, blue for R, G, B"
	case has("x", "y", "z"):
		return "; write X, Y, Z in capitals: x, y are chromaticities"
	}
	lightness := regexp.MustCompile(`^(?i:(cie)?(lab)?[ _]*l([ _]*star|\*)?[ _]*(\(.*\)|\d.*|d\d\d.*)?)$`)
	band := regexp.MustCompile(`^(?i:r|spec|nm|refl)\D*(\d{3,4})\D*$`)
	for _, j := range l.unknown {
		h := l.Header[j]
		if lightness.MatchString(h) {
			return fmt.Sprintf("; rename %q and those beside it to L, a, b, and state their viewing in columns illuminant and observer (or --viewing, such as D65/10)", h)
		}
		if m := band.FindStringSubmatch(h); m != nil {
			return fmt.Sprintf("; rename %q to R%s, and so on", h, m[1])
		}
	}
	return ""
}

// otherViewing keeps a column called viewing aside in which no cell is a viewing, where
// the readings do not need one.
func (l *layout) otherViewing() {
	j, ok := l.col["viewing"]
	if !ok || l.kind == LabKind || l.kind == XYZKind {
		return
	}
	if !slices.ContainsFunc(l.Rows, func(row []string) bool {
		_, err := colorimetry.ParseViewing(row[j])
		return err == nil
	}) {
		delete(l.col, "viewing")
		l.unknown = append(l.unknown, j)
	}
}

// keepRows leaves out all rows but those that keep names.
func (l *layout) keepRows(keep func(i int) bool) {
	var rows [][]string
	var lines []int
	var from *origin
	if l.origin != nil {
		from = &origin{name: l.origin.name, from: l.origin.from}
	}
	for i := range l.Rows {
		if !keep(i) {
			continue
		}
		rows, lines = append(rows, l.Rows[i]), append(lines, l.Lines[i])
		if from != nil {
			from.lines = append(from.lines, l.origin.lines[i])
		}
	}
	l.Rows, l.Lines, l.origin = rows, lines, from
	l.factors = nil // only the rows that are left tell which columns are empty
	l.findFactors()
}

// findFactors lists the factor columns that have content.
func (l *layout) findFactors() {
	for j, h := range l.Header {
		name := strings.ToLower(h)
		if slices.Contains(l.known, name) && l.col[name] == j &&
			slices.ContainsFunc(l.Rows, func(row []string) bool { return row[j] != "" }) {
			l.factors = append(l.factors, name)
		}
	}
}

// oneStrength refuses two strength columns with content.
func (l *layout) oneStrength() error {
	var strengths []string
	for _, c := range l.factors {
		if strings.HasPrefix(c, "strength_") {
			strengths = append(strengths, c)
		}
	}
	if len(strengths) > 1 {
		return l.fault(l.HeaderLine, strengths[1], "", fmt.Errorf("stands beside %s: a table has one strength, in the unit of its process; remove the other", strengths[0]))
	}
	return nil
}

// need returns the error for a column that must be there, or nil.
func (l *layout) need(column, why string) error {
	if _, ok := l.col[column]; ok {
		return nil
	}
	var names []string
	for _, j := range l.unknown {
		names = append(names, l.Header[j])
	}
	hint := ""
	if i := slices.IndexFunc(names, namesSamples); column == "id" && i >= 0 {
		hint = fmt.Sprintf("; rename %q to id", names[i])
	} else if n, ok := nearest(column, names); ok {
		hint = fmt.Sprintf("; is it %q? convert it if its unit differs, then rename it", n)
	}
	return l.fault(l.HeaderLine, column, "", fmt.Errorf("the column is missing: %s%s%s", why, hint, l.takenFor()))
}

// namesSamples knows the headings under which instruments name their samples.
func namesSamples(header string) bool {
	plain := strings.NewReplacer(" ", "", "_", "", "-", "", ".", "", "#", "").Replace(strings.ToLower(header))
	return slices.Contains([]string{"name", "sample", "samplename", "sampleid", "sampleno", "samplenumber", "no", "number", "measurement"}, plain)
}

// takenFor says what the file was read as, for messages about what it lacks.
func (s *Sheet) takenFor() string {
	if s.Format == "" {
		return ""
	}
	return " (the file was read as " + s.Format + ")"
}

// keepAside warns of the unknown columns.
func (l *layout) keepAside() {
	var free, rest []string // known names not in the file; unknown headers
	for _, c := range slices.Concat(plainColumns(), l.known, colorColumns(LabKind), colorColumns(Swatch)) {
		if _, ok := l.col[c]; !ok && len(c) > 1 {
			free = append(free, c)
		}
	}
	for _, j := range l.unknown {
		h := l.Header[j]
		l.ignored = append(l.ignored, h)
		if hint := didYouMean(h, free); hint != "" {
			l.warn(l.HeaderLine, h, "", fmt.Errorf("the column is not known and was kept aside%s", hint))
		} else {
			rest = append(rest, strconv.Quote(h))
		}
	}
	if len(rest) > 0 {
		shown := rest[:min(len(rest), 8)]
		more := ""
		if len(rest) > len(shown) {
			more = fmt.Sprintf(" and %d more", len(rest)-len(shown))
		}
		l.warn(l.HeaderLine, "", "", fmt.Errorf("columns kept aside because their meaning is not known: %s%s", strings.Join(shown, ", "), more))
	}
}

// text returns a cell, "" when there is no such column.
func (l *layout) text(i int, column string) string {
	if j, ok := l.col[column]; ok {
		return l.Rows[i][j]
	}
	return ""
}
