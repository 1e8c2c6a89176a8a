package figure

import (
	"bytes"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	plotfont "gonum.org/v1/plot/font"
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
	p := &paper{Canvas: c, fonts: plotfont.NewCache(fonts())}
	p.fill(box(0, 0, f.W, f.H), inkPaper(), 1)
	f.draw(&canvas{p, f.W, f.H})
}

// fonts are the two that figures need, read when a picture is drawn. The
// files of all twelve would double the tool.
func fonts() plotfont.Collection {
	var out plotfont.Collection
	for _, f := range []struct {
		weight font.Weight
		data   []byte
	}{{font.WeightNormal, liberationsansregular.TTF}, {font.WeightBold, liberationsansbold.TTF}} {
		face, err := opentype.Parse(f.data)
		if err != nil {
			continue // the module's own bytes: not reached
		}
		out = append(out, plotfont.Face{Font: plotfont.Font{Typeface: "Liberation", Variant: "Sans", Weight: f.weight}, Face: face})
	}
	return out
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
	if t.halo {
		p.fill(behind(at, float64(face.Width(s)), t.size), inkPaper(), haloOpacity)
	}
	p.SetColor(t.ink.rgba(1))
	p.FillString(face, at, s)
}

// haloOpacity is that of the paper behind a text that lines may cross, where
// there is no outline of letters.
const haloOpacity = 0.8

func behind(at vg.Point, width, size float64) vg.Path {
	x, y := float64(at.X), float64(at.Y)
	return box(x-1, y-0.2*size, x+width+1, y+0.8*size)
}

func (p *paper) begin(string) {}

func (p *paper) end() {}
