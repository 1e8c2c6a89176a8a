package study

import (
	"math/rand/v2"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/golden"
	"example.com/dosetone/internal/laundry"
)

// novelty is what changes between the trials and the lots of a recalibration.
type novelty struct {
	name string
	make func(l *laundry.Laundry, rng *rand.Rand) *laundry.Laundry
}

// novelties are the next lot of the same fabric, which the tool promises to
// carry over to, another machine, and another fabric altogether, for which two
// lots are too few.
func novelties() []novelty {
	return []novelty{
		{"fabric lot", (*laundry.Laundry).NewFabricLot},
		{"machine", (*laundry.Laundry).NewMachine},
		{"other fabric", (*laundry.Laundry).NewFabric},
	}
}

// Carried is how well models are carried over.
type Carried struct {
	*Table
	Inside map[string]Count // next lots in the 95 % region of a recalibrated model, by what is new
}

// Recalibrations carries a 16-lot model over to something new by two lots, one
// at a lower and one at a higher dose, and compares with 16 lots on it, with
// doing nothing, and with what nobody can do better than: knowing everything
// about the new fabric lot but the shift in its dose.
func Recalibrations(z Size) (*Carried, error) {
	t := &Carried{&Table{}, map[string]Count{}}
	for _, what := range novelties() {
		err := z.each(func(s *Scene, rng *rand.Rand) error {
			m, err := discharge.Fit(s.Table(s.Ladder(16), -1), nil)
			if err != nil {
				return err
			}
			s.Laundry = what.make(s.Laundry, rng)
			lots := s.Table(s.Apart(), -1)
			two, err := m.Recalibrate(lots, nil)
			if err != nil {
				return err
			}
			full, err := discharge.Fit(s.Table(s.Ladder(16), -1), nil)
			if err != nil {
				return err
			}
			best := s.shifted(lots)
			for range z.Settings {
				set := s.Random(rng)
				for _, x := range []struct {
					name string
					m    *discharge.Model
				}{{"as it was", m}, {"recalibrated by 2 lots", two}, {"16 lots anew", full}} {
					p, err := x.m.Predict(set)
					if err != nil {
						return err
					}
					t.add("new "+what.name+", "+x.name, diff(s.truth(set), p.Shade))
					if x.m == two {
						luck := rand.New(rand.NewPCG(s.Seed, rng.Uint64()))
						lot := s.Laundry.Run(set, luck, laundry.RunOptions{NoHotSpots: true}).MeanLab(s.Weights)
						t.Inside[what.name] = t.Inside[what.name].with(Inside(&p, lot))
					}
				}
				_, lab := best.Expected(set, s.Weights)
				t.add("new "+what.name+", all known but the shift, 2 lots", diff(s.truth(set), lab))
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	return t, nil
}

// shifted is the scene's own laundry with the shift in ln dose that explains
// its trial lots of t best.
func (s *Scene) shifted(t *discharge.Table) *laundry.Laundry {
	misfit := func(z float64) float64 {
		l := s.Laundry.Shifted(z)
		sum := 0.0
		for i := range t.Lots {
			if t.Lots[i].Role == discharge.Trial {
				_, lab := l.Expected(t.Lots[i].Settings, s.Weights)
				d := diff(lab, meanLab(&t.Lots[i]))
				sum += d * d
			}
		}
		return sum
	}
	z, _ := golden.Section(misfit, -1, 1, 1e-3)
	return s.Laundry.Shifted(z)
}

// meanLab is the mean of all readings of a lot.
func meanLab(l *discharge.Lot) (m colorimetry.Lab) {
	n := 0.0
	for _, p := range l.Panels {
		for _, r := range p.Readings {
			n++
			m.L += (r.Lab.L - m.L) / n
			m.A += (r.Lab.A - m.A) / n
			m.B += (r.Lab.B - m.B) / n
		}
	}
	return m
}
