package colorimetry

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// CIEDE2000 is the CIE 2000 color-difference formula [4] with its parametric
// factors kL:kC:kH. The zero value means 1:1:1, the reference conditions;
// textiles are often judged at 2:1:1. A factor of 0 means 1, none may be negative.
type CIEDE2000 struct{ KL, KC, KH float64 }

// String returns the name with its factors, such as "CIEDE2000(1:1:1)".
func (f CIEDE2000) String() string {
	f = f.withDefaults()
	return "CIEDE2000(" + ratio(f.KL, f.KC, f.KH) + ")"
}

func ratio(k ...float64) string {
	s := make([]string, len(k))
	for i, x := range k {
		s[i] = strconv.FormatFloat(x, 'g', -1, 64)
	}
	return strings.Join(s, ":")
}

func (f CIEDE2000) withDefaults() CIEDE2000 {
	return CIEDE2000{orDefault(f.KL, 1), orDefault(f.KC, 1), orDefault(f.KH, 1)}
}

// DeltaParts are the parts of a CIEDE2000 difference, sample minus reference.
type DeltaParts struct {
	// Weighted parts ΔL'/(kL·S_L), ΔC'/(kC·S_C), ΔH'/(kH·S_H). A negative
	// DL is darker, a negative DC is duller than the reference.
	// Total² = DL² + DC² + DH² + RT·DC·DH.
	DL, DC, DH float64
	// Raw parts ΔL', ΔC', ΔH' before weighting.
	RawL, RawC, RawH float64
	// Weighting functions and rotation term.
	SL, SC, SH, RT float64
	Total          float64 // ΔE00
}

// Parts returns ΔE00 with its parts. It evaluates the formula as printed; Diff
// and the bulk forms give the same total faster.
func (f CIEDE2000) Parts(ref, sample Lab) DeltaParts {
	t := ciede2000Terms(ref, sample)
	f = f.withDefaults()
	p := DeltaParts{
		DL: t.dL / (f.KL * t.sL), DC: t.dC / (f.KC * t.sC), DH: t.dH / (f.KH * t.sH),
		RawL: t.dL, RawC: t.dC, RawH: t.dH,
		SL: t.sL, SC: t.sC, SH: t.sH, RT: t.rT,
	}
	p.Total = math.Sqrt(p.DL*p.DL + p.DC*p.DC + p.DH*p.DH + p.RT*p.DC*p.DH)
	return p
}

// terms are the intermediate values of [4], table 1, by the paper's symbols.
type terms struct {
	g, a1, a2, c1, c2, h1, h2   float64 // G, a', C', h' (degrees)
	dL, dC, dH                  float64
	hBar, t, sL, sC, sH, rC, rT float64
}

// hueTie is the margin in degrees within which two hues count as exactly 180°
// apart. There the formula jumps and the printed pairs 10 and 14 of [4] belong
// to the branch "gap not above 180". Angles from atan2 are good to about 1e-13
// degrees, so without a margin the last bit would choose the branch.
const hueTie = 1e-9

