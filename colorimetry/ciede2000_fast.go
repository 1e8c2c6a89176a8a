package colorimetry

import (
	"math"
	"sync"
)

// This file evaluates CIEDE2000 without angles. The specification is
// ciede2000Terms; tests and a fuzz target hold the two within 1e-9 of each
// other on any finite input. How it works:
//
//   - Mean hue. The mean of two hues over the shorter arc is the direction of
//     the sum of the two unit vectors, (x, y) ~ m = (a1'C2' + a2'C1', b1C2' + b2C1').
//   - T is a polynomial in x = cos h̄ and y = sin h̄ (multiple-angle formulas).
//   - ΔH' = 2·√p·sin(Δh/2) = 2·√p·cross/|m| with p = C1'C2', cross = a1'b2 - a2'b1.
//     No arctangent, no sine. It is zero when a color is neutral.
//   - R_T. exp(-((h̄-275)/25)²) is even around 275°, so it is a smooth function
//     of w = 1 - cos(h̄-275°) and comes from a table of short polynomials. The
//     formula does not wrap the angle at 0°/360°: hues of 0-90° are more than
//     180° away from 275° and get zero.
//   - The divisions by S_L, S_C, S_H are done once, at the end, and √(C̄'⁷/…)
//     is drawn into that of ΔH'.
//
// Where the short forms would lose digits or miss a rule, the result is made
// NaN, and every result that is not below fastLimit is computed again by the
// plain form: hues within 0.1° of opposite (there the branch rule and its tie
// decide), a mean hue within 1e-7° of the seam 0°/360°, and colors so far out that
// an absolute 1e-9 needs equal rounding.
//
// The steps are functions small enough for the compiler to inline. Diff runs
// them for one pair; the bulk form runs them as short passes over a block, so
// that the processor overlaps the square roots of neighboring pairs, which
// halves the time again.

const (
	blockLen  = 128  // pairs per block; the scratch arrays fit the first-level cache
	fastLimit = 1000 // ΔE00 from here on is left to the plain form
	pow7of25  = 25 * 25 * 25 * 25 * 25 * 25 * 25
)

// adaptedA returns a1' and a2', [4] eq. 2-5.
func adaptedA(a1, b1, a2, b2 float64) (a1p, a2p float64) {
	c := 0.5 * (math.Sqrt(a1*a1+b1*b1) + math.Sqrt(a2*a2+b2*b2))
	q := c * c
	c7 := q * q * q * c
	g := 1.5 - 0.5*math.Sqrt(c7/(c7+pow7of25)) // 1 + G
	return g * a1, g * a2
}

// meanHue returns the direction of the mean hue, and 1/|m|. When a color is
// neutral all three are zero: then ΔH' is zero and the hue does not matter.
func meanHue(a1, b1, c1, a2, b2, c2 float64) (x, y, inv float64) {
	if c1*c2 == 0 {
		return 0, 0, 0
	}
	x, y = a1*c2+a2*c1, b1*c2+b2*c1
	inv = 1 / math.Sqrt(x*x+y*y)
	return x * inv, y * inv, inv
}

// special reports hues so near to opposite or a mean so near to the seam at
// 0° that the plain form must decide. 1/(2·sin) of 0.1° from opposite is about
// 600; p/|m| reaches it there.
func special(x, y, pInv float64) bool {
	return pInv > 600 || math.Abs(y) < 1e-9*x
}

// hueT is T, [4] eq. 15, with u = cos 2h, v = sin 2h / 2, cos 3h = x(2u-1),
// sin 3h = y(2u+1), cos 4h = 2u²-1, sin 4h = 4uv.
func hueT(x, y float64) float64 {
	const (
		cos30, sin30 = 0.86602540378443864676, 0.5
		cos6, sin6   = 0.99452189536827333692, 0.10452846326765347140
		cos63, sin63 = 0.45399049973954679156, 0.89100652418836786236
	)
	u, v := 2*x*x-1, x*y
	return (1 + 0.20*cos63) + 0.24*u - u*(0.40*cos63*u+0.80*sin63*v) +
		x*((-0.17*cos30-0.32*cos6)+0.64*cos6*u) -
		y*((0.17*sin30+0.32*sin6)+0.64*sin6*u)
}

