package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

func newPredict(e *env, processes []discharge.Process) *cobra.Command {
	var file string
	var factors *factorFlags
	var confidence number
	cmd := &cobra.Command{
		Use:     "predict MODEL (--settings FILE.csv | --strength ... --time ...)",
		GroupID: "model",
		Short:   "Say what shade settings give, and how surely",
		Long: `Predicts the shade of the next lot at given settings. The settings are either a
table with one row per lot and the factors as columns, or flags named after
those columns without their unit. Intervals hold 95 % of the means of lots, or as
many as --confidence says.`,
		Example: `  dosetone predict model.json --strength 6 --ratio 1.3 --time 14
  dosetone predict model.json --settings settings.csv --format json`,
		Args: cobra.ExactArgs(1),
		RunE: e.work(func(_ *cobra.Command, args []string) error {
			level := intervalLevel
			if confidence.set {
				level = confidence.value / 100
			}
			return e.predict(args[0], file, factors, level)
		}),
	}
	e.registerTables(cmd)
	cmd.Flags().StringVar(&file, "settings", "", "table of settings, one row per lot; - for standard input")
	cmd.Flags().Var(&confidence, "confidence", "percent of the means of lots that the intervals of L*, a*, b* hold (default 95)")
	factors = registerFactors(cmd, processes, "", "the lot's", true)
	return cmd
}

// prediction is the JSON form of one prediction; other programs rely on its keys.
type prediction struct {
	ID             string             `json:"id,omitempty"`
	Settings       discharge.Settings `json:"settings"`
	Viewing        string             `json:"viewing"`
	Shade          shadeJSON          `json:"shade"`
	Level          float64            `json:"level"`
	MeanCovariance [3][3]float64      `json:"mean_covariance"`
	LotCovariance  [3][3]float64      `json:"lot_covariance"`
	IntervalLevel  float64            `json:"interval_level"`
	LotInterval    intervalJSON       `json:"lot_interval"`
	DeltaEP95      float64            `json:"delta_e_p95"`
	ActiveGPerKg   *float64           `json:"active_g_per_kg"`
	TensileLossPct *tensileJSON       `json:"tensile_loss_pct,omitempty"` // absent when the trials were not tested
	Extrapolated   bool               `json:"extrapolated"`
	Warnings       []string           `json:"warnings"`
}

func (p prediction) settings() discharge.Settings { return p.Settings }

// intervalLevel is the share of next-lot means that the intervals hold where nothing
// else is asked for.
const intervalLevel = 0.95

func (e *env) predict(modelName, file string, factors *factorFlags, level float64) error {
	switch {
	case !(level >= 0.5 && level < 1):
		return usage("--confidence must lie from 50 to below 100, such as 95")
	case file != "" && factors.any():
		return usage("give --settings or single settings, not both")
	case file == "" && !factors.any():
		return usage("no settings: give --settings FILE.csv, or flags such as --strength 6 --ratio 1.3 --time 14")
	}
	m, err := e.model(modelName)
	if err != nil {
		return err
	}
	rows, err := e.settings(m, file, factors)
	if err != nil {
		return err
	}
	ranges := m.Factors()
	list := make([]prediction, len(rows))
	for i, r := range rows {
		if i%4096 == 0 && e.ctx.Err() != nil {
			return e.ctx.Err()
		}
		if list[i], err = predictOne(m, ranges, r, level); err == nil {
			continue
		}
		if file != "" {
			return &discharge.RowError{File: shown(file), Row: r.Row, Err: err}
		}
		return usage("%w; this model takes %s", err, modelFlags(m))
	}
	e.warnRows(list)
	switch e.format {
	case formatJSON:
		return report.JSON(&e.out, list)
	case formatCSV:
		return e.rows(predictRows(m, list))
	}
	e.predictText(m, list)
	return nil
}

