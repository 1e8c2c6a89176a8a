package trialtable_test

import (
	"bytes"
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/trialtable"
)

// What is written is read back by the tool, to the five digits of reflectance.
func TestTableIsReadBack(t *testing.T) {
	grid := colorimetry.Grid{Start: 400, Step: 10, N: 31}
	gray := func(r float64) []float64 {
		all := make([]float64, grid.N)
		for i := range all {
			all[i] = r
		}
		return all
	}
	b := bytes.NewBufferString(trialtable.Invented)
	table := trialtable.New(b, "ozone-gas", []string{"strength_gnm3", "moisture_pct", "time_min"}, grid)
	table.Add("BASE", "base", nil, 1, 1, gray(0.05))
	table.Add("WHITE", "white", nil, 1, 1, gray(0.7))
	table.Add("T01", "trial", []float64{40, 45.5, 12}, 3, 2, gray(0.3))
	require.NoError(t, table.Close())
	read, err := discharge.ReadTable("trials.csv", b, nil)
	require.NoError(t, err)
	require.Len(t, read.Lots, 3)
	lot := read.ByRole(discharge.Trial)[0]
	assert.Equal(t, "ozone-gas", lot.Process)
	assert.Equal(t, discharge.Settings{"strength_gnm3": 40, "moisture_pct": 45.5, "time_min": 12}, lot.Settings)
	require.Len(t, lot.Panels, 1)
	assert.Equal(t, "3", lot.Panels[0].ID)
	assert.Equal(t, gray(0.3), lot.Panels[0].Readings[0].Spectrum)
	assert.Empty(t, read.ByRole(discharge.Base)[0].Settings)
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no space left") }

func TestErrorsOfWritingAreKept(t *testing.T) {
	table := trialtable.New(full{}, "ozone-gas", []string{"time_min"}, colorimetry.Grid{Start: 400, Step: 10, N: 31})
	table.Add("BASE", "base", nil, 1, 1, nil)
	require.ErrorContains(t, table.Close(), "no space left")
}
