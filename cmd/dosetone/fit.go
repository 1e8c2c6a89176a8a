package main

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"gonum.org/v1/gonum/stat"

	"example.com/dosetone/cmd/dosetone/internal/page"
	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
)

type fitFlags struct {
	readFlags
	output      string
	process     string
	processFile string
	fabric      string
	machine     string
	production  bool
	report      reportFlags
}

func newFit(e *env) *cobra.Command {
	var f fitFlags
	cmd := &cobra.Command{
		Use:     "fit FILE [MORE ...] -o MODEL.json",
		GroupID: "model",
		Short:   "Learn a model from trial lots",
		Long: `Reads a table of trial lots, one row per reading, with the lots' settings in
columns that name their unit (strength_pct, ratio, time_min, ...), learns how
dose, shade and scatter depend on them, and writes the model to a file that
predict and suggest read. It needs at least four trial lots at different
settings; readings of the base and of the fully discharged white help much.

The table may be CSV, an XLSX workbook, CGATS text or CxF; what a file is follows
from its content. Readings that name only their lot, as instruments export them,
take roles and settings from a list of lots, one row per lot (--lot-list);
"dosetone template" writes an empty table.

Several files are learned from together, such as the trials and last month's
production; lots with role production count only with --production.

Of lots on several fabrics or machines, name the one that the model is for: the
others' lots teach what strength, load and time do, with a shift in dose of
their own, and lots of another fabric are taken as far between its base and
white as they are between theirs.`,
		Example: `  dosetone fit trials.csv -o model.json
  dosetone fit trials.csv -o model.json --format json
  dosetone fit trials.csv -o model.json --report fit.html --figure dose-response=dose.svg
  dosetone fit trials.csv production.csv --production -o model.json
  dosetone fit trials.csv --machine drum-3 -o model.json
  dosetone fit lots.csv -o model.json --process permanganate-pellet --viewing D65/10
  dosetone fit lots.xlsx --sheet Sheet1 -o model.json --process permanganate-pellet --viewing D65/10
  dosetone fit export.txt --lot-list lot-list.csv -o model.json --process permanganate-pellet --viewing D65/10
  dosetone fit wide.csv --wide --lot-list lot-list.csv -o model.json --process permanganate-pellet --viewing D65/10`,
		Args: cobra.MinimumNArgs(1),
		RunE: e.work(func(_ *cobra.Command, args []string) error { return e.fit(args, f) }),
	}
	e.registerTables(cmd)
	e.registerLots(cmd)
	f.register(cmd)
	cmd.Flags().StringVarP(&f.output, "output", "o", "", "file for the model; written whole or not at all")
	cmd.Flags().StringVar(&f.process, "process", "", "process of the trials, when the file has no process column")
	cmd.Flags().StringVar(&f.processFile, "process-file", "", "JSON file that defines a process of your own")
	cmd.Flags().StringVar(&f.fabric, "fabric", "", "fabric that the model is for, where lots are of several")
	cmd.Flags().StringVar(&f.machine, "machine", "", "machine that the model is for, where lots ran on several")
	registerProduction(cmd, &f.production)
	f.report.register(cmd, fitFigures()...)
	return cmd
}

// fitResult is the JSON form of a fit; other programs rely on its keys.
type fitResult struct {
	Process      string         `json:"process"`
	Curve        string         `json:"curve"`
	CurveShare   float64        `json:"curve_share"`
	LevelScale   string         `json:"level_scale"`
	Viewing      string         `json:"viewing"`
	Lots         int            `json:"lots"`
	Parameters   []fitParameter `json:"parameters"`
	SDLot        float64        `json:"sd_lot"`
	SDPanel      float64        `json:"sd_panel"`
	LotDeltaE    float64        `json:"lot_delta_e"`
	LOOMedian    float64        `json:"loo_delta_e_median"`
	LOOP95       float64        `json:"loo_delta_e_p95"`
	FactorRanges []factorRange  `json:"factors"`
	Fabric       string         `json:"fabric"` // that the model is for, "" for none or several; machine alike
	Machine      string         `json:"machine"`
	Others       []otherLots    `json:"others"` // on other fabrics and machines
	Learned      []string       `json:"learned"`
	OutOfLine    []string       `json:"lots_out_of_line"` // which the others do not explain; warnings say how
	Warnings     []string       `json:"warnings"`
	Model        string         `json:"model"`
}

