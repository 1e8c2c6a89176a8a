package study

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge"
)

// Histories of production are dark: what a laundry ran leaves out the light end of what
// its settings reach, and between its lightest lot and white the path is a guess. Lots
// there must lie inside the regions that are promised for them, as lots between
// the trials do, if not quite as often.
func TestHistoriesOfOtherPhysics(t *testing.T) {
	t.Parallel()
	z := others()
	if !full() {
		z.seeds, z.next = 1, 5
	}
	var beyond, within Count
	for _, s := range simulators() {
		seed := z.from
		for _, p := range s.processes {
			for range z.seeds {
				l, err := s.make(p, seed)
				require.NoError(t, err)
				dark, light := halves(l, rand.New(rand.NewPCG(seed, 41)), 32)
				table, err := l.run(dark, 42)
				require.NoError(t, err)
				m, err := discharge.Fit(table, nil)
				require.NoError(t, err)
				lightest := 0.0
				for _, r := range m.Trials() {
					lightest = max(lightest, r.Lab.L)
				}
				rng := rand.New(rand.NewPCG(seed, 43))
				for _, set := range light {
					p, err := m.Predict(set)
					require.NoError(t, err)
					count := &within
					if l.Expected(set).L > lightest {
						count = &beyond
					}
					for range z.next {
						*count = count.with(Inside(&p, l.Lot(rng, set)))
					}
				}
				seed++
			}
		}
	}
	t.Logf("lots inside their 95 %% regions: lighter than any trial lot %v, others %v", beyond, within)
	require.Greater(t, beyond.Of, 100)
	require.GreaterOrEqual(t, beyond.Share(), 0.88)
}

// halves are random settings, the darker and the lighter half of them.
func halves(l other, rng *rand.Rand, n int) (dark, light []map[string]float64) {
	all := make([]map[string]float64, n)
	for i := range all {
		all[i] = l.RandomSettings(rng)
	}
	slices.SortFunc(all, func(a, b map[string]float64) int {
		if l.Expected(a).L < l.Expected(b).L {
			return -1
		}
		return 1
	})
	return all[:n/2], all[n/2:]
}
