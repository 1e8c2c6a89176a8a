package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

func (e *env) showSuggestions(m *discharge.Model, list []suggestResult) error {
	switch e.format {
	case formatJSON:
		return report.JSON(&e.out, list)
	case formatCSV:
		return e.rows(suggestRows(m, list))
	}
	for i, r := range list {
		if i > 0 {
			e.printf("\n")
		}
		e.suggestText(m, r)
	}
	e.cautions(m.Process())
	return nil
}

func suggestRows(m *discharge.Model, list []suggestResult) [][]any {
	var all []suggestion
	for _, r := range list {
		all = append(all, r.Suggestions...)
	}
	columns := usedColumns(m.Process(), settingsOf(all, suggestion.settings))
	header := append([]any{"target", "reachable", "closest_delta_e", "rank"}, columnNames(columns)...)
	header = append(header, "viewing", "L", "a", "b", "delta_e", "pass_probability", "time_from_min", "time_to_min", "active_g_per_kg", "tensile_loss_pct", "tensile_loss_lo", "tensile_loss_hi", "extrapolated", "why")
	rows := [][]any{header}
	for _, r := range list {
		start := []any{r.Target.ID, r.Reachable, r.ClosestDeltaE}
		if len(r.Suggestions) == 0 {
			row := append(append(start, nil), settingValues(columns, nil)...)
			rows = append(rows, append(row, r.Viewing, nil, nil, nil, nil, nil, nil, nil, nil, nil, nil, nil, nil, r.Why))
		}
		for k, s := range r.Suggestions {
			row := append(append(start[:3:3], k+1), settingValues(columns, s.Settings)...)
			var from, to any
			if w := s.TimeWindowMin; w != nil {
				from, to = w[0], w[1]
			}
			row = append(row, r.Viewing, s.Shade.L, s.Shade.A, s.Shade.B, s.DeltaE, s.PassProbability, from, to, s.ActiveGPerKg)
			row = append(row, s.TensileLossPct.cells()...)
			rows = append(rows, append(row, s.Extrapolated, r.Why))
		}
	}
	return rows
}

func (e *env) suggestText(m *discharge.Model, r suggestResult) {
	head := report.Table{Left: []bool{true, true}}
	head.Add("target "+r.Target.ID, e.shadeText(r.Target.shadeJSON)+"  "+r.Viewing)
	if r.Target.Light != nil {
		head.Add("light limit", e.shadeText(*r.Target.Light))
	}
	if r.Target.Dark != nil {
		head.Add("dark limit", e.shadeText(*r.Target.Dark))
	}
	if where := ranOn(m); where != "" {
		head.Add("model for", where)
	}
	head.Add("nearest shade", fmt.Sprintf("%s  ΔE00 %.2f from %s", e.shadeText(r.Closest), r.ClosestDeltaE, r.targetWords()))
	e.printf("%s", &head)
	if !r.Reachable {
		e.wrap(fmt.Sprintf("NOT REACHABLE within ΔE00 %s: %s.", report.Short(r.Tolerance, 3), r.Why), "", "")
		if r.Nearest != nil {
			e.wrap(nearestText(m, r.Nearest), "", "")
		}
		return
	}
	if len(r.Suggestions) == 0 {
		e.printf("Reachable, but no setting inside the bounds was found.\n")
		return
	}
	best := r.Suggestions[0]
	text := fmt.Sprintf("Set %s: the next lot passes with probability %s.", settingsText(m.Process(), best.Settings), report.Percent(best.PassProbability))
	text += windowText(&best)
	e.wrap(text, "", "")
	if r.Why != "" {
		e.wrap("Note: "+r.Why+".", "", "")
	}
	t := e.suggestTable(m.Process(), r)
	e.printf("\n%s", t)
	e.wrap(fmt.Sprintf("pass: how probably the mean of the next lot lies within ΔE00 %s of %s. unload: while the expected shade does. "+
		"± holds 95 %% of the means of lots.", report.Short(r.Tolerance, 3), r.targetWords()), "", "")
	if held := driftedText(m, best.Settings); held != "" {
		e.wrap(held, "", "")
	}
	if missing := activeLacks(m.Process(), best.Settings); len(missing) > 0 {
		e.wrap(fmt.Sprintf("active: give %s to learn the %s per kg of garments.", strings.Join(missing, " and "), m.Process().Active.Of), "", "")
	}
}

