package quality

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/mat3"
	"example.com/dosetone/internal/quantile"
)

// minPairs is the least number of panels read at both stages from which a
// shift is learned: below it the interval is too wide to be of use.
const minPairs = 3

// ErrStage says that a lot was read before it was finished and dry, and that
// what finishing does to its shade is not known.
var ErrStage = errors.New("not finished and dry")

// Stages maps readings of earlier stages, or of damp cloth, to finished, dry
// cloth. It is learned from panels that were read at both.
type Stages struct {
	shifts map[string]*Shift
}

// Shift is what finishing and drying do to a reading of one stage.
type Shift struct {
	Stage  string // such as "discharged, damp"
	Pairs  int
	Slope  bool            // the shift depends on lightness
	Center float64         // mean L* of the early readings
	Width  float64         // sum of squares of their L* about Center
	At     colorimetry.Lab // mean finished less mean early reading, at Center
	By     mat3.Vec        // change of the shift per L*; zero without Slope
	SD     mat3.Vec        // residual standard deviation of a panel
	df     float64
}

// stageOf names stage and state of a reading, "" for finished, dry cloth.
func stageOf(r *discharge.Reading) string {
	if r.Finished() {
		return ""
	}
	return cmp.Or(r.Stage, "finished") + ", " + cmp.Or(r.State, "dry")
}

// LearnStages learns the shifts from every panel in the tables that was read
// both at an earlier stage and finished and dry. All tables must have one
// viewing. Stages with fewer than three such panels are not learned.
func LearnStages(tables ...*discharge.Table) (*Stages, error) {
	if err := alike(tables); err != nil {
		return nil, err
	}
	type pair struct{ early, late colorimetry.Lab }
	pairs := map[string][]pair{}
	for _, t := range tables {
		for _, l := range t.Lots {
			for _, p := range l.Panels {
				means := stageMeans(&p)
				late, ok := means[""]
				for name, early := range means {
					if ok && name != "" {
						pairs[name] = append(pairs[name], pair{early, late})
					}
				}
			}
		}
	}
	st := &Stages{shifts: map[string]*Shift{}}
	for name, ps := range pairs {
		if len(ps) < minPairs {
			continue
		}
		x := make([]float64, len(ps))
		var y [3][]float64
		for i, p := range ps {
			x[i] = p.early.L
			d := minus(p.late, p.early)
			for k := range 3 {
				y[k] = append(y[k], d[k])
			}
		}
		st.shifts[name] = learnShift(name, x, y)
	}
	return st, nil
}

// stageMeans averages a panel's readings by stage.
func stageMeans(p *discharge.Panel) map[string]colorimetry.Lab {
	sum, n := map[string]colorimetry.Lab{}, map[string]float64{}
	for i := range p.Readings {
		r := &p.Readings[i]
		s := stageOf(r)
		sum[s] = moved(sum[s], mat3.Vec{r.Lab.L, r.Lab.A, r.Lab.B})
		n[s]++
	}
	for s, v := range sum {
		sum[s] = colorimetry.Lab{L: v.L / n[s], A: v.A / n[s], B: v.B / n[s]}
	}
	return sum
}

// learnShift fits a constant or, from six panels over at least 8 L*, a
// straight line in the early lightness, and keeps the line when it lowers the
// residual variance of L*.
func learnShift(name string, x []float64, y [3][]float64) *Shift {
	n := float64(len(x))
	s := &Shift{Stage: name, Pairs: len(x), df: n - 1}
	for _, v := range x {
		s.Center += v / n
	}
	for _, v := range x {
		s.Width += (v - s.Center) * (v - s.Center)
	}
	line := len(x) >= 6 && slices.Max(x)-slices.Min(x) >= 8
	var mean, by, flat, sloped mat3.Vec
	for k := range 3 {
		for _, v := range y[k] {
			mean[k] += v / n
		}
		for i, v := range y[k] {
			by[k] += (x[i] - s.Center) * (v - mean[k]) / math.Max(s.Width, 1e-12)
		}
		for i, v := range y[k] {
			d := v - mean[k]
			flat[k] += d * d
			d -= by[k] * (x[i] - s.Center)
			sloped[k] += d * d
		}
	}
	rss := flat
	if line && sloped[0]/(n-2) < flat[0]/(n-1) {
		s.Slope, s.By, s.df, rss = true, by, n-2, sloped
	}
	s.At = colorimetry.Lab{L: mean[0], A: mean[1], B: mean[2]}
	for k := range 3 {
		s.SD[k] = math.Sqrt(rss[k] / s.df)
	}
	return s
}