type fitParameter struct {
	Name    string  `json:"name"`
	Value   float64 `json:"value"`
	SE      float64 `json:"se"`
	Lo      float64 `json:"lo"`
	Hi      float64 `json:"hi"`
	Unit    string  `json:"unit"`
	Meaning string  `json:"meaning"`
}

// otherLots are lots on another fabric or machine than the model's.
type otherLots struct {
	Fabric  string `json:"fabric"`
	Machine string `json:"machine"`
	Lots    int    `json:"lots"`
	doseShift
}

type factorRange struct {
	Column string  `json:"column"`
	Lo     float64 `json:"lo"`
	Hi     float64 `json:"hi"`
	Fixed  bool    `json:"fixed"`
}

func (e *env) fit(names []string, f fitFlags) error {
	if f.output == "-" {
		return usage("-o - is not possible: standard output carries the results; name a file")
	}
	if err := f.report.check(); err != nil {
		return err
	}
	own, err := e.readProcess(f.processFile)
	if err != nil {
		return err
	}
	t, err := e.trials(names, own, f)
	if err != nil {
		return err
	}
	e.warnAll(t.Warnings)
	production := t.ByRole(discharge.Production)
	t = e.learning(t, f.production)
	opt := &discharge.FitOptions{Fabric: f.fabric, Machine: f.machine}
	if own != nil {
		opt.Process = *own
	}
	m, err := discharge.FitContext(e.ctx, t, opt)
	if err != nil {
		return err
	}
	if err := e.ctx.Err(); err != nil {
		return err
	}
	if f.production {
		e.warnStep(m, t, production)
	}
	var view *page.Page
	if f.report.wanted() {
		if view, err = e.fitPage(m, t, opt, lotsOf(m, production)); err != nil {
			return err
		}
	}
	s := m.Summary()
	e.warnEach(s.Warnings)
	if f.output == "" {
		e.warn("no model was written: name its file with -o model.json")
	} else if err := e.saveModel(f.output, m); err != nil {
		return err
	}
	if view != nil {
		if err := e.writeReport(f.report, view); err != nil {
			return err
		}
	}
	r := newFitResult(m, s, f.output)
	switch e.format {
	case formatJSON:
		return report.JSON(&e.out, r)
	case formatCSV:
		rows := [][]any{{"name", "value", "se", "lo", "hi", "unit", "meaning"}}
		for _, p := range r.Parameters {
			rows = append(rows, []any{p.Name, p.Value, p.SE, p.Lo, p.Hi, p.Unit, p.Meaning})
		}
		return e.rows(rows)
	}
	e.fitText(r, m, lotsOf(m, production))
	return nil
}

