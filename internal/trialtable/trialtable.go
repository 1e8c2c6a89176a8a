// Package trialtable writes the readings of simulated lots as a table of trials,
// as the tool reads it. It is what simulators have in common that otherwise share
// nothing.
package trialtable

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"

	"example.com/dosetone/colorimetry"
)

// Invented is the first line of a file of simulated trials.
const Invented = "# invented data of a simulator; no real laundry\n"

// Table is a CSV table with a row per reading.
type Table struct {
	out     *csv.Writer
	process string
	columns int
}

// New writes the header of trials of a process with these columns of factors and
// reflectances on a grid.
func New(w io.Writer, process string, columns []string, grid colorimetry.Grid) *Table {
	t := &Table{csv.NewWriter(w), process, len(columns)}
	header := append([]string{"lot", "role", "process"}, columns...)
	header = append(header, "panel", "position")
	for i := range grid.N {
		header = append(header, fmt.Sprintf("R%d", grid.Wavelength(i)))
	}
	t.out.Write(header) // out keeps the first error, see Close
	return t
}

// Add writes a reading of a lot. Lots without settings, such as the base, leave
// the cells of the factors empty.
func (t *Table) Add(lot, role string, settings []float64, panel, position int, reflectance []float64) {
	row := []string{lot, role, t.process}
	for k := range t.columns {
		cell := ""
		if settings != nil {
			cell = strconv.FormatFloat(settings[k], 'g', -1, 64)
		}
		row = append(row, cell)
	}
	row = append(row, strconv.Itoa(panel), strconv.Itoa(position))
	for _, v := range reflectance {
		row = append(row, strconv.FormatFloat(v, 'f', 5, 64))
	}
	t.out.Write(row)
}

// Close ends the table and returns the first error of writing it.
func (t *Table) Close() error {
	t.out.Flush()
	return t.out.Error()
}
