package tables

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/tabletest"
)

// workbook makes one with the table id, L, a, b and what do changes.
func workbook(t *testing.T, do func(f *excelize.File)) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	for i, row := range [][]any{{"id", "strength_pct", "R400"}, {"A", 4, 0.25}, {"B", 6.5, 0.35}, {"C", 10, 0.45}} {
		require.NoError(t, f.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+1), &row))
	}
	if do != nil {
		do(f)
	}
	b, err := f.WriteToBuffer()
	require.NoError(t, err)
	return b.Bytes()
}

func set(t *testing.T, f *excelize.File, at string, value any, format string) {
	t.Helper()
	require.NoError(t, f.SetCellValue("Sheet1", at, value))
	if format != "" {
		id, err := f.NewStyle(&excelize.Style{CustomNumFmt: &format})
		require.NoError(t, err)
		require.NoError(t, f.SetCellStyle("Sheet1", at, at, id))
	}
}

// An independent reader gives the same cells: excelize, raw values.
func TestXLSXCellsAgreeWithAnotherReader(t *testing.T) {
	rows, err := tabletest.Rows(demo.PelletTrials())
	require.NoError(t, err)
	data, err := tabletest.XLSX(rows)
	require.NoError(t, err)
	s, err := Read("t.xlsx", data, Options{})
	require.NoError(t, err)
	f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	defer f.Close()
	want, err := f.GetRows("Sheet1")
	require.NoError(t, err)
	require.Equal(t, want[0], s.Header)
	require.Equal(t, want[1:], s.Rows)
	require.Equal(t, 2, s.Lines[0])
	require.Empty(t, s.Warnings)
	require.Equal(t, `XLSX, sheet "Sheet1"`, s.Format)
}

func TestXLSXValues(t *testing.T) {
	s, err := Read("t.xlsx", workbook(t, func(f *excelize.File) {
		set(t, f, "A2", time.Date(2026, 11, 3, 0, 0, 0, 0, time.UTC), "d-mmm")
		set(t, f, "B2", 0.065, "0%")         // shown 7 %, stored 0.065: in a column of percent 6.5
		set(t, f, "C2", 0.35, "0.0%")        // reflectance stays a factor
		set(t, f, "B3", 6.5, `0.0" % soda"`) // a unit in quotes is no percent format
		require.NoError(t, f.SetCellRichText("Sheet1", "A3", []excelize.RichTextRun{{Text: "B "}, {Text: "two"}}))
		set(t, f, "A4", true, "")
		set(t, f, "B4", 0.25, "hh:mm")
	}), Options{})
	require.NoError(t, err)
	require.Equal(t, [][]string{{"2026-11-03", "6.5", "0.35"}, {"B two", "6.5", "0.35"}, {"TRUE", "06:00:00", "0.45"}}, s.Rows)
	warnings := errors.Join(s.Warnings...).Error()
	require.Contains(t, warnings, `dates or times stand in columns "id", "strength_pct"`)
	require.Contains(t, warnings, `percentages were read as shown`)
}

// 1904 dates and the built-in formats: ECMA-376 part 1, 18.17.4.1 and 18.8.30.
// Serial 45292 is 2024-01-01 in the 1900 system, 43830 in the 1904 one.
func TestXLSXDates(t *testing.T) {
	require.Equal(t, "2024-01-01", (&book{}).dateText(45292))
	require.Equal(t, "2024-01-01", (&book{from1904: true}).dateText(43830))
	require.Equal(t, "2024-01-01 12:00:00", (&book{}).dateText(45292.5))
	for code, want := range map[string]cellFormat{"General": plainFormat, "0.00": plainFormat, "0%": percentFormat, "yyyy-mm-dd": dateFormat, "[h]:mm": dateFormat,
		"[Red]0.0": plainFormat, `0.0" min"`: plainFormat, `0\h`: plainFormat, "0.00E+00": plainFormat, `_-* #,##0.00_-`: plainFormat, "[$-407]d. mmmm yyyy": dateFormat} {
		require.Equal(t, want, formatOf(code), code)
	}
}

func TestXLSXHeader(t *testing.T) {
	f := excelize.NewFile()
	defer f.Close()
	for i, row := range [][]any{{"Trials of March"}, {"# comment", "more"}, nil, {nil, "id", "L", "a", "b"}, {nil, "x", 50, 1, 2}, {"# no reading", "y", 1, 2, 3}, {nil, "z", 51, 1, 2}} {
		require.NoError(t, f.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+1), &row))
	}
	b, err := f.WriteToBuffer()
	require.NoError(t, err)
	s, err := Read("t.xlsx", b.Bytes(), Options{})
	require.NoError(t, err)
	require.Equal(t, 4, s.HeaderLine)
	require.Equal(t, []int{5, 7}, s.Lines)
	require.Len(t, s.Warnings, 2)
	samples, err := discharge.SamplesFromSheet(s, &discharge.ReadOptions{Viewing: d65()})
	require.NoError(t, err)
	require.Len(t, samples.Items, 2)
}

