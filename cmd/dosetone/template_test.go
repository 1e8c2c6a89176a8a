package main

import (
	"bytes"
	"encoding/csv"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/tabletest"
)

// A template filled in with trials gives the model that the trials give.
func TestFilledTemplatesFit(t *testing.T) {
	workspace(t)
	rows, err := tabletest.Rows(demo.PelletTrials())
	require.NoError(t, err)
	ok(t, "fit", "trials.csv", "-o", "want.json")
	want, err := os.ReadFile("want.json")
	require.NoError(t, err)

	ok(t, "template", "permanganate-pellet", "--readings", "spectrum", "-o", "filled.xlsx")
	f, err := excelize.OpenFile("filled.xlsx")
	require.NoError(t, err)
	header, err := f.GetRows("lots")
	require.NoError(t, err)
	at := func(name string) int { return slices.Index(header[0], name) }
	for i, row := range rows[1:] {
		for j, c := range row {
			k := at(rows[0][j])
			require.NotEqual(t, -1, k, rows[0][j])
			cell, err := excelize.CoordinatesToCellName(k+1, i+3) // below the example
			require.NoError(t, err)
			if v, err := strconv.ParseFloat(c, 64); err == nil {
				require.NoError(t, f.SetCellValue("lots", cell, v))
			} else if c != "" {
				require.NoError(t, f.SetCellStr("lots", cell, c))
			}
		}
	}
	require.NoError(t, f.Save())
	require.NoError(t, f.Close())

	ok(t, "template", "permanganate-pellet", "--readings", "spectrum", "-o", "filled.csv")
	text, err := os.ReadFile("filled.csv")
	require.NoError(t, err)
	b := bytes.NewBuffer(text)
	w := csv.NewWriter(b)
	for _, row := range rows[1:] {
		cells := make([]string, len(header[0]))
		for j, c := range row {
			cells[at(rows[0][j])] = c
		}
		require.NoError(t, w.Write(cells))
	}
	w.Flush()
	require.NoError(t, os.WriteFile("filled.csv", b.Bytes(), 0o644))

	for _, name := range []string{"filled.xlsx", "filled.csv"} {
		r := tool(t, "", "fit", name, "-o", "got.json")
		require.Equal(t, exitDone, r.code, r.err)
		require.Contains(t, r.err, "only shows how to fill in the table")
		got, err := os.ReadFile("got.json")
		require.NoError(t, err)
		require.Equal(t, string(want), string(got), name)
	}
}

// An empty template is no table of readings, and says so; every column is one
// that the readers know.
func TestTemplatesReadBack(t *testing.T) {
	workspace(t)
	for _, p := range discharge.Processes() {
		for _, kind := range []string{"spectrum", "lab", "xyz", "swatch"} {
			for _, ending := range []string{".csv", ".xlsx"} {
				name := p.ID + "-" + kind + ending
				ok(t, "template", p.ID, "--readings", kind, "-o", name)
				r := tool(t, "", "fit", name, "-o", "m.json")
				require.Equal(t, exitFailed, r.code)
				require.Contains(t, r.err, "only examples")
				require.NotContains(t, r.err, "not known")
			}
			// The example itself would be a reading: as a trial it is read whole.
			r := tool(t, "", "template", p.ID, "--readings", kind)
			table, err := discharge.ReadTable("t.csv", strings.NewReader(strings.Replace(r.out, ",example,", ",trial,", 1)), nil)
			require.NoError(t, err, "%s %s", p.ID, kind)
			require.Empty(t, table.Ignored)
			require.Equal(t, discharge.ReadingKind(kind), table.Kind)
			for _, f := range p.Factors {
				if !f.Typical.Known() { // nothing is known to show
					continue
				}
				require.Contains(t, table.Lots[0].Settings, f.Column, p.ID)
			}
			for _, w := range table.Warnings {
				require.NotContains(t, w.Error(), "outside", "the example is of common practice")
			}
		}
	}
}

// The comments of a CSV template survive a spreadsheet program, which quotes
// cells with separators and fills every line up.
func TestTemplateCommentsSurviveASpreadsheet(t *testing.T) {
	r := tool(t, "", "template", "permanganate-pellet")
	for line := range strings.Lines(r.out) {
		if !strings.HasPrefix(line, "#") {
			break
		}
		require.NotContains(t, strings.TrimSpace(line), ",")
		require.NotContains(t, line, ";")
		require.NotContains(t, line, `"`)
	}
	saved := strings.ReplaceAll(r.out, ",", ";")
	saved = strings.ReplaceAll(saved, "\n", ";;;;\r\n")
	s, err := discharge.ReadCSV("t.csv", strings.NewReader(saved))
	require.NoError(t, err)
	require.Equal(t, "lot", s.Header[0])
}

func TestTemplateWorkbookHelps(t *testing.T) {
	workspace(t)
	ok(t, "template", "permanganate-pellet", "-o", "t.xlsx")
	f, err := excelize.OpenFile("t.xlsx")
	require.NoError(t, err)
	defer f.Close()
	require.Equal(t, []string{"lots", "columns"}, f.GetSheetList())
	lists, err := f.GetDataValidations("lots")
	require.NoError(t, err)
	choices := map[string]string{}
	for _, v := range lists {
		choices[v.Sqref] = v.Formula1
	}
	require.Contains(t, choices["B3:B2000"], "base,blank,white,trial")
	require.Contains(t, choices["C3:C2000"], "permanganate-pellet")
	notes, err := f.GetComments("lots")
	require.NoError(t, err)
	header, err := f.GetRows("lots")
	require.NoError(t, err)
	require.Len(t, notes, len(header[0]))
	panes, err := f.GetPanes("lots")
	require.NoError(t, err)
	require.True(t, panes.Freeze)
	help, err := f.GetRows("columns")
	require.NoError(t, err)
	require.Len(t, help, len(header[0])+5)
	first, err := os.ReadFile("t.xlsx")
	require.NoError(t, err)
	ok(t, "template", "permanganate-pellet", "-o", "again.xlsx")
	second, err := os.ReadFile("again.xlsx")
	require.NoError(t, err)
	require.Equal(t, first, second)
}

func TestTemplateWrongUse(t *testing.T) {
	workspace(t)
	for _, c := range []struct{ args, want string }{
		{"template", "name the process"},
		{"template permanganate-pelet", `did you mean "permanganate-pellet"`},
		{"template permanganate-pellet --readings rgb", "want spectrum, lab, xyz or swatch"},
		{"template permanganate-pellet -o trials.csv", "exists and may hold readings"},
		{"template permanganate-pellet -o t.ods", ".csv or .xlsx"},
		{"template permanganate-pellet --results t.csv", "with -o"},
	} {
		r := tool(t, "", strings.Fields(c.args)...)
		require.Equal(t, exitUsage, r.code, c.args)
		require.Contains(t, r.err, c.want, c.args)
	}
	r := tool(t, "", "template", "permanganate-pellet", "-o", "none/t.csv")
	require.Equal(t, exitFailed, r.code)
	require.Contains(t, r.err, "no such folder")
}
