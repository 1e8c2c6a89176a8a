package figure

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
)

// hostile is a name as a file of others might hold it.
const hostile = `<script>alert(1)</script>"'&` + "\u202e"

// samples are all kinds of figures, with hostile names.
func samples() []Figure {
	shade := func(s float64) colorimetry.Lab { return colorimetry.Lab{L: 20 + 60*s, A: -3 * s, B: -10 + 14*s} }
	var p Path
	d := Dose{Base: 20, White: 80, WithoutName: hostile}
	strip := Strip{Standard: &Named{Name: hostile, Shade: shade(0.5)}, Marks: []StripMark{{hostile, 0.5}, {"near", 0.52}}, Pairs: []Pair{{hostile, shade(0.52), 0.7}}}
	pass := Pass{From: 6, To: 20, Window: [2]float64{9, 14}, Curves: []PassCurve{{Name: hostile}, {Name: "no. 2"}}}
	contour := Contour{X: Setting{Name: "strength", Unit: "%", Lo: 4, Hi: 10, From: 4.5, To: 9, Log: true}, Y: Setting{Name: "temp", Unit: "°C", Lo: 20, Hi: 60, From: 25, To: 55}, Tolerance: 2,
		Lots: []Spot{{Name: hostile, X: 5, Y: 30}}, Suggestions: []Spot{{Name: hostile, X: 7, Y: 40, Exact: true}, {Name: "2", X: 99, Y: 40}}}
	chart := Chart{Title: "dose", Up: "more"}
	var rows []LotRow
	for i := range 21 {
		s := float64(i) / 20
		p.Shades, p.Off = append(p.Shades, shade(s)), append(p.Off, [2][2]float64{{0.04, 0}, {0, 0.1}})
		strip.Shades = append(strip.Shades, shade(s))
		l := shade(s).L
		d.Curve = append(d.Curve, DosePoint{math.Exp(3*s - 1.5), l, l - 1, l + 1, l - 3, l + 3})
		d.Without = append(d.Without, l+2)
		name := fmt.Sprint("T", i)
		if i == 4 {
			name = hostile
		}
		d.Lots = append(d.Lots, DoseLot{Name: name, Dose: math.Exp(3*s - 1.5), Shade: shade(s), Odd: i == 3, Notable: i == 4})
		p.Lots = append(p.Lots, Named{Name: name, Shade: shade(s), Odd: i == 3, Notable: i == 4})
		rows = append(rows, LotRow{Name: name, Z: 3 * (s - 0.5), Leverage: s, Pull: 2 * s, Odd: i == 3, Heavy: i > 18})
		for k := range pass.Curves {
			c := &pass.Curves[k]
			c.Minutes, c.Pass = append(c.Minutes, 5+s*20), append(c.Pass, math.Exp(-math.Pow(4*(s-0.4)-float64(k), 2)))
		}
		var ls, ds []float64
		for j := range 21 {
			l := 30 + 30*s + float64(j)
			ls, ds = append(ls, l), append(ds, math.Abs(l-50)/2)
		}
		contour.Lightness, contour.DeltaE = append(contour.Lightness, ls), append(contour.DeltaE, ds)
		chart.Points = append(chart.Points, ChartPoint{Lot: name, Value: 4 * (s - 0.5), EWMA: s, Lo: -0.9, Hi: 0.9, High: 6 * s, Low: 1, CUSUMOut: s > 0.9, SingleLimit: 3, CUSUMLimit: 5})
	}
	p.Targets = []Named{{Name: hostile, Shade: shade(0.45)}}
	lot := Lot{Name: hostile, Standard: shade(0.5), Tolerance: 1.5, Formula: "CIEDE2000", Diff: colorimetry.CIEDE2000{}.Diff, Mean: shade(0.52), Path: p.Shades,
		Panels: []Named{{Name: hostile, Shade: shade(0.5)}, {Name: "2", Shade: shade(0.6), Odd: true}}, Limits: []Named{{Name: "light limit", Shade: shade(0.55)}}}
	return []Figure{
		NewDose("dose", d), NewLots("lots", rows), NewPathLB("lb", p), NewPathAB("ab", p), NewStrip("strip", strip), NewContour("contour", contour), NewPass("pass", pass),
		NewLotAB("lot-ab", lot), NewLotLB("lot-lb", lot), NewChart("chart", chart), NewBands("bands", []ShadeBand{{Label: "L50", Lots: []Named{{Name: hostile, Shade: shade(0.5)}}}}, 1),
	}
}

// marksOf parses an SVG strictly and counts its marks; every number must be
// finite and every point inside the view.
func marksOf(t *testing.T, f *Figure, text string) int {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(text))
	marks, ids := 0, map[string]bool{}
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err, f.Name)
		e, ok := tok.(xml.StartElement)
		if !ok {
			continue
		}
		assert.Contains(t, []string{"svg", "title", "desc", "style", "g", "path", "text"}, e.Name.Local)
		for _, a := range e.Attr {
			assert.False(t, strings.HasPrefix(a.Name.Local, "on"), "%s: attribute %s", f.Name, a.Name.Local)
			assert.NotContains(t, a.Value, "NaN")
			assert.NotContains(t, a.Value, "Inf")
			switch a.Name.Local {
			case "id":
				assert.False(t, ids[a.Value], "%s: id %s twice", f.Name, a.Value)
				ids[a.Value] = true
			case "class":
				if a.Value == "mark" {
					marks++
				}
			case "x", "y":
				v, err := strconv.ParseFloat(a.Value, 64)
				require.NoError(t, err)
				assert.True(t, v >= -1 && v <= max(f.W, f.H)+1, "%s: %s = %g", f.Name, a.Name.Local, v)
			}
		}
	}
	return marks
}

