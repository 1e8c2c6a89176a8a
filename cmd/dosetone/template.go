package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

type templateFlags struct {
	output      string
	readings    string
	processFile string
}

func newTemplate(e *env) *cobra.Command {
	var f templateFlags
	cmd := &cobra.Command{
		Use:     "template PROCESS",
		GroupID: "start",
		Short:   "Write an empty table of trial lots to fill in",
		Long: `Writes an empty table for the lots of a process: its columns with their units,
what each means, and one row that shows how to fill it in (its role is
"example", and it is skipped when the table is read). A workbook (.xlsx) also has
lists to choose roles and processes from, notes on the headings, and a second
sheet that explains every column. Without -o, a CSV table goes to standard
output; --format json lists the columns instead.`,
		Example: `  dosetone template permanganate-pellet -o my-trials.xlsx
  dosetone template hypochlorite-bath --readings spectrum -o my-baths.csv
  dosetone template laccase-bath --format json`,
		Args: cobra.MaximumNArgs(1),
		RunE: e.work(func(_ *cobra.Command, args []string) error { return e.template(args, f) }),
	}
	cmd.Flags().StringVarP(&f.output, "output", "o", "", "file for the table, .csv or .xlsx; it must not exist yet")
	cmd.Flags().StringVar(&f.readings, "readings", "lab", "what the instrument gives: spectrum, lab, xyz or swatch")
	cmd.Flags().StringVar(&f.processFile, "process-file", "", "JSON file that defines a process of your own, instead of PROCESS")
	return cmd
}

// templateColumn is one column of a template; other programs rely on its keys.
type templateColumn struct {
	Column  string   `json:"column"`
	Unit    string   `json:"unit"`
	Needed  string   `json:"needed"`
	Meaning string   `json:"meaning"`
	Example string   `json:"example"`
	Choices []string `json:"choices,omitempty"`
	number  bool
	least   float64 // that the column takes
	digits  int     // decimals shown
}

// general shows as many decimals as a number has.
const general = -1