// activeLacks are the flags of what need not be chosen that the active oxidizer is worked
// out from and s does not have.
func activeLacks(p discharge.Process, s discharge.Settings) (flags []string) {
	if _, ok := p.ActivePerKg(s); ok {
		return nil
	}
	for _, c := range slices.Concat(p.Active.Times, p.Active.Over) {
		f, ok := p.Factor(c)
		if _, given := s[c]; ok && !given && f.Optional {
			flags = append(flags, "--"+f.Name())
		}
	}
	return flags
}

// driftedText names what only drifted in the trials and is not among the settings s.
func driftedText(m *discharge.Model, s discharge.Settings) string {
	var still, drifting []string
	for _, f := range m.Factors() {
		if _, set := s[f.Column]; set || f.Fixed || f.Chosen {
			continue
		}
		name := strings.ReplaceAll(f.Name(), "-", " ")
		if f.Drifts {
			drifting = append(drifting, strings.TrimSpace(fmt.Sprintf("%s %s to %s %s", name, report.Short(f.Lo, 3), report.Short(f.Hi, 3), f.Unit)))
		} else {
			still = append(still, strings.TrimSpace(fmt.Sprintf("%s %s %s", name, report.Short(f.Middle, 3), f.Unit)))
		}
	}
	var text []string
	if len(still) > 0 {
		text = append(text, "At "+strings.Join(still, " and ")+", the middle of the trials.")
	}
	if len(drifting) > 0 {
		text = append(text, "For loads that drift as the trials did: "+strings.Join(drifting, ", ")+".")
	}
	return strings.Join(text, " ")
}

// windowText says when to unload, and what is left of the pass probability at
// either end.
func windowText(s *suggestion) string {
	if s.TimeWindowMin == nil {
		return ""
	}
	return fmt.Sprintf(" Unload between %.1f and %.1f min; at these ends %s and %s of lots pass.",
		s.TimeWindowMin[0], s.TimeWindowMin[1], report.Percent(s.WindowPass[0]), report.Percent(s.WindowPass[1]))
}

// nearestText says how to get as near as possible to a target out of reach.
func nearestText(m *discharge.Model, s *suggestion) string {
	l, _, _ := s.LotInterval.around(s.Shade)
	text := fmt.Sprintf("Nearest to it: %s, L* %s, ΔE00 %s from the target", settingsText(m.Process(), s.Settings), l, report.Fixed(s.DeltaE, 1))
	if s.Extrapolated {
		text += "; outside the trials"
	}
	return text + "."
}

// targetWords says what is aimed at: with limits, the range that they span.
func (r suggestResult) targetWords() string {
	if r.Target.Light == nil && r.Target.Dark == nil {
		return "the target"
	}
	if x := r.LimitTolerance; x < r.Tolerance {
		return fmt.Sprintf("the target or a shade between its limits, and no more than %s past these", report.Short(x, 3))
	}
	return "the target or a shade between its limits"
}

func (e *env) suggestTable(p discharge.Process, r suggestResult) *report.Table {
	t := &report.Table{Header: []string{""}, Units: []string{""}}
	columns := usedColumns(p, settingsOf(r.Suggestions, suggestion.settings))
	for _, f := range columns {
		t.Header, t.Units = append(t.Header, f.Name()), append(t.Units, f.Unit)
	}
	loss, percent := r.Suggestions[0].TensileLossPct.heads()
	t.Header = append(t.Header, "pass", "unload", "", "L*", "a*", "b*", "ΔE00", "active", loss, "")
	t.Units = append(t.Units, "", "min", "", "", "", "", "", "g/kg", percent, "")
	t.Left = append(make([]bool, len(t.Header)-1), true)
	for k, s := range r.Suggestions {
		row := []string{strconv.Itoa(k + 1)}
		row = append(row, settingCells(columns, s.Settings, func(x float64) string { return report.Short(x, 5) })...)
		window, active, note := "-", "-", ""
		if w := s.TimeWindowMin; w != nil {
			window = fmt.Sprintf("%.1f-%.1f", w[0], w[1])
		}
		if s.ActiveGPerKg != nil {
			active = report.Short(*s.ActiveGPerKg, 3)
		}
		if s.Extrapolated {
			note = "outside the trials"
		}
		l, a, b := s.LotInterval.around(s.Shade)
		t.Add(append(row, report.Percent(s.PassProbability), window, e.swatch(colorimetry.Lab(s.Shade)), l, a, b,
			report.Fixed(s.DeltaE, 2), active, s.TensileLossPct.text(), note)...)
	}
	return t
}
