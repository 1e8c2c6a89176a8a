package figure

import (
	"fmt"

	"example.com/dosetone/colorimetry"
)

// StripMark is a place on the strip.
type StripMark struct {
	Name  string
	Level float64 // 0 at base, 1 at white
}

// Pair is a shade laid edge to edge with the standard.
type Pair struct {
	Name   string
	Shade  colorimetry.Lab
	DeltaE float64
}

// Strip is a row of swatches from base to white, and pairs with a standard.
type Strip struct {
	Shades   []colorimetry.Lab // at even steps of level
	Marks    []StripMark
	Standard *Named // nil for none
	Pairs    []Pair // beside the standard
}

// NewStrip draws swatches: what the path looks like, and how far shades are
// from the standard.
func NewStrip(name string, s Strip) Figure {
	f := Figure{Name: name, Title: "Swatches from base to white", W: figureWidth, H: 124}
	f.Desc = fmt.Sprintf("The shades that this fabric passes through, from L* %.1f to L* %.1f.", s.Shades[0].L, s.Shades[len(s.Shades)-1].L)
	if s.Standard != nil {
		f.H += 40 + 78*float64((len(s.Pairs)+2)/3)
		for _, p := range s.Pairs {
			f.Desc += fmt.Sprintf(" %s lies ΔE00 %.2f from %s.", p.Name, p.DeltaE, s.Standard.Name)
		}
	}
	f.draw = func(c *canvas) { s.draw(c) }
	return f
}

func (s *Strip) draw(c *canvas) {
	const left, right = 6.0, 394.0
	n := len(s.Shades)
	top := c.h - 54 // three lines of names
	w := (right - left) / float64(n)
	for i, shade := range s.Shades {
		c.begin(fmt.Sprintf("L* %.1f, a* %.1f, b* %.1f", shade.L, shade.A, shade.B))
		x := left + float64(i)*w
		c.fill(box(x, top-44, right, top), swatch(shade), 1) // the next covers the rest: no seams
		c.end()
	}
	c.stroke(box(left, top-44, right, top), inkSoft(), 0.8, nil)
	x := func(level float64) float64 { return left + min(max(level, 0), 1)*(right-left) }
	c.tick(left, top-59, fmt.Sprintf("base L* %.1f", s.Shades[0].L), start)
	c.tick(right, top-59, fmt.Sprintf("white L* %.1f", s.Shades[n-1].L), end)
	mid := s.Shades[n/2]
	c.tick((left+right)/2, top-59, fmt.Sprintf("L* %.1f", mid.L), middle)
	// Names above the strip, on more lines when they would meet.
	last := [3]float64{-1, -1, -1}
	for _, m := range s.Marks {
		tw := textWidth(m.Name, textLabel)
		at := min(max(x(m.Level), left+tw/2), right-tw/2)
		line := 0
		for line < len(last)-1 && at-tw/2 < last[line]+4 {
			line++
		}
		if at-tw/2 < last[line]+4 {
			continue
		}
		last[line] = at + tw/2
		c.begin(fmt.Sprintf("%s at %.0f %% of the way to white", m.Name, 100*m.Level))
		y := top + 3
		c.fill(polygon(triangle(x(m.Level), y)), inkText(), 1)
		c.end()
		c.say(at, top+12+14*float64(line), m.Name, middle, inkText())
	}
	if s.Standard != nil {
		s.pairs(c, top-84)
	}
}

// pairs lays each shade edge to edge with the standard, three to a row.
func (s *Strip) pairs(c *canvas, top float64) {
	const left, gap, height = 6.0, 14.0, 44.0
	w := (388 - 2*gap) / 3
	c.text(pt(left, top+1), shorten(s.Standard.Name, 30)+" on the left of each pair", textStyle{size: textTick, ink: inkSoft()})
	for i, p := range s.Pairs {
		x := left + float64(i%3)*(w+gap)
		y := top - 8 - 78*float64(i/3)
		c.begin(fmt.Sprintf("%s beside %s: ΔE00 %.2f", p.Name, s.Standard.Name, p.DeltaE))
		c.fill(box(x, y-height, x+w, y), swatch(s.Standard.Shade), 1)
		c.fill(box(x+w/2, y-height, x+w, y), swatch(p.Shade), 1)
		c.end()
		c.stroke(box(x, y-height, x+w, y), inkSoft(), 0.8, nil)
		c.tick(x, y-height-14, fmt.Sprintf("%s: ΔE00 %.2f", shorten(p.Name, 9), p.DeltaE), start)
	}
}
