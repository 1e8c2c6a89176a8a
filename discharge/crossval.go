package discharge

import (
	"fmt"
	"math"

	"example.com/dosetone/colorimetry"
)

// leaveOneOut predicts each trial lot from all the others. It keeps the
// CIEDE2000 distance of its mean from the prediction in m.loo, and sets
// m.inflation from how far the distances exceed what the model expected. The
// path is fitted again, and each kept cell of the grid is fitted and weighed
// again, without the lot; only the within-lot scatter stays.
func (m *Model) leaveOneOut(o *observed, f *fitting, cells []cell) {
	m.inflation = 1
	if len(o.trials) < 3 {
		return
	}
	out := make([]float64, len(o.trials))
	surprise := 0.0
	var diff colorimetry.CIEDE2000
	for i, t := range o.trials {
		sub := *m
		path, err := o.path(i)
		if err != nil {
			return
		}
		sub.path = path
		refit := make([]cell, len(cells))
		for k, c := range cells {
			refit[k] = f.again(c, i)
		}
		kept, w := keep(refit)
		if len(kept) == 0 {
			return
		}
		sub.comps = f.collapse(kept, w)
		v := m.basis.values(t.lot.Settings)
		p := sub.predictAt(&v)
		out[i] = diff.Diff(t.mean(), p.Shade)
		// One upset lot must not widen everything: its share is capped.
		d := t.mean().L - p.Shade.L
		surprise += math.Min(d*d/p.LotCovariance[0][0], 9)
	}
	m.loo = out
	n := float64(len(out))
	m.inflation = math.Sqrt(math.Max(1, (surprise+calibrationLots*calibrationPrior)/(n+calibrationLots)))
}

// The prior on the inflation of variances: as if calibrationLots more lots had
// been predicted with a mean squared standardized error of calibrationPrior.
// Normal intervals about a handful of estimated quantities run short by about
// this much (Student t with nine degrees of freedom at 95 %: (2.26/1.96)² =
// 1.33).
const (
	calibrationLots  = 10
	calibrationPrior = 1.33
)

// mean is the lot's mean shade over its panels.
func (t trialObs) mean() colorimetry.Lab { return meanLab(t.panels) }

// record keeps what reports need of the trial lots.
func (m *Model) record(o *observed, cells []cell, w []float64) {
	for i, t := range o.trials {
		r := TrialRecord{ID: t.lot.ID, Settings: t.lot.Settings.Clone(), Lab: t.mean()}
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
			return Process{}, &RowError{File: t.Name, Row: l.lot.Row, Column: "process", Value: l.lot.Process,
				Err: fmt.Errorf("%w: earlier lots are %s; fit one process at a time", ErrWrongProcess, id)}
		}
	}
	if opt.Process.ID != "" && (id == "" || id == opt.Process.ID) {
		return opt.Process, nil
	}
	return LookupProcess(id)
}
