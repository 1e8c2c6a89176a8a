package figure

import (
	"bytes"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
	"gonum.org/v1/plot/vg"
)

// pdf is a surface on a PDF page. gonum/plot's own PDF canvas knows the letters
// of one Western code page only, without Δ, − and ×.
type pdf struct {
	doc *fpdf.Fpdf
	h   float64
}

// pdf writes the figure in its light colors, a unit being a point.
func (f *Figure) pdf() ([]byte, error) {
	doc := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: f.W, Ht: f.H}})
	// The same figure gives the same file.
	doc.SetCatalogSort(true)
	doc.SetCreationDate(time.Unix(0, 0).UTC())
	doc.SetModificationDate(time.Unix(0, 0).UTC())
	doc.SetTitle(f.Title, true)
	doc.SetAutoPageBreak(false, 0)
	doc.AddUTF8FontFromBytes("sans", "", liberationsansregular.TTF)
	doc.AddUTF8FontFromBytes("sans", "B", liberationsansbold.TTF)
	doc.AddPage()
	doc.SetLineCapStyle("round")
	doc.SetLineJoinStyle("round")
	p := &pdf{doc, f.H}
	p.fill(box(0, 0, f.W, f.H), inkPaper(), 1)
	f.draw(&canvas{p, f.W, f.H})
	var b bytes.Buffer
	err := doc.Output(&b)
	return b.Bytes(), err
}

func (p *pdf) path(path vg.Path, how string) {
	y := func(v vg.Length) float64 { return p.h - float64(v) }
	for i, c := range path {
		switch c.Type {
		case vg.MoveComp:
			if i+1 < len(path) && path[i+1].Type == vg.ArcComp {
				continue // a circle moves by itself
			}
			p.doc.MoveTo(float64(c.Pos.X), y(c.Pos.Y))
		case vg.LineComp:
			p.doc.LineTo(float64(c.Pos.X), y(c.Pos.Y))
		case vg.ArcComp:
			p.doc.Circle(float64(c.Pos.X), y(c.Pos.Y), float64(c.Radius), how)
			return
		case vg.CloseComp:
			p.doc.ClosePath()
		}
	}
	p.doc.DrawPath(how)
}

func (p *pdf) fill(path vg.Path, k Ink, opacity float64) {
	r, g, b := k.rgb()
	p.doc.SetFillColor(int(r), int(g), int(b))
	p.doc.SetAlpha(opacity, "Normal")
	p.path(path, "F")
	p.doc.SetAlpha(1, "Normal")
}

func (p *pdf) stroke(path vg.Path, k Ink, width float64, dash []vg.Length) {
	r, g, b := k.rgb()
	p.doc.SetDrawColor(int(r), int(g), int(b))
	p.doc.SetLineWidth(width)
	d := make([]float64, len(dash))
	for i, v := range dash {
		d[i] = float64(v)
	}
	p.doc.SetDashPattern(d, 0)
	p.path(path, "D")
}

func (p *pdf) text(at vg.Point, s string, t textStyle) {
	style := ""
	if t.bold {
		style = "B"
	}
	p.doc.SetFont("sans", style, t.size)
	x := float64(at.X)
	switch t.anchor {
	case middle:
		x -= p.doc.GetStringWidth(s) / 2
	case end:
		x -= p.doc.GetStringWidth(s)
	}
	if t.halo {
		p.fill(behind(pt(x, float64(at.Y)), p.doc.GetStringWidth(s), t.size), inkPaper(), haloOpacity)
	}
	r, g, b := t.ink.rgb()
	p.doc.SetTextColor(int(r), int(g), int(b))
	p.doc.Text(x, p.h-float64(at.Y), s)
}

func (p *pdf) begin(string) {}

func (p *pdf) end() {}