// warnStep tells of production whose dose took a step between two lots: a model of two deliveries is
// of neither. The model knows no order of lots, and its scatter swallows the step, so the lots
// before and after each are compared by Student's t. Looking at every place makes a large one likelier
// by chance: above 4 comes 4 sets in 1000 of 30 to 200 sound lots, and 11 of 12 lots (simulated,
// normal scatter).
func (e *env) warnStep(m *discharge.Model, t *discharge.Table, production []discharge.Lot) {
	const limit, least = 4.0, 4
	var lots []string
	var doses []float64 // ln, over what the settings promise
	for _, lot := range production {
		learned := slices.ContainsFunc(m.Trials(), func(r discharge.TrialRecord) bool { return r.ID == lot.ID && r.Shift == 0 })
		light, ok := discharge.MeanLightness(lot)
		if !learned || !ok {
			continue
		}
		r, err := m.DoseResidual(m.Starting(lot.Settings, basesOf(t, lot.ID)), m.LevelOf(light))
		if err != nil {
			continue // of a lot whose settings promise nothing
		}
		far := 3 * math.Hypot(r.SDModel, r.SDLots) // an upset lot is one, however far it is off
		lots, doses = append(lots, lot.ID), append(doses, min(max(r.LnDose, -far), far))
	}
	step, at, size := 0.0, 0, 0.0
	for k := least; k <= len(doses)-least; k++ {
		m0, v0 := stat.MeanVariance(doses[:k], nil)
		m1, v1 := stat.MeanVariance(doses[k:], nil)
		n0, n1 := float64(k), float64(len(doses)-k)
		pooled := ((n0-1)*v0 + (n1-1)*v1) / (n0 + n1 - 2)
		if s := math.Abs(m1-m0) / math.Sqrt(pooled*(1/n0+1/n1)); s > step {
			step, at, size = s, k, m1-m0
		}
	}
	if step > limit {
		e.warn("production from lot %s on has had %+.0f %% dose against the lots before it (Student's t %.1f): something has changed, such as a delivery, and a model of both is of neither; fit without the lots before it, or recalibrate by those from it on",
			lots[at], 100*math.Expm1(size), step)
	}
}

// lotsOf counts the lots that m learned from, production among them.
func lotsOf(m *discharge.Model, production []discharge.Lot) string {
	n := 0
	for _, t := range m.Trials() {
		if slices.ContainsFunc(production, func(l discharge.Lot) bool { return l.ID == t.ID }) {
			n++
		}
	}
	if n == 0 {
		return fmt.Sprintf("%d trial lots", len(m.Trials()))
	}
	return fmt.Sprintf("%d lots (%d of production)", len(m.Trials()), n)
}

// trials reads the tables of a command line as one.
func (e *env) trials(names []string, own *discharge.Process, f fitFlags) (*discharge.Table, error) {
	var all *discharge.Table
	var idle idleLots
	for _, name := range names {
		s, err := e.lotSheet(name)
		if err != nil {
			return nil, err
		}
		if len(names) > 1 { // what one file lacks another has
			idle.take(s)
		}
		opt := &discharge.ReadOptions{Process: f.process, Viewing: f.viewing.Viewing, Percent: bool(f.percent)}
		if own != nil {
			opt.Processes = []discharge.Process{*own}
			if f.process == "" && !hasColumn(s, "process") {
				opt.Process = own.ID
			}
		}
		t, err := discharge.FromSheet(s, opt)
		if err != nil {
			return nil, err
		}
		if all == nil {
			all = t
		} else if all, err = all.Join(t); err != nil {
			return nil, err
		}
	}
	e.warnAll(idle.inAll())
	return all, nil
}

func (e *env) saveModel(name string, m *discharge.Model) error {
	var b bytes.Buffer
	if err := m.Save(&b, version()); err != nil {
		return err
	}
	return e.write(name, b.Bytes())
}

func newFitResult(m *discharge.Model, s discharge.Summary, file string) fitResult {
	r := fitResult{Process: s.Process, Curve: s.Curve, CurveShare: s.CurveShare, LevelScale: s.LevelScale, Viewing: m.Viewing().String(),
		Lots: len(m.Trials()), SDLot: s.SDLot, SDPanel: s.SDPanel, LotDeltaE: s.LotDeltaE, LOOMedian: s.LOOMedian, LOOP95: s.LOOP95,
		Parameters: []fitParameter{}, FactorRanges: []factorRange{}, Others: []otherLots{}, Learned: orEmpty(s.Words), OutOfLine: []string{}, Warnings: orEmpty(s.Warnings), Model: file}
	for _, p := range s.Parameters {
		r.Parameters = append(r.Parameters, fitParameter{p.Name, p.Value, p.SE, p.Lo, p.Hi, p.Unit, p.Meaning})
	}
	for _, t := range m.Trials() {
		if t.OutOfLine() {
			r.OutOfLine = append(r.OutOfLine, t.ID)
		}
	}
	r.Fabric, r.Machine = m.RanOn()
	for _, o := range m.Others() {
		r.Others = append(r.Others, otherLots{o.Fabric, o.Machine, o.Lots, newDoseShift(m, o.Shift, o.ShiftSD, o.Factor())})
	}
	for _, f := range m.Factors() {
		r.FactorRanges = append(r.FactorRanges, factorRange{f.Column, f.Lo, f.Hi, f.Fixed})
	}
	return r
}

