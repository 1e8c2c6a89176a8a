package study

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/laundry"
)

// Count is a share of cases.
type Count struct{ Hits, Of int }

// with is the count with one more case.
func (c Count) with(hit bool) Count {
	c.Of++
	if hit {
		c.Hits++
	}
	return c
}

// Share is the fraction of hits, NaN of none.
func (c Count) Share() float64 { return float64(c.Hits) / float64(c.Of) }

// Reach asks for shades that the fabric has and for shades that it has not.
type Reach struct {
	Refused Count            // reachable targets called unreachable
	Called  map[string]Count // unreachable ones called so, by direction
}

// Directions in which targets are moved off the path.
func directions() []string { return []string{"redder", "warmer", "bluer", "lighter"} }

// Reachability measures Suggest's verdicts after 16 lots at the default
// tolerance. A target counts as unreachable when it is twice the tolerance from
// every expected shade on the way from base to white, and reachable when it is
// the expected shade of settings in the region.
func Reachability(z Size) (Reach, error) {
	out := Reach{Called: map[string]Count{}}
	err := z.each(func(s *Scene, rng *rand.Rand) error {
		m, err := discharge.Fit(s.Table(s.Ladder(16), -1), nil)
		if err != nil {
			return err
		}
		var path []colorimetry.Lab
		for range 150 {
			set := s.Random(rng)
			set["time_min"] *= math.Exp(rng.NormFloat64())
			path = append(path, s.truth(set))
		}
		white := s.Laundry.White(rand.New(rand.NewPCG(1, 1)), laundry.RunOptions{Panels: 30}).MeanLab(s.Weights)
		path = append(path, white)
		call := func(lab colorimetry.Lab) (bool, error) {
			r, err := m.Suggest(discharge.Target{ID: "target", Viewing: s.Viewing, Lab: lab}, nil)
			return r.Reachable, err
		}
		for range z.Settings {
			lab := s.truth(s.Random(rng))
			ok, err := call(lab)
			if err != nil {
				return err
			}
			out.Refused = out.Refused.with(!ok)
			for _, d := range directions() {
				off := lab
				by := 4 + 6*rng.Float64()
				switch d {
				case "redder":
					off.A += by
				case "warmer":
					off.B += by
				case "bluer":
					off.B -= by
				case "lighter":
					off = white
					off.L += by
				}
				if slices.ContainsFunc(path, func(c colorimetry.Lab) bool { return diff(off, c) < 2*discharge.DefaultTolerance }) {
					continue
				}
				ok, err := call(off)
				if err != nil {
					return err
				}
				out.Called[d] = out.Called[d].with(!ok)
			}
		}
		return nil
	})
	return out, err
}

func (r Reach) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "\nreachable targets refused: %d of %d (%.1f %%)\n", r.Refused.Hits, r.Refused.Of, 100*r.Refused.Share())
	for _, d := range directions() {
		c := r.Called[d]
		fmt.Fprintf(&b, "%-8s than the path, called unreachable: %d of %d (%.1f %%)\n", d, c.Hits, c.Of, 100*c.Share())
	}
	return b.String()
}

// PassBin gathers suggestions by the pass probability they were given.
type PassBin struct {
	Lo, Hi      float64
	Suggestions int
	Promised    float64 // mean probability
	Kept        float64 // share of simulated lots inside the tolerance
}

// PassCalibration runs lots at the best suggestion for targets in reach, for
// several tolerances, after 16 trial lots.
func PassCalibration(z Size) ([]PassBin, error) {
	bins := []PassBin{{Lo: 0, Hi: 0.6}, {Lo: 0.6, Hi: 0.8}, {Lo: 0.8, Hi: 0.95}, {Lo: 0.95, Hi: 1.01}}
	const lots = 25
	err := z.each(func(s *Scene, rng *rand.Rand) error {
		m, err := discharge.Fit(s.Table(s.Ladder(16), -1), nil)
		if err != nil {
			return err
		}
		for i := range z.Settings {
			lab := s.truth(s.Random(rng))
			tol := []float64{1, 1.5, 2, 3, 4.5, 6}[i%6]
			r, err := m.Suggest(discharge.Target{ID: "target", Viewing: s.Viewing, Lab: lab}, &discharge.SuggestOptions{Tolerance: tol})
			if err != nil {
				return err
			}
			if len(r.List) == 0 {
				continue
			}
			best := r.List[0]
			kept := 0.0
			for range lots {
				if diff(lab, s.Laundry.Run(best.Settings, rng, laundry.RunOptions{NoHotSpots: true}).MeanLab(s.Weights)) <= tol {
					kept += 1.0 / lots
				}
			}
			for k := range bins {
				if b := &bins[k]; best.PassProbability >= b.Lo && best.PassProbability < b.Hi {
					b.Suggestions++
					b.Promised += best.PassProbability
					b.Kept += kept
				}
			}
		}
		return nil
	})
	for k := range bins {
		b := &bins[k]
		b.Promised /= float64(b.Suggestions)
		b.Kept /= float64(b.Suggestions)
	}
	return bins, err
}

// TensileResult compares predicted with simulated tensile loss.
type TensileResult struct {
	Median  float64 // absolute error of the expected loss against the mean of many lots, in percentage points
	Covered Count   // next lots' means inside the 95 % interval
}

// Tensile measures the secondary response after 16 tested lots.
func Tensile(z Size) (TensileResult, error) {
	var out TensileResult
	var errs []float64
	mean := func(l laundry.Lot) float64 {
		sum := 0.0
		for p := 1; p <= len(l.TensileLoss); p++ {
			sum += l.TensileLoss[p] / float64(len(l.TensileLoss))
		}
		return sum
	}
	err := z.each(func(s *Scene, rng *rand.Rand) error {
		t := s.Table(nil, -1)
		for i, d := range s.Ladder(16) {
			l := s.Laundry.Run(d, s.rng, laundry.RunOptions{})
			x := s.Lot(fmt.Sprintf("T%02d", i+1), discharge.Trial, l)
			for k := range x.Panels {
				v := l.TensileLoss[k+1]
				x.Panels[k].TensileLossPct = &v
			}
			t.Lots = append(t.Lots, x)
		}
		m, err := discharge.Fit(t, nil)
		if err != nil {
			return err
		}
		for range z.Settings {
			set := s.Random(rng)
			p, err := m.Predict(set)
			if err != nil {
				return err
			}
			truth := 0.0
			for range 60 {
				truth += mean(s.Laundry.Run(set, rng, laundry.RunOptions{Positions: 1})) / 60
			}
			errs = append(errs, math.Abs(p.TensileLossPct.Mean-truth))
			next := mean(s.Laundry.Run(set, rng, laundry.RunOptions{Positions: 1}))
			out.Covered = out.Covered.with(p.TensileLossPct.Known && p.TensileLossPct.Lo <= next && next <= p.TensileLossPct.Hi)
		}
		return nil
	})
	out.Median = Quantile(errs, 0.5)
	return out, err
}
