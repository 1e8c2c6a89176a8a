package figure

import (
	"fmt"
	"math"

	"gonum.org/v1/plot/vg"
)

// Setting is an axis of settings.
type Setting struct {
	Name   string
	Unit   string
	Lo, Hi float64 // of the field
	From   float64 // tested range
	To     float64
	Log    bool
}

// Title is the name with its unit.
func (s Setting) Title() string {
	if s.Unit == "" {
		return s.Name
	}
	return s.Name + ", " + s.Unit
}

func (s Setting) axis() axis {
	if s.Log {
		return logarithmic(s.Title(), s.Lo, s.Hi)
	}
	a := axis{title: s.Title(), lo: s.Lo, hi: s.Hi}
	a.mark(6)
	return a
}

// At is the value at a share of the way across the field.
func (s Setting) At(share float64) float64 {
	if s.Log {
		return s.Lo * math.Pow(s.Hi/s.Lo, share)
	}
	return s.Lo + share*(s.Hi-s.Lo)
}

// Spot is a lot or a suggestion in the field.
type Spot struct {
	Name  string
	X, Y  float64
	Exact bool // the other settings are those of the field
}

// Contour is what the contour of equal shade shows: grids by column and row.
type Contour struct {
	X, Y        Setting
	Lightness   [][]float64 // expected L*
	DeltaE      [][]float64 // from the target
	Tolerance   float64
	Lots        []Spot
	Suggestions []Spot
	Held        string // what the other settings are
}

// NewContour draws lines of equal lightness, and where lots are within
// tolerance.
func NewContour(name string, d Contour) Figure {
	f := Figure{Name: name, Title: "Equal shades over " + d.X.Name + " and " + d.Y.Name, W: figureWidth, H: 330}
	f.Desc = fmt.Sprintf("Lines of equal expected L*, the band in which the expected shade lies within ΔE00 %.3g of the target, the tested region, %d trial lots and %d suggestions", d.Tolerance, len(d.Lots), len(d.Suggestions))
	if d.Held != "" {
		f.Desc += ", at " + d.Held
	}
	f.Desc += "."
	f.draw = func(c *canvas) { d.draw(c) }
	return f
}

func (d *Contour) draw(c *canvas) {
	columns, rows := len(d.Lightness), len(d.Lightness[0])
	f := newFrame(d.X.axis(), d.Y.axis(), c.w, c.h)
	f.draw(c)
	for _, poly := range d.within(f) {
		c.begin(fmt.Sprintf("expected shade within ΔE00 %.3g of the target", d.Tolerance))
		c.fill(polygon(poly), inkGood(), 0.24)
		c.end()
	}
	l := f.labels()
	for _, chain := range isolines(d.DeltaE, d.Tolerance) {
		p := f.path(chain, columns, rows)
		c.stroke(polyline(p), inkGood(), 1.4, nil)
	}
	// The tested region: outside it the model is a guess.
	x0, x1, y0, y1 := f.px(max(d.X.From, d.X.Lo)), f.px(min(d.X.To, d.X.Hi)), f.py(max(d.Y.From, d.Y.Lo)), f.py(min(d.Y.To, d.Y.Hi))
	c.begin("tested region")
	c.stroke(box(x0, y0, x1, y1), inkText(), 1.1, []vg.Length{6, 4})
	c.end()
	for _, s := range append(append([]Spot{}, d.Suggestions...), d.Lots...) {
		l.keep(f.pt(s.X, s.Y), 6)
	}
	type line struct {
		level float64
		p     []vg.Point
	}
	var lines []line
	lo, hi := extremes(d.Lightness)
	for _, level := range linear("", 13, lo, hi).ticks {
		for _, chain := range isolines(d.Lightness, level) {
			p := f.path(chain, columns, rows)
			c.begin(fmt.Sprintf("expected L* %.0f", level))
			c.stroke(polyline(p), inkLine(), 1.1, nil)
			c.end()
			lines = append(lines, line{level, p})
		}
	}
	for _, s := range d.Lots {
		if at := f.pt(s.X, s.Y); f.holds(at) {
			c.begin("lot " + s.Name)
			c.fill(circle(at, 2.6), inkSoft(), 1)
			c.end()
		}
	}
	for _, s := range d.Suggestions {
		at := f.pt(s.X, s.Y)
		if !f.holds(at) {
			continue
		}
		c.begin("suggestion " + s.Name)
		k := inkPaper()
		if s.Exact {
			k = inkHot()
		}
		c.fill(circle(at, 5), k, 1)
		c.stroke(circle(at, 5), inkHot(), 2, nil)
		c.end()
	}
	for _, s := range d.Suggestions {
		if at := f.pt(s.X, s.Y); f.holds(at) {
			l.put(c, at, 6, s.Name, inkHot())
		}
	}
	if at, ok := d.widest(f, columns, rows); ok {
		l.put(c, at, 2, fmt.Sprintf("ΔE00 ≤ %.3g", d.Tolerance), inkGood())
	}
	for _, x := range lines {
		nameLine(c, l, f, x.p, fmt.Sprintf("%.4g", x.level))
	}
	l.put(c, pt(x0+30, y0+3), 1, "tested", inkText())
}

