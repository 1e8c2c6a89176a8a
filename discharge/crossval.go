package discharge

import (
	"fmt"
	"math"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/internal/mat3"
	"example.com/dosetone/internal/quantile"
)

// leaveOneOut predicts each trial lot from all the others. It keeps the
// CIEDE2000 distance of its mean from the prediction in m.loo, and sets
// m.inflation from how far the distances along the path exceed what the model
// expected, and widens the scatter about the path by the rest. The
// path is fitted again, and each kept cell of the grid, with weights w, is fitted
// and weighed again, without the lot; only the within-lot scatter stays. A lot counts
// the less, the likelier it is upset.
func (m *Model) leaveOneOut(o *observed, f *fitting, cells []cell, w []float64) {
	m.inflation = 1
	if len(o.trials) < 3 {
		return
	}
	out := make([]float64, len(o.trials))
	along, off, counted := 0.0, 0.0, 0.0 // how far lots lie from where they were expected, in variances
	var diff colorimetry.CIEDE2000
	for i, t := range o.trials {
		sub := *m
		path, err := o.path(i)
		if err != nil {
			return
		}
		sub.path = path
		refit := make([]cell, len(cells))
		share := 1.0
		for k := range cells {
			refit[k] = cells[k].without[i]
			if cells[k].isUpset(i) {
				share -= w[k]
			}
		}
		kept, weights := keep(refit)
		if len(kept) == 0 {
			return
		}
		sub.comps = f.collapse(kept, weights)
		v := m.basis.values(t.lot.Settings)
		p := sub.predictAt(&v)
		out[i] = diff.Diff(t.mean(), p.Shade)
		// One upset lot that is not taken for one must not widen everything: its share is capped.
		l := t.mean()
		d := l.L - p.Shade.L
		z := d * d / p.LotCovariance[0][0]
		along += share * math.Min(z, 9)
		counted += share
		precision, e := mat3.Inverse(p.LotCovariance), mat3.Vec{d, l.A - p.Shade.A, l.B - p.Shade.B}
		off += share * math.Min(mat3.Form(&precision, e, e)-z, 18)
	}
	m.loo = out
	n := counted + calibrationLots
	m.inflation = math.Sqrt(math.Max(1, (along+calibrationLots*m.shortRun(o))/n))
	m.path.widen(math.Max(1, (off/2+calibrationLots)/n))
}

// widen multiplies the covariance of lots about the path.
func (p *shadePath) widen(factor float64) {
	for i := range p.lotOff {
		for j := range p.lotOff[i] {
			p.lotOff[i][j] *= factor
		}
	}
}

// calibrationLots is the weight of the prior on the inflation of variances, in
// lots predicted besides the trials.
const calibrationLots = 10

// shortRun is by how much normal intervals about estimated quantities run
// short: the squared ratio of Student's to the normal 97.5 % point, with the
// degrees of freedom that the trial lots leave after what was learned from
// them.
func (m *Model) shortRun(o *observed) float64 {
	used := 0.0
	var parts [maxComponents]mixPart
	for _, t := range o.trials {
		v := m.basis.values(t.lot.Settings)
		m.parts(&parts, &v)
		for i, c := range m.comps {
			used += c.weight * parts[i].sdMean * parts[i].sdMean / (parts[i].sdLot * parts[i].sdLot)
		}
	}
	df := math.Max(float64(len(o.trials))-used, 3)
	t := quantile.Student(0.975, df)
	return t * t / (z975 * z975)
}

// deviates is the quantile function of how far a lot lies from its prediction,
// in the standard deviations that predictions state. Those make a normal 95 %
// interval hold 95 % of lots; but lots follow Student's distribution, as the
// fit takes them to, with more lots close by and more far off. Models of
// earlier files have no degrees of freedom and stay normal.
func deviates(freedom float64) func(p float64) float64 {
	if freedom == 0 {
		return quantile.Normal
	}
	t975 := quantile.Student(0.975, freedom)
	return func(p float64) float64 { return quantile.Student(p, freedom) * z975 / t975 }
}

// deviate is the quantile p of deviates.
func deviate(freedom, p float64) float64 {
	if p == 0.975 {
		return z975 // whatever the freedom; Student's quantile would take longer than the prediction
	}
	return deviates(freedom)(p)
}

// mean is the lot's mean shade over its panels.
func (t trialObs) mean() colorimetry.Lab { return meanLab(t.panels) }

// record keeps what reports need of the trial lots.
func (m *Model) record(o *observed, cells []cell, w []float64) {
	for i, t := range o.trials {
		r := TrialRecord{ID: t.lot.ID, Settings: t.lot.Settings.Clone(), Lab: t.mean(), Panels: len(t.panels)}
		for k, c := range cells {
			r.Weight += w[k] * c.post.weights[i]
		}
		m.trials = append(m.trials, r)
	}
}

// processOf finds the one process of the trial lots.
func processOf(t *Table, o *observed, opt *FitOptions) (Process, error) {
	id := o.trials[0].lot.Process
	for _, l := range o.trials {
		if l.lot.Process != id {
			return Process{}, t.fault(l.lot, "process", l.lot.Process,
				fmt.Errorf("%w: earlier lots are %s; fit one process at a time", ErrWrongProcess, id))
		}
	}
	switch {
	case opt.Process.ID == "":
		return LookupProcess(id)
	case id != "" && id != opt.Process.ID:
		return Process{}, t.fault(o.trials[0].lot, "process", id, fmt.Errorf("%w: the fit is asked for %s", ErrWrongProcess, opt.Process.ID))
	}
	return opt.Process.clone(), nil
}
