package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
)

func newRecalibrate(e *env) *cobra.Command {
	var output string
	var percent reflectance
	var production bool
	var expected number
	cmd := &cobra.Command{
		Use:     "recalibrate MODEL FILE -o NEW.json",
		GroupID: "model",
		Short:   "Carry a model over to a new fabric, machine or delivery",
		Long: `Reads one to three lots (role trial, or production with --production) run on a
new fabric, on another machine or with a new delivery of oxidizer, and its base
and white readings if the file has them, and writes a model for them: what
strength, load and time do stays as learned, the shift in dose is estimated anew,
and the shade path is moved to the new base and white. Run the lots apart, one at
a lower and one at a higher dose, inside the region of the first trials. The old
model's file is left as it is.`,
		Example: `  dosetone recalibrate model.json lots.csv -o new.json
  dosetone recalibrate model.json lots.csv -o new.json --shift-sd 0.2 --format json`,
		Args: cobra.ExactArgs(2),
		RunE: e.work(func(_ *cobra.Command, args []string) error {
			if expected.set && expected.value <= 0 {
				return usage("--shift-sd must be above 0 (a standard deviation of ln dose, such as 0.5)")
			}
			return e.recalibrate(args[0], args[1], output, bool(percent), production, expected.value)
		}),
	}
	e.registerTables(cmd)
	e.registerLots(cmd)
	cmd.Flags().StringVarP(&output, "output", "o", "", "file for the new model; written whole or not at all")
	cmd.Flags().Var(&percent, "reflectance", "scale of spectra in a file without a unit column")
	registerProduction(cmd, &production)
	cmd.Flags().Var(&expected, "shift-sd", "how far the new dose may differ, as a standard deviation of ln dose (default 0.5: two thirds to one and a half times as much)")
	return cmd
}

// recalibrateResult is the JSON form of a recalibration; other programs rely on
// its keys.
type recalibrateResult struct {
	Process string `json:"process"`
	Fabric  string `json:"fabric"`
	Machine string `json:"machine"`
	Lots    int    `json:"lots"`
	doseShift
	Base     bool     `json:"base_read"`
	White    bool     `json:"white_read"`
	Warnings []string `json:"warnings"`
	Model    string   `json:"model"`

	ends, before [2]shadeJSON // base and white, of the new model and the old
}

func (e *env) recalibrate(modelName, name, output string, percent, production bool, shiftSD float64) error {
	switch output {
	case "":
		return usage("name the file for the new model with -o new.json")
	case "-":
		return usage("-o - is not possible: standard output carries the results; name a file")
	}
	m, err := e.model(modelName)
	if err != nil {
		return err
	}
	s, err := e.lotSheet(name)
	if err != nil {
		return err
	}
	opt := &discharge.ReadOptions{Viewing: m.Viewing(), Percent: percent}
	if p := m.Process(); !builtIn(p) {
		opt.Processes = []discharge.Process{p}
	}
	if !hasColumn(s, "process") {
		opt.Process = m.Process().ID
	}
	t, err := discharge.FromSheet(s, opt)
	if err != nil {
		return err
	}
	e.warnAll(t.Warnings)
	known := len(m.Warnings())
	n, err := m.Recalibrate(e.learning(t, production), &discharge.RecalibrateOptions{ShiftSD: shiftSD})
	if err != nil {
		return err
	}
	if err := e.ctx.Err(); err != nil {
		return err
	}
	fresh := n.Warnings()[known:] // the old model's were told when it was fitted
	e.warnAll(fresh)
	if err := e.saveModel(output, n); err != nil {
		return err
	}
	c := n.Recalibration()
	r := recalibrateResult{Process: n.Process().ID, Fabric: c.Fabric, Machine: c.Machine, Lots: len(c.Lots),
		doseShift: newDoseShift(n, c.Shift, c.ShiftSD, c.Factor()), Base: c.Base, White: c.White, Warnings: inWords(fresh), Model: output,
		ends: endsOf(n), before: endsOf(m)}
	switch e.format {
	case formatJSON:
		return report.JSON(&e.out, r)
	case formatCSV:
		header := []any{"process", "fabric", "machine", "lots", "shift_log_dose", "se", "dose_factor", "dose_factor_lo", "dose_factor_hi", "base_read", "white_read", "model"}
		row := []any{r.Process, r.Fabric, r.Machine, r.Lots, r.Shift, r.ShiftSE, r.DoseFactor[1], r.DoseFactor[0], r.DoseFactor[2], r.Base, r.White, r.Model}
		for _, f := range []struct {
			name   string
			factor []float64
		}{{"minutes_factor", r.Minutes}, {"strength_factor", r.Strength}} {
			cells := []any{nil, nil, nil}
			if x := f.factor; len(x) > 0 {
				cells = []any{x[1], x[0], x[2]}
			}
			header, row = append(header, f.name, f.name+"_lo", f.name+"_hi"), append(row, cells...)
		}
		return e.rows([][]any{header, row})
	}
	e.recalibrateText(r)
	return nil
}

