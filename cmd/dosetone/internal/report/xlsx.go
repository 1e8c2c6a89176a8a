package report

import (
	"fmt"
	"io"
	"math"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"
)

// maxCellText is the longest text that a cell of a workbook holds, in
// characters (the limit that spreadsheet programs share).
const maxCellText = 32_767

// XLSX writes rows as [CSV] takes them, the first being the header, as a
// workbook of one sheet: numbers as numbers with all their digits, text as
// text, never a formula. NaN and infinities are errors, as they are in JSON.
func XLSX(w io.Writer, sheet string, rows [][]any) error {
	f := excelize.NewFile()
	defer f.Close()
	if err := f.SetSheetName("Sheet1", sheet); err != nil {
		return err
	}
	bold, err := f.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}})
	if err != nil {
		return err
	}
	out, err := f.NewStreamWriter(sheet)
	if err != nil {
		return err
	}
	for j, width := range widths(rows) {
		if err := out.SetColWidth(j+1, j+1, width); err != nil {
			return err
		}
	}
	if err := out.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	for i, row := range rows {
		cells := make([]any, len(row))
		for j, c := range row {
			if cells[j], err = workbookCell(c); err != nil {
				return fmt.Errorf("row %d, column %d: %w", i+1, j+1, err)
			}
			if i == 0 {
				cells[j] = excelize.Cell{StyleID: bold, Value: cells[j]}
			}
		}
		at, err := excelize.CoordinatesToCellName(1, i+1)
		if err != nil {
			return err
		}
		if err := out.SetRow(at, cells); err != nil {
			return err
		}
	}
	if err := out.Flush(); err != nil {
		return err
	}
	_, err = f.WriteTo(w)
	return err
}

// workbookCell is a value as the workbook stores it.
func workbookCell(c any) (any, error) {
	switch v := c.(type) {
	case nil:
		return nil, nil
	case *float64:
		if v == nil {
			return nil, nil
		}
		return workbookCell(*v)
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("%v is no number for a table", v)
		}
		return v, nil
	case int, bool:
		return v, nil
	case string:
		return fits(guarded(v))
	}
	return fits(guarded(fmt.Sprint(c)))
}

func fits(s string) (any, error) {
	if n := utf8.RuneCountInString(s); n > maxCellText {
		return nil, fmt.Errorf("a text of %d characters is too long for a workbook; write CSV or JSON", n)
	}
	return s, nil
}

// widths gives columns room for their texts, within reason.
func widths(rows [][]any) []float64 {
	var out []float64
	for _, row := range rows {
		for j, c := range row {
			if j == len(out) {
				out = append(out, 8)
			}
			if s, ok := c.(string); ok {
				out[j] = min(max(out[j], float64(utf8.RuneCountInString(s)+2)), 40)
			}
		}
	}
	return out
}
