package capped

import (
	"math"

	"example.com/dosetone/colorimetry"
)

// uncapped is the dose that settings would give without a cap: power laws,
// saturation with strength, decay of the enzyme, a best moisture.
func (l *Laundry) uncapped(x settings) float64 {
	u, v, t := x[0]/l.mid[0], x[1]/l.mid[1], x[2]/l.mid[2]
	if !math.IsInf(l.life, 1) {
		life := l.life * math.Pow(u, -l.wears)
		t = -life * math.Expm1(-t/life)
	}
	if !math.IsInf(l.saturates, 1) {
		u *= (1 + 1/l.saturates) / (1 + u/l.saturates)
	}
	d := l.rate * math.Pow(u, l.alpha) * math.Pow(v, l.beta) * math.Pow(t, l.gamma)
	if l.best > 0 {
		z := math.Log(v/l.best) / l.width
		d *= math.Exp(-z * z / 2)
	}
	return d
}

// dose is the uncapped dose below what the charge, or the gas in time, allows.
func (l *Laundry) dose(x settings) float64 {
	most := l.cap * x[0] / l.mid[0] * math.Pow(x[1]/l.mid[1], l.capSecond) * math.Pow(x[2]/l.mid[2], l.capTime)
	return math.Pow(math.Pow(l.uncapped(x), -l.sharp)+math.Pow(most, -l.sharp), -1/l.sharp)
}

// casts are ln factors of the brown cast and of loose dye.
type casts struct{ brown, loose float64 }

// left is the share of dye that a dose leaves.
func (l *Laundry) left(dose float64) float64 {
	if math.IsInf(dose, 1) {
		return 0
	}
	return math.Pow(1+(l.order-1)*dose, -1/(l.order-1))
}

// spectrum mixes ring and core by area; dyed is a factor on all dye.
func (l *Laundry) spectrum(dose, dyed float64, v casts) (out spectrum) {
	ring, core := l.left(dose), l.left(dose*l.slow)
	open := l.open + l.opens*math.Pow(1-ring, l.openPower)
	attacked := 1 - ring
	if math.IsInf(dose, 1) {
		attacked = 0 // the white panel is washed clean
	}
	for i := range out {
		rest := l.cloth*l.clothBand[i] + attacked*(l.brown*l.cast[i]*math.Exp(v.brown)+l.loose*l.dyeBand[i]*math.Exp(v.loose)) + l.products*ring*(1-ring)*4*l.cast[i]
		dye := l.dye * dyed * l.dyeBand[i]
		out[i] = (1-open)*colorimetry.FromKS(dye*ring+rest) + open*colorimetry.FromKS(dye*l.core*core+rest)
	}
	return out
}

func (l *Laundry) shade(dose float64, v casts) colorimetry.Lab {
	s := l.spectrum(dose, 1, v)
	return l.weights.Lab(s[:])
}
