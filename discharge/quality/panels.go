package quality

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/fit"
	"example.com/dosetone/internal/mat3"
	"example.com/dosetone/internal/quantile"
)

// findHotSpots marks panels that are paler than the others by more than chance:
// against the trials' scatter when it is known, else by Grubbs' test [4].
func (j *judge) findHotSpots() {
	n := len(j.sample.panels)
	if n < 3 {
		return
	}
	light := make([]float64, n)
	for i, p := range j.sample.panels {
		light[i] = p.Lab.L
	}
	mark := func(i int) {
		j.hot = append(j.hot, i)
		j.report.Panels[i].HotSpot = true
	}
	if !knowsScatter(j.opt.Model) {
		if i, g, critical, err := fit.Grubbs(light, 0.05); err == nil && g > critical && light[i] > j.sample.mean.L {
			mark(i)
		}
		return
	}
	middle := quantile.Median(light)
	sd := math.Sqrt(j.opt.Model.ScatterAt(j.opt.Model.LevelOf(middle)).Panel[0][0])
	// One in a hundred lots of n even panels has one so far above the median;
	// lots differ in evenness, by about a fifth of the standard deviation.
	limit := 1.2 * quantile.Normal(1-0.01/float64(n)) * math.Sqrt(1+math.Pi/2/float64(n))
	for i, l := range light {
		if (l-middle)/sd > limit {
			mark(i)
		}
	}
}

// reread finds the reading that stands furthest from the others of its panel, if it does so by
// far more than any in the other panels (common practice, no source, as the limits are). Of two
// readings the one is taken that is further from the lot's other panels.
func (j *judge) reread() *Reread {
	const times, tolerances = 6, 2
	if j.sample.mapped != "" {
		return nil
	}
	var far []*Reread // of each panel with readings to compare
	for _, p := range j.lot.Panels {
		var readings []discharge.Reading
		for _, r := range p.Readings {
			if r.Finished() {
				readings = append(readings, r)
			}
		}
		if len(readings) < 2 {
			continue
		}
		rest := j.restOfLot(p.ID)
		most, key := &Reread{Panel: p.ID}, -1.0
		for i, r := range readings {
			apart := j.opt.Difference.Diff(centroid(slices.Delete(slices.Clone(readings), i, i+1)), r.Lab)
			by := apart
			if len(readings) == 2 {
				by = j.opt.Difference.Diff(rest, r.Lab)
			}
			if by > key {
				most.Position, most.Apart, key = r.Position, apart, by
			}
		}
		far = append(far, most)
	}
	if len(far) < 2 {
		return nil
	}
	slices.SortStableFunc(far, func(a, b *Reread) int { return cmp.Compare(b.Apart, a.Apart) })
	usual := make([]float64, len(far)-1)
	for i, f := range far[1:] {
		usual[i] = f.Apart
	}
	lone := far[0]
	lone.Usual = quantile.Median(usual)
	if lone.Apart < math.Max(times*lone.Usual, tolerances*j.opt.Tolerance) {
		return nil
	}
	return lone
}

// restOfLot is the mean of the lot's panels but one.
func (j *judge) restOfLot(panel string) colorimetry.Lab {
	rest := j.sample.without([]int{slices.IndexFunc(j.sample.panels, func(p discharge.PanelMean) bool { return p.ID == panel })})
	return rest.mean
}

// centroid is the mean color of readings.
func centroid(readings []discharge.Reading) (mean colorimetry.Lab) {
	for _, r := range readings {
		mean = moved(mean, mat3.Vec{r.Lab.L / float64(len(readings)), r.Lab.A / float64(len(readings)), r.Lab.B / float64(len(readings))})
	}
	return mean
}

// unevenness adds hot spots and a scatter between panels above the trials'.
func (j *judge) unevenness(add func(Fault, float64, string, ...any)) {
	panels := j.sample.panels
	n := len(panels)
	var names []string
	var hot, rest []float64 // lightness
	size := 0.0
	for i, p := range panels {
		if !slices.Contains(j.hot, i) {
			rest = append(rest, p.Lab.L)
			continue
		}
		names, hot = append(names, p.ID), append(hot, p.Lab.L)
		size = math.Max(size, j.opt.Difference.Diff(j.sample.mean, p.Lab))
	}
	if len(hot) > 0 && len(rest) >= 2 {
		// Its weight on the lot mean is what it accounts for.
		which := "panel " + names[0] + " is"
		if len(names) > 1 {
			which = "panels " + strings.Join(names, ", ") + " are"
		}
		add(HotSpots, size*float64(len(hot))/float64(n), "%s paler than the others by up to %.1f L*", which, slices.Max(hot)-quantile.Median(rest))
	}
	if !knowsScatter(j.opt.Model) || len(rest) < 3 {
		return
	}
	mean, variance := stat.MeanVariance(rest, nil)
	usual := j.opt.Model.ScatterAt(j.opt.Model.LevelOf(mean)).Panel[0][0]
	df := float64(len(rest) - 1)
	// The trials' own scatter is known to about 20 %: the limit allows for it.
	const known = 1.44
	if limit := chiSquareQuantile(0.995, df) * known; df*variance/usual > limit {
		add(UnevenLot, 0.5*math.Sqrt(variance/usual)*j.report.Verdict.WithinSD/math.Sqrt(float64(n)), "panels scatter by %.2f L*, those of the trials by %.2f", math.Sqrt(variance), math.Sqrt(usual))
	}
}
