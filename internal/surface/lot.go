package surface

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

// named and of turn settings into columns of a table, and back.
func (l *Laundry) named(s [3]float64) map[string]float64 {
	return map[string]float64{l.columns[0]: s[0], l.columns[1]: s[1], l.columns[2]: s[2]}
}

func (l *Laundry) of(named map[string]float64) (s [3]float64) {
	for k, c := range l.columns {
		s[k] = named[c]
	}
	return s
}

// Ladder is a practitioner's plan: two levels of strength by two of the second
// factor by lots/4 times, geometric.
func (l *Laundry) Ladder(lots int) ([]map[string]float64, error) {
	n := lots / 4
	if n < 2 || lots%4 != 0 {
		return nil, fmt.Errorf("surface: a ladder has 8, 12, 16 … lots, not %d", lots)
	}
	var all []map[string]float64
	for _, strength := range [2]float64{l.lo[0], l.hi[0]} {
		for _, second := range [2]float64{l.lo[1], l.hi[1]} {
			for k := range n {
				all = append(all, l.named([3]float64{strength, second, l.between(2, float64(k)/float64(n-1))}))
			}
		}
	}
	return all, nil
}

// RandomSettings lie inside the trial region, uniform in logarithms.
func (l *Laundry) RandomSettings(rng *rand.Rand) map[string]float64 {
	var s [3]float64
	for k := range s {
		s[k] = l.between(k, rng.Float64())
	}
	return l.named(s)
}

// Expected is the shade at settings without any scatter, under D65 for the 10
// degree observer.
func (l *Laundry) Expected(settings map[string]float64) colorimetry.Lab {
	return l.shade(l.of(settings))
}

// A lot is measured on so many panels, at so many positions of each.
const (
	panels    = 4
	positions = 2
)

// sample is the reflectances of a lot.
type sample [panels][positions]spectrum

// readings runs a lot at settings and measures it.
func (l *Laundry) readings(rng *rand.Rand, s [3]float64) (all sample) {
	strength, second, minutes := s[0], s[1], s[2]
	sc := l.scatter
	wide := 1.0
	if rng.Float64() < sc.upset {
		wide = 3
	}
	charge := strength * math.Exp(wide*sc.charge*rng.NormFloat64())
	late := minutes * math.Exp(sc.minutes*rng.NormFloat64()/minutes)
	o := l.treat(charge, second, late, math.Exp(wide*sc.lot*rng.NormFloat64()))
	o.cast *= math.Exp(sc.residue * rng.NormFloat64())
	o.stray *= math.Exp(sc.residue * rng.NormFloat64())
	o.back *= math.Exp(sc.residue * rng.NormFloat64())
	strong := math.Exp(sc.cloth * rng.NormFloat64())
	for p := range all {
		panel := math.Exp(sc.panel * rng.NormFloat64())
		for q := range all[p] {
			spot := o
			spot.exposure *= panel * math.Exp(sc.spot*rng.NormFloat64())
			r := l.fabric.face(spot, strong)
			if strength > 0 && rng.Float64() < sc.hot {
				spot.exposure *= 2 + 2*rng.Float64()
				burnt := l.fabric.face(spot, strong)
				share := 0.1 + 0.3*rng.Float64()
				for i := range r {
					r[i] += share * (burnt[i] - r[i])
				}
			}
			all[p][q] = read(rng, r, sc.noise)
		}
	}
	return all
}

// read adds the noise of an instrument and of laying the cloth.
func read(rng *rand.Rand, r spectrum, noise float64) spectrum {
	level, tilt := noise*rng.NormFloat64(), noise/2*rng.NormFloat64()
	for i := range r {
		r[i] *= 1 + level + tilt*(float64(i)/(bands-1)*2-1) + noise/5*rng.NormFloat64()
		r[i] = min(max(r[i], 0.001), 1)
	}
	return r
}

// plain measures cloth that is not treated: the base, or the white.
func (l *Laundry) plain(rng *rand.Rand, face func(strong float64) spectrum) (all sample) {
	for p := range all {
		strong := math.Exp(l.scatter.cloth * rng.NormFloat64())
		for q := range all[p] {
			all[p][q] = read(rng, face(strong), l.scatter.noise)
		}
	}
	return all
}

// base measures dyed cloth as it comes.
func (l *Laundry) base(rng *rand.Rand) sample {
	return l.plain(rng, func(strong float64) spectrum { return l.fabric.face(outcome{}, strong) })
}

// white measures the cloth without dye.
func (l *Laundry) white(rng *rand.Rand) sample {
	return l.plain(rng, func(float64) spectrum { return l.fabric.white() })
}

// mean is the mean color of a lot's readings.
func (l *Laundry) mean(all sample) (mean colorimetry.Lab) {
	const n = panels * positions
	for _, panel := range all {
		for _, r := range panel {
			c := l.lab(r)
			mean.L, mean.A, mean.B = mean.L+c.L/n, mean.A+c.A/n, mean.B+c.B/n
		}
	}
	return mean
}

// Lot runs a lot at settings and returns the mean of its readings.
func (l *Laundry) Lot(rng *rand.Rand, settings map[string]float64) colorimetry.Lab {
	return l.mean(l.readings(rng, l.of(settings)))
}

// WriteTrials writes base, blank, white and the lots of a design as a CSV table,
// a row per reading.
func (l *Laundry) WriteTrials(w io.Writer, rng *rand.Rand, design []map[string]float64) error {
	if _, err := io.WriteString(w, trialtable.Invented); err != nil {
		return err
	}
	table := trialtable.New(w, l.process, l.columns[:], grid())
	lot := func(id, role string, settings []float64, all sample) {
		for p, panel := range all {
			for q, r := range panel {
				table.Add(id, role, settings, p+1, q+1, r[:])
			}
		}
	}
	lot("BASE", "base", nil, l.base(rng))
	lot("BLANK", "blank", nil, l.readings(rng, [3]float64{0, l.center(1), l.center(2)}))
	lot("WHITE", "white", nil, l.white(rng))
	for i, named := range design {
		s := l.of(named)
		lot(fmt.Sprintf("T%d", i+1), "trial", s[:], l.readings(rng, s))
	}
	return table.Close()
}
