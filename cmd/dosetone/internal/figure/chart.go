package figure

import (
	"fmt"
	"math"

	"gonum.org/v1/plot/vg"
)

// ChartPoint is one lot in a control chart of standardized values.
type ChartPoint struct {
	Lot         string
	Value       float64
	EWMA        float64
	Lo, Hi      float64 // limits of EWMA
	High, Low   float64 // the two sums of the CUSUM, not negative
	Out         bool    // beyond three standard deviations
	EWMAOut     bool
	CUSUMOut    bool
	CUSUMLimit  float64
	SingleLimit float64
}

// Chart is a control chart.
type Chart struct {
	Title    string // what is charted: "dose against settings"
	Up       string // what values above zero mean
	OneSided bool
	Points   []ChartPoint
}

// mostPoints is how many lots a chart shows: the last ones.
const mostPoints = 60

// NewChart draws single values with their EWMA above, and the CUSUM below.
func NewChart(name string, d Chart) Figure {
	left := ""
	if n := len(d.Points) - mostPoints; n > 0 {
		d.Points = d.Points[n:]
		left = fmt.Sprintf(" The first %d lots are not shown.", n)
	}
	alarms := 0
	for _, p := range d.Points {
		if p.Out || p.EWMAOut || p.CUSUMOut {
			alarms++
		}
	}
	f := Figure{Name: name, Title: "Control chart: " + d.Title, W: figureWidth, H: 360}
	f.Desc = fmt.Sprintf("%d lots in the order of the ledger, from %s to %s; %d of them raise an alarm.%s", len(d.Points), d.Points[0].Lot, d.Points[len(d.Points)-1].Lot, alarms, left)
	f.draw = func(c *canvas) { d.draw(c) }
	return f
}

func (d *Chart) draw(c *canvas) {
	n := float64(len(d.Points))
	x := axis{lo: 0.5, hi: n + 0.5}
	limit, sum := d.Points[0].SingleLimit, d.Points[0].CUSUMLimit
	span := limit + 0.5
	most := sum + 1
	for _, p := range d.Points {
		span = math.Max(span, math.Abs(p.Value)+0.5)
		most = math.Max(most, math.Max(p.High, p.Low)+1)
	}
	top := axis{title: d.Title + ", in sd: " + d.Up + " is up", lo: -span, hi: span}
	if d.OneSided {
		top.lo = -0.5
		for _, p := range d.Points {
			top.lo = min(top.lo, p.Value-0.5)
		}
	}
	top.mark(5)
	f := &frame{x: x, y: top, left: 40, right: c.w - 64, bottom: 172, top: c.h - 28}
	d.values(c, f, limit)
	low := axis{title: "accumulated (CUSUM)", lo: -most, hi: most}
	if d.OneSided {
		low.lo = -0.5
	}
	low.mark(4)
	g := &frame{x: x, y: low, left: 40, right: c.w - 64, bottom: 44, top: 138}
	d.sums(c, g, sum)
	// Names of lots mostly differ at their end.
	last := math.Inf(-1)
	for i, p := range d.Points {
		s := tail(p.Lot, 9)
		w := textWidth(s, textTick)
		at := min(max(g.px(float64(i+1)), w/2+1), c.w-w/2-1)
		if at-w/2 < last+14 {
			continue
		}
		last = at + w/2
		c.tick(at, g.bottom-16, s, middle)
	}
	c.text(pt(g.right, 4), "lots, in the order of the ledger", textStyle{size: textTick, anchor: end, ink: inkSoft()})
}

// tail is the end of a name that is too long.
func tail(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return "…" + string(r[len(r)-n+1:])
}

// rules draws the ticks of a chart's field.
func (f *frame) rules(c *canvas) {
	for _, t := range f.y.ticks {
		c.line(f.left, f.py(t), f.right, f.py(t), inkRule(), 0.8)
		c.tick(f.left-6, f.py(t)-4, f.y.tickText(t), end)
	}
	c.text(pt(2, f.top+12), f.y.title, textStyle{size: textTick, ink: inkSoft()})
}

func (f *frame) limit(c *canvas, v float64) {
	c.begin(fmt.Sprintf("limit %+.0f", v))
	c.line(f.left, f.py(v), f.right, f.py(v), inkHot(), 1.2, 6, 4)
	c.end()
	c.text(pt(f.right+4, f.py(v)-4), "limit", textStyle{size: textTick, ink: inkHot()})
}

// limits draws the rules and the limit, on both sides where there are two.
func (d *Chart) limits(c *canvas, f *frame, limit float64) {
	f.rules(c)
	f.limit(c, limit)
	if !d.OneSided {
		f.limit(c, -limit)
	}
}

func (d *Chart) values(c *canvas, f *frame, limit float64) {
	d.limits(c, f, limit)
	var ewma, lo, hi []vg.Point
	for i, p := range d.Points {
		x := float64(i + 1)
		ewma = append(ewma, f.pt(x, p.EWMA))
		hi, lo = append(hi, f.pt(x, p.Hi)), append(lo, f.pt(x, p.Lo))
	}
	if len(ewma) > 1 {
		c.begin("limits of the moving average")
		if d.OneSided {
			c.stroke(polyline(hi), inkLine(), 1, []vg.Length{2, 3})
		} else {
			c.fill(polygon(ribbon(lo, hi)), inkLine(), 0.13)
		}
		c.end()
		c.begin("moving average (EWMA)")
		c.stroke(polyline(ewma), inkLine(), 2.2, nil)
		c.end()
	}
	last := d.Points[len(d.Points)-1]
	c.text(pt(f.right+4, f.py(last.EWMA)-4), "average", textStyle{size: textTick, ink: inkLine()})
	for i, p := range d.Points {
		at := f.pt(float64(i+1), p.Value)
		c.begin(fmt.Sprintf("lot %s: %+.1f sd, average %+.2f", p.Lot, p.Value, p.EWMA))
		if p.Out || p.EWMAOut {
			c.cross(at, 4, inkHot())
		} else {
			c.fill(circle(at, 3), inkText(), 1)
		}
		c.end()
	}
}

func (d *Chart) sums(c *canvas, f *frame, limit float64) {
	d.limits(c, f, limit)
	c.line(f.left, f.py(0), f.right, f.py(0), inkSoft(), 1)
	w := math.Min(9, 0.7*(f.right-f.left)/float64(len(d.Points)))
	for i, p := range d.Points {
		x := f.px(float64(i + 1))
		for _, v := range []float64{p.High, -p.Low} {
			if v == 0 {
				continue
			}
			k := inkLine()
			if math.Abs(v) > limit && p.CUSUMOut {
				k = inkHot()
			}
			c.begin(fmt.Sprintf("lot %s: sum %+.1f", p.Lot, v))
			c.fill(box(x-w/2, f.py(0), x+w/2, f.py(v)), k, 0.8)
			c.end()
		}
	}
}