// siteOf says for which fabric and machine m is, where lots of others taught it, too.
func siteOf(m *discharge.Model) (text string) {
	if len(m.Others()) == 0 {
		return ""
	}
	fabric, machine := m.RanOn()
	if fabric != "" {
		text += " for fabric " + fabric
	}
	if machine != "" {
		text += " on machine " + machine
	}
	return text
}

// ranOn names the fabric and the machine that m is for, "" where its lots named neither.
func ranOn(m *discharge.Model) string {
	fabric, machine := m.RanOn()
	var parts []string
	if fabric != "" {
		parts = append(parts, "fabric "+fabric)
	}
	if machine != "" {
		parts = append(parts, "machine "+machine)
	}
	return strings.Join(parts, ", ")
}

// orEmpty makes an empty list of none, so that JSON has [] and never null.
func orEmpty[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// howVaried says how the trials came by a factor's range, "" where they chose it.
func howVaried(f discharge.FactorRange) string {
	switch {
	case f.Fixed:
		return "never varied"
	case f.Measured:
		return "of each load, before it"
	case !f.Chosen:
		return "drifted"
	}
	return ""
}

func (e *env) fitText(r fitResult, m *discharge.Model, lots string) {
	e.printf("Model of %s (%s)%s, %s, %s\n", r.Process, m.Process().Title, siteOf(m), lots, r.Viewing)
	ranges := report.Table{Header: []string{"factor", "tested from", "to", "unit", ""}, Left: []bool{true, false, false, true, true}}
	for _, f := range m.Factors() {
		ranges.Add(f.Column, report.Short(f.Lo, 4), report.Short(f.Hi, 4), f.Unit, howVaried(f))
	}
	e.printf("%s\n", &ranges)
	e.printf("What was learned\n")
	for _, w := range r.Learned {
		e.wrap(w, "  - ", "    ")
	}
	e.printf("\nCurve: %s on the %s scale (%s of the evidence); the model averages all curves that fit\n", r.Curve, r.LevelScale, report.Percent(r.CurveShare))
	table := report.Table{Header: []string{"parameter", "value", "95 % interval", "meaning"}, Left: []bool{true, false, true, true}}
	last := ""
	for _, p := range r.Parameters {
		d := report.Decimals((p.Hi - p.Lo) / 2)
		meaning := cmp.Or(p.Meaning, p.Unit)
		if meaning == last {
			meaning = "\""
		} else {
			last = meaning
		}
		table.Add(p.Name, report.Fixed(p.Value, d), report.Fixed(p.Lo, d)+" to "+report.Fixed(p.Hi, d), meaning)
	}
	e.printf("%s\n", &table)
	numbers := report.Table{Left: []bool{true, false, true}}
	numbers.Add("scatter of lots", report.Fixed(100*r.SDLot, 0)+" %", "of dose (one standard deviation), about ΔE00 "+report.Fixed(r.LotDeltaE, 1)+" in the middle of the path")
	within := "of dose, within a lot"
	if !m.PanelsMeasured() {
		within += ": assumed, no lot has two panels"
	}
	numbers.Add("scatter of panels", report.Fixed(100*r.SDPanel, 0)+" %", within)
	numbers.Add("lots predicted unseen", report.Fixed(r.LOOMedian, 2), "ΔE00 median, 95 % within "+report.Fixed(r.LOOP95, 2)+" (each trial lot from all others)")
	e.printf("%s", &numbers)
	if r.Model != "" {
		e.printf("\nWritten to %s\n", r.Model)
	}
}
