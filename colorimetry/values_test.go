package colorimetry

import (
	"math"
	"slices"
	"strings"
	"testing"

	"example.com/dosetone/datasets/published"
)

func TestPublishedDifferences(t *testing.T) {
	formulas := map[string]Difference{
		"CIE76": CIE76{}, "CIE94-graphic-arts": CIE94GraphicArts(), "CIE94-textiles": CIE94Textiles(),
		"CMC(2:1)": CMC{2, 1}, "CMC(1:1)": CMC{1, 1},
		"CIEDE2000(1:1:1)": CIEDE2000{1, 1, 1}, "CIEDE2000(2:1:1)": CIEDE2000{2, 1, 1},
	}
	worst := map[string]float64{}
	for i, p := range published.ColorDifferences() {
		f, ok := formulas[p.Formula]
		if !ok {
			t.Fatalf("row %d: unknown formula %s", i, p.Formula)
		}
		got := f.Diff(Lab(p.Ref), Lab(p.Sample))
		e := math.Abs(got - p.DE)
		if !(e <= 0.5001*math.Pow10(-p.Decimals)+1e-12*p.DE) {
			t.Errorf("row %d: %s of %v %v = %.9f, want %v (%s)", i+2, p.Formula, p.Ref, p.Sample, got, p.DE, p.Source)
		}
		worst[p.Formula] = max(worst[p.Formula], e*math.Pow10(p.Decimals))
	}
	for name, e := range worst {
		t.Logf("%s: largest deviation %.2f of the last printed digit", name, e)
	}
}

// The zero values are the documented defaults.
func TestDefaults(t *testing.T) {
	a, b := Lab{40, 2, -20}, Lab{45, -3, -15}
	for _, c := range []struct{ zero, explicit Difference }{
		{CIE94{}, CIE94GraphicArts()}, {CMC{}, CMC{2, 1}}, {CIEDE2000{}, CIEDE2000{1, 1, 1}},
	} {
		if c.zero.Diff(a, b) != c.explicit.Diff(a, b) || c.zero.String() != c.explicit.String() {
			t.Errorf("%s and %s differ", c.zero, c.explicit)
		}
	}
}

func TestLabOfXYZ(t *testing.T) {
	for _, p := range published.LabsOfXYZ() {
		got := XYZ(p.XYZ).Lab(XYZ(p.White))
		tol := 1e-10
		if !strings.HasPrefix(p.Source, "computed") {
			tol = 0.5e-8 + 1e-10
		}
		if farLab(got, Lab(p.Lab), tol) {
			t.Errorf("%v: %.10f, want %v", p.XYZ, got, p.Lab)
		}
	}
}

func TestAdaptation(t *testing.T) {
	spaces := map[string]ConeSpace{"Bradford": Bradford, "CAT16": CAT16}
	for _, p := range published.Adaptations() {
		got := spaces[p.Transform].Adapt(XYZ(p.XYZ), XYZ(p.From), XYZ(p.To))
		// Half of the last digit; one row is printed to 1 decimal here
		// (3 decimals on the 0-1 scale).
		tol := 0.51 * math.Pow10(-p.Decimals)
		if farXYZ(got, XYZ(p.Out), tol) {
			t.Errorf("%s %v: %v, want %v", p.Transform, p.XYZ, got, p.Out)
		}
	}
	// The white itself goes to the other white.
	d65, a := Viewing{D65, TenDegree}.White(), Viewing{A, TenDegree}.White()
	for _, s := range []ConeSpace{Bradford, CAT16} {
		if got := s.Adapt(d65, d65, a); farXYZ(got, a, 1e-12*100) {
			t.Errorf("%s: white goes to %v, want %v", s, got, a)
		}
	}
}

