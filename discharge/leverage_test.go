package discharge

import (
	"cmp"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// The diagonal of the hat matrix is by definition how far the fitted value
// moves when the lot's own reading moves by one (Hoaglin and Welsch, Amer.
// Statist. 32 (1978) 17, eq. 2.1), weights and kind of curve fixed. In a fit anew they
// move, too, by which a single lot may pull a quarter more or less; over the
// lots this evens out. A lot that is half taken for upset pushes the curve away as it moves
// off, which is no leverage.
func TestLeverageIsHowFarALotPullsItsOwnFit(t *testing.T) {
	m, err := Fit(demoLab(t), nil)
	require.NoError(t, err)
	all := m.Diagnostics()
	slices.SortFunc(all, func(a, b LotDiagnostic) int { return cmp.Compare(a.Leverage, b.Leverage) })
	sum := 0.0
	for _, d := range all {
		assert.True(t, d.Leverage > 0 && d.Leverage <= 1, "%s: %g", d.ID, d.Leverage)
		sum += d.Leverage
	}
	assert.Less(t, sum, 11.0, "ten coefficients and a plateau")
	const by = 0.2
	off, bias, n := 0.0, 0.0, 0.0
	for _, d := range all {
		if d.Weight < 0.5 {
			require.Equal(t, "T06", d.ID)
			continue
		}
		moved := func(dl float64) float64 {
			table := demoLab(t)
			for i := range table.Lots {
				l := &table.Lots[i]
				if l.ID != d.ID || l.Role != Trial {
					continue
				}
				for k := range l.Panels {
					for r := range l.Panels[k].Readings {
						l.Panels[k].Readings[r].Lab.L += dl
					}
				}
			}
			f, err := Fit(table, nil)
			require.NoError(t, err)
			p, err := f.Predict(d.Settings)
			require.NoError(t, err)
			return p.Shade.L
		}
		pull := (moved(by) - moved(-by)) / (2 * by)
		t.Logf("%s leverage %.2f, pulls %.2f", d.ID, d.Leverage, pull)
		assert.InDelta(t, pull, d.Leverage, 0.25, d.ID)
		n++
		off += math.Abs(pull - d.Leverage)
		bias += pull - d.Leverage
	}
	assert.Less(t, off/n, 0.12)
	assert.Less(t, math.Abs(bias/n), 0.06)
}

// The same by the definition itself, with one curve and fixed weights: the
// weighted, penalized least-squares problem, linearized by differences of the
// curve's levels and solved by gonum, moves its answer for a lot by the
// leverage when that lot's level moves by one.
func TestLeverageIsTheDiagonalOfTheHatMatrix(t *testing.T) {
	m, f := demoFitting(t)
	best := f.promises()[0]
	pr := &f.problems[best.candidate]
	c := f.collapse([]cell{best}, []float64{1})[0]
	p := pr.size()
	ws := newWorkspace(p)
	pr.priors(best.h, ws)
	level := func(i int, theta []float64) float64 {
		grad := make([]float64, p)
		s, _, _ := pr.link.at(pr.dose(theta, pr.lots[i].row, pr.lots[i].charge, grad), theta[p-1])
		return s
	}
	normal := mat.NewSymDense(p, nil)
	for j := range p {
		for k := range j + 1 {
			normal.SetSym(j, k, ws.prec[j*p+k])
		}
	}
	for _, corner := range pr.corner {
		require.Greater(t, floats.Dot(corner, c.mean[:len(corner)]), bendSlack, "no bound holds the curve here")
	}
	slopes, weights := make([]*mat.VecDense, len(pr.lots)), make([]float64, len(pr.lots))
	for i, l := range pr.lots {
		slopes[i] = mat.NewVecDense(p, nil)
		for j := range p {
			const h = 1.0 / 6 // levels go straight between the nodes of a table of supplies, which are as far apart
			up, down := slices.Clone(c.mean), slices.Clone(c.mean)
			up[j] += h
			down[j] -= h
			slopes[i].SetVec(j, (level(i, up)-level(i, down))/(2*h))
		}
		var grad [maxSize]float64
		_, ds, _ := pr.link.at(pr.dose(c.mean, l.row, l.charge, grad[:]), c.plateau())
		weights[i] = tailInformation / (tailScale * tailScale) * best.post.weights[i] * (tailWeight + 1) / tailWeight / levelVariance(ds, c.sdLot, best.h.sdPanel, l.panels, best.h.floor, l.read)
		normal.SymRankOne(normal, weights[i], slopes[i])
	}
	var chol mat.Cholesky
	require.True(t, chol.Factorize(normal))
	for i, r := range m.Trials() {
		r.Weight = best.post.weights[i]
		v := m.basis.values(r.Settings)
		_, got := c.standing(m, &v, r, pr.lots[i].level)
		var moved mat.VecDense // the parameters, per unit of the lot's level
		require.NoError(t, chol.SolveVecTo(&moved, slopes[i]))
		assert.InDelta(t, weights[i]*mat.Dot(slopes[i], &moved), got, 0.02, r.ID)
	}
}
