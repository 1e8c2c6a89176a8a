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
		return math.Cbrt(t)
	}
	return labSlope*t + labOffset
}

// labFInverse inverts labF.
func labFInverse(f float64) float64 {
	if f > 6.0/29 {
		return f * f * f
	}
	return (f - labOffset) / labSlope
}

// Lab returns the CIELAB coordinates against a white.
func (c XYZ) Lab(white XYZ) Lab {
	fx, fy, fz := labF(c.X/white.X), labF(c.Y/white.Y), labF(c.Z/white.Z)
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
