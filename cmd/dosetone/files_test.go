package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/internal/tabletest"
)

// formats puts a table into the folder in every format.
func formats(t *testing.T, stem string, text []byte) []string {
	t.Helper()
	rows, err := tabletest.Rows(text)
	require.NoError(t, err)
	book, err := tabletest.XLSX(rows)
	require.NoError(t, err)
	var names []string
	for _, f := range []struct {
		ending string
		data   []byte
	}{{".csv", text}, {"-semicolon.csv", tabletest.DecimalComma(rows)}, {".xlsx", book}, {".txt", tabletest.CGATS(rows)}, {".cxf", tabletest.CxF(rows)}} {
		require.NoError(t, os.WriteFile(stem+f.ending, f.data, 0o644))
		names = append(names, stem+f.ending)
	}
	return names
}

// labExports is the table of labLots as a workbook, and as an instrument's CGATS
// export, one column per reading too, with a list of the lots.
func labExports(t *testing.T) map[string][]byte {
	t.Helper()
	rows, err := tabletest.Rows(labLots())
	require.NoError(t, err)
	book, err := tabletest.XLSX(rows)
	require.NoError(t, err)
	panel := slices.Index(rows[0], "panel")
	var export, list [][]string
	wide := make([][]string, 4)
	for i, row := range rows {
		reading := append([]string{row[0] + "/" + row[panel]}, row[panel+1:]...)
		if i == 0 {
			reading[0] = "id"
		}
		export = append(export, reading)
		for j, c := range reading {
			wide[j] = append(wide[j], c)
		}
		if !slices.ContainsFunc(list, func(l []string) bool { return l[0] == row[0] }) {
			list = append(list, row[:panel])
		}
	}
	return map[string][]byte{"lots.xlsx": book, "export.txt": tabletest.CGATS(export), "wide.csv": lines(t, wide), "lot-list.csv": lines(t, list)}
}

func lines(t *testing.T, table [][]string) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, csv.NewWriter(&b).WriteAll(table))
	return b.Bytes()
}

// The same files in any format give the same model file and the same answers,
// from the command line.
func TestEveryCommandReadsEveryFormat(t *testing.T) {
	workspace(t)
	trials, standards, lots := formats(t, "t", demo.PelletTrials()), formats(t, "s", demo.PelletStandard()), formats(t, "p", demo.PelletProduction())
	var model, first string
	for i := range trials {
		ok(t, "fit", trials[i], "-o", "m.json")
		data, err := os.ReadFile("m.json")
		require.NoError(t, err)
		if i == 0 {
			model = string(data)
		}
		require.Equal(t, model, string(data), trials[i])
		out := ok(t, "convert", standards[i], "--format", "csv") + ok(t, "suggest", "m.json", "--target", standards[i], "--strengths", "4,6.5,10", "--format", "json") +
			ok(t, "check", lots[i], "--standard", standards[i], "--model", "m.json", "--lot", "P101", "--tolerance", "2", "--format", "json")
		if i == 0 {
			first = out
		}
		require.Equal(t, first, withIDs(t, out, first), standards[i])
	}
}

// withIDs gives convert's first column as in another output: CGATS and CxF name
// the samples themselves.
func withIDs(t *testing.T, got, want string) string {
	t.Helper()
	g, w := strings.Split(got, "\n"), strings.Split(want, "\n")
	require.Equal(t, len(w), len(g))
	for i := range g {
		_, a, found := strings.Cut(g[i], ",D65/10,")
		id, b, ok := strings.Cut(w[i], ",D65/10,")
		if found && ok && a == b {
			g[i] = id + ",D65/10," + a
		}
	}
	return strings.Join(g, "\n")
}

func TestWorkbookFromStdin(t *testing.T) {
	workspace(t)
	formats(t, "t", demo.PelletTrials())
	data, err := os.ReadFile("t.xlsx")
	require.NoError(t, err)
	var out, errs bytes.Buffer
	require.Equal(t, exitDone, run(context.Background(), []string{"fit", "-", "-o", "m.json"}, bytes.NewReader(data), &out, &errs), errs.String())
}

