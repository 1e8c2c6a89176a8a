package discharge

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// origin tells which columns of a sheet came from another file.
type origin struct {
	name  string
	from  int   // the first such column
	lines []int // of that file, for each row of the sheet
}

// WithLots adds to every reading what another sheet says of its lot: role,
// process, settings and whatever else it holds. So an instrument's export and
// the chemist's list of lots make one table.
//
// lots has one row per lot, named in its column lot, and readings are matched
// by their column lot or, without one, by their id, which then is the lot's
// name or starts with it: lot/panel or lot/panel/position, with / _ - . : or a
// blank between. When lots has a column id, it has one row per reading instead
// and both are matched by id. A reading without a lot, and a cell that
// contradicts another, are errors; a lot without a reading is a warning. Of two
// roles the list's holds, but a reading of the base of a load stays one.
// Neither sheet is changed.
func (s *Sheet) WithLots(lots *Sheet) (*Sheet, error) {
	readings, err := s.tidy()
	if err != nil {
		return nil, err
	}
	list, err := lots.tidy()
	if err != nil {
		return nil, err
	}
	if s.DecimalComma || lots.DecimalComma {
		for _, t := range []*Sheet{readings, list} {
			if err := t.decimalPoints(); err != nil {
				return nil, err
			}
		}
	}
	list.dropEmpty()
	j := lotJoin{readings: readings, list: list}
	if err := j.index(); err != nil {
		return nil, err
	}
	if err := j.match(); err != nil {
		return nil, err
	}
	return j.sheet()
}

// lotJoin joins readings with a list of lots, both tidy.
type lotJoin struct {
	readings, list *Sheet
	key            string // the column of the list that names its rows
	keyAt          int
	at             map[string]int // its value → row of the list
	names          []string
	row            []int       // of the list, for each reading
	parts          [][3]string // lot, panel, position that a reading's id names
	derived        [3]bool     // which of them are columns of their own
}

// column finds a column by name, in any case; -1 without it.
func (s *Sheet) column(name string) int {
	return slices.IndexFunc(s.Header, func(h string) bool { return strings.EqualFold(h, name) })
}

// IdleLots are the lots of a list of which there was no reading; [Sheet.WithLots] warns of them by
// a [RowError] that wraps it. Of a list for several files those count that are idle in all.
type IdleLots []string

func (l IdleLots) Error() string {
	quoted := make([]string, len(l))
	for i, name := range l {
		quoted[i] = fmt.Sprintf("%q", clip(name))
	}
	return fmt.Sprintf("no reading of %s; their rows were not used", few(quoted))
}