// settings come from the table or from the flags.
func (e *env) settings(m *discharge.Model, file string, factors *factorFlags) ([]discharge.SettingsRow, error) {
	if file == "" {
		s, err := factors.settings(m.Process())
		return []discharge.SettingsRow{{Settings: s}}, err
	}
	sheet, err := e.sheet(file)
	if err != nil {
		return nil, err
	}
	list, err := discharge.SettingsFromSheet(sheet, m.Process())
	if err != nil {
		return nil, err
	}
	e.warnAll(list.Warnings)
	e.warnElsewhere(m, sheet)
	return list.Items, nil
}

// warnElsewhere tells of rows for another fabric or machine than the model's: what they give
// there is another dose.
func (e *env) warnElsewhere(m *discharge.Model, s *discharge.Sheet) {
	fabric, machine := m.RanOn()
	for _, c := range []struct{ column, own string }{{"fabric", fabric}, {"machine", machine}} {
		k := columnOf(s, c.column)
		if k < 0 || c.own == "" {
			continue
		}
		var others []string
		for _, row := range s.Rows {
			if k < len(row) {
				if v := strings.TrimSpace(row[k]); v != "" && v != c.own && !slices.Contains(others, v) {
					others = append(others, v)
				}
			}
		}
		if len(others) > 0 {
			e.warn("%s: rows are of %s %s, the model is for %s: the same settings may give another dose there; ask a model for it (fit --%[2]s, or recalibrate)", s.Name, c.column, names(others[:min(len(others), 8)]), c.own)
		}
	}
}

// modelFlags lists the flags of the factors that the model needs.
func modelFlags(m *discharge.Model) string {
	var names []string
	for _, f := range m.Factors() {
		if !f.Optional {
			names = append(names, "--"+f.Name())
		}
	}
	return strings.Join(names, " ")
}

// predictOne predicts one row with intervals of a level; ranges are those of the
// model's factors.
func predictOne(m *discharge.Model, ranges []discharge.FactorRange, r discharge.SettingsRow, level float64) (prediction, error) {
	settings, assumed := m.FillIn(r.Settings)
	p, err := m.Predict(settings)
	if err != nil {
		return prediction{}, err
	}
	out := prediction{ID: r.ID, Settings: settings, Viewing: m.Viewing().String(), Shade: shadeOf(p.Shade), Level: p.Level,
		MeanCovariance: p.MeanCovariance, LotCovariance: p.LotCovariance, IntervalLevel: level, LotInterval: intervalOf(p, level),
		DeltaEP95: p.DeltaEP95, TensileLossPct: tensileOf(p.TensileLossPct), Extrapolated: p.Extrapolated, Warnings: []string{}}
	if h := m.Process().Hazard(settings); h != "" {
		out.Warnings = append(out.Warnings, h)
	}
	out.Warnings = append(out.Warnings, assumed...)
	known := map[string]bool{}
	untested := r.Settings.Clone() // what the trials did not show to be a habit of this laundry
	var guesses []string           // of a best value between two far levels
	for _, f := range ranges {
		known[f.Column] = true
		v, given := r.Settings[f.Column]
		outside := ""
		if given {
			outside = untried(f, v)
		}
		switch {
		case !given && f.Fixed:
			out.Settings[f.Column] = f.Lo // what the prediction is for
		case outside != "":
			out.Warnings = append(out.Warnings, outside)
		case given:
			delete(untested, f.Column)
			if f.Guesses(v) {
				guesses = append(guesses, fmt.Sprintf("%s ran at %s and %s %s only: what %s does rests on what is usual", f.Column, report.Short(f.Lo, 4), report.Short(f.Hi, 4), f.Unit, report.Short(v, 4)))
			}
		}
	}
	for _, f := range m.Process().Factors {
		if _, given := r.Settings[f.Column]; given && !known[f.Column] && f.Transform != discharge.Recorded {
			out.Warnings = append(out.Warnings, fmt.Sprintf("%s is not in the model, which has no trials with it: the value has no effect", f.Column))
		}
	}
	if out.Extrapolated && len(out.Warnings) == 0 {
		out.Warnings = append(out.Warnings, "each setting was tested, but not together: this combination lies outside the trials")
	}
	out.Warnings = append(out.Warnings, guesses...)
	const just = 1 // L*
	if lightest, ok := m.Lightest(); ok && p.Shade.L > lightest+just {
		out.Warnings = append(out.Warnings, fmt.Sprintf("L* %.1f is lighter than any lot that the model learned from (L* %.1f): the way from there to white is assumed", p.Shade.L, lightest))
	}
	out.Warnings = append(out.Warnings, m.Process().Unusual(untested)...)
	if g, ok := m.Process().ActivePerKg(out.Settings); ok {
		out.ActiveGPerKg = &g
	}
	return out, nil
}

