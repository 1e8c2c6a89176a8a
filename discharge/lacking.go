package discharge

import (
	"fmt"
	"slices"
	"strings"
)

// withoutLacking returns t without the trial lots that lack a factor which the process
// needs, or which was chosen for nearly all of the others, and a warning for each such
// factor: one empty cell costs its own lot, not all lots the factor. A factor that most
// lots lack is an error, since hardly any lot would be left. t does not change.
func withoutLacking(t *Table, o *observed, p *Process) (*Table, []error, error) {
	lacks := map[string]bool{}
	var warnings []error
	for _, f := range p.Factors {
		if f.Transform == Recorded || f.Optional && !o.mostlyChosen(&f) {
			continue
		}
		var lots []string
		for _, l := range o.trials {
			if _, ok := l.lot.Settings[f.Column]; !ok {
				lacks[l.lot.ID] = true
				lots = append(lots, fmt.Sprintf("%q (%s)", l.lot.ID, place(l.lot.Row)))
			}
		}
		switch {
		case len(lots) == 0:
		case 2*len(lots) > len(o.trials):
			return nil, nil, &RowError{File: t.Name, Column: f.Column, Err: fmt.Errorf("%d of %d lots do not have it, and %s needs it: fill it in for %s", len(lots), len(o.trials), p.ID, firstOf(lots))}
		default:
			warnings = append(warnings, &RowError{File: t.Name, Column: f.Column, Err: fmt.Errorf("nothing is learned from %d of %d lots, which do not have it: %s; fill it in and fit again", len(lots), len(o.trials), firstOf(lots))})
		}
	}
	out := *t
	out.Lots = slices.DeleteFunc(slices.Clone(t.Lots), func(l Lot) bool { return l.Role == Trial && lacks[l.ID] })
	return &out, warnings, nil
}

// mostlyChosen tells an optional factor that was chosen for three quarters of the trial lots
// or more, so that the others may rather be left out than the factor.
func (o *observed) mostlyChosen(f *Factor) bool {
	d := newDoseFactor(*f, o.between(f.Column))
	xs := o.known(&d, site{})
	return 4*len(xs) >= 3*len(o.trials) && f.chosen(xs)
}

// firstOf lists the first few names.
func firstOf(names []string) string {
	const few = 8
	text := strings.Join(names[:min(len(names), few)], ", ")
	if len(names) > few {
		text += fmt.Sprintf(" and %d more", len(names)-few)
	}
	return text
}
