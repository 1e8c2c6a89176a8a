package study

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/laundry"
)

// Sixteen lots of a ladder on rolls that differ in depth, the garments of each read before it:
// what is learned with each lot's own base against all bases pooled, of the expected shade and of
// next lots whose base is read or is not.
func TestLotsOnRolls(t *testing.T) {
	t.Parallel()
	z := size()
	spreads := []float64{0.1}
	if full() {
		spreads = []float64{0.03, 0.06, 0.1, 0.15} // in ln of dye
	}
	for _, spread := range spreads {
		expected, next := &Table{}, &Table{}
		inside, width := map[string]Count{}, map[string]float64{}
		const pooled, own, read = "bases pooled", "own bases, of the next lot not read", "own bases, of the next lot read"
		require.NoError(t, z.each(func(s *Scene, rng *rand.Rand) error {
			s.Laundry = s.Laundry.WithRolls(spread)
			apart := s.Table(nil, -1)
			together := *apart
			for i, settings := range s.Ladder(16) {
				l := s.Laundry.Run(settings, s.rng, laundry.RunOptions{BasePanels: 4})
				trial := s.Lot(fmt.Sprintf("T%02d", i+1), discharge.Trial, l)
				l.Readings, l.Settings = l.BaseReadings, nil
				base := s.Lot(trial.ID, discharge.Base, l)
				together.Lots = append(together.Lots, trial, base)
				base.ID = "base of " + base.ID
				apart.Lots = append(apart.Lots, trial, base)
			}
			a, err := discharge.Fit(apart, nil)
			if err != nil {
				return err
			}
			b, err := discharge.Fit(&together, nil)
			if err != nil {
				return err
			}
			for range z.Settings {
				set := discharge.Settings(s.Random(rng))
				luck := rand.New(rand.NewPCG(s.Seed, rng.Uint64()))
				lot := s.Laundry.Run(set, luck, laundry.RunOptions{BasePanels: 4, NoHotSpots: true})
				shade := lot.MeanLab(s.Weights)
				lot.Readings = lot.BaseReadings
				known := set.Clone()
				known["base_lightness"] = lot.MeanLab(s.Weights).L
				for _, ask := range []struct {
					name string
					m    *discharge.Model
					at   discharge.Settings
				}{{pooled, a, set}, {own, b, set}, {read, b, known}} {
					p, err := ask.m.Predict(ask.at)
					if err != nil {
						return err
					}
					if ask.name != read {
						expected.add(ask.name, diff(s.truth(set), p.Shade))
					}
					next.add(ask.name, diff(shade, p.Shade))
					inside[ask.name] = inside[ask.name].with(Inside(&p, shade))
					width[ask.name] += math.Sqrt(p.LotCovariance[0][0])
				}
			}
			return nil
		}))
		t.Logf("rolls differ by %.0f %%; the expected shade%snext lots%s", 100*spread, expected, next)
		for _, name := range []string{pooled, own, read} {
			t.Logf("%s: %.1f %% of %d next lots in the 95 %% region, sd of L* %.2f", name, 100*inside[name].Share(), inside[name].Of, width[name]/float64(inside[name].Of))
			assert.GreaterOrEqual(t, inside[name].Share(), 0.85)
		}
		if full() {
			assert.LessOrEqual(t, next.Median(read), 1.02*next.Median(pooled))
		} else {
			assert.Less(t, next.Median(read), next.Median(pooled))
		}
	}
}