// lightness returns S_L·r and ΔL'·r with r = √(20 + (L̄-50)²), [4] eq. 18.
func lightness(l1, l2 float64) (sL, dL float64) {
	z := 0.5*(l1+l2) - 50
	z *= z
	r := math.Sqrt(20 + z)
	return r + 0.015*z, (l2 - l1) * r
}

// chromaWeights returns kC·S_C and kH·S_H, [4] eq. 19, 20.
func (f CIEDE2000) chromaWeights(c1, c2, t float64) (sC, sH float64) {
	c := 0.5 * (c1 + c2)
	return f.KC * (1 + 0.045*c), f.KH * (1 + 0.015*c*t)
}

// rotationRoot returns d = C̄'⁷ + 25⁷ and √(p·C̄'⁷·d), so that R_C·√p is twice
// the root over d.
func rotationRoot(c1, c2 float64) (d, root float64) {
	c := 0.5 * (c1 + c2)
	q := c * c
	c7 := q * q * q * c
	d = c7 + pow7of25
	return d, math.Sqrt(c1 * c2 * c7 * d)
}

// total returns ΔE00, [4] eq. 22, over one common denominator. ΔH' is 2·√p·h,
// and rot is R_T/R_C.
func total(dL, sL, dC, sC, p, h, sH, rot, d, root float64) float64 {
	dL *= sC * sH
	dC *= sL * sH
	h *= 2 * sL * sC
	den := sL * sC * sH
	return math.Sqrt(((dL*dL+dC*dC+p*h*h)*d + 2*rot*root*dC*h) / (den * den * d))
}

// fast returns ΔE00, or NaN or a value from fastLimit on when the plain form
// must be used. f has no zero factors.
func (f CIEDE2000) fast(table *rotationTable, ref, sample Lab) float64 {
	b1, b2 := ref.B, sample.B
	a1, a2 := adaptedA(ref.A, b1, sample.A, b2)
	c1, c2 := math.Sqrt(a1*a1+b1*b1), math.Sqrt(a2*a2+b2*b2)
	x, y, inv := meanHue(a1, b1, c1, a2, b2, c2)
	if special(x, y, c1*c2*inv) {
		return math.NaN()
	}
	sL, dL := lightness(ref.L, sample.L)
	sC, sH := f.chromaWeights(c1, c2, hueT(x, y))
	d, root := rotationRoot(c1, c2)
	cell, u := table.cell(x, y)
	return total(dL, f.KL*sL, c2-c1, sC, c1*c2, crossProduct(a1, b1, a2, b2)*inv, sH, cell.at(u), d, root)
}

// scratch holds what the passes over one block hand on.
type scratch struct {
	a1, a2, c1, c2, x, y, h, t, rot, sL, dL [blockLen]float64
}