// few lists names for a message, and how many more there are.
func few(names []string) string {
	const most = 8
	if len(names) <= most {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
}

// dropEmpty leaves out columns without content, such as those for readings of a template that
// was filled in as a list of lots.
func (s *Sheet) dropEmpty() {
	var used []int
	for k := range s.Header {
		if slices.ContainsFunc(s.Rows, func(row []string) bool { return row[k] != "" }) {
			used = append(used, k)
		}
	}
	pick := func(row []string) (out []string) {
		for _, k := range used {
			out = append(out, row[k])
		}
		return out
	}
	s.Header = pick(s.Header)
	for i, row := range s.Rows {
		s.Rows[i] = pick(row)
	}
}

func (j *lotJoin) index() error {
	for _, h := range j.list.Header {
		if _, _, err := wavelength(h); err == nil || slices.Contains([]string{"L", "L*", "X", "red"}, h) {
			return j.list.fault(j.list.HeaderLine, h, "", errors.New("a list of lots holds no readings; give the file with the readings first"))
		}
	}
	j.key = "id"
	if j.keyAt = j.list.column("id"); j.keyAt < 0 {
		j.key, j.keyAt = "lot", j.list.column("lot")
	}
	if j.keyAt < 0 {
		return j.list.fault(j.list.HeaderLine, "lot", "", errors.New("the column is missing: a list of lots names each lot"))
	}
	j.at = map[string]int{}
	for i, row := range j.list.Rows {
		name := row[j.keyAt]
		if name == "" {
			return j.list.fault(j.list.Lines[i], j.key, "", errors.New("the cell is empty: every row of a list of lots needs it"))
		}
		if k, twice := j.at[name]; twice {
			return j.list.fault(j.list.Lines[i], j.key, clip(name), fmt.Errorf("stands in %s already: a list of lots has one row for each; readings of the base of a load may say role base themselves", place(j.list.Lines[k])))
		}
		j.at[name] = i
		j.names = append(j.names, name)
	}
	return nil
}

// match finds the row of the list for every reading.
func (j *lotJoin) match() error {
	r := j.readings
	column := r.column(j.key)
	byName := false
	if column < 0 && j.key == "lot" {
		column, byName = r.column("id"), true
	}
	if column < 0 {
		want := "lot or id"
		if j.key == "id" {
			want = "id"
		}
		return r.fault(r.HeaderLine, want, "", fmt.Errorf("the column is missing: readings are matched with %s by it%s", j.list.Name, r.takenFor()))
	}
	used := make([]bool, len(j.list.Rows))
	j.row, j.parts = make([]int, len(r.Rows)), make([][3]string, len(r.Rows))
	for i, row := range r.Rows {
		name := row[column]
		lot := name
		if byName {
			j.parts[i], lot = j.split(name)
		}
		k, ok := j.at[lot]
		if !ok {
			hint := didYouMean(name, j.names)
			if hint == "" {
				hint = fmt.Sprintf("; add it there, delete the reading, or name readings lot/panel/position after lots such as %q", clip(j.names[0]))
			}
			return r.fault(r.Lines[i], r.Header[column], clip(name), fmt.Errorf("belongs to no row of %s%s", j.list.Name, hint))
		}
		if strings.Contains(j.parts[i][2], "/") {
			return r.fault(r.Lines[i], r.Header[column], clip(name), errors.New("has more parts than lot/panel/position"))
		}
		j.row[i], used[k] = k, true
	}
	var idle IdleLots
	for k, name := range j.names {
		if !used[k] {
			idle = append(idle, name)
		}
	}
	if len(idle) > 0 {
		j.readings.Warnings = append(j.readings.Warnings, j.list.fault(0, "", "", idle))
	}
	if byName {
		for n, c := range []string{"lot", "panel", "position"} {
			j.derived[n] = r.column(c) < 0 && slices.ContainsFunc(j.parts, func(p [3]string) bool { return p[n] != "" })
		}
	}
	return nil
}

// split finds the lot that a reading's name starts with, the longest if there
// are several, and what follows it.
func (j *lotJoin) split(name string) (parts [3]string, lot string) {
	const separators = "/_-.: "
	if _, ok := j.at[name]; ok {
		return [3]string{name}, name
	}
	for end := len(name) - 1; end > 0; end-- {
		lot := strings.TrimSpace(name[:end])
		if _, ok := j.at[lot]; !ok || !strings.Contains(separators, name[end:end+1]) {
			continue
		}
		separator := name[end : end+1]
		panel, position, _ := strings.Cut(name[end+1:], separator)
		return [3]string{lot, strings.TrimSpace(panel), strings.TrimSpace(strings.ReplaceAll(position, separator, "/"))}, lot
	}
	return parts, name
}

// sheet puts the columns together.
func (j *lotJoin) sheet() (*Sheet, error) {
	r := j.readings
	out := &Sheet{Name: r.Name, Format: r.Format + ", lots from " + j.list.Name, HeaderLine: r.HeaderLine, Lines: r.Lines,
		DecimalComma: r.DecimalComma, Warnings: slices.Concat(r.Warnings, j.list.Warnings)}
	out.Header = slices.Clone(r.Header)
	for i := range r.Rows {
		out.Rows = append(out.Rows, slices.Clone(r.Rows[i]))
	}
	for n, c := range []string{"lot", "panel", "position"} {
		if !j.derived[n] {
			continue
		}
		out.Header = append(out.Header, c)
		for i := range out.Rows {
			out.Rows[i] = append(out.Rows[i], j.parts[i][n])
		}
	}
	var added []int // columns of the list that are new
	for k, h := range j.list.Header {
		c := out.column(h)
		switch {
		case h == "":
		case c < 0:
			added = append(added, k)
		case k != j.keyAt:
			if err := j.fill(out, c, k); err != nil {
				return nil, err
			}
		}
	}
	out.origin = &origin{name: j.list.Name, from: len(out.Header)}
	for _, k := range added {
		out.Header = append(out.Header, j.list.Header[k])
	}
	for i := range out.Rows {
		out.origin.lines = append(out.origin.lines, j.list.Lines[j.row[i]])
		for _, k := range added {
			out.Rows[i] = append(out.Rows[i], j.list.Rows[j.row[i]][k])
		}
	}
	return out, nil
}

// fill completes a column of the readings, c, by one of the list, k. What the
// readings say themselves must agree, but for the role: an instrument's word
// for it is weaker, and of one load some readings may be of the base.
func (j *lotJoin) fill(out *Sheet, c, k int) error {
	for i, row := range out.Rows {
		value := j.list.Rows[j.row[i]][k]
		switch {
		case value == "" || value == row[c]:
		case row[c] == "":
			row[c] = value
		case strings.EqualFold(out.Header[c], "role"):
			if !strings.EqualFold(row[c], string(Base)) {
				row[c] = value
			}
		default:
			return out.fault(out.Lines[i], out.Header[c], clip(row[c]), fmt.Errorf("%s has %q for %s %q (%s): they must agree, or one be empty",
				j.list.Name, clip(value), j.key, j.names[j.row[i]], place(j.list.Lines[j.row[i]])))
		}
	}
	return nil
}

// decimalPoints writes the numbers of a sheet with decimal commas with points.
func (s *Sheet) decimalPoints() error {
	if !s.DecimalComma {
		return nil
	}
	s.DecimalComma = false
	point, comma := "", ""
	for j, h := range s.Header {
		if slices.Contains(plainColumns(), strings.ToLower(h)) && !strings.HasSuffix(h, "_pct") {
			continue
		}
		for i, row := range s.Rows {
			_, sign, err := parseNumber(row[j], true)
			if err != nil || sign == 0 {
				continue // no number, which is told where one is needed
			}
			mine, other := &point, &comma
			if sign == ',' {
				mine, other = other, mine
			}
			if *mine == "" {
				*mine = fmt.Sprintf("%s in %s", row[j], place(s.Lines[i]))
			}
			if *other != "" {
				return s.fault(s.Lines[i], h, clip(row[j]), fmt.Errorf("the file also has %s: write all numbers with a point or all with a comma", *other))
			}
			row[j] = strings.Replace(row[j], ",", ".", 1)
		}
	}
	return nil
}
