package colorimetry

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A Difference is a color-difference formula. The first color is the reference
// (the standard), the second the sample; CIE94 and CMC are not symmetric. Diff
// is ≥ 0 in units of the formula, and both colors are of one viewing.
type Difference interface {
	Diff(ref, sample Lab) float64
	String() string
}

// ParseDifference reads the name of a formula, with factors in parentheses
// where it has them: "CIE76", "CIE94 graphic arts" (or "CIE94"), "CIE94
// textiles", "CIE94(1:1:1:0.045:0.015)" (kL:kC:kH:K1:K2), "CMC(2:1)" (or "CMC"), "CIEDE2000(2:1:1)" (or "CIEDE2000", which is
// 1:1:1). Case, blanks and hyphens do not matter, "dE" stands for "CIE" ("dE76",
// "dE2000", "dE00"), and factors may follow a blank: "CMC 2:1".
func ParseDifference(s string) (Difference, error) {
	name, rest, hasFactors := strings.Cut(strings.ToLower(strings.TrimSpace(s)), "(")
	if i := strings.LastIndexByte(strings.TrimSpace(name), ' '); !hasFactors && i >= 0 && strings.Contains(name[i:], ":") {
		name, rest, hasFactors = name[:i], strings.TrimSpace(name[i:])+")", true
	}
	var k []float64
	if hasFactors {
		inner, ok := strings.CutSuffix(strings.TrimSpace(rest), ")")
		for part := range strings.SplitSeq(inner, ":") {
			x, err := strconv.ParseFloat(strings.TrimSpace(part), 64)
			if err != nil || !(x > 0) || math.IsInf(x, 0) {
				ok = false
			}
			k = append(k, x)
		}
		if !ok {
			return nil, fmt.Errorf("difference formula %q: want factors above 0 in parentheses, such as CMC(2:1)", s)
		}
	}
	name = strings.NewReplacer(" ", "", "-", "", "δe", "cie", "∆e", "cie").Replace(name)
	if year, ok := strings.CutPrefix(name, "de"); ok {
		name = "cie" + year
	}
	switch name {
	case "cie2000", "cie00":
		name = "ciede2000"
	case "ciecmc":
		name = "cmc"
	}
	switch {
	case name == "cie76" && k == nil:
		return CIE76{}, nil
	case (name == "cie94" || name == "cie94graphicarts") && k == nil:
		return CIE94GraphicArts(), nil
	case name == "cie94textiles" && k == nil:
		return CIE94Textiles(), nil
	case name == "cie94" && len(k) == 5:
		return CIE94{k[0], k[1], k[2], k[3], k[4]}, nil
	case name == "cmc" && k == nil:
		return CMC{2, 1}, nil
	case name == "cmc" && len(k) == 2:
		return CMC{k[0], k[1]}, nil
	case name == "ciede2000" && k == nil:
		return CIEDE2000{1, 1, 1}, nil
	case name == "ciede2000" && len(k) == 3:
		return CIEDE2000{k[0], k[1], k[2]}, nil
	}
	return nil, fmt.Errorf("unknown difference formula %q: want CIE76, CIE94 graphic arts, CIE94 textiles, CIE94(kL:kC:kH:K1:K2), CMC(l:c) or CIEDE2000(kL:kC:kH)", s)
}

// CIE76 is ΔE*ab, the distance in CIELAB [1].
type CIE76 struct{}

// Diff returns ΔE*ab.
func (CIE76) Diff(ref, sample Lab) float64 {
	dL, da, db := sample.L-ref.L, sample.A-ref.A, sample.B-ref.B
	return math.Sqrt(dL*dL + da*da + db*db)
}

// String returns the name of the formula.
func (CIE76) String() string { return "CIE76" }

// Components are the CIELAB differences of a sample from its reference [1], in
// CIELAB units but for DHue.
type Components struct {
	DL, DA, DB float64
	DC         float64 // chroma difference
	DH         float64 // hue difference ΔH*ab, positive towards larger hue angle
	DHue       float64 // difference of the hue angles in degrees, (-180, 180]
}

// Difference returns the signed components, sample minus reference, so that
// ΔE*ab² = DL² + DA² + DB² = DL² + DC² + DH².
func (ref Lab) Difference(sample Lab) Components {
	d := Components{DL: sample.L - ref.L, DA: sample.A - ref.A, DB: sample.B - ref.B}
	c1, c2 := math.Hypot(ref.A, ref.B), math.Hypot(sample.A, sample.B)
	d.DC = c2 - c1
	d.DH = deltaH(ref, sample, c1, c2)
	if c1 > 0 && c2 > 0 {
		cross := crossProduct(ref.A, ref.B, sample.A, sample.B)
		dot := ref.A*sample.A + ref.B*sample.B
		d.DHue = math.Atan2(cross, dot) * (180 / math.Pi)
		if d.DHue == -180 { // opposite but for rounding
			d.DHue, d.DH = 180, -d.DH
		}
	}
	return d
}

