package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
)

func newDemo(e *env) *cobra.Command {
	var out string
	var overwrite bool
	cmd := &cobra.Command{
		Use:     "demo",
		GroupID: "start",
		Short:   "Run the whole job on an invented laundry's data",
		Long: `Fits a model to the trial lots of an invented laundry, finds settings for a
buyer's standard, predicts them, weighs the load out, judges two lots, and carries
the model over to another fabric; then a target that cannot be reached and a
second process. Each step is printed as the command line that does the same on
your own files. Nothing is written unless --out names a folder, which then gets
the demo's files and results.`,
		Example: `  dosetone demo
  dosetone demo --out demo`,
		Args: cobra.NoArgs,
		RunE: e.work(func(*cobra.Command, []string) error { return e.demo(out, overwrite) }),
	}
	cmd.Flags().StringVar(&out, "out", "", "folder for the demo's files and results; made if need be")
	cmd.Flags().BoolVar(&overwrite, "overwrite", false, "replace files in the folder that have the names of the demo's and other content")
	return cmd
}

// demoStep is one command line of the demo and what is said about it.
type demoStep struct {
	say  string
	args []string
	only func(text string) string // keeps part of the text; nil keeps all
}

// The unreachable target and the bath's, under D65/10.
const (
	demoRed     = "45,30,12"
	demoBathLab = "55,-1.4,-5.3"
)

const (
	demoModel     = "pellet-model.json"
	demoNewModel  = "new-fabric-model.json"
	demoBathModel = "hypochlorite-model.json"
)

// demoSteps are the steps up to the suggestion, whose settings the next ones use.
func demoSteps() []demoStep {
	return []demoStep{
		{say: "1. Learn from 18 trial lots with permanganate pellets (4 panels × 2 readings each, with base, blank and white).",
			args: []string{"fit", demo.PelletTrialsFile, "-o", demoModel}},
		{say: "2. Which settings reach the buyer's standard, with 4, 6.5 and 10 % pellets in store?",
			args: suggestStep()},
	}
}

// suggestStep is the suggestion for the standard.
func suggestStep() []string {
	return []string{"suggest", demoModel, "--target", demo.PelletStandardFile, "--strengths", "4,6.5,10"}
}

// demoLastSteps are the others; settings are the flags of the first suggestion.
func demoLastSteps(settings []string) []demoStep {
	with := func(command string, more ...string) []string {
		return append(append([]string{command, demoModel}, settings...), more...)
	}
	return []demoStep{
		{say: "3. What will the next lots at the first suggestion look like?", args: with("predict")},
		{say: "4. The load for them: what to weigh for 60 kg of garments, and for neutralizing them. (The sheet goes on with the order of work, what to keep apart, and cautions.)",
			args: with("charge", "--mass", "60", "--purity", "99", "--neutralizer", "bisulfite", "--neutralizer-purity", "97"),
			only: parts("Weigh sheet", "machine", "Neutralizing")},
		{say: "5. Two lots came out. Is the shade right, and if not, why?",
			args: []string{"check", demo.PelletProductionFile, "--standard", demo.PelletStandardFile, "--model", demoModel}, only: parts("Lot", "Why")},
		{say: "6. Another fabric, with two lots run on it: the model carried over, and the settings there.",
			args: []string{"recalibrate", demoModel, demo.PelletNewFabricFile, "-o", demoNewModel}},
		{args: []string{"suggest", demoNewModel, "--target", demo.PelletStandardFile, "--strengths", "4,6.5,10", "--count", "2"}},
		{say: "7. A red target: dose cannot make red, and the answer says so.",
			args: []string{"suggest", demoModel, "--lab", demoRed}},
		{say: "8. Trials in a hypochlorite bath, 12 lots, where temperature was varied too.",
			args: []string{"fit", demo.HypochloriteTrialFile, "-o", demoBathModel}, only: parts("What was learned")},
		{args: []string{"suggest", demoBathModel, "--lab", demoBathLab, "--min-temp", "45", "--max-temp", "45", "--count", "3"}},
	}
}

// parts keeps the paragraphs of a text that begin with one of some words.
func parts(begin ...string) func(string) string {
	return func(text string) string {
		var kept []string
		for _, p := range strings.Split(strings.Trim(text, "\n"), "\n\n") {
			if slices.ContainsFunc(begin, func(b string) bool { return strings.HasPrefix(p, b) }) {
				kept = append(kept, p)
			}
		}
		return strings.Join(kept, "\n\n") + "\n"
	}
}

// demoRun executes command lines on files held in memory.
type demoRun struct {
	e     *env
	files memory
	steps []demoResult
}

// demoResult is the JSON form of a step.
type demoResult struct {
	Command string          `json:"command"`
	Result  json.RawMessage `json:"result"`
}

