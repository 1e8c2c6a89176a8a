package discharge_test

import (
	"bytes"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
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
	assert.NotContains(t, why(1.5), "allowed settings")
	// Off the path and beyond the bounds as well: the bounds are most of it.
	target.Lab = m.ShadeAt(0.9)
	target.Lab.A += 6 // 3 may be what discharge does beyond the lightest lot
	assert.Regexp(t, `off the shade path.*allowed settings come to ΔE00 \d+\.\d from it only`, why(1.5))
}

// What lies beyond the lightest lot is not known well enough to say that a shade just
// off what is expected there cannot be had, nor where white is that nobody read.
func TestWhyDoesNotClaimWhatNoLotShowed(t *testing.T) {
	table := demoTable(t)
	m := fitted(t, table)
	target := discharge.Target{ID: "t", Viewing: m.Viewing(), Lab: m.ShadeAt(0.9)}
	target.Lab.B += 3
	s, err := m.Suggest(target, &discharge.SuggestOptions{Tolerance: 1})
	require.NoError(t, err)
	require.False(t, s.Reachable)
	assert.Contains(t, s.Why, "the way from there to white is assumed")
	assert.NotContains(t, s.Why, "cannot")

	table.Lots = slices.DeleteFunc(slices.Clone(table.Lots), func(l discharge.Lot) bool { return l.Role == discharge.White })
	blind := fitted(t, table)
	target.Lab = blind.ShadeAt(1.05)
	s, err = blind.Suggest(target, nil)
	require.NoError(t, err)
	require.False(t, s.Reachable)
	assert.Contains(t, s.Why, "no white was read")
	assert.NotContains(t, s.Why, "cannot")
	var file bytes.Buffer
	require.NoError(t, blind.Save(&file, "test"))
	again, err := discharge.Load(&file)
	require.NoError(t, err)
	loaded, err := again.Suggest(target, nil)
	require.NoError(t, err)
	assert.Equal(t, s.Why, loaded.Why)
}

// The nearest settings to a target out of reach: none of a grid over the same
// bounds is predicted nearer, by what an eye could tell.
func TestNearestSettingsToATargetOutOfReach(t *testing.T) {
	m := fitted(t, demoTable(t))
	bounds := map[string]discharge.Range{"ratio": {Lo: 1.2, Hi: 1.8}}
	for name, target := range map[string]colorimetry.Lab{"redder": {L: 50, A: 20, B: -9}, "lighter": m.ShadeAt(0.97), "darker": m.ShadeAt(0.02)} {
		s, err := m.Suggest(discharge.Target{ID: name, Viewing: m.Viewing(), Lab: target}, &discharge.SuggestOptions{Bounds: bounds})
		require.NoError(t, err)
		require.False(t, s.Reachable)
		require.NotNil(t, s.Nearest, name)
		least := math.Inf(1)
		for strength := 4.0; strength <= 10; strength += 0.5 {
			for ratio := 1.2; ratio <= 1.8; ratio += 0.1 {
				for time := 6.0; time <= 24; time += 0.5 {
					p, err := m.Predict(discharge.Settings{"strength_pct": strength, "ratio": ratio, "time_min": time})
					require.NoError(t, err)
					least = min(least, colorimetry.CIEDE2000{}.Diff(target, p.Shade))
				}
			}
		}
		assert.LessOrEqual(t, s.Nearest.DeltaE, least+0.15, name)
		assert.InDelta(t, s.Nearest.DeltaE, colorimetry.CIEDE2000{}.Diff(target, s.Nearest.Shade), 1e-9, name)
		assert.False(t, s.Nearest.Extrapolated, name)
	}
	s, err := m.Suggest(discharge.Target{ID: "t", Viewing: m.Viewing(), Lab: m.ShadeAt(0.5)}, nil)
	require.NoError(t, err)
	assert.True(t, s.Reachable)
	assert.Nil(t, s.Nearest)
}
