package discharge

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
)

// The demo's README says what its files hold.
func TestReadDemo(t *testing.T) {
	for _, c := range []struct {
		name       string
		data       []byte
		kind       ReadingKind
		trials     int
		production int
		readings   int // of each trial or production lot
	}{
		{demo.PelletTrialsFile, demo.PelletTrials(), Spectral, 18, 0, 8},
		{demo.PelletSwatchesFile, demo.PelletSwatches(), Swatch, 18, 0, 8},
		{demo.PelletProductionFile, demo.PelletProduction(), Spectral, 0, 2, 8},
		{demo.HypochloriteTrialFile, demo.HypochloriteTrials(), Spectral, 12, 0, 8},
	} {
		table, err := ReadTable(c.name, bytes.NewReader(c.data), nil)
		require.NoError(t, err)
		assert.Empty(t, table.Warnings, c.name)
		assert.Equal(t, c.kind, table.Kind)
		assert.Len(t, table.ByRole(Trial), c.trials, c.name)
		assert.Len(t, table.ByRole(Production), c.production, c.name)
		for _, lot := range append(table.ByRole(Trial), table.ByRole(Production)...) {
			assert.Len(t, lot.Readings(), c.readings, lot.ID)
			p, err := LookupProcess(lot.Process)
			require.NoError(t, err)
			assert.NoError(t, p.Check(lot.Settings), lot.ID)
			assert.Empty(t, p.Unusual(lot.Settings), lot.ID)
		}
	}
	got, err := ReadTargets(demo.PelletStandardFile, bytes.NewReader(demo.PelletStandard()), nil)
	require.NoError(t, err)
	assert.Empty(t, got.Warnings)
	require.Len(t, got.Items, 1)
	std := got.Items[0]
	require.NotNil(t, std.Light)
	require.NotNil(t, std.Dark)
	assert.True(t, std.Dark.L < std.Lab.L && std.Lab.L < std.Light.L)
}

// Spectra and swatches of the same trials agree where both are D65/2: 8 bits
// resolve 1/255 of each channel, which is below 1 ΔE00 at these shades.
func TestDemoSwatchesAreItsSpectra(t *testing.T) {
	spectra, err := ReadTable("spectra", bytes.NewReader(demo.PelletTrials()),
		&ReadOptions{Viewing: colorimetry.SRGBViewing()})
	require.NoError(t, err)
	swatches, err := ReadTable("swatches", bytes.NewReader(demo.PelletSwatches()), nil)
	require.NoError(t, err)
	require.Len(t, swatches.Lots, len(spectra.Lots))
	for i, lot := range spectra.Lots {
		other := swatches.Lots[i]
		assert.Equal(t, lot.ID, other.ID)
		assert.Equal(t, lot.Settings, other.Settings)
		b := other.Readings()
		for k, r := range lot.Readings() {
			assert.Less(t, (colorimetry.CIEDE2000{}).Diff(r.Lab, b[k].Lab), 1.0, "%s line %d", lot.ID, r.Row)
		}
	}
}
