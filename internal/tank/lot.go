package tank

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/internal/trialtable"
)

// Columns are the three factor columns: strength, second factor, time.
func (l *Laundry) Columns() []string { return slices.Clone(l.columns[:]) }

// Ladder is a practitioner's first set of trials: the corners in strength and
// second factor at lots/4 times.
func (l *Laundry) Ladder(lots int) ([]map[string]float64, error) {
	if lots < 8 || lots%4 != 0 {
		return nil, fmt.Errorf("tank: a ladder has 8, 12, 16 … lots, not %d", lots)
	}
	var all []map[string]float64
	times := lots / 4
	for i := range times {
		t := l.lo[2] * math.Pow(l.hi[2]/l.lo[2], float64(i)/float64(times-1))
		for _, s := range []float64{l.lo[0], l.hi[0]} {
			for _, r := range []float64{l.lo[1], l.hi[1]} {
				all = append(all, l.named(settings{s, r, t}))
			}
		}
	}
	return all, nil
}

// RandomSettings lie inside the region, uniform in logarithms.
func (l *Laundry) RandomSettings(rng *rand.Rand) map[string]float64 {
	var x settings
	for j := range x {
		x[j] = draw{rng}.wide(l.lo[j], l.hi[j])
	}
	return l.named(x)
}

// center of the region in logarithms.
func (l *Laundry) center() (x settings) {
	for j := range x {
		x[j] = math.Sqrt(l.lo[j] * l.hi[j])
	}
	return x
}

// named are the settings under the names of their columns.
func (l *Laundry) named(x settings) map[string]float64 {
	m := make(map[string]float64, 3)
	for j, c := range l.columns {
		m[c] = x[j]
	}
	return m
}

// of are settings from their names.
func (l *Laundry) of(named map[string]float64) (x settings) {
	for j, c := range l.columns {
		x[j] = named[c]
	}
	return x
}

// Expected is the shade without any scatter.
func (l *Laundry) Expected(named map[string]float64) colorimetry.Lab {
	return l.shade(l.of(named), variation{})
}

// Lot is the mean shade of one simulated lot.
func (l *Laundry) Lot(rng *rand.Rand, named map[string]float64) (mean colorimetry.Lab) {
	readings := l.readings(rng, l.of(named))
	for i := range readings {
		c := l.weights.Lab(readings[i][:])
		mean.L += c.L / float64(len(readings))
		mean.A += c.A / float64(len(readings))
		mean.B += c.B / float64(len(readings))
	}
	return mean
}

// panels of a lot, and positions on each that are read.
const panels, positions = 4, 2

// readings runs a lot and measures its panels.
func (l *Laundry) readings(rng *rand.Rand, x settings) (all [panels * positions]spectrum) {
	s := l.scatter
	lot := variation{
		strength: s.lot * rng.NormFloat64(), contact: s.contact * rng.NormFloat64(), rate: s.rate * rng.NormFloat64(),
		cast: s.cast * rng.NormFloat64(),
	}
	if upset := rng.Float64(); upset < s.upset {
		lot.strength += s.upsetSize * math.Copysign(0.5+rng.Float64(), upset-s.upset/2)
	}
	for p := range panels {
		panel := lot
		panel.local, panel.dye = s.panel*rng.NormFloat64(), s.dye*rng.NormFloat64()
		for q := range positions {
			spot := panel
			spot.local += s.position * rng.NormFloat64()
			if rng.Float64() < s.hot {
				spot.local += s.hotSize * rng.ExpFloat64()
			}
			all[p*positions+q] = l.noisy(rng, l.spectrum(x, spot))
		}
	}
	return all
}

// noisy adds the noise of one measurement: a common gain, a tilt, and some of
// each band.
func (l *Laundry) noisy(rng *rand.Rand, r spectrum) spectrum {
	s := l.scatter.reading
	gain, tilt := s*rng.NormFloat64(), 0.5*s*rng.NormFloat64()
	for i := range r {
		r[i] *= math.Exp(gain + tilt*(nanometers(i)-550)/150 + 0.3*s*rng.NormFloat64())
	}
	return r
}

// untreated measures cloth that needs no run.
func (l *Laundry) untreated(rng *rand.Rand, garments *load) (all [panels * positions]spectrum) {
	for p := range panels {
		v := variation{dye: l.scatter.dye * rng.NormFloat64()}
		for q := range positions {
			all[p*positions+q] = l.noisy(rng, l.cloth.reflectance(garments, v))
		}
	}
	return all
}

// WriteTrials writes a trial table: base, blank, white, and a lot for each of
// the settings.
func (l *Laundry) WriteTrials(w io.Writer, rng *rand.Rand, lots []map[string]float64) error {
	if _, err := io.WriteString(w, trialtable.Invented); err != nil {
		return err
	}
	table := trialtable.New(w, l.process, l.columns[:], grid())
	lot := func(id, role string, settings []float64, all [panels * positions]spectrum) {
		for n, r := range all {
			table.Add(id, role, settings, n/positions+1, n%positions+1, r[:])
		}
	}
	lot("BASE", "base", nil, l.untreated(rng, l.yarn.fresh()))
	blank := l.center()
	blank[0] = 0
	lot("BLANK", "blank", blank[:], l.readings(rng, blank))
	lot("WHITE", "white", nil, l.untreated(rng, l.yarn.stripped()))
	for i, named := range lots {
		x := l.of(named)
		lot(fmt.Sprintf("T%02d", i+1), "trial", x[:], l.readings(rng, x))
	}
	return table.Close()
}
