package published

import (
	"embed"
	"encoding/csv"
	"fmt"
	"strconv"
)

//go:embed color/*.csv
var colorFiles embed.FS

// A colorRow is one row of a table in color/, by column name.
type colorRow struct {
	file   string
	line   int
	values map[string]string
}

// colorTable reads a table. The files are embedded and their sums are tested,
// so a fault in one is a fault of this package.
func colorTable(name string) []colorRow {
	file, err := colorFiles.Open("color/" + name)
	if err != nil {
		panic(err)
	}
	defer file.Close()
	records, err := csv.NewReader(file).ReadAll()
	if err != nil {
		panic(fmt.Sprintf("published: color/%s: %v", name, err))
	}
	rows := make([]colorRow, len(records)-1)
	for i, record := range records[1:] {
		rows[i] = colorRow{name, i + 2, make(map[string]string)}
		for j, cell := range record {
			rows[i].values[records[0][j]] = cell
		}
	}
	return rows
}

func (r colorRow) text(column string) string {
	cell, ok := r.values[column]
	if !ok {
		panic(fmt.Sprintf("published: color/%s has no column %q", r.file, column))
	}
	return cell
}

func (r colorRow) float(column string) float64 {
	x, err := strconv.ParseFloat(r.text(column), 64)
	if err != nil {
		panic(fmt.Sprintf("published: color/%s:%d: column %q: %v", r.file, r.line, column, err))
	}
	return x
}

func (r colorRow) int(column string) int { return int(r.float(column)) }

// optional is float for a cell that may be blank.
func (r colorRow) optional(column string) (x float64, ok bool) {
	if r.text(column) == "" {
		return 0, false
	}
	return r.float(column), true
}

func (r colorRow) xyz(x, y, z string) struct{ X, Y, Z float64 } {
	return struct{ X, Y, Z float64 }{r.float(x), r.float(y), r.float(z)}
}

func (r colorRow) lab(l, a, b string) struct{ L, A, B float64 } {
	return struct{ L, A, B float64 }{r.float(l), r.float(a), r.float(b)}
}

// viewing returns "D65/10" from the columns illuminant and observer.
func (r colorRow) viewing() string {
	field := map[string]string{"1931_2deg": "2", "1964_10deg": "10"}[r.text("observer")]
	if field == "" {
		panic(fmt.Sprintf("published: color/%s:%d: observer %q", r.file, r.line, r.text("observer")))
	}
	return r.text("illuminant") + "/" + field
}
