package figure

import (
	"fmt"
	"math"

	"gonum.org/v1/plot/vg"

	"example.com/dosetone/colorimetry"
)

// DosePoint is a step of the dose-response curve. Dose is a multiple of that in
// the middle of the trials; the rest is L*.
type DosePoint struct {
	Dose, L        float64
	MeanLo, MeanHi float64 // 95 % of what the curve may be
	LotLo, LotHi   float64 // 95 % of the means of further lots
}

// DoseLot is a trial lot on the curve.
type DoseLot struct {
	Name    string
	Dose    float64
	Shade   colorimetry.Lab
	Odd     bool // has little weight in the fit
	Notable bool // gets its name written
}

// Dose is what the dose-response picture shows.
type Dose struct {
	Curve       []DosePoint
	Lots        []DoseLot
	Base, White float64
	// Without is the curve's L* without the lot named, nil to leave it out.
	Without     []float64
	WithoutName string
}

// NewDose draws lightness against dose.
func NewDose(name string, d Dose) Figure {
	n := len(d.Curve)
	f := Figure{Name: name, Title: "Lightness against dose", W: figureWidth, H: 310}
	f.Desc = fmt.Sprintf("The expected L* rises from %.1f at %.2g times the middle dose to %.1f at %.2g times, between base %.1f and white %.1f, with the %d trial lots as dots.",
		d.Curve[0].L, d.Curve[0].Dose, d.Curve[n-1].L, d.Curve[n-1].Dose, d.Base, d.White, len(d.Lots))
	f.draw = func(c *canvas) { d.draw(c) }
	return f
}

func (d *Dose) draw(c *canvas) {
	lo, hi := d.Curve[0].Dose, d.Curve[len(d.Curve)-1].Dose
	values := []float64{d.Base, d.White}
	for _, l := range d.Lots {
		lo, hi = min(lo, l.Dose), max(hi, l.Dose)
		values = append(values, l.Shade.L)
	}
	room := math.Pow(hi/lo, 0.04)
	x := logarithmic("dose, × the middle of the trials", lo/room, hi*room)
	x.suffix = "×"
	y := linear("lightness L*", 6, values...)
	f := newFrame(x, y, c.w, c.h)
	f.draw(c)
	var mean, lots [2][]vg.Point
	var curve []vg.Point
	clip := func(v float64) float64 { return min(max(v, y.lo), y.hi) }
	for _, p := range d.Curve {
		curve = append(curve, f.pt(p.Dose, p.L))
		for k, v := range [2]float64{p.MeanLo, p.MeanHi} {
			mean[k] = append(mean[k], f.pt(p.Dose, clip(v)))
		}
		for k, v := range [2]float64{p.LotLo, p.LotHi} {
			lots[k] = append(lots[k], f.pt(p.Dose, clip(v)))
		}
	}
	mark := func(title string, draw func()) {
		c.begin(title)
		draw()
		c.end()
	}
	mark("95 % of the means of further lots", func() {
		c.fill(polygon(ribbon(lots[0], lots[1])), inkLine(), 0.12)
		c.stroke(polyline(lots[0]), inkLine(), 0.7, []vg.Length{1, 3})
		c.stroke(polyline(lots[1]), inkLine(), 0.7, []vg.Length{1, 3})
	})
	mark("95 % confidence of the curve", func() { c.fill(polygon(ribbon(mean[0], mean[1])), inkLine(), 0.24) })
	mark("expected lightness", func() { c.stroke(polyline(curve), inkLine(), 2.2, nil) })
	l := f.labels()
	d.ends(c, f, l)
	l.along(curve)
	for i := range d.Lots {
		l.keep(f.pt(d.Lots[i].Dose, d.Lots[i].Shade.L), 5.5)
	}
	if d.Without != nil {
		var w []vg.Point
		for i, p := range d.Curve {
			w = append(w, f.pt(p.Dose, clip(d.Without[i])))
		}
		mark("the curve without lot "+d.WithoutName, func() { c.stroke(polyline(w), inkHot(), 1.4, []vg.Length{5, 4}) })
		l.along(w)
		for _, i := range []int{0, len(w) - 1, len(w) / 4, len(w) / 2, 3 * len(w) / 4} {
			if l.put(c, w[i], 4, "without "+d.WithoutName, inkHot()) {
				break
			}
		}
	}
	for _, lot := range d.Lots {
		at := f.pt(lot.Dose, lot.Shade.L)
		title := fmt.Sprintf("lot %s: L* %.1f at %.2f× dose", lot.Name, lot.Shade.L, lot.Dose)
		if lot.Odd {
			c.begin(title + ", little weight")
			c.cross(at, 4.5, inkHot())
			c.end()
			continue
		}
		c.dot(at, 4.5, swatch(lot.Shade), title)
	}
	for _, lot := range d.Lots {
		if lot.Notable || lot.Odd {
			l.put(c, f.pt(lot.Dose, lot.Shade.L), 5, lot.Name, inkText())
		}
	}
	bandLabels(c, l, lots, mean)
}

// bandLabels names the bands where they are widest, each beside an edge of its own.
func bandLabels(c *canvas, l *labels, lots, mean [2][]vg.Point) {
	n := len(lots[0])
	for _, i := range []int{n * 3 / 5, n / 2, n * 3 / 4, n / 3, n * 9 / 10, n / 5} {
		if l.put(c, lots[0][i], 1, "95 % of lots", inkSoft()) {
			break
		}
	}
	for _, i := range []int{n / 5, n / 3, n * 3 / 4, n / 2} {
		if l.put(c, mean[1][i], 1, "dark band: the curve", inkSoft()) {
			break
		}
	}
}

// ends draws base and white.
func (d *Dose) ends(c *canvas, f *frame, l *labels) {
	for _, e := range []struct {
		name string
		l    float64
		up   float64
	}{{"base", d.Base, 5}, {"white", d.White, -14}} {
		y := f.py(e.l)
		c.begin(fmt.Sprintf("%s, L* %.1f", e.name, e.l))
		c.line(f.left, y, f.right, y, inkSoft(), 1, 2, 3)
		c.end()
		s := fmt.Sprintf("%s %.1f", e.name, e.l)
		x := f.right - 2
		if e.name == "white" {
			x = f.left + 4 + textWidth(s, textLabel)
		}
		c.say(x, y+e.up, s, end, inkSoft())
		l.taken = append(l.taken, rect{x - textWidth(s, textLabel), y - 16, x, y + 18})
	}
}

// ribbon is the outline between two lines.
func ribbon(lo, hi []vg.Point) []vg.Point {
	out := append([]vg.Point{}, hi...)
	for i := len(lo) - 1; i >= 0; i-- {
		out = append(out, lo[i])
	}
	return out
}
