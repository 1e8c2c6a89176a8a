package fit

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// NestedVariance estimates the variances of nested data by plain REML, balanced or
// not: between groups, between subgroups within groups (when the data name
// several), and within. The one parameter is the mean.
func NestedVariance(data []Observation) (*Result, error) {
	if err := checkData(data); err != nil {
		return nil, err
	}
	groups, subs := map[string]bool{}, map[[2]string]bool{}
	for _, o := range data {
		groups[o.Group] = true
		subs[[2]string{o.Group, o.Subgroup}] = true
	}
	var terms []VarianceTerm
	if len(groups) > 1 {
		terms = append(terms, VarianceTerm{Name: "between groups", Share: ByGroup})
	}
	if len(subs) > len(groups) {
		terms = append(terms, VarianceTerm{Name: "between subgroups", Share: BySubgroup})
	}
	most := max(len(groups), len(subs))
	if len(data) > most {
		terms = append(terms, VarianceTerm{Name: "within", Share: Each})
	}
	if len(terms) == 0 {
		return nil, fmt.Errorf("fit: %w: one observation has no variance", ErrTooFewData)
	}
	m := Linear{Names: []string{"mean"}, Basis: func(dst, _ []float64) { dst[0] = 1 }}
	return Regress(m, data, VarianceFunction{Terms: terms, REML: true}, nil)
}

// An Effect is the predicted deviation of one group (or subgroup) from the
// rest: the best linear unbiased prediction, shrunk towards zero.
type Effect struct {
	Group, Subgroup string
	Value           float64 // in units of the response at h = 1 (of η for OfDose)
}

// Effects returns the predicted deviations that belong to term k of a
// VarianceFunction, in order of first appearance; nil where there is no such
// term. The first term is 0.
func (r *Result) Effects(k int) []Effect {
	if r.comps == nil || k < 0 || k >= len(r.comps.terms) {
		return nil
	}
	c := r.comps
	var out []Effect
	at := map[int]int{}
	for i, o := range r.data {
		id := c.key[k][i]
		if _, ok := at[id]; !ok {
			at[id] = len(out)
			e := Effect{Group: o.Group}
			if c.terms[k].Share != ByGroup {
				e.Subgroup = o.Subgroup
			}
			out = append(out, e)
		}
		// θ h ᵀ P y; u is of fitted − observed.
		out[at[id]].Value -= c.theta[k] * c.h[k][i] * c.at.u[i]
	}
	return out
}

// OneWay is the analysis of variance of groups. NewOneWay makes it.
type OneWay struct {
	Groups, N           int
	BetweenSS, WithinSS float64 // sums of squares
	BetweenMS           float64
	WithinMS            float64
	F, P                float64 // +Inf and 0 where only groups differ
	N0                  float64 // effective group size
	// BetweenVar is the ANOVA estimate (MSB − MSW)/N0; it may be negative.
	BetweenVar float64
}

// NewOneWay analyses two or more groups of finite values, none empty and at least
// one with a repeat; other groups are an error, and so are values that are all
// equal, which have no F. Sums of squares are compensated
// and taken around a shifted origin, so that large constant parts do no harm.
func NewOneWay(groups [][]float64) (OneWay, error) {
	a := OneWay{Groups: len(groups)}
	if len(groups) < 2 {
		return a, fmt.Errorf("fit: analysis of variance needs at least 2 groups: %w", ErrTooFewData)
	}
	big := 0.0
	for _, g := range groups {
		if len(g) == 0 || !finite(g) {
			return a, fmt.Errorf("fit: %w: an empty group, or a value that is not finite", ErrBadInput)
		}
		a.N += len(g)
		big = math.Max(big, largest(g))
	}
	if err := checkSize("values", big); err != nil {
		return a, err
	}
	if a.N <= a.Groups {
		return a, fmt.Errorf("fit: analysis of variance needs repeats within groups: %w", ErrTooFewData)
	}
	origin := groups[0][0]
	ones := func(n int) []float64 {
		o := make([]float64, n)
		for i := range o {
			o[i] = 1
		}
		return o
	}
	sum2, total := 0.0, 0.0
	means := make([]float64, len(groups))
	var within []float64
	for k, g := range groups {
		d := make([]float64, len(g))
		for i, v := range g {
			d[i] = v - origin
		}
		s := dot2(d, ones(len(d)))
		means[k] = s / float64(len(g))
		total += s
		sum2 += float64(len(g)) * float64(len(g))
		for _, v := range d {
			within = append(within, v-means[k])
		}
	}
	grand := total / float64(a.N)
	var between []float64
	for k, g := range groups {
		between = append(between, math.Sqrt(float64(len(g)))*(means[k]-grand))
	}
	a.BetweenSS, a.WithinSS = sumSquares(between), sumSquares(within)
	if a.BetweenSS == 0 && a.WithinSS == 0 {
		return a, fmt.Errorf("fit: analysis of variance of values that are all %g: %w", origin, ErrTooFewData)
	}
	d1, d2 := float64(a.Groups-1), float64(a.N-a.Groups)
	a.BetweenMS, a.WithinMS = a.BetweenSS/d1, a.WithinSS/d2
	a.F = a.BetweenMS / a.WithinMS
	a.P = survivalF(a.F, d1, d2)
	a.N0 = (float64(a.N) - sum2/float64(a.N)) / d1
	a.BetweenVar = (a.BetweenMS - a.WithinMS) / a.N0
	return a, nil
}

// must panics on an analysis without degrees of freedom.
func (a OneWay) must(function string) {
	if a.Groups < 2 || a.N <= a.Groups {
		panic(fmt.Sprintf("fit: %s: of an analysis that NewOneWay did not make", function))
	}
}

// WithinInterval is the exact interval for the variance within groups, in squared
// units of the values. It panics on a level outside (0,1), and on a OneWay that
// NewOneWay did not make.
func (a OneWay) WithinInterval(level float64) Interval {
	a.must("OneWay.WithinInterval")
	mustLevel("OneWay.WithinInterval", level)
	df := float64(a.N - a.Groups)
	q := func(p float64) float64 { return 2 * gammaQuantile(df/2, p) }
	return Interval{Lo: a.WithinSS / q(0.5+level/2), Hi: a.WithinSS / q(0.5-level/2), Level: level}
}

// RatioInterval is the exact interval (for balanced data) for the ratio of the
// variance between groups to that within. Its lower limit may be negative. It
// panics on a level outside (0,1), and on a OneWay that NewOneWay did not make.
func (a OneWay) RatioInterval(level float64) Interval {
	a.must("OneWay.RatioInterval")
	mustLevel("OneWay.RatioInterval", level)
	d := distuv.F{D1: float64(a.Groups - 1), D2: float64(a.N - a.Groups)}
	return Interval{Lo: (a.F/d.Quantile(0.5+level/2) - 1) / a.N0, Hi: (a.F/d.Quantile(0.5-level/2) - 1) / a.N0, Level: level}
}