// deltaH is ΔH*ab = 2·√(C1·C2)·sin(Δh/2) without angles. With dot and cross
// the products of (a*, b*), 2·C1·C2·sin²(Δh/2) = C1·C2 - dot, which is exact
// for hues far apart; for near hues cross/√((C1·C2 + dot)/2) keeps the digits.
// Hues exactly 180° apart count as positive.
func deltaH(ref, sample Lab, c1, c2 float64) float64 {
	cross := crossProduct(ref.A, ref.B, sample.A, sample.B)
	dot := ref.A*sample.A + ref.B*sample.B
	switch {
	case dot < 0:
		return math.Copysign(math.Sqrt(2*(c1*c2-dot)), cross)
	case cross == 0: // equal hues, or a neutral color
		return 0
	}
	return cross / math.Sqrt((c1*c2+dot)/2)
}

// crossProduct returns a1·b2 - a2·b1. The conversions forbid the compiler to
// fuse multiplication and subtraction, as it does on some processors: equal
// colors must give exactly zero everywhere.
// Adding 0 turns -0 into 0, so that opposite hues on an axis have a positive sign.
func crossProduct(a1, b1, a2, b2 float64) float64 { return float64(a1*b2) - float64(a2*b1) + 0 }

// CIE94 is the CIE 1994 formula [5]. S_C and S_H use the chroma of the
// reference alone. The zero value is the graphic-arts form. Factors and slopes
// must not be negative.
type CIE94 struct {
	KL, KC, KH float64 // parametric factors; 0 means 1
	K1, K2     float64 // slopes of S_C and S_H; 0 means 0.045 and 0.015
}

// CIE94GraphicArts returns the form for graphic arts: kL = 1, K1 = 0.045, K2 = 0.015.
func CIE94GraphicArts() CIE94 { return CIE94{KL: 1, KC: 1, KH: 1, K1: 0.045, K2: 0.015} }

// CIE94Textiles returns the form for textiles: kL = 2, K1 = 0.048, K2 = 0.014.
func CIE94Textiles() CIE94 { return CIE94{KL: 2, KC: 1, KH: 1, K1: 0.048, K2: 0.014} }

// Diff returns ΔE*94.
func (f CIE94) Diff(ref, sample Lab) float64 {
	c1, c2 := math.Hypot(ref.A, ref.B), math.Hypot(sample.A, sample.B)
	dC, dH := c2-c1, deltaH(ref, sample, c1, c2)
	return norm3(
		(sample.L-ref.L)/orDefault(f.KL, 1),
		dC/(orDefault(f.KC, 1)*(1+orDefault(f.K1, 0.045)*c1)),
		dH/(orDefault(f.KH, 1)*(1+orDefault(f.K2, 0.015)*c1)),
	)
}

// String returns the name with the constants in use.
func (f CIE94) String() string {
	switch f {
	case CIE94{}, CIE94GraphicArts():
		return "CIE94 graphic arts"
	case CIE94Textiles():
		return "CIE94 textiles"
	}
	return "CIE94(" + ratio(orDefault(f.KL, 1), orDefault(f.KC, 1), orDefault(f.KH, 1), orDefault(f.K1, 0.045), orDefault(f.K2, 0.015)) + ")"
}

// CMC is the CMC(l:c) formula [6]. The zero value is CMC(2:1), the textile
// acceptability form. L and C must not be negative.
type CMC struct{ L, C float64 } // 0 means 2 and 1

// Diff returns ΔE_CMC(l:c). All weights come from the reference.
func (f CMC) Diff(ref, sample Lab) float64 {
	c1, c2 := math.Hypot(ref.A, ref.B), math.Hypot(sample.A, sample.B)
	h := hueDegrees(ref.B, ref.A)

	sL := 0.511
	if ref.L >= 16 {
		sL = 0.040975 * ref.L / (1 + 0.01765*ref.L)
	}
	sC := 0.0638*c1/(1+0.0131*c1) + 0.638
	var t float64
	if h >= 164 && h <= 345 { // both ends included
		t = 0.56 + math.Abs(0.2*cosDegrees(h+168))
	} else {
		t = 0.36 + math.Abs(0.4*cosDegrees(h+35))
	}
	c4 := c1 * c1 * c1 * c1
	ff := 1.0 // the limit for large chroma, where c4 overflows
	if !math.IsInf(c4, 1) {
		ff = math.Sqrt(c4 / (c4 + 1900))
	}
	sH := sC * (ff*t + 1 - ff)

	return norm3(
		(sample.L-ref.L)/(orDefault(f.L, 2)*sL),
		(c2-c1)/(orDefault(f.C, 1)*sC),
		deltaH(ref, sample, c1, c2)/sH,
	)
}

// String returns the name with its ratio, such as "CMC(2:1)".
func (f CMC) String() string { return "CMC(" + ratio(orDefault(f.L, 2), orDefault(f.C, 1)) + ")" }

func orDefault(x, def float64) float64 {
	if x == 0 {
		return def
	}
	return x
}

func norm3(x, y, z float64) float64 { return math.Sqrt(x*x + y*y + z*z) }

func cosDegrees(x float64) float64 { return math.Cos(x * (math.Pi / 180)) }
func sinDegrees(x float64) float64 { return math.Sin(x * (math.Pi / 180)) }
