package tables

import (
	"bytes"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/tabletest"
)

// whole checks what every reader promises: a sheet that holds together, or an
// error that names the file. What is made of the sheet must not fail either.
func whole(t *testing.T, name string, data []byte, opt Options) {
	s, err := Read(name, data, opt)
	if err != nil {
		require.Contains(t, err.Error(), name)
		return
	}
	require.Equal(t, len(s.Rows), len(s.Lines))
	require.LessOrEqual(t, len(s.Header), discharge.MaxColumns)
	require.NotEmpty(t, s.Format)
	for _, w := range s.Warnings {
		require.Contains(t, w.Error(), name)
		require.True(t, utf8.ValidString(w.Error()) || !utf8.Valid(data))
	}
	for i := range s.Rows {
		require.NotZero(t, s.Lines[i])
	}
	if samples, err := discharge.SamplesFromSheet(s, &discharge.ReadOptions{Viewing: d65()}); err == nil {
		require.NotEmpty(t, samples.Items)
	}
	_, _ = discharge.FromSheet(s, nil)
	_, _ = s.WithLots(s)
	if under, err := s.UnderCondition("SCE"); err == nil {
		require.Equal(t, len(under.Rows), len(under.Lines))
	}
}

func small(t testing.TB) [][]string {
	rows, err := tabletest.Rows([]byte("lot,role,process,strength_pct,ratio,time_min,panel,R400,R410\nT1,trial,permanganate-pellet,4,1,10,1,0.1,0.2\nT2,trial,permanganate-pellet,6,1,10,1,0.3,0.1\n"))
	require.NoError(t, err)
	return rows
}

func FuzzCGATS(f *testing.F) {
	for _, s := range []string{cgatsLab, twoTables, string(tabletest.CGATS(small(f))), spectral(func(string) string { return "SPECTRAL_NM SPECTRAL_PCT" }, "NM 25", ""),
		"CGATS.17\nBEGIN_DATA_FORMAT\n\"\" \"\"\nEND_DATA_FORMAT\nBEGIN_DATA\n\"\" #\n\t\t\nEND_DATA\n"} {
		f.Add([]byte(s), "")
	}
	f.Add([]byte(twoTables), "3")
	f.Fuzz(func(t *testing.T, data []byte, part string) {
		if s, err := readCGATS("f.txt", data, part); err == nil {
			for _, row := range s.Rows {
				require.Len(t, row, len(s.Header))
			}
		}
		whole(t, "f.txt", data, Options{Part: part})
	})
}

func FuzzCxF(f *testing.F) {
	for _, s := range []string{document(), prefixed(document()), string(tabletest.CxF(small(f))), `<CxF xmlns="` + cxfNamespace + `"><Object><CustomSpectrum><p WL="400" Value="1"/></CustomSpectrum></Object></CxF>`} {
		f.Add([]byte(s), "")
	}
	f.Add([]byte(document()), "T")
	f.Add([]byte(measured([][]string{{"SCE", "SCI"}, {"SCI"}}, spec("SCE", "<Sphere><Specular>excluded</Specular></Sphere>")+spec("SCI", ""))), "")
	f.Fuzz(func(t *testing.T, data []byte, part string) {
		whole(t, "f.cxf", data, Options{Part: part})
		whole(t, "f.cxf", data, Options{Condition: "SCE"})
	})
}

// FuzzXLSX changes the parts of a workbook, since changes of the archive's
// bytes break little but its checksums; the archive itself is changed too.
func FuzzXLSX(f *testing.F) {
	file := excelize.NewFile()
	defer file.Close()
	for i, row := range [][]any{{"id", "strength_pct", "R400"}, {"A", 4, 0.25}, {"B", 6.5, 0.35}} {
		at, _ := excelize.CoordinatesToCellName(1, i+1)
		require.NoError(f, file.SetSheetRow("Sheet1", at, &row))
	}
	b, err := file.WriteToBuffer()
	require.NoError(f, err)
	book := b.Bytes()
	sheet := `<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData><row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="inlineStr"><is><t>L</t></is></c></row>` +
		`<row r="2" hidden="1"><c r="A2" t="str"><f>1</f><v>x</v></c><c r="B2" s="1"><v>0.35</v></c></row></sheetData><mergeCells><mergeCell ref="A2:A3"/></mergeCells></worksheet>`
	f.Add([]byte(sheet), byte(0), "")
	f.Add([]byte(`<styleSheet><numFmts><numFmt numFmtId="164" formatCode="yyyy"/></numFmts><cellXfs><xf numFmtId="164"/><xf numFmtId="9"/></cellXfs></styleSheet>`), byte(1), "Sheet1")
	f.Add([]byte(`<sst><si><t>id</t></si><si><r><t>a</t></r><rPh><t>b</t></rPh></si></sst>`), byte(2), "")
	f.Add([]byte(`<workbook xmlns:r="r"><workbookPr date1904="1"/><sheets><sheet name="Sheet1" r:id="rId1" state="hidden"/></sheets></workbook>`), byte(3), "")
	f.Add(book, byte(4), "")
	parts := []string{"xl/worksheets/sheet1.xml", "xl/styles.xml", "xl/sharedStrings.xml", "xl/workbook.xml"}
	f.Fuzz(func(t *testing.T, data []byte, which byte, part string) {
		if int(which) < len(parts) {
			z, err := replacePart(book, parts[which], data)
			require.NoError(t, err)
			data = z
		} else if !bytes.HasPrefix(data, []byte("PK")) {
			return
		}
		whole(t, "f.xlsx", data, Options{Part: part})
	})
}

func FuzzWide(f *testing.F) {
	f.Add([]byte(wide))
	f.Add([]byte("nm;a;b\n400;0,1;0,2\n410;0,1;0,3\n"))
	f.Add([]byte("lot,a,\nR400,1,2\n,,\nx,1\n"))
	f.Add([]byte(cgatsLab))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := Read("f.csv", data, Options{Wide: true})
		if err == nil && s.HeaderLine < 0 {
			for i, row := range s.Rows {
				require.Len(t, row, len(s.Header))
				require.Less(t, s.Lines[i], -1)
			}
		}
		whole(t, "f.csv", data, Options{Wide: true})
	})
}
