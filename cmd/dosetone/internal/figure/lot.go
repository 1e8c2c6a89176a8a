package figure

import (
	"fmt"
	"math"

	"gonum.org/v1/plot/vg"

	"example.com/dosetone/colorimetry"
)

// Lot is a lot beside its standard.
type Lot struct {
	Name      string
	Standard  colorimetry.Lab
	Limits    []Named // light and dark limit
	Tolerance float64
	Formula   string
	Diff      func(ref, sample colorimetry.Lab) float64
	Panels    []Named // Odd: outside
	Mean      colorimetry.Lab
	Path      []colorimetry.Lab // of the laundry; nil without a model
}

// NewLotAB draws the lot in a* and b*, NewLotLB in L* and b*.
func NewLotAB(name string, l Lot) Figure { return newLot(name, l, planeAB()) }

// NewLotLB draws the lot in L* and b*.
func NewLotLB(name string, l Lot) Figure { return newLot(name, l, planeLB()) }

func newLot(name string, l Lot, q plane) Figure {
	f := Figure{Name: name, Title: "Lot " + l.Name + " and the standard in " + q.name, W: figureWidth, H: 320}
	out := 0
	for _, p := range l.Panels {
		if p.Odd {
			out++
		}
	}
	f.Desc = fmt.Sprintf("The standard at L* %.1f, a* %.1f, b* %.1f with its tolerance of %.3g, the lot's mean at L* %.1f, a* %.1f, b* %.1f, and its %d panels, %d of them outside.",
		l.Standard.L, l.Standard.A, l.Standard.B, l.Tolerance, l.Mean.L, l.Mean.A, l.Mean.B, len(l.Panels), out)
	f.draw = func(c *canvas) { l.draw(c, q) }
	return f
}

// outline is where the difference from ref is the tolerance, in the plane
// through ref.
func (l *Lot) outline(ref colorimetry.Lab, q plane) []colorimetry.Lab {
	const n = 72
	out := make([]colorimetry.Lab, n)
	for i := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / n)
		at := func(r float64) colorimetry.Lab {
			if q.name == planeAB().name {
				return colorimetry.Lab{L: ref.L, A: ref.A + r*cos, B: ref.B + r*sin}
			}
			return colorimetry.Lab{L: ref.L + r*sin, A: ref.A, B: ref.B + r*cos}
		}
		lo, hi := 0.0, 8*l.Tolerance
		for range 40 {
			if mid := (lo + hi) / 2; l.Diff(ref, at(mid)) < l.Tolerance {
				lo = mid
			} else {
				hi = mid
			}
		}
		out[i] = at(lo)
	}
	return out
}

func (l *Lot) draw(c *canvas, q plane) {
	approved := append([]Named{{Name: "standard", Shade: l.Standard}}, l.Limits...)
	var outlines [][]colorimetry.Lab
	var xs, ys []float64
	add := func(s colorimetry.Lab) { xs, ys = append(xs, q.x(s)), append(ys, q.y(s)) }
	for _, a := range approved {
		o := l.outline(a.Shade, q)
		outlines = append(outlines, o)
		for _, s := range o {
			add(s)
		}
	}
	for _, p := range l.Panels {
		add(p.Shade)
	}
	add(l.Mean)
	f := newFrame(linear(q.xTitle, 6, xs...), linear(q.yTitle, 6, ys...), c.w, c.h)
	f.square(6)
	f.draw(c)
	at := func(s colorimetry.Lab) vg.Point { return f.pt(q.x(s), q.y(s)) }
	for i, o := range outlines {
		var p []vg.Point
		for _, s := range o {
			p = append(p, at(s))
		}
		dash := []vg.Length{4, 3}
		c.begin(fmt.Sprintf("%s %.3g about the %s", l.Formula, l.Tolerance, approved[i].Name))
		if i == 0 {
			c.fill(polygon(p), inkGood(), 0.16)
			dash = nil
		}
		c.stroke(polygon(p), inkGood(), 1.4, dash)
		c.end()
	}
	labels := f.labels()
	l.path(c, f, q, labels)
	for _, p := range l.Panels {
		labels.keep(at(p.Shade), 5)
	}
	for _, a := range approved {
		labels.keep(at(a.Shade), 7)
	}
	labels.keep(at(l.Mean), 8)
	for i, a := range approved {
		r := 7.0
		if i > 0 {
			r = 5
		}
		c.diamond(at(a.Shade), r, swatch(a.Shade), title(a))
	}
	for _, p := range l.Panels {
		n := p
		n.Name = "panel " + p.Name
		if !p.Odd {
			c.dot(at(p.Shade), 4, swatch(p.Shade), title(n))
			continue
		}
		c.begin(title(n) + ", outside")
		c.cross(at(p.Shade), 4.5, inkHot())
		c.end()
	}
	m := at(l.Mean)
	x, y := float64(m.X), float64(m.Y)
	c.begin(title(Named{Name: "mean of the lot", Shade: l.Mean}))
	c.stroke(circle(m, 8), inkText(), 2, nil)
	c.line(x-12, y, x-4, y, inkText(), 2)
	c.line(x+4, y, x+12, y, inkText(), 2)
	c.end()
	for _, a := range approved {
		labels.put(c, at(a.Shade), 8, a.Name, inkHot())
	}
	labels.put(c, m, 11, "mean of "+l.Name, inkText())
	for _, p := range l.Panels {
		if p.Odd {
			labels.put(c, at(p.Shade), 6, p.Name, inkHot())
		}
	}
}

// path draws the part of the shade path that lies in the field.
func (l *Lot) path(c *canvas, f *frame, q plane, labels *labels) {
	var run []vg.Point
	named := false
	flush := func() {
		if len(run) > 1 {
			c.begin("shade path of this fabric")
			c.stroke(polyline(run), inkLine(), 1.6, []vg.Length{1, 4})
			c.end()
			labels.along(run)
			if !named {
				named = labels.put(c, run[len(run)-1], 3, "shade path", inkLine()) || labels.put(c, run[0], 3, "shade path", inkLine())
			}
		}
		run = nil
	}
	for _, s := range l.Path {
		if p := f.pt(q.x(s), q.y(s)); f.holds(p) {
			run = append(run, p)
		} else {
			flush()
		}
	}
	flush()
}

// square gives both axes the same units per length.
func (f *frame) square(ticks int) {
	x, y := (f.x.hi-f.x.lo)/(f.right-f.left), (f.y.hi-f.y.lo)/(f.top-f.bottom)
	widen := func(a *axis, by float64) {
		mid, half := (a.lo+a.hi)/2, (a.hi-a.lo)/2*by
		a.lo, a.hi = mid-half, mid+half
		a.mark(ticks)
	}
	if x < y {
		widen(&f.x, y/x)
	} else {
		widen(&f.y, x/y)
	}
}
