package chem

import (
	"fmt"
	"math"
)

// GasSample is the feed gas that went through the absorbing bottles, as the meter read it.
type GasSample struct {
	Volume   Volume
	Temp     Celsius // of the gas at the meter
	Pressure float64 // of it there, in kPa; 0 means that of the normal state
	// Meter is its half-width relative to the volume; 0 means 0.02 (common practice, no source).
	Meter float64
}

// The normal state of gases: 0 °C and 101.325 kPa (DIN 1343).
const (
	normalKelvin   = 273.15
	normalPressure = 101.325
)

// Normal is the volume in the normal state, by the law of ideal gases.
func (g GasSample) Normal() (Volume, error) {
	p := g.Pressure
	if p == 0 {
		p = normalPressure
	}
	if err := positive("gas volume", float64(g.Volume)); err != nil {
		return 0, err
	}
	if !(p >= 50 && p <= 500) {
		return 0, fmt.Errorf("%w: a gas at %g kPa; want the absolute pressure at the meter, 50 to 500 kPa", ErrTitration, p)
	}
	if !(g.Temp >= -20 && g.Temp <= 80) {
		return 0, fmt.Errorf("%w: a gas at %g °C; want -20 to 80 °C at the meter", ErrTitration, float64(g.Temp))
	}
	return Volume(float64(g.Volume) * p / normalPressure * normalKelvin / (float64(g.Temp) + normalKelvin)), nil
}

// OzoneByThiosulfate is the ozone of a feed gas per volume in the normal state, by iodometry: the
// gas through neutral iodide, acidified only then,
//
//	O3 + 2 I⁻ + H2O → I2 + O2 + 2 OH⁻,  I2 + 2 S2O3²⁻ → 2 I⁻ + S4O6²⁻
//
// so 1 mL of 0.1 mol/L thiosulfate is 2.4 mg. In g/L, a thousandth of g/Nm³. What passes
// the bottles is not found: use two in a row.
func OzoneByThiosulfate(g GasSample, thiosulfate Molarity, t Titres, tol *Tolerances) (Estimate[Concentration], error) {
	normal, err := g.Normal()
	if err != nil {
		return Estimate[Concentration]{}, err
	}
	meter := g.Meter
	if meter == 0 {
		meter = 0.02
	}
	if !(meter > 0 && meter < 0.5) {
		return Estimate[Concentration]{}, fmt.Errorf("%w: a gas meter good to ± %g %%; want above 0 and below 50 %%", ErrTitration, 100*meter)
	}
	e, err := perVolume(normal, []Part{{"gas meter", 100 * meter / math.Sqrt(3)}}, "thiosulfate", thiosulfate, float64(molar("O3"))/2, t, tol)
	if err != nil {
		return e, err
	}
	return ozoneStrengths().check(e)
}

// ozoneStrengths: generators give up to some 15 % by weight of ozone in oxygen, 1.4 g/L in the
// normal state (common practice, no source).
func ozoneStrengths() strengths {
	return strengths{0.2, 0.4, "generators give up to about 200 g/Nm³",
		"check that the thiosulfate is in mol/L (not mmol/L), the titre in mL and the gas in L"}
}
