package colorimetry

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"slices"
	"strings"
	"testing"
)

// says reports whether one of the warnings holds the text.
func says(warnings []error, text string) bool {
	return slices.ContainsFunc(warnings, func(err error) bool { return strings.Contains(err.Error(), text) })
}

// The shares are counted by hand: of 200 pixels, so many have a channel at the
// end of the scale.
func TestClippedPixels(t *testing.T) {
	gray := color.NRGBA{90, 100, 120, 255}
	for name, c := range map[string]struct {
		clipped color.NRGBA
		pixels  int
		want    Clipping
		says    string // "" means no warning
	}{
		"none":             {gray, 0, Clipping{}, ""},
		"45 % in two":      {color.NRGBA{255, 255, 120, 255}, 90, Clipping{High: 0.45}, "45 % of the pixels have a channel at 255"},
		"1 % of white":     {color.NRGBA{255, 255, 255, 255}, 2, Clipping{High: 0.01}, ""},
		"more than 1 %":    {color.NRGBA{255, 200, 200, 255}, 3, Clipping{High: 0.015}, "at 255"},
		"254 is not":       {color.NRGBA{254, 1, 1, 255}, 200, Clipping{}, ""},
		"a tenth of black": {color.NRGBA{0, 0, 0, 255}, 20, Clipping{Low: 0.1}, ""},
		"deep blue":        {color.NRGBA{0, 40, 255, 255}, 50, Clipping{0.25, 0.25}, "25 % of the pixels have a channel at 0"},
		"one each":         {color.NRGBA{0, 255, 120, 255}, 100, Clipping{0.5, 0.5}, "50 % of the pixels have a channel at 255"},
		"transparent":      {color.NRGBA{255, 255, 255, 254}, 100, Clipping{}, ""},
	} {
		m := image.NewNRGBA(image.Rect(0, 0, 20, 10))
		for i := range 200 {
			if i < c.pixels {
				m.SetNRGBA(i%20, i/20, c.clipped)
			} else {
				m.SetNRGBA(i%20, i/20, gray)
			}
		}
		s, err := MeasureSwatch(&Image{Pixels: m}, image.Rectangle{}, SwatchOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if s.Clipped != c.want || says(s.Warnings, "clipped: ") != (c.says != "") || !says(s.Warnings, c.says) {
			t.Errorf("%s: %+v, %v; want %+v and %q", name, s.Clipped, s.Warnings, c.want, c.says)
		}
		p, err := ReadPatch("p", XYZ{50, 50, 50}, m, image.Rectangle{})
		if err != nil || p.Clipped != c.want || farXYZ(p.Read, s.XYZ, 1e-9) || p.Name != "p" || p.Known != (XYZ{50, 50, 50}) {
			t.Errorf("%s: patch %+v, %v", name, p, err)
		}
	}
	if _, err := ReadPatch("far", XYZ{}, image.NewGray(image.Rect(0, 0, 4, 4)), image.Rect(0, 0, 5, 5)); err == nil || !strings.Contains(err.Error(), `patch "far"`) {
		t.Errorf("a region outside: %v", err)
	}
}

// A camera that sees the published patches as they are is a sound chart; every
// fault that fits as well must be said.
func TestChartSaysWhatIsDoubtful(t *testing.T) {
	sound := func() []ChartPatch { return chartOf(t, func(c linearRGB) linearRGB { return c }) }
	m := image.NewGray(image.Rect(0, 0, 4, 4))
	for i := range m.Pix {
		m.Pix[i] = 128
	}
	gray := &Image{Pixels: m}
	swatch := func(c *ChartCorrection) *Swatch {
		t.Helper()
		s, err := MeasureSwatch(gray, image.Rectangle{}, SwatchOptions{Correction: c})
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	c, err := FitChart(Linear, sound())
	if err != nil {
		t.Fatal(err)
	}
	if s := swatch(c); len(c.Warnings)+len(s.Warnings) != 0 || !s.Calibrated || s.Chart != c.ChartErrors {
		t.Errorf("a sound chart: %v, %v, %+v", c.Warnings, s.Warnings, s.Chart)
	}
	var darkest, lightest float64 = 100, 0
	for _, p := range sound() {
		l := p.Known.Lab(srgbWhite()).L
		darkest, lightest = min(darkest, l), max(lightest, l)
	}
	if c.DarkestL != darkest || c.LightestL != lightest {
		t.Errorf("L* %v to %v, want %v to %v", c.DarkestL, c.LightestL, darkest, lightest)
	}

	// Known colors in reverse order: the fit finds a compromise, patches left out
	// are missed by much more than a few ΔE00.
	reversed := sound()
	for i, p := range sound() {
		reversed[len(reversed)-1-i].Known = p.Known
	}
	if c, err = FitChart(Linear, reversed); err != nil {
		t.Fatal(err)
	}
	if s := swatch(c); c.LeaveOneOutMean < 10 || !says(c.Warnings, "its own known color") || !says(s.Warnings, "its own known color") || s.Chart != c.ChartErrors {
		t.Errorf("reversed: %v, %v, %v", c.LeaveOneOutMean, c.Warnings, s.Warnings)
	}

	// Two swapped grays, as neighbors are by a slip: the average stays below 3, and
	// both are named, no other. The last row of the chart is its grays, light to dark.
	swapped := sound()
	swapped[20].Known, swapped[21].Known = swapped[21].Known, swapped[20].Known
	if c, err = FitChart(Linear, swapped); err != nil {
		t.Fatal(err)
	}
	if got := c.outliers(); c.LeaveOneOutMean > 3 || len(got) != 2 || len(c.Warnings) != 1 ||
		!says(c.Warnings, fmt.Sprintf("%q (ΔE00 ", swapped[20].Name)) || !says(c.Warnings, fmt.Sprintf("%q (ΔE00 ", swapped[21].Name)) {
		t.Errorf("swapped: %v on average, %v", c.LeaveOneOutMean, c.Warnings)
	}

	// What a clipped patch shows is wrong, here half of its light: left out, it does
	// no harm, and the others are met exactly as before.
	clipped := sound()
	clipped[5].Clipped.High = 0.5
	clipped[5].Read = XYZ{clipped[5].Read.X / 2, clipped[5].Read.Y / 2, clipped[5].Read.Z / 2}
	if c, err = FitChart(Linear, clipped); err != nil || len(c.Warnings) != 1 || !says(c.Warnings, `left out, being clipped at code 0 or 255: patch "`+clipped[5].Name+`"`) {
		t.Errorf("clipped: %v, %v", c.Warnings, err)
	}
	if len(c.Patches) != 23 || c.LeaveOneOutMax > 1e-6 || slices.ContainsFunc(c.Patches, func(p PatchError) bool { return p.Name == clipped[5].Name }) {
		t.Errorf("clipped: %d patches, error up to %v", len(c.Patches), c.LeaveOneOutMax)
	}
	// Of five patches none can be spared, nor the colored ones beside six grays.
	all := sound()
	colors := slices.Clone(all[5:10])
	for i := range colors {
		colors[i].Clipped.High = 0.5
	}
	for name, few := range map[string][]ChartPatch{"five": slices.Concat(colors[:1], all[1:5]), "grays": slices.Concat(all[18:], colors)} {
		if c, err = FitChart(Linear, few); err != nil || len(c.Patches) != len(few) || !says(c.Warnings, "too few, or too alike") || !says(c.Warnings, all[5].Name) {
			t.Errorf("%s, clipped: %v, %v", name, c.Warnings, err)
		}
	}

	// L* of code 128 is 53.6, darker than a chart of the patches above 60.
	light := slices.DeleteFunc(sound(), func(p ChartPatch) bool { return p.Known.Lab(srgbWhite()).L < 60 })
	if c, err = FitChart(Linear, light); err != nil || !says(swatch(c).Warnings, "outside the chart's") {
		t.Errorf("a light chart: %v", err)
	}

	// Made by hand: identity, which FitChart never saw, and coefficients that are none.
	byHand := &ChartCorrection{Coefficients: c.Coefficients}
	if s := swatch(byHand); !says(s.Warnings, "does not say how well") {
		t.Errorf("a correction made by hand: %v", s.Warnings)
	}
	for _, bad := range [][][3]float64{make([][3]float64, 3), {{1, 0, 0}, {0, 1, 0}, {0, 0, math.NaN()}}} {
		if _, err := MeasureSwatch(gray, image.Rectangle{}, SwatchOptions{Correction: &ChartCorrection{Coefficients: bad}}); err == nil || !strings.Contains(err.Error(), "oefficient") {
			t.Errorf("coefficients %v: %v", bad, err)
		}
	}
}

// Known or read colors on 0..1 fit as well and correct to nonsense.
func TestChartScale(t *testing.T) {
	for factor, ok := range map[float64]bool{0.01: false, 1: true, 100: false} {
		for _, what := range []string{"known", "read"} {
			patches := chartOf(t, func(c linearRGB) linearRGB { return c })
			for i := range patches {
				if p := &patches[i]; what == "known" {
					p.Known = XYZ{factor * p.Known.X, factor * p.Known.Y, factor * p.Known.Z}
				} else {
					p.Read = XYZ{max(0, factor*p.Read.X), factor * p.Read.Y, factor * p.Read.Z}
				}
			}
			if _, err := FitChart(Linear, patches); (err == nil) != ok || err != nil && !strings.Contains(err.Error(), "lightest of the "+what) {
				t.Errorf("%s colors times %v: %v", what, factor, err)
			}
		}
	}
}
