package film

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/internal/trialtable"
)

const (
	panels    = 4
	positions = 2
)

// scatter of lots, panels and readings; standard deviations of logarithms.
type scatter struct {
	lot, panel       float64 // of strength and rate together
	lotDye, panelDye float64
	reading          float64
	spotted          float64 // chance of a panel to have hot spots
	hot              hotSpots
}

// hotSpots are parts of a panel that meet much more oxidizer.
type hotSpots struct{ area, exposure float64 }

func newScatter(d draw) scatter {
	s := scatter{
		lot: d.in(0.06, 0.10), panel: d.in(0.025, 0.05),
		lotDye: d.in(0.005, 0.02), panelDye: d.in(0.01, 0.03), reading: d.in(0.002, 0.007),
	}
	if d.yes(0.25) {
		s.spotted = d.in(0.05, 0.2)
		s.hot = hotSpots{d.in(0.05, 0.2), d.in(2, 4)}
	}
	return s
}

// on adds the spots to a face of raised parts and the rest.
func (h hotSpots) on(face []cell) []cell {
	spot := face[0]
	spot.area, spot.exposure = h.area, h.exposure
	for k := range face {
		face[k].area *= 1 - h.area
	}
	return append(face, spot)
}

// Columns names the factors.
func (l *Laundry) Columns() []string { return slices.Clone(l.columns) }

// named are the settings under the names of their columns.
func (l *Laundry) named(x settings) map[string]float64 {
	m := map[string]float64{}
	for i, c := range l.columns {
		m[c] = x[i]
	}
	return m
}

// of are settings from their names.
func (l *Laundry) of(named map[string]float64) settings {
	x := l.center
	for i, c := range l.columns {
		x[i] = named[c]
	}
	return x
}

// Ladder is a practitioner's first set of trials: the corners in strength and
// second factor at lots/4 times, with either temperature in turn.
func (l *Laundry) Ladder(lots int) ([]map[string]float64, error) {
	if lots < 8 || lots%4 != 0 {
		return nil, fmt.Errorf("film: a ladder has 8, 12, 16 … lots, not %d", lots)
	}
	var all []map[string]float64
	ends := [2]settings{l.lo, l.hi}
	times := lots / 4
	for t := range times {
		time := l.lo[minutes] * math.Pow(l.hi[minutes]/l.lo[minutes], float64(t)/float64(times-1))
		for r := range 2 {
			for s := range 2 {
				all = append(all, l.named(settings{
					strength: ends[s][strength], second: ends[r][second], celsius: ends[(t+s+r)%2][celsius],
					minutes: math.Round(2*time) / 2, // to half a minute
				}))
			}
		}
	}
	return all, nil
}

// RandomSettings are uniform in the logarithms over the region, and in temperature.
func (l *Laundry) RandomSettings(rng *rand.Rand) map[string]float64 {
	d, x := draw{rng}, l.center
	for i := range l.columns {
		if i == celsius {
			x[i] = dialed(d.in(l.lo[i], l.hi[i]))
		} else {
			x[i] = dialed(d.log(l.lo[i], l.hi[i]))
		}
	}
	return l.named(x)
}

// dialed is a setting to four digits.
func dialed(x float64) float64 {
	v, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 4, 64), 64)
	if err != nil {
		panic(err) // never, of what FormatFloat wrote
	}
	return v
}

// Expected is the mean shade of lots at the settings: over the scatter of strength
// and rate, by Gauss and Hermite's three nodes for each, and over hot spots.
func (l *Laundry) Expected(named map[string]float64) (mean colorimetry.Lab) {
	s, x := &l.scatter, l.of(named)
	sd := math.Sqrt(s.lot*s.lot+s.panel*s.panel) / math.Sqrt2
	nodes := [3]struct{ z, weight float64 }{{-math.Sqrt(3), 1. / 6}, {0, 2. / 3}, {math.Sqrt(3), 1. / 6}}
	for _, hot := range []bool{false, true} {
		chance := 1 - s.spotted
		if hot {
			chance = s.spotted
		}
		if chance == 0 {
			continue
		}
		for _, a := range nodes {
			for _, b := range nodes {
				face := l.run(x, luck{strength: a.z * sd, rate: b.z * sd, deeper: 1, hot: hot})
				add(&mean, l.lab(face), chance*a.weight*b.weight)
			}
		}
	}
	return mean
}

