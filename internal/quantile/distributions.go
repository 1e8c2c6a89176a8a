package quantile

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Normal is the quantile of the standard normal distribution.
func Normal(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// Student is the quantile of Student's t, to 11 digits up to p = 1 − 1e−6; NaN
// without degrees of freedom.
func Student(p, df float64) float64 {
	if !(df > 0) {
		return math.NaN()
	}
	if df >= 1000 {
		// The incomplete beta function loses digits as df grows, 1e-7 at 1e9.
		return studentSeries(distuv.UnitNormal.Quantile(p), df)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(p)
}

// studentSeries is the quantile of Student's t from the normal one, Abramowitz
// and Stegun 26.7.5: the error falls with the fifth power of df.
func studentSeries(z, df float64) float64 {
	q := z * z
	return z + z*((q+1)/4+(((5*q+16)*q+3)/96+((((3*q+19)*q+17)*q-15)/384+((((79*q+776)*q+1482)*q-1920)*q-945)/92160/df)/df)/df)/df
}
