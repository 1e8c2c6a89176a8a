package yarn

import (
	"bytes"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge"
)

// written is what the tool reads of trials.
func written(t *testing.T, l *Laundry, lots []map[string]float64) *discharge.Table {
	var b bytes.Buffer
	require.NoError(t, l.WriteTrials(&b, rand.New(rand.NewPCG(l.Seed, 4)), lots))
	tab, err := discharge.ReadTable("simulated", &b, nil)
	require.NoError(t, err)
	return tab
}

func TestTrialsLoad(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry) {
		lots, err := l.Ladder(16)
		require.NoError(t, err)
		tab := written(t, l, lots)
		assert.Equal(t, discharge.Spectral, tab.Kind)
		assert.Equal(t, Grid(), tab.Grid)
		require.Len(t, tab.Lots, 19)
		for _, r := range []discharge.Role{discharge.Base, discharge.White, discharge.Blank} {
			assert.Len(t, tab.ByRole(r), 1, r)
		}
		for i, lot := range tab.ByRole(discharge.Trial) {
			assert.Equal(t, l.Process, lot.Process)
			assert.Equal(t, discharge.Settings(lots[i]), lot.Settings)
			assert.Len(t, lot.Readings(), 8)
		}
	})
}

// With all other scatter gone, of lots with the same settings one differs, by
// more than the instrument's noise.
func TestOneLotIsUpset(t *testing.T) {
	each(t, func(t *testing.T, l *Laundry) {
		l.scatter = scatter{upset: true}
		lots := slices.Repeat([]map[string]float64{l.settings(l.middle)}, 12)
		expected, upset := l.Expected(nil), 0
		for _, lot := range written(t, l, lots).ByRole(discharge.Trial) {
			if math.Abs(lot.Panels[0].Readings[0].Lab.L-expected.L) > 0.5 {
				upset++
			}
		}
		assert.Equal(t, 1, upset, "seed %d", l.Seed)
	})
}
