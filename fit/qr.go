package fit

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// qr is a Householder QR factorization with column pivoting of an m×n matrix
// held by columns, A P = Q R. The storage is reused between factorizations.
type qr struct {
	m, n  int
	a     []float64 // n columns of length m; reflectors below the diagonal
	rdiag []float64 // diagonal of R
	perm  []int     // perm[k] is the column of A in position k
	norm  []float64 // remaining column norms
	ref   []float64 // column norms when last computed afresh
}

func (q *qr) resize(m, n int) {
	q.m, q.n = m, n
	q.a = grow(q.a, m*n)
	q.rdiag = grow(q.rdiag, n)
	q.norm = grow(q.norm, n)
	q.ref = grow(q.ref, n)
	if cap(q.perm) < n {
		q.perm = make([]int, n)
	}
	q.perm = q.perm[:n]
}

func grow(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n)
	}
	return v[:n]
}

func (q *qr) col(k int) []float64 { return q.a[k*q.m : (k+1)*q.m : (k+1)*q.m] }

// norm2 is the Euclidean norm; it rescales only when squares would leave the
// range of float64.
func norm2(v []float64) float64 {
	s := floats.Dot(v, v)
	if s > 1e-280 && s < 1e300 {
		return math.Sqrt(s)
	}
	return floats.Norm(v, 2)
}

// factor overwrites a with its factorization and b (length m) with Qᵀb.
func (q *qr) factor(b []float64) {
	for j := 0; j < q.n; j++ {
		q.perm[j] = j
		q.norm[j] = norm2(q.col(j))
		q.ref[j] = q.norm[j]
	}
	for k := 0; k < q.n; k++ {
		if k >= q.m {
			q.rdiag[k] = 0
			continue
		}
		p := k
		for j := k + 1; j < q.n; j++ {
			if q.norm[j] > q.norm[p] {
				p = j
			}
		}
		if p != k {
			ck, cp := q.col(k), q.col(p)
			for i, v := range ck {
				ck[i], cp[i] = cp[i], v
			}
			q.norm[p], q.ref[p] = q.norm[k], q.ref[k]
			q.perm[k], q.perm[p] = q.perm[p], q.perm[k]
		}
		v := q.col(k)[k:]
		nv := norm2(v)
		if nv == 0 {
			q.rdiag[k] = 0
			continue
		}
		if v[0] < 0 {
			nv = -nv
		}
		floats.Scale(1/nv, v)
		v[0]++
		inv := 1 / v[0]
		for j := k + 1; j < q.n; j++ {
			c := q.col(j)[k:]
			floats.AddScaled(c, -floats.Dot(v, c)*inv, v)
			if q.norm[j] != 0 {
				t := c[0] / q.norm[j]
				t = math.Max(0, 1-t*t)
				q.norm[j] *= math.Sqrt(t)
				// Downdating loses digits; start afresh before they matter.
				if r := q.norm[j] / q.ref[j]; r*r < 1e-7 {
					q.norm[j] = norm2(c[1:])
					q.ref[j] = q.norm[j]
				}
			}
		}
		bk := b[k:]
		floats.AddScaled(bk, -floats.Dot(v, bk)*inv, v)
		q.rdiag[k] = -nv
	}
}

// r copies R into dst, n×n by rows, with zeros below the diagonal.
func (q *qr) r(dst []float64) {
	n := q.n
	for i := 0; i < n; i++ {
		for j := 0; j < n; j++ {
			switch {
			case j > i && i < q.m:
				dst[i*n+j] = q.a[j*q.m+i]
			case j == i:
				dst[i*n+j] = q.rdiag[i]
			default:
				dst[i*n+j] = 0
			}
		}
	}
}

// backSolve solves R x = b for an upper triangle R (n×n by rows). Unknowns
// from rank on are set to zero. x may be b.
func backSolve(x, r, b []float64, n, rank int) {
	for k := n - 1; k >= 0; k-- {
		if k >= rank {
			x[k] = 0
			continue
		}
		s := b[k]
		for j := k + 1; j < rank; j++ {
			s -= r[k*n+j] * x[j]
		}
		x[k] = s / r[k*n+k]
	}
}

// forwardSolve solves Rᵀ x = b for the leading rank×rank triangle.
func forwardSolve(x, r, b []float64, n, rank int) {
	for k := 0; k < rank; k++ {
		s := b[k]
		for i := 0; i < k; i++ {
			s -= r[i*n+k] * x[i]
		}
		x[k] = s / r[k*n+k]
	}
}

// rankOf counts the leading diagonal elements of R that are not lost in the
// rounding error of the largest.
func rankOf(r []float64, n int, tol float64) int {
	if n == 0 {
		return 0
	}
	limit := tol * math.Abs(r[0])
	k := 0
	for k < n && math.Abs(r[k*n+k]) > limit {
		k++
	}
	return k
}
