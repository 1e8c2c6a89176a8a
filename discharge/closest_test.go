package discharge

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
)

// The nearest shade is nearest of all that Predict gives inside the bounds, which the
// shade path itself is not: none of many settings comes nearer, and the settings named come
// no nearer than it. Between available values counts as inside.
func TestClosestIsNearestOfWhatIsPredicted(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(7, 11))
	for _, c := range []colorimetry.Lab{{L: 50, A: -2.7, B: -8.8}, {L: 50, A: 30, B: 0}, {L: 40, A: -2, B: -10}, {L: 48, A: 0, B: -12}, {L: 70, A: -2, B: 0}, {L: 15}} {
		for _, opt := range []SuggestOptions{
			{},
			{Bounds: map[string]Range{"ratio": {Lo: 1.4, Hi: 1.4}}},
			{Available: map[string][]float64{"strength_pct": {5, 8}}, Bounds: map[string]Range{"ratio": {Lo: 1.4, Hi: 1.4}, timeColumn: {Lo: 12, Hi: 12}}},
		} {
			s, err := m.Suggest(Target{ID: "t", Viewing: m.viewing, Lab: c}, &opt)
			require.NoError(t, err)
			assert.InDelta(t, s.ClosestDeltaE, colorimetry.CIEDE2000{}.Diff(c, s.Closest), 1e-12)
			for _, given := range s.List {
				assert.GreaterOrEqual(t, given.DeltaE, s.ClosestDeltaE-1e-3)
				assert.GreaterOrEqual(t, s.BestPassProbability, given.PassProbability)
			}
			if s.Nearest != nil {
				assert.GreaterOrEqual(t, s.Nearest.DeltaE, s.ClosestDeltaE-1e-3)
				assert.GreaterOrEqual(t, s.BestPassProbability, s.Nearest.PassProbability)
			}
			least := math.Inf(1)
			for range 4000 {
				set := Settings{}
				for _, f := range m.Factors() {
					if !f.Chosen {
						continue // stands at the middle of the trials
					}
					lo, hi := readable(f.Lo, f.Hi)
					if r, ok := opt.Bounds[f.Column]; ok {
						lo, hi = r.Lo, r.Hi
					}
					if list := opt.Available[f.Column]; list != nil {
						lo, hi = list[0], list[len(list)-1]
					}
					set[f.Column] = lo * math.Pow(hi/lo, rng.Float64())
				}
				p, err := m.Predict(set)
				require.NoError(t, err)
				least = math.Min(least, colorimetry.CIEDE2000{}.Diff(c, p.Shade))
			}
			// The search is good to some thousandths.
			assert.LessOrEqual(t, s.ClosestDeltaE, least+2e-3, "%v, %v", c, opt)
		}
	}
}
