package figure

import (
	"fmt"
	"math"
)

// ShadeBand is a group of lots that may go together.
type ShadeBand struct {
	Label string
	Lots  []Named
}

// NewBands draws each band in a row over lightness.
func NewBands(name string, bands []ShadeBand, limit float64) Figure {
	f := Figure{Name: name, Title: "Shade bands", W: figureWidth, H: 66 + 34*float64(len(bands))}
	n := 0
	for _, b := range bands {
		n += len(b.Lots)
	}
	f.Desc = fmt.Sprintf("%d lots in %d bands, each a row over L*, light bands first; any two lots of a band differ by at most ΔE00 %.3g.", n, len(bands), limit)
	f.draw = func(c *canvas) { drawBands(c, bands) }
	return f
}

func drawBands(c *canvas, bands []ShadeBand) {
	var ls []float64
	left := 40.0
	for _, b := range bands {
		left = max(left, textWidth(b.Label, textLabel)+18)
		for _, l := range b.Lots {
			ls = append(ls, l.Shade.L)
		}
	}
	x := linear("lightness L*", 6, ls...)
	f := &frame{x: x, y: axis{lo: 0, hi: 1}, left: left, right: c.w - 14, bottom: 40, top: c.h - 20}
	f.draw(c)
	for i, b := range bands {
		y := c.h - 30 - 34*float64(i)
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, l := range b.Lots {
			lo, hi = min(lo, f.px(l.Shade.L)), max(hi, f.px(l.Shade.L))
		}
		c.text(pt(left-12, y-4), b.Label, textStyle{size: textLabel, anchor: end, ink: inkText(), bold: true})
		c.begin("band " + b.Label)
		c.fill(box(lo-11, y-12, hi+11, y+12), inkLine(), 0.14)
		c.end()
		for _, l := range b.Lots {
			at := pt(f.px(l.Shade.L), y)
			c.dot(at, 7, swatch(l.Shade), title(l))
		}
	}
}