func (e *env) demo(out string, overwrite bool) error {
	d := &demoRun{e: e, files: memory{}}
	if err := d.load(); err != nil {
		return err
	}
	if e.format == formatText {
		e.wrap("The demo: an invented laundry. No real laundry, buyer or product stands behind these numbers; "+
			"do not take settings from them. Each $ line is the command that does the same on your own files"+
			hint(out == "", "; --out DIR writes the demo's files")+".", "", "")
		e.printf("\n")
	}
	for _, s := range demoSteps() {
		if err := d.step(s); err != nil {
			return err
		}
	}
	settings, err := d.firstSettings()
	if err != nil {
		return err
	}
	for _, s := range demoLastSteps(settings) {
		if err := d.step(s); err != nil {
			return err
		}
	}
	if err := d.finish(out, overwrite); err != nil {
		return err
	}
	switch e.format {
	case formatJSON:
		return report.JSON(&e.out, d.steps)
	case formatCSV:
		return d.csv()
	}
	var used []discharge.Process
	for _, id := range []string{"permanganate-pellet", "hypochlorite-bath"} {
		p, err := discharge.LookupProcess(id)
		if err != nil {
			return err
		}
		used = append(used, p)
	}
	e.cautions(used...)
	return nil
}

func hint(show bool, text string) string {
	if show {
		return text
	}
	return ""
}

// load copies the embedded files into memory.
func (d *demoRun) load() error {
	for _, name := range demo.Names() {
		data, err := fs.ReadFile(demo.Files(), name)
		if err != nil {
			return err
		}
		d.files[name] = data
	}
	return nil
}

// run executes one command line as a user's would be, and returns its output.
func (d *demoRun) run(args []string, f format) ([]byte, error) {
	var out bytes.Buffer
	sub := newEnv(d.e.ctx, strings.NewReader(""), &out, d.e.stderr)
	sub.files, sub.swatches, sub.quiet, sub.part = d.files, d.e.swatches, d.e.quiet, true
	sub.warned = d.e.warned
	err := sub.execute(append(slices.Clone(args), "--format", string(f)))
	if outside := (*errOutside)(nil); errors.As(err, &outside) {
		err = nil // the result says so
	}
	if err != nil {
		err = fmt.Errorf("%s: %w", commandLine(args), err)
	}
	return out.Bytes(), err
}

func (d *demoRun) step(s demoStep) error {
	if d.e.format != formatText {
		out, err := d.run(s.args, formatJSON)
		d.steps = append(d.steps, demoResult{commandLine(s.args), out})
		return err
	}
	if s.say != "" {
		d.e.wrap(s.say, "", "   ")
	}
	d.e.printf("$ %s\n", commandLine(s.args))
	out, err := d.run(s.args, formatText)
	text := string(out)
	if s.only != nil {
		text = s.only(text)
	}
	d.e.printf("%s\n", text)
	return err
}

// firstSettings are the flags that set the first suggestion.
func (d *demoRun) firstSettings() (flags []string, err error) {
	out, err := d.run(suggestStep(), formatJSON)
	if err != nil {
		return nil, err
	}
	var list []suggestResult
	if err := json.Unmarshal(out, &list); err != nil {
		return nil, err
	}
	if len(list) == 0 || len(list[0].Suggestions) == 0 {
		return nil, fmt.Errorf("the standard of the demo has no suggestion")
	}
	p, err := discharge.LookupProcess("permanganate-pellet")
	if err != nil {
		return nil, err
	}
	for _, f := range usedColumns(p, []discharge.Settings{list[0].Suggestions[0].Settings}) {
		flags = append(flags, "--"+f.Name(), report.Short(list[0].Suggestions[0].Settings[f.Column], 5))
	}
	return flags, nil
}

// finish writes the files, and the suggestions as data, into the folder.
func (d *demoRun) finish(out string, overwrite bool) error {
	if out == "" {
		return nil
	}
	data, err := d.run(suggestStep(), formatJSON)
	if err != nil {
		return err
	}
	d.files["suggestions.json"] = data
	names, err := d.files.save(out, overwrite)
	if err != nil {
		return err
	}
	if d.e.format == formatText {
		d.e.wrap("Written to "+filepath.Clean(out)+": "+strings.Join(names, ", "), "", "")
	}
	return nil
}

// csv gives the suggestions for the standard as a table.
func (d *demoRun) csv() error {
	out, err := d.run(suggestStep(), formatCSV)
	if err == nil {
		_, err = d.e.out.Write(out)
	}
	return err
}

// commandLine writes arguments as typed.
func commandLine(args []string) string { return "dosetone " + strings.Join(args, " ") }
