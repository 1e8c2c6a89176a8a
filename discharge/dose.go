package discharge

import (
	"math"
	"slices"
)

// A doseFactor turns one column of the settings into a centered regressor of
// the log dose η. Products and powers of settings become sums of regressors,
// so a change of unit moves only the center.
type doseFactor struct {
	Column    string
	Transform Transform
	Scale     float64 // of a Linear factor: what matters about as much as an e-fold of others
	Center    float64 // of the transformed trial settings
	Lo, Hi    float64 // trial range, transformed and centered
	Lag       float64 // of a Log factor: the dose starts only beyond it (spreading, heating up)
	Needed    bool    // settings must name it; a missing other one stands at its center
	Raises    bool    // more of it never discharges less
	Primary   bool    // takes part in second-order terms; others enter linearly
}

// arrhenius is the activation energy, in kelvin (Ea/R), to which 1/T is scaled
// so that its coefficient is of order one: 40 kJ/mol, the middle of the
// 27-50 kJ/mol met in dye + hypochlorite work (Nadupalli et al., S. Afr. J.
// Chem. 68 (2015), abstract; common practice for cloth).
const arrhenius = 40e3 / 8.314462618

func (f *doseFactor) raw(v float64) float64 {
	switch f.Transform {
	case Log:
		return math.Log(math.Max(v-f.Lag, 1e-3*v))
	case InverseKelvin:
		return -arrhenius / (v + 273.15)
	}
	return v / f.Scale
}

// value is the inverse of raw and centering.
func (f *doseFactor) value(x float64) float64 {
	x += f.Center
	switch f.Transform {
	case Log:
		return math.Exp(x) + f.Lag
	case InverseKelvin:
		return -arrhenius/x - 273.15
	}
	return x * f.Scale
}

func (f *doseFactor) x(v float64) float64 { return f.raw(v) - f.Center }

// values holds the settings of the factors of a model, in their order. A
// factor that the settings do not name stands at the middle of the trials.
type values [maxFactors]float64

// at returns v in the centered coordinates of the basis.
func (b *doseBasis) at(v *values) (x values) {
	for j := range b.factors {
		x[j] = b.factors[j].x(v[j])
	}
	return x
}

// values reads settings.
func (b *doseBasis) values(s Settings) (v values) {
	for j := range b.factors {
		f := &b.factors[j]
		u, ok := s[f.Column]
		if !ok {
			u = f.value(0)
		}
		v[j] = u
	}
	return v
}

// lags are the shares of the shortest trial time that may pass before the
// oxidizer acts: spreading over the load, wetting out, heating up.
func lags() []float64 { return []float64{0, 0.5, 0.8} }

// delayed returns the basis with time counted from a lag, a share of the
// shortest trial time.
func (b *doseBasis) delayed(share float64) doseBasis {
	c := doseBasis{factors: slices.Clone(b.factors), primary: b.primary}
	for j := range c.factors {
		f := &c.factors[j]
		if f.Column != timeColumn || f.Transform != Log {
			continue
		}
		lo, hi := f.value(f.Lo), f.value(f.Hi)
		f.Lag = share * lo
		f.between(f.raw(lo), f.raw(hi))
	}
	return c
}

// between sets center and range. The center is the middle of the range, not
// the mean: the same for any order or repetition of lots.
func (f *doseFactor) between(lo, hi float64) {
	f.Center = (lo + hi) / 2
	f.Lo, f.Hi = lo-f.Center, hi-f.Center
}

// doseBasis is the list of regressors of η: 1, the factors, and the products
// of the primary factors two by two.
type doseBasis struct {
	factors []doseFactor // primary ones first
	primary int
}

// maxFactors bounds the factors of one process, so that prediction works on
// arrays of fixed size and never allocates.
const maxFactors = 8

// maxTerms is the longest η row: 1 + factors + products.
const maxTerms = 1 + maxFactors + maxFactors*(maxFactors+1)/2

func (b *doseBasis) terms() int {
	return 1 + len(b.factors) + b.primary*(b.primary+1)/2
}

// row fills dst with the η row at x and returns the squared distance of x
// from the trials' box. Beyond the box second-order terms go on linearly, so
// that a curve bent inside the tested region cannot turn back outside it.
func (b *doseBasis) row(dst []float64, x *values) (outside float64) {
	var c [maxFactors]float64
	dst[0] = 1
	for j := range b.factors {
		f := &b.factors[j]
		c[j] = min(max(x[j], f.Lo), f.Hi)
		dst[1+j] = x[j]
		d := x[j] - c[j]
		outside += d * d
	}
	n := 1 + len(b.factors)
	for j := range b.primary {
		for k := j; k < b.primary; k++ {
			dst[n] = c[j]*c[k] + c[k]*(x[j]-c[j]) + c[j]*(x[k]-c[k])
			n++
		}
	}
	return outside
}

// slopes fills dst with the row of ∂η/∂x_j at x.
func (b *doseBasis) slopes(dst []float64, x *values, j int) {
	clear(dst)
	dst[1+j] = 1
	n := 1 + len(b.factors)
	for i := range b.primary {
		for k := i; k < b.primary; k++ {
			if i == j {
				dst[n] += min(max(x[k], b.factors[k].Lo), b.factors[k].Hi)
			}
			if k == j {
				dst[n] += min(max(x[i], b.factors[i].Lo), b.factors[i].Hi)
			}
			n++
		}
	}
}
