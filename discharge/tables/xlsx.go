package tables

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"

	"example.com/dosetone/discharge"
)

// readXLSX reads one sheet of a workbook (ECMA-376, ISO/IEC 29500). Numbers
// are taken as stored, not as shown, so 0.35 shown as "35 %" stays 0.35; in a
// column whose name ends in _pct it is 35, as shown. Formulas give the value
// stored with them.
func readXLSX(name string, data []byte, part string) (*discharge.Sheet, error) {
	b, err := openBook(data)
	if err != nil {
		return nil, fault(name, 0, "", "", err)
	}
	chosen, err := b.sheet(part)
	if err != nil {
		return nil, fault(name, 0, "", "", err)
	}
	g, err := b.grid(chosen.part)
	if err != nil {
		var c *cellError
		if errors.As(err, &c) {
			return nil, fault(name, c.row, columnLetters(c.column), c.value, c.err)
		}
		return nil, fault(name, 0, "", "", err)
	}
	s := &discharge.Sheet{Name: name, Format: fmt.Sprintf("XLSX, sheet %q", clip(chosen.name))}
	others := b.others(chosen)
	if len(others) > 0 {
		s.Format += fmt.Sprintf(" of %d", len(b.sheets))
	}
	x := &xlsxTable{Sheet: s, grid: g}
	if chosen.hidden {
		x.warn(0, "", "", fmt.Errorf("sheet %q is hidden and was read", clip(chosen.name)))
	}
	if err := x.table(); err != nil {
		return nil, err
	}
	if len(x.Rows) == 0 && len(others) > 0 {
		return nil, fault(name, 0, "", "", fmt.Errorf("sheet %q has no rows below a header; the workbook also has %s (--sheet)", clip(chosen.name), quoted(others)))
	}
	return s, nil
}

// xlsxTable makes rows of cells.
type xlsxTable struct {
	*discharge.Sheet
	grid *grid
}

func (x *xlsxTable) warn(line int, column, value string, err error) {
	x.Warnings = append(x.Warnings, fault(x.Name, line, column, value, err))
}

func (x *xlsxTable) table() error {
	if err := x.header(); err != nil {
		return err
	}
	if err := x.unmerge(); err != nil {
		return err
	}
	comments, first, hidden, hiddenAt := 0, 0, 0, 0
	var percent, dated []string
	errorCells, errorAt := 0, [3]string{}
	errorRow := 0
	for _, r := range x.grid.rows {
		if r.number <= x.HeaderLine {
			continue
		}
		if strings.HasPrefix(strings.TrimSpace(r.text(0)), "#") && r.marks[0].kind != errorCell {
			if comments++; comments == 1 {
				first = r.number
			}
			continue
		}
		cells := make([]string, 0, len(x.Header))
		for j := range r.cells {
			text := r.cells[j]
			column := columnLetters(j + 1)
			if j < len(x.Header) && x.Header[j] != "" {
				column = x.Header[j]
			}
			switch r.marks[j].kind {
			case errorCell:
				if errorCells++; errorCells == 1 {
					errorRow, errorAt = r.number, [3]string{column, text}
				}
			case percentCell:
				if strings.HasSuffix(strings.ToLower(strings.TrimSpace(column)), "_pct") {
					text = hundredfold(r.marks[j].number)
					if !slices.Contains(percent, column) {
						percent = append(percent, column)
					}
				}
			case dateCell:
				if !slices.Contains(dated, column) {
					dated = append(dated, column)
				}
			}
			cells = append(cells, text)
		}
		if !slices.ContainsFunc(cells, func(c string) bool { return strings.TrimSpace(c) != "" }) {
			continue
		}
		if r.hidden {
			if hidden++; hidden == 1 {
				hiddenAt = r.number
			}
		}
		x.Rows, x.Lines = append(x.Rows, cells), append(x.Lines, r.number)
	}
	if comments > 0 {
		x.warn(first, "", "", fmt.Errorf("%d rows below the header start with # and were skipped", comments))
	}
	if len(percent) > 0 {
		x.warn(0, "", "", fmt.Errorf("cells shown as percentages were read as shown, 0.04 shown as 4 %% as 4, in columns %s", quoted(percent)))
	}
	if len(dated) > 0 {
		x.warn(0, "", "", fmt.Errorf("cells that the spreadsheet took for dates or times stand in columns %s; if they are names or numbers, such as 3-11, enter them as text", quoted(dated)))
	}
	if errorCells > 0 {
		x.warn(errorRow, errorAt[0], errorAt[1], fmt.Errorf("the spreadsheet could not work out %d cells; this is the first", errorCells))
	}
	if hidden > 0 {
		x.warn(hiddenAt, "", "", fmt.Errorf("%d hidden rows were read as well; this is the first. Delete rows that do not belong", hidden))
	}
	return nil
}

// header finds the row of names: the first with at least two cells that is not
// a comment. Single cells above it are titles.
func (x *xlsxTable) header() error {
	for _, r := range x.grid.rows {
		filled := 0
		for _, c := range r.cells {
			if strings.TrimSpace(c) != "" {
				filled++
			}
		}
		if filled == 0 || strings.HasPrefix(strings.TrimSpace(r.text(0)), "#") {
			continue
		}
		if filled == 1 {
			i := slices.IndexFunc(r.cells, func(c string) bool { return strings.TrimSpace(c) != "" })
			x.warn(r.number, "", r.cells[i], errors.New("a single cell above the table was taken for a title"))
			continue
		}
		x.HeaderLine = r.number
		x.Header = r.cells
		if len(x.Header) > discharge.MaxColumns {
			return fault(x.Name, r.number, "", "", fmt.Errorf("has %d columns; at most %d are read", len(x.Header), discharge.MaxColumns))
		}
		return nil
	}
	return fault(x.Name, 0, "", "", fmt.Errorf("no table in %s; want a row of column names and one row per reading below it", x.Format))
}

// unmerge gives every cell of a merged block of one column the block's value,
// which is what is seen. Blocks over several columns have no such meaning.
func (x *xlsxTable) unmerge() error {
	filled, first, work := 0, 0, 0
	for _, m := range x.grid.merges {
		if m.lastRow < x.HeaderLine {
			continue // titles
		}
		if m.lastColumn > m.column {
			what := "cells are merged across columns: unmerge them, one value per cell"
			if m.row <= x.HeaderLine {
				what = "names are merged across columns: unmerge them, one name per column"
			}
			return fault(x.Name, m.row, columnLetters(m.column), "", errors.New(what))
		}
		i, ok := x.grid.find(m.row)
		if !ok || m.column > len(x.grid.rows[i].cells) || x.grid.rows[i].cells[m.column-1] == "" {
			continue
		}
		value := x.grid.rows[i]
		for i++; i < len(x.grid.rows) && x.grid.rows[i].number <= m.lastRow; i++ {
			x.grid.rows[i].put(m.column-1, value.cells[m.column-1], value.marks[m.column-1])
			if work += m.column; work > maxCells {
				return fault(x.Name, m.row, columnLetters(m.column), "", fmt.Errorf("merged blocks cover more than %d cells: unmerge them", maxCells))
			}
		}
		if filled++; filled == 1 {
			first = m.row
		}
	}
	if filled > 0 {
		x.warn(first, "", "", fmt.Errorf("%d merged blocks of cells were read as if each cell held the block's value; this is the first", filled))
	}
	return nil
}

// find gives the place of a row by its number.
func (g *grid) find(number int) (int, bool) {
	return slices.BinarySearchFunc(g.rows, number, func(r gridRow, n int) int { return cmp.Compare(r.number, n) })
}
