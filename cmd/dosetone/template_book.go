package main

import (
	"io"
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/workbook"
	"example.com/dosetone/discharge"
)

// templateRows is how many rows of a template have lists and checks.
const templateRows = 2_000

// templateBook writes a template as a workbook: the table on the first sheet,
// what its columns mean on the second.
func templateBook(w io.Writer, p discharge.Process, columns []templateColumn) error {
	b := workbook.New()
	if err := tableSheet(b.Sheet("lots"), columns); err != nil {
		return err
	}
	if err := helpSheet(b.Sheet("columns"), p, columns); err != nil {
		return err
	}
	return b.Write(w)
}

func tableSheet(s *workbook.Sheet, columns []templateColumn) error {
	s.FreezeRows, s.FreezeColumns, s.Landscape = 1, 2, true
	for i, c := range columns {
		j := i + 1
		format := "@" // text, so that a lot named 3-11 is not taken for a date
		if c.number {
			format = "General"
			if c.digits > 0 {
				format = "0." + strings.Repeat("0", c.digits)
			}
		}
		s.Column(j, max(8, 1.15*float64(max(len(c.Column), len(c.Example)))+3), workbook.Style{Format: format})
		s.Note(1, j, c.headed()+". "+c.Meaning+". Needed: "+c.Needed+".")
		if err := s.Set(1, j, c.Column, workbook.Style{Bold: true, Ruled: true, Right: c.number}); err != nil {
			return err
		}
		var example any
		if v, err := parseNumber(c.Example); err == nil && c.number {
			example = v
		} else if c.Example != "" {
			example = c.Example
		}
		if err := s.Set(2, j, example, workbook.Style{Faint: true, Format: format}); err != nil {
			return err
		}
		switch {
		case len(c.Choices) > 0:
			if err := s.List(j, 3, templateRows, c.Column, c.Choices); err != nil {
				return err
			}
		case c.number:
			s.Numbers(j, 3, templateRows, c.Column, c.least)
		}
	}
	return nil
}

func helpSheet(s *workbook.Sheet, p discharge.Process, columns []templateColumn) error {
	rows := [][]string{
		{"Table of lots for " + p.ID + ": " + p.Title},
		{"One row per reading, on the sheet lots. The example row is skipped when the table is read: overwrite it or leave it."},
		{"Readings of the base and of the fully discharged white help much; vary strength, ratio and time, not along one line, at three levels where you can."},
		{},
		{"column", "unit", "needed", "meaning", "choices"},
	}
	const head = 5
	for _, c := range columns {
		rows = append(rows, []string{c.Column, c.Unit, c.Needed, c.Meaning, strings.Join(c.Choices, ", ")})
	}
	for i, row := range rows {
		style := workbook.Style{Bold: i == 0 || i == head-1, Wrap: i >= head}
		for j, text := range row {
			if err := s.Set(i+1, j+1, text, style); err != nil {
				return err
			}
		}
	}
	for j, width := range []float64{18, 10, 9, 80, 40} {
		s.Column(j+1, width, workbook.Style{})
	}
	return nil
}
