package fit

import (
	"fmt"
	"math"
)

// block is a set of observations that may be correlated.
type block struct {
	rows []int
	l    []float64 // Cholesky factor of V, by rows
	w    []float64 // V⁻¹
}

// whitener turns rows with covariance V into rows with covariance 1.
type whitener struct{ blocks []block }

func (w *whitener) apply(r, jac []float64, n int) {
	for _, b := range w.blocks {
		k := len(b.rows)
		for a, i := range b.rows {
			row := jac[i*n : (i+1)*n]
			for c := 0; c < a; c++ {
				l := b.l[a*k+c]
				if l == 0 {
					continue
				}
				o := b.rows[c]
				r[i] -= l * r[o]
				for j, v := range jac[o*n : (o+1)*n] {
					row[j] -= l * v
				}
			}
			d := 1 / b.l[a*k+a]
			r[i] *= d
			for j := range row {
				row[j] *= d
			}
		}
	}
}

// components is the REML state of a task.
type components struct {
	terms   []VarianceTerm
	h       [][]float64 // by term, by observation, scaled by √weight where shared
	key     [][]int     // by term, the number of the sharing set of each observation
	blocks  []block
	theta   []float64
	s       []float64 // S of the last scoring step: information is S/2
	reml    float64   // restricted log-likelihood
	offZero bool
	f       *Factorization // of the whitened Jacobian at the last step
	z       []float64      // rows×p, Z = X R⁻¹ at the last step
	p       int
	u       []float64   // P r
	m       [][]float64 // by term, M_k = ZᵀWV_kWZ (p×p)
	q2      [][]float64 // by pair of terms, ZᵀWV_kWV_lWZ
}

func newComponents(v VarianceFunction, data []Observation) *components {
	c := &components{terms: v.Terms, theta: make([]float64, len(v.Terms))}
	widest := Each
	for _, t := range v.Terms {
		key := make([]int, len(data))
		seen := map[[2]string]int{}
		for i, o := range data {
			switch t.Share {
			case Each:
				key[i] = i
				continue
			case ByGroup:
				o.Subgroup = ""
			}
			id := [2]string{o.Group, o.Subgroup}
			if _, ok := seen[id]; !ok {
				seen[id] = len(seen)
			}
			key[i] = seen[id]
		}
		c.key = append(c.key, key)
		c.h = append(c.h, make([]float64, len(data)))
		if t.Share > widest {
			widest = t.Share
		}
	}
	// Blocks: the sets of the widest sharing.
	at := map[int]int{}
	for k, t := range v.Terms {
		if t.Share != widest {
			continue
		}
		for i := range data {
			id := c.key[k][i]
			if _, ok := at[id]; !ok {
				at[id] = len(c.blocks)
				c.blocks = append(c.blocks, block{})
			}
			b := &c.blocks[at[id]]
			b.rows = append(b.rows, i)
		}
		break
	}
	for i := range c.blocks {
		k := len(c.blocks[i].rows)
		c.blocks[i].l = make([]float64, k*k)
		c.blocks[i].w = make([]float64, k*k)
	}
	return c
}

// part returns element (i, j) of V_k.
func (c *components) part(k, i, j int) float64 {
	if c.key[k][i] != c.key[k][j] {
		return 0
	}
	return c.h[k][i] * c.h[k][j]
}

// build forms V, its factor and its inverse; false when V is not positive definite.
func (c *components) build(theta []float64) bool {
	for bi := range c.blocks {
		b := &c.blocks[bi]
		k := len(b.rows)
		for a := 0; a < k; a++ {
			for d := 0; d <= a; d++ {
				v := 0.0
				for t, th := range theta {
					if th > 0 {
						v += th * c.part(t, b.rows[a], b.rows[d])
					}
				}
				for e := 0; e < d; e++ {
					v -= b.l[a*k+e] * b.l[d*k+e]
				}
				if a == d {
					if !(v > 0) {
						return false
					}
					b.l[a*k+a] = math.Sqrt(v)
				} else {
					b.l[a*k+d] = v / b.l[d*k+d]
				}
			}
		}
		// W = L⁻ᵀL⁻¹, column by column.
		for col := 0; col < k; col++ {
			x := b.w[col*k : (col+1)*k]
			for a := 0; a < k; a++ {
				v := 0.0
				if a == col {
					v = 1
				}
				for e := 0; e < a; e++ {
					v -= b.l[a*k+e] * x[e]
				}
				x[a] = v / b.l[a*k+a]
			}
			for a := k - 1; a >= 0; a-- {
				v := x[a]
				for e := a + 1; e < k; e++ {
					v -= b.l[e*k+a] * x[e]
				}
				x[a] = v / b.l[a*k+a]
			}
		}
	}
	return true
}

