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
			p := c.size()
			chol := append([]float64(nil), c.cov...)
			require.True(t, cholesky(chol, p, 1e-12))
			mean := c.mean
			z, theta := make([]float64, p), make([]float64, p)
			c.mean = theta
			var grad [maxSize]float64
			for range draws {
				for j := range z {
					z[j] = rng.NormFloat64()
					theta[j] = mean[j]
					for k := 0; k <= j; k++ {
						theta[j] += chol[j*p+k] * z[k]
					}
				}
				level, slope, _ := c.link.at(c.at(&v, &grad), theta[p-1])
				w := c.weight / draws
				weight += w
				sum += w * level
				squares += w * level * level
				alone += w * slope * slope * quadratic(c.cov, grad[:p-1], p)
			}
		}
		sd := span * math.Sqrt(squares/weight-sum/weight*sum/weight)
		pred := m.predictAt(&v)
		got := math.Sqrt(pred.MeanCovariance[0][0] - meanFloor)
		assert.InEpsilon(t, sd, got, 0.12)
		assert.Less(t, got, 0.9*span*math.Sqrt(alone), "less than the dose alone would give")
	}
}
