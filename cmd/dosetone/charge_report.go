package main

import (
	"fmt"
	"math"
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/page"
	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/charge"
)

// chargePage makes the sheet for the floor: to be printed, ticked and signed.
func chargePage(s *charge.Sheet, m *discharge.Model) *page.Page {
	p := &page.Page{Kind: sheetKind(s), Title: capital(s.Process.Title), Lead: capital(settingsText(s.Process, s.Settings)) + ".", Sheet: true}
	load := page.Fact{Name: "Load", Value: s.Garments.String(), Note: "dry garments"}
	if s.Count > 0 {
		load.Note = fmt.Sprintf("%d garments, dry", s.Count)
	}
	p.Facts = append(p.Facts, load)
	if s.Oxidizer > 0 {
		p.Facts = append(p.Facts, page.Fact{Name: "Oxidizer on it", Value: s.Oxidizer.Round(0.1).String(), Note: "counted as " + s.ActiveOf})
	}
	if w := s.Window; w != [2]float64{} {
		p.Facts = append(p.Facts, page.Fact{Name: s.End, Value: fmt.Sprintf("%.1f–%.1f min", w[0], w[1]), Note: s.WindowNote})
	}
	if s.SecondPass {
		p.Facts = append(p.Facts, page.Fact{Name: "Second pass", Value: "no window", Note: "the interval is the one that check states; a panel is read at two thirds of the time"})
	}
	// What is doubtful comes before the scales.
	p.Sections = append(p.Sections, warningSection(sentences(worded(s.Process, s.Warnings)))...)
	p.Sections = append(p.Sections, weighSection(s))
	if n := s.Neutralizing; n != nil {
		p.Sections = append(p.Sections, neutralSection(n))
	}
	p.Sections = append(p.Sections, orderSection(s))
	p.Sections = append(p.Sections, sheetCautionSection(s))
	if s.Cost != nil {
		p.Sections = append(p.Sections, page.Section{ID: "cost", Title: "Cost and footprint", Blocks: []page.Block{{List: sentences(costWords(s))}}})
	}
	if m != nil {
		p.Foot = modelFoot(m)
	} else {
		p.Foot = append([]page.Fact{{Name: "Process", Value: s.Process.Title + " (" + s.Process.ID + ")"}}, toolFoot()...)
	}
	return p
}

func weighSection(s *charge.Sheet) page.Section {
	out := page.Section{ID: "weigh", Title: "Weigh and measure", Blocks: []page.Block{{Sign: []string{"date", "load no.", "operator"}}}}
	if len(s.Shared) > 0 {
		out.Blocks = append(out.Blocks, page.Block{Heading: "For all batches"})
		out.Blocks = append(out.Blocks, itemBlocks(s.Shared)...)
	}
	for _, b := range s.Batches {
		head := fmt.Sprintf("%s: %v of dry garments, %v in the drum", capital(b.Machine), b.Garments, b.InDrum.Round(100))
		if b.Count > 0 {
			head = fmt.Sprintf("%s: %d garments, %v dry, %v in the drum", capital(b.Machine), b.Count, b.Garments, b.InDrum.Round(100))
		}
		out.Blocks = append(out.Blocks, page.Block{Heading: head})
		out.Blocks = append(out.Blocks, itemBlocks(b.Items)...)
		out.Blocks = append(out.Blocks, page.Block{Text: sentence(batchWords(s, b))})
	}
	return out
}

// itemBlocks are the lines to weigh, with boxes, and those worked out, without.
func itemBlocks(items []charge.Item) []page.Block {
	weigh := &page.Table{Caption: "Weigh or measure, and tick", Header: []string{"what", "how much", "note"}, Text: []bool{true, false, true}, Tick: true}
	know := &page.Table{Caption: "Worked out, not weighed", Header: []string{"what", "how much", "note"}, Text: []bool{true, false, true}}
	for _, i := range items {
		name := i.Name
		if i.Part == "neutralize" {
			name += " (neutralizing)"
		}
		t, take := weigh, i.Take
		if i.Info {
			t = know
			take.Mass, take.Volume = take.Mass.Round(1), take.Volume.Round(0.1)
		}
		t.Rows = append(t.Rows, page.Row(name, take.String(), i.Note))
	}
	var out []page.Block
	for _, t := range []*page.Table{weigh, know} {
		if len(t.Rows) > 0 {
			out = append(out, page.Block{Table: t})
		}
	}
	return out
}

