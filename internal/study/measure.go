package study

import (
	"bytes"
	"cmp"
	"fmt"
	"math/rand/v2"
	"strings"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/laundry"
)

// Size is how much is simulated.
type Size struct {
	Kinds     []laundry.Kind
	Processes []string
	Seeds     int     // laundries of each kind and process
	From      uint64  // the first seed
	Settings  int     // random settings or targets per laundry
	Calm      float64 // factor on the scatter of lots; 0 means 1
	laundry.Scale
}

// scene draws one laundry of the size.
func (z Size) scene(kind laundry.Kind, process string, seed uint64) (*Scene, error) {
	v := colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}
	w, err := colorimetry.NewWeights(v, laundry.Grid())
	if err != nil {
		return nil, err
	}
	rng := rand.New(rand.NewPCG(seed, uint64(kind)*1000+uint64(len(process))))
	l, err := laundry.NewScaled(kind, process, z.Scale, rng)
	if err != nil {
		return nil, err
	}
	return &Scene{Process: process, Seed: seed, Laundry: l.Calmer(cmp.Or(z.Calm, 1)), Weights: w, Viewing: v, rng: rng}, nil
}

// Quick is the size that runs with the tests, Full the one for reports.
func Quick() Size {
	return Size{Kinds: []laundry.Kind{laundry.RingDyed, laundry.Mixed}, Processes: []string{"permanganate-stone", "ozone-gas"}, Seeds: 1, From: 500, Settings: 8}
}

// Full is every kind and process of the study.
func Full(seeds int) Size {
	return Size{Kinds: laundry.Kinds(), Processes: Processes(), Seeds: seeds, From: 500, Settings: 12}
}

// each calls f with every laundry of the size. Calling it twice gives the same
// laundries, which run their lots with the same luck.
func (z Size) each(f func(s *Scene, rng *rand.Rand) error) error {
	for _, k := range z.Kinds {
		for _, p := range z.Processes {
			for i := range z.Seeds {
				s, err := z.scene(k, p, z.From+uint64(i))
				if err != nil {
					return err
				}
				if err := f(s, rand.New(rand.NewPCG(s.Seed, 77))); err != nil {
					return fmt.Errorf("%v, %s, seed %d: %w", k, p, s.Seed, err)
				}
			}
		}
	}
	return nil
}

// Table of errors by name, in ΔE00.
type Table struct {
	names  []string
	errors map[string][]float64
}

func (t *Table) add(name string, e float64) {
	if t.errors == nil {
		t.errors = map[string][]float64{}
	}
	if _, ok := t.errors[name]; !ok {
		t.names = append(t.names, name)
	}
	t.errors[name] = append(t.errors[name], e)
}

// Median and P95 of a line; NaN when there is no such line.
func (t *Table) Median(name string) float64 { return Quantile(t.errors[name], 0.5) }

// P95 is the 95th percentile of a line.
func (t *Table) P95(name string) float64 { return Quantile(t.errors[name], 0.95) }

// String is one line per name: median, 95th percentile, count.
func (t *Table) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "\n%-44s %7s %7s %6s\n", "ΔE00", "median", "p95", "n")
	for _, n := range t.names {
		fmt.Fprintf(&b, "%-44s %7.3f %7.3f %6d\n", n, t.Median(n), t.P95(n), len(t.errors[n]))
	}
	return b.String()
}

// allBut gives every setting as it is but those whose column begins with open.
func allBut(open string, settings map[string]float64) *discharge.SuggestOptions {
	o := &discharge.SuggestOptions{Bounds: map[string]discharge.Range{}}
	for c, v := range settings {
		if !strings.HasPrefix(c, open) {
			o.Bounds[c] = discharge.Range{Lo: v, Hi: v}
		}
	}
	return o
}

func diff(a, b colorimetry.Lab) float64 { return colorimetry.CIEDE2000{}.Diff(a, b) }

func (s *Scene) truth(set map[string]float64) colorimetry.Lab {
	_, lab := s.Laundry.Expected(set, s.Weights)
	return lab
}

// predictions adds the errors of a model at n random settings.
func (s *Scene) predictions(t *Table, name string, m *discharge.Model, n int, rng *rand.Rand) error {
	for range n {
		set := s.Random(rng)
		p, err := m.Predict(set)
		if err != nil {
			return err
		}
		t.add(name, diff(s.truth(set), p.Shade))
	}
	return nil
}

// Designs compares first designs by the predictions of what is learned from
// them.
func Designs(z Size) (*Table, error) {
	t := &Table{}
	for _, d := range []struct {
		name string
		run  func(s *Scene) ([]map[string]float64, error)
	}{
		{"ladder, 12 lots", func(s *Scene) ([]map[string]float64, error) { return s.Ladder(12), nil }},
		{"ladder, 16 lots", func(s *Scene) ([]map[string]float64, error) { return s.Ladder(16), nil }},
		{"plan, 12 lots", func(s *Scene) ([]map[string]float64, error) { return s.FirstPlan(12) }},
		{"plan, 16 lots", func(s *Scene) ([]map[string]float64, error) { return s.FirstPlan(16) }},
	} {
		err := z.each(func(s *Scene, rng *rand.Rand) error {
			lots, err := d.run(s)
			if err != nil {
				return err
			}
			m, err := discharge.Fit(s.Table(lots, -1), nil)
			if err != nil {
				return err
			}
			return s.predictions(t, d.name, m, z.Settings, rng)
		})
		if err != nil {
			return nil, err
		}
	}
	return t, nil
}

