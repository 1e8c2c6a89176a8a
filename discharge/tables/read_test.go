package tables

import (
	"archive/zip"
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
)

func d65() colorimetry.Viewing {
	return colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}
}

func zipOf(t *testing.T, parts map[string]string) []byte {
	t.Helper()
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for name, text := range parts {
		p, err := w.Create(name)
		require.NoError(t, err)
		_, err = p.Write([]byte(text))
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	return b.Bytes()
}

// Files that are no table say what they are and what to do.
func TestOtherFilesAreRefusedWithARemedy(t *testing.T) {
	ods := zipOf(t, map[string]string{"mimetype": "application/vnd.oasis.opendocument.spreadsheet", "content.xml": "<x/>"})
	for _, c := range []struct{ data, want string }{
		{"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "save it as .xlsx"},
		{"%PDF-1.7", "PDF"},
		{"\x89PNG\r\n", "convert reads images"},
		{"\xff\xd8\xff\xe0", "convert reads images"},
		{"\x1f\x8b\x08", "unpack it"},
		{`{\rtf1`, "RTF"},
		{"\xff\xfei\x00d\x00", "UTF-16"},
		{"\xfe\xff\x00i\x00d", "UTF-16"},
		{"i\x00d\x00,\x00", "UTF-16"},
		{`{"schema": 1}`, "model file"},
		{"<html><table></table></html>", "HTML"},
		{`<?xml version="1.0"?><Workbook xmlns="urn:schemas-microsoft-com:office:spreadsheet"/>`, "XML spreadsheet of 2003"},
		{`<?xml version="1.0"?><data/>`, "root element data"},
		{`<CxF xmlns="http://example.org/CxF2"/>`, "another version"},
		{string(ods), "OpenDocument"},
		{string(zipOf(t, map[string]string{"a.csv": "x"})), "an archive"},
		{string(zipOf(t, map[string]string{"xl/workbook.bin": "x"})), ".xlsb"},
		{"", "empty"},
		{"  \n", "empty"},
		{"CGATS.17\nORIGINATOR \"x\"\n", "BEGIN_DATA"},
	} {
		for _, name := range []string{"t.csv", "t.xlsx", "t"} {
			_, err := Read(name, []byte(c.data), Options{})
			require.ErrorContains(t, err, c.want, "%.20q", c.data)
			require.ErrorContains(t, err, name+":", "%.20q", c.data)
		}
	}
	_, err := Read("big.csv", make([]byte, discharge.MaxFileBytes+1), Options{})
	require.ErrorContains(t, err, "larger than 64 MiB")
}

// What a file is follows from its content, and a wrong ending is told.
func TestWrongEndingsAreTold(t *testing.T) {
	book := workbook(t, nil)
	for _, c := range []struct {
		name string
		data []byte
		want string
	}{
		{"t.csv", book, `the file is XLSX in spite of its ending .csv, and was read as XLSX, sheet "Sheet1"`},
		{"t.xlsx", []byte("id,L,a,b\nx,1,2,3\n"), "the file is CSV in spite of its ending .xlsx"},
		{"t.CXF", []byte("id;L;a;b\nx;1;2;3\n"), "was read as CSV separated by semicolon"},
		{"t.csv", []byte("CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID L\nEND_DATA_FORMAT\nBEGIN_DATA\n1 2\nEND_DATA\n"), "the file is CGATS"},
	} {
		s, err := Read(c.name, c.data, Options{})
		require.NoError(t, err, c.name)
		require.ErrorContains(t, s.Warnings[0], c.want)
	}
	for _, name := range []string{"t.txt", "t", "stdin"} {
		s, err := Read(name, book, Options{})
		require.NoError(t, err)
		require.Empty(t, s.Warnings)
	}
}

// A mistyped column is met with the nearest name in every format.
func TestMistypedColumnsInEveryFormat(t *testing.T) {
	text := bytes.Replace(demo.PelletTrials(), []byte(",process,"), []byte(",proces,"), 1)
	text = bytes.Replace(text, []byte(",strength_pct,"), []byte(",strenght_pct,"), 1)
	for name, data := range inFormats(t, text) {
		s, err := Read(name, data, Options{})
		require.NoError(t, err, name)
		_, err = discharge.FromSheet(s, nil)
		require.ErrorContains(t, err, "is it", name)
		require.Contains(t, strings.ToLower(err.Error()), `is it "proces"`, name)
		for j, h := range s.Header {
			if strings.EqualFold(h, "PROCES") {
				s.Header[j] = "process"
			}
		}
		_, err = discharge.FromSheet(s, nil)
		require.Error(t, err, name)
		require.Contains(t, strings.ToLower(err.Error()), `is it "strenght_pct"`, name)
	}
}