// add a share of a shade.
func add(m *colorimetry.Lab, lab colorimetry.Lab, share float64) {
	m.L += share * lab.L
	m.A += share * lab.A
	m.B += share * lab.B
}

// Lot is the mean shade of one simulated lot.
func (l *Laundry) Lot(rng *rand.Rand, named map[string]float64) (mean colorimetry.Lab) {
	for _, r := range l.readings(rng, l.of(named)) {
		lab := l.lab(r)
		mean.L += lab.L / (panels * positions)
		mean.A += lab.A / (panels * positions)
		mean.B += lab.B / (panels * positions)
	}
	return mean
}

// readings runs a lot and measures its panels.
func (l *Laundry) readings(rng *rand.Rand, x settings) (all []spectrum) {
	s := &l.scatter
	part := func(sd float64) float64 { return rng.NormFloat64() * sd / math.Sqrt2 } // of strength, of rate
	lot := luck{strength: part(s.lot), rate: part(s.lot), deeper: math.Exp(rng.NormFloat64() * s.lotDye)}
	for range panels {
		panel := luck{strength: lot.strength + part(s.panel), rate: lot.rate + part(s.panel)}
		panel.hot = rng.Float64() < s.spotted
		panel.deeper = lot.deeper * math.Exp(rng.NormFloat64()*s.panelDye)
		face := l.run(x, panel)
		for range positions {
			all = append(all, l.read(rng, face))
		}
	}
	return all
}

// untreated measures cloth that needs no run, by its spectrum when dyed deeper by a
// factor.
func (l *Laundry) untreated(rng *rand.Rand, look func(deeper float64) spectrum) (all []spectrum) {
	lot := math.Exp(rng.NormFloat64() * l.scatter.lotDye)
	for range panels {
		face := look(lot * math.Exp(rng.NormFloat64()*l.scatter.panelDye))
		for range positions {
			all = append(all, l.read(rng, face))
		}
	}
	return all
}

// read adds the noise of one measurement: a gain, a tilt, a bend, and a little of
// each band.
func (l *Laundry) read(rng *rand.Rand, face spectrum) spectrum {
	const ofBand, darkest = 0.0002, 0.0005
	sd := l.scatter.reading
	gain, tilt, bend := rng.NormFloat64()*sd, rng.NormFloat64()*sd*0.4, rng.NormFloat64()*sd*0.3
	for i, r := range face {
		x := float64(i)/(bands/2) - 1
		face[i] = math.Max(darkest, r*math.Exp(gain+tilt*x+bend*(x*x-0.33))+rng.NormFloat64()*ofBand)
	}
	return face
}

// WriteTrials writes a table of the base, the white if the laundry has one, and one
// simulated lot for each of the settings.
func (l *Laundry) WriteTrials(w io.Writer, rng *rand.Rand, lots []map[string]float64) error {
	if _, err := io.WriteString(w, trialtable.Invented); err != nil {
		return err
	}
	table := trialtable.New(w, l.process, l.columns, grid())
	write := func(id, role string, settings []float64, readings []spectrum) {
		for i, r := range readings {
			table.Add(id, role, settings, i/positions+1, i%positions+1, r[:])
		}
	}
	write("BASE", "base", nil, l.untreated(rng, l.base))
	if l.whiteRead {
		write("WHITE", "white", nil, l.untreated(rng, l.white))
	}
	for i, named := range lots {
		x := l.of(named)
		write(fmt.Sprintf("T%02d", i+1), "trial", x[:len(l.columns)], l.readings(rng, x))
	}
	return table.Close()
}
