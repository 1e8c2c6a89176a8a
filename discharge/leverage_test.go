package discharge

import (
	"cmp"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The diagonal of the hat matrix is by definition how far the fitted value
// moves when the lot's own reading moves by one (Hoaglin and Welsch, Amer.
// Statist. 32 (1978) 17, eq. 2.1), weights and kind of curve fixed. In a fit anew they
// move, too, by which a single lot may pull a quarter more or less; over the
// lots this evens out.
func TestLeverageIsHowFarALotPullsItsOwnFit(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	all := m.Diagnostics()
	slices.SortFunc(all, func(a, b LotDiagnostic) int { return cmp.Compare(a.Leverage, b.Leverage) })
	sum := 0.0
	for _, d := range all {
		assert.True(t, d.Leverage > 0 && d.Leverage <= 1, "%s: %g", d.ID, d.Leverage)
		sum += d.Leverage
	}
	assert.Less(t, sum, 11.0, "ten coefficients and a plateau")
	const by = 0.4
	off, bias, n := 0.0, 0.0, 0.0
	for i := 0; i < len(all); i += 2 {
		d := all[i]
		moved := func(dl float64) float64 {
			table := demoTrials(t)
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
