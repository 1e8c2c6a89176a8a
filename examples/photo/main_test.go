package main

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
)

// The true color of the generated garment is known: the correction must find
// it, and the picture alone must not.
func TestPhoto(t *testing.T) {
	file, err := takePicture()
	require.NoError(t, err)
	picture, err := colorimetry.ReadImage(bytes.NewReader(file), 0)
	require.NoError(t, err)
	raw, corrected, c, err := measure(picture)
	require.NoError(t, err)
	truth := colorimetry.SRGB8ToLab(garment())
	var f colorimetry.CIEDE2000
	t.Logf("ΔE00 from the truth: %.2f as photographed, %.2f corrected", f.Diff(truth, raw.Mean), f.Diff(truth, corrected.Mean))
	require.Greater(t, f.Diff(truth, raw.Mean), 5.0)
	require.Less(t, f.Diff(truth, corrected.Mean), 0.5, "half a just visible difference: 8-bit codes and grain")
	require.Less(t, c.LeaveOneOutMax, 1.5)
	require.False(t, raw.Calibrated)
	require.True(t, corrected.Calibrated)
	var out bytes.Buffer
	require.NoError(t, run(&out))
	require.Contains(t, out.String(), "invented")
}
