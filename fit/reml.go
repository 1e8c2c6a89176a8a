package fit

import "math"

// score evaluates the restricted likelihood at theta with q and S, of which the
// derivatives are (q − Sθ)/2 and the expected information S/2, for scaled residuals r and Jacobian x (rows×n, columns in free). Rows beyond the
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
	// q_k = uᵀV_k u;  S_kl = tr(P V_k P V_l);  t_k = tr(P V_k).
	q, s = make([]float64, nt), make([]float64, nt*nt)
	tr := make([]float64, nt)
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
				tr[k] += wv[k][a*nb+a]
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
	// o_kl = (V_k u)ᵀ P (V_l u), of which the observed information is o − S/2.
	c.o = make([]float64, nt*nt)
	zwv := make([]float64, nt*p) // ZᵀWV_k u
	for bi := range c.blocks {
		b := &c.blocks[bi]
		nb := len(b.rows)
		vu, wvu := make([]float64, nb*nt), make([]float64, nb*nt)
		for a := 0; a < nb; a++ {
			for d := 0; d < nb; d++ {
				for k := 0; k < nt; k++ {
					vu[a*nt+k] += c.part(k, b.rows[a], b.rows[d]) * u[b.rows[d]]
				}
			}
		}
		wmul(wvu, vu, b, nt)
		for a := 0; a < nb; a++ {
			for k, v := range vu[a*nt : (a+1)*nt] {
				for l, w := range wvu[a*nt : (a+1)*nt] {
					c.o[k*nt+l] += v * w
				}
				for i, w := range parts[bi].wz[a*p : (a+1)*p] {
					zwv[k*p+i] += w * v
				}
			}
		}
	}
	for k := range theta {
		for l := range theta {
			c.o[k*nt+l] -= dotPlain(zwv[k*p:(k+1)*p], zwv[l*p:(l+1)*p])
		}
	}
	// Without priors Sθ = t, and the score is (q − Sθ)/2. The known variance
	// of the priors has its part in t: move it over to q.
	for k := range q {
		for i := 0; i < p; i++ {
			tr[k] -= m[k][i*p+i]
		}
		if rows > nObs {
			q[k] -= tr[k]
			for l, th := range theta {
				q[k] += s[k*nt+l] * th
			}
		}
	}
	return q, s, ll, true
}
