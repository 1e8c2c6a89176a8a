package colorimetry

import (
	"math"
	"sync"
)

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

// A rootTable gives labF for t < 2 in a third of the time. Between powers of
// two t has 64 cells, named by the first bits of its mantissa; in a cell the
// series of (1+d)^(1/3) about the middle is good to 5e-15. Cells begin at 2^-7,
// below the joint with the straight line.
type rootTable [512]struct{ root, inverse float64 } // cube root and reciprocal of the middle

const (
	rootShift = 52 - 6          // bits of the mantissa behind the cell's six
	rootFirst = (1023 - 7) << 6 // exponent and cell of 2^-7
	rootLimit = 2               // first t beyond the table
)

var roots = sync.OnceValue(func() *rootTable {
	t := new(rootTable)
	for i := range t {
		middle := math.Float64frombits(uint64(i+rootFirst)<<rootShift | 1<<(rootShift-1))
		t[i].root, t[i].inverse = math.Cbrt(middle), 1/middle
	}
	return t
})

// f is labF for t < rootLimit.
func (r *rootTable) f(t float64) float64 {
	if t > labEpsilon {
		e := &r[(math.Float64bits(t)>>rootShift-rootFirst)&511]
		d := t*e.inverse - 1
		return e.root * (1 + d*(1./3+d*(-1./9+d*(5./81+d*(-10./243+d*(22./729))))))
	}
	return labSlope*t + labOffset
}

// lab takes tristimulus values relative to the white, [1] eq. 8.3-8.5.
func (r *rootTable) lab(x, y, z float64) Lab {
	var fx, fy, fz float64
	if x < rootLimit && y < rootLimit && z < rootLimit {
		fx, fy, fz = r.f(x), r.f(y), r.f(z)
	} else {
		fx, fy, fz = labF(x), labF(y), labF(z)
	}
	return Lab{116*fy - 16, 500 * (fx - fy), 200 * (fy - fz)}
}

// labFInverse inverts labF.
func labFInverse(f float64) float64 {
	if f > 6.0/29 {
		return f * f * f
	}
	return (f - labOffset) / labSlope
}

// Lab returns the CIELAB coordinates against a white, which must be of the same
// viewing and all above 0.
func (c XYZ) Lab(white XYZ) Lab {
	return roots().lab(c.X/white.X, c.Y/white.Y, c.Z/white.Z)
}

// XYZ returns the tristimulus values against a white, on its scale.
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
