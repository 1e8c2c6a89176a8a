package fit

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/integrate/quad"

	"example.com/dosetone/internal/quantile"
)

// A Loss limits the influence of outliers: Huber or Tukey. The scale that residuals are
// held against is re-estimated in every step: the median of their sizes, over 0.6745, with
// as many of the smallest left out as parameters are free. A fit with p parameters can meet p
// observations exactly, and with few of them such residuals would pull the median down
// (no source but this reason): of 12 normal observations and a line the scale is 1.12 on
// average, with all of them 0.94; of 12 and a cubic 1.16 and 0.81. It errs to the
// larger side, where less is taken for an outlier. [Result.SD] is another scale, see there.
type Loss interface {
	weight(u float64) float64 // ψ(u)/u at |residual|/scale u
	slope(u float64) float64  // ψ'(u)
	k() float64               // where ψ has its knee
}

// Huber loss is quadratic to K > 0 scale units and linear beyond. K = 0 means
// 1.345, 95 % efficient for normal scatter (P.J. Huber, Robust Statistics, 1981).
type Huber struct{ K float64 }

// Tukey loss is the biweight: observations beyond K > 0 scale units are ignored.
// K = 0 means 4.685, 95 % efficient for normal scatter.
type Tukey struct{ K float64 }

func (h Huber) k() float64 {
	if h.K == 0 {
		return 1.345
	}
	return h.K
}

func (h Huber) weight(u float64) float64 {
	if k := h.k(); u > k {
		return k / u
	}
	return 1
}

func (h Huber) slope(u float64) float64 {
	if u > h.k() {
		return 0
	}
	return 1
}

func (h Tukey) k() float64 {
	if h.K == 0 {
		return 4.685
	}
	return h.K
}

func (h Tukey) weight(u float64) float64 {
	k := h.k()
	if u >= k {
		return 0
	}
	v := 1 - (u/k)*(u/k)
	return v * v
}

func (h Tukey) slope(u float64) float64 {
	k := h.k()
	if u >= k {
		return 0
	}
	v := (u / k) * (u / k)
	return (1 - v) * (1 - 5*v)
}

// madScale is the normal-consistent scale of absolute residuals of a fit with
// p parameters: the p smallest, which the fit makes near zero, are left out.
func madScale(abs []float64, p int) float64 {
	s := append([]float64(nil), abs...)
	sort.Float64s(s)
	s = s[min(p, len(s)-1):]
	return quantile.Sorted(s, 0.5) / 0.6744897501960817 // Φ⁻¹(3/4)
}

// robust is what the covariance of a robust fit needs. To first order the
// estimate is that of least squares from pseudo-observations, fitted +
// σψ(u)/mean ψ', of equal weight, and its covariance τ²(JᵀJ)⁻¹ with τ² =
// K²[Σ(σψ)²/df]/[mean ψ']² and K = 1 + (p/n)·var ψ'/[mean ψ']² (Huber, Robust
// Statistics, 1981, section 7.6; from memory, simulations test it). The weights
// ψ(u)/u that find the fit are no part of it: they move with the estimate, and
// (JᵀWJ)⁻¹ takes them for given.
type robust struct {
	loss  Loss
	scale float64 // σ
	known bool    // whether the scale was given
	mean  float64 // of ψ'
	k     float64 // Huber's K
	ss    float64 // Σ(σψ)²
	// Means of ψ² and ψ' over the standard normal distribution.
	psi2, slope float64
}

func newRobust(l Loss, known bool) *robust {
	r := &robust{loss: l, scale: 1, known: known}
	// Mean ψ' is mean uψ. Each side of the knee is smooth; beyond 9 there is
	// less than 1e-17.
	const top = 9
	knee := math.Min(l.k(), top)
	over := func(f func(u float64) float64) float64 {
		g := func(u float64) float64 { return f(u) * math.Exp(-u*u/2) * math.Sqrt(2/math.Pi) }
		return quad.Fixed(g, 0, knee, 60, quad.Legendre{}, 0) + quad.Fixed(g, knee, top, 60, quad.Legendre{}, 0)
	}
	r.psi2 = over(func(u float64) float64 { f := u * l.weight(u); return f * f })
	r.slope = over(func(u float64) float64 { return u * u * l.weight(u) })
	return r
}

