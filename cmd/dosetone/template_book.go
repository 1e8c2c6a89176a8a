package main

import (
	"io"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"

	"example.com/dosetone/discharge"
)

// templateRows is how many rows of a template have lists and checks.
const templateRows = 2_000

// bookWriter gathers the first error of many small steps.
type bookWriter struct {
	*excelize.File
	err error
}

func (b *bookWriter) do(err error) {
	if b.err == nil {
		b.err = err
	}
}

func (b *bookWriter) style(s *excelize.Style) int {
	id, err := b.NewStyle(s)
	b.do(err)
	return id
}

// templateBook writes a template as a workbook: the table on the first sheet,
// what its columns mean on the second.
func templateBook(w io.Writer, p discharge.Process, columns []templateColumn) error {
	b := &bookWriter{File: excelize.NewFile()}
	defer b.Close()
	const table, help = "lots", "columns"
	b.do(b.SetSheetName("Sheet1", table))
	_, err := b.NewSheet(help)
	b.do(err)
	b.tableSheet(table, columns)
	b.helpSheet(help, p, columns)
	if b.err != nil {
		return b.err
	}
	_, err = b.WriteTo(w)
	return err
}

func (b *bookWriter) tableSheet(sheet string, columns []templateColumn) {
	head := func(align string) int {
		return b.style(&excelize.Style{Font: &excelize.Font{Bold: true}, Alignment: &excelize.Alignment{Horizontal: align},
			Border: []excelize.Border{{Type: "bottom", Style: 1, Color: "000000"}}})
	}
	text, number := head("left"), head("right")
	for j, c := range columns {
		letter, err := excelize.ColumnNumberToName(j + 1)
		b.do(err)
		format := "@" // text, so that a lot named 3-11 is not taken for a date
		if c.number {
			format = "General"
			if c.digits > 0 {
				format = "0." + strings.Repeat("0", c.digits)
			}
		}
		cells := b.style(&excelize.Style{CustomNumFmt: &format})
		example := b.style(&excelize.Style{CustomNumFmt: &format, Font: &excelize.Font{Italic: true, Color: "606060"}})
		b.do(b.SetColStyle(sheet, letter, cells))
		b.do(b.SetColWidth(sheet, letter, letter, max(8, 1.15*float64(max(len(c.Column), len(c.Example)))+3)))
		b.do(b.SetCellStr(sheet, letter+"1", c.Column))
		heading := text
		if c.number {
			heading = number
		}
		b.do(b.SetCellStyle(sheet, letter+"1", letter+"1", heading))
		if v, err := parseNumber(c.Example); err == nil && c.number {
			b.do(b.SetCellFloat(sheet, letter+"2", v, -1, 64))
		} else if c.Example != "" {
			b.do(b.SetCellStr(sheet, letter+"2", c.Example))
		}
		b.do(b.SetCellStyle(sheet, letter+"2", letter+"2", example))
		b.do(b.AddComment(sheet, excelize.Comment{Cell: letter + "1", Author: "dosetone", Width: 260, Height: 110,
			Text: c.headed() + ". " + c.Meaning + ". Needed: " + c.Needed + "."}))
		b.check(sheet, letter, c)
	}
	landscape, one, many, yes := "landscape", 1, 0, true
	b.do(b.SetPageLayout(sheet, &excelize.PageLayoutOptions{Orientation: &landscape, FitToWidth: &one, FitToHeight: &many}))
	b.do(b.SetSheetProps(sheet, &excelize.SheetPropsOptions{FitToPage: &yes}))
	b.do(b.SetPanes(sheet, &excelize.Panes{Freeze: true, XSplit: 2, YSplit: 1, TopLeftCell: "C2", ActivePane: "bottomRight"}))
}

// check offers the words of a closed list, and doubts text where a number goes.
func (b *bookWriter) check(sheet, letter string, c templateColumn) {
	rows := letter + "3:" + letter + strconv.Itoa(templateRows)
	switch {
	case len(c.Choices) > 0:
		v := excelize.NewDataValidation(true)
		v.Sqref = rows
		b.do(v.SetDropList(c.Choices))
		v.SetError(excelize.DataValidationErrorStyleStop, c.Column, "Choose from the list.")
		b.do(b.AddDataValidation(sheet, v))
	case c.number:
		v := excelize.NewDataValidation(true)
		v.Sqref = rows
		least := -1e9
		if c.least != nil {
			least = *c.least
		}
		b.do(v.SetRange(least, 1e9, excelize.DataValidationTypeDecimal, excelize.DataValidationOperatorBetween))
		v.SetError(excelize.DataValidationErrorStyleStop, c.Column, "Enter a number; the unit stands in the heading.")
		b.do(b.AddDataValidation(sheet, v))
	}
}

func (b *bookWriter) helpSheet(sheet string, p discharge.Process, columns []templateColumn) {
	head := b.style(&excelize.Style{Font: &excelize.Font{Bold: true}})
	wrap := b.style(&excelize.Style{Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}})
	rows := [][]any{
		{"Table of lots for " + p.ID + ": " + p.Title},
		{"One row per reading, on the sheet lots. The example row is skipped when the table is read: overwrite it or leave it."},
		{"Readings of the base and of the fully discharged white help much; vary strength, ratio and time, not along one line, at three levels where you can."},
		{},
		{"column", "unit", "needed", "meaning", "choices"},
	}
	for _, c := range columns {
		rows = append(rows, []any{c.Column, c.Unit, c.Needed, c.Meaning, strings.Join(c.Choices, ", ")})
	}
	for i, row := range rows {
		at, err := excelize.CoordinatesToCellName(1, i+1)
		b.do(err)
		b.do(b.SetSheetRow(sheet, at, &row))
		end, err := excelize.CoordinatesToCellName(5, i+1)
		b.do(err)
		if i > 4 {
			b.do(b.SetCellStyle(sheet, at, end, wrap))
		}
	}
	b.do(b.SetCellStyle(sheet, "A5", "E5", head))
	b.do(b.SetCellStyle(sheet, "A1", "A1", head))
	for j, width := range []float64{18, 10, 9, 80, 40} {
		letter := string(rune('A' + j))
		b.do(b.SetColWidth(sheet, letter, letter, width))
	}
}
