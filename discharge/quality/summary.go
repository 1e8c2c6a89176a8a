package quality

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat"

	"example.com/dosetone/internal/quantile"
)

// Summary is what became of the lots of a ledger.
type Summary struct {
	Tally
	From, To string       // when the first and the last of them were judged first; "" of none
	OpenLots []string     // lots that are to be measured more
	Causes   []CauseTally // of lots that were not accepted at first, most frequent first
	Groups   []LotGroup   // by process, fabric, machine and standard, in the order of first mention
}

// Tally counts lots by their verdict now. Rescued are those accepted only
// after another pass: they had not been before.
type Tally struct {
	Lots, Accepted, Rejected, Open, Rescued int
}

// CauseTally is a cause, "" for none named, with the lots that had it first.
type CauseTally struct {
	Cause string
	Lots  []string
}

// LotGroup is the lots of one kind.
type LotGroup struct {
	Process, Fabric, Machine, Standard string
	Tally
	Tolerances []float64 // that they were judged with
	// MedianDeltaE and HighDeltaE, nine tenths of the lots, are of what decided: the difference from the
	// nearest approved shade, or from the standard in ledgers that do not say the other.
	MedianDeltaE, HighDeltaE float64
	Doses                    int     // lots of which it is known how their dose was to their settings
	MeanDose, SDDose         float64 // of ln dose over what the settings promised; 0 of fewer than one and two
}

// During is the ledger of the lots that were judged first from one time on and before another. A zero time is
// no bound. A lot whose time is not known is an error where there is one.
func (l *Ledger) During(from, before time.Time) (*Ledger, error) {
	out := &Ledger{Warnings: l.Warnings, more: l.more}
	for _, e := range l.Entries {
		if !from.IsZero() || !before.IsZero() {
			t, err := time.Parse(time.RFC3339, e.firstTime())
			if err != nil {
				return nil, fmt.Errorf("lot %q: its time %q is not known to be in the span: want such as 2026-11-28T14:05:00Z", e.Lot, e.firstTime())
			}
			if t.Before(from) || !before.IsZero() && !t.Before(before) {
				continue
			}
		}
		out.Entries = append(out.Entries, e)
	}
	return out, nil
}

// firstTime is when the lot was judged before any other pass.
func (e *Entry) firstTime() string { return cmp.Or(e.FirstChecked, e.Checked) }

// later tells whether time a is after b, by the clock where both are times.
func later(a, b string) bool {
	s, err1 := time.Parse(time.RFC3339, a)
	t, err2 := time.Parse(time.RFC3339, b)
	if err1 != nil || err2 != nil {
		return a > b
	}
	return s.After(t)
}

// Summarize counts the lots.
func (l *Ledger) Summarize() *Summary {
	s := &Summary{}
	type at struct {
		group     int
		deltaE    []float64
		residuals []float64
	}
	groups := map[[4]string]*at{}
	for _, e := range l.Entries {
		if at := e.firstTime(); at != "" {
			if s.From == "" || later(s.From, at) {
				s.From = at
			}
			if s.To == "" || later(at, s.To) {
				s.To = at
			}
		}
		key := [4]string{e.Process, e.Fabric, e.Machine, e.Standard}
		g := groups[key]
		if g == nil {
			g = &at{group: len(s.Groups)}
			groups[key] = g
			s.Groups = append(s.Groups, LotGroup{Process: e.Process, Fabric: e.Fabric, Machine: e.Machine, Standard: e.Standard})
		}
		s.count(&e)
		group := &s.Groups[g.group]
		group.count(&e)
		if e.Verdict == MeasureMore {
			s.OpenLots = append(s.OpenLots, e.Lot)
		}
		if e.Tolerance > 0 && !slices.Contains(group.Tolerances, e.Tolerance) {
			group.Tolerances = append(group.Tolerances, e.Tolerance)
		}
		if e.Nearest != nil {
			g.deltaE = append(g.deltaE, *e.Nearest)
		} else {
			g.deltaE = append(g.deltaE, e.DeltaE)
		}
		if e.DoseResidual != nil {
			g.residuals = append(g.residuals, *e.DoseResidual)
		}
		first, cause := e.Verdict, e.Cause
		if e.First != "" {
			first, cause = e.First, e.FirstCause
		}
		if first == Accept {
			continue
		}
		i := slices.IndexFunc(s.Causes, func(c CauseTally) bool { return c.Cause == cause })
		if i < 0 {
			i = len(s.Causes)
			s.Causes = append(s.Causes, CauseTally{Cause: cause})
		}
		s.Causes[i].Lots = append(s.Causes[i].Lots, e.Lot)
	}
	slices.SortStableFunc(s.Causes, func(a, b CauseTally) int { return cmp.Compare(len(b.Lots), len(a.Lots)) })
	for _, g := range groups {
		group := &s.Groups[g.group]
		slices.Sort(group.Tolerances)
		slices.Sort(g.deltaE)
		group.MedianDeltaE, group.HighDeltaE = quantile.Sorted(g.deltaE, 0.5), quantile.Sorted(g.deltaE, 0.9)
		if group.Doses = len(g.residuals); group.Doses > 0 {
			group.MeanDose = stat.Mean(g.residuals, nil)
		}
		if group.Doses > 1 {
			group.SDDose = stat.StdDev(g.residuals, nil)
		}
	}
	return s
}

func (t *Tally) count(e *Entry) {
	t.Lots++
	switch e.Verdict {
	case Accept:
		t.Accepted++
		if e.First != "" && e.First != Accept {
			t.Rescued++
		}
	case Reject:
		t.Rejected++
	case MeasureMore:
		t.Open++
	}
}
