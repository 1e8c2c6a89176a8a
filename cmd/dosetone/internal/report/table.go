package report

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// A Table is text in aligned columns.
type Table struct {
	Header []string
	Units  []string // a second header line; nil for none
	Left   []bool   // columns aligned to the left; nil for none
	Rows   [][]string
}

// Add appends a row.
func (t *Table) Add(cells ...string) { t.Rows = append(t.Rows, cells) }

// String returns the table, indented by two spaces, with a line end after
// every row; line ends and tabs in cells, which may be names of others, show as
// blanks. Columns that are empty throughout are left out.
func (t *Table) String() string {
	lines := [][]string{}
	if t.Header != nil {
		lines = append(lines, t.Header)
	}
	if t.Units != nil {
		lines = append(lines, t.Units)
	}
	lines = append(lines, t.Rows...)
	blank := strings.NewReplacer("\r\n", " ", "\n", " ", "\r", " ", "\t", " ")
	var widths []int
	for i, line := range lines {
		lines[i] = slices.Clone(line)
		for j, c := range line {
			c = blank.Replace(c)
			lines[i][j] = c
			if j == len(widths) {
				widths = append(widths, 0)
			}
			widths[j] = max(widths[j], width(c))
		}
	}
	var b strings.Builder
	for _, line := range lines {
		var row strings.Builder
		for j, c := range line {
			if widths[j] == 0 {
				continue
			}
			row.WriteString("  ")
			pad := strings.Repeat(" ", widths[j]-width(c))
			if j < len(t.Left) && t.Left[j] {
				row.WriteString(c + pad)
			} else {
				row.WriteString(pad + c)
			}
		}
		b.WriteString(strings.TrimRight(row.String(), " "))
		b.WriteByte('\n')
	}
	return b.String()
}

// width is the number of columns that s takes on a terminal, for text without
// wide or combining characters, which is all that this tool prints.
func width(s string) int { return utf8.RuneCountInString(stripANSI(s)) }

func stripANSI(s string) string {
	if !strings.Contains(s, "\x1b") {
		return s
	}
	return regexp.MustCompile("\x1b\\[[0-9;]*m").ReplaceAllString(s, "")
}

// Wrap breaks text into lines of at most columns runes; the first line starts
// with first, the others with rest. A number stays with the word after it, which
// may be its unit.
func Wrap(text, first, rest string, columns int) string {
	var b strings.Builder
	line, empty := first, true
	words := strings.Fields(text)
	for i := 0; i < len(words); i++ {
		word := words[i]
		if isNumber(word) && i+1 < len(words) && !isNumber(words[i+1]) {
			i++
			word += " " + words[i]
		}
		if !empty && width(line)+1+width(word) > columns {
			b.WriteString(line + "\n")
			line, empty = rest, true
		}
		if !empty {
			line += " "
		}
		line += word
		empty = false
	}
	b.WriteString(line + "\n")
	return b.String()
}

func isNumber(word string) bool {
	_, err := strconv.ParseFloat(word, 64)
	return err == nil && strings.ContainsAny(word, "0123456789")
}
