package drum

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/internal/trialtable"
)

const (
	panels    = 4
	positions = 2
)

// scatter of lots, panels and readings; standard deviations of logarithms
// unless said otherwise.
type scatter struct {
	dose, strength, cast float64 // of lots
	upset                float64 // chance of a lot that scatters three times as much
	panel, position      float64
	hot, heat            float64 // chance of a hot spot at a position, and its extra ln dose
	reading, offset      float64 // relative in reflectance: of each band, of all
}

func newScatter(d draw) scatter {
	lot := d.log(0.055, 0.12) * scatterScale
	return scatter{
		dose: 0.85 * lot, strength: 0.5 * lot, cast: d.in(0.05, 0.3),
		upset: d.in(0, 0.03),
		panel: lot * d.in(0.6, 1.3), position: lot * d.in(0.2, 0.6),
		hot: d.in(0, 0.03), heat: d.in(0.2, 0.8),
		reading: d.log(0.001, 0.004), offset: d.log(0.002, 0.008),
	}
}

// luck of one lot.
type luck struct{ dose, strength, cast float64 }

func calm() luck { return luck{} }

func (l *Laundry) luck(rng *rand.Rand) luck {
	s := l.scatter
	wild := 1.0
	if rng.Float64() < s.upset {
		wild = 3
	}
	return luck{wild * s.dose * rng.NormFloat64(), wild * s.strength * rng.NormFloat64(), s.cast * rng.NormFloat64()}
}

// readings of one lot, panel by panel.
func (l *Laundry) readings(rng *rand.Rand, x [3]float64) (all [panels * positions][bands]float64) {
	e := l.exposure(x, l.luck(rng))
	for p := range panels {
		panel := l.scatter.panel * rng.NormFloat64()
		for q := range positions {
			spot := panel + l.scatter.position*rng.NormFloat64()
			if rng.Float64() < l.scatter.hot {
				spot += l.scatter.heat
			}
			all[p*positions+q] = l.read(rng, l.cloth.spectrum(e, math.Exp(spot)))
		}
	}
	return all
}

// read adds the noise of the instrument and of the place on the cloth.
func (l *Laundry) read(rng *rand.Rand, r [bands]float64) [bands]float64 {
	all := 1 + l.scatter.offset*rng.NormFloat64()
	for i := range r {
		r[i] = max(0.001, r[i]*all*(1+l.scatter.reading*rng.NormFloat64()))
	}
	return r
}

// Lot is the mean shade of one simulated lot.
func (l *Laundry) Lot(rng *rand.Rand, settings map[string]float64) (m colorimetry.Lab) {
	all := l.readings(rng, l.values(settings))
	for i := range all {
		lab := l.lab(all[i])
		m.L += lab.L / float64(len(all))
		m.A += lab.A / float64(len(all))
		m.B += lab.B / float64(len(all))
	}
	return m
}

// WriteTrials writes a table of the base, a blank, the white and one simulated
// lot for each of the settings.
func (l *Laundry) WriteTrials(w io.Writer, rng *rand.Rand, lots []map[string]float64) error {
	if _, err := io.WriteString(w, trialtable.Invented); err != nil {
		return err
	}
	table := trialtable.New(w, l.process, l.columns, grid())
	lot := func(id, role string, settings []float64, all [panels * positions][bands]float64) {
		for i, r := range all {
			table.Add(id, role, settings, i/positions+1, i%positions+1, r[:])
		}
	}
	plain := func(r [bands]float64) (all [panels * positions][bands]float64) {
		for i := range all {
			all[i] = l.read(rng, r)
		}
		return all
	}
	lot("BASE", "base", nil, plain(l.cloth.base()))
	blank := [3]float64{0, l.center[1], l.center[2]}
	lot("BLANK", "blank", blank[:], l.readings(rng, blank))
	lot("WHITE", "white", nil, plain(l.cloth.white()))
	for i, s := range lots {
		x := l.values(s)
		lot(fmt.Sprintf("T%02d", i+1), "trial", x[:], l.readings(rng, x))
	}
	return table.Close()
}
