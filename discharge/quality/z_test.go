package quality_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge/quality"
	"example.com/dosetone/internal/laundry"
)

// What the charts of real ledgers see: the standardized residuals of good lots
// at the settings of the standard. Within one laundry they share the model's
// error, so that their mean is not zero; over laundries the spread must be
// that of a standard normal.
func TestChartedResidualsAreStandardized(t *testing.T) {
	kinds, lots := []laundry.Kind{laundry.PowerLaw, laundry.RingDyed, laundry.Mixed}, 15
	if full() {
		kinds, lots = laundry.Kinds(), 40
	}
	var n, dose, dose2, beyond, off, off2 float64
	for _, kind := range kinds {
		for _, process := range []string{"permanganate-pellet", "hypochlorite-bath"} {
			r := newRoom(t, kind, process, 41)
			for range lots {
				lot, _ := r.run(r.Laundry, r.settings, laundry.RunOptions{NoHotSpots: true})
				e := quality.NewEntry(r.judge(t, lot, nil, 1.5), lot, r.model, "")
				require.NotNil(t, e.DoseZ)
				n++
				dose += *e.DoseZ
				dose2 += *e.DoseZ * *e.DoseZ
				off += *e.OffZ
				off2 += *e.OffZ * *e.OffZ
				if math.Abs(*e.DoseZ) > 3 {
					beyond++
				}
			}
		}
	}
	sd := math.Sqrt(dose2 / n)
	t.Logf("good lots: %.0f; dose z mean %.2f, root mean square %.2f, beyond 3: %.1f %%; off-path z mean %.2f, root mean square %.2f", n, dose/n, sd, 100*beyond/n, off/n, math.Sqrt(off2/n))
	require.InDelta(t, 1, sd, 0.35)
	require.InDelta(t, 1, math.Sqrt(off2/n), 0.5)
}
