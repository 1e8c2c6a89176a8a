package figure

import (
	"bytes"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"golang.org/x/image/font"
	plotfont "gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

// File is the figure as a file of its own, in the format of the name's
// extension: svg, png or pdf.
func (f *Figure) File(name string) ([]byte, error) {
	switch ext := strings.ToLower(filepath.Ext(name)); ext {
	case ".svg":
		light, dark := Variables()
		style := ":root{" + light + "}@media (prefers-color-scheme:dark){:root{" + dark + "}}" + Rules()
		return []byte(f.svg(style, true) + "\n"), nil
	case ".png":
		// 240 dots per inch: 1333 pixels wide.
		c := vgimg.NewWith(vgimg.UseWH(vg.Length(f.W), vg.Length(f.H)), vgimg.UseDPI(240))
		f.on(c)
		var b bytes.Buffer
		_, err := vgimg.PngCanvas{Canvas: c}.WriteTo(&b)
		return b.Bytes(), err
	case ".pdf":
		return f.pdf()
	case "":
		return nil, errors.New("the file name says no format: end it in .svg, .png or .pdf")
	default:
		return nil, fmt.Errorf("%s is not a format for figures: want .svg, .png or .pdf", ext)
	}
}

// on draws the figure in its light colors.
func (f *Figure) on(c vg.Canvas) {
	p := &paper{Canvas: c, fonts: plotfont.NewCache(liberation.Collection())}
	p.fill(box(0, 0, f.W, f.H), inkPaper(), 1)
	f.draw(&canvas{p, f.W, f.H})
}

// paper is a surface on a canvas of gonum/plot.
type paper struct {
	vg.Canvas
	fonts *plotfont.Cache
}

func (p *paper) fill(path vg.Path, k Ink, opacity float64) {
	p.SetColor(k.rgba(opacity))
	p.Fill(path)
}

func (p *paper) stroke(path vg.Path, k Ink, width float64, dash []vg.Length) {
	p.SetColor(k.rgba(1))
	p.SetLineWidth(vg.Length(width))
	p.SetLineDash(dash, 0)
	p.Stroke(path)
}

func (p *paper) text(at vg.Point, s string, t textStyle) {
	f := plotfont.Font{Typeface: "Liberation", Variant: "Sans", Size: vg.Length(t.size)}
	if t.bold {
		f.Weight = font.WeightBold
	}
	face := p.fonts.Lookup(f, vg.Length(t.size))
	switch t.anchor {
	case middle:
		at.X -= face.Width(s) / 2
	case end:
		at.X -= face.Width(s)
	}
	p.SetColor(t.ink.rgba(1))
	p.FillString(face, at, s)
}

func (p *paper) begin(string) {}

func (p *paper) end() {}
