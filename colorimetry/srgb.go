package colorimetry

import (
	"fmt"
	"math"
	"sync"

	"github.com/lucasb-eyer/go-colorful"
)

// SRGB is an encoded sRGB color [9], each channel 0..1. It is seen under D65
// by the 2 degree observer, by definition: never compare it with D65/10 data.
type SRGB struct{ R, G, B float64 }

// SRGB8 is an sRGB color of 8 bits per channel.
type SRGB8 struct{ R, G, B uint8 }

// SRGBViewing returns the viewing of every sRGB color: D65/2.
func SRGBViewing() Viewing { return Viewing{D65, TwoDegree} }

// The matrix from linear RGB to XYZ follows from the chromaticities of [9]
// (R 0.64 0.33, G 0.30 0.60, B 0.15 0.06) and the white: each primary is
// scaled so that R = G = B = 1 gives the white. The white is D65/2 as printed
// in E308 [2]. The compiler does this arithmetic exactly, so neutral codes
// have a* = b* = 0 to rounding. The 4-decimal matrix printed in [9] differs by
// up to 0.007 in L*, 0.02 in a* and 0.017 in b*.
const (
	srgbWhiteX, srgbWhiteY, srgbWhiteZ = 95.047, 100, 108.883

	redX, redZ     = 0.64 / 0.33, (1 - 0.64 - 0.33) / 0.33
	greenX, greenZ = 0.30 / 0.60, (1 - 0.30 - 0.60) / 0.60
	blueX, blueZ   = 0.15 / 0.06, (1 - 0.15 - 0.06) / 0.06

	// Cramer's rule for the luminances of the primaries.
	primariesDet = redX*(blueZ-greenZ) - greenX*(blueZ-redZ) + blueX*(greenZ-redZ)
	redY         = (srgbWhiteX*(blueZ-greenZ) - greenX*(srgbWhiteY*blueZ-srgbWhiteZ) + blueX*(srgbWhiteY*greenZ-srgbWhiteZ)) / primariesDet
	greenY       = (redX*(srgbWhiteY*blueZ-srgbWhiteZ) - srgbWhiteX*(blueZ-redZ) + blueX*(srgbWhiteZ-srgbWhiteY*redZ)) / primariesDet
	blueY        = srgbWhiteY - redY - greenY
)

// srgbWhite is the white that sRGB Lab values are relative to.
func srgbWhite() XYZ { return XYZ{srgbWhiteX, srgbWhiteY, srgbWhiteZ} }

// linearize returns the linear value 0..1 of an encoded channel 0..1, [9].
// Negative values are mirrored.
func linearize(v float64) float64 {
	switch {
	case v < 0:
		return -linearize(-v)
	case v <= 0.04045:
		return v / 12.92
	}
	return math.Pow((v+0.055)/1.055, 2.4)
}