// ciede2000Terms is the formula as printed, [4] eq. 2-22. It is the
// specification of the fast form in ciede2000_fast.go.
func ciede2000Terms(ref, sample Lab) (t terms) {
	cBar := (math.Hypot(ref.A, ref.B) + math.Hypot(sample.A, sample.B)) / 2 // eq. 2, 3
	t.g = 0.5 * (1 - math.Sqrt(chromaRatio7(cBar)))                         // eq. 4
	t.a1, t.a2 = (1+t.g)*ref.A, (1+t.g)*sample.A                            // eq. 5
	t.c1, t.c2 = math.Hypot(t.a1, ref.B), math.Hypot(t.a2, sample.B)        // eq. 6
	t.h1, t.h2 = hueDegrees(ref.B, t.a1), hueDegrees(sample.B, t.a2)        // eq. 7

	t.dL, t.dC = sample.L-ref.L, t.c2-t.c1 // eq. 8, 9
	t.hBar = meanHueDegrees(t.h1, t.h2)    // eq. 14
	gap := t.h2 - t.h1                     // eq. 10
	switch {
	case t.c1 == 0 || t.c2 == 0: // one hue is undefined and set to 0
		gap, t.hBar = 0, t.h1+t.h2
	case gap > 180+hueTie:
		gap -= 360
	case gap < -180-hueTie:
		gap += 360
	}
	t.dH = 2 * math.Sqrt(t.c1) * math.Sqrt(t.c2) * sinDegrees(gap/2) // eq. 11

	t.t = 1 - 0.17*cosDegrees(t.hBar-30) + 0.24*cosDegrees(2*t.hBar) + // eq. 15
		0.32*cosDegrees(3*t.hBar+6) - 0.20*cosDegrees(4*t.hBar-63)
	cBarP := (t.c1 + t.c2) / 2 // eq. 13
	l50 := (ref.L+sample.L)/2 - 50
	t.sL = 1 + 0.015*l50*l50/math.Sqrt(20+l50*l50) // eq. 18
	t.sC = 1 + 0.045*cBarP                         // eq. 19
	t.sH = 1 + 0.015*cBarP*t.t                     // eq. 20
	t.rC = 2 * math.Sqrt(chromaRatio7(cBarP))      // eq. 17
	u := (t.hBar - 275) / 25
	t.rT = -sinDegrees(2*30*math.Exp(-u*u)) * t.rC // eq. 16, 21
	return t
}

// meanHueDegrees is the mean of two hues over the shorter arc, [4] eq. 14.
func meanHueDegrees(h1, h2 float64) float64 {
	switch sum := h1 + h2; {
	case math.Abs(h1-h2) <= 180+hueTie:
		return sum / 2
	case sum < 360:
		return (sum + 360) / 2
	default:
		return (sum - 360) / 2
	}
}

// chromaRatio7 is C⁷/(C⁷+25⁷) in a form that neither overflows nor divides
// zero by zero.
func chromaRatio7(c float64) float64 { return 1 / (1 + math.Pow(25/c, 7)) }

// Diff returns ΔE00 of the sample against the reference. It is symmetric but
// not continuous: it jumps where the two hues are 180° apart, and there the
// tie goes to the branch of the printed pairs (see [4], pairs 10 and 14).
func (f CIEDE2000) Diff(ref, sample Lab) float64 {
	f = f.withDefaults()
	if de := f.fast(rotations(), ref, sample); de < fastLimit {
		return de
	}
	return f.Parts(ref, sample).Total
}

// DiffPairs stores ΔE00 of every pair of reference and sample in dst. It
// allocates nothing and panics when the lengths differ.
func (f CIEDE2000) DiffPairs(dst []float64, ref, sample []Lab) {
	if len(ref) != len(dst) || len(sample) != len(dst) {
		panic(fmt.Sprintf("colorimetry: %d references, %d samples, room for %d differences", len(ref), len(sample), len(dst)))
	}
	f = f.withDefaults()
	var s scratch
	for i := 0; i < len(dst); i += blockLen {
		j := min(i+blockLen, len(dst))
		f.block(rotations(), &s, dst[i:j], ref[i:j], sample[i:j])
	}
}

// DiffMany stores ΔE00 of every sample against one reference in dst. It
// allocates nothing and panics when the lengths differ.
func (f CIEDE2000) DiffMany(dst []float64, ref Lab, samples []Lab) {
	if len(samples) != len(dst) {
		panic(fmt.Sprintf("colorimetry: %d samples, room for %d differences", len(samples), len(dst)))
	}
	f = f.withDefaults()
	// All of the formula depends on the pair, but for the chroma of the
	// reference: repeating the reference costs nothing measurable.
	var refs [blockLen]Lab
	for i := range refs {
		refs[i] = ref
	}
	var s scratch
	for i := 0; i < len(dst); i += blockLen {
		j := min(i+blockLen, len(dst))
		f.block(rotations(), &s, dst[i:j], refs[:j-i], samples[i:j])
	}
}
