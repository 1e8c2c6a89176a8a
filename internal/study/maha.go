package study

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// Mahalanobis is the squared distance of x from c in the metric of cov.
func Mahalanobis(cov [3][3]float64, x, c colorimetry.Lab) float64 {
	s := mat.NewSymDense(3, nil)
	for i := range 3 {
		for j := i; j < 3; j++ {
			s.SetSym(i, j, cov[i][j])
		}
	}
	var ch mat.Cholesky
	if !ch.Factorize(s) {
		return math.Inf(1)
	}
	d := mat.NewVecDense(3, []float64{x.L - c.L, x.A - c.A, x.B - c.B})
	var y mat.VecDense
	if err := ch.SolveVecTo(&y, d); err != nil {
		return math.Inf(1)
	}
	return mat.Dot(d, &y)
}

// Inside reports whether a lot's mean lies in the nominal 95 % region of a
// prediction.
func Inside(p *discharge.Prediction, lot colorimetry.Lab) bool {
	return Mahalanobis(p.LotCovariance, lot, p.Shade) < distuv.ChiSquared{K: 3}.Quantile(0.95)
}
