package discharge_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge"
)

// A shade of the fabric's own path that no allowed dose reaches is a matter of
// the bounds, however far its a* and b* lie from the nearest allowed shade; one
// off the path is not.
func TestWhyTellsBoundsFromFabric(t *testing.T) {
	m := fitted(t, demoTable(t))
	target := discharge.Target{ID: "t", Viewing: m.Viewing()}
	why := func(tolerance float64) string {
		s, err := m.Suggest(target, &discharge.SuggestOptions{Tolerance: tolerance})
		require.NoError(t, err)
		require.False(t, s.Reachable)
		return s.Why
	}
	target.Lab = m.ShadeAt(0.9)
	target.Lab.B += 0.3
	assert.Contains(t, why(1.5), "lighter than the allowed settings reach")
	target.Lab = m.ShadeAt(0.06)
	assert.Contains(t, why(1.5), "darker than the allowed settings reach")
	target.Lab = m.ShadeAt(0.5)
	target.Lab.A += 12
	assert.Contains(t, why(1.5), "off the shade path: the target is redder")
}
