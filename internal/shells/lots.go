package shells

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"strconv"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/internal/trialtable"
)

const (
	panels      = 4
	positions   = 2
	whitePanels = 2
	lotPanels   = 8 // that stand for all garments of a lot
)

// scatter of lots, panels and positions; standard deviations of logarithms unless
// said otherwise.
type scatter struct {
	strength, rate  float64 // of lots
	panel, position float64 // of exposure
	brown           float64 // of lots
	dye             float64 // of panels
	hot             float64 // chance of a position that meets much more
}

func newScatter(d draw) scatter {
	s := scatter{
		strength: d.in(0.045, 0.09), rate: d.in(0.04, 0.08),
		panel: d.in(0.03, 0.08), position: d.in(0.02, 0.05),
		brown: d.in(0.03, 0.12), dye: d.in(0.01, 0.03),
	}
	if d.Float64() < 0.4 {
		s.hot = d.in(0.005, 0.02)
	}
	return s
}

// luck of one lot.
type luck struct {
	strength, rate float64 // logarithms
	brown          float64 // factor
}

// place on a panel.
type place struct {
	exposure float64 // logarithm
	deeper   float64 // factor on the dye
}

func (l *Laundry) luck(d draw) luck {
	s := &l.scatter
	return luck{s.strength * d.NormFloat64(), s.rate * d.NormFloat64(), math.Exp(s.brown * d.NormFloat64())}
}

// places on panels, so many on each.
func (l *Laundry) places(d draw, panels, onEach int) (all []place) {
	s := &l.scatter
	for range panels {
		panel, deeper := s.panel*d.NormFloat64(), math.Exp(s.dye*d.NormFloat64())
		for range onEach {
			heat := 0.0
			if d.Float64() < s.hot {
				heat = d.in(0.4, 0.9)
			}
			all = append(all, place{panel + s.position*d.NormFloat64() + heat, deeper})
		}
	}
	return all
}

// read adds the noise of the instrument.
func read(d draw, faces [][bands]float64) [][bands]float64 {
	for k := range faces {
		all := 1 + 0.002*d.NormFloat64()
		for i, r := range faces[k] {
			faces[k][i] = r*all*(1+0.0015*d.NormFloat64()) + 0.00015*d.NormFloat64()
		}
	}
	return faces
}

// Columns names the three factors.
func (l *Laundry) Columns() []string { return append([]string(nil), l.columns[:]...) }

func (l *Laundry) settings(x [3]float64) map[string]float64 {
	s := map[string]float64{}
	for i, c := range l.columns {
		s[c] = x[i]
	}
	return s
}

func (l *Laundry) values(s map[string]float64) (x [3]float64) {
	for i, c := range l.columns {
		x[i] = s[c]
	}
	return x
}

// at is a point of the region by shares of its logarithmic widths.
func (l *Laundry) at(share [3]float64) (x [3]float64) {
	for i, p := range share {
		x[i] = l.lo[i] * math.Pow(l.hi[i]/l.lo[i], p)
	}
	return x
}

// Ladder is the practitioner's ladder over the region: two strengths, two values
// of the second factor, three or four times; with 24 lots half of 16 run again.
func (l *Laundry) Ladder(lots int) ([]map[string]float64, error) {
	times := 4
	switch lots {
	case 12:
		times = 3
	case 16, 24:
	default:
		return nil, fmt.Errorf("a ladder has 12, 16 or 24 lots, not %d", lots)
	}
	var all, again []map[string]float64
	for k := range times {
		for i := range 2 {
			for j := range 2 {
				x := l.at([3]float64{float64(i), float64(j), float64(k) / float64(times-1)})
				for f := range x {
					x[f] = dialed(x[f])
				}
				all = append(all, l.settings(x))
				if (i+j+k)%2 == 0 {
					again = append(again, l.settings(x))
				}
			}
		}
	}
	return append(all, again[:lots-len(all)]...), nil
}

// dialed is a setting to three digits, as people set it.
func dialed(x float64) float64 {
	v, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 3, 64), 64)
	if err != nil {
		panic(err) // never, of what FormatFloat wrote
	}
	return v
}

// RandomSettings are uniform in the logarithms over the region.
func (l *Laundry) RandomSettings(rng *rand.Rand) map[string]float64 {
	return l.settings(l.random(rng))
}

func (l *Laundry) random(rng *rand.Rand) [3]float64 {
	var share [3]float64
	for i := range share {
		share[i] = rng.Float64()
	}
	return l.at(share)
}

// Expected is the mean shade of lots at the settings, over the scatter in what
// an even place meets.
func (l *Laundry) Expected(settings map[string]float64) (m colorimetry.Lab) {
	s := &l.scatter
	sd := math.Hypot(math.Hypot(s.strength, s.rate), s.panel)
	// Gauss and Hermite's three nodes for the normal distribution.
	for _, n := range []struct{ z, weight float64 }{{-math.Sqrt(3), 1. / 6}, {0, 2. / 3}, {math.Sqrt(3), 1. / 6}} {
		faces := l.run(l.values(settings), luck{strength: n.z * sd, brown: 1}, []place{{deeper: 1}})
		add(&m, l.lab(faces[0]), n.weight)
	}
	return m
}

// add a share of a shade.
func add(m *colorimetry.Lab, lab colorimetry.Lab, share float64) {
	m.L += share * lab.L
	m.A += share * lab.A
	m.B += share * lab.B
}

// Lot is the mean shade of one simulated lot.
func (l *Laundry) Lot(rng *rand.Rand, settings map[string]float64) (m colorimetry.Lab) {
	d := draw{rng}
	lot := l.luck(d)
	for _, face := range l.run(l.values(settings), lot, l.places(d, lotPanels, 1)) {
		add(&m, l.lab(face), 1./lotPanels)
	}
	return m
}

// WriteTrials writes a table of the base, a blank, the white and one simulated
// lot for each of the settings.
func (l *Laundry) WriteTrials(w io.Writer, rng *rand.Rand, lots []map[string]float64) error {
	if _, err := io.WriteString(w, trialtable.Invented); err != nil {
		return err
	}
	d := draw{rng}
	table := trialtable.New(w, l.process, l.columns[:], grid())
	lot := func(id, role string, settings []float64, faces [][bands]float64) {
		for i, r := range read(d, faces) {
			table.Add(id, role, settings, i/positions+1, i%positions+1, r[:])
		}
	}
	run := func(x [3]float64) [][bands]float64 {
		luck := l.luck(d)
		return l.run(x, luck, l.places(d, panels, positions))
	}
	var base, white [][bands]float64
	for range panels {
		panel := math.Exp(l.scatter.dye * d.NormFloat64())
		for range positions {
			base = append(base, l.base(panel*math.Exp(0.004*d.NormFloat64())))
		}
	}
	for range whitePanels * positions {
		white = append(white, l.white())
	}
	lot("BASE", "base", nil, base)
	blank := [3]float64{0, l.center[1], l.center[2]}
	lot("BLANK", "blank", blank[:], run(blank))
	lot("WHITE", "white", nil, white)
	for i, s := range lots {
		x := l.values(s)
		lot(fmt.Sprintf("T%02d", i+1), "trial", x[:], run(x))
	}
	return table.Close()
}
