package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/figure"
	"example.com/dosetone/cmd/dosetone/internal/page"
	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
)

// checkFigures are the pictures of a check's page; those of a second lot end in
// -2, and so on.
func checkFigures() []string { return []string{"lot-lb", "lot-ab", "bands", "chart-dose", "chart-off"} }

// checkView is what the page of a check is made of.
type checkView struct {
	list   []checkResult
	open   []string // lots that could not be judged
	target discharge.Target
	bands  *quality.Bands
	ledger *quality.Ledger // nil without
	trend  *quality.Trend  // nil without
	opt    *quality.Options
}

// manyLots is the number of lots up to which each gets its part of the page.
const manyLots = 12

// verdictSign is a decision for the eye: a sign, a word and a tone.
func verdictSign(r *quality.Report) (sign, word, tone string) {
	switch r.Verdict.Decision {
	case quality.Accept:
		if r.Sort() {
			return "!", "Accept, but sort", "open"
		}
		return "✓", "Accept", "good"
	case quality.Reject:
		return "✕", "Reject", "hot"
	}
	return "?", "Measure more", "open"
}

func (v *checkView) page() *page.Page {
	p := &page.Page{Kind: "Lots against the standard", Lead: v.lead(), Facts: v.facts()}
	first := v.list[0]
	p.Title = "Lot " + first.Lot
	if n := len(v.list); n > 1 {
		p.Title = fmt.Sprintf("%d lots", n)
		p.Sections = append(p.Sections, v.overview())
	}
	for i := range v.list {
		// A long day would make a page that nobody reads: of many lots those that
		// need something done get their part.
		if len(v.list) <= manyLots || v.list[i].Verdict != quality.Accept || v.list[i].report.Sort() {
			p.Sections = append(p.Sections, v.lotSection(i))
		}
	}
	if len(v.list) > 1 {
		p.Sections = append(p.Sections, v.bandSection())
	}
	if v.trend != nil {
		p.Sections = append(p.Sections, v.trendSection())
	}
	if m := v.opt.Model; m != nil {
		p.Sections = append(p.Sections, cautionSection(m.Process()))
		p.Foot = modelFoot(m)
	} else {
		p.Foot = append([]page.Fact{{Name: "Viewing", Value: first.Viewing}}, toolFoot()...)
	}
	return p
}

func (v *checkView) lead() string {
	if len(v.list) == 1 && len(v.open) == 0 {
		return headline(&v.list[0])
	}
	count := map[quality.Decision]int{}
	sorted := 0
	for _, r := range v.list {
		count[r.Verdict]++
		if r.report.Sort() {
			sorted++
		}
	}
	sort, open := "", ""
	if len(v.open) > 0 {
		open = "; not judged: " + names(v.open)
	}
	if sorted > 0 {
		sort = fmt.Sprintf(" (%d of them to be sorted: single panels lie outside)", sorted)
	}
	return fmt.Sprintf("%d accepted%s, %d rejected, %d to be measured again%s.", count[quality.Accept], sort, count[quality.Reject], count[quality.MeasureMore], open)
}

func (v *checkView) facts() []page.Fact {
	r := v.list[0]
	facts := []page.Fact{{Name: "Standard", Value: labText(r.Standard), Note: v.target.ID + ", " + r.Viewing}}
	if len(v.list) == 1 {
		facts = append(facts,
			page.Fact{Name: "Mean of the lot", Value: labText(r.Mean), Note: fmt.Sprintf("%d %s", len(r.Panels), plural(len(r.Panels), "panel", "panels"))},
			page.Fact{Name: "Difference", Value: report.Fixed(r.DeltaELot, 2), Note: fmt.Sprintf("%s interval %.2f to %.2f", report.Percent(r.Confidence), r.DeltaEInterval[0], r.DeltaEInterval[1])})
		if math.Abs(r.DeltaEDecisive-r.DeltaELot) > 0.005 {
			facts = append(facts, page.Fact{Name: "To nearest approved", Value: report.Fixed(r.DeltaEDecisive, 2), Note: "which decides"})
		}
	}
	return append(facts, page.Fact{Name: "Tolerance", Value: report.Short(r.Tolerance, 3), Note: r.Difference})
}