// score evaluates the restricted likelihood at theta with its q and S, for
// scaled residuals r and Jacobian x (rows×n, columns in free). Rows beyond the
// data are priors, of known variance one.
func (c *components) score(theta, r, x []float64, n int, free []int) (q, s []float64, ll float64, ok bool) {
	if !c.build(theta) {
		return nil, nil, math.Inf(-1), false
	}
	p, rows, nt := len(free), len(r), len(theta)
	nObs := len(c.h[0])
	// Whitened X, its R, and Z = X R⁻¹ in unwhitened rows.
	wr, wx := append([]float64(nil), r...), append([]float64(nil), x...)
	(&whitener{c.blocks}).apply(wr, wx, n)
	f := factorize(wx, rows, n, free)
	if f.rank < p {
		return nil, nil, math.Inf(-1), false
	}
	logdet := 0.0
	for i := 0; i < p; i++ {
		logdet += 2 * math.Log(math.Abs(f.r[i*p+i])/f.scale[f.perm[i]])
	}
	z := make([]float64, rows*p)
	for i := 0; i < rows; i++ {
		// Row z = x P D R⁻¹, that is Rᵀ zᵀ = (x P D)ᵀ.
		row := z[i*p : (i+1)*p]
		for k := range row {
			row[k] = x[i*n+free[f.perm[k]]] * f.scale[f.perm[k]]
		}
		forwardSolve(row, f.r, row, p, p)
	}
	c.f, c.z, c.p = f, z, p
	// e = Zᵀ W r; u = W (r − Z e).
	wmul := func(dst, v []float64, b *block, width int) {
		k := len(b.rows)
		for a := 0; a < k; a++ {
			for j := 0; j < width; j++ {
				t := 0.0
				for d := 0; d < k; d++ {
					t += b.w[a*k+d] * v[d*width+j]
				}
				dst[a*width+j] = t
			}
		}
	}
	e := make([]float64, p)
	type part struct{ z, wz []float64 }
	parts := make([]part, len(c.blocks))
	quad := 0.0
	for bi := range c.blocks {
		b := &c.blocks[bi]
		k := len(b.rows)
		pt := part{make([]float64, k*p), make([]float64, k*p)}
		for a, i := range b.rows {
			copy(pt.z[a*p:(a+1)*p], z[i*p:(i+1)*p])
		}
		wmul(pt.wz, pt.z, b, p)
		parts[bi] = pt
		for a, i := range b.rows {
			for j := 0; j < p; j++ {
				e[j] += pt.wz[a*p+j] * r[i]
			}
			logdet += 2 * math.Log(b.l[a*k+a])
		}
	}
	for i := nObs; i < rows; i++ {
		for j := 0; j < p; j++ {
			e[j] += z[i*p+j] * r[i]
		}
	}
	for i := nObs; i < rows; i++ {
		d := r[i]
		for j := 0; j < p; j++ {
			d -= z[i*p+j] * e[j]
		}
		quad += d * d
	}
	u := make([]float64, nObs)
	for bi := range c.blocks {
		b := &c.blocks[bi]
		k := len(b.rows)
		d, wu := make([]float64, k), make([]float64, k)
		for a, i := range b.rows {
			d[a] = r[i]
			for j := 0; j < p; j++ {
				d[a] -= z[i*p+j] * e[j]
			}
		}
		wmul(wu, d, b, 1)
		for a, i := range b.rows {
			u[i] = wu[a]
			quad += wu[a] * d[a]
		}
	}
	c.u = u
	ll = -0.5 * (logdet + quad + float64(rows-p)*math.Log(2*math.Pi))
	// q_k = uᵀV_k u;  S_kl = tr(P V_k P V_l).
	q, s = make([]float64, nt), make([]float64, nt*nt)
	m := make([][]float64, nt) // M_k = Zᵀ W V_k W Z
	for k := range m {
		m[k] = make([]float64, p*p)
	}
	q2 := make([][]float64, nt*nt)
	for k := range q2 {
		q2[k] = make([]float64, p*p)
	}
	c.m, c.q2 = m, q2
	for bi := range c.blocks {
		b := &c.blocks[bi]
		nb := len(b.rows)
		wv, vwz := make([][]float64, nt), make([][]float64, nt)
		for k := 0; k < nt; k++ {
			wv[k], vwz[k] = make([]float64, nb*nb), make([]float64, nb*p)
			for a := 0; a < nb; a++ {
				for d := 0; d < nb; d++ {
					v := c.part(k, b.rows[a], b.rows[d])
					if v == 0 {
						continue
					}
					q[k] += u[b.rows[a]] * v * u[b.rows[d]]
					for o := 0; o < nb; o++ {
						wv[k][o*nb+d] += b.w[o*nb+a] * v
					}
					for j := 0; j < p; j++ {
						vwz[k][a*p+j] += v * parts[bi].wz[d*p+j]
					}
				}
			}
			for a := 0; a < nb; a++ {
				for i := 0; i < p; i++ {
					for j := 0; j < p; j++ {
						m[k][i*p+j] += parts[bi].wz[a*p+i] * vwz[k][a*p+j]
					}
				}
			}
		}
		tmp := make([]float64, nb*p)
		for l := 0; l < nt; l++ {
			wmul(tmp, vwz[l], b, p)
			for k := 0; k <= l; k++ {
				t := 0.0
				for a := 0; a < nb; a++ {
					for d := 0; d < nb; d++ {
						t += wv[k][a*nb+d] * wv[l][d*nb+a]
					}
				}
				for a := 0; a < nb; a++ {
					for i, v := range vwz[k][a*p : (a+1)*p] {
						t -= 2 * v * tmp[a*p+i]
						for j, w := range tmp[a*p : (a+1)*p] {
							q2[k*nt+l][i*p+j] += v * w
						}
					}
				}
				s[k*nt+l] += t
			}
		}
	}
	for l := 0; l < nt; l++ {
		for k := 0; k <= l; k++ {
			for i := 0; i < p; i++ {
				for j := 0; j < p; j++ {
					s[k*nt+l] += m[k][i*p+j] * m[l][j*p+i]
				}
			}
			s[l*nt+k] = s[k*nt+l]
		}
	}
	return q, s, ll, true
}