func TestWhitenessAndYellowness(t *testing.T) {
	for i, p := range published.WhitenessValues() {
		c := XYZ{p.X, p.Y, p.Z}
		check := func(name string, got, want, tol float64) {
			if far(got, want, tol) {
				t.Errorf("row %d %s: %s = %.7f, want %v", i+2, p.Quantity, name, got, want)
			}
		}
		switch p.Quantity {
		case "CIE-whiteness+tint-2deg":
			w := cieWhiteness(p.Chromaticity["x"], p.Chromaticity["y"], p.Chromaticity["Y"], p.Parameters["xn"], p.Parameters["yn"], 1000)
			check("W", w.W, p.W, 1e-9)
			check("T", w.T, p.T, 1e-9)
		case "E313-yellowness":
			yi, err := yellowness(c, p.Parameters["Cx"], p.Parameters["Cz"])
			if err != nil {
				t.Fatal(err)
			}
			check("YI", yi, p.YI, 1e-9)
		case "D1925-yellowness":
			yi, err := YellownessD1925(c)
			if err != nil {
				t.Fatal(err)
			}
			check("YI", yi, p.YI, 1e-9)
		case "E313-whiteness-old":
			check("WI", WhitenessE313Old(c), p.W, 1e-9)
		case "CIE-whiteness+tint+E313-YI-D65-1964_10deg", "CIE-whiteness+tint+E313-YI-D65-1931_2deg":
			v := Viewing{D65, TwoDegree}
			if strings.Contains(p.Quantity, "1964") {
				v.Observer = TenDegree
			}
			w, err := CIEWhiteness(c, v)
			if err != nil {
				t.Fatal(err)
			}
			yi, err := Yellowness(c, v)
			if err != nil {
				t.Fatal(err)
			}
			check("W", w.W, p.W, 0.51e-6)
			check("T", w.T, p.T, 0.51e-6)
			check("YI", yi, p.YI, 0.51e-6)
		default:
			t.Fatalf("row %d: unknown quantity %s", i+2, p.Quantity)
		}
	}
}

func TestWhitenessLimits(t *testing.T) {
	for _, c := range []struct {
		w    Whiteness
		y    float64
		warn bool
	}{{Whiteness{80, 0}, 85, false}, {Whiteness{39, 0}, 85, true}, {Whiteness{150, 0}, 85, true}, {Whiteness{80, 2.5}, 85, true}, {Whiteness{80, -4.5}, 85, true}} {
		if got := c.w.Warning(c.y) != nil; got != c.warn {
			t.Errorf("%v at Y %v: warning %v", c.w, c.y, got)
		}
	}
	if _, err := CIEWhiteness(XYZ{80, 85, 60}, Viewing{A, TenDegree}); err == nil {
		t.Error("whiteness under A has no error")
	}
	if _, err := CIEWhiteness(XYZ{}, Viewing{D65, TenDegree}); err == nil {
		t.Error("whiteness of black has no error")
	}
	if _, err := Yellowness(XYZ{80, 85, 60}, Viewing{F11, TenDegree}); err == nil {
		t.Error("yellowness under F11 has no error")
	}
}

func TestSRGB(t *testing.T) {
	for _, p := range published.SRGBLindbloom() {
		c := SRGB{p.RGB[0], p.RGB[1], p.RGB[2]}
		if got := SRGBToXYZ(c); farXYZ(got, XYZ(p.XYZ), 1.1e-4) { // 4 decimals, from a 7-decimal matrix
			t.Errorf("%v: XYZ %v, want %v", c, got, p.XYZ)
		}
		if got := SRGBToLab(c); farLab(got, Lab(p.Lab), 1.1e-4) {
			t.Errorf("%v: Lab %v, want %v", c, got, p.Lab)
		}
	}
	for _, p := range published.SRGB8Values() {
		c := SRGB{p.RGB[0], p.RGB[1], p.RGB[2]}
		code := c.Quantize()
		// Those values come from a matrix rounded to 7 decimals: up to 1.5e-5 in
		// XYZ, which is 5e-5 in a* of a dark red.
		if got := SRGB8ToXYZ(code); farXYZ(got, XYZ(p.XYZ), 1.5e-5) || farXYZ(got, SRGBToXYZ(c), 1e-12) {
			t.Errorf("%v: XYZ %v, want %v", code, got, p.XYZ)
		}
		if got := SRGB8ToLab(code); farLab(got, Lab(p.Lab), 5e-5) || farLab(got, SRGBToLab(c), 1e-11) {
			t.Errorf("%v: Lab %v, want %v", code, got, p.Lab)
		}
		back, ok := LabToSRGB(SRGB8ToLab(code))
		if back.Quantize() != code || !ok {
			t.Errorf("%v comes back as %v, in gamut %v", code, back, ok)
		}
		if hex, err := ParseHex(code.Hex()); err != nil || hex != code {
			t.Errorf("%v comes back from %s as %v, %v", code, code.Hex(), hex, err)
		}
	}
	for _, c := range []Lab{{50, 120, 0}, {50, 0, -120}, {101, 0, 0}, {-1, 0, 0}} {
		rgb, ok := LabToSRGB(c)
		if ok || rgb.R < 0 || rgb.R > 1 || rgb.G < 0 || rgb.G > 1 || rgb.B < 0 || rgb.B > 1 {
			t.Errorf("%v: shown as %v, in gamut %v", c, rgb, ok)
		}
	}
	if _, err := ParseHex("#12345g"); err == nil {
		t.Error("no error for a bad hex color")
	}
}

