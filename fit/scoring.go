package fit

import (
	"fmt"
	"math"
)

// sharePower is the exponent of each variance's share of the total in the
// prior: the one that keeps the coverage of the intervals near nominal at n = 12
// whatever the ratio of the variances (coverage.md); 0.5 and more widen the
// intervals for what only the smaller variance touches.
const sharePower = 0.25

// settled is the change of a variance, as a share of the total, that counts
// as none.
const settled = 1e-11

// invisible is a gain in likelihood that rounding hides: such steps are taken
// on trust.
const invisible = 1e-10

// estimate finds the variances that maximize the restricted likelihood, plain
// or with the prior of the shares. It returns the mean of h² by term.
func (c *components) estimate(r, x []float64, n int, free []int) (size []float64, err error) {
	size = make([]float64, len(c.theta))
	for k := range size {
		size[k] = sumSquares(c.h[k]) / float64(len(c.h[k]))
	}
	if !c.started {
		// Equal shares of the mean square to begin with.
		ss := sumSquares(r[:len(c.h[0])]) / math.Max(1, float64(len(r)-len(free)))
		for k := range c.theta {
			c.theta[k] = 0
			if size[k] > 0 {
				c.theta[k] = ss / size[k] / float64(len(c.theta))
			}
		}
		c.started = true
	}
	if c.plain {
		err = c.scoring(size, r, x, n, free)
	} else {
		err = c.shares(size, r, x, n, free)
	}
	if err != nil {
		return nil, err
	}
	var ok bool
	if c.at, ok = c.score(c.theta, r, x, n, free); !ok {
		return nil, errNoScatter
	}
	return size, nil
}

// change is the largest change from one set of variances to another as a
// share of the total.
func change(from, to, size []float64) float64 {
	total, big := 0.0, 0.0
	for k, v := range to {
		total += size[k] * math.Max(v, from[k])
		big = math.Max(big, size[k]*math.Abs(v-from[k]))
	}
	if big == 0 {
		return 0
	}
	return big / total
}

// scoring maximizes the restricted likelihood under θ ≥ 0 by Newton steps with
// the observed information where it is positive definite and else the expected
// one (which is iterated MINQUE), halved where the likelihood falls.
func (c *components) scoring(size, r, x []float64, n int, free []int) error {
	at, ok := c.score(c.theta, r, x, n, free)
	if !ok {
		return errNoScatter
	}
	nt := len(c.theta)
	all := make([]int, nt)
	for k := range all {
		all[k] = k
	}
	a, b := make([]float64, nt*nt), make([]float64, nt)
	for iter := 0; iter < 200; iter++ {
		for i := range a {
			a[i] = 2*at.o[i] - at.s[i]
		}
		for k := range b {
			b[k] = at.q[k]
			for l, th := range c.theta {
				b[k] += (a[k*nt+l] - at.s[k*nt+l]) * th
			}
		}
		var next []float64
		if solveSymmetric(a, b, nt, all) != nil {
			next = nonNegative(a, b)
		}
		if next == nil {
			next = nonNegative(at.s, at.q)
		}
		if next == nil {
			return errAlike
		}
		gain := 0.0
		for k, th := range c.theta {
			d := at.q[k]
			for l, th := range c.theta {
				d -= at.s[k*nt+l] * th
			}
			gain += 0.5 * d * (next[k] - th)
		}
		for half := 0; ; half++ {
			moved := change(c.theta, next, size)
			try, ok := c.score(next, r, x, n, free)
			if ok && (try.ll >= at.ll || gain < invisible*math.Max(1, math.Abs(at.ll))) {
				c.theta, at = next, try
				if moved < settled {
					return nil
				}
				break
			}
			if half == 30 {
				return nil
			}
			for k := range next {
				next[k] = (next[k] + c.theta[k]) / 2
			}
			gain /= 2
		}
	}
	return nil
}

var (
	errNoScatter = fmt.Errorf("fit: the variance terms give no positive scatter somewhere: %w (add a constant term for each observation)", ErrNotIdentified)
	errAlike     = fmt.Errorf("fit: variance terms cannot be told apart: %w", ErrNotIdentified)
)

