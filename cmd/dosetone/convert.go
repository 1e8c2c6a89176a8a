package main

import (
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

type convertFlags struct {
	viewings  viewings
	percent   reflectance
	reference string
	formulas  formulas
	indices   indices
	region    string
	chart     string
}

func newConvert(e *env) *cobra.Command {
	f := convertFlags{formulas: usualFormulas()}
	cmd := &cobra.Command{
		Use:     "convert FILE",
		GroupID: "color",
		Short:   "Turn spectra, swatches or images into XYZ, Lab and LCh",
		Long: `Reads any table with an id column (or lot, panel, position) and readings, or a
PNG or JPEG image, and gives XYZ, Lab and LCh of each under every viewing asked
for. Only spectra can be seen under another viewing than their own.
Readings of two measurement conditions, such as SCE and SCI, are not compared;
--condition takes those of one.

With --reference, differences from a sample of the file (its id) or of another
file are added; with --index, whiteness, yellowness, K/S, strength or metamerism.
Strength is K/S in percent of the reference's where that absorbs most.

A picture shows colors as its camera and light had them. With a color chart in
it, --chart names a table with one row per patch: id, its place in the picture
(left, top, width, height in pixels, well inside the patch), and its known color,
best as a spectrum, else L,a,b or X,Y,Z with illuminant and observer. The colors
of --region are then corrected, and how well patches are predicted from the other
patches is said. Cloth and chart must lie flat in the same even light: a shadow on
one of them is taken for color, and nothing in the picture tells it. The chart
needs patches of several hues; grays alone tell nothing of colors. Keep --region
on the cloth, away from its edges, seams and folds.`,
		Example: `  dosetone convert trials.csv --viewing D65/10,A/10,F11/10
  dosetone convert standard.csv --reference STD --difference ciede2000,cie76
  dosetone convert trials.csv --index whiteness,yellowness,ks --format csv
  dosetone convert export.txt --viewing D65/10 --results colors.xlsx
  dosetone convert swatch.png --region 10,10,200,100
  dosetone convert photo.png --region 10,90,200,100 --chart chart.csv`,
		Args: cobra.ExactArgs(1),
		RunE: e.work(func(_ *cobra.Command, args []string) error { return e.convert(args[0], f) }),
	}
	e.registerTables(cmd)
	fl := cmd.Flags()
	fl.Var(&f.viewings, "viewing", "viewings, such as D65/10,A/10; default: the file's, or D65/10 for spectra")
	fl.Var(&f.percent, "reflectance", "scale of spectra in a file without a unit column")
	fl.StringVar(&f.reference, "reference", "", "id in the file, or a file with one color: differences are taken from it")
	fl.Var(&f.formulas, "difference", "formulas for --reference, such as CIEDE2000,CMC(2:1)")
	fl.Var(&f.indices, "index", "indices: "+indexWords())
	fl.StringVar(&f.region, "region", "", "part of an image: x,y,width,height in pixels from the top left")
	fl.StringVar(&f.chart, "chart", "", "table of the patches of a color chart in the picture, by which its colors are corrected")
	return cmd
}

// converted is the JSON form of one color; other programs rely on its keys.
type converted struct {
	ID      string  `json:"id"`
	Viewing string  `json:"viewing"`
	X       float64 `json:"X"`
	Y       float64 `json:"Y"`
	Z       float64 `json:"Z"`
	L       float64 `json:"L"`
	A       float64 `json:"a"`
	B       float64 `json:"b"`
	C       float64 `json:"C"`
	H       float64 `json:"h"` // 0 for a neutral color, which has no hue

	Reference   string              `json:"reference,omitempty"`
	Differences map[string]float64  `json:"differences,omitempty"`
	Indices     map[string]*float64 `json:"indices,omitempty"`        // null where not defined
	Formulas    map[string]string   `json:"index_formulas,omitempty"` // of indices whose name does not tell it
	Swatch      *swatchJSON         `json:"swatch,omitempty"`
}

// color is a sample under one viewing.
type color struct {
	id        string
	lot       string
	role      discharge.Role
	viewing   colorimetry.Viewing
	condition discharge.Condition
	xyz       colorimetry.XYZ
	lab       colorimetry.Lab
	spectrum  *colorimetry.Spectrum
}

// hueless is the chroma that rounds to 0.00: the angle below it is that of
// rounding errors.
const hueless = 0.005

func (c color) result() converted {
	lch := c.lab.LCh()
	if lch.C < hueless {
		lch.H = 0
	}
	return converted{ID: c.id, Viewing: c.viewing.String(), X: c.xyz.X, Y: c.xyz.Y, Z: c.xyz.Z, L: c.lab.L, A: c.lab.A, B: c.lab.B, C: lch.C, H: lch.H}
}

func (e *env) convert(name string, f convertFlags) error {
	data, err := e.read(name)
	if err != nil {
		return err
	}
	var colors []color
	var swatch *swatchJSON
	if isImage(data) {
		colors, swatch, err = e.imageColors(name, data, f)
	} else if f.region != "" {
		return usage("--region is for images; %s is a table", shown(name))
	} else if f.chart != "" {
		return usage("--chart is for images; %s is a table", shown(name))
	} else {
		colors, err = e.tableColors(name, data, f)
	}
	if err != nil {
		return err
	}
	refs, err := e.references(f, colors)
	if err != nil {
		return err
	}
	list := make([]converted, len(colors))
	x := indexer{e: e, indices: f.indices, first: colors[0].viewing, weights: map[weightsKey]*colorimetry.Weights{}}
	x.lone = !slices.ContainsFunc(colors, func(c color) bool { return c.viewing != x.first })
	if x.fluorescence("color", colors); !slices.ContainsFunc(colors, func(c color) bool { return hasID(c.id, f.reference) }) {
		x.fluorescence("reference", refs.colors) // of another file
	}
	for i, c := range colors {
		list[i] = c.result()
		list[i].Swatch = swatch
		ref, err := refs.of(c)
		if err != nil {
			return err
		}
		if ref != nil {
			list[i].Reference = ref.id
			list[i].Differences = f.formulas.differences(ref.lab, c.lab)
		}
		if len(f.indices) > 0 {
			if list[i].Indices, err = x.of(c, ref); err != nil {
				return err
			}
			list[i].Formulas = x.formulas(list[i].Indices)
		}
	}
	x.warn()
	switch e.format {
	case formatJSON:
		return report.JSON(&e.out, list)
	case formatCSV:
		return e.rows(convertRows(list))
	}
	e.convertText(list)
	return nil
}

// tableColors gives every sample under every viewing asked for.
func (e *env) tableColors(name string, data []byte, f convertFlags) ([]color, error) {
	if format := otherPicture(data); format != "" {
		return nil, fmt.Errorf("%s: the file is a %s picture; export it as JPEG or PNG", shown(name), format)
	}
	s, err := e.parse(name, data)
	if err != nil {
		return nil, err
	}
	opt := &discharge.ReadOptions{Percent: bool(f.percent)}
	if len(f.viewings) > 0 {
		opt.Viewing = f.viewings[0]
	}
	samples, err := discharge.SamplesFromSheet(s, opt)
	if err != nil {
		return nil, err
	}
	e.warnAll(samples.Warnings)
	e.warnConditions(samples)
	all := []colorimetry.Viewing{samples.Viewing}
	if len(f.viewings) > 0 {
		all = f.viewings
	}
	if samples.Kind != discharge.Spectral && len(all) > 1 {
		return nil, usage("%s has %s readings under %s, which cannot be turned into %s; spectra can", shown(name), samples.Kind, samples.Viewing, all[1])
	}
	var out []color
	for _, item := range samples.Items {
		out = append(out, color{id: item.ID, lot: item.Lot, role: item.Role, viewing: samples.Viewing, condition: item.Condition, xyz: item.XYZ, lab: item.Lab})
	}
	if samples.Kind != discharge.Spectral {
		return out, nil
	}
	out = out[:0]
	var weights []*colorimetry.Weights
	for _, v := range all {
		w, err := colorimetry.NewWeights(v, samples.Grid)
		if err != nil {
			return nil, err
		}
		weights = append(weights, w)
	}
	for _, item := range samples.Items {
		spectrum := &colorimetry.Spectrum{Grid: samples.Grid, Values: item.Spectrum}
		for _, w := range weights {
			xyz := w.XYZ(item.Spectrum)
			out = append(out, color{item.ID, item.Lot, item.Role, w.Viewing(), item.Condition, xyz, xyz.Lab(w.White()), spectrum})
		}
	}
	return out, nil
}

// warnConditions says that a file holds readings that cannot be compared.
func (e *env) warnConditions(s *discharge.Samples) {
	var all discharge.Condition
	for _, item := range s.Items {
		if item.Condition.Conflicts(all) {
			e.warn("%v", &discharge.RowError{File: s.Name, Row: item.Row, Column: "condition", Value: string(item.Condition),
				Err: fmt.Errorf("%w: readings above have %s, and both cannot be compared; choose one with --condition", discharge.ErrCondition, all)})
			return
		}
		all = all.With(item.Condition)
	}
}

func convertRows(list []converted) [][]any {
	header := []any{"id", "viewing", "X", "Y", "Z", "L", "a", "b", "C", "h"}
	differences, indices := extraColumns(list)
	if differences != nil {
		header = append(header, "reference")
	}
	for _, k := range slices.Concat(differences, indices) {
		header = append(header, k)
	}
	formula := metamerismFormula(list) != ""
	if formula {
		header = append(header, "metamerism_formula")
	}
	if list[0].Swatch != nil {
		header = append(header, "pixels", "sd_L", "sd_a", "sd_b", "pale", "dark", "uniformity_de", "worst_de", "calibrated",
			"clipped_low", "clipped_high", "loo_delta_e_mean", "loo_delta_e_max")
	}
	rows := [][]any{header}
	for _, c := range list {
		row := []any{c.ID, c.Viewing, c.X, c.Y, c.Z, c.L, c.A, c.B, c.C, c.H}
		if differences != nil {
			row = append(row, c.Reference)
		}
		for _, k := range differences {
			row = append(row, c.Differences[k])
		}
		for _, k := range indices {
			row = append(row, c.Indices[k])
		}
		if formula {
			row = append(row, c.Formulas["metamerism"])
		}
		if s := c.Swatch; s != nil {
			row = append(row, s.Pixels, s.SDL, s.SDA, s.SDB, s.Pale, s.Dark, s.UniformityDE, s.WorstDE, s.Calibrated, s.ClippedLow, s.ClippedHigh)
			if c := s.Chart; c != nil {
				row = append(row, c.LOOMean, c.LOOMax)
			} else {
				row = append(row, nil, nil)
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// metamerismFormula is that of the first color with such an index, which is that of
// all; "" without one.
func metamerismFormula(list []converted) string {
	for _, c := range list {
		if f := c.Formulas["metamerism"]; f != "" {
			return f
		}
	}
	return ""
}

// extraColumns lists the keys of differences and indices, sorted.
func extraColumns(list []converted) (differences, indices []string) {
	for _, c := range list {
		for k := range c.Differences {
			if !slices.Contains(differences, k) {
				differences = append(differences, k)
			}
		}
		for k := range c.Indices {
			if !slices.Contains(indices, k) {
				indices = append(indices, k)
			}
		}
	}
	slices.Sort(differences)
	slices.Sort(indices)
	return differences, indices
}

func (e *env) convertText(list []converted) {
	differences, indices := extraColumns(list)
	t := report.Table{Header: []string{"id", "viewing", "X", "Y", "Z", "", "L*", "a*", "b*", "C*", "h°"}, Left: []bool{true, true}}
	if differences != nil {
		t.Header = append(t.Header, "from")
	}
	t.Header = append(t.Header, slices.Concat(differences, indices)...)
	for _, c := range list {
		row := []string{c.ID, c.Viewing}
		for _, v := range []float64{c.X, c.Y, c.Z} {
			row = append(row, report.Fixed(v, 2))
		}
		row = append(row, e.swatch(colorimetry.Lab{L: c.L, A: c.A, B: c.B}))
		for _, v := range []float64{c.L, c.A, c.B, c.C} {
			row = append(row, report.Fixed(v, 2))
		}
		hue := "-"
		if c.C >= hueless {
			hue = report.Fixed(c.H, 1)
		}
		row = append(row, hue)
		if differences != nil {
			row = append(row, c.Reference)
		}
		for _, k := range differences {
			row = append(row, report.Fixed(c.Differences[k], 2))
		}
		for _, k := range indices {
			cell := "-"
			if v := c.Indices[k]; v != nil {
				cell = report.Short(*v, 4)
			}
			row = append(row, cell)
		}
		t.Add(row...)
	}
	e.printf("%s", &t)
	if formula := metamerismFormula(list); formula != "" {
		e.printf("  metamerism: %s\n", formula)
	}
	if s := list[0].Swatch; s != nil {
		e.printf("%s", s.text())
	}
}
