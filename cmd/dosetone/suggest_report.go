package main

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"

	"example.com/dosetone/cmd/dosetone/internal/figure"
	"example.com/dosetone/cmd/dosetone/internal/page"
	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// suggestFigures are the pictures of a suggestion's page; those of a second
// target end in -2, and so on.
func suggestFigures() []string { return []string{"strip", "contour", "pass", "path-lb", "path-ab"} }

// suggestView is the answer for one target as the page shows it.
type suggestView struct {
	m      *discharge.Model
	r      suggestResult
	target discharge.Target
	suffix string // of ids, for a second target and further ones
	held   string // the settings that the contour keeps
	field  *figure.Contour
	pass   *figure.Pass
	// late is how many minutes off the reading of the pass curve looks, and what then passes.
	late, passEarly, passLate float64
}

// suggestPage makes the page of the answers, one part per target.
func (e *env) suggestPage(m *discharge.Model, list []suggestResult, targets []discharge.Target) (*page.Page, error) {
	p := &page.Page{Kind: "Settings for a shade", Title: capital(m.Process().Title), Foot: modelFoot(m)}
	for i, r := range list {
		if err := e.ctx.Err(); err != nil {
			return nil, err
		}
		v := &suggestView{m: m, r: r, target: targets[i]}
		if i > 0 {
			v.suffix = "-" + strconv.Itoa(i+1)
		}
		if err := v.prepare(); err != nil {
			return nil, err
		}
		if i == 0 {
			p.Lead, p.Facts = v.lead(), v.facts()
		}
		if len(list) > 1 {
			p.Lead = fmt.Sprintf("Answers for %d targets.", len(list))
			p.Facts = nil
		}
		p.Sections = append(p.Sections, v.sections(len(list) > 1)...)
	}
	p.Sections = append(p.Sections, warningSection(sentences(inWords(m.Warnings())))...)
	p.Sections = append(p.Sections, cautionSection(m.Process()))
	return p, nil
}

func (v *suggestView) prepare() error {
	if len(v.r.Suggestions) == 0 {
		return nil
	}
	if err := v.contour(); err != nil {
		return err
	}
	return v.passCurves()
}

func (v *suggestView) facts() []page.Fact {
	t := v.r.Target
	facts := []page.Fact{{Name: "Target", Value: labText(t.shadeJSON), Note: t.ID + ", " + v.r.Viewing}}
	if len(v.r.Suggestions) > 0 {
		best := v.r.Suggestions[0]
		facts = append(facts, page.Fact{Name: "The next lot passes", Value: report.Percent(best.PassProbability), Note: fmt.Sprintf("within ΔE00 %s of %s", report.Short(v.r.Tolerance, 3), v.r.targetWords())})
		if w := best.TimeWindowMin; w != nil {
			facts = append(facts, page.Fact{Name: "Unload", Value: fmt.Sprintf("%.1f–%.1f min", w[0], w[1]), Note: "while the expected shade is within tolerance"})
		}
	}
	return append(facts, page.Fact{Name: "Nearest shade within reach", Value: fmt.Sprintf("ΔE00 %.2f", v.r.ClosestDeltaE), Note: labText(v.r.Closest)})
}

func (v *suggestView) sections(several bool) []page.Section {
	id := func(s string) string { return s + v.suffix }
	name := func(s string) string {
		if several {
			return v.r.Target.ID + ": " + s
		}
		return s
	}
	answer := page.Section{ID: id("answer"), Title: name("the answer"), Break: v.suffix != ""}
	if !several {
		answer.Title = "The answer"
	}
	switch {
	case !v.r.Reachable:
		answer.Blocks = append(answer.Blocks, page.Block{Verdict: &page.Verdict{Sign: "✕", Word: "Not reachable", Tone: "hot",
			Text: fmt.Sprintf("Not within ΔE00 %s: %s.", report.Short(v.r.Tolerance, 3), v.r.Why)}})
	case len(v.r.Suggestions) == 0:
		answer.Blocks = append(answer.Blocks, page.Block{Verdict: &page.Verdict{Sign: "○", Word: "No setting found", Tone: "open", Text: sentence(v.r.Why)}})
	default:
		best := v.r.Suggestions[0]
		text := fmt.Sprintf("The next lot passes with probability %s.", report.Percent(best.PassProbability))
		text += windowText(&best)
		if v.r.Why != "" {
			text += " " + sentence(v.r.Why)
		}
		answer.Blocks = append(answer.Blocks, page.Block{Verdict: &page.Verdict{Sign: "→", Word: "Set " + settingsText(v.m.Process(), best.Settings), Tone: "good", Text: text}},
			page.Block{Table: v.table()})
	}
	answer.Blocks = append(answer.Blocks, page.Block{Picture: v.stripPicture()})
	out := []page.Section{answer}
	if v.field != nil {
		title := "Equal shades over " + v.field.X.Name + " and " + v.field.Y.Name
		out = append(out, page.Section{ID: id("contour"), Title: name(title), Blocks: []page.Block{{Picture: &page.Picture{
			Figure: figure.NewContour(id("contour"), *v.field), Reading: v.contourReading(),
			Caption: "Blue lines join settings of equal expected L*; in the green band the expected shade is within tolerance. The dashed box is what the trials tested, small dots are the lots. " +
				"Filled rings are suggestions at these settings, hollow ones differ in what the picture keeps fixed" + heldText(v.held) + "."}}}})
	}
	if v.pass != nil {
		out = append(out, page.Section{ID: id("pass"), Title: name("when to unload"), Blocks: []page.Block{{Picture: &page.Picture{
			Figure: figure.NewPass(id("pass"), *v.pass), Reading: v.passReading(),
			Caption: "The curve counts the scatter of lots and what the trials leave open; the green window looks at the expected shade alone."}}}})
		if !several {
			out[len(out)-1].Title = "When to unload"
		}
	}
	path := v.path()
	title := name("where the target lies")
	if !several {
		title = "Where the target lies"
	}
	return append(out, page.Section{ID: id("path"), Title: title, Blocks: []page.Block{
		{Picture: &page.Picture{Figure: figure.NewPathLB(id("path-lb"), path), Reading: v.pathReading(), Caption: "The path is drawn in its own colors; dots are the trial lots, diamonds the target and what is suggested."}},
		{Picture: &page.Picture{Figure: figure.NewPathAB(id("path-ab"), path), Reading: v.castReading()}},
	}})
}