func (v *checkView) overview() page.Section {
	t := &page.Table{Caption: "All lots", Header: []string{"lot", "verdict", "shade", "difference", "interval", "probability good", "band", "likely cause"}, Text: []bool{true, true, false, false, false, false, false, true}}
	// With limits, what decides is not the difference from the standard.
	limits := v.target.Light != nil || v.target.Dark != nil
	const at = 5
	if limits {
		t.Header, t.Text = slices.Insert(t.Header, at, "to nearest approved"), slices.Insert(t.Text, at, false)
	}
	for _, r := range v.list {
		sign, word, _ := verdictSign(r.report)
		cause := ""
		if r.LikelyCause != nil {
			cause = *r.LikelyCause
		}
		row := page.Row(r.Lot, sign+" "+word)
		row = append(row, page.Cell{Swatch: figure.Hex(colorimetry.Lab(r.Mean))})
		row = append(row, page.Row(report.Fixed(r.DeltaELot, 2), fmt.Sprintf("%.2f–%.2f", r.DeltaEInterval[0], r.DeltaEInterval[1]), report.Percent(r.Probability), r.ShadeBand, cause)...)
		if limits {
			row = slices.Insert(row, at, page.Row(report.Fixed(r.DeltaEDecisive, 2))...)
		}
		t.Rows = append(t.Rows, row)
	}
	s := page.Section{ID: "overview", Title: "At a glance", Blocks: []page.Block{{Table: t}}}
	if len(v.list) > manyLots {
		s.Blocks = append(s.Blocks, page.Block{Text: "Only lots that were not accepted, or are to be sorted, follow one by one; --lot gives the others a page."})
	}
	return s
}

func (v *checkView) lotSection(i int) page.Section {
	r := &v.list[i]
	suffix := ""
	if i > 0 {
		suffix = "-" + strconv.Itoa(i+1)
	}
	sign, word, tone := verdictSign(r.report)
	s := page.Section{ID: "lot" + suffix, Title: "Lot " + r.Lot, Break: i > 0}
	if len(v.list) == 1 {
		s.Title = "The verdict"
	}
	text := headline(r)
	if more := moreWords(r); more != "" {
		text += " " + more
	}
	s.Blocks = append(s.Blocks, page.Block{Verdict: &page.Verdict{Sign: sign, Word: word, Text: text, Tone: tone}}, page.Block{Table: r.numbersTable()})
	s.Blocks = append(s.Blocks,
		page.Block{Picture: &page.Picture{Figure: figure.NewLotLB("lot-lb"+suffix, v.picture(i)), Reading: v.dosePart(r),
			Caption: "Green: where a lot's mean is within tolerance of the standard (dashed: of a limit), at the standard's other coordinate. Dots are panels in their own color, a cross one that lies outside, the ring the mean."}},
		page.Block{Picture: &page.Picture{Figure: figure.NewLotAB("lot-ab"+suffix, v.picture(i)), Reading: r.castPart()}})
	if len(r.Causes) > 0 {
		s.Blocks = append(s.Blocks, page.Block{Heading: "Why, most likely first"})
		var notes []page.Note
		for k, c := range r.Causes {
			notes = append(notes, page.Note{Name: fmt.Sprintf("%d. %s.", k+1, capital(c.Cause)), Text: sentence(c.Evidence) + " Suggested: " + sentence(c.Remedy)})
		}
		s.Blocks = append(s.Blocks, page.Block{Notes: notes})
	}
	if w := correctionWords(r.report.Correction, v.opt.Model); w != "" {
		s.Blocks = append(s.Blocks, page.Block{Heading: "Correction"}, page.Block{Text: w})
	}
	s.Blocks = append(s.Blocks, page.Block{Heading: "Panels"}, page.Block{Table: r.panelTable()}, page.Block{List: evenWords(r.report)})
	for _, n := range r.Notes {
		s.Blocks = append(s.Blocks, page.Block{Text: "Note: " + sentence(n)})
	}
	return s
}

func (v *checkView) picture(i int) figure.Lot {
	r := &v.list[i]
	l := figure.Lot{Name: r.Lot, Standard: colorimetry.Lab(r.Standard), Tolerance: r.Tolerance, Formula: r.Difference, Mean: colorimetry.Lab(r.Mean), Diff: v.difference()}
	for _, x := range []struct {
		name  string
		shade *colorimetry.Lab
	}{{"light limit", v.target.Light}, {"dark limit", v.target.Dark}} {
		if x.shade != nil {
			l.Limits = append(l.Limits, figure.Named{Name: x.name, Shade: *x.shade})
		}
	}
	for _, p := range r.Panels {
		l.Panels = append(l.Panels, figure.Named{Name: p.ID, Shade: colorimetry.Lab(p.shadeJSON), Odd: !p.Inside})
	}
	if m := v.opt.Model; m != nil {
		const n = 201
		for k := range n {
			// Further off in lightness the path is elsewhere in a* and b*.
			if s := m.ShadeAt(float64(k) / (n - 1)); math.Abs(s.L-r.Standard.L) < 6*r.Tolerance {
				l.Path = append(l.Path, s)
			}
		}
	}
	return l
}