func (e *env) template(args []string, f templateFlags) error {
	p, err := e.templateProcess(args, f)
	if err != nil {
		return err
	}
	kind := discharge.ReadingKind(strings.ToLower(f.readings))
	columns, err := templateColumns(p, kind)
	if err != nil {
		return err
	}
	if f.output == "" {
		switch {
		case e.results.file != "":
			return usage("name the table's file with -o %s", e.results.file)
		case e.results.workbook:
			return templateBook(&e.out, p, columns)
		case e.format == formatJSON:
			return report.JSON(&e.out, columns)
		}
		_, err := e.out.Write(templateCSV(p, columns))
		return err
	}
	var b bytes.Buffer
	switch ext := strings.ToLower(filepath.Ext(f.output)); ext {
	case ".csv":
		b.Write(templateCSV(p, columns))
	case ".xlsx":
		err = templateBook(&b, p, columns)
	default:
		err = usage("-o %s: want a name that ends in .csv or .xlsx", f.output)
	}
	if err != nil {
		return err
	}
	old, err := e.files.open(f.output)
	if err == nil {
		old.Close()
		return usage("%s exists and may hold readings: name another file, or delete it", f.output)
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := e.write(f.output, b.Bytes()); err != nil {
		return err
	}
	e.printf("Written to %s: %d columns of %s. Fill in one row per reading; then: dosetone fit %[1]s -o model.json\n", f.output, len(columns), p.ID)
	return nil
}

func (e *env) templateProcess(args []string, f templateFlags) (discharge.Process, error) {
	own, err := e.readProcess(f.processFile)
	switch {
	case err != nil:
		return discharge.Process{}, err
	case own != nil && len(args) > 0:
		return discharge.Process{}, usage("give PROCESS or --process-file, not both")
	case own != nil:
		return *own, nil
	case len(args) == 0:
		return discharge.Process{}, usage("name the process, such as permanganate-pellet, or give --process-file")
	}
	p, err := discharge.LookupProcess(args[0])
	if err != nil {
		return p, usage("%w", err)
	}
	return p, nil
}

// templateColumns are those of a process and a kind of reading.
func templateColumns(p discharge.Process, kind discharge.ReadingKind) ([]templateColumn, error) {
	var roles []string
	for _, r := range discharge.Roles() {
		roles = append(roles, string(r))
	}
	list := []templateColumn{
		{Column: "lot", Needed: "yes", Meaning: "name of the machine load; rows of one name belong together", Example: "T1"},
		{Column: "role", Needed: "yes", Example: discharge.ExampleRole, Choices: roles,
			Meaning: "what the reading stands for: base (prepared garment before discharge); blank (whole process without oxidizer); white (fully discharged); trial (a lot to learn from); " +
				"standard, light_limit, dark_limit (the buyer's); production (a lot to be judged)"},
		{Column: "process", Needed: "trials", Meaning: "how the color was taken out: " + p.Title, Example: p.ID, Choices: []string{p.ID}},
		{Column: "fabric", Needed: "no", Meaning: "name of the fabric"},
		{Column: "machine", Needed: "no", Meaning: "name of the machine"},
	}
	for _, f := range p.Factors {
		c := templateColumn{Column: f.Column, Unit: f.Unit, Needed: "trials", Meaning: f.Title, number: true, digits: general}
		if f.Optional {
			c.Needed = "no"
		}
		if f.Typical.Known() {
			c.Meaning += fmt.Sprintf("; usual %s (%s)", strings.TrimSpace(report.Short(f.Typical.Lo, 4)+" to "+report.Short(f.Typical.Hi, 4)+" "+f.Unit), f.Typical.Note)
			c.Example = report.Short((f.Typical.Lo+f.Typical.Hi)/2, 2)
		}
		for _, least := range []float64{-1e9, -50, 0} {
			if c.least = least; f.Check(least+1e-9) == nil {
				break
			}
		}
		list = append(list, c)
	}
	list = append(list,
		templateColumn{Column: "panel", Needed: "better", Meaning: "garment or leg panel of the lot: without it the scatter between panels stays unknown", Example: "1"},
		templateColumn{Column: "position", Needed: "no", Meaning: "where on the panel it was read", Example: "1"},
		templateColumn{Column: "stage", Needed: "no", Meaning: "how far the lot was when read; empty means finished", Choices: []string{"discharged", "neutralized", "brightened", "finished"}},
		templateColumn{Column: "state", Needed: "no", Meaning: "dry or damp cloth; empty means dry", Choices: []string{"dry", "damp"}},
		templateColumn{Column: "condition", Needed: "no", Meaning: "measurement condition that the instrument was set to, such as SCE, SCI, 45/0 or M1: readings of two are never compared; empty means not stated",
			Choices: []string{"SCE", "SCI", "sphere", "45/0", "M0", "M1", "M2", "M3"}},
		templateColumn{Column: "tensile_loss_pct", Unit: "%", Needed: "no", Meaning: "loss of tensile strength of the panel, a loss being positive", number: true, digits: 1, least: -100},
	)
	readings, err := readingColumns(kind)
	return append(list, readings...), err
}

// readingColumns are those of the instrument.
func readingColumns(kind discharge.ReadingKind) ([]templateColumn, error) {
	var lamps []string
	for _, i := range colorimetry.Illuminants() {
		lamps = append(lamps, i.String())
	}
	viewing := []templateColumn{
		{Column: "illuminant", Needed: "yes", Meaning: "illuminant that the instrument calculated with", Example: "D65", Choices: lamps},
		{Column: "observer", Unit: "degrees", Needed: "yes", Meaning: "observer that the instrument calculated with: 2 or 10", Example: "10", Choices: []string{"2", "10"}},
	}
	value := func(column, meaning, example string, digits int) templateColumn {
		c := templateColumn{Column: column, Needed: "yes", Meaning: meaning, Example: example, number: true, digits: digits}
		if column == "a" || column == "b" {
			c.least = -200
		}
		return c
	}
	switch kind {
	case discharge.LabKind:
		return append(viewing, value("L", "CIELAB L*, 0 to 100", "45.2", 2), value("a", "CIELAB a*", "-2.4", 2), value("b", "CIELAB b*", "-10.1", 2)), nil
	case discharge.XYZKind:
		return append(viewing, value("X", "CIE X, white near 100", "13.9", 3), value("Y", "CIE Y, white 100", "14.7", 3), value("Z", "CIE Z, white near 100", "21.5", 3)), nil
	case discharge.Swatch:
		return []templateColumn{value("red", "sRGB red, 0 to 255", "92", 0), value("green", "sRGB green, 0 to 255", "108", 0), value("blue", "sRGB blue, 0 to 255", "124", 0)}, nil
	case discharge.Spectral:
		list := []templateColumn{{Column: "unit", Needed: "no", Meaning: "scale of the reflectance: factor (0 to 1) or percent; empty means factor", Example: "factor", Choices: []string{"factor", "percent"}}}
		for nm := 400; nm <= 700; nm += 10 {
			list = append(list, value(fmt.Sprintf("R%d", nm), fmt.Sprintf("reflectance at %d nm; other grids of 1, 2, 5, 10 or 20 nm may be used", nm), "0.15", 5))
		}
		return list, nil
	}
	return nil, usage("--readings %s: want spectrum, lab, xyz or swatch", string(kind))
}

// templateCSV writes comment lines and the table. The comments hold neither
// separators nor quotes, so that a spreadsheet program saves them unchanged.
func templateCSV(p discharge.Process, columns []templateColumn) []byte {
	var b bytes.Buffer
	say := func(format string, args ...any) {
		text := strings.NewReplacer(",", " /", ";", ":", "\t", " ", `"`, "").Replace(fmt.Sprintf(format, args...))
		b.WriteString("# " + text + "\n")
	}
	say("Table of lots for %s: %s", p.ID, p.Title)
	say("One row per reading. The example row is skipped when the table is read: overwrite it or leave it.")
	for _, c := range columns {
		if strings.HasPrefix(c.Column, "R4") && c.Column != "R400" || strings.HasPrefix(c.Column, "R5") || strings.HasPrefix(c.Column, "R6") || c.Column == "R700" {
			continue // as R400
		}
		unit := ""
		if c.Unit != "" {
			unit = " [" + c.Unit + "]"
		}
		say("%s%s (needed: %s): %s", c.Column, unit, c.Needed, c.Meaning)
	}
	header, example := []string{}, []string{}
	for _, c := range columns {
		header, example = append(header, c.Column), append(example, c.Example)
	}
	w := csv.NewWriter(&b)
	// Writing to memory cannot fail.
	_ = w.Write(header)
	_ = w.Write(example)
	w.Flush()
	return b.Bytes()
}

// headed is the heading of a note: the column with its unit.
func (c templateColumn) headed() string {
	if c.Unit == "" {
		return c.Column
	}
	return c.Column + " (" + c.Unit + ")"
}