func heldText(s string) string {
	if s == "" {
		return ""
	}
	return ": " + s
}

// suggestionName is how suggestions are called in pictures.
func suggestionName(k int) string { return "no. " + strconv.Itoa(k+1) }

func (v *suggestView) stripPicture() *page.Picture {
	s := stripOf(v.m)
	target := colorimetry.Lab(v.r.Target.shadeJSON)
	s.Marks = []figure.StripMark{{Name: "target " + v.r.Target.ID, Level: v.m.NearestLevel(target)}}
	for _, l := range []struct {
		name  string
		shade *shadeJSON
	}{{"dark limit", v.r.Target.Dark}, {"light limit", v.r.Target.Light}} {
		if l.shade != nil {
			s.Marks = append(s.Marks, figure.StripMark{Name: l.name, Level: v.m.NearestLevel(colorimetry.Lab(*l.shade))})
		}
	}
	slices.SortStableFunc(s.Marks, func(a, b figure.StripMark) int { return cmp.Compare(a.Level, b.Level) })
	s.Standard = &figure.Named{Name: "target " + v.r.Target.ID, Shade: target}
	for k, x := range v.r.Suggestions {
		s.Pairs = append(s.Pairs, figure.Pair{Name: suggestionName(k), Shade: colorimetry.Lab(x.Shade), DeltaE: x.DeltaE})
	}
	if len(s.Pairs) == 0 {
		s.Pairs = []figure.Pair{{Name: "nearest", Shade: colorimetry.Lab(v.r.Closest), DeltaE: v.r.ClosestDeltaE}}
	}
	return &page.Picture{Figure: figure.NewStrip("strip"+v.suffix, s), Reading: v.stripReading(),
		Caption: "The strip is what this fabric passes through from base to white. Below, the expected shade of each suggestion lies edge to edge with the target."}
}

func (v *suggestView) path() figure.Path {
	p := pathOf(v.m)
	for _, t := range v.m.Trials() {
		p.Lots = append(p.Lots, figure.Named{Name: t.ID, Shade: t.Lab, Odd: t.OutOfLine()})
	}
	p.Targets = append(p.Targets, figure.Named{Name: "target", Shade: colorimetry.Lab(v.r.Target.shadeJSON)})
	near := figure.Named{Name: "nearest", Shade: colorimetry.Lab(v.r.Closest)}
	if len(v.r.Suggestions) > 0 {
		near = figure.Named{Name: suggestionName(0), Shade: colorimetry.Lab(v.r.Suggestions[0].Shade)}
	}
	p.Targets = append(p.Targets, near)
	return p
}

func (v *suggestView) table() *page.Table {
	t := &page.Table{Caption: fmt.Sprintf("Suggestions, best first; ± holds 95 %% of the means of lots. Pass: within ΔE00 %s of %s", report.Short(v.r.Tolerance, 3), v.r.targetWords()), Header: []string{"no."}, Emphasis: 1}
	columns := usedColumns(v.m.Process(), settingsOf(v.r.Suggestions, suggestion.settings))
	t.Header = append(t.Header, columnHeads(columns)...)
	tested := v.r.Suggestions[0].TensileLossPct != nil
	t.Header = append(t.Header, "pass", "unload, min", "shade", "L*", "a*", "b*", "ΔE00", "active, g/kg")
	if tested {
		t.Header = append(t.Header, "tensile loss, %")
	}
	t.Header = append(t.Header, "")
	for k, s := range v.r.Suggestions {
		row := page.Row(strconv.Itoa(k + 1))
		row = append(row, page.Row(settingCells(columns, s.Settings, func(x float64) string { return report.Short(x, 5) })...)...)
		window, active, note := "", "", ""
		if w := s.TimeWindowMin; w != nil {
			window = fmt.Sprintf("%.1f–%.1f", w[0], w[1])
		}
		if s.ActiveGPerKg != nil {
			active = report.Short(*s.ActiveGPerKg, 3)
		}
		if s.Extrapolated {
			note = "outside the trials"
		}
		l, a, b := s.LotInterval.around(s.Shade)
		row = append(row, page.Row(report.Percent(s.PassProbability), window)...)
		row = append(row, page.Cell{Swatch: figure.Hex(colorimetry.Lab(s.Shade))})
		row = append(row, page.Row(l, minus(a), minus(b), report.Fixed(s.DeltaE, 2), active)...)
		if tested {
			row = append(row, page.Row(s.TensileLossPct.text())...)
		}
		t.Rows = append(t.Rows, append(row, page.Row(note)...))
	}
	return t
}
