package figure

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot/vg"
)

// svg writes a figure as an SVG element. Coordinates have one decimal: a tenth
// of a unit cannot be seen, and rounding there keeps pictures the same on
// machines that round the last bit otherwise.
type svg struct {
	b strings.Builder
	h float64
}

// SVG is the figure as an element for a page that holds Variables and Rules. It
// scales with the page's width; its text stays text.
func (f *Figure) SVG() string { return f.svg("", false) }

func (f *Figure) svg(style string, paper bool) string {
	s := &svg{h: f.H}
	id := "fig-" + f.Name
	// In a page the figure stands on the page's paper; a file brings its own, and
	// a margin.
	view, margin := `width="100%"`, 0.0
	if paper {
		margin = 10
		view = fmt.Sprintf(`width="%s" height="%s"`, number(f.W+2*margin), number(f.H+2*margin))
	}
	fmt.Fprintf(&s.b, `<svg xmlns="http://www.w3.org/2000/svg" class="fig" viewBox="%s %s %s %s" %s role="img" aria-labelledby="%s-t %s-d">`,
		number(-margin), number(-margin), number(f.W+2*margin), number(f.H+2*margin), view, id, id)
	fmt.Fprintf(&s.b, `<title id="%s-t">%s</title><desc id="%s-d">%s</desc>`, id, escape(f.Title), id, escape(f.Desc))
	if style != "" {
		s.b.WriteString("<style>" + style + "</style>")
	}
	if paper {
		s.fill(box(-margin, -margin, f.W+margin, f.H+margin), inkPaper(), 1)
	}
	f.draw(&canvas{s, f.W, f.H})
	s.b.WriteString("</svg>")
	return s.b.String()
}

// escape makes text safe in XML, and drops what XML cannot hold.
func escape(s string) string {
	return html.EscapeString(strings.Map(func(r rune) rune {
		if r < ' ' && r != '\t' && r != '\n' || r == 0xFFFE || r == 0xFFFF {
			return '\uFFFD'
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD")))
}

func number(v float64) string {
	s := strconv.FormatFloat(v, 'f', 1, 64)
	s = strings.TrimSuffix(s, ".0")
	if s == "-0" {
		return "0"
	}
	return s
}

func (s *svg) at(p vg.Point) string {
	return number(float64(p.X)) + " " + number(s.h-float64(p.Y))
}

func (s *svg) path(p vg.Path) string {
	var b strings.Builder
	for _, c := range p {
		switch c.Type {
		case vg.MoveComp:
			b.WriteString("M" + s.at(c.Pos))
		case vg.LineComp:
			b.WriteString("L" + s.at(c.Pos))
		case vg.ArcComp:
			// Only whole circles are drawn: two halves.
			r := number(float64(c.Radius))
			for _, a := range []float64{math.Pi, 2 * math.Pi} {
				e := vg.Point{X: c.Pos.X + c.Radius*vg.Length(math.Cos(a)), Y: c.Pos.Y + c.Radius*vg.Length(math.Sin(a))}
				b.WriteString("A" + r + " " + r + " 0 0 0 " + s.at(e))
			}
		case vg.CloseComp:
			b.WriteString("Z")
		}
	}
	return b.String()
}

func (s *svg) fill(p vg.Path, k Ink, opacity float64) {
	paint := `class="f-` + k.role + `"`
	if k.role == "" {
		paint = `fill="` + k.light + `"`
	}
	if opacity < 1 {
		paint += ` fill-opacity="` + strconv.FormatFloat(opacity, 'f', -1, 64) + `"`
	}
	fmt.Fprintf(&s.b, `<path %s d="%s"/>`, paint, s.path(p))
}

func (s *svg) stroke(p vg.Path, k Ink, width float64, dash []vg.Length) {
	paint := `class="s-` + k.role + `"`
	if k.role == "" {
		paint = `stroke="` + k.light + `"`
	}
	if len(dash) > 0 {
		parts := make([]string, len(dash))
		for i, d := range dash {
			parts[i] = number(float64(d))
		}
		paint += ` stroke-dasharray="` + strings.Join(parts, " ") + `"`
	}
	fmt.Fprintf(&s.b, `<path fill="none" %s stroke-width="%s" stroke-linejoin="round" stroke-linecap="round" d="%s"/>`, paint, number(width), s.path(p))
}

func (s *svg) text(at vg.Point, text string, t textStyle) {
	class := "f-" + t.ink.role
	if t.halo {
		class += " halo"
	}
	more := ""
	if t.anchor != start {
		more += fmt.Sprintf(` text-anchor="%s"`, [...]string{"start", "middle", "end"}[t.anchor])
	}
	if t.bold {
		more += ` font-weight="600"`
	}
	fmt.Fprintf(&s.b, `<text x="%s" y="%s" font-size="%s" class="%s"%s>%s</text>`, number(float64(at.X)), number(s.h-float64(at.Y)), number(t.size), class, more, escape(text))
}

func (s *svg) begin(title string) {
	s.b.WriteString(`<g class="mark"><title>` + escape(title) + `</title>`)
}

func (s *svg) end() { s.b.WriteString("</g>") }
