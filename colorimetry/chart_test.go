package colorimetry

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"example.com/dosetone/datasets/published"
)

// chartOf photographs the 24 published chart patches with a made-up camera.
func chartOf(t *testing.T, camera func(linearRGB) linearRGB) []ChartPatch {
	t.Helper()
	var patches []ChartPatch
	for _, e := range published.WorkedExamples() {
		if e.Viewing != "D65/2" || e.Step != 5 || len(e.Values) != 81 {
			continue
		}
		known := XYZ(e.XYZ)
		patches = append(patches, ChartPatch{Name: e.Name, Read: camera(linearFromXYZ(known)).xyz(), Known: known})
	}
	if len(patches) != 24 {
		t.Fatalf("%d patches", len(patches))
	}
	return patches
}

// A camera that mixes the channels linearly is undone by every model.
func TestChartUndoesALinearCamera(t *testing.T) {
	patches := chartOf(t, func(c linearRGB) linearRGB {
		return linearRGB{0.5*c.r + 0.2*c.g, 0.1*c.r + 0.6*c.g + 0.1*c.b, 0.05*c.g + 0.8*c.b}
	})
	// Cyan lies outside sRGB: a channel below zero is cut under the roots, so
	// only the linear form is exact for it.
	inGamut := patches[:0:0]
	for _, p := range patches {
		if c := linearFromXYZ(p.Read); min(c.r, c.g, c.b) >= 0 {
			inGamut = append(inGamut, p)
		}
	}
	for _, model := range []ChartModel{Linear, RootPolynomial2, RootPolynomial3} {
		c, err := FitChart(model, inGamut)
		if err != nil {
			t.Fatal(err)
		}
		if c.LeaveOneOutMax > 1e-6 {
			t.Errorf("%s: leave-one-out ΔE00 up to %v", model, c.LeaveOneOutMax)
		}
	}
}

// A camera with crosstalk that is not linear but keeps exposure: the
// root-polynomial beats the linear form on patches left out, and neither form
// changes hue with exposure [14].
func TestRootPolynomialAgainstLinear(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	patches := chartOf(t, func(c linearRGB) linearRGB {
		cut := func(v float64) float64 { return max(v, 0) }
		mix := 0.15 * math.Sqrt(cut(c.r)*cut(c.g))
		noise := func() float64 { return 1 + 0.002*r.NormFloat64() }
		return linearRGB{(cut(c.r) + mix) * noise(), (cut(c.g) + 0.5*mix) * noise(), cut(c.b) * noise()}
	})
	before := slices.Clone(patches)
	linear, err := FitChart(Linear, patches)
	if err != nil {
		t.Fatal(err)
	}
	root, err := FitChart(RootPolynomial2, patches)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(before, patches) {
		t.Error("FitChart changed the patches")
	}
	t.Logf("leave-one-out ΔE00 (mean, max): linear %.2f %.2f, root-polynomial %.2f %.2f",
		linear.LeaveOneOutMean, linear.LeaveOneOutMax, root.LeaveOneOutMean, root.LeaveOneOutMax)
	if !(root.LeaveOneOutMean < linear.LeaveOneOutMean) {
		t.Errorf("root-polynomial %v is not better than linear %v", root.LeaveOneOutMean, linear.LeaveOneOutMean)
	}
	for _, c := range []*ChartCorrection{linear, root} {
		for _, p := range patches {
			a, b := c.Apply(p.Read), c.Apply(XYZ{p.Read.X / 4, p.Read.Y / 4, p.Read.Z / 4})
			if farXYZ(a, XYZ{4 * b.X, 4 * b.Y, 4 * b.Z}, 1e-9) {
				t.Errorf("%s: a quarter of the light gives %v, not a quarter of %v", c.Model, b, a)
			}
		}
	}
	for _, e := range root.Patches {
		if e.LeaveOneOut < 0 || e.Fit < 0 || math.IsNaN(e.LeaveOneOut) {
			t.Errorf("patch %+v", e)
		}
	}
}

