package tables

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"example.com/dosetone/discharge"
)

// cellKind is what a reader must know of a cell beside its text.
type cellKind byte

const (
	textCell cellKind = iota // also plain numbers
	percentCell
	dateCell
	errorCell
)

// grid holds the rows of a sheet that have content, in order.
type grid struct {
	rows   []gridRow
	merges []merged
	cells  int
	hidden bool // the row being read
}

// gridRow is cut off after its last cell with content.
type gridRow struct {
	number int
	hidden bool
	cells  []string
	marks  map[int]mark // of cells that are not plain
}

type mark struct {
	kind   cellKind
	number float64 // of a percentage
}

func (r *gridRow) text(j int) string {
	if j < len(r.cells) {
		return r.cells[j]
	}
	return ""
}

func (r *gridRow) put(j int, text string, m mark) {
	if n := j + 1 - len(r.cells); n > 0 {
		r.cells = append(r.cells, make([]string, n)...)
	}
	r.cells[j] = text
	if m.kind != textCell {
		if r.marks == nil {
			r.marks = map[int]mark{}
		}
		r.marks[j] = m
	}
}

// merged is a block of cells, its corners included.
type merged struct{ row, column, lastRow, lastColumn int }

// cellError places a fault in a sheet.
type cellError struct {
	row, column int
	value       string
	err         error
}

func (c *cellError) Error() string { return c.err.Error() }

// grid reads a sheet's cells as they come, so that memory follows the content
// and not where the content stands.
func (b *book) grid(part string) (*grid, error) {
	data, err := b.read(part)
	if err != nil {
		return nil, err
	}
	g := &grid{}
	x := newXMLReader(bytes.NewReader(data))
	last, column := 0, 0
	for {
		t, err := x.next()
		if err == io.EOF {
			return g, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%s of the workbook, line %d: %w", part, x.line(), err)
		}
		e, ok := t.(xml.StartElement)
		if !ok {
			continue
		}
		switch e.Name.Local {
		case "row":
			last, column = last+1, 0
			if n, err := strconv.Atoi(attr(e, "r")); err == nil {
				if n < last {
					return nil, &cellError{n, 0, "", errors.New("the rows of the sheet are not in order; the file is damaged: save it again")}
				}
				last = n
			}
			h := attr(e, "hidden")
			g.hidden = h == "1" || h == "true"
		case "c":
			column++
			if ref := attr(e, "r"); ref != "" {
				c, r, ok := columnNumber(ref)
				if !ok || r != last || c < column {
					return nil, &cellError{last, column, ref, errors.New("the cell is not where it says to be; the file is damaged: save it again")}
				}
				column = c
			}
			if err := b.cell(g, x, e, last, column); err != nil {
				return nil, err
			}
		case "mergeCell":
			from, to, _ := strings.Cut(attr(e, "ref"), ":")
			c1, r1, ok1 := columnNumber(from)
			c2, r2, ok2 := columnNumber(to)
			if ok1 && ok2 && len(g.merges) < discharge.MaxRows {
				g.merges = append(g.merges, merged{r1, c1, r2, c2})
			}
		}
	}
}

// cell reads the cell just opened.
func (b *book) cell(g *grid, x *xmlReader, e xml.StartElement, row, column int) error {
	kind, style := attr(e, "t"), attr(e, "s")
	var value, inline string
	var formula, stored bool
	err := x.inside(func(inner xml.StartElement) (err error) {
		switch inner.Name.Local {
		case "v":
			value, err = x.text()
			stored = true
		case "is":
			inline, err = richText(x)
		case "f":
			formula = true
			err = x.skip()
		default:
			err = x.skip()
		}
		return err
	})
	if err != nil {
		return err
	}
	text, m, err := b.content(kind, style, value, inline)
	if err == nil && formula && !stored {
		err = errors.New("the cell holds a formula without a stored value: open the file in a spreadsheet program, let it calculate, and save it")
	}
	if err != nil {
		return &cellError{row, column, value, err}
	}
	if text == "" {
		return nil
	}
	if column > discharge.MaxColumns {
		return &cellError{row, column, text, fmt.Errorf("at most %d columns are read", discharge.MaxColumns)}
	}
	if n := len(g.rows); n == 0 || g.rows[n-1].number != row {
		// Header, titles and comments come on top of the rows of readings.
		if n > discharge.MaxRows+1_000 {
			return &cellError{row, column, "", fmt.Errorf("more than %d rows: split the file", discharge.MaxRows)}
		}
		g.rows = append(g.rows, gridRow{number: row, hidden: g.hidden})
	}
	r := &g.rows[len(g.rows)-1]
	g.cells += column - len(r.cells)
	if g.cells > maxCells {
		return &cellError{row, column, "", fmt.Errorf("more than %d cells: split the file", maxCells)}
	}
	r.put(column-1, text, m)
	return nil
}

// content is the text of a cell by its kind and style, as ECMA-376 names them, and what
// it stands for.
func (b *book) content(kind, style, value, inline string) (text string, m mark, err error) {
	switch kind {
	case "s":
		if value == "" {
			return "", m, nil
		}
		n, err := strconv.Atoi(strings.TrimSpace(value))
		if err != nil || n < 0 || n >= len(b.strings) {
			return "", m, errors.New("the cell refers to a text that is not in the workbook; the file is damaged: save it again")
		}
		return b.strings[n], m, nil
	case "inlineStr":
		return inline, m, nil
	case "b":
		return map[string]string{"1": "TRUE", "0": "FALSE"}[value], m, nil
	case "e":
		return value, mark{kind: errorCell}, nil
	case "str":
		return value, m, nil
	case "d":
		return value, mark{kind: dateCell}, nil
	}
	v, err := strconv.ParseFloat(strings.TrimSpace(value), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return value, m, nil // left to the one who needs a number
	}
	switch b.format(style) {
	case dateFormat:
		return b.dateText(v), mark{kind: dateCell}, nil
	case percentFormat:
		return numberText(v), mark{percentCell, v}, nil
	}
	return numberText(v), m, nil
}
