package tables

import (
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"example.com/dosetone/discharge"
)

// Each limit is told with what to do, before the memory is full.
func TestLimits(t *testing.T) {
	object := func(values string) string {
		return `<CxF xmlns="` + cxfNamespace + `"><Object Name="x"><ColorValues>` + values + `</ColorValues></Object></CxF>`
	}
	long := strings.Repeat("x", discharge.MaxCellBytes+1)
	for _, c := range []struct{ name, text, want string }{
		{"sets", "CGATS.17\nBEGIN_DATA_FORMAT\nID L\nEND_DATA_FORMAT\nBEGIN_DATA\n" + strings.Repeat("1 2\n", discharge.MaxRows+1) + "END_DATA\n", "more than 200000 sets: split the file"},
		{"values of sets", "CGATS.17\nBEGIN_DATA_FORMAT\n" + strings.Repeat("F ", 1999) + "L\nEND_DATA_FORMAT\nBEGIN_DATA\n" + strings.Repeat(strings.Repeat("1 ", 2000)+"\n", 2001) + "END_DATA\n", "more than 4000000 values"},
		{"long value", strings.Replace(cgatsLab, "three", long, 1), "at most 1000 are read"},
		{"objects", `<CxF xmlns="` + cxfNamespace + `">` + strings.Repeat("<Object/>", discharge.MaxRows+1) + "</CxF>", "more than 200000 objects: split the file"},
		{"bands", object("<ReflectanceSpectrum>" + strings.Repeat("0.1 ", discharge.MaxColumns+1) + "</ReflectanceSpectrum>"), "at most 2000 are read"},
		{"points", object("<CustomSpectrum>" + strings.Repeat(`<P WL="400">1</P>`, discharge.MaxColumns+1) + "</CustomSpectrum>"), "more than 2000 points"},
		{"tags", object("<L>1</L>" + strings.Repeat(`<Tag Name="a" Value="b"/>`, discharge.MaxColumns+1)), "more than 2000 tags"},
		{"long tag", strings.Replace(document(), "alder", long, 1), "at most 1000 are read"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := Read("t.x", []byte(c.text), Options{})
			if err == nil {
				_, err = discharge.SamplesFromSheet(s, &discharge.ReadOptions{Viewing: d65()})
			}
			require.ErrorContains(t, err, c.want)
			require.ErrorContains(t, err, "t.x:")
		})
	}
	_, err := Read("t.xlsx", workbook(t, func(f *excelize.File) { set(t, f, "A3", long, "") }), Options{})
	require.NoError(t, err, "the sheet itself may hold it")
	many := map[string]string{}
	for i := range maxParts + 1 {
		many[fmt.Sprintf("p%d", i)] = ""
	}
	_, err = Read("t.xlsx", zipOf(t, many), Options{})
	require.ErrorContains(t, err, "an archive of 5001 parts")
	x := newXMLReader(strings.NewReader("<a>" + strings.Repeat("<b/>", 20) + "</a>"))
	x.most = 10
	for err = nil; err == nil; {
		_, err = x.next()
	}
	require.NotErrorIs(t, err, io.EOF)
	require.ErrorContains(t, err, "more than 10 elements")
}

// A number typed as text in a decimal-comma country is told as what it is.
func TestXLSXNumbersAsText(t *testing.T) {
	f := excelize.NewFile()
	defer f.Close()
	require.NoError(t, f.SetSheetRow("Sheet1", "A1", &[]any{"id", "L", "a", "b"}))
	require.NoError(t, f.SetSheetRow("Sheet1", "A2", &[]any{"x", "50,5", 1, 2}))
	b, err := f.WriteToBuffer()
	require.NoError(t, err)
	s, err := Read("t.xlsx", b.Bytes(), Options{})
	require.NoError(t, err)
	_, err = discharge.SamplesFromSheet(s, &discharge.ReadOptions{Viewing: d65()})
	require.ErrorContains(t, err, `t.xlsx:2: column "L": value "50,5"`)
	require.ErrorContains(t, err, "enter it as a number")
}
