package fit

import "math"

// pickActive lists the free parameters that are not pressed against a bound.
func (s *Solver) pickActive() {
	s.active = s.active[:0]
	for _, j := range s.free {
		if s.p[j] <= s.lower[j] || s.p[j] >= s.upper[j] {
			g := 0.0
			for i := 0; i < s.m; i++ {
				g += s.jac[i*s.n+j] * s.r[i]
			}
			if (s.p[j] <= s.lower[j] && g >= 0) || (s.p[j] >= s.upper[j] && g <= 0) {
				continue
			}
		}
		s.active = append(s.active, j)
	}
}

// load factors the active columns, scaled by powers of two to norms near one,
// together with the right-hand side in rhs.
func (s *Solver) load(first bool) {
	m, n, na := s.m, s.n, len(s.active)
	s.q.m, s.q.n = m, na
	s.reg.n = na
	for k, j := range s.active {
		c := s.q.a[k*m : (k+1)*m]
		for i, o := 0, j; i < m; i, o = i+1, o+n {
			c[i] = s.jac[o]
		}
		nrm := norm2(c)
		if first || nrm > s.d[j] {
			s.d[j] = nrm
		}
		if s.d[j] == 0 {
			s.d[j] = 1
		}
		_, e := math.Frexp(s.d[j])
		sc := math.Ldexp(1, -e)
		s.sc[k] = sc
		for i := range c {
			c[i] *= sc
		}
	}
	s.q.factor(s.rhs)
	s.q.r(s.reg.r)
	for k := 0; k < na; k++ {
		s.reg.qtb[k] = -s.rhs[k]
		j := s.q.perm[k]
		s.dq[k] = s.d[s.active[j]] * s.sc[j]
	}
	s.rank = rankOf(s.reg.r, na, 1e-15*float64(na))
}

// unscale moves the region's step into s.s, by parameter.
func (s *Solver) unscale() {
	for j := range s.s {
		s.s[j] = 0
	}
	for k := range s.active {
		j := s.q.perm[k]
		s.s[s.active[j]] = s.reg.x[k] * s.sc[j]
	}
}

// relStep is the largest step relative to its parameter. A parameter near zero
// is measured by what its step does to the residuals.
func (s *Solver) relStep(fnorm float64) float64 {
	big := 0.0
	for _, j := range s.active {
		a := math.Abs(s.s[j])
		if a == 0 {
			continue
		}
		rel := a / math.Abs(s.p[j])
		if t := 1e3 * a * s.d[j] / fnorm; t < rel {
			rel = t
		}
		if rel > big {
			big = rel
		}
	}
	return big
}

