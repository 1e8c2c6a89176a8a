package published

import (
	"fmt"
	"strings"
)

// A ColorDifference is a pair with its difference by one formula.
type ColorDifference struct {
	Formula     string // CIE76, CIE94-graphic-arts, CIE94-textiles, CMC(2:1), CMC(1:1), CIEDE2000(1:1:1), CIEDE2000(2:1:1)
	Ref, Sample struct{ L, A, B float64 }
	DE          float64
	Decimals    int    // precision to compare at
	Source      string // which test-suite; "computed here…" marks values of an independent program
}

// ColorDifferences returns 227 pairs from the test-suites of colour-science
// 0.4.6, scikit-image 0.19.3 (both BSD-3-Clause), python-colormath
// (BSD-3-Clause) and go-colorful (MIT), 77 of them computed with an
// independent program. The first color is the reference.
func ColorDifferences() []ColorDifference {
	var out []ColorDifference
	for _, r := range colorTable("differences.csv") {
		out = append(out, ColorDifference{
			r.text("formula"), r.lab("L1", "a1", "b1"), r.lab("L2", "a2", "b2"),
			r.float("expected"), r.int("decimals"), r.text("source"),
		})
	}
	return out
}

// A LabOfXYZ is a conversion from XYZ to Lab.
type LabOfXYZ struct {
	XYZ, White struct{ X, Y, Z float64 }
	Lab        struct{ L, A, B float64 }
	Source     string
}

// LabsOfXYZ returns 21 conversions: 5 from the test-suite of colour-science
// 0.4.6, the others computed with an independent program, among them the joint
// of root and line.
func LabsOfXYZ() []LabOfXYZ {
	var out []LabOfXYZ
	for _, r := range colorTable("xyz_to_lab.csv") {
		out = append(out, LabOfXYZ{r.xyz("X", "Y", "Z"), r.xyz("Xn", "Yn", "Zn"), r.lab("L", "a", "b"), r.text("source")})
	}
	return out
}

// An Adaptation is a color adapted from one white to another.
type Adaptation struct {
	Transform          string // Bradford or CAT16
	From, To, XYZ, Out struct{ X, Y, Z float64 }
	Published          bool // two rows, of colour-science (6 decimals) and python-colormath (1 decimal on this scale); the others 7 decimals, computed with an independent program
	Decimals           int
}

// Adaptations returns values for complete adaptation.
func Adaptations() []Adaptation {
	whites := make(map[string]struct{ X, Y, Z float64 })
	for _, r := range colorTable("adaptation_whites.csv") {
		whites[r.text("name")] = r.xyz("X", "Y", "Z")
	}
	white := func(name string) (w struct{ X, Y, Z float64 }) {
		if w, ok := whites[name]; ok {
			return w
		}
		w.Y = 100
		if _, err := fmt.Sscanf(name, "X=%f;Z=%f", &w.X, &w.Z); err != nil {
			panic("published: white " + name)
		}
		return w
	}
	var out []Adaptation
	for _, r := range colorTable("adaptation.csv") {
		_, fraction, _ := strings.Cut(r.text("X_out"), ".")
		out = append(out, Adaptation{
			r.text("transform"), white(r.text("white_source")), white(r.text("white_destination")),
			r.xyz("X", "Y", "Z"), r.xyz("X_out", "Y_out", "Z_out"),
			r.text("source") != "computed here", len(fraction),
		})
	}
	return out
}

// A WhitenessValue is one row of whiteness, tint or yellowness; values that a
// row does not have are NaN-free zero with the flag false.
type WhitenessValue struct {
	Quantity     string // such as E313-yellowness
	Parameters   map[string]float64
	X, Y, Z      float64
	Chromaticity map[string]float64 // x, y, and Y where the row is given so
	W, T, YI     float64
	HasW, HasT   bool
	HasYI        bool
	Source       string
}

// WhitenessValues returns 13 rows of the test-suite of colour-science 0.4.6
// and 12 computed with an independent program.
func WhitenessValues() []WhitenessValue {
	var out []WhitenessValue
	for _, r := range colorTable("whiteness_yellowness.csv") {
		v := WhitenessValue{Quantity: r.text("quantity"), Source: r.text("source"),
			Parameters: assignments(r.text("parameters")), Chromaticity: assignments(r.text("expression"))}
		v.X, _ = r.optional("X")
		v.Y, _ = r.optional("Y")
		v.Z, _ = r.optional("Z")
		v.W, v.HasW = r.optional("W")
		v.T, v.HasT = r.optional("T")
		v.YI, v.HasYI = r.optional("YI")
		out = append(out, v)
	}
	return out
}

