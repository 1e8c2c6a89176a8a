package quality

import (
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mathext"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/mat3"
	"example.com/dosetone/internal/quantile"
)

// Uniformity is how even garments are in themselves and among each other.
type Uniformity struct {
	Positions []PositionMean // in the file's order, when panels were read at several
	// WorstPair is the largest difference between the means of two positions.
	WorstPair    [2]string
	WorstDeltaE  float64
	WithinPanel  float64    // mean difference of a reading from its panel's mean
	BetweenPanel float64    // mean difference of a panel from the lot's mean
	Contrasts    []Contrast // front - back, left - right, where position names tell
}

// PositionMean is a position's mean deviation from its panels' means.
type PositionMean struct {
	Position   string
	N          int
	DL, DA, DB float64
}

// Contrast compares two sides of the same garments.
type Contrast struct {
	Sides  [2]string
	DeltaE float64    // between the means of the two sides
	DL     float64    // L* of the first side less that of the second, mean over panels
	LoHi   [2]float64 // 95 % interval of DL; equal ends with one panel
	Panels int
}

func (j *judge) uniformity() Uniformity {
	var u Uniformity
	f := j.opt.Difference
	for _, p := range j.sample.panels {
		u.BetweenPanel += f.Diff(j.sample.mean, p.Lab) / j.sample.n
	}
	if j.sample.mapped != "" {
		return u
	}
	type sum struct {
		n int
		d mat3.Vec
	}
	sums := map[string]*sum{}
	var order []string
	readings := 0
	for _, p := range j.lot.Panels {
		mean, ok := j.panelMean(p.ID)
		if !ok {
			continue
		}
		for _, r := range p.Readings {
			if !r.Finished() {
				continue
			}
			readings++
			u.WithinPanel += f.Diff(mean, r.Lab)
			s := sums[r.Position]
			if s == nil {
				s = &sum{}
				sums[r.Position] = s
				order = append(order, r.Position)
			}
			s.n++
			d := minus(r.Lab, mean)
			for i := range 3 {
				s.d[i] += d[i]
			}
		}
	}
	if readings > 0 {
		u.WithinPanel /= float64(readings)
	}
	if len(order) < 2 {
		return u
	}
	at := func(q PositionMean) colorimetry.Lab { return moved(j.sample.mean, mat3.Vec{q.DL, q.DA, q.DB}) }
	for _, name := range order {
		s := sums[name]
		c := 1 / float64(s.n)
		u.Positions = append(u.Positions, PositionMean{name, s.n, s.d[0] * c, s.d[1] * c, s.d[2] * c})
	}
	for i, a := range u.Positions {
		for _, b := range u.Positions[:i] {
			if d := f.Diff(at(b), at(a)); d > u.WorstDeltaE {
				u.WorstDeltaE, u.WorstPair = d, [2]string{b.Position, a.Position}
			}
		}
	}
	for _, sides := range [][2]string{{"front", "back"}, {"left", "right"}} {
		if c, ok := j.contrast(sides); ok {
			u.Contrasts = append(u.Contrasts, c)
		}
	}
	return u
}

func (j *judge) panelMean(id string) (colorimetry.Lab, bool) {
	i := slices.IndexFunc(j.sample.panels, func(p discharge.PanelMean) bool { return p.ID == id })
	if i < 0 {
		return colorimetry.Lab{}, false
	}
	return j.sample.panels[i].Lab, true
}

// contrast pairs the sides within panels; a position belongs to a side when
// its name has that word.
func (j *judge) contrast(sides [2]string) (Contrast, bool) {
	c := Contrast{Sides: sides}
	var diffs []float64
	var total mat3.Vec
	for _, p := range j.lot.Panels {
		var n [2]float64
		var mean [2]mat3.Vec
		for _, r := range p.Readings {
			words := strings.FieldsFunc(strings.ToLower(r.Position), func(x rune) bool { return x == ' ' || x == '-' || x == '_' || x == '/' || x == '.' })
			for k, side := range sides {
				if r.Finished() && slices.Contains(words, side) {
					n[k]++
					mean[k][0] += r.Lab.L
					mean[k][1] += r.Lab.A
					mean[k][2] += r.Lab.B
				}
			}
		}
		if n[0] == 0 || n[1] == 0 {
			continue
		}
		for i := range 3 {
			total[i] += mean[0][i]/n[0] - mean[1][i]/n[1]
		}
		diffs = append(diffs, mean[0][0]/n[0]-mean[1][0]/n[1])
	}
	if len(diffs) == 0 {
		return c, false
	}
	k := float64(len(diffs))
	c.Panels = len(diffs)
	for _, d := range diffs {
		c.DL += d / k
	}
	half := mat3.Vec{total[0] / k / 2, total[1] / k / 2, total[2] / k / 2}
	c.DeltaE = j.opt.Difference.Diff(moved(j.sample.mean, mat3.Vec{-half[0], -half[1], -half[2]}), moved(j.sample.mean, half))
	width := 0.0
	if len(diffs) > 1 {
		ss := 0.0
		for _, d := range diffs {
			ss += (d - c.DL) * (d - c.DL)
		}
		width = quantile.Student(0.975, k-1) * math.Sqrt(ss/(k-1)/k)
	}
	c.LoHi = [2]float64{c.DL - width, c.DL + width}
	return c, true
}

func chiSquareQuantile(p, df float64) float64 { return 2 * mathext.GammaIncRegInv(df/2, p) }