// An instrument's export and the chemist's list of lots, as two sheets of one
// workbook, and with one column per reading.
func TestListOfLotsAndWideTables(t *testing.T) {
	workspace(t)
	ok(t, "fit", "trials.csv", "-o", "want.json")
	want, err := os.ReadFile("want.json")
	require.NoError(t, err)
	rows, err := tabletest.Rows(demo.PelletTrials())
	require.NoError(t, err)
	// Columns 0-9 tell of the lot, 10 and 11 of panel and position.
	var export, list [][]string
	seen := map[string]bool{}
	for i, row := range rows {
		id := strings.Join([]string{row[0], row[10], row[11]}, "/")
		if i == 0 {
			id = "id"
		}
		export = append(export, append([]string{id}, row[12:]...))
		if !seen[row[0]] {
			list = append(list, row[:10])
		}
		seen[row[0]] = true
	}
	book := excelize.NewFile()
	defer book.Close()
	_, err = book.NewSheet("Lots")
	require.NoError(t, err)
	wide := make([][]string, len(export[0]))
	for sheet, table := range map[string][][]string{"Sheet1": export, "Lots": list} {
		for i, row := range table {
			for j, c := range row {
				at, err := excelize.CoordinatesToCellName(j+1, i+1)
				require.NoError(t, err)
				require.NoError(t, book.SetCellStr(sheet, at, c))
				if sheet == "Sheet1" {
					wide[j] = append(wide[j], c)
				}
			}
		}
	}
	require.NoError(t, book.SaveAs("both.xlsx"))
	write := func(name string, table [][]string) { require.NoError(t, os.WriteFile(name, lines(t, table), 0o644)) }
	write("export.csv", export)
	write("list.csv", list)
	write("wide.csv", wide)
	for _, args := range []string{"export.csv --lot-list list.csv", "wide.csv --wide --lot-list list.csv", "both.xlsx --lot-list both.xlsx --sheet Sheet1 --sheet Lots"} {
		ok(t, append([]string{"fit", "-o", "got.json"}, strings.Fields(args)...)...)
		got, err := os.ReadFile("got.json")
		require.NoError(t, err)
		require.Equal(t, string(want), string(got), args)
	}
	r := tool(t, "", "fit", "both.xlsx", "--sheet", "Trials")
	require.Equal(t, exitFailed, r.code)
	require.Contains(t, r.err, `no sheet "Trials"; it has "Sheet1", "Lots"`)
}

