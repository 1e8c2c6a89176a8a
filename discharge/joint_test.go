package discharge

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The uncertainty of the expected lightness against its definition: parameters
// drawn from each curve's normal distribution, the plateau among them, and the
// level worked out for each draw. Dose and plateau are learned together, so
// that the level is known much better than either would suggest.
func TestVarianceOfTheMeanAgainstDrawnParameters(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	m.inflation = 1 // acts on what is drawn here, in η alone
	const draws = 20000
	rng := rand.New(rand.NewPCG(5, 5))
	span := m.path.L1 - m.path.L0
	for _, s := range []Settings{
		{"strength_pct": 4.5, "ratio": 1.1, "time_min": 9},
		{"strength_pct": 6, "ratio": 1.5, "time_min": 12},
		{"strength_pct": 8, "ratio": 1.8, "time_min": 16},
		{"strength_pct": 9.5, "ratio": 1.9, "time_min": 18},
	} {
		v := m.basis.values(s)
		var weight, sum, squares, alone float64
		for i := range m.comps {
			c := m.comps[i]
			var grad [maxSize]float64
			eachDrawn(t, &c, rng, draws, func() {
				level, slope, _ := c.link.at(c.at(&v, &grad), c.plateau())
				w := c.weight / draws
				weight += w
				sum += w * level
				squares += w * level * level
				alone += w * slope * slope * quadratic(c.cov, grad[:c.size()-1], c.size())
			})
		}
		sd := span * math.Sqrt(squares/weight-sum/weight*sum/weight)
		pred := m.predictAt(&v)
		got := math.Sqrt(pred.MeanCovariance[0][0] - meanFloor)
		assert.InEpsilon(t, sd, got, 0.12)
		if pred.Level > 0.3 { // below it the plateau hardly counts
			assert.Less(t, got, 0.9*span*math.Sqrt(alone), "less than the dose alone would give")
		}
	}
}

// eachDrawn calls f with the mean of c drawn from its distribution.
func eachDrawn(t *testing.T, c *component, rng *rand.Rand, draws int, f func()) {
	p := c.size()
	chol := append([]float64(nil), c.cov...)
	require.True(t, cholesky(chol, p, 1e-12))
	mean := c.mean
	z := make([]float64, p)
	c.mean = make([]float64, p)
	for range draws {
		for j := range z {
			z[j] = rng.NormFloat64()
			c.mean[j] = mean[j]
			for k := 0; k <= j; k++ {
				c.mean[j] += chol[j*p+k] * z[k]
			}
		}
		f()
	}
	c.mean = mean
}

// How surely going on from one time to another brings a lot from one level to
// another, against its definition: the gain of dose by drawn parameters about
// what lies between the levels.
func TestGoOnSDAgainstDrawnParameters(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	m.inflation = 1 // acts on what is drawn here alone
	const draws = 20000
	rng := rand.New(rand.NewPCG(5, 6))
	for _, minutes := range [][2]float64{{8, 10}, {10, 16}, {12, 12.5}, {8, 19}} {
		s := Settings{"strength_pct": 6, "ratio": 1.5, "time_min": 99}
		var v [2]values
		var level [2]float64
		for i := range v {
			v[i] = m.basis.values(withTime(s, minutes[i]))
			level[i] = m.path.level(m.expected(&v[i]).L)
		}
		var sum, squares float64
		for i := range m.comps {
			c := m.comps[i]
			need := c.etaAt(level[1]) - c.etaAt(level[0])
			var grad [maxSize]float64
			eachDrawn(t, &c, rng, draws, func() {
				x := (c.at(&v[1], &grad) - c.at(&v[0], &grad) - need) / c.link.unit
				sum += c.weight / draws * x
				squares += c.weight / draws * x * x
			})
		}
		got, err := m.GoOnSD(s, minutes[0], minutes[1])
		require.NoError(t, err)
		assert.InEpsilon(t, math.Sqrt(squares-sum*sum), got, 0.1, "%v", minutes)
	}
	_, err = m.GoOnSD(Settings{"ratio": 1.5}, 8, 10)
	require.Error(t, err, "strength is missing")
}