// difference is the formula of the judgment.
func (v *checkView) difference() func(ref, sample colorimetry.Lab) float64 {
	if v.opt.Difference != nil {
		return v.opt.Difference.Diff
	}
	return colorimetry.CIEDE2000{}.Diff
}

// dosePart says what of the difference is dose.
func (v *checkView) dosePart(r *checkResult) []string {
	out := []string{}
	if d := apart(r.Standard, r.Mean); d != "" {
		out = append(out, "Against the standard the lot is "+d+".")
	} else {
		out = append(out, "Lot and standard cannot be told apart.")
	}
	if r.Along == nil {
		return append(out, "With a model (--model) this would tell how much of that is dose.")
	}
	if math.Abs(*r.Along) < 0.1*r.Tolerance {
		return append(out, fmt.Sprintf("Along the shade path it stands where the standard does: its dose was right. %.1f lies off the path, where dose cannot move it.", *r.Off))
	}
	side := "lighter"
	if *r.Along < 0 {
		side = "darker"
	}
	text := fmt.Sprintf("Along the shade path, where dose acts, it is %.1f %s (%s); %.1f lies off the path, where dose cannot move it", math.Abs(*r.Along), side, quality.DoseWords(*r.DosePct), *r.Off)
	if r.DoseMinutes != nil {
		text += fmt.Sprintf(". At the lot's settings that dose is %.1f min %s", math.Abs(*r.DoseMinutes), map[bool]string{true: "too much", false: "too little"}[*r.DoseMinutes > 0])
	}
	return append(out, text+".")
}

// castPart says how the panels lie.
func (r *checkResult) castPart() []string {
	var out []string
	outside := r.report.Outside()
	switch len(outside) {
	case 0:
		n := len(r.Panels)
		out = append(out, plural(n, "The panel lies", fmt.Sprintf("All %d panels lie", n))+" within the tolerance of a garment.")
	default:
		out = append(out, fmt.Sprintf("%d of %d panels %s outside: %s.", len(outside), len(r.Panels), plural(len(outside), "lies", "lie"), names(outside)))
	}
	u := r.report.Uniformity
	text := fmt.Sprintf("Panels differ from the lot's mean by %.2f", u.BetweenPanel)
	if u.WithinPanel > 0 {
		text += fmt.Sprintf(" and readings from their panel by %.2f", u.WithinPanel)
	}
	return append(out, text+" on average.")
}

func (r *checkResult) numbersTable() *page.Table {
	t := &page.Table{Caption: "The judgment in numbers", Header: []string{"what", "value"}, Text: []bool{true, true}}
	add := func(name, value string) { t.Rows = append(t.Rows, page.Row(name, value)) }
	for _, n := range r.numbers() {
		add(n[0], n[1])
	}
	return t
}

func (r *checkResult) panelTable() *page.Table {
	t := &page.Table{Caption: "Panel means", Header: []string{"panel", "shade", measureOfPanels(r.report), "", "L*", "a*", "b*"}, Text: []bool{true, false, false, true}}
	for _, p := range r.Panels {
		var notes []string
		if !p.Inside {
			notes = append(notes, "✕ outside")
		}
		if p.HotSpot {
			notes = append(notes, "hot spot")
		}
		row := append(page.Row(p.ID), page.Cell{Swatch: figure.Hex(colorimetry.Lab(p.shadeJSON))})
		// What decides comes before what explains it: a phone shows the left of the table.
		t.Rows = append(t.Rows, append(row, page.Row(report.Fixed(p.Decisive, 2), strings.Join(notes, ", "), report.Fixed(p.L, 2), minus(report.Fixed(p.A, 2)), minus(report.Fixed(p.B, 2)))...))
	}
	return t
}