// endsOf are base and white of a model.
func endsOf(m *discharge.Model) [2]shadeJSON {
	return [2]shadeJSON{shadeOf(m.ShadeAt(0)), shadeOf(m.ShadeAt(1))}
}

// doseShift is how the dose that settings give differs from that of other lots, in JSON.
type doseShift struct {
	Shift      float64    `json:"shift_log_dose"`
	ShiftSE    float64    `json:"se"`
	DoseFactor [3]float64 `json:"dose_factor"`    // lower end, estimate, upper end of 95 %
	Minutes    []float64  `json:"minutes_factor"` // that do as much, alike; none where minutes do not tell
	Strength   []float64  `json:"strength_factor"`
}

func newDoseShift(m *discharge.Model, shift, sd float64, factor [3]float64) doseShift {
	s := doseShift{Shift: shift, ShiftSE: sd, DoseFactor: factor, Minutes: []float64{}, Strength: []float64{}}
	if x := m.Strength(shift, sd); x[1] != 0 {
		s.Strength = x[:]
	}
	if x := m.Minutes(shift, sd); x[1] != 0 {
		s.Minutes = x[:]
	}
	return s
}

// asMore is what of other things would do as much.
func (s *doseShift) asMore() string {
	var ways []string
	for _, w := range []struct {
		factor []float64
		what   string
	}{{s.Strength, "strength"}, {s.Minutes, "minutes"}} {
		if x := w.factor; len(x) > 0 {
			ways = append(ways, fmt.Sprintf("%.2f times the %s (%.2f to %.2f)", x[1], w.what, x[0], x[2]))
		}
	}
	if len(ways) == 0 {
		return ""
	}
	return ", as " + strings.Join(ways, " or ") + " would"
}

func (e *env) recalibrateText(r recalibrateResult) {
	e.printf("Model of %s carried over", r.Process)
	if r.Fabric != "" {
		e.printf(" to fabric %s", r.Fabric)
	}
	if r.Machine != "" {
		e.printf(" on machine %s", r.Machine)
	}
	e.printf(", from %d %s\n", r.Lots, plural(r.Lots, "lot", "lots"))
	e.wrap(fmt.Sprintf("The same settings give %s times the dose (95 %%: %s to %s)%s.",
		report.Fixed(r.DoseFactor[1], 2), report.Fixed(r.DoseFactor[0], 2), report.Fixed(r.DoseFactor[2], 2), r.asMore()), "", "")
	end := func(read bool, now, before shadeJSON) string {
		if !read {
			return fmt.Sprintf("L* %.1f, kept from the earlier fabric", before.L)
		}
		return fmt.Sprintf("L* %.1f, read anew (%.1f before)", now.L, before.L)
	}
	e.printf("Base: %s. White: %s.\n\nWritten to %s\n", end(r.Base, r.ends[0], r.before[0]), end(r.White, r.ends[1], r.before[1]), r.Model)
}
