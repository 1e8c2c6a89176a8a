// Package quantile has quantiles of numbers.
package quantile

import (
	"math"
	"slices"
)

// Of is the p-quantile, 0 to 1, of x in any order, by linear interpolation at
// (n-1)p between the sorted values: definition 7 of Hyndman and Fan (Am. Statist. 50
// (1996) 361). It is NaN of nothing.
func Of(x []float64, p float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	return Sorted(s, p)
}

// Median is the middle value of x in any order, or the mean of the two.
func Median(x []float64) float64 { return Of(x, 0.5) }

// Sorted is the same of values that are sorted already.
func Sorted(x []float64, p float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	h := p * float64(len(x)-1)
	i := int(h)
	if i+1 >= len(x) {
		return x[len(x)-1]
	}
	return x[i] + (h-float64(i))*(x[i+1]-x[i])
}