// encode inverts linearize.
func encode(v float64) float64 {
	switch {
	case v < 0:
		return -encode(-v)
	case v <= 0.0031308:
		return 12.92 * v
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}

// linearRGB is linear light, each channel 0..1.
type linearRGB struct{ r, g, b float64 }

func (c linearRGB) xyz() XYZ {
	return XYZ{
		redX*redY*c.r + greenX*greenY*c.g + blueX*blueY*c.b,
		redY*c.r + greenY*c.g + blueY*c.b,
		redZ*redY*c.r + greenZ*greenY*c.g + blueZ*blueY*c.b,
	}
}

// SRGBToXYZ returns the tristimulus values (D65/2, white 95.047 100 108.883).
func SRGBToXYZ(c SRGB) XYZ {
	return linearRGB{linearize(c.R), linearize(c.G), linearize(c.B)}.xyz()
}

// relative returns xyz() divided by the white, which is folded into the matrix.
func (c linearRGB) relative() (x, y, z float64) {
	return redX*redY/srgbWhiteX*c.r + greenX*greenY/srgbWhiteX*c.g + blueX*blueY/srgbWhiteX*c.b,
		redY/srgbWhiteY*c.r + greenY/srgbWhiteY*c.g + blueY/srgbWhiteY*c.b,
		redZ*redY/srgbWhiteZ*c.r + greenZ*greenY/srgbWhiteZ*c.g + blueZ*blueY/srgbWhiteZ*c.b
}

func (c linearRGB) lab() Lab { return roots().lab(c.relative()) }

// SRGBToLab returns the CIELAB values (D65/2).
func SRGBToLab(c SRGB) Lab {
	return linearRGB{linearize(c.R), linearize(c.G), linearize(c.B)}.lab()
}

// SRGB8ToXYZ returns the tristimulus values (D65/2, white 95.047 100 108.883).
func SRGB8ToXYZ(c SRGB8) XYZ {
	t := linearTable()
	return linearRGB{t[c.R], t[c.G], t[c.B]}.xyz()
}

// SRGB8ToLab returns the CIELAB values (D65/2).
func SRGB8ToLab(c SRGB8) Lab {
	t := linearTable()
	return linearRGB{t[c.R], t[c.G], t[c.B]}.lab()
}

// SRGB8sToLab stores the CIELAB values (D65/2) of many colors in dst. It
// allocates nothing and panics when the lengths differ.
func SRGB8sToLab(dst []Lab, src []SRGB8) {
	if len(dst) != len(src) {
		panic(fmt.Sprintf("colorimetry: %d colors, room for %d Lab values", len(src), len(dst)))
	}
	t, r := linearTable(), roots()
	for i, c := range src {
		dst[i] = r.lab(linearRGB{t[c.R], t[c.G], t[c.B]}.relative())
	}
}

// linearTable is linearize for the 256 codes of 8 bits, made at first use and
// never changed.
var linearTable = sync.OnceValue(func() *[256]float64 {
	t := new([256]float64)
	for i := range t {
		t[i] = linearize(float64(i) / 255)
	}
	return t
})

// SRGB returns the color on the 0..1 scale.
func (c SRGB8) SRGB() SRGB {
	return SRGB{float64(c.R) / 255, float64(c.G) / 255, float64(c.B) / 255}
}

// LabToSRGB returns the encoded color of a Lab value (D65/2) for display.
// inGamut is false when a screen cannot show it; the channels are then clipped
// to 0..1. A tenth of an 8-bit step outside still counts as inside.
func LabToSRGB(c Lab) (rgb SRGB, inGamut bool) {
	l := linearFromXYZ(c.XYZ(srgbWhite()))
	inGamut = true
	clip := func(v float64) float64 {
		const slack = 0.1 / 255
		e := encode(v)
		if !(e >= -slack && e <= 1+slack) {
			inGamut = false
		}
		return min(max(e, 0), 1)
	}
	rgb = SRGB{clip(l.r), clip(l.g), clip(l.b)}
	return rgb, inGamut
}

// linearFromXYZ solves linearRGB.xyz by Cramer's rule.
func linearFromXYZ(c XYZ) linearRGB {
	// Luminance of each primary first; the determinant is that above.
	r := (c.X*(blueZ-greenZ) - greenX*(c.Y*blueZ-c.Z) + blueX*(c.Y*greenZ-c.Z)) / primariesDet
	g := (redX*(c.Y*blueZ-c.Z) - c.X*(blueZ-redZ) + blueX*(c.Z-c.Y*redZ)) / primariesDet
	b := c.Y - r - g
	return linearRGB{r / redY, g / greenY, b / blueY}
}

// Quantize rounds to 8 bits per channel, clipping to 0..1.
func (c SRGB) Quantize() SRGB8 {
	q := func(v float64) uint8 {
		if !(v > 0) { // or NaN, whose conversion is not defined
			return 0
		}
		return uint8(math.Round(min(v, 1) * 255))
	}
	return SRGB8{q(c.R), q(c.G), q(c.B)}
}

// Hex returns "#rrggbb".
func (c SRGB8) Hex() string {
	s := c.SRGB()
	return colorful.Color{R: s.R, G: s.G, B: s.B}.Hex()
}

// ParseHex reads "#rrggbb" or "#rgb".
func ParseHex(s string) (SRGB8, error) {
	c, err := colorful.Hex(s)
	if err != nil {
		return SRGB8{}, fmt.Errorf("color %q: want #rrggbb: %w", s, err)
	}
	return SRGB{c.R, c.G, c.B}.Quantize(), nil
}
