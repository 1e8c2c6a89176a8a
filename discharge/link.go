package discharge

import (
	"math"
	"sync"

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

// link maps the log dose η to a level: a unit curve drawn on a scale from the
// blank's level to white. The upper plateau that is fitted stretches the level
// in proportion, so everything costly depends on η alone and stands in a
// table, from which cubic Hermite interpolation takes values and slopes. At
// twelve nodes per unit of η it is exact to 1e-6 of a level: h⁴/384 times the
// fourth derivative, which is below 6 for every curve here.
type link struct {
	curve fit.Curve
	scale scale
	low   float64 // level of the blank
	unit  float64 // slope of the curve where it is half way, relative to 1/4
	half  float64 // η of level 1/2
	table []knot
	// balance is worked out when a candidate with a supply needs it.
	balance func() *supplyTable
}

// knot is the level and its derivative by the node number.
type knot struct{ s, ds float64 }

const (
	linkFrom  = -16.0 // below it every curve stands at the blank
	linkTo    = 24.0  // above it, order-3 kinetics lacks 1e-5 of its plateau
	linkNodes = 12    // per unit of η
)

// newLink draws a curve on a scale between lightness l0 (level 0) and l1
// (level 1), starting at level low.
func newLink(curve fit.Curve, sc scale, l0, l1, low float64) link {
	k := link{curve: curve, scale: sc, low: low, unit: 0.25 / curve.Slope(curve.Inverse(0.5))}
	span := l1 - l0
	from, to := sc.to(l0+low*span), sc.to(l1)
	n := int((linkTo-linkFrom)*linkNodes) + 1
	k.table = make([]knot, n)
	for i := range k.table {
		eta := linkFrom + float64(i)/linkNodes
		l := sc.from(from + curve.At(eta)*(to-from))
		k.table[i] = knot{(l - l0) / span, curve.Slope(eta) * (to - from) / sc.slope(l) / span / linkNodes}
	}
	k.half = k.inverse(0.5)
	curveAlone := k
	k.balance = sync.OnceValue(func() *supplyTable { return newSupplyTable(&curveAlone, l0, l1) })
	return k
}

// at returns the level at η when the upper plateau is d, with its derivatives
// by η and by d.
func (k *link) at(eta, d float64) (s, ds, dd float64) {
	s, ds = k.unstretched(eta)
	stretch := (d - k.low) / (1 - k.low)
	dd = (s - k.low) / (1 - k.low)
	return k.low + (s-k.low)*stretch, ds * stretch, dd
}

func (k *link) unstretched(eta float64) (s, ds float64) {
	t := (eta - linkFrom) * linkNodes
	if !(t > 0) {
		return k.table[0].s, 0
	}
	i := int(t)
	if i >= len(k.table)-1 {
		return k.table[len(k.table)-1].s, 0
	}
	a, b := &k.table[i], &k.table[i+1]
	u := t - float64(i)
	rise := b.s - a.s
	c2 := 3*rise - 2*a.ds - b.ds
	c3 := a.ds + b.ds - 2*rise
	return a.s + u*(a.ds+u*(c2+u*c3)), (a.ds + u*(2*c2+3*u*c3)) * linkNodes
}

// inverse returns the η that gives level s with the upper plateau at white.
// Levels beyond the ends of the table give the nearest η inside it.
func (k *link) inverse(s float64) float64 {
	return bisect(linkFrom, linkTo, 60, func(eta float64) bool {
		v, _ := k.unstretched(eta)
		return v < s
	})
}
