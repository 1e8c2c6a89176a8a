package discharge

import (
	"fmt"

	"example.com/dosetone/colorimetry"
)

// leaveOneOut predicts each trial lot from all the others and returns the
// CIEDE2000 distance of its mean from the prediction. The path is fitted
// again, and each kept cell of the grid is fitted and weighed again, without
// the lot; only the within-lot scatter stays.
func (m *Model) leaveOneOut(o *observed, f *fitting, cells []cell) []float64 {
	if len(o.trials) < 3 {
		return nil
	}
	out := make([]float64, len(o.trials))
	var diff colorimetry.CIEDE2000
	for i, t := range o.trials {
		sub := *m
		path, err := o.path(i)
		if err != nil {
			return nil
		}
		sub.path = path
		refit := make([]cell, len(cells))
		for k, c := range cells {
			refit[k] = f.again(c, i)
		}
		kept, w := keep(refit)
		if len(kept) == 0 {
			return nil
		}
		sub.comps = f.collapse(kept, w)
		v := m.basis.values(t.lot.Settings)
		out[i] = diff.Diff(t.mean(), sub.predictAt(&v).Shade)
	}
	return out
}

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
