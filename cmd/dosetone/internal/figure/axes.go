package figure

import (
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot/vg"
)

// axis maps values to a stretch of the figure.
type axis struct {
	lo, hi float64
	log    bool
	title  string
	suffix string // behind every tick's number
	ticks  []float64
}

// linear is an axis that holds all values with some room, with about n ticks.
func linear(title string, n int, values ...float64) axis {
	a := axis{title: title, lo: math.Inf(1), hi: math.Inf(-1)}
	for _, v := range values {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			a.lo, a.hi = min(a.lo, v), max(a.hi, v)
		}
	}
	if !(a.lo <= a.hi) {
		a.lo, a.hi = 0, 1
	}
	if a.hi-a.lo < 1e-9*math.Max(1, math.Abs(a.hi)) {
		a.lo, a.hi = a.lo-1, a.hi+1
	}
	room := 0.05 * (a.hi - a.lo)
	a.lo, a.hi = a.lo-room, a.hi+room
	a.mark(n)
	return a
}

// mark sets ticks at round numbers.
func (a *axis) mark(n int) {
	step := math.Pow(10, math.Floor(math.Log10((a.hi-a.lo)/float64(n))))
	for _, m := range []float64{1, 2, 5, 10} {
		if (a.hi-a.lo)/(m*step) <= float64(n) {
			step *= m
			break
		}
	}
	a.ticks = nil
	for i := math.Ceil(a.lo / step); i*step <= a.hi; i++ {
		a.ticks = append(a.ticks, i*step)
	}
}

// logarithmic is an axis from lo to hi, both above 0, with round ticks.
func logarithmic(title string, lo, hi float64) axis {
	a := axis{title: title, lo: lo, hi: hi, log: true}
	sets := [][]float64{{1}, {1, 3}, {1, 2, 5}, {1, 1.5, 2, 3, 4, 5, 7}, {1, 1.2, 1.4, 1.6, 1.8, 2, 2.5, 3, 3.5, 4, 5, 6, 7, 8, 9}}
	for _, set := range sets {
		a.ticks = nil
		for e := math.Floor(math.Log10(lo)); e <= math.Ceil(math.Log10(hi)); e++ {
			for _, m := range set {
				v := m * math.Pow(10, e)
				if v >= lo*(1-1e-9) && v <= hi*(1+1e-9) {
					a.ticks = append(a.ticks, v)
				}
			}
		}
		if len(a.ticks) >= 4 {
			break
		}
	}
	if len(a.ticks) > 8 { // a narrow range: ticks at equal steps instead
		b := axis{lo: lo, hi: hi}
		b.mark(5)
		a.ticks = b.ticks
	}
	return a
}

// at is the share of the way from lo to hi.
func (a *axis) at(v float64) float64 {
	if a.log {
		return math.Log(v/a.lo) / math.Log(a.hi/a.lo)
	}
	return (v - a.lo) / (a.hi - a.lo)
}

// tickText writes a tick with no more decimals than all of them need.
func (a *axis) tickText(v float64) string {
	s := strconv.FormatFloat(v, 'g', 6, 64)
	if math.Abs(v) < 1e-9 {
		s = "0"
	}
	return strings.Replace(s, "-", "−", 1) + a.suffix
}

// frame is the field of a plot with its axes.
type frame struct {
	x, y                     axis
	left, right, bottom, top float64
}

// newFrame lays a plot out in a figure of that size.
func newFrame(x, y axis, w, h float64) *frame {
	widest := 0.0
	for _, t := range y.ticks {
		widest = max(widest, textWidth(y.tickText(t), textTick))
	}
	return &frame{x: x, y: y, left: widest + 10, right: w - 14, bottom: 40, top: h - 28}
}

func (f *frame) px(x float64) float64 { return f.left + f.x.at(x)*(f.right-f.left) }
func (f *frame) py(y float64) float64 { return f.bottom + f.y.at(y)*(f.top-f.bottom) }

func (f *frame) pt(x, y float64) vg.Point { return pt(f.px(x), f.py(y)) }

// draw draws rules, ticks and titles: the y title lies flat above its axis.
func (f *frame) draw(c *canvas) {
	for _, t := range f.y.ticks {
		y := f.py(t)
		c.line(f.left, y, f.right, y, inkRule(), 0.8)
		c.tick(f.left-6, y-4, f.y.tickText(t), end)
	}
	last := math.Inf(-1)
	for _, t := range f.x.ticks {
		x := f.px(t)
		c.line(x, f.bottom, x, f.bottom-4, inkSoft(), 1)
		s := f.x.tickText(t)
		w := textWidth(s, textTick)
		if x-w/2 < last+4 {
			continue // no room for its number
		}
		last = x + w/2
		c.tick(min(x, c.w-w/2-1), f.bottom-18, s, middle)
	}
	c.line(f.left, f.bottom, f.right, f.bottom, inkSoft(), 1)
	c.text(pt(2, f.top+14), f.y.title, textStyle{size: textTick, ink: inkSoft()})
	c.text(pt(f.right, f.bottom-33), f.x.title, textStyle{size: textTick, anchor: end, ink: inkSoft()})
}
