package report

import (
	"fmt"
	"io"
	"unicode/utf8"

	"example.com/dosetone/cmd/dosetone/internal/workbook"
)

// XLSX writes rows as [CSV] takes them, the first being the header, as a
// workbook of one sheet: numbers as numbers with all their digits, text as
// text, never a formula. NaN and infinities are errors, as they are in JSON.
func XLSX(w io.Writer, sheet string, rows [][]any) error {
	b := workbook.New()
	s := b.Sheet(sheet)
	s.FreezeRows = 1
	for j, width := range widths(rows) {
		s.Column(j+1, width, workbook.Style{})
	}
	for i, row := range rows {
		for j, c := range row {
			if err := s.Set(i+1, j+1, workbookCell(c), workbook.Style{Bold: i == 0}); err != nil {
				return err
			}
		}
	}
	return b.Write(w)
}

// workbookCell is a value as the workbook stores it.
func workbookCell(c any) any {
	switch v := c.(type) {
	case *float64:
		if v == nil {
			return nil
		}
		return *v
	case nil, float64, int, bool:
		return v
	case string:
		return guarded(v)
	}
	return guarded(fmt.Sprint(c))
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
