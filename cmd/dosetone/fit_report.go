package main

import (
	"cmp"
	"fmt"
	"math"
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/figure"
	"example.com/dosetone/cmd/dosetone/internal/page"
	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
)

// fitFigures are the pictures of a fit's page.
func fitFigures() []string { return []string{"dose-response", "lots", "strip", "path-lb", "path-ab"} }

// ladderSteps is the number of steps at which curves of dose are drawn.
const ladderSteps = 49

// fitView is a fit as its page shows it.
type fitView struct {
	m       *discharge.Model
	sum     discharge.Summary
	lots    []discharge.LotDiagnostic
	pull    []discharge.Influence // nil when lots cannot be left out
	ladder  []discharge.Prediction
	dose    []float64 // of the ladder, as a multiple of the middle
	heavy   []int     // lots that drive the curve, the heaviest first
	notPull error     // why there is no pull
	counted string    // how many lots of what kind
}

// fitPage makes the page of a fit; counted says from how many lots. It fits once more without each lot.
func (e *env) fitPage(m *discharge.Model, t *discharge.Table, opt *discharge.FitOptions, counted string) (*page.Page, error) {
	v := &fitView{m: m, counted: counted, sum: m.Summary(), lots: m.Diagnostics()}
	for _, s := range m.Ladder(ladderSteps) {
		p, err := m.Predict(s)
		if err != nil {
			return nil, err
		}
		x, err := m.LnDose(s)
		if err != nil {
			return nil, err
		}
		v.ladder, v.dose = append(v.ladder, p), append(v.dose, math.Exp(x))
	}
	v.pull, v.notPull = m.Influences(e.ctx, t, opt, ladderSteps)
	if err := e.ctx.Err(); err != nil {
		return nil, err
	}
	if v.notPull != nil {
		v.pull = nil
	}
	v.heavy = heavyLots(v.pull)
	return v.page(), nil
}

func (v *fitView) page() *page.Page {
	p := v.m.Process()
	s := v.sum
	out := &page.Page{
		Kind:  "What the trials taught",
		Title: capital(p.Title) + siteOf(v.m),
		Lead:  v.lead(),
		Facts: []page.Fact{
			{Name: "Trial lots", Value: fmt.Sprint(len(v.lots)), Note: v.m.Viewing().String()},
			{Name: "Scatter of lots", Value: report.Fixed(100*s.SDLot, 0) + " % of dose", Note: "one standard deviation; about ΔE00 " + report.Fixed(s.LotDeltaE, 1) + " in the middle of the path"},
			{Name: "Lots predicted unseen", Value: "ΔE00 " + report.Fixed(s.LOOMedian, 1), Note: "median; 95 % within " + report.Fixed(s.LOOP95, 1)},
			{Name: "Curve", Value: s.Curve, Note: "on the " + s.LevelScale + " scale, " + report.Percent(s.CurveShare) + " of the evidence; all curves that fit are averaged"},
		},
		Foot: modelFoot(v.m),
	}
	out.Sections = append(out.Sections,
		page.Section{ID: "learned", Title: "What was learned", Blocks: []page.Block{{List: plainWords(p, s.Words)}, {Table: v.rangeTable()}}},
		page.Section{ID: "dose", Title: "From dose to lightness", Blocks: []page.Block{{Picture: v.dosePicture()}}},
		page.Section{ID: "lots", Title: "How each lot stands", Blocks: []page.Block{{Picture: v.lotsPicture()}, {Table: v.lotTable()}}},
		v.pathSection(),
		page.Section{ID: "parameters", Title: "Parameters", Blocks: []page.Block{{Table: v.parameterTable()}}})
	out.Sections = append(out.Sections, warningSection(sentences(s.Warnings))...)
	out.Sections = append(out.Sections, cautionSection(p))
	return out
}

func (v *fitView) dosePicture() *page.Picture {
	d := figure.Dose{Base: v.m.ShadeAt(0).L, White: v.m.ShadeAt(1).L}
	const z = 1.959963984540054
	for i, p := range v.ladder {
		mean := z * math.Sqrt(p.MeanCovariance[0][0])
		lo, hi := p.Interval(0, 0.95)
		d.Curve = append(d.Curve, figure.DosePoint{Dose: v.dose[i], L: p.Shade.L, MeanLo: p.Shade.L - mean, MeanHi: p.Shade.L + mean, LotLo: lo, LotHi: hi})
	}
	for i, l := range v.lots {
		d.Lots = append(d.Lots, figure.DoseLot{Name: l.ID, Dose: math.Exp(l.LnDose), Shade: l.Lab, Odd: l.OutOfLine(), Notable: v.notable(i)})
	}
	if len(v.heavy) > 0 {
		x := v.pull[v.heavy[0]]
		d.WithoutName = x.Lot
		for _, c := range x.Ladder {
			d.Without = append(d.Without, c.L)
		}
	}
	return &page.Picture{Figure: figure.NewDose("dose-response", d), Reading: v.doseReading(),
		Caption: "Each dot is the mean of a trial lot in its own color, at the dose that its settings give. The curve and its bands go from the least to the most of all factors that raise the dose together, others staying in the middle of the trials: lots run elsewhere may lie beyond its ends." + v.elsewhere()}
}