func TestFiguresAreSafeXMLWithMarks(t *testing.T) {
	for _, f := range samples() {
		text := f.SVG()
		assert.Greater(t, marksOf(t, &f, text), 0, f.Name)
		assert.NotContains(t, text, "<script", f.Name)
		assert.Contains(t, text, `role="img"`)
		assert.Contains(t, text, `viewBox="0 0 400 `)
		assert.NotContains(t, text, "#000", "%s: ink is a class, not a color", f.Name)
		again := samples()
		for _, g := range again {
			if g.Name == f.Name {
				assert.Equal(t, text, g.SVG(), f.Name)
			}
		}
	}
}

func TestFilesOfFigures(t *testing.T) {
	for _, f := range samples() {
		data, err := f.File("x.png")
		require.NoError(t, err)
		im, err := png.Decode(bytes.NewReader(data))
		require.NoError(t, err)
		assert.Equal(t, 1333, im.Bounds().Dx())
		colors := map[[3]uint32]bool{}
		for y := 0; y < im.Bounds().Dy(); y += 3 {
			for x := 0; x < im.Bounds().Dx(); x += 3 {
				r, g, b, _ := im.At(x, y).RGBA()
				colors[[3]uint32{r, g, b}] = true
			}
		}
		assert.Greater(t, len(colors), 5, "%s: nothing is drawn", f.Name)
		data, err = f.File("x.PDF")
		require.NoError(t, err)
		assert.True(t, bytes.HasPrefix(data, []byte("%PDF-")))
		data, err = f.File("x.svg")
		require.NoError(t, err)
		assert.Contains(t, string(data), "prefers-color-scheme:dark")
		marksOf(t, &f, string(data))
	}
	f := samples()[0]
	_, err := f.File("x.gif")
	require.ErrorContains(t, err, "want .svg, .png or .pdf")
	_, err = f.File("x")
	require.Error(t, err)
}

// contrast is WCAG 2.2's ratio (definitions of relative luminance and contrast
// ratio), from hex colors.
func contrast(a, b string) float64 {
	luminance := func(hex string) float64 {
		v, _ := strconv.ParseUint(hex[1:], 16, 32)
		sum := 0.0
		for i, w := range []float64{0.2126, 0.7152, 0.0722} {
			c := float64(v>>(16-8*i)&255) / 255
			if c <= 0.04045 {
				c /= 12.92
			} else {
				c = math.Pow((c+0.055)/1.055, 2.4)
			}
			sum += w * c
		}
		return sum
	}
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

func TestInksContrastWithPaper(t *testing.T) {
	assert.InDelta(t, 21, contrast("#000000", "#ffffff"), 1e-9)
	for _, k := range []Ink{inkText(), inkSoft(), inkLine(), inkHot(), inkGood()} {
		for _, on := range []Ink{inkPaper(), inkCard()} {
			assert.GreaterOrEqual(t, contrast(k.light, on.light), 4.5, "%s on %s", k.role, on.role)
			assert.GreaterOrEqual(t, contrast(k.dark, on.dark), 4.5, "%s on %s in the dark", k.role, on.role)
		}
	}
}

// The isoline of x² + y² is a circle: one closed chain, every point at its
// radius to the second order of the grid's step.
func TestIsolines(t *testing.T) {
	const n = 41
	z := make([][]float64, n)
	for i := range z {
		for j := range n {
			x, y := float64(i)-20, float64(j)-20
			z[i] = append(z[i], x*x+y*y)
		}
	}
	lines := isolines(z, 144.5)
	require.Len(t, lines, 1)
	c := lines[0]
	assert.Equal(t, c[0], c[len(c)-1])
	assert.Greater(t, len(c), 60)
	for _, p := range c {
		assert.InDelta(t, math.Sqrt(144.5), math.Hypot(p[0]-20, p[1]-20), 0.02)
	}
	assert.Empty(t, isolines(z, -1))
	// A saddle: two chains that do not cross.
	assert.Len(t, isolines([][]float64{{1, 0}, {0, 1}}, 0.4), 2)
}

func TestLabelsKeepClearOfEachOther(t *testing.T) {
	s := &svg{h: 300}
	c := &canvas{s, 400, 300}
	l := &labels{field: rect{0, 0, 400, 300}}
	for range 30 {
		l.put(c, pt(200, 150), 4, "label", inkText())
	}
	for i, a := range l.taken {
		for _, b := range l.taken[:i] {
			assert.False(t, a.meets(b))
		}
	}
	assert.Equal(t, len(l.taken), strings.Count(s.b.String(), "<text"))
}