func TestChartErrors(t *testing.T) {
	patches := chartOf(t, func(c linearRGB) linearRGB { return c })
	if _, err := FitChart(RootPolynomial3, patches[:14]); err == nil || !strings.Contains(err.Error(), "at least 15") {
		t.Errorf("14 patches: %v", err)
	}
	var grays []ChartPatch
	for y := 5.0; y <= 95; y += 10 {
		c := linearRGB{y / 100, y / 100, y / 100}.xyz()
		grays = append(grays, ChartPatch{Name: "gray", Read: c, Known: c})
	}
	if _, err := FitChart(Linear, grays); err == nil || !strings.Contains(err.Error(), "colored patches") {
		t.Errorf("grays alone: %v", err)
	}
	patches[3].Read.Y = math.NaN()
	if _, err := FitChart(Linear, patches); err == nil {
		t.Error("NaN is accepted")
	}
}

// Grays read from a picture are not quite gray: their codes are rounded. They are
// met well for all that, while nothing is known of colors; with one red, all that
// is known of red hangs on that patch, and with reds the third direction is missing.
func TestChartOfTooFewHues(t *testing.T) {
	patch := func(name string, r, g, b float64) ChartPatch {
		known := linearRGB{r, g, b}.xyz()
		// A warm cast, in whole codes.
		code, _ := LabToSRGB(linearRGB{r, 0.9 * g, 0.7 * b}.xyz().Lab(srgbWhite()))
		return ChartPatch{Name: name, Read: SRGB8ToXYZ(code.Quantize()), Known: known}
	}
	var grays, reds, blues []ChartPatch
	for _, v := range []float64{0.9, 0.75, 0.6, 0.36, 0.28, 0.2, 0.09, 0.04} {
		grays = append(grays, patch("gray", v, 1.01*v, 0.99*v))
		reds = append(reds, patch("red", v, 0.2*v, 0.2*v))
		blues = append(blues, patch("blue", 0.2*v, 0.2*v, v))
	}
	for name, c := range map[string]struct {
		patches []ChartPatch
		says    string // "" means that it is fitted
	}{
		"grays":                 {grays, "line or a plane"},
		"grays and a red":       {slices.Concat(grays, reds[2:3]), "line or a plane"},
		"grays and reds":        {slices.Concat(grays, reds), "line or a plane"},
		"one blue":              {slices.Concat(grays, reds, blues[1:2]), `(without patch "blue")`},
		"grays, reds and blues": {slices.Concat(grays, reds, blues), ""},
	} {
		for _, model := range []ChartModel{Linear, RootPolynomial2} {
			_, err := FitChart(model, c.patches)
			if (err == nil) != (c.says == "") || err != nil && !strings.Contains(err.Error(), c.says) {
				t.Errorf("%s, %s: %v, want %q", name, model, err, c.says)
			}
		}
	}
}

// The hull of a triangle with a right angle: distances by Pythagoras and to its
// sides by hand.
func TestColorOutsideThePatches(t *testing.T) {
	c := &ChartCorrection{DarkestL: 0, LightestL: 100, Patches: []PatchError{
		{Known: Lab{A: 0, B: 0}}, {Known: Lab{L: 90, A: 30, B: 0}}, {Known: Lab{L: 20, A: 0, B: 40}}, {Known: Lab{L: 50, A: 5, B: 5}}}}
	for _, p := range []struct{ a, b, want float64 }{
		{10, -8, 8},      // below the side along a*
		{-3, -4, 5},      // from the corner at 0: 3-4-5
		{15 + 8, 26, 10}, // 10 along the normal (4, 3)/5 from (15, 20), the middle of the long side
		{30 + 4, 3, 5},   // the same normal from the corner at a* 30
	} {
		if got := c.beyond(Lab{A: p.a, B: p.b}); math.Abs(got-p.want) > 0.022 { // half the longest side × the sine of half a step: 25 × sin 0.05°
			t.Errorf("%v, %v: %v outside, want %v", p.a, p.b, got, p.want)
		}
		if warnings := c.doubts(Lab{L: 50, A: p.a, B: p.b}); len(warnings) != 1 || !says(warnings, "outside the a*, b*") {
			t.Errorf("%v, %v: %v", p.a, p.b, warnings)
		}
	}
	for _, p := range []Lab{{L: 50, A: 10, B: 10}, {L: 50, A: 0, B: 0}, {L: 50, A: 10, B: -0.9}} {
		if warnings := c.doubts(p); len(warnings) != 0 {
			t.Errorf("%v: %v", p, warnings)
		}
	}
}
