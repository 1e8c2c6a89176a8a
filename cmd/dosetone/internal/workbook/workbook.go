// Package workbook writes small XLSX workbooks [1]: tables with numbers that
// are numbers, lists to choose from, notes on cells and a fixed heading. What
// it writes depends on nothing but what it is told, not even on the time.
//
// A library for all of XLSX is not linked into the tool, since its start alone
// would cost as much as that of the tool; tests hold the files against one.
//
//	[1] ECMA-376 Part 1 (ISO/IEC 29500-1), SpreadsheetML
package workbook

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"
)

// MaxText is the longest text that a cell holds, in characters (the limit that
// spreadsheet programs share).
const MaxText = 32_767

// Book is a workbook.
type Book struct {
	sheets []*Sheet
	styles []Style
}

// Style is how a cell looks. The zero value is plain.
type Style struct {
	Bold   bool
	Faint  bool // gray italics
	Ruled  bool // a line below
	Right  bool // to the right, whatever the content
	Wrap   bool
	Format string // number format code, such as "0.00"; "@" makes what is typed text
}

// Sheet is one table of a workbook. Rows and columns count from 1.
type Sheet struct {
	Landscape     bool // printed so, on one page's width
	FreezeRows    int
	FreezeColumns int
	name          string
	book          *Book
	rows          [][]cell
	columns       []column
	notes         []note
	checks        []check
}

type cell struct {
	value any // nil, string, float64 or bool
	style int
}

type column struct {
	width float64
	style int
}

type note struct {
	row, column int
	text        string
}

// check is what may be entered into a block of one column: one of a list, or a
// number of at least min.
type check struct {
	column, from, to int
	list             []string
	min              float64
	title, remedy    string
}

// New returns an empty workbook.
func New() *Book { return &Book{styles: []Style{{}}} }

// Sheet adds a sheet. Names are the program's own: a few letters.
func (b *Book) Sheet(name string) *Sheet {
	s := &Sheet{name: name, book: b}
	b.sheets = append(b.sheets, s)
	return s
}

func (b *Book) style(s Style) int {
	i := slices.Index(b.styles, s)
	if i < 0 {
		i = len(b.styles)
		b.styles = append(b.styles, s)
	}
	return i
}

// Set writes a cell: a string (never a formula), a number, a bool, or nil for
// none. NaN and infinities, and text longer than [MaxText], are errors.
func (s *Sheet) Set(row, column int, value any, style Style) error {
	switch v := value.(type) {
	case nil, bool:
	case int:
		value = float64(v)
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("row %d, column %d: %v is no number for a table", row, column, v)
		}
	case string:
		if n := utf8.RuneCountInString(v); n > MaxText {
			return fmt.Errorf("row %d, column %d: a text of %d characters is too long for a workbook; write CSV or JSON", row, column, n)
		}
	default:
		return fmt.Errorf("row %d, column %d: a %T cannot stand in a cell", row, column, value)
	}
	for len(s.rows) < row {
		s.rows = append(s.rows, nil)
	}
	r := &s.rows[row-1]
	for len(*r) < column {
		*r = append(*r, cell{})
	}
	(*r)[column-1] = cell{value, s.book.style(style)}
	return nil
}

// Column sets the width, in characters, and the style of cells yet to be filled.
func (s *Sheet) Column(n int, width float64, style Style) {
	for len(s.columns) < n {
		s.columns = append(s.columns, column{})
	}
	s.columns[n-1] = column{width, s.book.style(style)}
}

// Note attaches a note to a cell.
func (s *Sheet) Note(row, column int, text string) {
	s.notes = append(s.notes, note{row, column, text})
}

// List offers words for the cells of a column, and refuses others.
func (s *Sheet) List(column, from, to int, title string, words []string) error {
	joined := strings.Join(words, ",")
	if len(joined) > 255 || slices.ContainsFunc(words, func(w string) bool { return strings.Contains(w, ",") }) {
		return errors.New("a list of choices holds 255 characters, and no word a comma")
	}
	s.checks = append(s.checks, check{column: column, from: from, to: to, list: words, title: title, remedy: "Choose from the list."})
	return nil
}

// Numbers refuses what is no number of at least least in the cells of a column.
func (s *Sheet) Numbers(column, from, to int, title string, least float64) {
	s.checks = append(s.checks, check{column: column, from: from, to: to, min: least, title: title, remedy: "Enter a number; the unit stands in the heading."})
}