// shares maximizes the restricted likelihood times Π share_k^sharePower, with
// share_k the part of term k in the mean variance of an observation. The prior
// keeps the variances off zero and does not care for their total: one term
// alone is plain REML. Newton steps in log θ, halved where the product falls.
func (c *components) shares(size, r, x []float64, n int, free []int) error {
	// Terms that never act are zero and stay out.
	var idx []int
	for k, v := range size {
		if v > 0 {
			idx = append(idx, k)
		}
	}
	nt, na := len(c.theta), len(idx)
	share := make([]float64, nt)
	prior := func(theta []float64) float64 {
		total, lp := 0.0, 0.0
		for _, k := range idx {
			share[k] = size[k] * theta[k]
			total += share[k]
		}
		for _, k := range idx {
			share[k] /= total
			lp += sharePower * math.Log(share[k])
		}
		return lp
	}
	at, ok := c.score(c.theta, r, x, n, free)
	if !ok || na == 0 {
		return errNoScatter
	}
	ll := at.ll + prior(c.theta)
	g, h, next := make([]float64, nt), make([]float64, nt*nt), make([]float64, nt)
	for iter := 0; iter < 200; iter++ {
		for _, k := range idx {
			d := at.q[k]
			for _, l := range idx {
				d -= at.s[k*nt+l] * c.theta[l]
			}
			g[k] = 0.5*c.theta[k]*d + sharePower*(1-float64(na)*share[k])
		}
		// The curvature in log θ: observed, or expected where that is not
		// positive definite.
		curve := func(info func(i int) float64, chain float64) []float64 {
			for _, k := range idx {
				for _, l := range idx {
					h[k*nt+l] = c.theta[k]*c.theta[l]*info(k*nt+l) - sharePower*float64(na)*share[k]*share[l]
				}
				h[k*nt+k] += sharePower*float64(na)*share[k] - chain*(g[k]-sharePower*(1-float64(na)*share[k]))
			}
			return solveSymmetric(h, g, nt, idx)
		}
		step := curve(func(i int) float64 { return at.o[i] - at.s[i]/2 }, 1)
		if step == nil {
			step = curve(func(i int) float64 { return at.s[i] / 2 }, 0)
		}
		if step == nil {
			return errAlike
		}
		gain := 0.0
		for i, k := range idx {
			gain += g[k] * step[i]
		}
		big := 0.0
		for _, d := range step {
			big = math.Max(big, math.Abs(d))
		}
		f := math.Min(1, 2/big) // at most a factor of e² at once
		for half := 0; ; half++ {
			for i, k := range idx {
				next[k] = c.theta[k] * math.Exp(f*step[i])
			}
			moved := change(c.theta, next, size)
			try, ok := c.score(next, r, x, n, free)
			llTry := math.Inf(-1)
			if ok {
				llTry = try.ll + prior(next)
			}
			if ok && (llTry >= ll || f*gain < invisible*math.Max(1, math.Abs(ll))) {
				copy(c.theta, next)
				at, ll = try, llTry
				if moved < settled {
					return c.distinct(at.s, idx)
				}
				break
			}
			if half == 30 {
				return c.distinct(at.s, idx)
			}
			f /= 2
		}
	}
	return c.distinct(at.s, idx)
}

// distinct makes sure that the data, not only the prior, tell the terms apart.
func (c *components) distinct(s []float64, idx []int) error {
	if solveSymmetric(s, make([]float64, len(c.theta)), len(c.theta), idx) == nil {
		return errAlike
	}
	return nil
}

// nonNegative minimizes ½θᵀSθ − qᵀθ under θ ≥ 0 by looking at every set of
// positive components (there are at most 2⁶). It is nil when S is singular on
// all of them.
func nonNegative(s, q []float64) []float64 {
	nt := len(q)
	best := math.Inf(1)
	var out []float64
	for mask := 1; mask < 1<<nt; mask++ {
		var idx []int
		for k := 0; k < nt; k++ {
			if mask&(1<<k) != 0 {
				idx = append(idx, k)
			}
		}
		sub := solveSymmetric(s, q, nt, idx)
		if sub == nil {
			continue
		}
		th := make([]float64, nt)
		ok := true
		for i, k := range idx {
			if sub[i] < 0 {
				ok = false
			}
			th[k] = sub[i]
		}
		if !ok {
			continue
		}
		v := 0.0
		for k := range th {
			for l := range th {
				v += 0.5 * th[k] * s[k*nt+l] * th[l]
			}
			v -= q[k] * th[k]
		}
		if v < best {
			best, out = v, th
		}
	}
	return out
}

// solveSymmetric solves the positive definite system S[idx,idx] x = q[idx] by
// Cholesky after scaling to a unit diagonal; nil when singular.
func solveSymmetric(s, q []float64, n int, idx []int) []float64 {
	k := len(idx)
	l := make([]float64, k*k)
	x := make([]float64, k)
	d := make([]float64, k)
	for a, i := range idx {
		d[a] = math.Sqrt(s[i*n+i])
		if !(d[a] > 0) {
			return nil
		}
	}
	for a, i := range idx {
		for b := 0; b <= a; b++ {
			v := s[i*n+idx[b]] / (d[a] * d[b])
			for e := 0; e < b; e++ {
				v -= l[a*k+e] * l[b*k+e]
			}
			if a == b {
				if v < 1e-12 {
					return nil
				}
				l[a*k+a] = math.Sqrt(v)
			} else {
				l[a*k+b] = v / l[b*k+b]
			}
		}
	}
	for a, i := range idx {
		v := q[i] / d[a]
		for e := 0; e < a; e++ {
			v -= l[a*k+e] * x[e]
		}
		x[a] = v / l[a*k+a]
	}
	for a := k - 1; a >= 0; a-- {
		v := x[a]
		for e := a + 1; e < k; e++ {
			v -= l[e*k+a] * x[e]
		}
		x[a] = v / l[a*k+a]
	}
	for a := range x {
		x[a] /= d[a]
	}
	return x
}
