package tables

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"example.com/dosetone/discharge"
)

// turn makes one row per reading of a table with one column per reading: the
// first column then names the rows (lot, role, strength_pct, R400 or 400 …),
// the first row the readings. Faults name the original column and row.
//
// A table that has one row per reading already stays as it is, so that one
// command can read files of both kinds.
func turn(s *discharge.Sheet) (*discharge.Sheet, error) {
	if len(s.Header) == 0 {
		return s, nil
	}
	names := make([]string, len(s.Rows))
	for i, row := range s.Rows {
		if len(row) > 0 {
			names[i] = strings.TrimSpace(row[0])
		}
	}
	if !slices.ContainsFunc(names, isReading) {
		if slices.ContainsFunc(s.Header[1:], isReading) {
			s.Warnings = append(s.Warnings, fault(s.Name, s.HeaderLine, "", "", errors.New("the table has one row per reading already and was not turned")))
			return s, nil
		}
		return nil, fault(s.Name, s.HeaderLine, "", "", fmt.Errorf("a table with one column per reading names its rows in the first column: lot, role, strength_pct … and R400 … R700 or L, a, b; none of a reading is there (the file was read as %s)", s.Format))
	}
	rows, line, err := namedRows(s, names)
	if err != nil {
		return nil, err
	}
	t := &discharge.Sheet{Name: s.Name, Format: s.Format + ", each column a reading", HeaderLine: -1, DecimalComma: s.DecimalComma, Warnings: s.Warnings}
	for _, i := range rows {
		t.Header = append(t.Header, names[i])
	}
	// What the first row names: the readings, or their lots.
	label := strings.ToLower(strings.TrimSpace(s.Header[0]))
	if !slices.Contains([]string{"id", "lot", "panel", "position", "role", "process", "fabric", "machine"}, label) {
		label = "id"
	}
	named := line[label] == 0
	if named {
		t.Header = append([]string{label}, t.Header...)
	}
	width := len(s.Header)
	for _, i := range rows {
		width = max(width, len(s.Rows[i]))
	}
	if width*len(t.Header) > maxCells {
		return nil, fault(s.Name, 0, "", "", fmt.Errorf("more than %d cells: split the file", maxCells))
	}
	for j := 1; j < width; j++ {
		var cells []string
		name := ""
		if j < len(s.Header) {
			name = strings.TrimSpace(s.Header[j])
		}
		if named {
			cells = append(cells, name)
		}
		at := 0 // line of the first value
		for _, i := range rows {
			value := ""
			if j < len(s.Rows[i]) {
				value = s.Rows[i][j]
			}
			if at == 0 && strings.TrimSpace(value) != "" {
				at = s.Lines[i]
			}
			cells = append(cells, value)
		}
		if at == 0 {
			continue // an empty column, or a remark above one
		}
		if named && name == "" {
			return nil, fault(s.Name, at, columnLetters(j+1), "", fmt.Errorf("column %d has values but no name in line %d", j+1, s.HeaderLine))
		}
		t.Rows, t.Lines = append(t.Rows, cells), append(t.Lines, -(j+1))
	}
	return t, nil
}

// namedRows are the rows of a table that have a name, and the line of each name.
func namedRows(s *discharge.Sheet, names []string) (rows []int, line map[string]int, err error) {
	line = map[string]int{}
	for i, name := range names {
		if name == "" {
			if j := slices.IndexFunc(s.Rows[i], func(c string) bool { return strings.TrimSpace(c) != "" }); j >= 0 {
				return nil, nil, fault(s.Name, s.Lines[i], columnLetters(j+1), s.Rows[i][j], errors.New("the row has values but no name in its first column"))
			}
			continue
		}
		key := rowKey(name)
		if n, twice := line[key]; twice {
			return nil, nil, fault(s.Name, s.Lines[i], "", name, fmt.Errorf("names a row that line %d names already: keep one", n))
		}
		line[key] = s.Lines[i]
		rows = append(rows, i)
	}
	if len(rows) > discharge.MaxColumns {
		return nil, nil, fault(s.Name, 0, "", "", fmt.Errorf("has %d named rows; at most %d are read", len(rows), discharge.MaxColumns))
	}
	return rows, line, nil
}

// isReading reports whether a name is that of a reading's value.
func isReading(name string) bool {
	name = strings.TrimSpace(name)
	if slices.Contains([]string{"L", "L*", "l*", "X", "red"}, name) {
		return true
	}
	_, ok := nanometers(name)
	return ok
}

// nanometers reads R400, r400, R_400, 400 and 400 nm.
func nanometers(name string) (int, bool) {
	digits := strings.ToLower(strings.TrimSpace(name))
	digits = strings.TrimSpace(strings.TrimSuffix(strings.TrimLeft(strings.TrimPrefix(digits, "r"), "_ "), "nm"))
	nm, err := strconv.Atoi(digits)
	return nm, err == nil && nm >= 200 && nm <= 2500
}

// rowKey is the same for two spellings of one name.
func rowKey(name string) string {
	if nm, ok := nanometers(name); ok {
		return strconv.Itoa(nm)
	}
	if slices.Contains([]string{"X", "Y", "Z"}, name) { // x and y are others
		return name
	}
	return strings.TrimSuffix(strings.ToLower(name), "*")
}
