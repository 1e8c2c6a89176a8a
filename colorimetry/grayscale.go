package colorimetry

import "math"

// A GrayRating is a gray-scale rating from instrumental values.
//
// The formulas and limits are from memory: the standards [8] were not at hand.
// They agree with the printed steps of the change-in-color scale and with each
// other, but do not call a result conforming to ISO 105-A04 or A05 before they
// have been checked against the standard.
type GrayRating struct {
	Value float64 // continuous rating, at most 5, which is no difference; may fall below 1
	Grade string  // rating in half steps: "5", "4-5", … "1"; "" of colors that are not numbers
	DE    float64 // the weighted difference it is taken from, in CIELAB units
}

// GrayScaleChange rates a change in color (ISO 105-A05, from memory).
func GrayScaleChange(ref, test Lab) GrayRating {
	d := ref.Difference(test)
	c1, c2 := math.Hypot(ref.A, ref.B), math.Hypot(test.A, test.B)
	cM, hM := (c1+c2)/2, meanHueAngle(ref, test)

	away := math.Abs(hM - 280)
	if away > 180 {
		away = 360 - away
	}
	x := away / 30
	dd := d.DC * cM * math.Exp(-x*x) / 100
	dC := (d.DC - dd) / (1 + square(20*cM/1000))
	dH := (d.DH - dd) / (1 + square(10*cM/1000))
	de := norm3(d.DL, dC, dH)

	value := 5 - de/1.7
	if de > 3.4 {
		value = 5 - math.Log2(de/0.85)
	}
	return GrayRating{value, grade(de, [8]float64{0.40, 1.25, 2.10, 2.95, 4.10, 5.80, 8.20, 11.60}), de}
}

// GrayScaleStaining rates the staining of an adjacent fabric (ISO 105-A04,
// from memory). ref is the unstained fabric.
func GrayScaleStaining(ref, stained Lab) GrayRating {
	dE := CIE76{}.Diff(ref, stained)
	dL := stained.L - ref.L
	de := dE - 0.4*math.Sqrt(max(0, dE*dE-dL*dL))

	value := 5 - 0.23*de
	if v := 6.1 - 1.45*math.Log(de); v <= 4 {
		value = v
	}
	// Limits from the formula at the quarter points.
	return GrayRating{value, grade(de, [8]float64{1.0870, 3.2609, 5.0566, 7.1386, 10.0779, 14.2274, 20.0855, 28.3557}), de}
}

// grade returns the first half step whose upper limit is above de, and none of
// NaN, which no limit is above.
func grade(de float64, upper [8]float64) string {
	if math.IsNaN(de) {
		return ""
	}
	names := [9]string{"5", "4-5", "4", "3-4", "3", "2-3", "2", "1-2", "1"}
	for i, limit := range upper {
		if de < limit {
			return names[i]
		}
	}
	return names[8]
}

// meanHueAngle is the mean hue of two colors in degrees. A neutral color takes
// the hue of the other.
func meanHueAngle(p, q Lab) float64 {
	h1, h2 := hueDegrees(p.B, p.A), hueDegrees(q.B, q.A)
	if p.A == 0 && p.B == 0 || q.A == 0 && q.B == 0 {
		return h1 + h2 // the hue of a neutral is 0
	}
	return meanHueDegrees(h1, h2)
}

func square(x float64) float64 { return x * x }
