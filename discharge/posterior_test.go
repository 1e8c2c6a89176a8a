package discharge

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// An iteration whose error is multiplied by the same factor each time is at its end
// after one step of the right stride: Aitken's δ² process (any text on numerical
// analysis, such as Abramowitz and Stegun 1972, 3.9.7), in which -1 is a swing to and
// fro that plain steps never leave.
func TestStrideEndsALinearIteration(t *testing.T) {
	for _, factor := range []float64{-1, -0.5, -0.1, 0} {
		end, x := []float64{2, -1, 0.5}, []float64{5, 0, -3}
		step := func() (to []float64) {
			for i := range x {
				to = append(to, (1-factor)*(end[i]-x[i]))
			}
			return to
		}
		take := func(s []float64, stride float64) {
			for i := range x {
				x[i] += stride * s[i]
			}
		}
		const first = 0.8
		last := step()
		take(last, first)
		now := step()
		take(now, nextStride(first, last, now))
		assert.InDeltaSlice(t, end, x, 1e-12, "%g", factor)
	}
	assert.Equal(t, 1.0, nextStride(1, []float64{1, 1}, []float64{0.5, 0.5}), "half the way each time")
	assert.Equal(t, 1.0, nextStride(0.5, []float64{1, 1}, []float64{1.2, 1.2}), "a growing step")
}

// Fits stop at the mode: the slope of the log posterior of every candidate, worked out
// by differences of the level alone, with weights and variances of the mode, is nothing
// there. Its unit is the sd of the parameters.
func TestFitsStopAtTheMode(t *testing.T) {
	_, f := demoFitting(t)
	cells := f.sweep()
	require.Greater(t, len(cells), 50)
	off, free := 0, 0
	for _, c := range cells {
		pr := &f.problems[c.candidate]
		if slices.ContainsFunc(pr.corner, func(row []float64) bool { return dot(row, c.post.mean) < bendSlack }) {
			continue // held by a bound
		}
		free++
		p := pr.size()
		ws := newWorkspace(p)
		pr.priors(c.h, ws)
		level := func(i int, theta []float64) float64 {
			var grad [maxSize]float64
			s, _, _ := pr.link.at(pr.dose(theta, pr.lots[i].row, pr.lots[i].charge, grad[:]), theta[p-1])
			return s
		}
		slope := make([]float64, p)
		for j := range p {
			for k := range p {
				slope[j] += ws.prec[j*p+k] * (ws.prior[k] - c.post.mean[k])
			}
		}
		for i, l := range pr.lots {
			var grad [maxSize]float64
			_, ds, _ := pr.link.at(pr.dose(c.post.mean, l.row, l.charge, grad[:]), c.post.mean[p-1])
			v := tailScale * tailScale * levelVariance(ds, c.h.sdLot, c.h.sdPanel, l.panels, c.h.floor, l.read)
			r := l.level - level(i, c.post.mean)
			for j := range p {
				const h = 1e-5
				up, down := slices.Clone(c.post.mean), slices.Clone(c.post.mean)
				up[j] += h
				down[j] -= h
				slope[j] += (tailWeight + 1) / (tailWeight + r*r/v) / v * r * (level(i, up) - level(i, down)) / (2 * h)
			}
		}
		step := slices.Clone(slope)
		cholSolve(c.post.chol, p, step)
		length := 0.0
		for j := range p {
			length += step[j] * slope[j]
		}
		if !(math.Sqrt(length) < 0.1) {
			off++
		}
	}
	t.Logf("%d of %d farther than a tenth of a standard deviation", off, free)
	assert.Greater(t, free, len(cells)/2)
	assert.LessOrEqual(t, off, free/20)
}

// A scatter of strength counts in dose by the exponent of strength, by the definition of an
// exponent; below 1 other things than strength scatter, and beyond 2 nobody has seen one.
func TestScatterCountsByTheExponentOfStrength(t *testing.T) {
	basis := newBasis([]doseFactor{
		{Column: timeColumn, Transform: Log, Raises: true, Primary: true, Lo: -1, Hi: 1},
		{Column: "strength_pct", Transform: Log, Raises: true, Primary: true, Lo: -1, Hi: 1},
	}, 2)
	c := candidate{link: link{unit: 0.5}, basis: &basis}
	for exponent, want := range map[float64]float64{0.6: 1, 1.4: 1.4, 2.7: 2} {
		theta := make([]float64, c.size())
		theta[1], theta[2] = 9, exponent*c.link.unit
		assert.InDelta(t, want, c.byStrength(theta), 1e-12)
	}
	alone := newBasis(basis.factors[:1], 1)
	c.basis = &alone
	assert.Equal(t, 1.0, c.byStrength(make([]float64, c.size())))
}