func TestXLSXSheets(t *testing.T) {
	data := workbook(t, func(f *excelize.File) {
		_, err := f.NewSheet("Bath")
		require.NoError(t, err)
		require.NoError(t, f.SetSheetRow("Bath", "A1", &[]any{"id", "L"}))
		require.NoError(t, f.SetSheetRow("Bath", "A2", &[]any{"q", 7}))
		_, err = f.NewSheet("Notes")
		require.NoError(t, err)
		f.SetActiveSheet(1)
		require.NoError(t, f.SetSheetVisible("Sheet1", false))
	})
	s, err := Read("t.xlsx", data, Options{})
	require.NoError(t, err)
	require.Equal(t, `XLSX, sheet "Bath" of 3`, s.Format, "the first that is not hidden")
	s, err = Read("t.xlsx", data, Options{Part: "sheet1"})
	require.NoError(t, err)
	require.Len(t, s.Rows, 3)
	require.ErrorContains(t, s.Warnings[0], "hidden")
	_, err = Read("t.xlsx", data, Options{Part: "Trials"})
	require.ErrorContains(t, err, `no sheet "Trials"; it has "Bath", "Notes", "Sheet1"`)
	_, err = Read("t.xlsx", data, Options{Part: "Notes"})
	require.ErrorContains(t, err, "no table")
}

func TestXLSXMergedAndHiddenCells(t *testing.T) {
	s, err := Read("t.xlsx", workbook(t, func(f *excelize.File) {
		require.NoError(t, f.MergeCell("Sheet1", "A2", "A3"))
		require.NoError(t, f.SetRowVisible("Sheet1", 4, false))
	}), Options{})
	require.NoError(t, err)
	require.Equal(t, []string{"A", "A", "C"}, []string{s.Rows[0][0], s.Rows[1][0], s.Rows[2][0]})
	warnings := errors.Join(s.Warnings...).Error()
	require.Contains(t, warnings, "t.xlsx:2: 1 merged blocks")
	require.Contains(t, warnings, "t.xlsx:4: 1 hidden rows")
	for block, want := range map[string]string{"B2:C2": "merged across columns", "A1:B1": "one name per column"} {
		from, to, _ := strings.Cut(block, ":")
		_, err := Read("t.xlsx", workbook(t, func(f *excelize.File) { require.NoError(t, f.MergeCell("Sheet1", from, to)) }), Options{})
		require.ErrorContains(t, err, want)
	}
}

func TestXLSXFormulas(t *testing.T) {
	_, err := Read("t.xlsx", workbook(t, func(f *excelize.File) {
		require.NoError(t, f.SetCellStr("Sheet1", "D1", "remark"))
		require.NoError(t, f.SetCellFormula("Sheet1", "D3", "=B2*2"))
	}), Options{})
	require.ErrorContains(t, err, `t.xlsx:3: column "D"`)
	require.ErrorContains(t, err, "formula without a stored value")

	data := repack(t, workbook(t, nil), "xl/worksheets/sheet1.xml", func(s string) string {
		s = strings.Replace(s, `<c r="B3"><v>6.5</v></c>`, `<c r="B3"><f>B2+2.5</f><v>6.5</v></c>`, 1)
		return strings.Replace(s, `<c r="B4"><v>10</v></c>`, `<c r="B4" t="e"><f>1/0</f><v>#DIV/0!</v></c>`, 1)
	})
	s, err := Read("t.xlsx", data, Options{})
	require.NoError(t, err)
	require.Equal(t, "6.5", s.Rows[1][1], "the value stored with the formula")
	require.Equal(t, "#DIV/0!", s.Rows[2][1])
	require.ErrorContains(t, s.Warnings[0], `t.xlsx:4: column "strength_pct": value "#DIV/0!"`)
}

// repack changes a part of an archive.
func repack(t *testing.T, data []byte, part string, change func(string) string) []byte {
	t.Helper()
	b, err := openBook(data)
	require.NoError(t, err)
	old, err := b.read(part)
	require.NoError(t, err)
	changed := change(string(old))
	require.NotEqual(t, string(old), changed)
	out, err := replacePart(data, part, []byte(changed))
	require.NoError(t, err)
	return out
}

