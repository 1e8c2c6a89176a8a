package fit

import "math"

// A score is the restricted likelihood at one set of variances θ with its
// derivatives there, and what they are made of. With V = Σ θ_k V_k the
// covariance of the observations, W = V⁻¹, R the triangle of the whitened
// Jacobian and Z = X R⁻¹, the projection off the model is P = W − WZZᵀW.
type score struct {
	ll float64
	// Twice the derivatives of ll by θ are q − Sθ; the expected information
	// is S/2 and the observed one o − S/2.
	q, s, o []float64
	f       *Factorization // of the whitened Jacobian
	p       int
	u       []float64   // P r
	m       [][]float64 // by term, M_k = ZᵀWV_kWZ (p×p)
	q2      [][]float64 // by pair of terms, ZᵀWV_kWV_lWZ
}

// score evaluates the restricted likelihood at theta for scaled residuals r and
// Jacobian x (rows×n, columns in free). Rows beyond the data are priors, of
// known variance one. False where V is not positive definite or the data do not
// determine the parameters.
func (c *components) score(theta, r, x []float64, n int, free []int) (*score, bool) {
	if !c.build(theta) {
		return nil, false
	}
	sc := &score{p: len(free)}
	z := c.project(sc, r, x, n, free)
	if z == nil {
		return nil, false
	}
	wz := c.weigh(z, sc.p)
	quad := c.residuals(sc, r, z, wz)
	sc.ll = -0.5 * (c.logDet(sc) + quad + float64(len(r)-sc.p)*math.Log(2*math.Pi))
	c.squares(sc)
	traces := c.traces(sc, wz)
	c.curvature(sc, wz)
	if len(r) > len(sc.u) {
		sc.movePriors(theta, traces)
	}
	return sc, true
}

// project factors the whitened Jacobian and returns Z, whose rows are not
// whitened; nil when the rank is deficient.
func (c *components) project(sc *score, r, x []float64, n int, free []int) []float64 {
	p, rows := sc.p, len(r)
	wr, wx := append([]float64(nil), r...), append([]float64(nil), x...)
	(&whitener{c.blocks}).apply(wr, wx, n)
	f := factorize(wx, rows, n, free)
	if f.rank < p {
		return nil
	}
	sc.f = f
	z := make([]float64, rows*p)
	for i := 0; i < rows; i++ {
		// Row z = x P D R⁻¹, that is Rᵀ zᵀ = (x P D)ᵀ.
		row := z[i*p : (i+1)*p]
		for k := range row {
			row[k] = x[i*n+free[f.perm[k]]] * f.scale[f.perm[k]]
		}
		forwardSolve(row, f.r, row, p, p)
	}
	return z
}

// logDet is ln det XᵀWX + ln det V.
func (c *components) logDet(sc *score) float64 {
	sum := 0.0
	for i := 0; i < sc.p; i++ {
		sum += 2 * math.Log(math.Abs(sc.f.r[i*sc.p+i])/sc.f.scale[sc.f.perm[i]])
	}
	for bi := range c.blocks {
		b := &c.blocks[bi]
		for a, k := 0, len(b.rows); a < k; a++ {
			sum += 2 * math.Log(b.l[a*k+a])
		}
	}
	return sum
}

