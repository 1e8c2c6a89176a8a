package capped

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/internal/trialtable"
)

// Columns are those of the factors: strength, the second one, time.
func (l *Laundry) Columns() []string { return slices.Clone(l.columns[:]) }

// Ladder is what a practitioner runs: two levels of strength and of the second
// factor, and lots/4 times.
func (l *Laundry) Ladder(lots int) ([]map[string]float64, error) {
	if lots < 8 || lots%4 != 0 {
		return nil, fmt.Errorf("capped: a ladder has 8, 12, 16 … lots, not %d", lots)
	}
	var out []map[string]float64
	for k := range lots / 4 {
		t := significant(l.lo[2] * math.Pow(l.hi[2]/l.lo[2], float64(k)/float64(lots/4-1)))
		for corner := range 4 {
			x := settings{l.lo[0], l.lo[1], t}
			if corner&1 > 0 {
				x[0] = l.hi[0]
			}
			if corner&2 > 0 {
				x[1] = l.hi[1]
			}
			out = append(out, l.named(x))
		}
	}
	return out, nil
}

// RandomSettings lie inside the trial region, uniform in logarithms.
func (l *Laundry) RandomSettings(rng *rand.Rand) map[string]float64 {
	var x settings
	for i := range x {
		x[i] = significant(between(rng, l.lo[i], l.hi[i]))
	}
	return l.named(x)
}

func (l *Laundry) named(x settings) map[string]float64 {
	return map[string]float64{l.columns[0]: x[0], l.columns[1]: x[1], l.columns[2]: x[2]}
}

func (l *Laundry) of(named map[string]float64) (x settings) {
	for i, c := range l.columns {
		x[i] = named[c]
	}
	return x
}

// Expected is the shade at settings without any scatter, under D65/10.
func (l *Laundry) Expected(named map[string]float64) colorimetry.Lab {
	return l.shade(l.dose(l.of(named)), casts{})
}

type reading struct {
	panel, position int
	r               spectrum
}

// run is a load of four panels with two readings each, at a dose that is 0 for
// the base and infinite for the white.
func (l *Laundry) run(rng *rand.Rand, dose float64) (out []reading) {
	n := rng.NormFloat64
	lot := l.sdLot * n()
	lotCast := casts{l.sdCast * n(), l.sdCast * n()}
	lotLab := [3]float64{l.sdLab * n(), 0.6 * l.sdLab * n(), l.sdLab * n()}
	for panel := 1; panel <= 4; panel++ {
		off := lot + l.sdPanel*n()
		if rng.Float64() < l.hotShare {
			off += l.hot * rng.ExpFloat64()
		}
		cast := casts{lotCast.brown + 0.6*l.sdCast*n(), lotCast.loose + 0.6*l.sdCast*n()}
		dyed := math.Exp(l.rough * n())
		lab := lotLab
		for k := range lab {
			lab[k] += 0.6 * l.sdLab * n()
		}
		for position := 1; position <= 2; position++ {
			s := l.spectrum(dose*math.Exp(off+0.3*l.sdPanel*n()), dyed, cast)
			gain := 1 + 0.003*n()
			for i := range s {
				// Smooth changes of reflectance that move L*, a*, b* by about lab.
				z := float64(i)/15 - 1
				per := 3 * math.Cbrt(s[i]*s[i]) / 116
				s[i] = math.Max(0.002, s[i]*gain+per*(lab[0]+0.5*lab[2]*z+0.45*lab[1]*(3*z*z-1))+0.0002*n())
			}
			out = append(out, reading{panel, position, s})
		}
	}
	return out
}

// Lot runs a load at settings and returns the mean of its readings.
func (l *Laundry) Lot(rng *rand.Rand, named map[string]float64) (mean colorimetry.Lab) {
	all := l.run(rng, l.dose(l.of(named)))
	for i := range all {
		c := l.weights.Lab(all[i].r[:])
		mean.L += c.L / float64(len(all))
		mean.A += c.A / float64(len(all))
		mean.B += c.B / float64(len(all))
	}
	return mean
}

// blankDose is what rubbing alone does.
const blankDose = 0.002

// WriteTrials writes base, blank, white and the trial lots of a design as a CSV
// table.
func (l *Laundry) WriteTrials(w io.Writer, rng *rand.Rand, design []map[string]float64) error {
	if _, err := io.WriteString(w, trialtable.Invented); err != nil {
		return err
	}
	table := trialtable.New(w, l.Process, l.columns[:], Grid())
	lot := func(id, role string, x []float64, dose float64) {
		for _, rd := range l.run(rng, dose) {
			table.Add(id, role, x, rd.panel, rd.position, rd.r[:])
		}
	}
	lot("BASE", "base", nil, 0)
	lot("BLANK", "blank", []float64{0, significant(l.mid[1]), significant(l.mid[2])}, blankDose)
	lot("WHITE", "white", nil, math.Inf(1))
	for i, named := range design {
		x := l.of(named)
		lot(fmt.Sprintf("T%02d", i+1), "trial", x[:], l.dose(x))
	}
	return table.Close()
}
