package figure

import (
	"fmt"
	"math"

	"gonum.org/v1/plot/vg"

	"example.com/dosetone/colorimetry"
)

// Named is a shade with a name.
type Named struct {
	Name    string
	Shade   colorimetry.Lab
	Odd     bool // drawn as a cross
	Notable bool // gets its name written
}

// Path is a shade path with what lies on it.
type Path struct {
	Shades  []colorimetry.Lab // from base to white, closely
	Off     [][2][2]float64   // covariance of lots' a*, b* about each; nil for none
	Lots    []Named
	Targets []Named // standard, suggestion: drawn large
}

// plane is a pair of coordinates of CIELAB.
type plane struct {
	x, y           func(c colorimetry.Lab) float64
	xTitle, yTitle string
	name           string
}

func planeLB() plane {
	return plane{func(c colorimetry.Lab) float64 { return c.B }, func(c colorimetry.Lab) float64 { return c.L }, "b*: bluer ← → yellower", "lightness L*", "L* and b*"}
}

func planeAB() plane {
	return plane{func(c colorimetry.Lab) float64 { return c.A }, func(c colorimetry.Lab) float64 { return c.B }, "a*: greener ← → redder", "b*: yellower is up", "a* and b*"}
}

// NewPathLB draws the path in L* and b*, NewPathAB in a* and b*.
func NewPathLB(name string, p Path) Figure { return newPath(name, p, planeLB()) }

// NewPathAB draws the path in a* and b*.
func NewPathAB(name string, p Path) Figure { return newPath(name, p, planeAB()) }

func newPath(name string, p Path, q plane) Figure {
	f := Figure{Name: name, Title: "The shade path in " + q.name, W: figureWidth, H: 310}
	base, white := p.Shades[0], p.Shades[len(p.Shades)-1]
	f.Desc = fmt.Sprintf("A curve from base (L* %.1f, a* %.1f, b* %.1f) to white (L* %.1f, a* %.1f, b* %.1f), with %d lots as dots.",
		base.L, base.A, base.B, white.L, white.A, white.B, len(p.Lots))
	for _, t := range p.Targets {
		f.Desc += fmt.Sprintf(" %s lies at L* %.1f, a* %.1f, b* %.1f.", t.Name, t.Shade.L, t.Shade.A, t.Shade.B)
	}
	f.draw = func(c *canvas) { p.draw(c, q) }
	return f
}

func (p *Path) draw(c *canvas, q plane) {
	var xs, ys []float64
	for _, s := range p.Shades {
		xs, ys = append(xs, q.x(s)), append(ys, q.y(s))
	}
	for _, list := range [][]Named{p.Lots, p.Targets} {
		for _, n := range list {
			xs, ys = append(xs, q.x(n.Shade)), append(ys, q.y(n.Shade))
		}
	}
	f := newFrame(linear(q.xTitle, 6, xs...), linear(q.yTitle, 6, ys...), c.w, c.h)
	f.draw(c)
	at := func(s colorimetry.Lab) vg.Point { return f.pt(q.x(s), q.y(s)) }
	if p.Off != nil {
		c.begin("where 95 % of lots lie about the path")
		c.fill(polygon(p.around(f, q)), inkLine(), 0.13)
		c.end()
	}
	l := f.labels()
	var curve []vg.Point
	for _, s := range p.Shades {
		curve = append(curve, at(s))
	}
	c.begin("shade path from base to white, in its own colors")
	c.stroke(polyline(curve), inkSoft(), 7, nil)
	for i := 1; i < len(curve); i++ {
		mid := mixed(p.Shades[i-1], p.Shades[i])
		c.stroke(polyline(curve[i-1:i+1]), swatch(mid), 5.5, nil)
	}
	c.end()
	l.along(curve)
	for _, n := range p.Lots {
		l.keep(at(n.Shade), 5)
	}
	for _, n := range p.Targets {
		l.keep(at(n.Shade), 8)
	}
	ends := []Named{{Name: "base", Shade: p.Shades[0]}, {Name: "white", Shade: p.Shades[len(p.Shades)-1]}}
	for _, n := range ends {
		c.begin(title(n))
		a := at(n.Shade)
		x, y := float64(a.X), float64(a.Y)
		c.fill(box(x-5, y-5, x+5, y+5), swatch(n.Shade), 1)
		c.stroke(box(x-5, y-5, x+5, y+5), inkText(), 1.2, nil)
		c.end()
		l.keep(a, 6)
	}
	for _, n := range p.Lots {
		if n.Odd {
			c.begin(title(n) + ", little weight")
			c.cross(at(n.Shade), 4.5, inkHot())
			c.end()
			continue
		}
		c.dot(at(n.Shade), 4, swatch(n.Shade), title(n))
	}
	for _, n := range p.Targets {
		c.diamond(at(n.Shade), 7, swatch(n.Shade), title(n))
	}
	for _, n := range p.Targets {
		l.put(c, at(n.Shade), 8, n.Name, inkHot())
	}
	for _, n := range ends {
		l.put(c, at(n.Shade), 6, n.Name, inkText())
	}
	for _, n := range p.Lots {
		if n.Notable || n.Odd {
			l.put(c, at(n.Shade), 5, n.Name, inkSoft())
		}
	}
}

// around is the outline of the lots' scatter off the path, at right angles to
// it in the figure.
func (p *Path) around(f *frame, q plane) []vg.Point {
	n := len(p.Shades)
	lo, hi := make([]vg.Point, n), make([]vg.Point, n)
	sx := (f.right - f.left) / (f.x.hi - f.x.lo)
	sy := (f.top - f.bottom) / (f.y.hi - f.y.lo)
	for i, s := range p.Shades {
		a, b := f.pt(q.x(p.Shades[max(i-1, 0)]), q.y(p.Shades[max(i-1, 0)])), f.pt(q.x(p.Shades[min(i+1, n-1)]), q.y(p.Shades[min(i+1, n-1)]))
		dx, dy := float64(b.X-a.X), float64(b.Y-a.Y)
		r := math.Hypot(dx, dy)
		if r == 0 {
			r = 1
		}
		nx, ny := -dy/r, dx/r
		// Scatter of a*, b* in the figure's plane; L* is the level itself.
		v := p.Off[i]
		var cov [2][2]float64
		if q.name == planeAB().name {
			cov = [2][2]float64{{v[0][0] * sx * sx, v[0][1] * sx * sy}, {v[0][1] * sx * sy, v[1][1] * sy * sy}}
		} else {
			cov[0][0] = v[1][1] * sx * sx
		}
		h := 1.96 * math.Sqrt(nx*nx*cov[0][0]+2*nx*ny*cov[0][1]+ny*ny*cov[1][1])
		m := f.pt(q.x(s), q.y(s))
		clip := func(x, y float64) vg.Point {
			return pt(min(max(x, f.left), f.right), min(max(y, f.bottom), f.top))
		}
		lo[i] = clip(float64(m.X)-h*nx, float64(m.Y)-h*ny)
		hi[i] = clip(float64(m.X)+h*nx, float64(m.Y)+h*ny)
	}
	return ribbon(lo, hi)
}

func title(n Named) string {
	return fmt.Sprintf("%s: L* %.1f, a* %.1f, b* %.1f", n.Name, n.Shade.L, n.Shade.A, n.Shade.B)
}

func mixed(a, b colorimetry.Lab) colorimetry.Lab {
	return colorimetry.Lab{L: (a.L + b.L) / 2, A: (a.A + b.A) / 2, B: (a.B + b.B) / 2}
}
