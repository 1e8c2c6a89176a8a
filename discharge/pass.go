package discharge

import (
	"math"

	"example.com/dosetone/internal/mat3"
)

// pass is the probability that the mean of the next lot at x lies within the
// tolerance of the target. The dose of that lot is integrated over by the
// trapezoid rule; given the dose, what lies off the path makes ΔE00² a
// quadratic form, whose cube root is nearly normal (Wilson and Hilferty 1931;
// Jensen and Solomon, JASA 67 (1972) 898, eq. 2.5).
func (q *search) pass(v *values) float64 {
	m := q.m
	var parts [maxComponents]mixPart
	m.parts(&parts, v)
	var levels [2*deviatesHalf + 1]float64
	total := 0.0
	for i := range m.comps {
		c := &m.comps[i]
		for k := range levels {
			levels[k] = parts[i].mu + parts[i].sdLot*q.lots.at[k]
		}
		c.link.levels(levels[:], c.mean[len(c.mean)-1])
		parts[i].begin(levels[:])
		t1, t2 := q.offPath(levels[deviatesHalf])
		share := 0.0 // the mean variance of the form per squared distance
		if t1 > 0 {
			share = t2 / t1
		}
		sum := 0.0
		for k, s := range levels {
			sum += q.lots.weight[k] * within(q.tol*q.tol, q.squared(s), t1, t2, share)
		}
		total += c.weight * sum
	}
	return total
}

// offPath is the trace of what lots at a level scatter besides their dose, in the
// metric of the target, and of its square.
func (q *search) offPath(level float64) (t1, t2 float64) {
	cast := q.m.path.cast(level)
	var off [3][3]float64
	off[0][0] = q.m.lightnessNoise()
	for a := range 2 {
		for b := range 2 {
			off[1+a][1+b] = cast * q.m.path.lotOff[a][b]
		}
	}
	product := mat3.Mul(q.metric, off)
	for i := range 3 {
		t1 += product[i][i]
		for k := range 3 {
			t2 += product[i][k] * product[k][i]
		}
	}
	return t1, t2
}

// lotDeviates are nodes and weights of the trapezoid rule over what lots do
// about their prediction, in the normal deviate of their rank.
type lotDeviates struct{ at, weight [2*deviatesHalf + 1]float64 }

const (
	deviatesHalf = 10
	deviatesStep = 0.3
)

func newLotDeviates(freedom float64) (d lotDeviates) {
	quantile := deviates(freedom)
	norm := 0.0
	for k := range d.at {
		z := float64(k-deviatesHalf) * deviatesStep
		d.weight[k] = math.Exp(-z * z / 2)
		norm += d.weight[k]
		if z > 0 { // Student's quantiles are dear, and symmetric about 0
			d.at[k] = quantile(0.5 * math.Erfc(-z/math.Sqrt2))
			d.at[2*deviatesHalf-k] = -d.at[k]
		}
	}
	for k := range d.weight {
		d.weight[k] /= norm
	}
	return d
}

// approach is ΔE00² from the target along the shade path, tabulated: pass asks
// for it at thousands of levels.
type approach [approachNodes + 2]float64

// approachNodes is the number of nodes from the lowest to the highest level of
// the path; one more stands on either side. Cubic interpolation between them is
// good to 0.0001, and to 0.005 where ΔE00² has a corner: at the ends of
// the path and of the range between limits.
const approachNodes = 321

func (q *search) newApproach() *approach {
	var t approach
	p := q.m.path
	step := (p.hi - p.lo) / (approachNodes - 1)
	for k := range t {
		e := q.deltaE(p.at(p.lo + float64(k-1)*step))
		t[k] = e * e
	}
	return &t
}

// squared is ΔE00² from the target of the path's shade at level s.
func (q *search) squared(s float64) float64 {
	p := q.m.path
	t := (s - p.lo) / (p.hi - p.lo) * (approachNodes - 1)
	if !(t >= 0 && t < approachNodes-1) {
		e := q.deltaE(p.at(s))
		return e * e
	}
	k := int(t)
	u := t - float64(k)
	y := q.near[k : k+4 : k+4]
	// Lagrange's cubic through the nodes at -1, 0, 1, 2.
	v := u*(u-1)*(u-2)*(-1.0/6)*y[0] + (u+1)*(u-1)*(u-2)*0.5*y[1] - (u+1)*u*(u-2)*0.5*y[2] + (u+1)*u*(u-1)*(1.0/6)*y[3]
	return max(v, 0)
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
