// Package mat3 is the arithmetic of 3×3 matrices that covariances and metrics of
// colors need.
package mat3

import "math"

// A Vec is a color or a difference of colors.
type Vec = [3]float64

// A Mat is a covariance or a metric, row by row.
type Mat = [3][3]float64

// Cholesky returns the lower factor of a symmetric matrix. A matrix that is
// not quite positive definite gets the least diagonal that makes it so.
func Cholesky(a Mat) (l Mat) {
	floor := 1e-10 * (a[0][0] + a[1][1] + a[2][2] + 1e-12)
	for i := range 3 {
		for j := range i + 1 {
			s := a[i][j]
			for k := range j {
				s -= l[i][k] * l[j][k]
			}
			if i == j {
				l[i][i] = math.Sqrt(max(s, floor))
			} else {
				l[i][j] = s / l[j][j]
			}
		}
	}
	return l
}

// LowerInverse inverts a lower triangular matrix.
func LowerInverse(l Mat) (x Mat) {
	for j := range 3 {
		x[j][j] = 1 / l[j][j]
		for i := j + 1; i < 3; i++ {
			s := 0.0
			for k := j; k < i; k++ {
				s -= l[i][k] * x[k][j]
			}
			x[i][j] = s / l[i][i]
		}
	}
	return x
}

// Inverse inverts a symmetric positive definite matrix.
func Inverse(a Mat) Mat {
	x := LowerInverse(Cholesky(a))
	return Mul(Transpose(x), x)
}

// Mul is the product a·b.
func Mul(a, b Mat) (c Mat) {
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				c[i][j] += a[i][k] * b[k][j]
			}
		}
	}
	return c
}

// Transpose swaps rows and columns.
func Transpose(a Mat) (t Mat) {
	for i := range 3 {
		for j := range 3 {
			t[i][j] = a[j][i]
		}
	}
	return t
}

// Apply is the product a·v.
func Apply(a Mat, v Vec) (w Vec) {
	for i := range 3 {
		for j := range 3 {
			w[i] += a[i][j] * v[j]
		}
	}
	return w
}

// Plus is the sum.
func Plus(a, b Mat) Mat {
	for i := range 3 {
		for j := range 3 {
			a[i][j] += b[i][j]
		}
	}
	return a
}

// Scaled is f times a.
func Scaled(a Mat, f float64) Mat {
	for i := range 3 {
		for j := range 3 {
			a[i][j] *= f
		}
	}
	return a
}

// Form is u·g·v.
func Form(g *Mat, u, v Vec) float64 {
	s := 0.0
	for i := range 3 {
		for j := range 3 {
			s += u[i] * g[i][j] * v[j]
		}
	}
	return s
}
