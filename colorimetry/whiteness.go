package colorimetry

import "fmt"

// Whiteness is CIE whiteness W and tint T [7]. W is 100 for the perfect
// diffuser and higher for a white that leans to blue. T is positive towards
// green, negative towards red.
type Whiteness struct{ W, T float64 }

// CIEWhiteness returns whiteness and tint of tristimulus values under D65/2 or
// D65/10; another viewing is an error, and so is black, which has no
// chromaticity. Values outside the range in which the formula means anything
// are returned all the same: see [Whiteness.Warning].
func CIEWhiteness(c XYZ, v Viewing) (Whiteness, error) {
	x, y, err := c.Chromaticity()
	if err != nil {
		return Whiteness{}, fmt.Errorf("whiteness: %w", err)
	}
	// The white is used with four decimals, as printed: W moves by 0.08 for
	// 0.0001 in x and by 0.17 for 0.0001 in y.
	switch v {
	case Viewing{D65, TwoDegree}:
		return cieWhiteness(x, y, c.Y, 0.3127, 0.3290, 1000), nil
	case Viewing{D65, TenDegree}:
		return cieWhiteness(x, y, c.Y, 0.3138, 0.3310, 900), nil
	}
	return Whiteness{}, fmt.Errorf("whiteness is defined for D65/2 and D65/10, not for %s", v)
}

// cieWhiteness: W = Y + 800(xn-x) + 1700(yn-y), T = k(xn-x) - 650(yn-y), k
// 1000 for 2 degrees and 900 for 10.
func cieWhiteness(x, y, luminance, xn, yn, k float64) Whiteness {
	return Whiteness{
		W: luminance + 800*(xn-x) + 1700*(yn-y),
		T: k*(xn-x) - 650*(yn-y),
	}
}

// Warning returns nil, or says that the color is outside the range of the
// formula, 40 < W < 5Y-280 and -4 < T < 2 (CIE 15:2004; older texts print
// -3 < T < 3, from memory). luminance is the Y of the sample.
func (w Whiteness) Warning(luminance float64) error {
	if !(w.W > 40 && w.W < 5*luminance-280) || !(w.T > -4 && w.T < 2) {
		return fmt.Errorf("whiteness %.1f, tint %.1f: outside 40 < W < %.1f, -4 < T < 2, the sample is too colored or too dark for this formula", w.W, w.T, 5*luminance-280)
	}
	return nil
}

// Chromaticity returns x and y. Black has none: an error.
func (c XYZ) Chromaticity() (x, y float64, err error) {
	sum := c.X + c.Y + c.Z
	if !(sum > 0) {
		return 0, 0, fmt.Errorf("tristimulus values %v have no chromaticity", c)
	}
	return c.X / sum, c.Y / sum, nil
}

// Yellowness returns the yellowness index of ASTM E313 [7],
// YI = 100(Cx·X - Cz·Z)/Y. It is defined for C and D65 and either observer;
// another viewing is an error, and so is a Y that is not above 0.
func Yellowness(c XYZ, v Viewing) (float64, error) {
	var cx, cz float64
	switch v {
	case Viewing{C, TwoDegree}:
		cx, cz = 1.2769, 1.0592
	case Viewing{D65, TwoDegree}:
		cx, cz = 1.2985, 1.1335
	case Viewing{C, TenDegree}:
		cx, cz = 1.2871, 1.0781
	case Viewing{D65, TenDegree}:
		cx, cz = 1.3013, 1.1498
	default:
		return 0, fmt.Errorf("yellowness (E313) is defined for C and D65 with 2 or 10 degrees, not for %s", v)
	}
	return yellowness(c, cx, cz)
}

// YellownessD1925 returns the older index of ASTM D1925 (withdrawn) of
// tristimulus values under C/2. A Y that is not above 0 is an error.
func YellownessD1925(c XYZ) (float64, error) { return yellowness(c, 1.28, 1.06) }

func yellowness(c XYZ, cx, cz float64) (float64, error) {
	if !(c.Y > 0) {
		return 0, fmt.Errorf("yellowness: Y is %v, want above 0", c.Y)
	}
	return 100 * (cx*c.X - cz*c.Z) / c.Y, nil
}

// WhitenessE313Old returns the whiteness index of older editions of ASTM E313,
// WI = 3.388·Z - 3·Y, of tristimulus values under C/2, about 100 for the perfect
// diffuser.
func WhitenessE313Old(c XYZ) float64 { return 3.388*c.Z - 3*c.Y }
