package chem

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestUnits(t *testing.T) {
	// Definitions of the units; 82 °C is about 180 °F.
	assert.Equal(t, 120*Gram, Concentration(1.5).In(80*Liter))
	assert.Equal(t, 100*Kilogram, Ratio(2).Of(50*Kilogram))
	assert.Equal(t, 400*Liter, LiquorRatio(8).Of(50*Kilogram))
	assert.Equal(t, 1*Kilogram, (2 * Percent).Of(50*Kilogram))
	assert.InDelta(t, 179.6, Celsius(82).Fahrenheit(), 1e-9)
	assert.InDelta(t, 60, float64(FromFahrenheit(140)), 1e-9)
	assert.Equal(t, Fraction(0.25), (25 * Gram).OfMass(100*Gram))
	assert.Equal(t, "12.345 kg", (12345 * Gram).String())
	assert.Equal(t, "2.5 mg", (2.5 * Milligram).String())
	assert.Equal(t, "25 mL", (25 * Milliliter).String())
	assert.Equal(t, "4 %", (4 * Percent).String())
	for s, want := range map[string]Celsius{"60": 60, "60C": 60, " 60 °C ": 60, "140F": 60, "140 °f": 60} {
		got, err := ParseTemperature(s)
		require.NoError(t, err, s)
		assert.InDelta(t, float64(want), float64(got), 1e-9, s)
	}
	for _, s := range []string{"", "warm", "60CF", "NaN", "-300", "Inf"} {
		_, err := ParseTemperature(s)
		assert.Error(t, err, s)
	}
}

func TestRounding(t *testing.T) {
	assert.Equal(t, Mass(0.3), Mass(0.3).RoundUp(0.1))
	assert.Equal(t, Mass(0.3), Mass(0.31).Round(0.1))
	assert.Equal(t, 105*Gram, Mass(101).RoundUp(5))
	assert.Equal(t, Mass(101.23), Mass(101.23).Round(0))
	rapid.Check(t, func(t *rapid.T) {
		m := Mass(rapid.Float64Range(0, 1e6).Draw(t, "m"))
		step := Mass(rapid.SampledFrom([]float64{0.01, 0.1, 0.5, 1, 2, 5, 10, 50}).Draw(t, "step"))
		if d := math.Abs(float64(m.Round(step) - m)); d > float64(step)/2*(1+1e-6) {
			t.Fatal("rounded too far", d)
		}
		if up := m.RoundUp(step); up < m*(1-1e-8)-1e-8*step || up > m+step {
			t.Fatal("rounded up wrongly", up)
		}
		if m.Round(step).Round(step) != m.Round(step) {
			t.Fatal("not stable")
		}
	})
}