// times sets dst = W v for the rows of a block, of the given width.
func (b *block) times(dst, v []float64, width int) {
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

// weigh returns W Z by block.
func (c *components) weigh(z []float64, p int) [][]float64 {
	wz := make([][]float64, len(c.blocks))
	for bi := range c.blocks {
		b := &c.blocks[bi]
		zb := make([]float64, len(b.rows)*p)
		for a, i := range b.rows {
			copy(zb[a*p:(a+1)*p], z[i*p:(i+1)*p])
		}
		wz[bi] = make([]float64, len(zb))
		b.times(wz[bi], zb, p)
	}
	return wz
}

// residuals sets u = W(r − Ze) with e = ZᵀWr, and returns rᵀPr.
func (c *components) residuals(sc *score, r, z []float64, wz [][]float64) float64 {
	p, rows, nObs := sc.p, len(r), len(c.h[0])
	e := make([]float64, p)
	for bi := range c.blocks {
		for a, i := range c.blocks[bi].rows {
			for j := 0; j < p; j++ {
				e[j] += wz[bi][a*p+j] * r[i]
			}
		}
	}
	for i := nObs; i < rows; i++ {
		for j := 0; j < p; j++ {
			e[j] += z[i*p+j] * r[i]
		}
	}
	left := func(i int) float64 {
		d := r[i]
		for j := 0; j < p; j++ {
			d -= z[i*p+j] * e[j]
		}
		return d
	}
	quad := 0.0
	for i := nObs; i < rows; i++ {
		d := left(i)
		quad += d * d
	}
	sc.u = make([]float64, nObs)
	for bi := range c.blocks {
		b := &c.blocks[bi]
		d, wd := make([]float64, len(b.rows)), make([]float64, len(b.rows))
		for a, i := range b.rows {
			d[a] = left(i)
		}
		b.times(wd, d, 1)
		for a, i := range b.rows {
			sc.u[i] = wd[a]
			quad += wd[a] * d[a]
		}
	}
	return quad
}

// squares sets q_k = uᵀV_k u.
func (c *components) squares(sc *score) {
	sc.q = make([]float64, len(c.theta))
	for bi := range c.blocks {
		rows := c.blocks[bi].rows
		for k := range sc.q {
			for _, i := range rows {
				for _, j := range rows {
					if v := c.part(k, i, j); v != 0 {
						sc.q[k] += sc.u[i] * v * sc.u[j]
					}
				}
			}
		}
	}
}

// traces sets S_kl = tr(P V_k P V_l) and the matrices M_k and ZᵀWV_kWV_lWZ, and
// returns tr(P V_k).
func (c *components) traces(sc *score, wz [][]float64) []float64 {
	p, nt := sc.p, len(c.theta)
	tr := make([]float64, nt)
	sc.s = make([]float64, nt*nt)
	sc.m, sc.q2 = make([][]float64, nt), make([][]float64, nt*nt)
	for k := range sc.m {
		sc.m[k] = make([]float64, p*p)
	}
	for k := range sc.q2 {
		sc.q2[k] = make([]float64, p*p)
	}
	for bi := range c.blocks {
		b := &c.blocks[bi]
		nb := len(b.rows)
		wv, vwz := make([][]float64, nt), make([][]float64, nt)
		for k := range nt {
			wv[k], vwz[k] = c.products(k, b, wz[bi], p)
			for a := 0; a < nb; a++ {
				tr[k] += wv[k][a*nb+a]
				for i := 0; i < p; i++ {
					for j := 0; j < p; j++ {
						sc.m[k][i*p+j] += wz[bi][a*p+i] * vwz[k][a*p+j]
					}
				}
			}
		}
		sc.addPairs(b, wv, vwz)
	}
	for l := range nt {
		for k := 0; k <= l; k++ {
			for i := 0; i < p; i++ {
				for j := 0; j < p; j++ {
					sc.s[k*nt+l] += sc.m[k][i*p+j] * sc.m[l][j*p+i]
				}
			}
			sc.s[l*nt+k] = sc.s[k*nt+l]
		}
	}
	for k := range tr {
		for i := 0; i < p; i++ {
			tr[k] -= sc.m[k][i*p+i]
		}
	}
	return tr
}

// products returns W V_k and V_k W Z within a block.
func (c *components) products(k int, b *block, wz []float64, p int) (wv, vwz []float64) {
	nb := len(b.rows)
	wv, vwz = make([]float64, nb*nb), make([]float64, nb*p)
	for a := 0; a < nb; a++ {
		for d := 0; d < nb; d++ {
			v := c.part(k, b.rows[a], b.rows[d])
			if v == 0 {
				continue
			}
			for o := 0; o < nb; o++ {
				wv[o*nb+d] += b.w[o*nb+a] * v
			}
			for j := 0; j < p; j++ {
				vwz[a*p+j] += v * wz[d*p+j]
			}
		}
	}
	return wv, vwz
}

// addPairs adds what a block has of ZᵀWV_kWV_lWZ and of tr(WV_kWV_l) − 2
// tr(ZᵀWV_kWV_lWZ), the parts of S that blocks do not share, for k ≤ l.
func (sc *score) addPairs(b *block, wv, vwz [][]float64) {
	p, nb, nt := sc.p, len(b.rows), len(wv)
	wvwz := make([]float64, nb*p)
	for l := range nt {
		b.times(wvwz, vwz[l], p)
		for k := 0; k <= l; k++ {
			t := 0.0
			for a := 0; a < nb; a++ {
				for d := 0; d < nb; d++ {
					t += wv[k][a*nb+d] * wv[l][d*nb+a]
				}
			}
			for a := 0; a < nb; a++ {
				for i, v := range vwz[k][a*p : (a+1)*p] {
					t -= 2 * v * wvwz[a*p+i]
					for j, w := range wvwz[a*p : (a+1)*p] {
						sc.q2[k*nt+l][i*p+j] += v * w
					}
				}
			}
			sc.s[k*nt+l] += t
		}
	}
}

// curvature sets o_kl = (V_k u)ᵀP(V_l u).
func (c *components) curvature(sc *score, wz [][]float64) {
	p, nt := sc.p, len(c.theta)
	sc.o = make([]float64, nt*nt)
	zwv := make([]float64, nt*p) // ZᵀWV_k u
	for bi := range c.blocks {
		b := &c.blocks[bi]
		nb := len(b.rows)
		vu, wvu := make([]float64, nb*nt), make([]float64, nb*nt)
		for a := 0; a < nb; a++ {
			for d := 0; d < nb; d++ {
				for k := 0; k < nt; k++ {
					vu[a*nt+k] += c.part(k, b.rows[a], b.rows[d]) * sc.u[b.rows[d]]
				}
			}
		}
		b.times(wvu, vu, nt)
		for a := 0; a < nb; a++ {
			for k, v := range vu[a*nt : (a+1)*nt] {
				for l, w := range wvu[a*nt : (a+1)*nt] {
					sc.o[k*nt+l] += v * w
				}
				for i, w := range wz[bi][a*p : (a+1)*p] {
					zwv[k*p+i] += w * v
				}
			}
		}
	}
	for k := range nt {
		for l := range nt {
			sc.o[k*nt+l] -= dotPlain(zwv[k*p:(k+1)*p], zwv[l*p:(l+1)*p])
		}
	}
}

// movePriors makes q − Sθ right where rows of known variance are among the
// data. Without them Sθ = tr(P V_k); their part in these traces goes over to q.
func (sc *score) movePriors(theta, traces []float64) {
	for k := range sc.q {
		sc.q[k] -= traces[k]
		for l, th := range theta {
			sc.q[k] += sc.s[k*len(theta)+l] * th
		}
	}
}
