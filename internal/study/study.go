// Package study judges the shade model on simulated laundries whose truth is
// known and whose physics the model does not share (see package laundry).
package study

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/laundry"
)

// Scene is one simulated laundry with its trial lots.
type Scene struct {
	Process string
	Seed    uint64
	Laundry *laundry.Laundry
	Weights *colorimetry.Weights
	Viewing colorimetry.Viewing
	rng     *rand.Rand
}

// Processes are the four that the study runs over: two carriers, a bath, a gas.
func Processes() []string {
	return []string{"permanganate-pellet", "permanganate-stone", "hypochlorite-bath", "ozone-gas"}
}

// NewScene draws a laundry.
func NewScene(kind laundry.Kind, process string, seed uint64) (*Scene, error) {
	return Size{}.scene(kind, process, seed)
}

// Lot converts a simulated lot.
func (s *Scene) Lot(id string, role discharge.Role, l laundry.Lot) discharge.Lot {
	out := discharge.Lot{ID: id, Role: role, Process: s.Process, Fabric: l.Fabric, Machine: l.Machine, Settings: discharge.Settings(l.Settings)}
	panels := map[int]int{}
	for _, r := range l.Readings {
		k, ok := panels[r.Panel]
		if !ok {
			k = len(out.Panels)
			panels[r.Panel] = k
			out.Panels = append(out.Panels, discharge.Panel{ID: fmt.Sprint(r.Panel)})
		}
		reading := discharge.Reading{Position: fmt.Sprint(r.Position), Spectrum: r.R, Lab: s.Weights.Lab(r.R)}
		out.Panels[k].Readings = append(out.Panels[k].Readings, reading)
	}
	return out
}

// Table runs the trial lots of a design with base, blank and white.
func (s *Scene) Table(design []map[string]float64, upset int) *discharge.Table {
	t := &discharge.Table{Name: "simulated", Kind: discharge.Spectral, Viewing: s.Viewing, Grid: laundry.Grid()}
	t.Lots = append(t.Lots, s.Lot("base", discharge.Base, s.Laundry.Base(s.rng, laundry.RunOptions{})),
		s.Lot("white", discharge.White, s.Laundry.White(s.rng, laundry.RunOptions{})))
	for i, d := range design {
		var o laundry.RunOptions
		if i == upset {
			o.Upset = laundry.DoseUpset
		}
		t.Lots = append(t.Lots, s.Lot(fmt.Sprintf("T%02d", i+1), discharge.Trial, s.Laundry.Run(d, s.rng, o)))
	}
	return t
}

// Ladder is what a practitioner runs: two levels of each factor but time, and
// a ladder of times.
func (s *Scene) Ladder(n int) []map[string]float64 {
	d, err := s.Laundry.Ladder(n, s.rng)
	if err != nil {
		panic(err) // n is ours
	}
	return d
}

// Random settings inside the region, uniform in the logarithm.
func (s *Scene) Random(rng *rand.Rand) map[string]float64 {
	return s.Laundry.RandomSettings(rng)
}

// Quantile interpolates in a sorted copy.
func Quantile(x []float64, p float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := slices.Clone(x)
	slices.Sort(s)
	h := p * float64(len(s)-1)
	i := int(h)
	if i+1 >= len(s) {
		return s[len(s)-1]
	}
	return s[i] + (h-float64(i))*(s[i+1]-s[i])
}