// replacePart copies an archive with one part replaced.
func replacePart(data []byte, part string, content []byte) ([]byte, error) {
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, f := range z.File {
		if f.Name != part {
			if err := w.Copy(f); err != nil {
				return nil, err
			}
			continue
		}
		p, err := w.Create(f.Name)
		if err != nil {
			return nil, err
		}
		if _, err := p.Write(content); err != nil {
			return nil, err
		}
	}
	err = w.Close()
	return out.Bytes(), err
}

func TestXLSXDamage(t *testing.T) {
	good := workbook(t, nil)
	sheet := "xl/worksheets/sheet1.xml"
	for _, c := range []struct {
		name, want string
		data       []byte
	}{
		{"cut off", "cut off", good[:len(good)-200]},
		{"broken XML", "the XML is broken", repack(t, good, sheet, func(s string) string { return s[:len(s)/2] })},
		{"no such text", "refers to a text", repack(t, good, sheet, func(s string) string { return strings.Replace(s, `t="s"><v>3<`, `t="s"><v>999<`, 1) })},
		{"rows out of order", "not in order", repack(t, good, sheet, func(s string) string { return strings.Replace(s, `<row r="3"`, `<row r="1"`, 1) })},
		{"cell elsewhere", "not where it says", repack(t, good, sheet, func(s string) string { return strings.Replace(s, `r="B3"`, `r="B7"`, 1) })},
		{"far column", "at most 2000 columns", repack(t, good, sheet, func(s string) string { return strings.Replace(s, `r="C3"`, `r="XFD3"`, 1) })},
		{"deep", "nested more than 100", repack(t, good, sheet, func(s string) string {
			return strings.Replace(s, "<sheetData>", strings.Repeat("<x>", 200)+strings.Repeat("</x>", 200)+"<sheetData>", 1)
		})},
		{"DOCTYPE", "DOCTYPE", repack(t, good, "xl/sharedStrings.xml", func(s string) string { return `<!DOCTYPE x [<!ENTITY a "b">]>` + s })},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Read("t.xlsx", c.data, Options{})
			require.ErrorContains(t, err, c.want)
			require.ErrorContains(t, err, "t.xlsx")
		})
	}
}

// bomb is an archive whose part unpacks to that many bytes of zeros.
func bomb(t *testing.T, size int, lie uint64) []byte {
	t.Helper()
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, name := range []string{"[Content_Types].xml", "_rels/.rels", "xl/workbook.xml", "xl/worksheets/sheet1.xml"} {
		p, err := w.Create(name)
		require.NoError(t, err)
		if name == "_rels/.rels" {
			block := bytes.Repeat([]byte(" "), 1<<20)
			for range size >> 20 {
				_, err := p.Write(block)
				require.NoError(t, err)
			}
		}
	}
	require.NoError(t, w.Close())
	data := out.Bytes()
	if lie > 0 { // in the directory at the end, "_rels/.rels" follows its 46 byte header
		at := bytes.LastIndex(data, []byte("_rels/.rels")) - 46 + 24
		for k := range 4 {
			data[at+k] = byte(lie >> (8 * k))
		}
	}
	return data
}

// A file of 200 kB that unpacks to 200 MB is refused before it is unpacked, and
// one whose directory lies about it is not unpacked beyond what it states.
func TestXLSXBombsAreRefusedInBoundedMemory(t *testing.T) {
	for _, c := range []struct {
		name, want string
		lie        uint64
	}{{"honest", "unpacks to more than 64 MiB", 0}, {"lying", "_rels/.rels", 1000}} {
		t.Run(c.name, func(t *testing.T) {
			data := bomb(t, 200<<20, c.lie)
			require.Less(t, len(data), 1<<20)
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			_, err := Read("bomb.xlsx", data, Options{})
			runtime.ReadMemStats(&after)
			require.ErrorContains(t, err, c.want)
			require.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(8<<20), "bytes allocated")
		})
	}
}

// Many rows with one cell far out take memory for the way there: they are
// bounded by the number of cells.
func TestXLSXSparseBomb(t *testing.T) {
	var rows strings.Builder
	for i := range 2_100 {
		fmt.Fprintf(&rows, `<row r="%d"><c r="BXX%[1]d"><v>1</v></c></row>`, i+5)
	}
	data := repack(t, workbook(t, nil), "xl/worksheets/sheet1.xml", func(s string) string {
		return strings.Replace(s, "</sheetData>", rows.String()+"</sheetData>", 1)
	})
	_, err := Read("t.xlsx", data, Options{})
	require.ErrorContains(t, err, "more than 4000000 cells")
}