// Known lists the stages that were learned, in the order of their names.
func (st *Stages) Known() []Shift {
	if st == nil {
		return nil
	}
	var out []Shift
	for _, s := range st.shifts {
		out = append(out, *s)
	}
	slices.SortFunc(out, func(a, b Shift) int { return cmp.Compare(a.Stage, b.Stage) })
	return out
}

// Map returns the finished, dry color that belongs to an early one, with the
// half width of its interval at the level (say 0.95) for L*, a*, b*, for one
// panel: Student's t on what the pairs leave, with the shift's own error. It
// panics on a shift that [LearnStages] did not learn and on levels outside (0,1).
func (s *Shift) Map(early colorimetry.Lab, level float64) (late colorimetry.Lab, half [3]float64) {
	if s.Pairs < 1 || !(s.df > 0) {
		panic("quality: Map of a Shift that LearnStages did not learn")
	}
	if !(level > 0 && level < 1) {
		panic(fmt.Sprintf("quality: an interval of level %g, want 0 < level < 1", level))
	}
	d := early.L - s.Center
	late = moved(early, mat3.Vec{s.At.L + s.By[0]*d, s.At.A + s.By[1]*d, s.At.B + s.By[2]*d})
	t := quantile.Student(0.5+level/2, s.df)
	for k := range 3 {
		half[k] = t * s.SD[k] * math.Sqrt(1+s.own(d))
	}
	return late, half
}

// own is the variance of the shift itself in residual variances.
func (s *Shift) own(d float64) float64 {
	v := 1 / float64(s.Pairs)
	if s.Slope {
		v += d * d / s.Width
	}
	return v
}

// fromStage fills a sample from readings of one earlier stage. The shift's
// error is common to all panels; its residual scatter adds to each.
func (s *sample) fromStage(lot discharge.Lot, st *Stages) error {
	var found []string
	for _, p := range lot.Panels {
		for i := range p.Readings {
			if name := stageOf(&p.Readings[i]); !slices.Contains(found, name) {
				found = append(found, name)
			}
		}
	}
	if len(found) > 1 {
		return fmt.Errorf("lot %q has no readings of finished, dry cloth, and its others are of several stages (%s): give one", lot.ID, joined(found))
	}
	var shift *Shift
	if st != nil {
		shift = st.shifts[found[0]]
	}
	if shift == nil {
		return fmt.Errorf("%w: lot %q was read %s and cannot be compared with a finished, dry standard: at least %d panels read both so and finished and dry are needed to learn the shift", ErrStage, lot.ID, found[0], minPairs)
	}
	s.mapped = found[0]
	center := 0.0
	for i := range lot.Panels {
		p := &lot.Panels[i]
		early, ok := stageMeans(p)[found[0]]
		if !ok {
			continue
		}
		late, _ := shift.Map(early, 0.95)
		center += early.L
		s.panels = append(s.panels, discharge.PanelMean{ID: p.ID, N: len(p.Readings), Lab: late})
	}
	n := float64(len(s.panels))
	center /= n
	for k := range 3 {
		v := shift.SD[k] * shift.SD[k]
		// Few pairs know their scatter badly: Student's t variance.
		if shift.df > 2 {
			v *= shift.df / (shift.df - 2)
		} else {
			v *= 3
		}
		s.extra[k][k] = v*shift.own(center-shift.Center) + v/n
	}
	return nil
}
