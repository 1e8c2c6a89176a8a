package fit

import "math"

// reaches are half the widths of bounds, 0 where there are none.
func reaches(lower, upper []float64) []float64 {
	half := make([]float64, len(lower))
	for j, lo := range lower {
		if w := upper[j]/2 - lo/2; !math.IsInf(w, 0) {
			half[j] = w
		}
	}
	return half
}

// clip shortens a step that leaves the bounds: parameters that would cross
// stop at their bound and the others are solved again. It reports whether it
// changed anything and then updates the predictions.
func (s *Solver) clip(delta, fnorm float64, pred, dir, pnorm *float64) bool {
	changed := false
	for len(s.active) > 0 {
		out := 0
		for _, j := range s.active {
			if v := s.p[j] + s.s[j]; v < s.lower[j] || v > s.upper[j] {
				out++
			}
		}
		if out == 0 {
			break
		}
		changed = true
		// Hold those that cross and move their part to the right-hand side.
		keep := s.active[:0]
		for _, j := range s.active {
			v := s.p[j] + s.s[j]
			if v < s.lower[j] || v > s.upper[j] {
				s.s[j] = math.Min(math.Max(v, s.lower[j]), s.upper[j]) - s.p[j]
			} else {
				keep = append(keep, j)
			}
		}
		s.active = keep
		for _, j := range s.active {
			s.s[j] = 0
		}
		s.linear(s.rhs)
		if len(s.active) > 0 {
			s.load(false)
			s.reg.step(s.dq[:len(s.active)], delta, 0, s.rank)
		}
		s.unscaleActive()
	}
	if !changed {
		return false
	}
	// The linear model at the step as it is.
	s.linear(s.rhs)
	lin, g, d := 0.0, 0.0, 0.0
	for i, v := range s.rhs {
		lin += v * v
		g += (v - s.r[i]) * s.r[i]
	}
	for j, v := range s.s {
		d = math.Hypot(d, s.d[j]*v)
	}
	f2 := fnorm * fnorm
	*pred, *dir, *pnorm = 1-lin/f2, g/f2, d
	return true
}

// unscaleActive writes the steps of the active parameters only.
func (s *Solver) unscaleActive() {
	for k := range s.active {
		j := s.q.perm[k]
		s.s[s.active[j]] = s.reg.x[k] * s.sc[j]
	}
}

// linear sets dst to r + J·s.
func (s *Solver) linear(dst []float64) {
	for i := 0; i < s.m; i++ {
		v := s.r[i]
		for j, x := range s.s {
			if x != 0 {
				v += s.jac[i*s.n+j] * x
			}
		}
		dst[i] = v
	}
}

// project removes the rounding error of steps onto a bound.
func (s *Solver) project() {
	for _, j := range s.free {
		s.pTry[j] = math.Min(math.Max(s.pTry[j], s.lower[j]), s.upper[j])
	}
}
