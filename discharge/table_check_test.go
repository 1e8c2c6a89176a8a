package discharge_test

import (
	"bytes"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
)

// builtTable is what a program makes of the rows of a database: the invented lots of
// demo, by their colors alone, without lines of a file.
func builtTable(t *testing.T) *discharge.Table {
	t.Helper()
	from := demoTable(t)
	out := &discharge.Table{Name: "db", Kind: discharge.LabKind, Viewing: from.Viewing}
	for _, l := range from.Lots {
		made := discharge.Lot{ID: l.ID, Role: l.Role, Process: l.Process, Settings: l.Settings.Clone()}
		for _, p := range l.Panels {
			panel := discharge.Panel{ID: p.ID}
			for _, r := range p.Readings {
				panel.Readings = append(panel.Readings, discharge.Reading{Lab: r.Lab})
			}
			made.Panels = append(made.Panels, panel)
		}
		out.Lots = append(out.Lots, made)
	}
	return out
}

// firstTrial is the place of the first trial lot.
func firstTrial(x *discharge.Table) *discharge.Lot {
	for i := range x.Lots {
		if x.Lots[i].Role == discharge.Trial {
			return &x.Lots[i]
		}
	}
	return nil
}

// What readers refuse is refused of a table that a program made, by every function that
// takes one, and the message names what is wrong. Most of these had been panics, shades
// of NaN or nothing at all.
func TestTablesOfProgramsAreChecked(t *testing.T) {
	m, err := discharge.Fit(builtTable(t), nil)
	require.NoError(t, err)
	first := func(x *discharge.Table) *discharge.Reading { return &firstTrial(x).Panels[0].Readings[0] }
	nan := math.NaN()
	for name, c := range map[string]struct {
		change func(x *discharge.Table)
		column string
	}{
		"strength 0":      {func(x *discharge.Table) { firstTrial(x).Settings["strength_pct"] = 0 }, "strength_pct"},
		"strength -1":     {func(x *discharge.Table) { firstTrial(x).Settings["strength_pct"] = -1 }, "strength_pct"},
		"strength NaN":    {func(x *discharge.Table) { firstTrial(x).Settings["strength_pct"] = nan }, "strength_pct"},
		"strength 1e308":  {func(x *discharge.Table) { firstTrial(x).Settings["strength_pct"] = 1e308 }, "strength_pct"},
		"ratio Inf":       {func(x *discharge.Table) { firstTrial(x).Settings["ratio"] = math.Inf(1) }, "ratio"},
		"unknown factor":  {func(x *discharge.Table) { firstTrial(x).Settings["strenth_pct"] = 1 }, "strenth_pct"},
		"L* NaN":          {func(x *discharge.Table) { first(x).Lab.L = nan }, "L"},
		"L* -5":           {func(x *discharge.Table) { first(x).Lab.L = -5 }, "L"},
		"L* 1e6":          {func(x *discharge.Table) { first(x).Lab.L = 1e6 }, "L"},
		"a* Inf":          {func(x *discharge.Table) { first(x).Lab.A = math.Inf(1) }, "a"},
		"b* NaN":          {func(x *discharge.Table) { first(x).Lab.B = nan }, "b"},
		"stage":           {func(x *discharge.Table) { first(x).Stage = "washed" }, "stage"},
		"state":           {func(x *discharge.Table) { first(x).State = "wet" }, "state"},
		"spectrum in Lab": {func(x *discharge.Table) { first(x).Spectrum = []float64{1, 2} }, "Spectrum"},
		"tensile":         {func(x *discharge.Table) { firstTrial(x).Panels[0].TensileLossPct = &nan }, "tensile_loss_pct"},
		"role":            {func(x *discharge.Table) { firstTrial(x).Role = "test" }, "role"},
		"no name":         {func(x *discharge.Table) { firstTrial(x).ID = "" }, "lot"},
		"one name twice":  {func(x *discharge.Table) { x.Lots = append(x.Lots, *firstTrial(x)) }, "lot"},
		"kind":            {func(x *discharge.Table) { x.Kind = "color" }, "Kind"},
		"no kind":         {func(x *discharge.Table) { x.Kind = "" }, "Kind"},
		"viewing":         {func(x *discharge.Table) { x.Viewing.Observer = 0 }, "Viewing"},
		"condition":       {func(x *discharge.Table) { x.Condition = "M7" }, "Condition"},
		"grid of colors":  {func(x *discharge.Table) { x.Grid = colorimetry.Grid{Start: 400, Step: 10, N: 31} }, "Grid"},
		"L* up to 1": {func(x *discharge.Table) {
			for i := range x.Lots {
				for j := range x.Lots[i].Panels {
					for k := range x.Lots[i].Panels[j].Readings {
						x.Lots[i].Panels[j].Readings[k].Lab.L /= 100
					}
				}
			}
		}, "L"},
	} {
		x := builtTable(t)
		c.change(x)
		var row *discharge.RowError
		require.ErrorAs(t, x.Check(), &row, name)
		assert.Equal(t, c.column, row.Column, name)
		assert.Equal(t, "db", row.File, name)
		_, err := discharge.Fit(x, nil)
		assert.ErrorAs(t, err, &row, name)
		_, err = m.Recalibrate(x, nil)
		assert.ErrorAs(t, err, &row, name)
		_, _, err = x.Targets()
		assert.ErrorAs(t, err, &row, name)
	}
}

