package fit

import "sort"

// A Loss limits the influence of outliers: Huber or Tukey. The scale of the
// residuals is re-estimated by the median absolute deviation.
type Loss interface {
	weight(u float64) float64 // ψ(u)/u at |residual|/scale u
}

// Huber loss is quadratic to K scale units and linear beyond. K = 0 means
// 1.345, 95 % efficient for normal scatter (P.J. Huber, Robust Statistics, 1981).
type Huber struct{ K float64 }

// Tukey loss is the biweight: observations beyond K scale units are ignored.
// K = 0 means 4.685, 95 % efficient for normal scatter.
type Tukey struct{ K float64 }

func (h Huber) weight(u float64) float64 {
	k := h.K
	if k == 0 {
		k = 1.345
	}
	if u <= k {
		return 1
	}
	return k / u
}

func (h Tukey) weight(u float64) float64 {
	k := h.K
	if k == 0 {
		k = 4.685
	}
	if u >= k {
		return 0
	}
	v := 1 - (u/k)*(u/k)
	return v * v
}

// madScale is the normal-consistent scale of absolute residuals of a fit with
// p parameters: the p smallest, which the fit makes near zero, are left out.
func madScale(abs []float64, p int) float64 {
	s := append([]float64(nil), abs...)
	sort.Float64s(s)
	s = s[min(p, len(s)-1):]
	return median(s) / 0.6744897501960817 // Φ⁻¹(3/4)
}

// median of sorted values.
func median(s []float64) float64 {
	k := len(s) / 2
	if len(s)%2 == 1 {
		return s[k]
	}
	return (s[k-1] + s[k]) / 2
}
