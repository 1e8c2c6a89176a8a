package main

import (
	"fmt"
	"math"
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
)

// What the text and the page of check say alike.

// verdictWords is the probability behind a decision.
func verdictWords(r *checkResult) string {
	v := r.report.Verdict
	what := "its mean is inside"
	if v.RequiredShare > 0 {
		what = fmt.Sprintf("its mean and %s of garments are inside", report.Percent(v.RequiredShare))
	}
	p := report.Percent(v.Probability)
	if v.Decision == quality.MeasureMore && p == report.Percent(v.Confidence) {
		p = fmt.Sprintf("%.1f %%", 100*v.Probability) // or it would seem to be enough
	}
	return fmt.Sprintf("The probability that %s is %s.", what, p)
}

// sortWords is what follows "accept" when garments must be sorted, "" when a
// lot may leave as it is or is not accepted.
func sortWords(r *quality.Report) string {
	if !r.Sort() {
		return ""
	}
	out := r.Outside()
	return fmt.Sprintf("but sort: %s %s %s outside", plural(len(out), "panel", "panels"), names(out), plural(len(out), "lies", "lie"))
}

// headline is the verdict of one lot's page in a sentence or two.
func headline(r *checkResult) string {
	if w := sortWords(r.report); w != "" {
		return "Accept, " + w + ". " + verdictWords(r)
	}
	return verdictWords(r)
}

// measureOfPanels heads the difference that decides on panels.
func measureOfPanels(r *quality.Report) string {
	for _, p := range r.Panels {
		if math.Abs(p.Decisive-p.DeltaE) > 0.005 {
			return "to nearest approved"
		}
	}
	return "difference"
}

// farStandard is how many tolerances a standard may lie off the path and still be believed
// (common practice, no source).
const farStandard = 2

// moreWords says what to measure next, "" when nothing is open.
func moreWords(r *checkResult) string {
	if a := r.report.Reread; a != nil {
		where := "panel " + a.Panel
		if a.Position != "" {
			where += ", position " + a.Position + ","
		}
		return fmt.Sprintf("Read %s again first: it is %.1f from the panel's other readings, where such differences are about %.1f in the other panels. A slip of the instrument looks like a spot.", where, a.Apart, a.Usual)
	}
	v := r.report.Verdict
	if s := r.report.Split; s != nil && v.Decision != quality.Accept && s.StandardOff > farStandard*r.Tolerance {
		return fmt.Sprintf("Is it the right standard? It lies %.1f off any shade that the model's fabric passes through, so no lot comes to it.", s.StandardOff)
	}
	if v.MorePanels == 0 {
		return ""
	}
	what := fmt.Sprintf("about %d more panels: if they look like", v.MorePanels)
	if v.MorePanels == 1 {
		what = "one more panel: if it looks like"
	}
	sort := ""
	if v.SettlesWith == quality.Accept && len(r.report.Outside()) > 0 {
		sort = ", but must be sorted"
	}
	return fmt.Sprintf("Measure %s %s, the lot will be %sed%s.", what, plural(len(r.Panels), "this one", "these"), strings.TrimSuffix(string(v.SettlesWith), "e"), sort)
}

// numbers are the figures of the judgment with their names.
func (r *checkResult) numbers() [][2]string {
	rep, v := r.report, r.report.Verdict
	past := ""
	if r.LimitTolerance < r.Tolerance {
		past = fmt.Sprintf(" (%s past limits)", report.Short(r.LimitTolerance, 3))
	}
	out := [][2]string{{"difference", fmt.Sprintf("%.2f, %s interval %.2f to %.2f, tolerance %s%s, %s", r.DeltaELot, report.Percent(v.Confidence), v.DeltaELo, v.DeltaEHi, report.Short(r.Tolerance, 3), past, r.Difference)}}
	add := func(name, value string) { out = append(out, [2]string{name, value}) }
	if math.Abs(rep.Decisive-rep.DeltaE) > 0.005 {
		where := "between standard and limit"
		if rep.BeyondLimit != "" {
			where = "beyond the " + rep.BeyondLimit
		}
		add("to nearest approved", fmt.Sprintf("%.2f, %s", rep.Decisive, where))
	}
	add("garments inside", fmt.Sprintf("about %s (%s to %s)", report.Percent(v.ShareInside), report.Percent(v.ShareLo), report.Percent(v.ShareHi)))
	if x := v.Variables; x != nil {
		add("by variables", fmt.Sprintf("Q %.2f, at least k %.2f is needed", x.Q, x.K))
	}
	if s := rep.Split; s != nil {
		add("along the shade path", fmt.Sprintf("%+.2f from the standard (level %.0f %%, standard %.0f %%)", s.Along, 100*s.Level, 100*s.StandardLevel))
		without := ""
		if s.WithoutHotSpots {
			without = ", without the hot spots"
		}
		add("off the shade path", fmt.Sprintf("%.2f from its nearest shade%s", s.Off, without))
	}
	add("shade band", r.ShadeBand)
	return out
}

