package quality

import "math"

type vec3 = [3]float64
type mat3 = [3][3]float64

// cholesky3 returns the lower factor of a symmetric matrix. A matrix that is
// not quite positive definite gets the least diagonal that makes it so.
func cholesky3(a mat3) (l mat3) {
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

// lowerInverse inverts a lower triangular matrix.
func lowerInverse(l mat3) (x mat3) {
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

// inverse3 inverts a symmetric positive definite matrix.
func inverse3(a mat3) mat3 {
	x := lowerInverse(cholesky3(a))
	return mul(transpose(x), x)
}

func mul(a, b mat3) (c mat3) {
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				c[i][j] += a[i][k] * b[k][j]
			}
		}
	}
	return c
}

func transpose(a mat3) (t mat3) {
	for i := range 3 {
		for j := range 3 {
			t[i][j] = a[j][i]
		}
	}
	return t
}

func apply(a mat3, v vec3) (w vec3) {
	for i := range 3 {
		for j := range 3 {
			w[i] += a[i][j] * v[j]
		}
	}
	return w
}

func plus(a, b mat3) mat3 {
	for i := range 3 {
		for j := range 3 {
			a[i][j] += b[i][j]
		}
	}
	return a
}

func scaled(a mat3, f float64) mat3 {
	for i := range 3 {
		for j := range 3 {
			a[i][j] *= f
		}
	}
	return a
}

func form(a mat3, v vec3) float64 {
	w := apply(a, v)
	return v[0]*w[0] + v[1]*w[1] + v[2]*w[2]
}