// assignments reads "xn=0.3127;yn=0.329".
func assignments(s string) map[string]float64 {
	out := make(map[string]float64)
	for part := range strings.SplitSeq(s, ";") {
		name, value, ok := strings.Cut(part, "=")
		if !ok {
			continue
		}
		var x float64
		if _, err := fmt.Sscanf(value, "%f", &x); err != nil {
			panic("published: parameters " + s)
		}
		out[name] = x
	}
	return out
}

// An SRGBValue is an encoded sRGB color with XYZ and Lab (D65/2, white 95.047
// 100 108.883).
type SRGBValue struct {
	RGB [3]float64 // 0..1
	XYZ struct{ X, Y, Z float64 }
	Lab struct{ L, A, B float64 }
}

// SRGBLindbloom returns 15 rows made with Lindbloom's calculators, 4 decimals,
// from the test table of go-colorful (MIT).
func SRGBLindbloom() []SRGBValue {
	var out []SRGBValue
	for _, r := range colorTable("srgb_lindbloom.csv") {
		out = append(out, SRGBValue{[3]float64{r.float("R"), r.float("G"), r.float("B")},
			r.xyz("X", "Y", "Z"), r.lab("L_D65", "a_D65", "b_D65")})
	}
	return out
}

// SRGB8Values returns 62 colors of 8 bits, computed with an independent program
// from IEC 61966-2-1 with the 7-decimal matrix of the primaries, 6 decimals.
func SRGB8Values() []SRGBValue {
	var out []SRGBValue
	for _, r := range colorTable("srgb_iec.csv") {
		out = append(out, SRGBValue{
			[3]float64{r.float("R8") / 255, r.float("G8") / 255, r.float("B8") / 255},
			r.xyz("X_prim", "Y_prim", "Z_prim"), r.lab("L_prim", "a_prim", "b_prim")})
	}
	return out
}

// A GrayScaleValue is a pair with its rating.
type GrayScaleValue struct {
	Ref, Test  struct{ L, A, B float64 }
	DE, Rating float64
}

// GrayScaleChangeValues returns 8 pairs rated by ISO 105-A05, computed with an
// independent program. The formula is from memory.
func GrayScaleChangeValues() []GrayScaleValue { return grayScale("gray_scale_a05.csv", "dE_F", "GS") }

// GrayScaleStainingValues returns 6 pairs rated by ISO 105-A04, computed with
// an independent program. The formula is from memory.
func GrayScaleStainingValues() []GrayScaleValue {
	return grayScale("gray_scale_a04.csv", "dE_GS", "SSR")
}

func grayScale(file, de, rating string) []GrayScaleValue {
	var out []GrayScaleValue
	for _, r := range colorTable(file) {
		out = append(out, GrayScaleValue{r.lab("L_ref", "a_ref", "b_ref"), r.lab("L_test", "a_test", "b_test"), r.float(de), r.float(rating)})
	}
	return out
}

// A GrayScaleStep is the color difference of one chip of a gray scale.
type GrayScaleStep struct {
	Staining      bool   // A03 (from memory); otherwise A02 (published)
	Rating        string // "4-5"
	DE, Tolerance float64
}

// GrayScaleSteps returns the chips of ISO 105-A02 (from the preview of EN
// 20105-A02:1994) and A03 (from memory).
func GrayScaleSteps() []GrayScaleStep {
	var out []GrayScaleStep
	for _, r := range colorTable("gray_scale_steps.csv") {
		out = append(out, GrayScaleStep{strings.HasPrefix(r.text("table"), "A03"), r.text("rating"),
			r.float("value_or_lower"), r.float("tolerance_or_upper")})
	}
	return out
}

// A MetamericPair is two spectra, 400-700 nm in steps of 10 nm, with their
// indices under D65/10 and a test light, computed with an independent program:
// no printed values were found.
type MetamericPair struct {
	Name, Test       string // test illuminant
	Standard, Sample []float64
	Multiplicative   float64 // CIE76
	Additive         float64 // CIE76
	MultiplicativeCM float64 // CMC(2:1)
	Multiplicative00 float64 // CIEDE2000
}

// MetamericPairs returns 8 pairs under 3 test lights.
func MetamericPairs() []MetamericPair {
	spectra := make(map[string][]float64)
	for _, r := range colorTable("metamerism_spectra.csv") {
		var v []float64
		for nm := 400; nm <= 700; nm += 10 {
			v = append(v, r.float(fmt.Sprintf("R%d", nm)))
		}
		spectra[r.text("pair")+"/"+r.text("member")] = v
	}
	var out []MetamericPair
	for _, r := range colorTable("metamerism.csv") {
		name := r.text("pair")
		out = append(out, MetamericPair{name, r.text("test_illuminant"), spectra[name+"/1"], spectra[name+"/2"],
			r.float("M_multiplicative"), r.float("M_additive"), r.float("M_multiplicative_CMC21"), r.float("M_multiplicative_dE00")})
	}
	return out
}
