package discharge

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Levels that hold nothing, everything or no share at all have no interval.
func TestIntervalsNeedALevel(t *testing.T) {
	var p Prediction
	p.LotCovariance[0][0] = 4
	for _, level := range []float64{0, 1, 95, -0.5, math.NaN(), math.Inf(1)} {
		require.PanicsWithValue(t, fmt.Sprintf("discharge: an interval of level %g, want 0 < level < 1", level), func() { p.Interval(0, level) })
	}
	lo, hi := p.Interval(0, 0.95)
	require.InDelta(t, -3.92, lo, 0.005) // two standard deviations times 1.96
	require.InDelta(t, 3.92, hi, 0.005)
}