// NextLots compares four more lots of a ladder with the four that plan
// proposes for a target: by the prediction at the settings that give it, by
// the suggestion with all but time given, and by the free suggestion.
func NextLots(z Size) (*Table, error) {
	t := &Table{}
	err := z.each(func(s *Scene, rng *rand.Rand) error {
		base := s.Table(s.Ladder(12), -1)
		m, err := discharge.Fit(base, nil)
		if err != nil {
			return err
		}
		more, err := discharge.Fit(s.Extended(base, s.Ladder(16)[:4]), nil)
		if err != nil {
			return err
		}
		for range max(z.Settings/4, 1) {
			set := s.Random(rng)
			target := discharge.Target{ID: "target", Viewing: s.Viewing, Lab: s.truth(set)}
			plan, err := m.Plan(&discharge.PlanOptions{Target: &target, Seed: s.Seed})
			if err != nil {
				continue // refused as unreachable: Reach counts those
			}
			planned, err := discharge.Fit(s.Extended(base, plain(plan.Trials())), nil)
			if err != nil {
				return err
			}
			for _, x := range []struct {
				name string
				m    *discharge.Model
			}{{"12 lots", m}, {"and 4 of a ladder", more}, {"and 4 planned", planned}} {
				p, err := x.m.Predict(set)
				if err != nil {
					return err
				}
				t.add("predict, "+x.name, diff(target.Lab, p.Shade))
				for name, opt := range map[string]*discharge.SuggestOptions{"suggest time, ": allBut("time_", set), "suggest free, ": nil} {
					r, err := x.m.Suggest(target, opt)
					if err != nil {
						return err
					}
					if len(r.List) > 0 {
						t.add(name+x.name, diff(target.Lab, s.truth(r.List[0].Settings)))
					}
				}
			}
		}
		return nil
	})
	return t, err
}

// Upsets compares 16 lots with the same 16 of which one is badly off. Each lot
// has its own source of luck, so that all others are the same in both.
func Upsets(z Size) (*Table, error) {
	t := &Table{}
	for _, upset := range []bool{false, true} {
		err := z.each(func(s *Scene, rng *rand.Rand) error {
			at, name := -1, "16 lots"
			if upset {
				at, name = rng.IntN(16), "16 lots, one upset"
			} else {
				rng.IntN(16) // the same settings are judged in both
			}
			design := s.Ladder(16)
			tab := s.Table(nil, -1)
			for i, d := range design {
				var o laundry.RunOptions
				if i == at {
					o.Upset = laundry.DoseUpset
				}
				own := rand.New(rand.NewPCG(s.Seed, 1000+uint64(i)))
				tab.Lots = append(tab.Lots, s.Lot(fmt.Sprintf("T%02d", i+1), discharge.Trial, s.Laundry.Run(d, own, o)))
			}
			m, err := discharge.Fit(tab, nil)
			if err != nil {
				return err
			}
			return s.predictions(t, name, m, z.Settings, rng)
		})
		if err != nil {
			return nil, err
		}
	}
	return t, nil
}

// Swatches compares readings as spectra with the same lots as 8-bit sRGB, each
// judged under its own viewing.
func Swatches(z Size) (*Table, error) {
	t := &Table{}
	srgb, err := colorimetry.NewWeights(colorimetry.SRGBViewing(), laundry.Grid())
	if err != nil {
		return nil, err
	}
	for _, form := range []laundry.Form{laundry.Spectra, laundry.Swatches} {
		err := z.each(func(s *Scene, rng *rand.Rand) error {
			lots := s.Laundry.Trials(s.Ladder(16), s.rng, laundry.RunOptions{})
			base, white := s.Laundry.Base(s.rng, laundry.RunOptions{}), s.Laundry.White(s.rng, laundry.RunOptions{})
			base.ID, white.ID = "BASE", "WHITE"
			var b bytes.Buffer
			if err := laundry.Table(&b, laundry.TableOptions{Form: form}, append(lots, base, white)...); err != nil {
				return err
			}
			tab, err := discharge.ReadTable("simulated", &b, nil)
			if err != nil {
				return err
			}
			m, err := discharge.Fit(tab, nil)
			if err != nil {
				return err
			}
			name, w := "16 lots as spectra", s.Weights
			if form == laundry.Swatches {
				name, w = "16 lots as swatches", srgb
			}
			for range z.Settings {
				set := s.Random(rng)
				_, truth := s.Laundry.Expected(set, w)
				p, err := m.Predict(set)
				if err != nil {
					return err
				}
				t.add(name, diff(truth, p.Shade))
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	return t, nil
}
