package main

import (
	"fmt"
	"math"
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
)

// untried says what is wrong with a value of a factor that the trials did not
// have, "" for one that lies among them.
func untried(f discharge.FactorRange, v float64) string {
	switch {
	case f.Fixed && math.Abs(v-f.Lo) > 1e-9*math.Max(1, math.Abs(f.Lo)):
		return fmt.Sprintf("%s was %g in every trial: its effect is not known, and %g counts as %g", f.Column, f.Lo, v, f.Lo)
	case !f.Fixed && (v < f.Lo*(1-1e-9) || v > f.Hi*(1+1e-9)):
		return strings.TrimSpace(fmt.Sprintf("%s %s is outside the trials' %s to %s %s", f.Column, report.Short(v, 6), report.Short(f.Lo, 4), report.Short(f.Hi, 4), f.Unit))
	}
	return ""
}

// doubts lists which of the values in settings lie outside the trials, whose ranges
// are empty without a model, and of those outside what is met in practice: what
// was tried is this laundry's habit. Of each factor the ends are named.
func doubts(p discharge.Process, ranges []discharge.FactorRange, settings ...discharge.Settings) []string {
	tried := map[string]discharge.FactorRange{}
	for _, r := range ranges {
		tried[r.Column] = r
	}
	var out []string
	for _, f := range p.Factors {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, s := range settings {
			if v, ok := s[f.Column]; ok {
				lo, hi = min(lo, v), max(hi, v)
			}
		}
		if lo > hi {
			continue
		}
		r, known := tried[f.Column]
		if known && r.Fixed { // bounds about what never varied leave it there
			lo = min(max(r.Lo, lo), hi)
			hi = lo
		}
		for _, v := range []float64{lo, hi} {
			why := ""
			if known {
				if why = untried(r, v); why == "" {
					continue
				}
				out = append(out, why)
			}
			out = append(out, p.Unusual(discharge.Settings{f.Column: v})...)
			if lo == hi {
				break
			}
		}
	}
	return out
}

// asked are the ends of bounds and the strengths in store, as settings.
func asked(bounds map[string]discharge.Range, available map[string][]float64) []discharge.Settings {
	lo, hi := discharge.Settings{}, discharge.Settings{}
	for column, r := range bounds {
		lo[column], hi[column] = r.Lo, r.Hi
	}
	list := []discharge.Settings{lo, hi}
	for column, values := range available {
		for _, v := range values {
			list = append(list, discharge.Settings{column: v})
		}
	}
	return list
}
