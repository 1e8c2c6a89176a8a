package discharge

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"sync"

	"example.com/dosetone/colorimetry"
)

// Influence is what a model would be without one of its trial lots.
type Influence struct {
	Lot string
	// Ladder holds the shades that the model without the lot expects at the
	// steps of [Model.Ladder] of the whole model.
	Ladder []colorimetry.Lab
	// DeltaE is the largest CIEDE2000 difference that leaving the lot out makes
	// there.
	DeltaE float64
	// Exponents of the factors without the lot, by column; a factor that no
	// longer varies is missing.
	Exponents map[string]float64
	// LeftOut is the CIEDE2000 difference of the lot's mean from what the model
	// without it expects at its settings.
	LeftOut float64
}

// Influences fits the table again without each trial lot in turn, curves,
// clocks and priors included, and tells what each changes, in the order of
// [Model.Trials]. m is the model of the whole table, steps the number of steps
// of the ladder. It takes as long as fitting once per lot, on all processors,
// and ends early with the error of ctx. A lot without which nothing varies
// cannot be left out, which is an error, as are no table and a number of steps outside 2 to 10000.
func (m *Model) Influences(ctx context.Context, t *Table, opt *FitOptions, steps int) ([]Influence, error) {
	if m.recal != nil {
		return nil, errors.New("a recalibrated model has no table of its own: fit the first trials again")
	}
	switch {
	case t == nil:
		return nil, errors.New("influences need the table that the model was fitted to")
	case steps < 2 || steps > maxLadder:
		return nil, fmt.Errorf("a ladder needs at least 2 steps and at most %d, not %d", maxLadder, steps)
	}
	ladder := m.Ladder(steps)
	whole, err := m.shades(ladder)
	if err != nil {
		return nil, err
	}
	out := make([]Influence, len(m.trials))
	errs := make([]error, len(m.trials))
	next := make(chan int)
	var done sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(m.trials)) {
		done.Go(func() {
			for i := range next {
				out[i], errs[i] = m.without(ctx, t, opt, m.trials[i], ladder, whole)
			}
		})
	}
	for i := range m.trials {
		if ctx.Err() != nil {
			break
		}
		next <- i
	}
	close(next)
	done.Wait()
	return out, errors.Join(ctx.Err(), errors.Join(errs...))
}

// shades are those expected at settings.
func (m *Model) shades(list []Settings) ([]colorimetry.Lab, error) {
	out := make([]colorimetry.Lab, len(list))
	for i, s := range list {
		p, err := m.Predict(s)
		if err != nil {
			return nil, err
		}
		out[i] = p.Shade
	}
	return out, nil
}

// without fits all lots but one.
func (m *Model) without(ctx context.Context, t *Table, opt *FitOptions, lot TrialRecord, ladder []Settings, whole []colorimetry.Lab) (Influence, error) {
	less := *t
	less.Lots = slices.DeleteFunc(slices.Clone(t.Lots), func(l Lot) bool { return l.ID == lot.ID && l.Role == Trial })
	x := Influence{Lot: lot.ID, Exponents: map[string]float64{}}
	n, err := FitContext(ctx, &less, opt)
	if err != nil {
		return x, err
	}
	if x.Ladder, err = n.shades(ladder); err != nil {
		return x, err
	}
	var f colorimetry.CIEDE2000
	for i, c := range x.Ladder {
		x.DeltaE = max(x.DeltaE, f.Diff(whole[i], c))
	}
	by := 0.0
	for i := range t.Lots {
		if l := &t.Lots[i]; l.ID == lot.ID && l.Role == Trial {
			by = n.shiftOf(l)
		}
	}
	own, err := n.shifted(by).shades([]Settings{lot.Settings})
	if err != nil {
		return x, err
	}
	x.LeftOut = f.Diff(lot.Lab, own[0])
	for j := range n.basis.factors {
		e, _, _ := n.slope(j)
		x.Exponents[n.basis.factors[j].Column] = e
	}
	return x, nil
}
