package study

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// A Peer predicts a shade the way a careful practitioner might without the
// shade model.
type Peer func(discharge.Settings) colorimetry.Lab

// meanOf is the mean Lab of a lot.
func meanOf(l discharge.Lot) (m colorimetry.Lab) {
	rs := l.Readings()
	for _, r := range rs {
		m.L += r.Lab.L
		m.A += r.Lab.A
		m.B += r.Lab.B
	}
	n := float64(len(rs))
	return colorimetry.Lab{L: m.L / n, A: m.A / n, B: m.B / n}
}

// Nearest is the mean shade of the trial lot nearest in log factors.
func Nearest(t *discharge.Table, columns []string) Peer {
	lots := t.ByRole(discharge.Trial)
	return func(s discharge.Settings) colorimetry.Lab {
		best, at := math.Inf(1), 0
		for i, l := range lots {
			d := 0.0
			for _, c := range columns {
				d += math.Pow(math.Log(s[c]/l.Settings[c]), 2)
			}
			if d < best {
				best, at = d, i
			}
		}
		return meanOf(lots[at])
	}
}

// Surface is a full quadratic response surface per channel, in the factors or
// in their logarithms, by minimum-norm least squares.
func Surface(t *discharge.Table, columns []string, log bool) Peer {
	lots := t.ByRole(discharge.Trial)
	k := len(columns)
	twoLevel := make([]bool, k)
	for j, c := range columns {
		twoLevel[j] = levels(lots, c) < 3
	}
	center, spread := make([]float64, k), make([]float64, k)
	raw := func(v float64) float64 {
		if log {
			return math.Log(v)
		}
		return v
	}
	for j, c := range columns {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, l := range lots {
			v := raw(l.Settings[c])
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
		center[j], spread[j] = (lo+hi)/2, math.Max((hi-lo)/2, 1e-9)
	}
	row := func(s discharge.Settings) []float64 {
		x := make([]float64, k)
		for j, c := range columns {
			x[j] = (raw(s[c]) - center[j]) / spread[j]
		}
		r := append([]float64{1}, x...)
		for i := range k {
			for j := i; j < k; j++ {
				if i == j && twoLevel[i] {
					continue // a square needs a third level
				}
				r = append(r, x[i]*x[j])
			}
		}
		return r
	}
	terms := len(row(lots[0].Settings))
	a := mat.NewDense(len(lots), terms, nil)
	y := mat.NewDense(len(lots), 3, nil)
	for i, l := range lots {
		a.SetRow(i, row(l.Settings))
		m := meanOf(l)
		y.SetRow(i, []float64{m.L, m.A, m.B})
	}
	var svd mat.SVD
	svd.Factorize(a, mat.SVDThin)
	var coef mat.Dense
	svd.SolveTo(&coef, y, svd.Rank(1e-6))
	return func(s discharge.Settings) colorimetry.Lab {
		var p mat.Dense
		p.Mul(mat.NewDense(1, terms, row(s)), &coef)
		return colorimetry.Lab{L: p.At(0, 0), A: p.At(0, 1), B: p.At(0, 2)}
	}
}

// levels counts the levels of a factor, taking values within a tenth of the
// range as one.
func levels(lots []discharge.Lot, column string) int {
	var v []float64
	for _, l := range lots {
		v = append(v, l.Settings[column])
	}
	slices.Sort(v)
	gap := (v[len(v)-1] - v[0]) / 10
	n := 1
	for i := 1; i < len(v); i++ {
		if v[i]-v[i-1] > gap {
			n++
		}
	}
	return n
}
