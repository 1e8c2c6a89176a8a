package study

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge"
)

// In no simulator does more of what discharges more give a darker expected shade, from a
// third of what was tried to three times as much.
func TestLightnessNeverFallsInOtherPhysics(t *testing.T) {
	t.Parallel()
	z := others()
	seeds := z.seeds
	if !full() {
		seeds = 1
	}
	for _, s := range simulators() {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			seed := z.from
			for _, p := range s.processes {
				for range seeds {
					l, err := s.make(p, seed)
					require.NoError(t, err)
					for _, n := range z.lots {
						tab, err := otherTrials(l, n)
						require.NoError(t, err)
						m, err := discharge.Fit(tab, nil)
						require.NoError(t, err)
						fall := l.fall(t, m)
						require.LessOrEqual(t, fall, 1e-9, "%s, seed %d, %d lots", p, seed, n)
					}
					seed++
				}
			}
		})
	}
}

// fall is how far L* falls at most along lines of growing factors.
func (l *other) fall(t *testing.T, m *discharge.Model) (most float64) {
	const lines, steps, beyond = 30, 40, 3
	rng := rand.New(rand.NewPCG(l.seed, 77))
	for range lines {
		settings := discharge.Settings(l.RandomSettings(rng))
		for _, f := range m.Factors() {
			if pf, _ := m.Process().Factor(f.Column); !pf.Increases || pf.Transform == discharge.InverseKelvin {
				continue
			}
			lightest := math.Inf(-1)
			for k := range steps + 1 {
				at := settings.Clone()
				at[f.Column] = f.Lo / beyond * math.Pow(beyond*beyond*f.Hi/f.Lo, float64(k)/steps)
				p, err := m.Predict(at)
				require.NoError(t, err)
				most = max(most, lightest-p.Shade.L)
				lightest = max(lightest, p.Shade.L)
			}
		}
	}
	return most
}
