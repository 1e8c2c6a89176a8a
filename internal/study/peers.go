package study

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/fit"
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

// whiteOf is the mean of the white or, where none was read, what the shade model
// takes for it, too: the lightest trial at L* 80, or 3 lighter than it is.
func whiteOf(t *discharge.Table) colorimetry.Lab {
	if w := t.ByRole(discharge.White); len(w) > 0 {
		return meanOf(w[0])
	}
	shade := slices.MaxFunc(means(t.ByRole(discharge.Trial)), func(a, b colorimetry.Lab) int { return cmp.Compare(a.L, b.L) })
	shade.L = max(80, shade.L+3)
	return shade
}

// OneDose is a shade model as a first study would have it: the level on L*
// between base and white is a curve of one log dose, which is linear in the log
// factors plus all their second-order terms, each shrunk towards zero with
// standard deviation bend; a* and b* are cubic in the level. Lots scatter by
// dose alone, by the same amount everywhere.
func OneDose(t *discharge.Table, columns []string, curve fit.Curve, bend float64) Peer {
	const sdLot, slack = 0.1, 0.01 // of ln dose; of the level, for reading and path
	lots := t.ByRole(discharge.Trial)
	base, white := meanOf(t.ByRole(discharge.Base)[0]), whiteOf(t)
	level := func(l float64) float64 { return (l - base.L) / (white.L - base.L) }
	k := len(columns)
	center := make([]float64, k)
	for j, c := range columns {
		for _, l := range lots {
			center[j] += math.Log(l.Settings[c]) / float64(len(lots))
		}
	}
	row := func(s discharge.Settings) []float64 {
		r := []float64{1}
		for j, c := range columns {
			r = append(r, math.Log(s[c])-center[j])
		}
		for i := range k {
			for j := i; j < k; j++ {
				r = append(r, r[1+i]*r[1+j])
			}
		}
		return r
	}
	terms := 1 + k + k*(k+1)/2
	theta := mat.NewVecDense(terms, nil)
	theta.SetVec(0, curve.Inverse(0.5))
	for j := range k {
		theta.SetVec(1+j, 0.7)
	}
	shades := means(lots)
	rows := make([]*mat.VecDense, len(lots))
	for i, l := range lots {
		rows[i] = mat.NewVecDense(terms, row(l.Settings))
	}
	penalty := make([]float64, terms)
	for j := range penalty {
		penalty[j] = 1e-4
		if j > k {
			penalty[j] = 1 / (bend * bend)
		}
	}
	for range 60 {
		normal := mat.NewSymDense(terms, nil)
		right := mat.NewVecDense(terms, nil)
		for j, p := range penalty {
			normal.SetSym(j, j, p)
			right.SetVec(j, -p*theta.AtVec(j))
		}
		for i, x := range rows {
			eta := mat.Dot(x, theta)
			slope := curve.Slope(eta)
			w := 1 / (slope*slope*sdLot*sdLot + slack*slack)
			normal.SymRankOne(normal, w*slope*slope, x)
			right.AddScaledVec(right, w*slope*(level(shades[i].L)-curve.At(eta)), x)
		}
		var step mat.VecDense
		if err := step.SolveVec(normal, right); err != nil {
			break
		}
		theta.AddScaledVec(theta, math.Min(0.5, 0.5/mat.Norm(&step, 2)), &step)
	}
	powers := func(u float64) []float64 { return []float64{1, u, u * u, u * u * u} }
	a, y := mat.NewDense(len(lots)+2, 4, nil), mat.NewDense(len(lots)+2, 2, nil)
	for i, m := range append([]colorimetry.Lab{base, white}, shades...) {
		a.SetRow(i, powers(level(m.L)))
		y.SetRow(i, []float64{m.A, m.B})
	}
	var path mat.Dense
	if err := path.Solve(a, y); err != nil {
		panic(err) // two plateaus and at least two lots between them
	}
	return func(s discharge.Settings) colorimetry.Lab {
		u := curve.At(mat.Dot(mat.NewVecDense(terms, row(s)), theta))
		var ab mat.Dense
		ab.Mul(mat.NewDense(1, 4, powers(u)), &path)
		return colorimetry.Lab{L: base.L + u*(white.L-base.L), A: ab.At(0, 0), B: ab.At(0, 1)}
	}
}

// means lists the mean Lab of lots.
func means(lots []discharge.Lot) (all []colorimetry.Lab) {
	for _, l := range lots {
		all = append(all, meanOf(l))
	}
	return all
}
