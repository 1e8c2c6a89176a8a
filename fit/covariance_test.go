package fit

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// jacobian draws an m×n matrix by rows whose columns have very different sizes.
func jacobian(r *rand.Rand, m, n int) []float64 {
	jac := make([]float64, m*n)
	for i := range m {
		for j := range n {
			jac[i*n+j] = r.NormFloat64() * math.Pow(10, float64(3*j-4))
		}
	}
	return jac
}

// The covariance against gonum's inverse of JᵀJ (well conditioned once the
// columns have unit length), with fixed parameters between the free ones.
func TestCovarianceAgainstInverse(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 50 {
		m, n := 9, 5
		jac := jacobian(r, m, n)
		for _, free := range [][]int{{0, 1, 2, 3, 4}, {0, 2, 4}, {3}, {1, 4}} {
			k := len(free)
			f := factorize(jac, m, n, free)
			a := mat.NewDense(m, k, nil)
			norm := make([]float64, k)
			for c, j := range free {
				for i := range m {
					norm[c] += jac[i*n+j] * jac[i*n+j]
				}
				norm[c] = math.Sqrt(norm[c])
				for i := range m {
					a.Set(i, c, jac[i*n+j]/norm[c])
				}
			}
			var ata, inv mat.Dense
			ata.Mul(a.T(), a)
			if err := inv.Inverse(&ata); err != nil {
				t.Fatal(err)
			}
			cov := f.Inverse()
			want := make([]float64, n*n)
			for b, jb := range free {
				for c, jc := range free {
					want[jb*n+jc] = inv.At(b, c) / norm[b] / norm[c]
				}
			}
			for i := range n {
				for j := range n {
					tol := 1e-10 * math.Sqrt(want[i*n+i]*want[j*n+j])
					if math.Abs(cov[i*n+j]-want[i*n+j]) > tol {
						t.Fatalf("free %v: covariance %d, %d is %g, want %g", free, i, j, cov[i*n+j], want[i*n+j])
					}
				}
			}
			g := make([]float64, n)
			q := 0.0
			for i := range g {
				g[i] = r.NormFloat64() * math.Pow(10, float64(3*i))
			}
			for i := range n {
				for j := range n {
					q += g[i] * want[i*n+j] * g[j]
				}
			}
			if got := f.Quadratic(g); relative(got, q) > 1e-9 {
				t.Fatalf("free %v: quadratic form %g, want %g", free, got, q)
			}
			var svd mat.SVD
			svd.Factorize(a, mat.SVDNone)
			s := svd.Values(nil)
			if got := f.Condition(); f.Rank() != k || relative(got, s[0]/s[k-1]) > 1e-10 {
				t.Fatalf("free %v: rank %d, condition %g, want %g", free, f.Rank(), got, s[0]/s[k-1])
			}
		}
	}
}

// What the data cannot tell apart has no covariance; unrelated columns have
// condition 1, none at all too.
func TestConditionAtItsEnds(t *testing.T) {
	same := []float64{1, 2, 2, 4, 3, 6} // second column twice the first
	f := factorize(same, 3, 2, []int{0, 1})
	if f.Rank() != 1 || !math.IsInf(f.Condition(), 1) || f.Inverse() != nil || !math.IsNaN(f.Quadratic([]float64{1, 1})) {
		t.Errorf("parallel columns: rank %d, condition %g", f.Rank(), f.Condition())
	}
	f = factorize([]float64{3, 0, 0, 7, 0, 0}, 3, 2, []int{0, 1})
	if f.Rank() != 2 || math.Abs(f.Condition()-1) > 1e-15 {
		t.Errorf("orthogonal columns: rank %d, condition %g", f.Rank(), f.Condition())
	}
	wantPanic(t, "fit: Quadratic: g has 1", func() { f.Quadratic([]float64{1}) })
	f = factorize([]float64{3, 0, 5, 0, 1, 0}, 3, 2, []int{0, 1}) // the second has no effect
	if f.Rank() != 1 || !math.IsInf(f.Condition(), 1) || f.Inverse() != nil {
		t.Errorf("a column of zeros: rank %d, condition %g", f.Rank(), f.Condition())
	}
	f = factorize(same, 3, 2, nil)
	if f.Rank() != 0 || f.Condition() != 1 {
		t.Errorf("nothing free: rank %d, condition %g", f.Rank(), f.Condition())
	}
	f = factorize([]float64{1, 2, 3, 4, 5, 6}, 2, 3, []int{0, 1, 2}) // fewer rows than columns
	if f.Rank() != 2 || f.Inverse() != nil {
		t.Errorf("two observations, three parameters: rank %d", f.Rank())
	}
}

