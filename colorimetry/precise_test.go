package colorimetry

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
)

// The second reference for CIEDE2000: the formula as printed in [4], evaluated
// with 160-bit numbers and series of our own for sine, cosine, arctangent and
// exponential. It shares no code with the package.

type num = *big.Float

const precision = 160

func nf(x float64) num       { return new(big.Float).SetPrec(precision).SetFloat64(x) }
func add(x, y num) num       { return new(big.Float).SetPrec(precision).Add(x, y) }
func sub(x, y num) num       { return new(big.Float).SetPrec(precision).Sub(x, y) }
func mul(x, y num) num       { return new(big.Float).SetPrec(precision).Mul(x, y) }
func div(x, y num) num       { return new(big.Float).SetPrec(precision).Quo(x, y) }
func root(x num) num         { return new(big.Float).SetPrec(precision).Sqrt(x) }
func ratio2(p, q int64) num  { return div(nf(float64(p)), nf(float64(q))) }
func small(x num) bool       { return x.Sign() == 0 || x.MantExp(nil) < -precision }
func hypotBig(x, y num) num  { return root(add(mul(x, x), mul(y, y))) }
func pow7(x num) num         { x2 := mul(x, x); return mul(mul(mul(x2, x2), x2), x) }
func float(x num) float64    { f, _ := x.Float64(); return f }
func radians(x, pi num) num  { return div(mul(x, pi), nf(180)) }
func degreesOf(x, p num) num { return div(mul(x, nf(180)), p) }

// atanBig halves the argument until the series converges fast.
func atanBig(x num) num {
	scale := nf(1)
	for x.MantExp(nil) > -8 && x.Sign() != 0 {
		x = div(x, add(nf(1), root(add(nf(1), mul(x, x)))))
		scale = mul(scale, nf(2))
	}
	sum, power, x2 := nf(0), x, mul(x, x)
	for k := int64(1); !small(power); k += 2 {
		if k%4 == 1 {
			sum = add(sum, mul(power, ratio2(1, k)))
		} else {
			sum = sub(sum, mul(power, ratio2(1, k)))
		}
		power = mul(power, x2)
	}
	return mul(sum, scale)
}

// expBig divides the argument by 2^20 and squares the result as often.
func expBig(x num) num {
	x = mul(x, nf(math.Ldexp(1, -20)))
	sum, term := nf(1), nf(1)
	for k := int64(1); !small(term); k++ {
		term = mul(term, div(x, nf(float64(k))))
		sum = add(sum, term)
	}
	for range 20 {
		sum = mul(sum, sum)
	}
	return sum
}

// cosBig divides the argument by 2^10 and doubles the angle as often, on
// 1 - cos so that no digits are lost.
func cosBig(x num) num {
	x = mul(x, nf(math.Ldexp(1, -10)))
	x2 := mul(x, x)
	versine, term := nf(0), nf(-1)
	for k := int64(1); !small(term); k += 2 {
		term = mul(term, div(x2, nf(float64(-k*(k+1)))))
		versine = add(versine, term)
	}
	for range 10 { // 1-cos 2a = 2v(2-v) with v = 1-cos a
		versine = mul(mul(nf(2), versine), sub(nf(2), versine))
	}
	return sub(nf(1), versine)
}

