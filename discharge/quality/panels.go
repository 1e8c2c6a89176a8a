package quality

import (
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"

	"example.com/dosetone/fit"
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
