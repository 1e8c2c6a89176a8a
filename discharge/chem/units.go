package chem

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// The base unit of each quantity is in its comment. Products that the work
// needs are methods, so that a liter never multiplies a liter.
type (
	Mass          float64 // gram
	Volume        float64 // liter
	Concentration float64 // gram per liter
	Amount        float64 // mole
	Molarity      float64 // mole per liter
	MolarMass     float64 // gram per mole
	Ratio         float64 // kg per kg, such as carrier on dry garment
	LiquorRatio   float64 // liter per kg, such as bath on dry garment
	Fraction      float64 // mass fraction, 0 to 1
	Celsius       float64 // degree Celsius: an offset scale, so it has no unit constant
)

// Units to multiply with: 2.5 * chem.Kilogram.
const (
	Milligram Mass = 1e-3
	Gram      Mass = 1
	Kilogram  Mass = 1000

	Milliliter Volume = 1e-3
	Liter      Volume = 1
	CubicMeter Volume = 1000

	GramPerLiter Concentration = 1
	MolePerLiter Molarity      = 1
	Percent      Fraction      = 0.01
)

// Of returns the mass that is r times m.
func (r Ratio) Of(m Mass) Mass { return Mass(r) * m }

// Of returns the volume of a bath for dry garments of mass m.
func (r LiquorRatio) Of(m Mass) Volume { return Volume(float64(r) * float64(m/Kilogram)) }

// Of returns the part of m. On weight of garment, 2 % of 50 kg is 1 kg.
func (f Fraction) Of(m Mass) Mass { return Mass(f) * m }

// In returns the mass dissolved in v.
func (c Concentration) In(v Volume) Mass { return Mass(float64(c) * float64(v)) }

// In returns the amount dissolved in v.
func (c Molarity) In(v Volume) Amount { return Amount(float64(c) * float64(v)) }

// Mass converts an amount of a substance.
func (n Amount) Mass(m MolarMass) Mass { return Mass(float64(n) * float64(m)) }

// Amount converts a mass of a substance.
func (m Mass) Amount(mm MolarMass) Amount { return Amount(float64(m) / float64(mm)) }

// Concentration converts a molarity of a substance.
func (c Molarity) Concentration(m MolarMass) Concentration {
	return Concentration(float64(c) * float64(m))
}

// Molarity converts a concentration of a substance.
func (c Concentration) Molarity(m MolarMass) Molarity { return Molarity(float64(c) / float64(m)) }

// Per returns the concentration of m in v.
func (m Mass) Per(v Volume) Concentration { return Concentration(float64(m) / float64(v)) }

// OfMass returns the fraction that m is of whole.
func (m Mass) OfMass(whole Mass) Fraction { return Fraction(m / whole) }

// MassFraction returns the fraction by mass of what is dissolved at c in a
// liquid of that density in kg/L.
func (c Concentration) MassFraction(kgPerLiter float64) Fraction {
	return Fraction(float64(c) / (1000 * kgPerLiter))
}

// TradePercent is grams per 100 mL, as liquid hypochlorite is traded.
func (c Concentration) TradePercent() float64 { return float64(c) / 10 }

// FromTradePercent is the inverse of [Concentration.TradePercent].
func FromTradePercent(p float64) Concentration { return Concentration(10 * p) }

// Percent returns the fraction in percent.
func (f Fraction) Percent() float64 { return 100 * float64(f) }

// Fahrenheit returns the temperature in °F.
func (t Celsius) Fahrenheit() float64 { return float64(t)*1.8 + 32 }

// FromFahrenheit converts from °F.
func FromFahrenheit(f float64) Celsius { return Celsius((f - 32) / 1.8) }

// ParseTemperature reads "60", "60C", "60 °C" or "140F"; a bare number is °C.
func ParseTemperature(s string) (Celsius, error) {
	t := strings.ToUpper(strings.ReplaceAll(strings.ReplaceAll(strings.TrimSpace(s), "°", ""), " ", ""))
	fahrenheit := strings.HasSuffix(t, "F")
	v, err := strconv.ParseFloat(strings.TrimRight(t, "CF"), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) || len(t)-len(strings.TrimRight(t, "CF")) > 1 {
		return 0, fmt.Errorf("temperature %q: want a number in °C, or with F for °F, such as 60 or 140F", s)
	}
	c := Celsius(v)
	if fahrenheit {
		c = FromFahrenheit(v)
	}
	if c < -273.15 {
		return 0, fmt.Errorf("temperature %q is below absolute zero", s)
	}
	return c, nil
}

// Round returns m to the nearest step of the scale; a step of 0 leaves it.
func (m Mass) Round(step Mass) Mass { return Mass(round(float64(m), float64(step), math.Round)) }

// RoundUp returns the next step of the scale that is not below m.
func (m Mass) RoundUp(step Mass) Mass { return Mass(round(float64(m), float64(step), math.Ceil)) }

// Round returns v to the nearest step of the gauge; a step of 0 leaves it.
func (v Volume) Round(step Volume) Volume {
	return Volume(round(float64(v), float64(step), math.Round))
}

// RoundUp returns the next step of the gauge that is not below v.
func (v Volume) RoundUp(step Volume) Volume {
	return Volume(round(float64(v), float64(step), math.Ceil))
}

func round(x, step float64, to func(float64) float64) float64 {
	if step <= 0 {
		return x
	}
	n := x / step
	// What is a whole number of steps but for the last bits stays that number,
	// or Ceil would add a step for 0.3/0.1.
	if r := math.Round(n); math.Abs(n-r) < 1e-9*math.Max(1, math.Abs(n)) {
		n = r
	}
	n = to(n)
	// Dividing by the reciprocal keeps 3 steps of 0.1 from becoming 0.30000000000000004.
	if inv := math.Round(1 / step); step < 1 && math.Abs(inv*step-1) < 1e-12 {
		return n / inv
	}
	return n * step
}

func number(x float64) string { return strconv.FormatFloat(x, 'g', 6, 64) }

// String gives kg from 1 kg on, else g, else mg.
func (m Mass) String() string {
	switch a := math.Abs(float64(m)); {
	case a >= 1000:
		return number(float64(m/Kilogram)) + " kg"
	case a >= 0.1 || a == 0:
		return number(float64(m)) + " g"
	}
	return number(float64(m/Milligram)) + " mg"
}

// String gives L, below 0.1 L mL.
func (v Volume) String() string {
	if a := math.Abs(float64(v)); a >= 0.1 || a == 0 {
		return number(float64(v)) + " L"
	}
	return number(float64(v/Milliliter)) + " mL"
}

func (c Concentration) String() string { return number(float64(c)) + " g/L" }
func (n Amount) String() string        { return number(float64(n)) + " mol" }
func (c Molarity) String() string      { return number(float64(c)) + " mol/L" }
func (m MolarMass) String() string     { return number(float64(m)) + " g/mol" }
func (r Ratio) String() string         { return number(float64(r)) + " kg/kg" }
func (r LiquorRatio) String() string   { return number(float64(r)) + " L/kg" }
func (f Fraction) String() string      { return number(f.Percent()) + " %" }
func (t Celsius) String() string {
	return fmt.Sprintf("%.3g °C (%.0f °F)", float64(t), t.Fahrenheit())
}