// look takes in the absolute residuals of a fit with p parameters.
func (r *robust) look(abs []float64, p int) {
	if !r.known {
		r.scale = madScale(abs, p)
	}
	r.ss = 0
	sum, sum2 := 0.0, 0.0
	for _, a := range abs {
		f, s := a*r.weight(a), 1.0
		if r.scale > 0 {
			s = r.loss.slope(a / r.scale)
		}
		r.ss += f * f
		sum += s
		sum2 += s * s
	}
	n := float64(len(abs))
	r.mean, r.k = sum/n, 1
	if r.mean > 0 {
		r.k += float64(p) / n * (sum2/n/(r.mean*r.mean) - 1)
	}
}

// weight of an observation in the fit. Where the scale is zero, more than half
// of the observations are met exactly, and least squares it is.
func (r *robust) weight(abs float64) float64 {
	if r.scale == 0 {
		return 1
	}
	return r.loss.weight(abs / r.scale)
}

// sds returns the residual standard deviation, the one that normal scatter
// with such Σψ² has (1 where it is known), and τ, that of the pseudo-observations;
// infinite where so many observations are rejected that the estimate does not
// hold still. priors is the sum of squares of the priors' residuals in units of
// τ√mean ψ', as task.scale has them.
//
// Where the scatter is known, intervals have normal quantiles, and τ is at
// least what such scatter makes of it: outliers add to it, luck takes nothing
// away.
func (r *robust) sds(df int, priors float64) (residual, tau float64) {
	psi2, slope := r.psi2, r.slope
	if r.scale == 0 {
		psi2, slope = 1, 1
	}
	v := (r.ss + priors*math.Max(0, r.mean)/(r.k*r.k)) / float64(df)
	residual, tau = math.Sqrt(v/psi2), math.Inf(1)
	if r.mean > 0 {
		tau = r.k * math.Sqrt(v) / r.mean
	}
	if !r.known {
		return residual, tau
	}
	least := math.Sqrt(psi2) / slope
	if df <= 0 {
		return 1, least
	}
	return 1, math.Max(least, tau)
}

// weight returns √weight of each observation at the fitted means f, without
// the robust part.
func (t *task) weight(f []float64) []float64 {
	w := append([]float64(nil), t.base...)
	if _, ok := t.weights.(Relative); ok {
		for i := range w {
			w[i] /= math.Abs(f[i])
		}
	}
	return w
}

// linear is the least-squares fit of pseudo-observations at the estimate.
type linear struct {
	data     []Observation
	robust   []float64 // weights ψ(u)/u
	row      []float64 // multiplier of each observation
	res, jac []float64 // multiplied, rows of data then priors
}

// linearized returns the pseudo-observations of a robust fit, multiplied by
// the given number besides their own weights, and the priors in proportion:
// task.scale is right for √mean ψ'.
func (t *task) linearized(by float64) linear {
	n := len(t.data)
	m, _ := t.Dims()
	l := linear{append([]Observation(nil), t.data...), make([]float64, n), make([]float64, n), make([]float64, m), make([]float64, m*t.n)}
	t.batch(l.res, l.jac, t.sol.P)
	for i, w := range t.weight(l.res[:n]) {
		f := l.res[i]
		l.robust[i] = (t.sw[i] / w) * (t.sw[i] / w)
		l.row[i] = w * by
		if by > 0 {
			l.data[i].Y = f + (l.data[i].Y-f)*l.robust[i]/t.robust.mean
		}
	}
	pseudo := *t
	pseudo.data, pseudo.sw = l.data, l.row
	if by > 0 {
		pseudo.scale *= by / math.Sqrt(t.robust.mean)
	}
	pseudo.ResidualsJacobian(l.res, l.jac, t.sol.P)
	return l
}