// Names come from files of others: in no result do they become a formula.
func TestHostileLotNames(t *testing.T) {
	workspace(t)
	hostile := []string{`=cmd|' /C calc'!A0`, "+1", "-1", "@SUM(1)"}
	text := "id,illuminant,observer,L,a,b\n"
	for _, h := range hostile {
		text += `"` + h + `",D65,10,40,-1.5,-9` + "\n"
	}
	require.NoError(t, os.WriteFile("hostile.csv", []byte(text), 0o644))
	r := tool(t, "", "convert", "hostile.csv", "--format", "csv")
	require.Equal(t, exitDone, r.code, r.err)
	rows, err := csv.NewReader(strings.NewReader(r.out)).ReadAll()
	require.NoError(t, err)
	ok(t, "convert", "hostile.csv", "--results", "out.xlsx")
	f, err := excelize.OpenFile("out.xlsx", excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	defer f.Close()
	cells, err := f.GetRows("results")
	require.NoError(t, err)
	for i, h := range hostile {
		require.Equal(t, "'"+h, rows[i+1][0])
		require.Equal(t, "'"+h, cells[i+1][0])
		require.Equal(t, "-1.5", rows[i+1][6], "a negative number is a number")
		require.Equal(t, "-1.5", cells[i+1][6])
	}
	// What we wrote is a table that we read.
	r = tool(t, "", "convert", "out.xlsx", "--viewing", "D65/10")
	require.Equal(t, exitDone, r.code, r.err)
}

func TestResultsGoWhereTheyShould(t *testing.T) {
	workspace(t)
	for _, name := range []string{"r.csv", "r.json", "r.txt"} {
		out := ok(t, "convert", "standard.csv", "--results", name)
		require.Equal(t, "Written to "+name+"\n", out)
		data, err := os.ReadFile(name)
		require.NoError(t, err)
		f := map[string]string{"r.csv": "csv", "r.json": "json", "r.txt": "text"}[name]
		require.Equal(t, ok(t, "convert", "standard.csv", "--format", f), string(data))
	}
	ok(t, "convert", "standard.csv", "--results", "r.xlsx")
	data, err := os.ReadFile("r.xlsx")
	require.NoError(t, err)
	require.Equal(t, ok(t, "convert", "standard.csv", "--format", "xlsx"), string(data))
	for _, c := range []struct{ args, want string }{
		{"convert standard.csv --results r.pdf", ".csv, .xlsx, .json or .txt"},
		{"convert standard.csv --results r.csv --format json", "contradict"},
		{"convert standard.csv --results -", "not possible"},
	} {
		r := tool(t, "", strings.Fields(c.args)...)
		require.Equal(t, exitUsage, r.code, c.args)
		require.Contains(t, r.err, c.want)
	}
	r := tool(t, "", "convert", "standard.csv", "--results", "none/r.csv")
	require.Equal(t, exitFailed, r.code)
	require.Contains(t, r.err, "no such folder")
	r = tool(t, "", "convert", "nothing.csv", "--results", "kept.csv")
	require.NotEqual(t, exitDone, r.code)
	require.NoFileExists(t, "kept.csv")
}

// An instrument makes a file of each session, and one list says what all its lots are.
func TestOneListOfLotsForSeveralFiles(t *testing.T) {
	workspace(t)
	rows, err := tabletest.Rows(demo.PelletTrials())
	require.NoError(t, err)
	header := rows[0]
	at := func(c string) int { return slices.Index(header, c) }
	first := at("R400")
	list := [][]string{{"lot", "role", "process", "strength_pct", "ratio", "time_min"}, {"T99", "trial", "permanganate-pellet", "5", "1.2", "10"}}
	files := [2][][]string{{append([]string{"lot", "panel", "position"}, header[first:]...)}, {append([]string{"lot", "panel", "position"}, header[first:]...)}}
	seen := map[string]bool{}
	for i, row := range rows[1:] {
		lot := row[at("lot")]
		if !seen[lot] {
			seen[lot] = true
			list = append(list, []string{lot, row[at("role")], row[at("process")], row[at("strength_pct")], row[at("ratio")], row[at("time_min")]})
		}
		k := 0
		if i > len(rows)/2 && lot != rows[len(rows)/2][at("lot")] {
			k = 1
		}
		files[k] = append(files[k], append([]string{lot, row[at("panel")], row[at("position")]}, row[first:]...))
	}
	write := func(name string, rows [][]string) {
		var b strings.Builder
		for _, row := range rows {
			b.WriteString(strings.Join(row, ",") + "\n")
		}
		require.NoError(t, os.WriteFile(name, []byte(b.String()), 0o644))
	}
	write("list.csv", list)
	write("one.csv", files[0])
	write("two.csv", files[1])
	write("both.csv", append(slices.Clone(files[0]), files[1][1:]...))
	whole := tool(t, "", "fit", "both.csv", "--lot-list", "list.csv", "-o", "whole.json")
	require.Equal(t, exitDone, whole.code, whole.err)
	parts := tool(t, "", "fit", "one.csv", "two.csv", "--lot-list", "list.csv", "-o", "parts.json")
	require.Equal(t, exitDone, parts.code, parts.err)
	require.Equal(t, strings.ReplaceAll(whole.out, "whole.json", "parts.json"), parts.out)
	require.Contains(t, parts.err, `no reading of "T99"; their rows`)
	require.Equal(t, 1, strings.Count(parts.err, "no reading of"))
	require.NotContains(t, parts.err, `"T01"`)
}
