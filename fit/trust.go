package fit

import "math"

// Trust-region step after J.J. Moré, "The Levenberg-Marquardt algorithm:
// implementation and theory", Lecture Notes in Mathematics 630 (1978) 105-116.

// region finds the step of one least-squares model inside a trust region.
// Scales are in pivoted order throughout.
type region struct {
	n                     int
	r, s                  []float64 // R and the damped triangle, n×n by rows
	qtb, x, w, wa, dx, sd []float64
}

func (t *region) resize(n int) {
	t.n = n
	t.r = grow(t.r, n*n)
	t.s = grow(t.s, n*n)
	t.qtb = grow(t.qtb, n)
	t.x = grow(t.x, n)
	t.w = grow(t.w, n)
	t.wa = grow(t.wa, n)
	t.dx = grow(t.dx, n)
	t.sd = grow(t.sd, n)
}

// gaussNewton solves R x = qtb in the rank that R has.
func (t *region) gaussNewton(rank int) {
	backSolve(t.x, t.r, t.qtb, t.n, rank)
}

// step sets x to the minimizer of |R x − qtb|² with |D x| ≤ delta (to 10 %)
// and returns the damping parameter; par is the previous one.
func (t *region) step(d []float64, delta, par float64, rank int) float64 {
	n := t.n
	t.gaussNewton(rank)
	dnorm := t.scaledNorm(d)
	fp := dnorm - delta
	if fp <= 0.1*delta {
		return 0
	}
	// Bounds of the parameter.
	parl := 0.0
	if rank == n {
		for j := 0; j < n; j++ {
			t.wa[j] = d[j] * (t.dx[j] / dnorm)
		}
		forwardSolve(t.wa, t.r, t.wa, n, n)
		tmp := norm2(t.wa[:n])
		parl = ((fp / delta) / tmp) / tmp
	}
	for j := 0; j < n; j++ {
		s := 0.0
		for i := 0; i <= j; i++ {
			s += t.r[i*n+j] * t.qtb[i]
		}
		t.wa[j] = s / d[j]
	}
	gnorm := norm2(t.wa[:n])
	paru := gnorm / delta
	if paru == 0 {
		paru = math.SmallestNonzeroFloat64 / math.Min(delta, 0.1)
	}
	par = math.Min(math.Max(par, parl), paru)
	if par == 0 {
		par = gnorm / dnorm
	}
	for iter := 1; ; iter++ {
		if par == 0 {
			par = math.Max(math.SmallestNonzeroFloat64, 0.001*paru)
		}
		rt := math.Sqrt(par)
		t.damped(d, rt)
		dnorm = t.scaledNorm(d)
		old := fp
		fp = dnorm - delta
		if math.Abs(fp) <= 0.1*delta || (parl == 0 && fp <= old && old < 0) || iter == 10 {
			return par
		}
		for j := 0; j < n; j++ {
			t.wa[j] = d[j] * (t.dx[j] / dnorm)
		}
		forwardSolve(t.wa, t.s, t.wa, n, n)
		tmp := norm2(t.wa[:n])
		parc := ((fp / delta) / tmp) / tmp
		if fp > 0 {
			parl = math.Max(parl, par)
		} else if fp < 0 {
			paru = math.Min(paru, par)
		}
		par = math.Max(parl, par+parc)
	}
}

func (t *region) scaledNorm(d []float64) float64 {
	for j := 0; j < t.n; j++ {
		t.dx[j] = d[j] * t.x[j]
	}
	return norm2(t.dx[:t.n])
}

// damped solves the least-squares system [R; rt·D] x = [qtb; 0] by rotations
// and leaves its triangle in s.
func (t *region) damped(d []float64, rt float64) {
	n := t.n
	copy(t.s, t.r)
	copy(t.w, t.qtb)
	for j := 0; j < n; j++ {
		row := t.sd[:n]
		for k := range row {
			row[k] = 0
		}
		row[j] = rt * d[j]
		q := 0.0
		for k := j; k < n; k++ {
			if row[k] == 0 {
				continue
			}
			skk := t.s[k*n+k]
			h := math.Sqrt(skk*skk + row[k]*row[k])
			if !(h > 1e-140 && h < 1e140) {
				h = math.Hypot(skk, row[k])
			}
			c, s := skk/h, row[k]/h
			t.s[k*n+k] = h
			w := t.w[k]
			t.w[k] = c*w + s*q
			q = c*q - s*w
			for i := k + 1; i < n; i++ {
				v := t.s[k*n+i]
				t.s[k*n+i] = c*v + s*row[i]
				row[i] = c*row[i] - s*v
			}
		}
	}
	backSolve(t.x, t.s, t.w, n, rankOf(t.s, n, 0))
}