// Formula from memory; the values come from an independent program.
func TestGrayScales(t *testing.T) {
	for _, p := range published.GrayScaleChangeValues() {
		got := GrayScaleChange(Lab(p.Ref), Lab(p.Test))
		if far(got.DE, p.DE, 0.6e-6) || far(got.Value, p.Rating, 0.6e-6) {
			t.Errorf("change %v %v: %v, want %v %v", p.Ref, p.Test, got, p.DE, p.Rating)
		}
	}
	for _, p := range published.GrayScaleStainingValues() {
		got := GrayScaleStaining(Lab(p.Ref), Lab(p.Test))
		if far(got.DE, p.DE, 0.6e-6) || far(got.Value, p.Rating, 0.6e-6) {
			t.Errorf("staining %v %v: %v, want %v %v", p.Ref, p.Test, got, p.DE, p.Rating)
		}
	}
	// The physical chips of A02 (published) and A03 (from memory) are pairs of
	// neutral grays: each must be rated as itself.
	for _, s := range published.GrayScaleSteps() {
		ref, test := Lab{60, 0, 0}, Lab{60 + s.DE, 0, 0}
		rate := GrayScaleChange
		if s.Staining {
			rate = GrayScaleStaining
		}
		if got := rate(ref, test); got.Grade != s.Rating {
			t.Errorf("chip %s (ΔE %v, staining %v) is rated %s (%.3f)", s.Rating, s.DE, s.Staining, got.Grade, got.Value)
		}
	}
}

func TestMetamerism(t *testing.T) {
	ref := weights(t, Viewing{D65, TenDegree}, 400, 700, 10)
	printed := map[string]XYZ{"A": {111.144, 100, 35.200}, "F2": {103.279, 100, 69.027}, "F11": {103.863, 100, 65.607}} // E308, 10 degrees
	for _, p := range published.MetamericPairs() {
		test := weights(t, viewing(t, p.Test+"/10"), 400, 700, 10)
		a, err := NewSpectrum(ref.Grid(), p.Standard)
		if err != nil {
			t.Fatal(err)
		}
		b, err := NewSpectrum(ref.Grid(), p.Sample)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range []struct {
			index MetamerismIndex
			want  float64
		}{
			{MetamerismIndex{}, p.Multiplicative},
			{MetamerismIndex{Correction: Additive}, p.Additive},
			{MetamerismIndex{Difference: CMC{2, 1}}, p.MultiplicativeCM},
			{MetamerismIndex{Difference: CIEDE2000{}}, p.Multiplicative00},
		} {
			// The values there are against the printed white of the test light.
			got, err := c.index.Of(
				Pair{ref.XYZ(p.Standard), ref.XYZ(p.Sample)}, Pair{test.XYZ(p.Standard), test.XYZ(p.Sample)}, printed[p.Test])
			if err != nil || far(got, c.want, 5e-6) { // weights there have 6 decimals
				t.Errorf("%s under %s: %s = %.6f, want %.6f (%v)", p.Name, p.Test, c.index, got, c.want, err)
			}
			// Ours is 0.001 away, and the index 0.0002.
			if got, err = c.index.OfSpectra(a, b, ref, test); err != nil || far(got, c.want, 2e-4) {
				t.Errorf("%s under %s: %s of spectra = %.6f, want %.6f (%v)", p.Name, p.Test, c.index, got, c.want, err)
			}
		}
	}
	w2 := weights(t, Viewing{A, TwoDegree}, 400, 700, 10)
	s := Spectrum{ref.Grid(), make([]float64, 31)}
	if _, err := (MetamerismIndex{}).OfSpectra(s, s, ref, w2); err == nil {
		t.Error("two observers give no error")
	}
	if _, err := (MetamerismIndex{}).OfSpectra(s, s, ref, ref); err == nil {
		t.Error("a black sample gives no error")
	}
}