func (v *checkView) bandSection() page.Section {
	var bands []figure.ShadeBand
	t := &page.Table{Caption: fmt.Sprintf("Shade bands, light to dark; any two lots of a band differ by at most ΔE00 %s", report.Short(v.bands.Limit, 3)), Header: []string{"band", "lots", "widest pair"}, Text: []bool{true, true}}
	for _, b := range v.bands.List {
		x := figure.ShadeBand{Label: b.Label}
		var ids []string
		for _, i := range b.Items {
			ids = append(ids, v.list[i].Lot)
			x.Lots = append(x.Lots, figure.Named{Name: v.list[i].Lot, Shade: colorimetry.Lab(v.list[i].Mean)})
		}
		bands = append(bands, x)
		t.Rows = append(t.Rows, page.Row(b.Label, strings.Join(ids, ", "), report.Fixed(b.Spread, 2)))
	}
	reading := fmt.Sprintf("%s: %s lots may leave in %s.", plural(len(bands), "One band suffices", fmt.Sprintf("%s bands are needed", capital(counted(len(bands))))), counted(len(v.list)), plural(len(bands), "one delivery", fmt.Sprintf("%s groups that are not mixed in one delivery", counted(len(bands)))))
	if !v.bands.Exact {
		reading += fmt.Sprintf(" The search was cut short: at least %d are needed.", v.bands.LowerBound)
	}
	return page.Section{ID: "bands", Title: "Shade bands", Blocks: []page.Block{
		{Picture: &page.Picture{Figure: figure.NewBands("bands", bands, v.bands.Limit), Reading: []string{reading}, Caption: "Each row is a band over L*; dots are lots in their own color. Bands look at all of L*, a* and b*, so that rows may overlap."}}, {Table: t}}}
}

func (v *checkView) trendSection() page.Section {
	s := page.Section{ID: "monitoring", Title: "The laundry over time", Blocks: []page.Block{{List: sentences(v.trend.Words)}}}
	dose, off := v.chartLots()
	add := func(name string, c *quality.Chart, lots []string, title, up, reading string) {
		if c == nil || len(c.Values) == 0 {
			return
		}
		shewhart, ewma, cusum := c.Limits()
		d := figure.Chart{Title: title, Up: up, OneSided: c.OneSided}
		for i, z := range c.Values {
			e, u := c.EWMA[i], c.CUSUM[i]
			d.Points = append(d.Points, figure.ChartPoint{Lot: lots[i], Value: z, EWMA: e.Z, Lo: e.Lo, Hi: e.Hi, High: u.High, Low: u.Low,
				Out: c.Shewhart[i], EWMAOut: e.Out, CUSUMOut: u.Out, SingleLimit: shewhart, CUSUMLimit: cusum})
		}
		s.Blocks = append(s.Blocks, page.Block{Picture: &page.Picture{Figure: figure.NewChart(name, d), Reading: []string{reading, lastWords(c, lots)},
			Caption: fmt.Sprintf("Dots are lots, a cross one that raises an alarm; the line averages them with falling weight (EWMA, limits at %.2f sd), the bars below add up what goes one way (CUSUM). Limits are set for about one false alarm in 370 to 500 lots.", ewma)}})
	}
	add("chart-dose", v.trend.Dose, dose, "dose against settings", "more", "Above zero, lots had more dose than their settings promise; below, less.")
	add("chart-off", v.trend.Off, off, "distance off the path", "further", "Large values are lots that lie off the shade path: another fabric, neutralizing, rinsing.")
	return s
}

// lastWords says what the charts show at the last lot.
func lastWords(c *quality.Chart, lots []string) string {
	shewhart, ewma, cusum := c.Last()
	var which []string
	for _, x := range []struct {
		on   bool
		name string
	}{{shewhart, "the single value"}, {ewma, "the average"}, {cusum, "the sum"}} {
		if x.on {
			which = append(which, x.name)
		}
	}
	last := lots[len(lots)-1]
	if len(which) == 0 {
		return fmt.Sprintf("At the last lot, %s, nothing is beyond a limit.", last)
	}
	return fmt.Sprintf("At the last lot, %s, %s %s beyond the limit.", last, names(which), plural(len(which), "is", "are"))
}

// chartLots are the lots behind the values of the two charts.
func (v *checkView) chartLots() (dose, off []string) {
	for _, e := range v.ledger.Entries {
		if e.Model != v.opt.Model.Digest() {
			continue
		}
		if e.DoseZ != nil {
			dose = append(dose, e.Lot)
		}
		if e.OffZ != nil {
			off = append(off, e.Lot)
		}
	}
	return dose, off
}

// bandsPage is the page of check --bands-only.
func bandsPage(items []quality.Item, b *quality.Bands, viewing string) *page.Page {
	v := &checkView{bands: b}
	for _, it := range items {
		v.list = append(v.list, checkResult{Lot: it.ID, Mean: shadeOf(it.Lab)})
	}
	return &page.Page{Kind: "Shade bands", Title: fmt.Sprintf("%d %s", len(items), plural(len(items), "lot", "lots")), Lead: fmt.Sprintf("%s %s at ΔE00 %s.", capital(counted(len(b.List))), plural(len(b.List), "band", "bands"), report.Short(b.Limit, 3)),
		Sections: []page.Section{v.bandSection()}, Foot: append([]page.Fact{{Name: "Viewing", Value: viewing}}, toolFoot()...)}
}
