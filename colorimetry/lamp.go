package colorimetry

import (
	"fmt"
	"math"
	"sync"

	"example.com/dosetone/datasets/cie"
)

// Tristimulus integration runs over 360-780 nm, the range of the tables
// printed in E308 [2]. All nine lamps are known up to 780 nm.
const (
	integrationStart = 360
	integrationEnd   = 780
	integrationLen   = integrationEnd - integrationStart + 1
)

// products are lamp times observer at every nanometer of the integration
// range, scaled so that the Y values sum to 100, and their sums.
type products struct {
	x, y, z [integrationLen]float64
	white   XYZ
}

// products returns the table of v, which nobody may change.
func (v Viewing) products() *products {
	if !v.Valid() {
		panic(fmt.Sprintf("colorimetry: viewing %s has no white point: set illuminant and observer", v))
	}
	return allProducts()[v]
}

// allProducts is computed at first use from the embedded tables and never
// changes afterwards.
var allProducts = sync.OnceValue(func() map[Viewing]*products {
	table := make(map[Viewing]*products)
	observers := map[Observer]cie.Observer{TwoDegree: cie.Observer1931(), TenDegree: cie.Observer1964()}
	for _, lamp := range Illuminants() {
		s := lampAt1nm(lamp)
		for o, cmf := range observers {
			table[Viewing{lamp, o}] = newProducts(s, cmf)
		}
	}
	return table
})

func newProducts(s [integrationLen]float64, cmf cie.Observer) *products {
	p := new(products)
	var sum float64
	for i := range s {
		sum += s[i] * cmf.Y[i+integrationStart-cie.ObserverStart]
	}
	k := 100 / sum // [1] section 7.1: Y = 100 for the perfect diffuser
	for i := range s {
		j := i + integrationStart - cie.ObserverStart
		p.x[i] = k * s[i] * cmf.X[j]
		p.y[i] = k * s[i] * cmf.Y[j]
		p.z[i] = k * s[i] * cmf.Z[j]
		p.white.X += p.x[i]
		p.white.Z += p.z[i]
	}
	p.white.Y = 100 // by the choice of k; the sum differs only by rounding
	return p
}

// lampAt1nm brings a lamp to 1 nm. How each is interpolated was inferred from
// the weights printed in E308, which are met only this way: A by its formula,
// D65 linearly between the 5 nm values (as its standard defines it), all
// others by a cubic through the four nearest 5 nm values (two on each side;
// the outermost four at the ends), and zero outside the printed table.
func lampAt1nm(lamp Illuminant) (s [integrationLen]float64) {
	if lamp == A {
		for i := range s {
			s[i] = illuminantA(float64(integrationStart + i))
		}
		return s
	}
	table, ok := cie.Illuminant(lamp.String())
	if !ok {
		panic("colorimetry: no table for illuminant " + lamp.String())
	}
	for i := range s {
		offset := integrationStart + i - table.Start
		switch {
		case offset < 0 || offset > cie.LampStep*(len(table.Values)-1):
			// zero
		case lamp == D65:
			s[i] = linear5(table.Values, offset)
		default:
			s[i] = cubic5(table.Values, offset)
		}
	}
	return s
}

// illuminantA is the relative power of CIE standard illuminant A, 100 at
// 560 nm [1], [ISO/CIE 11664-2].
func illuminantA(nm float64) float64 {
	const c2 = 1.435e7 / 2848 // nm: the radiation constant and temperature of the definition
	return 100 * math.Pow(560/nm, 5) * math.Expm1(c2/560) / math.Expm1(c2/nm)
}

func linear5(v []float64, offset int) float64 {
	i, r := offset/cie.LampStep, offset%cie.LampStep
	if r == 0 {
		return v[i]
	}
	t := float64(r) / cie.LampStep
	return v[i]*(1-t) + v[i+1]*t
}

func cubic5(v []float64, offset int) float64 {
	i, r := offset/cie.LampStep, offset%cie.LampStep
	if r == 0 {
		return v[i]
	}
	first := min(max(i-1, 0), len(v)-4)
	c := lagrange4(float64(offset)/cie.LampStep - float64(first))
	return c[0]*v[first] + c[1]*v[first+1] + c[2]*v[first+2] + c[3]*v[first+3]
}

// lagrange4 returns the coefficients of the cubic through the nodes 0, 1, 2, 3
// at t. In the middle interval (1 < t < 2) they are those tabulated in [3].
func lagrange4(t float64) [4]float64 {
	return [4]float64{
		-(t - 1) * (t - 2) * (t - 3) / 6,
		t * (t - 2) * (t - 3) / 2,
		-t * (t - 1) * (t - 3) / 2,
		t * (t - 1) * (t - 2) / 6,
	}
}

// lagrange3 returns the coefficients of the quadratic through the nodes 0, 1, 2
// at t; [3] uses it in the first and the last interval.
func lagrange3(t float64) [3]float64 {
	return [3]float64{(t - 1) * (t - 2) / 2, -t * (t - 2), t * (t - 1) / 2}
}