func (v *fitView) lotsPicture() *page.Picture {
	rows := make([]figure.LotRow, len(v.lots))
	for i, l := range v.lots {
		rows[i] = figure.LotRow{Name: l.ID, Z: l.Z, Leverage: l.Leverage, Pull: math.NaN(), Odd: l.OutOfLine(), Heavy: v.isHeavy(i)}
		if v.pull != nil {
			rows[i].Pull = v.pull[i].DeltaE
		}
	}
	caption := "Residual: how far a lot's L* lies from what its settings promise; a cross marks more than two standard deviations. " +
		"Leverage: how much of the model's answer at its settings comes from the lot itself. "
	if v.pull != nil {
		caption += "Influence: by how much the curve moves anywhere when all is fitted again without the lot."
	} else {
		why, _, _ := strings.Cut(fmt.Sprint(v.notPull), "\n")
		caption += sentence("influence is not shown, as not every lot can be left out: " + why)
	}
	return &page.Picture{Figure: figure.NewLots("lots", rows), Reading: v.lotsReading(), Caption: caption}
}

func (v *fitView) pathSection() page.Section {
	path := pathOf(v.m)
	strip := stripOf(v.m)
	for i, l := range v.lots {
		path.Lots = append(path.Lots, figure.Named{Name: l.ID, Shade: l.Lab, Odd: l.OutOfLine(), Notable: v.notable(i)})
	}
	lo, hi := v.ladder[0], v.ladder[len(v.ladder)-1]
	strip.Marks = []figure.StripMark{{Name: "least dose", Level: lo.Level}, {Name: "most dose", Level: hi.Level}}
	return page.Section{ID: "path", Title: "The path from base to white", Blocks: []page.Block{
		{Picture: &page.Picture{Figure: figure.NewStrip("strip", strip), Reading: []string{
			fmt.Sprintf("Discharge takes this fabric from L* %.1f to L* %.1f. The trials cover %.0f to %.0f %% of the way.", v.m.ShadeAt(0).L, v.m.ShadeAt(1).L, 100*lo.Level, 100*hi.Level)}}},
		{Picture: &page.Picture{Figure: figure.NewPathLB("path-lb", path), Reading: v.bendReading(), Caption: "The path is drawn in its own colors; squares are base and white, dots the lots. The band holds 95 % of lots at each lightness."}},
		{Picture: &page.Picture{Figure: figure.NewPathAB("path-ab", path), Reading: v.offReading(), Caption: "The band holds 95 % of lots; it is wide where no lots tell." + v.elsewhere()}},
	}}
}

// elsewhere says how lots on other fabrics and machines are drawn.
func (v *fitView) elsewhere() string {
	if len(v.m.Others()) == 0 {
		return ""
	}
	return " Lots on other fabrics and machines stand at the dose that their settings gave there, and those of another fabric as if it had the base and white of this one."
}

func (v *fitView) rangeTable() *page.Table {
	t := &page.Table{Caption: "Factors and the range that was tested", Header: []string{"factor", "from", "to", "unit", ""}, Text: []bool{true, false, false, true, true}}
	for _, f := range v.m.Factors() {
		t.Rows = append(t.Rows, page.Row(f.Column, report.Short(f.Lo, 4), report.Short(f.Hi, 4), f.Unit, howVaried(f)))
	}
	return t
}

func (v *fitView) lotTable() *page.Table {
	columns := usedColumns(v.m.Process(), settingsOf(v.lots, func(l discharge.LotDiagnostic) discharge.Settings { return l.Settings }))
	t := &page.Table{Caption: "Trial lots: settings, shade, and how they stand", Header: append([]string{"lot"}, columnHeads(columns)...)}
	t.Header = append(t.Header, "shade", "L*", "a*", "b*", "L* off", "in sd", "leverage", "ΔE00 unseen")
	if v.pull != nil {
		t.Header = append(t.Header, "influence ΔE00")
	}
	several := len(v.m.Others()) > 0
	if several {
		t.Header = append(t.Header, "dose there, times")
	}
	for i, l := range v.lots {
		row := []page.Cell{{Text: l.ID}}
		row = append(row, page.Row(settingCells(columns, l.Settings, func(x float64) string { return report.Short(x, 4) })...)...)
		row = append(row, page.Cell{Swatch: figure.Hex(l.Lab)}, page.Cell{Text: report.Fixed(l.Lab.L, 1)})
		unseen := l.LeftOut
		if v.pull != nil {
			unseen = v.pull[i].LeftOut
		}
		row = append(row, page.Row(minus(report.Fixed(l.Lab.A, 1)), minus(report.Fixed(l.Lab.B, 1)), signed(l.Residual, 1), signed(l.Z, 1), report.Fixed(l.Leverage, 2), report.Fixed(unseen, 1))...)
		if v.pull != nil {
			row = append(row, page.Cell{Text: report.Fixed(v.pull[i].DeltaE, 1)})
		}
		if several {
			row = append(row, page.Cell{Text: report.Fixed(math.Exp(l.Shift), 2)})
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

func (v *fitView) parameterTable() *page.Table {
	t := &page.Table{Caption: "Fitted quantities with 95 % intervals", Header: []string{"parameter", "value", "from", "to", "meaning"}, Text: []bool{true, false, false, false, true}}
	for _, p := range v.sum.Parameters {
		d := report.Decimals((p.Hi - p.Lo) / 2)
		t.Rows = append(t.Rows, page.Row(p.Name, minus(report.Fixed(p.Value, d)), minus(report.Fixed(p.Lo, d)), minus(report.Fixed(p.Hi, d)), cmp.Or(p.Meaning, p.Unit)))
	}
	return t
}
