package figure

import (
	"math"

	"gonum.org/v1/plot/vg"
)

// Figure is a picture that can be drawn on any surface.
type Figure struct {
	Name  string // of the file and in ids: unique within a page
	Title string // what it is
	Desc  string // what it shows, for those who cannot see it
	W, H  float64
	draw  func(c *canvas)
}

// Width of every figure in its own units: a phone shows them about one to one,
// so that the smallest text stays readable there.
const figureWidth = 400

// Text sizes.
const (
	textTick  = 11.5
	textLabel = 12.5
)

// surface is what a figure is drawn on, the origin at the bottom left.
type surface interface {
	fill(p vg.Path, k Ink, opacity float64)
	stroke(p vg.Path, k Ink, width float64, dash []vg.Length)
	text(at vg.Point, s string, t textStyle)
	begin(title string) // of a mark
	end()
}

type anchor int

const (
	start anchor = iota
	middle
	end
)

type textStyle struct {
	size   float64
	anchor anchor
	ink    Ink
	bold   bool
	halo   bool
}

// canvas is a surface with the shapes that figures are made of.
type canvas struct {
	surface
	w, h float64
}

func pt(x, y float64) vg.Point { return vg.Point{X: vg.Length(x), Y: vg.Length(y)} }

func polyline(points []vg.Point) vg.Path {
	var p vg.Path
	for i, q := range points {
		if i == 0 {
			p.Move(q)
		} else {
			p.Line(q)
		}
	}
	return p
}

func polygon(points []vg.Point) vg.Path {
	p := polyline(points)
	p.Close()
	return p
}

func circle(at vg.Point, r float64) vg.Path {
	var p vg.Path
	p.Move(vg.Point{X: at.X + vg.Length(r), Y: at.Y})
	p.Arc(at, vg.Length(r), 0, 2*math.Pi)
	p.Close()
	return p
}

func box(x0, y0, x1, y1 float64) vg.Path {
	return polygon([]vg.Point{pt(x0, y0), pt(x1, y0), pt(x1, y1), pt(x0, y1)})
}

func (c *canvas) line(x0, y0, x1, y1 float64, k Ink, width float64, dash ...vg.Length) {
	c.stroke(polyline([]vg.Point{pt(x0, y0), pt(x1, y1)}), k, width, dash)
}

func (c *canvas) say(x, y float64, s string, a anchor, k Ink) {
	c.text(pt(x, y), s, textStyle{size: textLabel, anchor: a, ink: k, halo: true})
}

func (c *canvas) tick(x, y float64, s string, a anchor) {
	c.text(pt(x, y), s, textStyle{size: textTick, anchor: a, ink: inkSoft()})
}

// dot is a mark in its own color with a ring, so that it shows on any paper.
func (c *canvas) dot(at vg.Point, r float64, fill Ink, title string) {
	c.begin(title)
	c.fill(circle(at, r), fill, 1)
	c.stroke(circle(at, r), inkText(), 1, nil)
	c.end()
}

// diamond is the sign of a standard or target.
func (c *canvas) diamond(at vg.Point, r float64, fill Ink, title string) {
	x, y := float64(at.X), float64(at.Y)
	p := polygon([]vg.Point{pt(x-r, y), pt(x, y+r), pt(x+r, y), pt(x, y-r)})
	c.begin(title)
	c.fill(p, fill, 1)
	c.stroke(p, inkPaper(), 3.5, nil)
	c.fill(p, fill, 1)
	c.stroke(p, inkHot(), 2, nil)
	c.end()
}

// cross is the sign of what lies outside or does not fit.
func (c *canvas) cross(at vg.Point, r float64, k Ink) {
	x, y := float64(at.X), float64(at.Y)
	c.line(x-r, y-r, x+r, y+r, k, 2)
	c.line(x-r, y+r, x+r, y-r, k, 2)
}

// textWidth is about how wide a text is, by the widths of a grotesque; fonts of
// readers' machines differ by some percent, which the last factor covers.
func textWidth(s string, size float64) float64 {
	w := 0.0
	for _, r := range s {
		switch {
		case r == ' ' || r == '.' || r == ',' || r == 'i' || r == 'l' || r == 'j' || r == '\'' || r == '|' || r == ':' || r == 't' || r == 'f':
			w += 0.29
		case r == 'm' || r == 'w' || r == 'M' || r == 'W' || r == '%' || r == '–':
			w += 0.85
		case r >= 'A' && r <= 'Z' || r == 'Δ':
			w += 0.68
		case r > 0x2e80: // wide scripts
			w += 1
		default:
			w += 0.56
		}
	}
	return 1.06 * w * size
}

// triangle points down at x, y.
func triangle(x, y float64) []vg.Point {
	return []vg.Point{pt(x, y), pt(x-4, y+7), pt(x+4, y+7)}
}
