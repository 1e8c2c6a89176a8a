package fit

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// A Factorization is the QR factorization of the Jacobian's free columns at a
// solution, scaled to unit length. It answers for covariance and for what the
// data can tell apart.
type Factorization struct {
	n     int // all parameters
	free  []int
	r     []float64 // R by rows, pivoted
	perm  []int
	scale []float64 // 1/column norm, by position in free; 0 for a column of zeros
	rank  int
	// Singular values and right singular vectors of the scaled Jacobian.
	sv []float64
	v  *mat.Dense
}

// Factorization returns the factorization at the solution.
func (s *Solution) Factorization() *Factorization {
	return factorize(s.jac, s.m, s.n, s.Free)
}

func factorize(jac []float64, m, n int, free []int) *Factorization {
	return project(jac, make([]float64, m), n, free)
}

// project factorizes and overwrites b, one entry for each row of jac, with Qᵀb: its
// first rank entries are what steps of the parameters reach.
func project(jac, b []float64, n int, free []int) *Factorization {
	k := len(free)
	f := &Factorization{n: n, free: append([]int(nil), free...), r: make([]float64, k*k), perm: make([]int, k), scale: make([]float64, k)}
	if k == 0 {
		return f
	}
	var q qr
	q.resize(len(b), k)
	for c, j := range free {
		col := q.col(c)
		for i := range col {
			col[i] = jac[i*n+j]
		}
		nrm := norm2(col)
		if nrm > 0 {
			f.scale[c] = 1 / nrm
			for i := range col {
				col[i] /= nrm
			}
		}
	}
	q.factor(b)
	q.r(f.r)
	copy(f.perm, q.perm)
	f.rank = rankOf(f.r, k, 1e-13)

	var svd mat.SVD
	if svd.Factorize(mat.NewDense(k, k, append([]float64(nil), f.r...)), mat.SVDFull) {
		f.sv = svd.Values(nil)
		f.v = new(mat.Dense)
		svd.VTo(f.v)
	}
	return f
}

// Rank is the number of parameter combinations that the data determine.
func (f *Factorization) Rank() int { return f.rank }

// Condition is the ratio of the largest to the smallest singular value of the
// Jacobian with columns of unit length: 1 for unrelated parameters, +Inf for
// parameters that the data cannot tell apart.
func (f *Factorization) Condition() float64 {
	if len(f.sv) == 0 {
		return 1
	}
	lo := f.sv[len(f.sv)-1]
	if lo == 0 || f.rank < len(f.free) {
		return math.Inf(1)
	}
	return f.sv[0] / lo
}

// Inverse returns (JᵀJ)⁻¹ by rows for all n parameters, with zero rows for
// those that are not free, and nil when the rank is deficient. It is formed
// from R⁻¹, never from JᵀJ.
func (f *Factorization) Inverse() []float64 {
	k := len(f.free)
	if f.rank < k {
		return nil
	}
	inv := make([]float64, k*k) // R⁻¹, upper triangle
	e := make([]float64, k)
	x := make([]float64, k)
	for c := 0; c < k; c++ {
		for i := range e {
			e[i] = 0
		}
		e[c] = 1
		backSolve(x, f.r, e, k, k)
		for i := range x {
			inv[i*k+c] = x[i]
		}
	}
	cov := make([]float64, f.n*f.n)
	for a := 0; a < k; a++ {
		for b := a; b < k; b++ {
			s := dot2(inv[a*k+b:a*k+k], inv[b*k+b:b*k+k])
			pa, pb := f.perm[a], f.perm[b]
			s *= f.scale[pa] * f.scale[pb]
			ja, jb := f.free[pa], f.free[pb]
			cov[ja*f.n+jb] = s
			cov[jb*f.n+ja] = s
		}
	}
	return cov
}

// Quadratic returns gᵀ(JᵀJ)⁻¹g for a gradient over all n parameters; parts of
// g that are not free count as zero. It is NaN when the rank is deficient. It
// panics on a g that is not as long as there are parameters.
func (f *Factorization) Quadratic(g []float64) float64 {
	if len(g) != f.n {
		panic(fmt.Sprintf("fit: Quadratic: g has %d derivatives for %d parameters", len(g), f.n))
	}
	k := len(f.free)
	if f.rank < k {
		return math.NaN()
	}
	x := make([]float64, k)
	for i, p := range f.perm {
		x[i] = g[f.free[p]] * f.scale[p]
	}
	forwardSolve(x, f.r, x, k, k)
	return sumSquares(x)
}
