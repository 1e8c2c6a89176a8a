package main

import (
	"bytes"
	"fmt"
	"image"
	imagecolor "image/color"
	"image/png"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/published"
)

// clothCode is the true color of the invented cloth.
func clothCode() colorimetry.SRGB8 { return colorimetry.SRGB8{R: 98, G: 117, B: 130} }

// cameraSees is an invented camera with a warm cast and too little exposure: it
// mixes tristimulus values, which a linear correction can undo.
// What does not fit into its codes is clipped.
func cameraSees(c colorimetry.XYZ) (code imagecolor.Color, clipped bool) {
	seen := colorimetry.XYZ{X: 0.78*c.X + 0.04*c.Y, Y: 0.03*c.X + 0.74*c.Y + 0.01*c.Z, Z: 0.60 * c.Z}
	rgb, inGamut := colorimetry.LabToSRGB(seen.Lab(colorimetry.SRGBToXYZ(colorimetry.SRGB{R: 1, G: 1, B: 1})))
	q := rgb.Quantize()
	return imagecolor.NRGBA{R: q.R, G: q.G, B: q.B, A: 255}, !inGamut
}

// chartSpectra are the published patches that the camera does not clip.
func chartSpectra() []published.WorkedExample {
	var list []published.WorkedExample
	for _, w := range published.WorkedExamples() {
		if w.Viewing != "D65/2" || w.Step != 5 || len(w.Values) != 81 {
			continue
		}
		if _, clipped := cameraSees(colorimetry.XYZ(w.XYZ)); !clipped {
			list = append(list, w)
		}
	}
	return list
}

// inventedPhoto is a picture of 240 by 200 pixels: patches of 30 by 30, eight in a
// row, above the cloth; and the table of the chart with the columns of known colors
// that known gives, the header first.
func inventedPhoto(t *testing.T, known func(published.WorkedExample) (header, row string)) (photo, chart []byte) {
	t.Helper()
	m := image.NewNRGBA(image.Rect(0, 0, 240, 200))
	fill := func(r image.Rectangle, c imagecolor.Color) {
		for y := r.Min.Y; y < r.Max.Y; y++ {
			for x := r.Min.X; x < r.Max.X; x++ {
				m.Set(x, y, c)
			}
		}
	}
	cloth, _ := cameraSees(colorimetry.SRGB8ToXYZ(clothCode()))
	fill(m.Bounds(), cloth)
	table := "# invented picture: no real camera\n"
	for i, w := range chartSpectra() {
		at := image.Rect(0, 0, 30, 30).Add(image.Pt(i%8*30, i/8*30))
		code, _ := cameraSees(colorimetry.XYZ(w.XYZ))
		fill(at, code)
		header, row := known(w)
		if i == 0 {
			table += "id,left,top,width,height," + header + "\n"
		}
		table += fmt.Sprintf("p%d,%d,%d,20,20,%s\n", i+1, at.Min.X+5, at.Min.Y+5, row)
	}
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, m))
	return b.Bytes(), []byte(table)
}

func knownXYZ(w published.WorkedExample) (header, row string) {
	return "X,Y,Z,illuminant,observer", fmt.Sprintf("%v,%v,%v,D65,2", w.XYZ.X, w.XYZ.Y, w.XYZ.Z)
}

func knownSpectrum(w published.WorkedExample) (header, row string) {
	lines := strings.Split(spectrumTable("x", w.Start, w.Step, w.Values), "\n")
	return strings.TrimPrefix(lines[0], "id,"), strings.TrimPrefix(lines[1], `"x",`)
}

// knownD50 is what a data sheet says under D50.
func knownD50(w published.WorkedExample) (header, row string) {
	g, err := colorimetry.GridRange(w.Start, w.End, w.Step)
	if err != nil {
		panic(err)
	}
	weights, err := colorimetry.NewWeights(colorimetry.Viewing{Illuminant: colorimetry.D50, Observer: colorimetry.TwoDegree}, g)
	if err != nil {
		panic(err)
	}
	c := weights.Lab(w.Values)
	return "L,a,b,illuminant,observer", fmt.Sprintf("%v,%v,%v,D50,2", c.L, c.A, c.B)
}

