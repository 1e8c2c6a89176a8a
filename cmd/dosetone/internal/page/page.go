// Package page renders reports as one HTML file that needs nothing else: no
// script, no network, no font. It opens offline, prints, reads on a phone and
// follows the reader's light or dark.
//
// Everything that comes from users passes through html/template, and controls
// that could reorder text are made visible. The same content gives the same
// bytes.
package page

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/figure"
	"example.com/dosetone/cmd/dosetone/internal/report"
)

// Page is a report.
type Page struct {
	Kind     string // what it is, above the title: "Model", "Weigh sheet"
	Title    string
	Lead     string // the finding in a sentence or two
	Facts    []Fact
	Sections []Section
	Foot     []Fact // where it comes from
	Sheet    bool   // a sheet for the floor: printed large, with boxes to tick
}

// Fact is a number with its name.
type Fact struct{ Name, Value, Note string }

// Section is a part of the page under a heading.
type Section struct {
	ID, Title string
	Blocks    []Block
	Break     bool // starts a new sheet of paper
}

// Block is one thing in a section: whichever field is set.
type Block struct {
	Verdict *Verdict
	Text    string
	List    []string
	Steps   []Step
	Picture *Picture
	Table   *Table
	Notes   []Note
	Sign    []string // lines to sign on, by what for
	Heading string
}

// Verdict is a decision in a word with a sign that needs no color.
type Verdict struct {
	Sign, Word, Text string
	Tone             string // good, hot or open
}

// Step is a line of an order of work, with a box to tick.
type Step struct{ Do, Note, Caution string }

// Picture is a figure with what can be read from it.
type Picture struct {
	Figure  figure.Figure
	Reading []string // beside it
	Caption string   // how to read it
}

// Note is something to heed, such as a caution.
type Note struct {
	Name, Text, Source string
	Tone               string // hot for what can hurt
}

// Table is a table with a header; the first column names the row.
type Table struct {
	Caption  string
	Header   []string
	Text     []bool // columns of text, set left; nil for none but the first
	Rows     [][]Cell
	Tick     bool // a box before each row
	Emphasis int  // 1-based row that matters most; 0 for none
}

// Cell is a text, perhaps behind a swatch "#rrggbb".
type Cell struct{ Text, Swatch string }

// Row makes cells of texts.
func Row(texts ...string) []Cell {
	out := make([]Cell, len(texts))
	for i, t := range texts {
		out[i].Text = t
	}
	return out
}

//go:embed page.html
var pageHTML string

//go:embed page.css
var pageCSS string

// Render writes the page.
func Render(p *Page) ([]byte, error) {
	names := map[string]bool{}
	for _, s := range p.Sections {
		for _, b := range s.Blocks {
			if b.Picture == nil {
				continue
			}
			if n := b.Picture.Figure.Name; names[n] {
				return nil, fmt.Errorf("two figures are called %q", n)
			}
			names[b.Picture.Figure.Name] = true
		}
	}
	light, dark := figure.Variables()
	css := strings.NewReplacer("/*light*/", light, "/*dark*/", dark).Replace(pageCSS) + figure.Rules()
	t, err := template.New("page").Funcs(template.FuncMap{
		"css": func() template.CSS { return template.CSS(css) },
		// The figure escapes its own texts.
		"svg":  func(f figure.Figure) template.HTML { return template.HTML(f.SVG()) },
		"add1": func(i int) int { return i + 1 },
		// A percent sign stays on the line of its number.
		"together": strings.NewReplacer(" %", "\u00a0%", "L* ", "L*\u00a0", "a* ", "a*\u00a0", "b* ", "b*\u00a0").Replace,
		"left":     func(t *Table, col int) bool { return col == 0 || col < len(t.Text) && t.Text[col] },
		// Only #rrggbb may become a color.
		"color": func(s string) template.CSS {
			if !isHex(s) {
				return ""
			}
			return template.CSS("background:" + s)
		},
	}).Parse(pageHTML)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := t.Execute(&b, p); err != nil {
		return nil, err
	}
	// None of our own text has such characters, and they are the same in
	// attributes, text and SVG.
	return report.Visible(b.Bytes()), nil
}

func isHex(s string) bool {
	return len(s) == 7 && s[0] == '#' && strings.Trim(s[1:], "0123456789abcdef") == ""
}