// estimate iterates Fisher scoring of the restricted likelihood, which is
// iterated MINQUE: S θ = q, under θ ≥ 0, with halved steps where the
// likelihood falls.
func (c *components) estimate(r, x []float64, n int, free []int) error {
	if c.theta[0] == 0 {
		// Equal shares of the mean square to begin with.
		ss := sumSquares(r[:len(c.h[0])]) / math.Max(1, float64(len(r)-len(free)))
		for k := range c.theta {
			hh := sumSquares(c.h[k]) / float64(len(c.h[k]))
			if hh > 0 {
				c.theta[k] = ss / hh / float64(len(c.theta))
			}
		}
	}
	q, s, ll, ok := c.penalized(c.theta, r, x, n, free)
	if !ok {
		return fmt.Errorf("fit: the variance terms give no positive scatter somewhere: %w (add a constant term for each observation)", ErrNotIdentified)
	}
	for iter := 0; iter < 200; iter++ {
		next := nonNegative(s, q)
		if next == nil {
			return fmt.Errorf("fit: variance terms cannot be told apart: %w", ErrNotIdentified)
		}
		moved := 0.0
		for k, v := range next {
			if d := math.Abs(v - c.theta[k]); d > 0 {
				moved = math.Max(moved, d/math.Max(v, c.theta[k]))
			}
		}
		if moved < 1e-11 {
			c.theta = next
			break
		}
		for half := 0; ; half++ {
			q2, s2, ll2, ok2 := c.penalized(next, r, x, n, free)
			if ok2 && ll2 >= ll-1e-9*math.Abs(ll) {
				c.theta, q, s, ll = next, q2, s2, ll2
				break
			}
			if half == 30 {
				iter = 1000
				break
			}
			for k := range next {
				next[k] = (next[k] + c.theta[k]) / 2
			}
		}
	}
	_, c.s, c.reml, _ = c.score(c.theta, r, x, n, free)
	return nil
}

// penalized is score with the prior of OffZero: ½ ln θ per term in the
// likelihood, 1/θ in q.
func (c *components) penalized(theta, r, x []float64, n int, free []int) (q, s []float64, ll float64, ok bool) {
	q, s, ll, ok = c.score(theta, r, x, n, free)
	if !ok || !c.offZero {
		return
	}
	for k, th := range theta {
		if th <= 0 {
			return nil, nil, math.Inf(-1), false
		}
		q[k] += 1 / th
		ll += 0.5 * math.Log(th)
	}
	return
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

// without returns a whitener of the covariance without some rows.
func (c *components) without(drop map[int]bool) *whitener {
	w := &whitener{}
	for _, b := range c.blocks {
		var rows []int
		for _, i := range b.rows {
			if !drop[i] {
				rows = append(rows, i)
			}
		}
		k := len(rows)
		if k == 0 {
			continue
		}
		nb := block{rows: rows, l: make([]float64, k*k), w: make([]float64, k*k)}
		tmp := *c
		tmp.blocks = []block{nb}
		if tmp.build(c.theta) {
			w.blocks = append(w.blocks, tmp.blocks[0])
		}
	}
	return w
}
