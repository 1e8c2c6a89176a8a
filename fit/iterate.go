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

// walk is one run of the iteration.
type walk struct {
	*Solver
	fnorm      float64 // |r| at the current point
	delta, par float64 // radius of the trust region, Levenberg-Marquardt parameter
	last       float64 // the Gauss-Newton step before this one; infinite after others
	first      bool    // no step was taken yet
	stall      int     // steps in a row that were too small to matter
	polishes   int
}

// run iterates from start and reports whether it ended in a minimum of full rank.
func (s *Solver) run(start []float64, factor float64) (bool, error) {
	fnorm, err := s.startAt(start)
	if err != nil {
		return false, err
	}
	w := walk{Solver: s, fnorm: fnorm, last: math.Inf(1), first: true}
	s.runs++
	for limit := s.iter + s.maxIter; s.iter < limit; {
		s.iter++
		s.pickActive()
		if len(s.active) == 0 {
			return s.finish(true, "all parameters are at bounds", 0), nil
		}
		copy(s.rhs, s.r)
		s.load(w.first)
		if w.fnorm == 0 {
			return s.finish(true, "exact fit", 0), nil
		}
		if w.first {
			w.delta = factor * s.scaledLength()
			if w.delta == 0 {
				// A start of zeros has no scale; still the step must show in |r|.
				w.delta = factor * math.Max(1, 1e-12*w.fnorm)
			}
		}
		if ended, good := w.advance(); ended {
			return good, nil
		}
	}
	s.reload()
	return s.finish(false, "iteration limit reached", math.NaN()), nil
}

// reload factors the Jacobian at the current point anew.
func (s *Solver) reload() {
	s.pickActive()
	copy(s.rhs, s.r)
	s.load(false)
}

// advance tries steps until one is taken, and reports whether the run has ended
// by it and how.
func (w *walk) advance() (ended, good bool) {
	full := true
	for try := 0; ; try++ {
		if !full {
			w.reload() // clipping had changed the active set
		}
		t := w.propose()
		full = !t.clipped
		fTry := math.Inf(1)
		if w.eval(w.rTry, w.jacTry, w.pTry) {
			fTry = norm2(w.rTry)
		}
		gauss := w.par == 0 && !t.clipped
		if gauss && t.rel < 1e-2 && w.polishes < 3 && fTry <= w.fnorm*(1+1e-6) {
			// The quadratic model rules: take the step and polish.
			w.accept()
			if w.polish(fTry, t.rel, w.last) {
				return true, w.sol.Converged && w.rank == len(w.active)
			}
			w.fnorm = norm2(w.r)
			w.polishes++
			w.first = false
			return false, false
		}
		taken := w.resize(t, fTry) >= 1e-4
		w.first = false
		if taken {
			w.accept()
			w.fnorm = fTry
			w.last = math.Inf(1)
			if gauss {
				w.last = t.rel
			}
			if t.rel > w.tol {
				w.stall = 0
			} else if w.stall++; w.stall >= 3 {
				return true, w.settle(t.rel)
			}
			return false, false
		}
		if t.rel <= 1e-15 || w.delta == 0 || try > 200 {
			return true, w.settle(t.rel)
		}
	}
}

// trial is what is known of a step before it is evaluated.
type trial struct {
	pred, dir float64 // reduction and slope that the linear model promises, relative to |r|²
	pnorm     float64 // scaled length
	rel       float64 // largest step relative to its parameter
	clipped   bool    // by bounds
}

// propose sets pTry to the end of a step in the trust region.
func (w *walk) propose() trial {
	var t trial
	w.par = w.reg.step(w.dq[:len(w.active)], w.delta, w.par, w.rank)
	t.pnorm = norm2(w.reg.dx[:len(w.active)])
	t.pred, t.dir = w.predicted(w.fnorm, w.par, t.pnorm)
	w.unscale()
	t.clipped = w.clip(w.delta, w.fnorm, &t.pred, &t.dir, &t.pnorm)
	t.rel = w.relStep(w.fnorm)
	if w.first {
		w.delta = math.Min(w.delta, t.pnorm)
	}
	for j := range w.p {
		w.pTry[j] = w.p[j] + w.s[j]
	}
	if t.clipped {
		w.project()
	}
	return t
}

// resize fits the trust region to how a trial came out, and returns the actual
// reduction as a share of the predicted one.
func (w *walk) resize(t trial, fTry float64) (ratio float64) {
	act := -1.0
	if 0.1*fTry < w.fnorm {
		q := fTry / w.fnorm
		act = 1 - q*q
	}
	if t.pred > 0 {
		ratio = act / t.pred
	}
	if ratio <= 0.25 {
		shrink := 0.5
		if act < 0 {
			shrink = 0.5 * t.dir / (t.dir + 0.5*act)
		}
		if 0.1*fTry >= w.fnorm || shrink < 0.1 || math.IsNaN(shrink) {
			shrink = 0.1
		}
		w.delta = shrink * math.Min(w.delta, t.pnorm/0.1)
		w.par /= shrink
	} else if w.par == 0 || ratio >= 0.75 {
		w.delta = t.pnorm / 0.5
		w.par *= 0.5
	}
	return ratio
}

// settle ends a run whose steps have become tiny.
func (s *Solver) settle(rel float64) bool {
	s.reload()
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