// QR: R is upper triangular with falling diagonal (that is what pivoting is
// for), RᵀR = PᵀAᵀAP, and QᵀB solves least squares as gonum does. Cases with
// zero, parallel and nearly parallel columns, zero pivots, and more columns
// than rows.
func TestQRPivots(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	var q qr
	for trial := range 400 {
		m, n := 2+r.IntN(8), 1+r.IntN(6)
		a := mat.NewDense(m, n, nil)
		for i := range m {
			for j := range n {
				a.Set(i, j, r.NormFloat64()*math.Pow(10, float64(r.IntN(5)-2)))
			}
		}
		switch j := r.IntN(n); trial % 5 {
		case 1: // nearly parallel: the norms left after a step nearly vanish
			for c := range n {
				apart := math.Pow(10, -4-5*r.Float64()) * float64(c-j)
				for i := range m {
					a.Set(i, c, a.At(i, j)+apart*r.NormFloat64())
				}
			}
		case 2:
			for i := range m {
				a.Set(i, j, 0)
			}
		case 3: // whole numbers and zeros on the way
			for i := range m {
				for c := range n {
					a.Set(i, c, float64(r.IntN(3)-1))
				}
			}
		}
		b := make([]float64, m)
		for i := range b {
			b[i] = r.NormFloat64()
		}
		q.resize(m, n)
		if len(q.perm) != n {
			t.Fatalf("%d places for %d columns", len(q.perm), n)
		}
		for j := range n {
			copy(q.col(j), mat.Col(nil, j, a))
		}
		qtb := append([]float64(nil), b...)
		q.factor(qtb)
		rr := make([]float64, n*n)
		for i := range rr {
			rr[i] = math.NaN()
		}
		q.r(rr)
		big := mat.Max(a) - mat.Min(a) + 1
		for i := range n {
			for j := range n {
				if j < i && rr[i*n+j] != 0 {
					t.Fatal("R is no triangle")
				}
				sum, want := 0.0, 0.0
				for k := range min(m, n) {
					sum += rr[k*n+i] * rr[k*n+j]
				}
				for k := range m {
					want += a.At(k, q.perm[i]) * a.At(k, q.perm[j])
				}
				if math.Abs(sum-want) > 1e-12*big*big*float64(m) {
					t.Fatalf("trial %d: RᵀR differs from AᵀA by %g", trial, sum-want)
				}
			}
			if i > 0 && i < m && math.Abs(rr[i*n+i]) > math.Abs(rr[(i-1)*n+i-1])*(1+1e-6)+1e-13*big {
				t.Fatalf("trial %d: the diagonal of R rises from %g to %g", trial, rr[(i-1)*n+i-1], rr[i*n+i])
			}
		}
		// ‖Qᵀb‖ = ‖b‖, and b's part in the columns is what R reaches.
		if relative(sumSquares(qtb), sumSquares(b)) > 1e-12 {
			t.Fatalf("trial %d: Q is not orthogonal", trial)
		}
		if rank := rankOf(rr, n, 1e-9); rank == n && n <= m && trial%5 != 1 {
			var x mat.VecDense
			if x.SolveVec(a, mat.NewVecDense(m, b)) != nil {
				continue
			}
			got := make([]float64, n)
			backSolve(got, rr, qtb[:n], n, n)
			for i, p := range q.perm {
				if math.Abs(got[i]-x.AtVec(p)) > 1e-7*(1+mat.Norm(&x, 2)) {
					t.Fatalf("trial %d: unknown %d is %g, want %g", trial, p, got[i], x.AtVec(p))
				}
			}
		}
	}
}

