package study

import (
	"fmt"
	"math"
	"slices"

	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/laundry"
)

// Region is the region of a process's trials as bounds, without the factors
// that are only recorded.
func (s *Scene) Region() map[string]discharge.Range {
	out := map[string]discharge.Range{}
	for _, f := range s.Laundry.Factors() {
		if !f.Recorded {
			out[f.Column] = discharge.Range{Lo: f.Lo, Hi: f.Hi}
		}
	}
	return out
}

// FirstPlan is the tool's own first design of n lots over the region.
func (s *Scene) FirstPlan(n int) ([]map[string]float64, error) {
	p, err := discharge.LookupProcess(s.Process)
	if err != nil {
		return nil, err
	}
	plan, err := discharge.FirstPlan(p, &discharge.PlanOptions{Lots: n, Seed: s.Seed + 1, Bounds: s.Region()})
	if err != nil {
		return nil, err
	}
	return plain(plan.Trials()), nil
}

func plain(list []discharge.Settings) []map[string]float64 {
	out := make([]map[string]float64, len(list))
	for i, s := range list {
		out[i] = s
	}
	return out
}

// Extended runs more trial lots and returns the table with them.
func (s *Scene) Extended(t *discharge.Table, design []map[string]float64) *discharge.Table {
	out := *t
	out.Lots = slices.Clone(t.Lots)
	for i, d := range design {
		out.Lots = append(out.Lots, s.Lot(fmt.Sprintf("N%02d", i+1), discharge.Trial, s.Laundry.Run(d, s.rng, laundry.RunOptions{})))
	}
	return &out
}

// Apart are two settings for a recalibration: a third of the way from the
// center of the region to its low and to its high end, in logarithms.
func (s *Scene) Apart() []map[string]float64 { return apart(s.Region()) }

func apart(region map[string]discharge.Range) []map[string]float64 {
	lo, hi := map[string]float64{}, map[string]float64{}
	for c, r := range region {
		mid, step := math.Sqrt(r.Lo*r.Hi), math.Pow(r.Hi/r.Lo, 1.0/6)
		lo[c], hi[c] = mid/step, mid*step
	}
	return []map[string]float64{lo, hi}
}
