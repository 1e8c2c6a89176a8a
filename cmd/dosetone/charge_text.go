package main

import (
	"fmt"
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/charge"
)

// sheetKind heads the sheet.
func sheetKind(s *charge.Sheet) string {
	if s.SecondPass {
		return "Weigh sheet of a second pass"
	}
	return "Weigh sheet"
}

// sheetText prints the sheet for the floor.
func (e *env) sheetText(s *charge.Sheet) {
	e.printf("%s: %s (%s)\n", sheetKind(s), s.Process.Title, s.Process.ID)
	e.wrap("settings: "+settingsText(s.Process, s.Settings), "  ", "    ")
	load := s.Garments.String() + " of dry garments"
	if s.Count > 0 {
		load = fmt.Sprintf("%d garments, %v dry", s.Count, s.Garments)
	}
	e.printf("  load: %s\n", load)
	if s.Oxidizer > 0 {
		e.printf("  oxidizer on it: %v, counted as %s\n", s.Oxidizer.Round(0.1), s.ActiveOf)
	}
	if len(s.Warnings) > 0 {
		e.printf("\nWarnings\n")
		for _, w := range s.Warnings {
			e.wrap(w, "  ! ", "    ")
		}
	}
	if len(s.Shared) > 0 {
		e.printf("\nFor all batches\n")
		e.itemsText(s.Shared)
	}
	for _, b := range s.Batches {
		head := fmt.Sprintf("%s: %v of dry garments", b.Machine, b.Garments)
		if b.Count > 0 {
			head = fmt.Sprintf("%s: %d garments, %v dry", b.Machine, b.Count, b.Garments)
		}
		e.printf("\n%s, %v in the drum\n", head, b.InDrum.Round(100))
		e.itemsText(b.Items)
		e.wrap(batchWords(s, b), "  ", "    ")
	}
	if n := s.Neutralizing; n != nil {
		e.neutralText(n)
	}
	e.printf("\nOrder of work (times, temperatures and baths that are not settings: %s)\n", discharge.CommonPractice)
	for i, x := range s.Steps {
		text := x.Do
		if n := stepNote(x); n != "" {
			text += " [" + n + "]"
		}
		e.wrap(text, fmt.Sprintf("  %2d. ", i+1), "      ")
		if x.Caution != "" {
			e.wrap(x.Caution, "      ! ", "        ")
		}
	}
	if s.Cost != nil {
		e.costText(s)
	}
	e.sheetCautions(s)
}

// itemsText prints the lines; · marks what is worked out and not weighed.
func (e *env) itemsText(items []charge.Item) {
	t := report.Table{Left: []bool{true, false, true}}
	var notes []string
	for _, i := range items {
		name, mark := i.Name, ""
		if i.Part == "neutralize" {
			name += " (neutralizing)"
		}
		if i.Info {
			mark = "·"
		}
		if i.Note != "" {
			notes = append(notes, i.Name+": "+i.Note)
		}
		take := i.Take
		if i.Info {
			take.Mass, take.Volume = take.Mass.Round(1), take.Volume.Round(0.1)
		}
		t.Add(name, take.String(), mark)
	}
	e.printf("%s", &t)
	for _, n := range notes {
		e.wrap(n, "    - ", "      ")
	}
}

func (e *env) neutralText(n *charge.Neutralizing) {
	what := "Neutralizing"
	if n.Antichlor {
		what = "Antichlor"
	}
	e.printf("\n%s with %s\n", what, n.Demand.Agent.Name)
	for _, w := range neutralWords(n) {
		e.wrap(w, "  ", "    ")
	}
	for _, note := range n.Notes {
		e.wrap(note, "  - ", "    ")
	}
}

// neutralWords are the equations and what they ask for.
func neutralWords(n *charge.Neutralizing) []string {
	var out []string
	raised := strings.NewReplacer("^2-", "²⁻", "^2+", "²⁺", "^-", "⁻", "^+", "⁺")
	for _, q := range equations(n) {
		out = append(out, raised.Replace(q))
	}
	factor := report.Short(float64(n.Demand.Least), 4)
	weigh := n.Least.Round(0.1).String()
	if !n.Demand.Single() {
		factor += " to " + report.Short(float64(n.Demand.Most), 4)
		weigh += " to " + n.Most.Round(0.1).String()
	}
	out = append(out, fmt.Sprintf("%s g pure per g; times %s, at %s purity, for %v of oxidizer: %s", factor, report.Short(n.Excess, 3), n.Purity, n.Oxidizer.Round(0.1), weigh))
	if n.IfSpent > 0 {
		out = append(out, fmt.Sprintf("if all of it were manganese dioxide by then (at most %v), %v would do", n.Dioxide.Round(0.1), n.IfSpent.Round(0.1)))
	}
	out = append(out, fmt.Sprintf("pH %g-%g; %s", n.Conditions.PH.Lo, n.Conditions.PH.Hi, n.Conditions.WithoutThem))
	return out
}

func (e *env) costText(s *charge.Sheet) {
	e.printf("\nCost and footprint\n")
	for _, w := range costWords(s) {
		e.wrap(w, "  ", "    ")
	}
}

// costWords are the cost and the footprint of a load.
func costWords(s *charge.Sheet) []string {
	c := s.Cost
	var out []string
	text := fmt.Sprintf("chemicals %.2f, water %.2f, energy %.2f, together %.2f: %.3f per kg", c.Chemicals, c.Water, c.Energy, c.Total, c.PerKg)
	if s.Count > 0 {
		text += fmt.Sprintf(", %.3f per garment", c.PerGarment)
	}
	out = append(out, text)
	text = fmt.Sprintf("water %v, heat for the baths %.1f kWh", c.WaterVolume.Round(1), c.HeatKWh)
	if s.Count > 0 {
		text += fmt.Sprintf(" (%.3g L and %.2g kWh per garment)", float64(c.WaterVolume)/float64(s.Count), c.HeatKWh/float64(s.Count))
	}
	if c.CO2Kg > 0 {
		text += fmt.Sprintf(", %.3g kg CO2", c.CO2Kg)
	}
	out = append(out, text)
	if len(c.NoPrice) > 0 {
		out = append(out, "without a price, so the total is too low: "+strings.Join(c.NoPrice, ", "))
	}
	return out
}

// sheetCautions prints all of them: this sheet is read where they matter.
func (e *env) sheetCautions(s *charge.Sheet) {
	memory := false
	line := func(of, text, source string) {
		switch source {
		case discharge.FromMemory:
			memory = true
			text += " *"
		default:
			text += " (" + source + ")"
		}
		e.wrap(of+": "+text, "  - ", "    ")
	}
	if len(s.Conflicts) > 0 {
		e.printf("\nKeep apart\n")
		for _, c := range s.Conflicts {
			line(c.A+" and "+c.B, c.Text, c.Source)
		}
	}
	if len(s.Limits) > 0 {
		e.printf("\nLimits in the air of the workplace\n")
		for _, l := range s.Limits {
			line(l.Of, l.Text, l.Source)
		}
	}
	e.printf("\nCautions\n")
	for _, c := range s.Cautions {
		line(c.Hazard, c.Text, c.Source)
	}
	for _, p := range s.Protection {
		e.wrap(p, "  - ", "    ")
	}
	if s.Effluent != "" {
		e.wrap("leaves with the water: "+s.Effluent, "  - ", "    ")
	}
	if memory {
		e.printf("  * %s\n", discharge.FromMemory)
	}
	e.wrap(s.Deference, "", "")
}