// The rank of products of thin matrices is known.
func TestQRFindsTheRank(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 100 {
		m, n, rank := 8, 5, 1+r.IntN(5)
		var a mat.Dense
		u, v := mat.NewDense(m, rank, nil), mat.NewDense(rank, n, nil)
		u.Apply(func(_, _ int, _ float64) float64 { return r.NormFloat64() }, u)
		v.Apply(func(_, _ int, _ float64) float64 { return r.NormFloat64() }, v)
		a.Mul(u, v)
		if f := factorize(mat.DenseCopyOf(&a).RawMatrix().Data, m, n, []int{0, 1, 2, 3, 4}); f.Rank() != rank {
			t.Fatalf("rank %d, want %d", f.Rank(), rank)
		}
	}
	for _, c := range []struct {
		diag []float64
		want int
	}{{nil, 0}, {[]float64{0}, 0}, {[]float64{1e-5, 1e-12}, 2}, {[]float64{1e-5, 1e-19}, 1}, {[]float64{1e5, 1e-7}, 2}, {[]float64{1e5, 1e-9}, 1}, {[]float64{1, 0, 1}, 1}} {
		n := len(c.diag)
		m := make([]float64, n*n)
		for i, v := range c.diag {
			m[i*n+i] = v
		}
		if got := rankOf(m, n, 1e-13); got != c.want {
			t.Errorf("diagonal %v: rank %d, want %d", c.diag, got, c.want)
		}
	}
	// Unknowns beyond the rank are zero.
	x := []float64{9, 9, 9}
	backSolve(x, []float64{2, 1, 1, 0, 4, 1, 0, 0, 0}, []float64{6, 8, 5}, 3, 2)
	if x[0] != 2 || x[1] != 2 || x[2] != 0 {
		t.Errorf("solution %v, want 2, 2, 0", x)
	}
}

func TestNormAtTheEndsOfTheRange(t *testing.T) {
	for _, scale := range []float64{1, 1e-170, 1e-141, 1e149, 1e151, 1e200, 1e-300} {
		if got := norm2([]float64{3 * scale, -4 * scale}); relative(got, 5*scale) > 1e-14 {
			t.Errorf("norm at %g is %g", scale, got)
		}
	}
	if norm2([]float64{0, 0}) != 0 {
		t.Error("norm of zeros")
	}
}

// line is y = a + b·x.
func line() Func {
	return Func{Parameters: []Param{{Name: "a"}, {Name: "b"}}, Value: func(p, x []float64) float64 { return p[0] + p[1]*x[0] },
		Derivative: func(dst, p, x []float64) { dst[0], dst[1] = 1, x[0] }}
}

// A straight line in closed form: var b = s²/Sxx, var a = s²(1/n + x̄²/Sxx),
// correlation −x̄/√(x̄² + Sxx/n). Its Hessian is JᵀJ, so the observed covariance
// is the same; also with known and with relative scatter, where the weights
// are those of the fit, and with an estimate of 0.
func TestCovarianceOfALine(t *testing.T) {
	x := []float64{-3, -1, 0, 2, 7}
	e := []float64{0.3, -0.2, 0.1, -0.5, 0.3}
	for _, b := range []float64{0, 2} {
		var data []Observation
		mean, sxx := 0.0, 0.0
		for i, v := range x {
			data = append(data, Observation{X: []float64{v}, Y: 10 + b*v + e[i]})
			mean += v / 5
		}
		for _, v := range x {
			sxx += (v - mean) * (v - mean)
		}
		for _, w := range []Weights{Equal{}, KnownSD{0.5, 0.5, 0.5, 0.5, 0.5}} {
			r, err := Regress(line(), data, w, &FitOptions{Start: []float64{9, 1}})
			if err != nil {
				t.Fatal(err)
			}
			s2 := r.RSS / 3
			if _, known := w.(KnownSD); known {
				s2 = 0.25
			}
			want := []float64{s2 * (0.2 + mean*mean/sxx), -s2 * mean / sxx, -s2 * mean / sxx, s2 / sxx}
			for name, cov := range map[string][]float64{"": r.Covariance(), "observed ": r.ObservedCovariance()} {
				for i := range want {
					if math.Abs(cov[i]-want[i]) > 1e-7*math.Sqrt(want[0]*want[3]) {
						t.Errorf("slope %g: %scovariance %d is %g, want %g", b, name, i, cov[i], want[i])
					}
				}
			}
			rho := -mean / math.Sqrt(mean*mean+sxx/5)
			c := r.Correlation()
			if relative(c[1], rho) > 1e-10 || c[1] != c[2] || math.Abs(c[0]-1)+math.Abs(c[3]-1) > 1e-12 {
				t.Errorf("correlation %v, want %g", c, rho)
			}
			se := r.SE()
			if relative(se[0], math.Sqrt(want[0])) > 1e-8 || relative(se[1], math.Sqrt(want[3])) > 1e-8 {
				t.Errorf("standard errors %v", se)
			}
		}
		r, err := Regress(line(), data, Relative{}, &FitOptions{Start: []float64{9, 1}})
		if err != nil {
			t.Fatal(err)
		}
		cov, observed := r.Covariance(), r.ObservedCovariance()
		for i := range cov {
			if math.Abs(cov[i]-observed[i]) > 1e-6*math.Sqrt(cov[0]*cov[3]) {
				t.Errorf("relative scatter: covariance %d is %g, observed %g", i, cov[i], observed[i])
			}
		}
		// A fixed parameter has no row.
		r, err = Regress(line(), data, Equal{}, &FitOptions{Start: []float64{10, 1}, Fixed: map[string]float64{"a": 10}})
		if err != nil {
			t.Fatal(err)
		}
		if c, rho := r.Covariance(), r.Correlation(); c[0] != 0 || c[1] != 0 || c[2] != 0 || rho[0] != 0 || math.Abs(rho[3]-1) > 1e-12 {
			t.Errorf("fixed: covariance %v, correlation %v", c, rho)
		}
	}
	r, err := Regress(line(), []Observation{{X: []float64{1}, Y: 1}, {X: []float64{1}, Y: 2}, {X: []float64{1}, Y: 4}}, Equal{}, &FitOptions{Start: []float64{1, 1}})
	if err == nil || r.Covariance() != nil || r.Correlation() != nil || !math.IsNaN(r.SE()[0]) || !math.IsNaN(r.SE()[1]) {
		t.Error("two parameters of one point have no covariance")
	}
}

