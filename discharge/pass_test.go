package discharge

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"example.com/dosetone/colorimetry"
)

// Upper critical values of Student's t and of the normal distribution: NIST/SEMATECH
// e-Handbook of Statistical Methods, table 1.3.6.7.2.
func TestDeviateAgainstTheTable(t *testing.T) {
	for _, c := range []struct{ freedom, t95, t975 float64 }{
		{3, 2.353, 3.182}, {8, 1.860, 2.306}, {20, 1.725, 2.086},
	} {
		assert.InDelta(t, 1.960, deviate(c.freedom, 0.975), 1e-3, "what predictions state holds 95 %")
		assert.InDelta(t, c.t95/c.t975*1.960, deviate(c.freedom, 0.95), 1e-3)
	}
	assert.InDelta(t, 1.645, deviate(0, 0.95), 1e-3)
}

// Pass probabilities against their definition: lots drawn with a dose that
// follows Student's distribution and an off-path part that is normal, and
// counted within the tolerance by CIEDE2000 itself.
func TestPassAgainstDrawnLots(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	require.InDelta(t, predictionFreedom, m.freedom, 0)
	const draws = 40000
	rng := rand.New(rand.NewPCG(8, 15))
	draw := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: m.freedom, Src: rng}
	var diff colorimetry.CIEDE2000
	off := mat.NewSymDense(3, nil)
	off.SetSym(0, 0, m.lightnessNoise())
	for a := range 2 {
		for b := range 2 {
			off.SetSym(1+a, 1+b, m.path.lotOff[a][b])
		}
	}
	var chol mat.Cholesky
	require.True(t, chol.Factorize(off))
	var lower mat.TriDense
	chol.LTo(&lower)
	for _, c := range []struct {
		s     Settings
		tol   float64
		limit float64 // past limits that lie half a tenth of the way to either side; 0 for no limits
	}{
		{Settings{"strength_pct": 5, "ratio": 1.2, "time_min": 10}, 1, 0},
		{Settings{"strength_pct": 6, "ratio": 1.5, "time_min": 12}, 1.5, 0},
		{Settings{"strength_pct": 8, "ratio": 1.8, "time_min": 16}, 2.5, 0},
		{Settings{"strength_pct": 6, "ratio": 1.5, "time_min": 12}, 1.5, 1.5},
		{Settings{"strength_pct": 6, "ratio": 1.5, "time_min": 12}, 1.5, 0.5},
		{Settings{"strength_pct": 6, "ratio": 1.5, "time_min": 12}, 1.5, 0.1},
	} {
		v := m.basis.values(c.s)
		p := m.predictAt(&v)
		target := Target{ID: "t", Viewing: m.viewing, Lab: p.Shade}
		if c.limit > 0 {
			light, dark := m.path.at(p.Level+0.05), m.path.at(p.Level-0.05)
			target.Light, target.Dark = &light, &dark
		}
		q, err := m.newSearch(target, &SuggestOptions{Tolerance: c.tol, LimitTolerance: c.limit})
		require.NoError(t, err)
		holds := func(x colorimetry.Lab) bool {
			if c.limit == 0 {
				return diff.Diff(q.target.Lab, x) <= c.tol
			}
			// By lightness, which along this short way tells what is past a limit: an
			// ellipse whose half-axes are the two tolerances, in CIEDE2000 of its own.
			at, scale := q.target.Lab, 1.0
			switch {
			case x.L > target.Light.L:
				at, scale = *target.Light, c.tol/c.limit
			case x.L < target.Dark.L:
				at, scale = *target.Dark, c.tol/c.limit
			default:
				end := target.Light
				if x.L < at.L {
					end = target.Dark
				}
				u := (x.L - at.L) / (end.L - at.L)
				at = colorimetry.Lab{L: x.L, A: at.A + u*(end.A-at.A), B: at.B + u*(end.B-at.B)}
			}
			return math.Hypot(scale*diff.Diff(at, colorimetry.Lab{L: x.L, A: at.A, B: at.B}), diff.Diff(at, colorimetry.Lab{L: at.L, A: x.A, B: x.B})) <= c.tol
		}
		var parts [maxComponents]mixPart
		m.parts(&parts, &v)
		scale := z975 / draw.Quantile(0.975)
		inside := 0.0
		for i := range m.comps {
			in := 0
			for range draws {
				s, _, _ := m.comps[i].link.at(parts[i].mu+parts[i].sdLot*scale*draw.Rand(), m.comps[i].mean[len(m.comps[i].mean)-1])
				at := m.path.at(s)
				z := [3]float64{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}
				at.L += lower.At(0, 0) * z[0]
				cast := math.Sqrt(m.path.cast(s))
				at.A += cast * lower.At(1, 1) * z[1]
				at.B += cast * (lower.At(2, 1)*z[1] + lower.At(2, 2)*z[2])
				if holds(at) {
					in++
				}
			}
			inside += m.comps[i].weight * float64(in) / draws
		}
		t.Logf("tolerance %g, past limits %g: %.3f by drawing, %.3f", c.tol, c.limit, inside, q.pass(&v))
		assert.InDelta(t, inside, q.pass(&v), 0.015)
	}
}
