package discharge

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// Limits of what is read, far above any real table, so that a wrong file is
// refused before it fills the memory.
const (
	MaxFileBytes = 64 << 20 // 64 MiB
	MaxRows      = 200_000
	MaxColumns   = 2_000
	MaxCellBytes = 1_000
)

// A Sheet is a table as text, whatever file it came from: readers of other
// formats make one and hand it to [FromSheet], [SamplesFromSheet] or
// [TargetsFromSheet], which treat every format alike.
type Sheet struct {
	Name         string // file name, for messages
	Format       string // what the reader took the file for, such as "CSV separated by ;"
	Header       []string
	HeaderLine   int        // line of the header, 1-based
	Rows         [][]string // cells as text; a short row lacks its last cells
	Lines        []int      // line of each row, same length as Rows; -n for column n of a table with one column per reading; nil means 1, 2, …
	Skipped      []int      // lines below the header that start with # and are no rows
	DecimalComma bool       // "0,35" may be a number
	Warnings     []error

	origin *origin // of the columns that another file added
}

// ExampleRole marks a row that only shows how a table is filled in. Such rows
// are skipped with a warning; it is no [Role] of readings.
const ExampleRole = "example"

// tidy trims every cell, drops rows and unnamed columns without content, and
// examples, and checks the limits. The sheet itself stays as it is.
func (s *Sheet) tidy() (*Sheet, error) {
	if s == nil {
		return nil, errNoTable
	}
	lines := s.Lines
	if lines == nil {
		for i := range s.Rows {
			lines = append(lines, i+1)
		}
	}
	if len(lines) != len(s.Rows) {
		panic("discharge: a Sheet needs one line number per row, or none at all")
	}
	t := *s
	t.Warnings = slices.Clone(s.Warnings)
	if len(s.Header) > MaxColumns {
		return nil, s.fault(s.HeaderLine, "", "", fmt.Errorf("has %d columns; at most %d are read", len(s.Header), MaxColumns))
	}
	if len(s.Rows) > MaxRows {
		return nil, s.fault(0, "", "", fmt.Errorf("has %d rows; at most %d are read: split the file", len(s.Rows), MaxRows))
	}
	t.Header = trimAll(s.Header)
	t.Rows, t.Lines = nil, nil
	used := make([]bool, len(t.Header))
	role, examples := t.column("role"), 0
	for i, row := range s.Rows {
		cells := trimAll(row)
		if role >= 0 && role < len(cells) && strings.EqualFold(cells[role], ExampleRole) {
			if examples++; examples == 1 {
				t.Warnings = append(t.Warnings, s.fault(lines[i], t.Header[role], cells[role], errors.New("the row was skipped: it only shows how to fill in the table")))
			}
			continue
		}
		for j, c := range cells {
			if c == "" {
				continue
			}
			if j >= len(t.Header) {
				return nil, s.fault(lines[i], "", c, fmt.Errorf("the row has %d cells, the header %d names", len(row), len(t.Header)))
			}
			if len(c) > MaxCellBytes {
				return nil, s.fault(lines[i], t.Header[j], clip(c), fmt.Errorf("the cell has %d bytes; at most %d are read", len(c), MaxCellBytes))
			}
			if !utf8.ValidString(c) {
				return nil, s.fault(lines[i], t.Header[j], clip(c), errNotUTF8)
			}
			used[j] = true
		}
		for len(cells) < len(t.Header) {
			cells = append(cells, "")
		}
		if !allEmpty(cells) {
			t.Rows, t.Lines = append(t.Rows, cells[:len(t.Header)]), append(t.Lines, lines[i])
		}
	}
	for j, h := range t.Header {
		if len(h) > MaxCellBytes {
			return nil, s.fault(s.HeaderLine, clip(h), "", fmt.Errorf("the column name has %d bytes; at most %d are read", len(h), MaxCellBytes))
		}
		if h == "" && used[j] {
			return nil, s.fault(s.HeaderLine, "", "", fmt.Errorf("column %d has values but no name", j+1))
		}
	}
	if allEmpty(t.Header) {
		return nil, s.fault(0, "", "", errors.New("the file is empty; want a header line with column names and one row per reading"))
	}
	if len(t.Rows) == 0 && examples > 0 {
		return nil, s.fault(s.HeaderLine, "", "", errors.New("there are only examples: fill in rows of your own, one per reading"))
	}
	if len(t.Rows) == 0 {
		return nil, s.fault(s.HeaderLine, "", "", errors.New("there is a header but no row below it; want one row per reading"))
	}
	return &t, nil
}

var errNotUTF8 = errors.New("the text is not UTF-8; save the file as \"CSV UTF-8\"")

func (s *Sheet) fault(line int, column, value string, err error) error {
	return &RowError{File: s.Name, Row: line, Column: column, Value: value, Err: err}
}

func trimAll(cells []string) []string {
	out := make([]string, len(cells))
	for i, c := range cells {
		out[i] = trimCell(c)
	}
	return out
}

// trimCell takes blanks and invisible marks away. Most cells have none, which
// their ends show.
func trimCell(c string) string {
	plain := func(b byte) bool { return b > ' ' && b < 0x7f }
	if c == "" || plain(c[0]) && plain(c[len(c)-1]) {
		return c
	}
	return strings.TrimSpace(strings.Trim(c, "\ufeff\u200b"))
}

func allEmpty(cells []string) bool {
	return !slices.ContainsFunc(cells, func(c string) bool { return c != "" })
}

// clip shortens a text for a message.
func clip(s string) string {
	r := []rune(strings.ToValidUTF8(s, "?"))
	if len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return string(r)
}