// y = a·exp(−b·x), for which half the Hessian of the sum of squares is, in
// closed form, Σe², −Σx·e·(2a·e − y), Σx²·a·e·(2a·e − y) with e = exp(−b·x).
func TestObservedCovarianceOfADecay(t *testing.T) {
	m := Func{Parameters: []Param{{Name: "a"}, {Name: "b"}}, Value: func(p, x []float64) float64 { return p[0] * math.Exp(-p[1]*x[0]) },
		Derivative: func(dst, p, x []float64) {
			dst[0] = math.Exp(-p[1] * x[0])
			dst[1] = -x[0] * p[0] * dst[0]
		}}
	for _, noise := range []float64{0.02, 1} { // small and large against the estimates
		var data []Observation
		for i, e := range []float64{0.5, -1, 0.7, 0.9, -1.2, 0.4} {
			data = append(data, Observation{X: []float64{float64(i)}, Y: 10*math.Exp(-0.4*float64(i)) + noise*e})
		}
		r, err := Regress(m, data, Equal{}, &FitOptions{Start: []float64{9, 0.3}})
		if err != nil {
			t.Fatal(err)
		}
		a, b := r.P[0], r.P[1]
		var haa, hab, hbb float64
		for _, o := range data {
			x, e := o.X[0], math.Exp(-b*o.X[0])
			haa += e * e
			hab -= x * e * (2*a*e - o.Y)
			hbb += x * x * a * e * (2*a*e - o.Y)
		}
		s2 := r.RSS / 4 / (haa*hbb - hab*hab)
		want := []float64{s2 * hbb, -s2 * hab, -s2 * hab, s2 * haa}
		for i, v := range r.ObservedCovariance() {
			if math.Abs(v-want[i]) > 1e-8*math.Sqrt(want[0]*want[3]) {
				t.Errorf("noise %g: observed covariance %d is %.12g, want %.12g", noise, i, v, want[i])
			}
		}
	}
}

// Columns that are zero, or more than there are rows, have a zero on the
// diagonal of R, also in a workspace that held other numbers before.
func TestQROfZeroAndSurplusColumns(t *testing.T) {
	for _, c := range []struct {
		m, n int
		a    []float64 // by columns
		want []float64 // absolute diagonal of R
	}{
		{3, 3, []float64{3, 4, 0, 0, 0, 0, 0, 0, 2}, []float64{5, 2, 0}},
		{2, 3, []float64{3, 4, 0, 1, 0, 0}, []float64{5, 0.6, 0}},
		{2, 2, []float64{0, 0, 0, 0}, []float64{0, 0}},
	} {
		var q qr
		q.resize(3, 3)
		copy(q.a, []float64{1, 2, 3, 4, 5, 7, 9, 8, 7})
		q.factor(make([]float64, 3))
		q.resize(c.m, c.n)
		copy(q.a, c.a)
		b := []float64{1, 1, 1}[:c.m]
		q.factor(b)
		for i, want := range c.want {
			if got := math.Abs(q.rdiag[i]); !(math.Abs(got-want) < 1e-15) {
				t.Errorf("%v: diagonal %d is %g, want %g", c.a, i, got, want)
			}
		}
		for _, v := range append(append([]float64{}, q.a...), b...) {
			if math.IsNaN(v) {
				t.Errorf("%v: NaN", c.a)
			}
		}
	}
}