// run iterates from start and reports whether it ended in a minimum of full rank.
func (s *Solver) run(start []float64, factor float64) (bool, error) {
	fnorm, err := s.startAt(start)
	if err != nil {
		return false, err
	}
	var (
		delta, par float64
		last       = math.Inf(1) // the Gauss-Newton step before this one
		first      = true
		limit      = s.iter + s.maxIter
		stall      int
		polishes   int
	)
	for ; s.iter < limit; s.iter++ {
		s.pickActive()
		if len(s.active) == 0 {
			return s.finish(true, "all parameters are at bounds", 0), nil
		}
		copy(s.rhs, s.r)
		s.load(first)
		if fnorm == 0 {
			return s.finish(true, "exact fit", 0), nil
		}
		if first {
			x := s.scaledLength()
			delta = factor * x
			if delta == 0 {
				delta = factor
			}
		}
		full := true
		for try := 0; ; try++ {
			if !full {
				s.pickActive()
				copy(s.rhs, s.r)
				s.load(false)
			}
			par = s.reg.step(s.dq[:len(s.active)], delta, par, s.rank)
			pnorm := norm2(s.reg.dx[:len(s.active)])
			pred, dir := s.predicted(fnorm, par, pnorm)
			s.unscale()
			clipped := s.clip(delta, fnorm, &pred, &dir, &pnorm)
			full = !clipped
			rel := s.relStep(fnorm)
			if first {
				delta = math.Min(delta, pnorm)
			}
			for j := range s.p {
				s.pTry[j] = s.p[j] + s.s[j]
			}
			if clipped {
				s.project()
			}
			gauss := par == 0 && !clipped
			ok := s.eval(s.rTry, s.jacTry, s.pTry)
			fTry := math.Inf(1)
			if ok {
				fTry = norm2(s.rTry)
			}
			if gauss && rel < 1e-2 && polishes < 3 && fTry <= fnorm*(1+1e-6) {
				// The quadratic model rules: take the step and polish.
				s.accept()
				fnorm = fTry
				if s.polish(fnorm, rel, last) {
					return s.sol.Converged && s.rank == len(s.active), nil
				}
				fnorm = norm2(s.r)
				polishes++
				first = false
				break
			}
			act := -1.0
			if 0.1*fTry < fnorm {
				q := fTry / fnorm
				act = 1 - q*q
			}
			ratio := 0.0
			if pred > 0 {
				ratio = act / pred
			}
			if ratio <= 0.25 {
				t := 0.5
				if act < 0 {
					t = 0.5 * dir / (dir + 0.5*act)
				}
				if 0.1*fTry >= fnorm || t < 0.1 || math.IsNaN(t) {
					t = 0.1
				}
				delta = t * math.Min(delta, pnorm/0.1)
				par /= t
			} else if par == 0 || ratio >= 0.75 {
				delta = pnorm / 0.5
				par *= 0.5
			}
			if ratio >= 1e-4 {
				s.accept()
				fnorm = fTry
				if gauss {
					last = rel
				} else {
					last = math.Inf(1)
				}
				if rel <= s.tol {
					if stall++; stall >= 3 {
						return s.settle(rel), nil
					}
				} else {
					stall = 0
				}
				first = false
				break
			}
			first = false
			if rel <= 1e-15 || delta == 0 || try > 200 {
				return s.settle(rel), nil
			}
		}
	}
	s.pickActive()
	copy(s.rhs, s.r)
	s.load(false)
	return s.finish(false, "iteration limit reached", math.NaN()), nil
}

// settle ends a run whose steps have become tiny.
func (s *Solver) settle(rel float64) bool {
	s.pickActive()
	copy(s.rhs, s.r)
	s.load(false)
	if s.cosine(norm2(s.r)) < 1e-7 {
		return s.finish(true, "no further reduction, residuals orthogonal to the derivatives", rel)
	}
	return s.finish(false, "no further reduction, but residuals not orthogonal to the derivatives", rel)
}

func (s *Solver) accept() {
	s.p, s.pTry = s.pTry, s.p
	s.r, s.rTry = s.rTry, s.r
	s.jac, s.jacTry = s.jacTry, s.jac
}

// scaledLength is |D p| over the active parameters.
func (s *Solver) scaledLength() float64 {
	x := 0.0
	for _, j := range s.active {
		x = math.Hypot(x, s.d[j]*s.p[j])
	}
	return x
}

// cosine is the largest cosine between the residuals and a column of the
// Jacobian: zero at a minimum.
func (s *Solver) cosine(fnorm float64) float64 {
	big := 0.0
	na := len(s.active)
	for k := 0; k < na; k++ {
		dot, len2 := 0.0, 0.0
		for i := 0; i <= k; i++ {
			r := s.reg.r[i*na+k]
			dot += r * s.reg.qtb[i]
			len2 += r * r
		}
		if len2 > 0 {
			big = math.Max(big, math.Abs(dot)/math.Sqrt(len2))
		}
	}
	return big / fnorm
}

// predicted returns the relative reduction that the linear model promises and
// the directional derivative, both relative to fnorm².
func (s *Solver) predicted(fnorm, par, pnorm float64) (pred, dir float64) {
	na := len(s.active)
	js := 0.0
	for i := 0; i < na; i++ {
		t := 0.0
		for k := i; k < na; k++ {
			t += s.reg.r[i*na+k] * s.reg.x[k]
		}
		t /= fnorm
		js += t * t
	}
	t := math.Sqrt(par) * pnorm / fnorm
	return js + 2*t*t, -(js + t*t)
}