// warnRows writes the warnings of the rows, the first ones and how many more.
func (e *env) warnRows(list []prediction) {
	const most = 10
	n := 0
	for i, p := range list {
		for _, w := range p.Warnings {
			if n++; n > most {
				continue
			}
			switch {
			case p.ID != "":
				w = p.ID + ": " + w
			case len(list) > 1:
				w = "row " + strconv.Itoa(i+1) + ": " + w
			}
			e.warn("%s", w)
		}
	}
	if n > most {
		e.warn("%d more; --format json gives each with its row", n-most)
	}
}

func predictRows(m *discharge.Model, list []prediction) [][]any {
	columns := usedColumns(m.Process(), settingsOf(list, prediction.settings))
	header := append([]any{"id"}, columnNames(columns)...)
	header = append(header, "viewing", "L", "a", "b", "level", "L_lo", "L_hi", "a_lo", "a_hi", "b_lo", "b_hi", "delta_e_p95", "active_g_per_kg", "tensile_loss_pct", "tensile_loss_lo", "tensile_loss_hi", "extrapolated", "warnings")
	rows := [][]any{header}
	for _, p := range list {
		row := append([]any{p.ID}, settingValues(columns, p.Settings)...)
		i := p.LotInterval
		row = append(row, p.Viewing, p.Shade.L, p.Shade.A, p.Shade.B, p.Level, i.L[0], i.L[1], i.A[0], i.A[1], i.B[0], i.B[1], p.DeltaEP95, p.ActiveGPerKg)
		row = append(row, p.TensileLossPct.cells()...)
		rows = append(rows, append(row, p.Extrapolated, strings.Join(p.Warnings, "; ")))
	}
	return rows
}

func (e *env) predictText(m *discharge.Model, list []prediction) {
	p := m.Process()
	where := ranOn(m)
	if where != "" {
		where = " on " + where
	}
	e.wrap(fmt.Sprintf("Expected shade of the next lot, %s%s, %s", p.ID, where, m.Viewing()), "", "")
	t := report.Table{Header: []string{"id"}, Units: []string{""}, Left: []bool{true}}
	columns := usedColumns(p, settingsOf(list, prediction.settings))
	for _, f := range columns {
		t.Header, t.Units = append(t.Header, f.Name()), append(t.Units, f.Unit)
	}
	loss, percent := list[0].TensileLossPct.heads()
	t.Header = append(t.Header, "", "L*", "a*", "b*", "level", "ΔE00 95 %", loss, "")
	t.Units = append(t.Units, "", "", "", "", "%", "of lots", percent, "")
	t.Left = append(t.Left, make([]bool, len(columns)+7)...)
	t.Left = append(t.Left, true)
	if len(list) == 1 && list[0].ID == "" {
		t.Header[0] = ""
	}
	outside := false
	for _, x := range list {
		row := []string{x.ID}
		row = append(row, settingCells(columns, x.Settings, report.Exact)...)
		note := ""
		if x.Extrapolated {
			note, outside = "outside the trials", true
		}
		l, a, b := x.LotInterval.around(x.Shade)
		t.Add(append(row, e.swatch(colorimetry.Lab(x.Shade)), l, a, b,
			report.Fixed(100*x.Level, 0), "within "+report.Fixed(x.DeltaEP95, 1), x.TensileLossPct.text(), note)...)
	}
	e.printf("%s", &t)
	e.printf("± holds %s of the means of lots run at these settings; level is how far from base (0) to white (100).\n", report.Short(100*list[0].IntervalLevel, 4)+" %")
	if outside {
		e.printf("Outside the trials the numbers are a guess: run a lot there before relying on them.\n")
	}
}