// nameLine writes the value of a line on it, near one of its ends.
func nameLine(c *canvas, l *labels, f *frame, p []vg.Point, s string) {
	w := textWidth(s, textTick)
	for _, share := range []float64{0.85, 0.7, 0.5, 0.3, 0.15} {
		if len(p) < 3 {
			return
		}
		at := p[int(share*float64(len(p)-1))]
		x, y := float64(at.X), float64(at.Y)
		own := rect{x - w/2, y - 7, x + w/2, y + 7}
		if own.x0 < f.left || own.x1 > f.right || own.y0 < f.bottom+4 || own.y1 > f.top || l.hits(own) {
			continue
		}
		l.taken = append(l.taken, own)
		c.text(pt(x, y-4), s, textStyle{size: textTick, anchor: middle, ink: inkLine(), halo: true})
		return
	}
}

// holds reports whether a point lies in the field.
func (f *frame) holds(p vg.Point) bool {
	x, y := float64(p.X), float64(p.Y)
	return x >= f.left-1 && x <= f.right+1 && y >= f.bottom-1 && y <= f.top+1
}

func extremes(z [][]float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, col := range z {
		for _, v := range col {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	return lo, hi
}

// band is the stretch of rows of one column within tolerance, in rows.
func (d *Contour) band(i int) (from, to float64, ok bool) {
	col := d.DeltaE[i]
	for j, v := range col {
		if v > d.Tolerance {
			continue
		}
		if !ok {
			from, ok = float64(j), true
			if j > 0 {
				from -= (d.Tolerance - v) / (col[j-1] - v)
			}
		}
		to = float64(j)
		if j+1 < len(col) && col[j+1] > d.Tolerance {
			to += (d.Tolerance - v) / (col[j+1] - v)
		}
	}
	return from, to, ok
}

// within are the outlines of what lies within tolerance, column by column.
func (d *Contour) within(f *frame) [][]vg.Point {
	columns, rows := len(d.DeltaE), len(d.DeltaE[0])
	var out [][]vg.Point
	var lo, hi [][2]float64
	flush := func() {
		if len(lo) > 1 {
			out = append(out, ribbon(f.path(lo, columns, rows), f.path(hi, columns, rows)))
		}
		lo, hi = nil, nil
	}
	for i := range columns {
		from, to, ok := d.band(i)
		if !ok {
			flush()
			continue
		}
		lo, hi = append(lo, [2]float64{float64(i), from}), append(hi, [2]float64{float64(i), to})
	}
	flush()
	return out
}

// widest is the middle of the upper edge of the band where it is widest.
func (d *Contour) widest(f *frame, columns, rows int) (vg.Point, bool) {
	best, at, found := 0.0, [2]float64{}, false
	for i := range columns {
		if from, to, ok := d.band(i); ok && to-from > best {
			best, at, found = to-from, [2]float64{float64(i), (from + to) / 2}, true
		}
	}
	return f.path([][2]float64{at}, columns, rows)[0], found
}

// Band is the time (or what else stands upwards) within tolerance at the column
// nearest to x; ok is false where nothing is.
func (d *Contour) Band(x float64) (from, to float64, ok bool) {
	a := d.X.axis()
	i := int(math.Round(a.at(x) * float64(len(d.DeltaE)-1)))
	if i < 0 || i >= len(d.DeltaE) {
		return 0, 0, false
	}
	lo, hi, ok := d.band(i)
	n := float64(len(d.DeltaE[0]) - 1)
	return d.Y.At(lo / n), d.Y.At(hi / n), ok
}
