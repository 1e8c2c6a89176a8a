package main

import (
	"fmt"
	"slices"
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
)

// showCheck writes the results; as JSON those of several lots are a list even
// when only one of them could be judged.
func (e *env) showCheck(list []checkResult, several bool, bands *quality.Bands, trend *quality.Trend, opt *quality.Options) error {
	drift := newDriftJSON(trend)
	for i := range list {
		list[i].Drift = drift
	}
	switch e.format {
	case formatJSON:
		if !several {
			return report.JSON(&e.out, list[0])
		}
		return report.JSON(&e.out, list)
	case formatCSV:
		return e.rows(checkRows(list))
	}
	for i, r := range list {
		if i > 0 {
			e.printf("\n")
		}
		e.checkText(r, opt.Model)
	}
	if len(list) > 1 {
		e.printf("\n")
		e.bandText(bandsJSON(bands, func(i int) string { return list[i].Lot }), bands)
	}
	if trend != nil {
		e.printf("\nMonitoring\n")
		for _, w := range trend.Words {
			e.wrap(w, "  - ", "    ")
		}
	}
	// Lots that ask for nothing are not worked on.
	if opt.Model != nil && slices.ContainsFunc(list, func(r checkResult) bool { return len(r.report.Causes) > 0 }) {
		e.cautions(opt.Model.Process())
	}
	return nil
}

func (e *env) checkText(r checkResult, m *discharge.Model) {
	rep := r.report
	word := strings.ToUpper(string(r.Verdict))
	if w := sortWords(rep); w != "" {
		word += ", " + w
	}
	e.wrap(fmt.Sprintf("Lot %s: %s. %s", r.Lot, word, verdictWords(&r)), "", "")
	if w := moreWords(&r); w != "" {
		e.wrap(w, "  ", "  ")
	}
	head := report.Table{Left: []bool{true, true}}
	head.Add("standard", e.shadeText(r.Standard)+"  "+r.Viewing)
	head.Add("lot mean", fmt.Sprintf("%s  %d %s", e.shadeText(r.Mean), len(r.Panels), plural(len(r.Panels), "panel", "panels")))
	for _, n := range r.numbers() {
		head.Add(n[0], n[1])
	}
	e.printf("%s", &head)
	e.panelText(rep)
	for i, c := range rep.Causes {
		if i == 0 {
			e.printf("\nWhy, most likely first\n")
		}
		e.wrap(fmt.Sprintf("%d. %s: %s.", i+1, c.Fault, c.Evidence), "  ", "     ")
		e.wrap("Suggested: "+c.Remedy+".", "     ", "     ")
	}
	e.correctionText(rep.Correction, m)
	for _, n := range rep.Notes {
		e.wrap("Note: "+n+".", "", "")
	}
}

func (e *env) panelText(r *quality.Report) {
	t := report.Table{Header: []string{"panel", "", "L*", "a*", "b*", measureOfPanels(r), ""}, Left: []bool{true, false, false, false, false, false, true}}
	for _, p := range r.Panels {
		var notes []string
		if !p.Inside {
			notes = append(notes, "outside")
		}
		if p.HotSpot {
			notes = append(notes, "hot spot")
		}
		t.Add(p.ID, e.swatch(p.Lab), report.Fixed(p.Lab.L, 2), report.Fixed(p.Lab.A, 2), report.Fixed(p.Lab.B, 2), report.Fixed(p.Decisive, 2), strings.Join(notes, ", "))
	}
	e.printf("\n%s", &t)
	for _, w := range evenWords(r) {
		e.wrap(w, "  ", "  ")
	}
}

func (e *env) correctionText(c *quality.Correction, m *discharge.Model) {
	if w := correctionWords(c, m); w != "" {
		e.wrap(w, "", "")
	}
}