// evenWords say how even the lot is, and how it looks under other lights.
func evenWords(r *quality.Report) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	u := r.Uniformity
	line := fmt.Sprintf("Readings differ from their panel by %.2f on average, panels from the lot by %.2f", u.WithinPanel, u.BetweenPanel)
	if r.Worst.DeltaE > 0 {
		line += fmt.Sprintf("; the worst reading is %.2f from the standard (panel %s", r.Worst.DeltaE, r.Worst.Panel)
		if r.Worst.Position != "" {
			line += ", position " + r.Worst.Position
		}
		line += ")"
	}
	say("%s.", line)
	// Of two positions that are two sides the next line says as much.
	if u.WorstDeltaE > 0 && !(len(u.Positions) == 2 && len(u.Contrasts) > 0) {
		say("Positions %s and %s differ most, by %.2f.", u.WorstPair[0], u.WorstPair[1], u.WorstDeltaE)
	}
	for _, c := range u.Contrasts {
		say("%s against %s: L* %+.2f (%.2f to %.2f over %d %s), difference %.2f.", c.Sides[0], c.Sides[1], c.DL, c.LoHi[0], c.LoHi[1], c.Panels, plural(c.Panels, "panel", "panels"), c.DeltaE)
	}
	if r.Metamerism != nil {
		var parts []string
		risk, judged := false, false
		for _, m := range r.Metamerism {
			part := fmt.Sprintf("%s %.2f", m.Viewing, m.DeltaE)
			if m.Index > 0 {
				part += fmt.Sprintf(" (index %.2f)", m.Index)
			}
			parts = append(parts, part)
			risk, judged = risk || m.Risk, judged || m.Judged
		}
		text := "Under other lights: " + strings.Join(parts, ", ") + "."
		switch {
		case !judged:
			text += " Whether they part under other lights is not judged: the index is meant for a pair that matches, and these differ by more than twice the tolerance."
		case risk:
			text += " Risk: lot and standard part under another light by more than half the tolerance."
		}
		say("%s", text)
	}
	return out
}

// correctionWords say what more time would do by the model, "" when none is needed.
func correctionWords(c *quality.Correction, m *discharge.Model) string {
	switch {
	case c == nil || c.Why == "none needed":
		return ""
	case !c.Possible:
		return "More time: " + c.Why + "."
	}
	what, why := "Second pass with a fresh charge: at least", "a fresh charge may be quickest at its start"
	if c.GoOn {
		what, why = "Go on: at least", "it cannot be told whether the lot lacked time or strength"
	}
	longest := fmt.Sprintf("%.1f", c.Hi)
	if c.Open {
		longest = "more than " + longest
	}
	text := fmt.Sprintf("%s %.1f min more at these settings bring the lot to the standard, perhaps %s (90 %%: %.1f to %[3]s); it needs %[5]s in all. The shortest likely time comes first, for %[6]s: expect to read it and go on. ",
		what, c.Minutes, longest, c.Lo, quality.DoseWords(c.DosePct), why)
	if c.Learned {
		text += fmt.Sprintf("The last pass took %.2g times the least that it might have taken, and so these minutes were multiplied. ", c.Pace)
	}
	if len(c.Outside) > 0 {
		text += fmt.Sprintf("Outside the trials: %s. ", strings.Join(c.Outside, ", "))
	} else if c.Extrapolated {
		text += "That is outside the trials. "
	}
	if c.Short {
		text += "So short a pass is hard to stop in time: --second-strength with a weaker charge gives more. "
	}
	text += strings.ToUpper(c.Caution[:1]) + c.Caution[1:] + "."
	if !c.GoOn {
		text += fmt.Sprintf(" Its weigh sheet: %s, with what is in store as for any load.", secondPassCommand(m.Process(), c))
	}
	return text
}

// secondPassCommand is the command line of the weigh sheet of a second pass, but for the
// mass of the garments, which check does not know.
func secondPassCommand(p discharge.Process, c *quality.Correction) string {
	line := "dosetone charge MODEL --second-pass"
	for _, f := range p.Factors {
		v, ok := c.Settings[f.Column]
		switch {
		case f.Column == "time_min":
			line += fmt.Sprintf(" --time %.1f", c.Minutes) // as the words before say
		case ok && f.Measured:
			line += fmt.Sprintf(" --%s %.2f", f.Name(), v) // a mean of readings, not what anyone set
		case ok:
			line += " --" + f.Name() + " " + report.Exact(v)
		}
	}
	return line + " --mass KG"
}
