package report

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"example.com/dosetone/discharge"
)

// JSON writes v indented, with a line end. NaN and infinities are errors.
func JSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}

// CSV writes rows, the first being the header. A cell is a string, a float64,
// a *float64 (nil: empty), an int, a bool or nil (empty).
//
// Text that a spreadsheet would take for a formula gets an apostrophe in
// front, since names come from files of others.
func CSV(w io.Writer, rows [][]any) error {
	text := make([][]string, 0, len(rows))
	for _, row := range rows {
		cells := make([]string, len(row))
		for i, c := range row {
			cells[i] = cell(c)
		}
		text = append(text, cells)
	}
	return discharge.WriteCSV(w, text)
}

func cell(c any) string {
	switch v := c.(type) {
	case nil:
		return ""
	case float64:
		return Exact(v)
	case *float64:
		if v == nil {
			return ""
		}
		return Exact(*v)
	case string:
		return guarded(v)
	}
	return fmt.Sprint(c)
}

// guarded puts an apostrophe in front of text that a spreadsheet would take
// for a formula.
func guarded(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r\n", rune(s[0])) {
		return "'" + s
	}
	return s
}