func TestParseDifference(t *testing.T) {
	for _, f := range []Difference{CIE76{}, CIE94GraphicArts(), CIE94Textiles(), CMC{2, 1}, CIE94{2, 1, 1, 0.048, 0.02}, CMC{1.4, 1}, CIEDE2000{1, 1, 1}, CIEDE2000{2, 1, 0.5}} {
		if got, err := ParseDifference(f.String()); err != nil || got != f {
			t.Errorf("%s is read as %v, %v", f, got, err)
		}
	}
	for s, want := range map[string]Difference{"ciede2000": CIEDE2000{1, 1, 1}, "cie94-textiles": CIE94Textiles(), "CMC": CMC{2, 1}, " cmc ( 1 : 1 ) ": CMC{1, 1},
		"DE00": CIEDE2000{1, 1, 1}, "dE2000": CIEDE2000{1, 1, 1}, "ΔE00": CIEDE2000{1, 1, 1}, "dE 2000 2:1:1": CIEDE2000{2, 1, 1}, "CIE 76": CIE76{}, "dE76": CIE76{},
		"CMC 2:1": CMC{2, 1}, "dE CMC(1:1)": CMC{1, 1}, "CIE 94 Textiles": CIE94Textiles()} {
		if got, err := ParseDifference(s); err != nil || got != want {
			t.Errorf("%q is read as %v, %v", s, got, err)
		}
	}
	for _, s := range []string{"", "delta", "CMC(2)", "CMC(2:1", "CIEDE2000(1:1:0)", "CIEDE2000(1:1:NaN)", "CIE76(1:1)", "CMC(-2:1)", "CMC(Inf:1)", "CMC 2:", "CMC 2:1)", "dE", "2:1"} {
		if got, err := ParseDifference(s); err == nil {
			t.Errorf("%q is read as %v", s, got)
		}
	}
}

// Hues exactly opposite are +180° apart in either order, as the range (-180, 180]
// has it, and ΔH*ab = 2·√(C1·C2)·sin 90° = 2·√(10·10) = 20.
func TestOppositeHues(t *testing.T) {
	for _, p := range [][2]Lab{
		{{50, -10, 0}, {50, 10, 0}}, {{50, 10, 0}, {50, -10, 0}}, {{50, 0, 10}, {50, 0, -10}}, {{50, 0, -10}, {50, 0, 10}},
		{{50, 6, 8}, {50, -6, -8}}, {{50, -6, -8}, {50, 6, 8}},
	} {
		if d := p[0].Difference(p[1]); d.DHue != 180 || far(d.DH, 20, 1e-12) {
			t.Errorf("%v to %v: hue %v, ΔH %v, want 180 and 20", p[0], p[1], d.DHue, d.DH)
		}
	}
	// Opposite but for the last bit, on the side of -180: still within the range.
	for _, b := range []float64{1e-300, -1e-300} {
		if d := (Lab{50, -10, b}).Difference(Lab{50, 10, 0}); d.DHue != 180 || far(d.DH, 20, 1e-12) {
			t.Errorf("b* %v: hue %v, ΔH %v, want 180 and 20", b, d.DHue, d.DH)
		}
	}
}

// What is not a number has no grade and no index.
func TestNaNHasNoRating(t *testing.T) {
	bad, good := Lab{math.NaN(), 0, 0}, Lab{50, 0, 0}
	for _, g := range []GrayRating{GrayScaleChange(good, bad), GrayScaleStaining(bad, good)} {
		if g.Grade != "" || !math.IsNaN(g.Value) {
			t.Errorf("NaN is rated %+v", g)
		}
	}
	ok := Pair{XYZ{20, 20, 20}, XYZ{20, 20, 20}}
	for _, m := range []MetamerismIndex{{}, {Correction: Additive}} {
		for name, call := range map[string]func() (float64, error){
			"reference": func() (float64, error) {
				return m.Of(Pair{XYZ{20, 20, 20}, XYZ{20, math.NaN(), 20}}, ok, XYZ{95, 100, 108})
			},
			"test":  func() (float64, error) { return m.Of(ok, Pair{XYZ{math.Inf(1), 20, 20}, ok.Sample}, XYZ{95, 100, 108}) },
			"white": func() (float64, error) { return m.Of(ok, ok, XYZ{}) },
		} {
			if v, err := call(); err == nil {
				t.Errorf("%s, %s: index %v without an error", m, name, v)
			}
		}
	}
}

// The bulk form of 8-bit colors gives the same as the single one, allocates
// nothing and leaves its input alone.
func TestSRGB8sToLab(t *testing.T) {
	src := make([]SRGB8, 0, 1000)
	for i := range 1000 {
		src = append(src, SRGB8{uint8(i), uint8(i * 7), uint8(i * 13)})
	}
	before := slices.Clone(src)
	dst := make([]Lab, len(src))
	if n := testing.AllocsPerRun(5, func() { SRGB8sToLab(dst, src) }); n != 0 {
		t.Errorf("allocates %v times", n)
	}
	for i, c := range src {
		if dst[i] != SRGB8ToLab(c) {
			t.Fatalf("%v: %v in bulk, %v alone", c, dst[i], SRGB8ToLab(c))
		}
	}
	if !slices.Equal(src, before) {
		t.Error("the input was changed")
	}
}
