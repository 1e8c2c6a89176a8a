package fit

import "math"

// shrink updates the SD of the shrunk parameters by one EM step and returns
// its relative change.
func (t *task) shrink() float64 {
	if len(t.shrunk) == 0 {
		return 0
	}
	f := t.sol.Factorization()
	if t.robust != nil && t.robust.mean > 0 {
		l := t.linearized(math.Sqrt(t.robust.mean))
		f = factorize(l.jac, len(l.res), t.n, t.sol.Free)
	}
	cov := f.Inverse()
	if cov == nil {
		return 0
	}
	s := 0.0
	for _, k := range t.shrunk {
		j := t.priors[k].j
		s += t.sol.P[j]*t.sol.P[j] + cov[j*t.n+j]*t.scale*t.scale
	}
	sd := math.Sqrt(s / float64(len(t.shrunk)))
	old := t.priors[t.shrunk[0]].sd
	for _, k := range t.shrunk {
		t.priors[k].sd = sd
	}
	return math.Abs(sd-old) / sd * 1e-4 // EM is slow: 1e-7 of the SD is enough
}

// shrinkStart begins the EM iteration from the spread of the free estimates.
func (t *task) shrinkStart() {
	s := 0.0
	for _, k := range t.shrunk {
		v := t.sol.P[t.priors[k].j]
		s += v * v
	}
	for _, k := range t.shrunk {
		t.priors[k].sd = math.Max(math.Sqrt(s/float64(len(t.shrunk))), 1e-3)
	}
}
