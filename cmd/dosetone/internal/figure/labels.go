package figure

import "slices"

import "gonum.org/v1/plot/vg"

type rect struct{ x0, y0, x1, y1 float64 }

func (r rect) meets(o rect) bool { return r.x0 < o.x1 && o.x0 < r.x1 && r.y0 < o.y1 && o.y0 < r.y1 }

// labels puts names beside points so that they cover neither each other nor
// the points.
type labels struct {
	field rect // labels stay inside
	taken []rect
}

func (f *frame) labels() *labels {
	return &labels{field: rect{f.left + 2, f.bottom + 2, f.right + 12, f.top + 4}}
}

// keep keeps a point free.
func (l *labels) keep(p vg.Point, r float64) {
	x, y := float64(p.X), float64(p.Y)
	l.taken = append(l.taken, rect{x - r, y - r, x + r, y + r})
}

// along keeps a curve free.
func (l *labels) along(points []vg.Point) {
	for i := range points {
		l.keep(points[i], 2)
		if i > 0 {
			a, b := points[i-1], points[i]
			for _, t := range []vg.Length{0.25, 0.5, 0.75} {
				l.keep(vg.Point{X: a.X + t*(b.X-a.X), Y: a.Y + t*(b.Y-a.Y)}, 2)
			}
		}
	}
}

// put writes a name near p, r away, where there is room, and says whether
// there was any.
func (l *labels) put(c *canvas, p vg.Point, r float64, s string, k Ink) bool {
	s = shorten(s, 22)
	w, h := textWidth(s, textLabel), textLabel
	x, y := float64(p.X), float64(p.Y)
	for _, far := range []float64{1, 2.2, 3.6, 5} {
		d := r*far + 3
		type place struct {
			x, y float64
			a    anchor
		}
		for _, q := range []place{
			{x + d, y - 4, start}, {x - d, y - 4, end}, {x, y + d, middle}, {x, y - d - h + 3, middle},
			{x + 0.7*d, y + 0.7*d, start}, {x - 0.7*d, y + 0.7*d, end}, {x + 0.7*d, y - 0.7*d - h + 3, start}, {x - 0.7*d, y - 0.7*d - h + 3, end},
		} {
			x0 := q.x
			switch q.a {
			case middle:
				x0 -= w / 2
			case end:
				x0 -= w
			}
			own := rect{x0 - 3, q.y - 2, x0 + w + 3, q.y + h - 2}
			if own.x0 < l.field.x0 || own.x1 > l.field.x1 || own.y0 < l.field.y0 || own.y1 > l.field.y1 || l.hits(own) {
				continue
			}
			l.taken = append(l.taken, own)
			c.say(q.x, q.y, s, q.a, k)
			return true
		}
	}
	return false
}

func (l *labels) hits(r rect) bool {
	return slices.ContainsFunc(l.taken, r.meets)
}

// shorten cuts a name that would not fit.
func shorten(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n-1]) + "…"
}
