package discharge

import (
	"math"

	"example.com/dosetone/internal/quantile"
)

// withinLot estimates how panels of one lot scatter: sdPanel in η, which shows
// in proportion to the slope of the curve, and read, a constant part in level, both as
// standard deviations.
// It averages the variances over a grid by their Student-t likelihood, so that a
// hot spot does not inflate the scatter of all other panels and a reading more
// or less moves the estimate by little. slope[i] is |ds/dη| at lot i.
func withinLot(levels [][]float64, slope []float64, readPrior float64) (sdPanel, read float64) {
	best := math.Inf(-1)
	var sum, panel, reading float64
	for _, sp := range []float64{0.01, 0.02, 0.03, 0.045, 0.06, 0.08, 0.1, 0.13, 0.17, 0.22, 0.3, 0.4} {
		for _, f := range []float64{0.5, 0.7, 1, 1.4, 2, 3} {
			rd := f * readPrior
			ll := -0.5 * math.Pow(math.Log(f)/0.7, 2)
			for i, ys := range levels {
				if len(ys) < 2 {
					continue
				}
				n := float64(len(ys))
				v := tailScale * tailScale * (slope[i]*slope[i]*sp*sp + rd*rd)
				m := robustMean(ys, math.Sqrt(v))
				// Deviations from an estimated mean are smaller by (n-1)/n.
				v *= (n - 1) / n
				t := 0.0
				for _, y := range ys {
					d := y - m
					t += -0.5*math.Log(v) - 0.5*(tailWeight+1)*math.Log1p(d*d/v/tailWeight)
				}
				ll += t * (n - 1) / n
			}
			if ll > best {
				shrink := math.Exp(best - ll)
				best, sum, panel, reading = ll, shrink*sum, shrink*panel, shrink*reading
			}
			w := math.Exp(ll - best)
			sum += w
			panel += w * sp * sp
			reading += w * rd * rd
		}
	}
	return math.Sqrt(panel / sum), math.Sqrt(reading / sum)
}

// robustMean is the location of a Student t with that scale fitted to x.
func robustMean(x []float64, scale float64) float64 {
	m := quantile.Median(x)
	if scale <= 0 {
		return m
	}
	for range 8 {
		var sw, sx float64
		for _, v := range x {
			u := (v - m) / scale
			w := 1 / (tailWeight + u*u)
			sw += w
			sx += w * v
		}
		m = sx / sw
	}
	return m
}
