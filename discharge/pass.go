package discharge

import "math"

// pass is the probability that the mean of the next lot at x lies within the
// tolerance of the target. The dose of that lot is integrated over by the
// trapezoid rule in its normal deviate; given the dose, what lies off the path
// makes ΔE00² a quadratic form, whose cube root is nearly normal (Wilson and
// Hilferty 1931; Jensen and Solomon, JASA 67 (1972) 898, eq. 2.5).
func (q *search) pass(v *values) float64 {
	m := q.m
	var parts [maxComponents]mixPart
	m.parts(&parts, v)
	var off [3][3]float64
	off[0][0] = m.lightnessNoise()
	for a := range 2 {
		for b := range 2 {
			off[1+a][1+b] = m.path.lotOff[a][b]
		}
	}
	var go1 [3][3]float64
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				go1[i][j] += q.metric[i][k] * off[k][j]
			}
		}
	}
	t1, t2 := 0.0, 0.0
	for i := range 3 {
		t1 += go1[i][i]
		for k := range 3 {
			t2 += go1[i][k] * go1[k][i]
		}
	}
	share := 0.0 // the mean variance of the form per squared distance
	if t1 > 0 {
		share = t2 / t1
	}
	const half, step = 10, 0.3
	total, norm := 0.0, 0.0
	for i := range m.comps {
		c := &m.comps[i]
		d := c.mean[len(c.mean)-1]
		for k := -half; k <= half; k++ {
			z := float64(k) * step
			w := c.weight * math.Exp(-z*z/2)
			s, _, _ := c.link.at(parts[i].mu+parts[i].sdLot*z, d)
			e := q.deltaE(m.path.at(s))
			total += w * within(q.tol*q.tol, e*e, t1, t2, share)
			norm += w
		}
	}
	return total / norm
}

// within is P(Q ≤ limit) for a quadratic form with center² d2, trace t1 and
// trace of the square t2.
func within(limit, d2, t1, t2, share float64) float64 {
	mean := d2 + t1
	variance := 2*t2 + 4*d2*share
	if mean <= 0 || variance <= 1e-12*mean*mean {
		if mean <= limit {
			return 1
		}
		return 0
	}
	k := variance / (9 * mean * mean)
	z := (math.Cbrt(limit/mean) - (1 - k)) / math.Sqrt(k)
	return 0.5 * math.Erfc(-z/math.Sqrt2)
}