func ciede2000Big(ref, sample Lab) float64 {
	pi := mul(nf(4), atanBig(nf(1)))
	cosDeg := func(x num) num { return cosBig(radians(x, pi)) }
	sinDeg := func(x num) num { return cosBig(radians(sub(x, nf(90)), pi)) }
	dec := func(p, q int64) num { return ratio2(p, q) }
	hue := func(b, a num) num {
		if a.Sign() == 0 && b.Sign() == 0 {
			return nf(0)
		}
		// atan2 = 2·atan(b / (|v| + a)), or 180° on the negative axis
		den := add(hypotBig(a, b), a)
		if den.Sign() == 0 || b.Sign() == 0 && a.Sign() < 0 {
			return nf(180)
		}
		h := degreesOf(mul(nf(2), atanBig(div(b, den))), pi)
		if h.Sign() < 0 {
			h = add(h, nf(360))
		}
		return h
	}

	l1, a1, b1 := nf(ref.L), nf(ref.A), nf(ref.B)
	l2, a2, b2 := nf(sample.L), nf(sample.A), nf(sample.B)
	k := pow7(nf(25))
	half := dec(1, 2)

	c7 := pow7(mul(half, add(hypotBig(a1, b1), hypotBig(a2, b2))))
	g := mul(half, sub(nf(1), root(div(c7, add(c7, k)))))
	a1, a2 = mul(a1, add(nf(1), g)), mul(a2, add(nf(1), g))
	c1, c2 := hypotBig(a1, b1), hypotBig(a2, b2)
	h1, h2 := hue(b1, a1), hue(b2, a2)

	gap, mean := sub(h2, h1), mul(half, add(h1, h2))
	switch c12 := mul(c1, c2); {
	case c12.Sign() == 0:
		gap, mean = nf(0), add(h1, h2)
	case gap.Cmp(nf(180)) > 0:
		gap = sub(gap, nf(360))
	case gap.Cmp(nf(-180)) < 0:
		gap = add(gap, nf(360))
	}
	if d := sub(h2, h1); d.Cmp(gap) != 0 && mul(c1, c2).Sign() != 0 {
		if add(h1, h2).Cmp(nf(360)) < 0 {
			mean = add(mean, nf(180))
		} else {
			mean = sub(mean, nf(180))
		}
	}

	dL, dC := sub(l2, l1), sub(c2, c1)
	dH := mul(mul(nf(2), root(mul(c1, c2))), sinDeg(mul(half, gap)))
	t := sub(nf(1), mul(dec(17, 100), cosDeg(sub(mean, nf(30)))))
	t = add(t, mul(dec(24, 100), cosDeg(mul(nf(2), mean))))
	t = add(t, mul(dec(32, 100), cosDeg(add(mul(nf(3), mean), nf(6)))))
	t = sub(t, mul(dec(20, 100), cosDeg(sub(mul(nf(4), mean), nf(63)))))
	cBar, z := mul(half, add(c1, c2)), sub(mul(half, add(l1, l2)), nf(50))
	z = mul(z, z)
	sL := add(nf(1), div(mul(dec(15, 1000), z), root(add(nf(20), z))))
	sC := add(nf(1), mul(dec(45, 1000), cBar))
	sH := add(nf(1), mul(mul(dec(15, 1000), cBar), t))
	u := div(sub(mean, nf(275)), nf(25))
	theta := mul(nf(30), expBig(new(big.Float).Neg(mul(u, u))))
	c7 = pow7(cBar)
	rT := mul(mul(nf(-2), root(div(c7, add(c7, k)))), sinDeg(mul(nf(2), theta)))

	x, y, w := div(dL, sL), div(dC, sC), div(dH, sH)
	sum := add(add(mul(x, x), mul(y, y)), mul(w, w))
	return float(root(add(sum, mul(rT, mul(y, w)))))
}

// Series checked against math, which is good to about 1e-16.
func TestBigSeries(t *testing.T) {
	for _, x := range []float64{-3, -1.25, -1e-9, 0, 0.3, 1, 2.5, 5} {
		for _, c := range []struct {
			name      string
			got, want float64
		}{
			{"atan", float(atanBig(nf(x))), math.Atan(x)},
			{"exp", float(expBig(nf(x))), math.Exp(x)},
			{"cos", float(cosBig(nf(x))), math.Cos(x)},
		} {
			if math.Abs(c.got-c.want) > 4e-16*max(1, math.Abs(c.want)) {
				t.Errorf("%s(%v) = %v, math has %v", c.name, x, c.got, c.want)
			}
		}
	}
}

// Ten thousand pairs, half of them small differences as they occur in quality
// control and a quarter bluish as denim is: error at most 1e-9 for the plain,
// the fast and the bulk form.
func TestCIEDE2000AgainstHighPrecision(t *testing.T) {
	const n, limit = 10000, 1e-9
	seed := uint64(20050130)
	r := rand.New(rand.NewPCG(seed, 0))
	refs, samples := make([]Lab, n), make([]Lab, n)
	for i := range n {
		ref := Lab{100 * r.Float64(), 256*r.Float64() - 128, 256*r.Float64() - 128}
		if i%4 == 1 {
			ref.A, ref.B = 10*r.NormFloat64(), -20+8*r.NormFloat64()
		}
		sample := Lab{100 * r.Float64(), 256*r.Float64() - 128, 256*r.Float64() - 128}
		if i%2 == 1 {
			sample = Lab{ref.L + r.NormFloat64(), ref.A + r.NormFloat64(), ref.B + r.NormFloat64()}
		}
		refs[i], samples[i] = ref, sample
	}
	bulk := make([]float64, n)
	CIEDE2000{}.DiffPairs(bulk, refs, samples)
	var worst [3]float64
	for i := range n {
		want := ciede2000Big(refs[i], samples[i])
		for k, got := range []float64{
			CIEDE2000{}.Parts(refs[i], samples[i]).Total, CIEDE2000{}.Diff(refs[i], samples[i]), bulk[i],
		} {
			e := math.Abs(got - want)
			if !(e <= limit) {
				t.Fatalf("seed %d, pair %d %v %v: form %d gives %.15g, high precision %.15g", seed, i, refs[i], samples[i], k, got, want)
			}
			worst[k] = max(worst[k], e)
		}
	}
	t.Logf("largest error: plain %.1e, single %.1e, bulk %.1e", worst[0], worst[1], worst[2])
}
