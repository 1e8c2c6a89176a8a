package mat3

import (
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// Against gonum, for random covariances.
func TestAgainstGonum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.Float64Range(-3, 3)
		var b Mat
		var u, v Vec
		for i := range 3 {
			u[i], v[i] = number.Draw(t, "u"), number.Draw(t, "v")
			for j := range 3 {
				b[i][j] = number.Draw(t, "b")
			}
		}
		a := Plus(Mul(b, Transpose(b)), Scaled(Mat{{1}, {0, 1}, {0, 0, 1}}, 0.3))
		dense := func(m Mat) *mat.Dense {
			return mat.NewDense(3, 3, []float64{m[0][0], m[0][1], m[0][2], m[1][0], m[1][1], m[1][2], m[2][0], m[2][1], m[2][2]})
		}
		var inverse, product mat.Dense
		require.NoError(t, inverse.Inverse(dense(a)))
		require.True(t, mat.EqualApprox(&inverse, dense(Inverse(a)), 1e-9))
		l := Cholesky(a)
		require.True(t, mat.EqualApprox(dense(a), dense(Mul(l, Transpose(l))), 1e-9))
		product.Mul(dense(LowerInverse(l)), dense(l))
		require.True(t, mat.EqualApprox(&product, dense(Mat{{1}, {0, 1}, {0, 0, 1}}), 1e-9))
		x, y := mat.NewVecDense(3, u[:]), mat.NewVecDense(3, v[:])
		require.InDelta(t, mat.Inner(x, dense(a), y), Form(&a, u, v), 1e-9)
		var w mat.VecDense
		w.MulVec(dense(a), y)
		for i, got := range Apply(a, v) {
			require.InDelta(t, w.AtVec(i), got, 1e-9)
		}
	})
}
