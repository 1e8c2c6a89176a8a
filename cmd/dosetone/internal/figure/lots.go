package figure

import (
	"fmt"
	"math"
	"strings"
)

// LotRow is how one trial lot stands in a fit.
type LotRow struct {
	Name     string
	Z        float64 // residual in standard deviations of a lot
	Leverage float64 // 0..1
	Pull     float64 // ΔE00 by which leaving it out moves the curve; NaN when not known
	Odd      bool    // has little weight
	Heavy    bool    // drives the fit
}

// rowHeight leaves a line of text its room.
const rowHeight = 17

// NewLots draws residual, leverage and influence of each lot, a row each.
func NewLots(name string, rows []LotRow) Figure {
	f := Figure{Name: name, Title: "How each lot stands in the fit", W: figureWidth, H: 58 + rowHeight*float64(len(rows))}
	f.Desc = fmt.Sprintf("Residual, leverage and influence of %d trial lots, a row each; the same numbers are in the table of lots.", len(rows))
	f.draw = func(c *canvas) { drawLots(c, rows) }
	return f
}

func drawLots(c *canvas, rows []LotRow) {
	nameEnd := 20.0
	for _, r := range rows {
		nameEnd = max(nameEnd, textWidth(shorten(r.Name, 12), textTick)+4)
	}
	// Three fields share what the names leave.
	w := (c.w - nameEnd - 12) / 3
	zFrom, zTo := nameEnd+12, nameEnd+w
	hFrom, hTo := zTo+18, zTo+w*0.85
	pFrom, pTo := hTo+20, c.w-4
	top := c.h - 44
	span, most := 3.0, 0.5
	pulls := false
	for _, r := range rows {
		span = max(span, math.Ceil(math.Abs(r.Z)))
		if !math.IsNaN(r.Pull) {
			pulls = true
			most = max(most, r.Pull)
		}
	}
	bottom := top - rowHeight*float64(len(rows))
	zx := func(z float64) float64 { return zFrom + (z+span)/(2*span)*(zTo-zFrom) }
	head := func(x, up float64, s string) {
		c.text(pt(x, top+up), s, textStyle{size: textTick, anchor: start, ink: inkText(), bold: true})
	}
	head(zFrom, 28, "residual")
	head(hFrom, 28, "leverage")
	note := func(x float64, s string) {
		c.text(pt(x, top+14), s, textStyle{size: textTick, ink: inkSoft()})
	}
	note(zFrom, "in sd of a lot")
	note(hFrom, "0 to 1")
	if pulls {
		head(pFrom, 28, "influence")
		note(pFrom, "ΔE00 on curve")
	}
	c.begin("within two standard deviations")
	c.fill(box(zx(-2), bottom, zx(2), top), inkLine(), 0.12)
	c.end()
	c.line(zx(0), bottom, zx(0), top, inkSoft(), 1)
	c.line(hFrom, bottom, hFrom, top, inkRule(), 1)
	if pulls {
		c.line(pFrom, bottom, pFrom, top, inkRule(), 1)
	}
	for i, r := range rows {
		y := top - rowHeight*(float64(i)+0.5)
		c.text(pt(nameEnd, y-4), shorten(r.Name, 12), textStyle{size: textTick, anchor: end, ink: inkText(), bold: r.Heavy || r.Odd})
		c.begin(fmt.Sprintf("lot %s: residual %+.1f sd, leverage %.2f", r.Name, r.Z, r.Leverage))
		c.line(zx(0), y, zx(r.Z), y, inkLine(), 1.4)
		if r.Odd || math.Abs(r.Z) > 2 {
			c.cross(pt(zx(r.Z), y), 3.8, inkHot())
		} else {
			c.fill(circle(pt(zx(r.Z), y), 3.6), inkLine(), 1)
		}
		c.end()
		bar(c, fmt.Sprintf("lot %s: leverage %.2f", r.Name, r.Leverage), hFrom, y, r.Leverage*(hTo-hFrom), false)
		if pulls && !math.IsNaN(r.Pull) {
			w := r.Pull / most * (pTo - pFrom - 26)
			bar(c, fmt.Sprintf("lot %s: without it the curve moves by up to ΔE00 %.1f", r.Name, r.Pull), pFrom, y, w, r.Heavy)
			k := inkSoft()
			if r.Heavy {
				k = inkHot()
			}
			c.text(pt(pFrom+w+4, y-4), fmt.Sprintf("%.1f", r.Pull), textStyle{size: textTick, ink: k, bold: r.Heavy})
		}
	}
	for _, z := range []float64{-2, 2} {
		c.tick(zx(z), bottom-12, strings.Replace(fmt.Sprintf("%+.0f", z), "-", "−", 1), middle)
	}
}

func bar(c *canvas, title string, x, y, w float64, heavy bool) {
	k := inkLine()
	if heavy {
		k = inkHot()
	}
	c.begin(title)
	c.fill(box(x, y-4, x+max(w, 1), y+4), k, 0.75)
	c.end()
}