// The true color of the cloth is known: with the chart it must be found, whatever
// form its known colors have, and without it must not.
func TestConvertChart(t *testing.T) {
	t.Chdir(t.TempDir())
	truth := colorimetry.SRGB8ToLab(clothCode())
	off := func(c converted) float64 {
		return colorimetry.CIEDE2000{}.Diff(truth, colorimetry.Lab{L: c.L, A: c.A, B: c.B})
	}
	for name, form := range map[string]struct {
		known  func(published.WorkedExample) (header, row string)
		within float64 // of the truth, ΔE00
		says   string
	}{
		"XYZ":     {knownXYZ, 0.5, ""}, // half a just visible difference: 8-bit codes
		"spectra": {knownSpectrum, 0.5, ""},
		"D50":     {knownD50, 1.5, "are adapted to D65/2 (Bradford)"}, // no adaptation is exact for pigments
	} {
		photo, chart := inventedPhoto(t, form.known)
		require.NoError(t, os.WriteFile("photo.png", photo, 0o644))
		require.NoError(t, os.WriteFile("chart.csv", chart, 0o644))
		require.Greater(t, off(decode[[]converted](t, ok(t, "convert", "photo.png", "--region", "10,100,200,90", "--format", "json"))[0]), 5.0)

		r := tool(t, "", "convert", "photo.png", "--region", "10,100,200,90", "--chart", "chart.csv", "--format", "json")
		require.Equal(t, exitDone, r.code, r.err)
		got := decode[[]converted](t, r.out)[0]
		require.Less(t, off(got), form.within, name)
		require.True(t, got.Swatch.Calibrated)
		require.Equal(t, len(chartSpectra()), got.Swatch.Chart.Patches)
		require.Less(t, got.Swatch.Chart.LOOMax, 3.0, name)
		require.Contains(t, r.err, form.says)
		require.Equal(t, form.says != "", strings.Contains(r.err, "warning"), r.err)
		require.Contains(t, ok(t, "convert", "photo.png", "--region", "10,100,200,90", "--chart", "chart.csv"), "linear, by ")
		require.Contains(t, ok(t, "convert", "photo.png", "--region", "10,100,200,90", "--chart", "chart.csv", "--format", "csv"), "loo_delta_e_mean")
	}
}

func TestConvertChartFaults(t *testing.T) {
	t.Chdir(t.TempDir())
	photo, good := inventedPhoto(t, knownXYZ)
	require.NoError(t, os.WriteFile("photo.png", photo, 0o644))
	firstGray := fmt.Appendf(nil, "p%d,", len(chartSpectra())-5) // the chart ends with six grays
	for name, c := range map[string]struct {
		args, from, to string // what is replaced in the good file
		code           int
		says           string
	}{
		"no column":       {"--region 10,100,200,90", "left", "x-pos", exitFailed, `column "left"`},
		"no number":       {"--region 10,100,200,90", "p2,35,5", "p2,b,5", exitFailed, `chart.csv:4: column "left, top, width, height": value "b, 5, 20, 20"`},
		"outside":         {"--region 10,100,200,90", "p2,35,5", "p2,9999,5", exitFailed, `chart.csv:4: chart: patch "p2": region`},
		"ten degrees":     {"--region 10,100,200,90", "D65,2", "D65,10", exitFailed, "2 degree observer"},
		"no viewing":      {"--region 10,100,200,90", "illuminant,observer", "note,remark", exitFailed, "illuminant"},
		"too few":         {"--region 10,100,200,90", string(good[bytes.Index(good, []byte("p5,")):]), "", exitFailed, "4 patches are too few"},
		"grays alone":     {"--region 10,100,200,90", string(good[bytes.Index(good, []byte("p1,")):bytes.Index(good, firstGray)]), "", exitFailed, "chart.csv: chart: the patches lie too near to a line"},
		"onto the chart":  {"--region 10,60,200,130", "", "", exitDone, "uneven: the part of the region"},
		"no region":       {"", "", "", exitUsage, "--chart needs --region"},
		"region on chart": {"--region 0,80,200,90", "", "", exitDone, "overlaps --region"},
		"wrong places":    {"--region 10,100,200,90", "p1,5,5", "p1,200,5", exitDone, "its own known color"},
	} {
		require.NoError(t, os.WriteFile("chart.csv", bytes.ReplaceAll(good, []byte(c.from), []byte(c.to)), 0o644))
		if c.from == "" {
			require.NoError(t, os.WriteFile("chart.csv", good, 0o644))
		}
		r := tool(t, "", strings.Fields("convert photo.png --chart chart.csv "+c.args)...)
		require.Equal(t, c.code, r.code, "%s: %s", name, r.err)
		require.Contains(t, r.err, c.says, name)
	}
	require.NoError(t, os.WriteFile("t.csv", []byte("id,L,a,b\nx,50,0,0\n"), 0o644))
	require.Contains(t, tool(t, "", "convert", "t.csv", "--viewing", "D65/10", "--chart", "chart.csv").err, "--chart is for images")
}