// asSet reports whether every setting is realized within 0.05 %: the dose alone may
// be, where one setting is above and another below.
func asSet(set, realized discharge.Settings) bool {
	for column, v := range set {
		if math.Abs(realized[column]-v) > 5e-4*math.Abs(v) {
			return false
		}
	}
	return true
}

// batchWords say what the rounded weights amount to.
func batchWords(s *charge.Sheet, b charge.Batch) string {
	if b.ActivePerKg > 0 && asSet(s.Settings, b.Realized) && (b.DeltaE == nil || *b.DeltaE < 0.005) {
		return "as weighed: as set, within 0.05 %"
	}
	text := "as weighed: " + settingsText(s.Process, b.Realized)
	if b.ActivePerKg > 0 {
		where := ""
		if _, spray := s.Process.Factor("add_on_gsm"); spray {
			where = " where it is sprayed" // the oxidizer on the load is told beside it, of the whole of it
		}
		text += fmt.Sprintf("; %s g/kg active%s, %+.2f %% by rounding", report.Short(b.ActivePerKg, 4), where, 100*b.DoseError)
	}
	if b.DeltaE != nil {
		text += fmt.Sprintf(", which moves the shade by ΔE00 %.2f", *b.DeltaE)
	}
	return text
}

func neutralSection(n *charge.Neutralizing) page.Section {
	title := "Neutralizing with "
	if n.Antichlor {
		title = "Antichlor with "
	}
	out := page.Section{ID: "neutralize", Title: title + n.Demand.Agent.Name}
	for _, w := range neutralWords(n) {
		out.Blocks = append(out.Blocks, page.Block{Text: w})
	}
	var notes []page.Note
	for _, w := range n.Notes {
		notes = append(notes, page.Note{Text: sentence(w), Tone: "hot"})
	}
	return page.Section{ID: out.ID, Title: out.Title, Blocks: append(out.Blocks, page.Block{Notes: notes})}
}

func orderSection(s *charge.Sheet) page.Section {
	var steps []page.Step
	for _, x := range s.Steps {
		steps = append(steps, page.Step{Do: sentence(x.Do), Note: stepNote(x), Caution: x.Caution})
	}
	return page.Section{ID: "order", Title: "Order of work", Blocks: []page.Block{
		{Text: "Times, temperatures and baths that are not settings: " + discharge.CommonPractice + "."},
		{Steps: steps},
		{Sign: []string{"weighed by", "checked by", "oxidizer in at (time)", strings.ToLower(s.End) + " at (time)", "shade of the panel read", "released by"}}}}
}

func sheetCautionSection(s *charge.Sheet) page.Section {
	out := page.Section{ID: "cautions", Title: "Cautions"}
	add := func(heading string, notes []page.Note) {
		if len(notes) == 0 {
			return
		}
		if heading != "" {
			out.Blocks = append(out.Blocks, page.Block{Heading: heading})
		}
		out.Blocks = append(out.Blocks, page.Block{Notes: notes})
	}
	var apart, limits, cautions []page.Note
	for _, c := range s.Conflicts {
		apart = append(apart, cautionNote(c.A+" and "+c.B, c.Text, c.Source))
	}
	for _, l := range s.Limits {
		limits = append(limits, cautionNote(l.Of, l.Text, l.Source))
	}
	for _, c := range s.Cautions {
		cautions = append(cautions, cautionNote(c.Hazard, c.Text, c.Source))
	}
	add("", cautions)
	add("Keep apart", apart)
	add("Limits in the air of the workplace", limits)
	list := sentences(s.Protection)
	if s.Effluent != "" {
		list = append(list, "Leaves with the water: "+sentence(s.Effluent))
	}
	out.Blocks = append(out.Blocks, page.Block{Heading: "Protection and water"}, page.Block{List: list}, page.Block{Text: s.Deference})
	return out
}
