package fit

import "math"

// polish ends a run near the minimum by Gauss-Newton steps with the last
// triangle, f(p) = −(RᵀR)⁻¹ Jᵀr. Their root is Jᵀr = 0 whatever the rounding
// errors of R, and Jᵀr is summed with compensation, so that the result is as
// good as the residuals themselves. Broyden's update of the map f (Math. Comp.
// 19 (1965) 577) turns its linear convergence, slow where residuals are large,
// into a superlinear one. rel is the size of the step just taken and last that
// of the Gauss-Newton step before. polish reports false where steps do not
// shrink.
func (s *Solver) polish(fnorm, rel, last float64) bool {
	na := len(s.active)
	if rate := rel / last; !math.IsInf(last, 1) && rate < 0.5 && rel*rate <= s.tol {
		return s.finish(true, "converged", rel*rate)
	}
	h := s.h[:na*na]
	reset := func() {
		clear(h)
		for a := 0; a < na; a++ {
			h[a*na+a] = -1
		}
	}
	reset()
	fresh := true
	before := 0.5 // the rate of the step before
	slow := 0
	for k := 0; k < 60; k++ {
		s.newton(rel < 1e-5)
		f, old, dx := s.f[:na], s.fOld[:na], s.dx[:na]
		for a, j := range s.active {
			f[a] = s.s[j] * s.d[j]
		}
		if !fresh {
			s.broyden(h, f, old, dx)
		}
		for a, j := range s.active {
			v := 0.0
			for b, x := range f {
				v -= h[a*na+b] * x
			}
			dx[a] = v
			s.s[j] = v / s.d[j]
		}
		copy(old, f)
		prev := rel
		rel = s.relStep(fnorm)
		if rel == 0 {
			return s.finish(true, "converged", 0)
		}
		rate := rel / prev
		if !(rate <= 0.95) {
			if rel < 1e-7 {
				return s.finish(true, "converged to rounding error", rel)
			}
			if slow++; slow > 2 || math.IsNaN(rate) {
				return false
			}
		}
		for j := range s.p {
			s.pTry[j] = s.p[j] + s.s[j]
			if s.pTry[j] < s.lower[j] || s.pTry[j] > s.upper[j] {
				return false
			}
		}
		if !s.eval(s.rTry, s.jacTry, s.pTry) {
			return false
		}
		fTry := norm2(s.rTry)
		if fTry > fnorm*(1+1e-6) {
			if rel < 1e-7 {
				return s.finish(true, "converged to rounding error", rel)
			}
			return false
		}
		fnorm = fTry
		fresh = false
		s.accept()
		// A single lucky step must not be taken for the rate.
		worst := math.Max(math.Max(rate, before), 1e-3)
		before = rate
		if e := rel * worst / (1 - worst); worst < 0.95 && e <= s.tol {
			return s.finish(true, "converged", e)
		}
	}
	s.finish(rel < 1e-8, "slow convergence", rel)
	return true
}

// newton sets s to the Gauss-Newton step by the seminormal equations with the
// triangle of the last factorization. Compensated sums matter near the end.
func (s *Solver) newton(compensated bool) {
	na := len(s.active)
	if compensated {
		s.gradient()
	} else {
		s.plainGradient()
	}
	for k := 0; k < na; k++ {
		j := s.q.perm[k]
		s.reg.wa[k] = -s.g[s.active[j]] * s.sc[j]
	}
	forwardSolve(s.reg.wa, s.reg.r, s.reg.wa, na, s.rank)
	backSolve(s.reg.x, s.reg.r, s.reg.wa, na, s.rank)
	s.unscale()
}

// broyden updates h, the inverse derivative of f, after the step dx changed f
// from old to f.
func (s *Solver) broyden(h, f, old, dx []float64) {
	na := len(f)
	hf, xh := s.w1[:na], s.w2[:na]
	den := 0.0
	for a := range hf {
		v, w := 0.0, 0.0
		for b := range hf {
			v += h[a*na+b] * (f[b] - old[b])
			w += dx[b] * h[b*na+a]
		}
		hf[a], xh[a] = v, w
	}
	norm := 0.0
	for a := range hf {
		den += dx[a] * hf[a]
		norm += dx[a] * dx[a]
	}
	if !(math.Abs(den) > 0.01*norm) {
		return // no information but noise
	}
	for a := range hf {
		t := (dx[a] - hf[a]) / den
		for b := range xh {
			h[a*na+b] += t * xh[b]
		}
	}
}

// plainGradient sets g to Jᵀr of the active parameters.
func (s *Solver) plainGradient() {
	g := s.g
	clear(g)
	n := s.n
	for i, v := range s.r {
		for j, x := range s.jac[i*n : i*n+n] {
			g[j] += x * v
		}
	}
}

// gradient sets g to Jᵀr of the active parameters, compensated.
func (s *Solver) gradient() {
	n := s.n
	for _, j := range s.active {
		var sum, low float64
		for i, v := range s.r {
			x := s.jac[i*n+j]
			h := x * v
			e := math.FMA(x, v, -h)
			t := sum + h
			z := t - sum
			low += e + ((sum - (t - z)) + (h - z))
			sum = t
		}
		s.g[j] = sum + low
	}
}
