package discharge

import (
	"math"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/fit"
)

// scale names the quantity in which the dose-response curve is drawn. The
// readings stay in L* whatever the scale: it only shapes the curve, so that
// the evidence of several scales can be compared.
type scale int

const (
	scaleL    scale = iota // lightness L*
	scaleLnKS              // ln(K/S) of the luminance factor
	scaleKS                // K/S of the luminance factor: removal of colorant
)

func (s scale) String() string { return [...]string{"L*", "ln(K/S)", "K/S"}[s] }

// to and its derivative at lightness l.
func (s scale) to(l float64) float64 {
	switch s {
	case scaleLnKS:
		return math.Log(colorimetry.KS(luminance(l)))
	case scaleKS:
		return colorimetry.KS(luminance(l))
	}
	return l
}

func (s scale) from(t float64) float64 {
	switch s {
	case scaleLnKS:
		return lightnessOf(colorimetry.FromKS(math.Exp(t)))
	case scaleKS:
		return lightnessOf(colorimetry.FromKS(math.Max(t, 0)))
	}
	return t
}

// slope is dT/dL at lightness l.
func (s scale) slope(l float64) float64 {
	if s == scaleL {
		return 1
	}
	y := luminance(l)
	dy := 3 * math.Pow((l+16)/116, 2) / 116 // dY/dL on the cube-root branch
	if l <= 8 {
		dy = 27 / 24389.0
	}
	dks := (y*y - 1) / (2 * y * y) // d(K/S)/dY
	if s == scaleLnKS {
		return dks * dy / colorimetry.KS(y)
	}
	return dks * dy
}

// luminance is Y on the 0..1 scale for lightness l: CIE 15:2018 eq. 8.3,
// inverted, with the linear branch below L* = 8.
func luminance(l float64) float64 {
	l = math.Min(math.Max(l, 0.5), 99.9) // keeps K/S finite and off zero
	if l > 8 {
		f := (l + 16) / 116
		return f * f * f
	}
	return l * 27 / 24389
}

func lightnessOf(y float64) float64 {
	if y > 216.0/24389 {
		return 116*math.Cbrt(y) - 16
	}
	return y * 24389 / 27
}

// link maps the log dose η to a level: a unit curve drawn on a scale between
// two plateaus that are themselves levels.
type link struct {
	curve  fit.Curve
	scale  scale
	l0, l1 float64 // lightness at level 0 and 1
	unit   float64 // slope of the curve where it is half way, relative to 1/4
}

// at returns the level at η with lower plateau c and upper plateau d, with
// its derivatives by η and by d.
func (k *link) at(eta, c, d float64) (s, ds, dd float64) {
	f, df := k.curve.At(eta), k.curve.Slope(eta)
	if k.scale == scaleL {
		return c + (d-c)*f, (d - c) * df, f
	}
	span := k.l1 - k.l0
	lc, ld := k.l0+c*span, k.l0+d*span
	tc, td := k.scale.to(lc), k.scale.to(ld)
	l := k.scale.from(tc + f*(td-tc))
	g := k.scale.slope(l)
	return (l - k.l0) / span, df * (td - tc) / g / span, f * k.scale.slope(ld) / g
}

// inverse returns the η that gives level s, which must lie between the
// plateaus.
func (k *link) inverse(s, c, d float64) float64 {
	span := k.l1 - k.l0
	tc, td := k.scale.to(k.l0+c*span), k.scale.to(k.l0+d*span)
	f := (k.scale.to(k.l0+s*span) - tc) / (td - tc)
	return k.curve.Inverse(min(max(f, 1e-6), 1-1e-6))
}
