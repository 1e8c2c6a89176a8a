package figure

import (
	"fmt"

	"gonum.org/v1/plot/vg"
)

// PassCurve is how probably lots pass by the time at which they are unloaded.
type PassCurve struct {
	Name    string
	Minutes []float64
	Pass    []float64 // 0..1
}

// Pass is what the picture of the pass probability shows. The first curve is
// the suggestion to follow.
type Pass struct {
	Curves   []PassCurve
	Window   [2]float64 // of the first: zeros for none
	From, To float64    // tested times
}

// NewPass draws pass probability against time.
func NewPass(name string, p Pass) Figure {
	f := Figure{Name: name, Title: "Pass probability against time", W: figureWidth, H: 290}
	first := p.Curves[0]
	best, at := peak(first)
	f.Desc = fmt.Sprintf("The probability that a lot passes, at the settings of %s, is highest, %.0f %%, at %.1f min", first.Name, 100*best, at)
	if p.Window != [2]float64{} {
		f.Desc += fmt.Sprintf("; the unloading window is %.1f to %.1f min", p.Window[0], p.Window[1])
	}
	f.Desc += "."
	f.draw = func(c *canvas) { p.draw(c) }
	return f
}

func peak(p PassCurve) (best, at float64) {
	for i, v := range p.Pass {
		if v > best {
			best, at = v, p.Minutes[i]
		}
	}
	return best, at
}

func (p *Pass) draw(c *canvas) {
	first := p.Curves[0]
	x := axis{title: "time, min", lo: first.Minutes[0], hi: first.Minutes[len(first.Minutes)-1]}
	x.mark(7)
	y := axis{title: "lots that pass", lo: 0, hi: 104, suffix: " %", ticks: []float64{0, 25, 50, 75, 100}}
	f := newFrame(x, y, c.w, c.h)
	f.draw(c)
	l := f.labels()
	if p.Window != [2]float64{} {
		a, b := f.px(p.Window[0]), f.px(p.Window[1])
		c.begin(fmt.Sprintf("unload from %.1f to %.1f min", p.Window[0], p.Window[1]))
		c.fill(box(a, f.bottom, b, f.top), inkGood(), 0.2)
		c.line(a, f.bottom, a, f.top, inkGood(), 1.2)
		c.line(b, f.bottom, b, f.top, inkGood(), 1.2)
		c.end()
		s := fmt.Sprintf("unload %.1f–%.1f min", p.Window[0], p.Window[1])
		w := textWidth(s, textLabel)
		at := min(max((a+b)/2, f.left+w/2), f.right+12-w/2)
		c.say(at, f.top+4, s, middle, inkGood())
	}
	for i := len(p.Curves) - 1; i >= 0; i-- {
		q := p.Curves[i]
		var curve []vg.Point
		for k, m := range q.Minutes {
			curve = append(curve, f.pt(m, 100*q.Pass[k]))
		}
		width, k, dash := 2.4, inkLine(), []vg.Length(nil)
		if i > 0 {
			width, dash = 1, []vg.Length{4, 3}
			k = inkSoft()
		}
		c.begin("pass probability at the settings of " + q.Name)
		c.stroke(polyline(curve), k, width, dash)
		c.end()
		if i == 0 {
			l.along(curve)
		}
	}
	for i, q := range p.Curves {
		best, at := peak(q)
		top := f.pt(at, 100*best)
		k := inkSoft()
		if i == 0 {
			c.begin(fmt.Sprintf("%s: %.0f %% at %.1f min", q.Name, 100*best, at))
			c.fill(circle(top, 4.5), inkHot(), 1)
			c.end()
			k = inkHot()
			l.put(c, top, 5, fmt.Sprintf("%s: %.0f %%", q.Name, 100*best), k)
			continue
		}
		l.put(c, top, 3, q.Name, k)
	}
	for _, t := range []struct {
		at   float64
		name string
	}{{p.From, "shortest tested"}, {p.To, "longest tested"}} {
		if t.at > x.lo && t.at < x.hi {
			c.line(f.px(t.at), f.bottom, f.px(t.at), f.top, inkSoft(), 1, 2, 4)
			l.put(c, pt(f.px(t.at), f.bottom+8), 1, t.name, inkSoft())
		}
	}
}
