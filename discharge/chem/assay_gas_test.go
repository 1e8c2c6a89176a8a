package chem

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Iodometry of ozone counts 24 mg per milliequivalent of thiosulfate: "mg O3 = mL × N × 24"
// (Standard Methods for the Examination of Water and Wastewater, 2350 E, from memory). 20 mL of 0.1
// mol/L are 48 mg; of 1 L in the normal state that is 48 g/Nm³.
func TestOzoneByThiosulfate(t *testing.T) {
	titres := Titres{Used: []Volume{20 * Milliliter, 20.05 * Milliliter, 19.95 * Milliliter}}
	e, err := OzoneByThiosulfate(GasSample{Volume: 1}, 0.1, titres, nil)
	require.NoError(t, err)
	assert.InDelta(t, 48e-3, float64(e.Value), 1e-5) // atomic weights: 47.997 for 48
	assert.True(t, e.Lo < e.Value && e.Value < e.Hi)
	// The meter's 2 % as a rectangle is the largest part: 1.15 %.
	assert.InDelta(t, 1.15, 100*float64(e.SE/e.Value), 0.1)

	// A liter at 25 °C and 100 kPa is 273.15/298.15 × 100/101.325 = 0.9042 L in the normal state
	// (the molar volumes 22.414 and 24.790 L of CODATA stand in the same ratio).
	warm, err := GasSample{Volume: 1, Temp: 25, Pressure: 100}.Normal()
	require.NoError(t, err)
	assert.InDelta(t, 22.41396954/24.78957029, float64(warm), 1e-6)
	w, err := OzoneByThiosulfate(GasSample{Volume: 1, Temp: 25, Pressure: 100}, 0.1, titres, nil)
	require.NoError(t, err)
	assert.InDelta(t, float64(e.Value)/float64(warm), float64(w.Value), 1e-12)

	for name, bad := range map[string]struct {
		gas GasSample
		thi Molarity
	}{
		"no gas":         {GasSample{}, 0.1},
		"no pressure":    {GasSample{Volume: 1, Pressure: 1}, 0.1}, // bar for kPa
		"kelvin":         {GasSample{Volume: 1, Temp: 298}, 0.1},
		"no titrant":     {GasSample{Volume: 1}, 0},
		"mmol/L":         {GasSample{Volume: 1}, 100},
		"no number":      {GasSample{Volume: Volume(math.NaN())}, 0.1},
		"meter":          {GasSample{Volume: 1, Meter: 2}, 0.1},
		"far too strong": {GasSample{Volume: 0.1}, 0.1},
	} {
		_, err := OzoneByThiosulfate(bad.gas, bad.thi, titres, nil)
		assert.ErrorIs(t, err, ErrTitration, name)
	}
}