// Spectra of a program are held to their grid, and need their colors.
func TestSpectraOfProgramsAreChecked(t *testing.T) {
	copied := func() (*discharge.Table, []float64) {
		x := demoTable(t)
		r := &firstTrial(x).Panels[0].Readings[0]
		return x, r.Spectrum
	}
	for name, change := range map[string]func(x *discharge.Table, s []float64){
		"short":     func(x *discharge.Table, s []float64) { firstTrial(x).Panels[0].Readings[0].Spectrum = s[:10] },
		"none":      func(x *discharge.Table, _ []float64) { firstTrial(x).Panels[0].Readings[0].Spectrum = nil },
		"percent":   func(_ *discharge.Table, s []float64) { s[5] = 12.5 },
		"NaN":       func(_ *discharge.Table, s []float64) { s[5] = math.NaN() },
		"no grid":   func(x *discharge.Table, _ []float64) { x.Grid = colorimetry.Grid{} },
		"wide grid": func(x *discharge.Table, _ []float64) { x.Grid.N++ },
	} {
		x, s := copied()
		change(x, s)
		_, err := discharge.Fit(x, nil)
		var row *discharge.RowError
		assert.ErrorAs(t, err, &row, name)
	}

	// Colors that were not worked out are an error that says how; then the model is
	// the one of the file.
	read := demoTable(t)
	want, err := discharge.Fit(read, nil)
	require.NoError(t, err)
	x := demoTable(t)
	for i := range x.Lots {
		for j := range x.Lots[i].Panels {
			for k := range x.Lots[i].Panels[j].Readings {
				x.Lots[i].Panels[j].Readings[k].Lab = colorimetry.Lab{}
			}
		}
	}
	_, err = discharge.Fit(x, nil)
	require.ErrorContains(t, err, "ColorSpectra")
	require.NoError(t, x.ColorSpectra())
	require.Equal(t, read.Lots, x.Lots)
	got, err := discharge.Fit(x, nil)
	require.NoError(t, err)
	require.Equal(t, want.Digest(), got.Digest())
	require.Error(t, builtTable(t).ColorSpectra(), "without spectra")
	x.Viewing = colorimetry.Viewing{}
	require.Error(t, x.ColorSpectra())
	x = demoTable(t)
	x.Grid.N--
	require.Error(t, x.ColorSpectra())
}

// What readers let in passes, joined and with production lots, too, and the check costs
// little beside a fit.
func TestTablesThatWereReadPass(t *testing.T) {
	pellets, production := demoTable(t), func() *discharge.Table {
		x, err := discharge.ReadTable("production.csv", bytes.NewReader(demo.PelletProduction()), nil)
		require.NoError(t, err)
		return x
	}()
	both, err := pellets.Join(production)
	require.NoError(t, err)
	all, _ := both.WithProduction()
	for _, x := range []*discharge.Table{pellets, production, both, all} {
		require.NoError(t, x.Check(), x.Name)
	}
	// Black as XYZ and as a spectrum, one file's lot T1 of both roles, words that are stored as "".
	for _, text := range []string{
		"lot,role,X,Y,Z,illuminant,observer\nT,standard,0,0,0,D65,10\nU,standard,200,0,250,D65,10\nV,standard,0,200,0,D65,10\n",
		"lot,role,unit,R400,R420,R440,R460,R480,R500,R520,R540,R560,R580,R600,R620,R640,R660,R680,R700\nT,standard,factor" +
			",0,0,0,0,0,0,0,0,0,0,0,0,0,0,0,0\n",
		"lot,role,red,green,blue,stage,state\nT,standard,0,0,0,Finished,DRY\nU,standard,255,255,255,,\n",
	} {
		x, err := discharge.ReadTable("a.csv", bytes.NewReader([]byte(text)), nil)
		require.NoError(t, err)
		require.NoError(t, x.Check(), text)
	}
	start := time.Now()
	const times = 100
	for range times {
		require.NoError(t, pellets.Check())
	}
	if each := time.Since(start) / times; each > 5*time.Millisecond { // some tens of µs; machines are busy at times
		t.Errorf("a check takes %v", each)
	}
}

// No table is an error, not a panic.
func TestNoTable(t *testing.T) {
	var none *discharge.Table
	m, err := discharge.Fit(demoTable(t), nil)
	require.NoError(t, err)
	require.ErrorContains(t, none.Check(), "nil")
	_, err = discharge.Fit(nil, nil)
	require.ErrorContains(t, err, "nil")
	_, err = m.Recalibrate(nil, nil)
	require.ErrorContains(t, err, "nil")
	_, err = demoTable(t).Join(nil)
	require.ErrorContains(t, err, "nil")
	_, err = none.Join(demoTable(t))
	require.ErrorContains(t, err, "nil")
	_, _, err = none.Targets()
	require.ErrorContains(t, err, "nil")
}

// A sheet that a program makes needs no lines: rows are then counted from 1.
func TestSheetWithoutLines(t *testing.T) {
	sheet := func() *discharge.Sheet {
		return &discharge.Sheet{Name: "db", Header: []string{"lot", "role", "L", "a", "b", "viewing"}, Rows: [][]string{
			{"B", "base", "20", "-1", "-12", "D65/10"}, {"B", "base", "21", "-1", "-12", "D65/10"}, {"W", "white", "80", "-1", "5", "D65/10"}}}
	}
	counted := sheet()
	counted.Lines = []int{1, 2, 3}
	want, err := discharge.FromSheet(counted, nil)
	require.NoError(t, err)
	plain := sheet()
	got, err := discharge.FromSheet(plain, nil)
	require.NoError(t, err)
	require.Equal(t, want, got)
	require.Nil(t, plain.Lines, "the sheet itself stays as it is")
	plain.Rows[1][2] = "dark"
	_, err = discharge.FromSheet(plain, nil)
	var row *discharge.RowError
	require.ErrorAs(t, err, &row)
	require.Equal(t, 2, row.Row)
	short := sheet()
	short.Lines = []int{1, 2}
	require.Panics(t, func() { _, _ = discharge.FromSheet(short, nil) })
}