// block does what Diff does for up to blockLen pairs. f has no zero factors.
func (f CIEDE2000) block(table *rotationTable, s *scratch, dst []float64, ref, sample []Lab) {
	n := len(dst)
	ref, sample = ref[:n], sample[:n]
	// The second condition of each loop frees the arrays of bounds checks.
	for i := 0; i < n && i < blockLen; i++ {
		b1, b2 := ref[i].B, sample[i].B
		a1, a2 := adaptedA(ref[i].A, b1, sample[i].A, b2)
		s.a1[i], s.a2[i] = a1, a2
		s.c1[i], s.c2[i] = a1*a1+b1*b1, a2*a2+b2*b2
	}
	for i := 0; i < n && i < blockLen; i++ {
		a1, b1, a2, b2 := s.a1[i], ref[i].B, s.a2[i], sample[i].B
		c1, c2 := math.Sqrt(s.c1[i]), math.Sqrt(s.c2[i])
		x, y, inv := meanHue(a1, b1, c1, a2, b2, c2)
		h := crossProduct(a1, b1, a2, b2) * inv
		if special(x, y, c1*c2*inv) {
			h = math.NaN()
		}
		s.c1[i], s.c2[i] = c1, c2
		s.x[i], s.y[i], s.h[i] = x, y, h
	}
	for i := 0; i < n && i < blockLen; i++ {
		x, y := s.x[i], s.y[i]
		s.t[i] = hueT(x, y)
		s.sL[i], s.dL[i] = lightness(ref[i].L, sample[i].L)
		cell, u := table.cell(x, y)
		s.rot[i] = cell.at(u)
	}
	for i := 0; i < n && i < blockLen; i++ {
		c1, c2 := s.c1[i], s.c2[i]
		sC, sH := f.chromaWeights(c1, c2, s.t[i])
		d, root := rotationRoot(c1, c2)
		dst[i] = total(s.dL[i], f.KL*s.sL[i], c2-c1, sC, c1*c2, s.h[i], sH, s.rot[i], d, root)
	}
	for i, de := range dst {
		if !(de < fastLimit) {
			dst[i] = f.Parts(ref[i], sample[i]).Total
		}
	}
}

// A rotationTable gives R_T/R_C = -sin(60°·exp(-(δ/25°)²)), δ = h̄-275°, as a
// function of w = 1 - cos δ in 0..2: a polynomial of degree 5 in each of
// rotationCells cells. The cells behind them are zero.
type rotationTable [512]rotationCell

type rotationCell [6]float64

const rotationCells = 500

// cell returns the cell of a mean hue and the position in it, 0..1.
func (t *rotationTable) cell(x, y float64) (c *rotationCell, u float64) {
	const cos275, sin275 = 0.08715574274765817356, -0.99619469809174553230
	u = (1 - x*cos275 - y*sin275) * (rotationCells / 2)
	i := int(u)
	// 0 when x and y are both positive, so that hues of 0-90° find a zero cell.
	negative := int((math.Float64bits(x) | math.Float64bits(y)) >> 63)
	return &t[(i|(negative-1))&511], u - float64(i)
}

func (c *rotationCell) at(u float64) float64 {
	v := u * u
	return c[0] + u*c[1] + v*(c[2]+u*c[3]+v*(c[4]+u*c[5]))
}

// rotations is the table, made at first use and never changed.
var rotations = sync.OnceValue(func() *rotationTable {
	t := new(rotationTable)
	for i := range rotationCells {
		t[i] = newRotationCell(float64(i)/(rotationCells/2), 1./(rotationCells/2))
	}
	return t
})

// newRotationCell interpolates at the six Chebyshev nodes of the cell that
// begins at w, which is good to 1e-14 (see the test).
func newRotationCell(w, width float64) (c rotationCell) {
	var node, diff [6]float64 // Newton's divided differences
	for k := range node {
		node[k] = 0.5 - 0.5*math.Cos(float64(2*k+1)*math.Pi/12)
		diff[k] = rotationOf(w + node[k]*width)
	}
	for order := 1; order < len(node); order++ {
		for k := len(node) - 1; k >= order; k-- {
			diff[k] = (diff[k] - diff[k-1]) / (node[k] - node[k-order])
		}
	}
	for k := len(node) - 1; k >= 0; k-- { // Newton form to powers of u
		for j := len(c) - 1; j > 0; j-- {
			c[j] = c[j-1] - node[k]*c[j]
		}
		c[0] = diff[k] - node[k]*c[0]
	}
	return c
}

// rotationOf is the tabulated function itself.
func rotationOf(w float64) float64 {
	delta := 2 * math.Asin(math.Sqrt(w/2)) * (180 / math.Pi) / 25
	return -sinDegrees(60 * math.Exp(-delta*delta))
}
