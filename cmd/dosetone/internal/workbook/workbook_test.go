package workbook

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"
)

// Another program's reader, excelize, finds all that was written.
func TestAnotherReaderFindsEverything(t *testing.T) {
	b := New()
	s := b.Sheet("lots")
	s.FreezeRows, s.FreezeColumns, s.Landscape = 1, 2, true
	s.Column(1, 12, Style{Format: "@"})
	s.Column(3, 9.5, Style{})
	set := func(row, column int, v any, style Style) {
		t.Helper()
		require.NoError(t, s.Set(row, column, v, style))
	}
	set(1, 1, "lot", Style{Bold: true, Ruled: true})
	set(1, 28, "far", Style{Right: true})
	set(2, 1, ` a <b> & "c" `, Style{})
	tenth := 0.1
	set(2, 2, tenth+0.2, Style{Format: "0.00"})
	set(2, 3, -7, Style{})
	set(2, 4, true, Style{})
	set(2, 5, nil, Style{Faint: true})
	set(4, 1, "=1+1", Style{Wrap: true})
	s.Note(1, 1, "name of the load; \"any\" & all")
	s.Note(1, 28, "far")
	require.NoError(t, s.List(2, 3, 2000, "role", []string{"base", "trial"}))
	s.Numbers(3, 3, 2000, "ratio", -1.5)
	other := b.Sheet("columns & more")
	require.NoError(t, other.Set(1, 1, "x", Style{}))
	var out bytes.Buffer
	require.NoError(t, b.Write(&out))

	f, err := excelize.OpenReader(bytes.NewReader(out.Bytes()))
	require.NoError(t, err)
	defer f.Close()
	require.Equal(t, []string{"lots", "columns & more"}, f.GetSheetList())
	rows, err := f.GetRows("lots", excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	require.Equal(t, "lot", rows[0][0])
	require.Equal(t, "far", rows[0][27])
	require.Equal(t, []string{` a <b> & "c" `, "0.30000000000000004", "-7", "1"}, rows[1])
	require.Empty(t, rows[2])
	require.Equal(t, "=1+1", rows[3][0])
	formula, err := f.GetCellFormula("lots", "A4")
	require.NoError(t, err)
	require.Empty(t, formula)
	shown, err := f.GetCellValue("lots", "B2")
	require.NoError(t, err)
	require.Equal(t, "0.30", shown)
	id, err := f.GetCellStyle("lots", "A1")
	require.NoError(t, err)
	style, err := f.GetStyle(id)
	require.NoError(t, err)
	require.True(t, style.Font.Bold)
	width, err := f.GetColWidth("lots", "C")
	require.NoError(t, err)
	require.Equal(t, 9.5, width)
	notes, err := f.GetComments("lots")
	require.NoError(t, err)
	require.Len(t, notes, 2)
	require.Equal(t, "AB1", notes[1].Cell)
	require.Contains(t, notes[0].Text, `"any" & all`)
	checks, err := f.GetDataValidations("lots")
	require.NoError(t, err)
	require.Len(t, checks, 2)
	require.Equal(t, "B3:B2000", checks[0].Sqref)
	require.Contains(t, checks[0].Formula1, "base,trial")
	require.Equal(t, "-1.5", checks[1].Formula1)
	panes, err := f.GetPanes("lots")
	require.NoError(t, err)
	require.Equal(t, []any{true, 2, 1, "C2", "bottomRight"}, []any{panes.Freeze, panes.XSplit, panes.YSplit, panes.TopLeftCell, panes.ActivePane})

	var again bytes.Buffer
	require.NoError(t, b.Write(&again))
	require.Equal(t, out.Bytes(), again.Bytes())
}

func TestCellsThatCannotBe(t *testing.T) {
	s := New().Sheet("s")
	for _, v := range []any{math.NaN(), math.Inf(-1), strings.Repeat("x", MaxText+1), []int{1}} {
		require.ErrorContains(t, s.Set(3, 2, v, Style{}), "row 3, column 2")
	}
	require.Empty(t, s.rows)
	require.Error(t, s.List(1, 1, 2, "x", []string{strings.Repeat("x", 300)}))
	require.Error(t, s.List(1, 1, 2, "x", []string{"a,b"}))
}

// Characters that XML cannot hold do not break the file.
func TestControlCharacters(t *testing.T) {
	b := New()
	require.NoError(t, b.Sheet("s").Set(1, 1, "a\x00\x08\xff\nb", Style{}))
	var out bytes.Buffer
	require.NoError(t, b.Write(&out))
	f, err := excelize.OpenReader(&out)
	require.NoError(t, err)
	defer f.Close()
	v, err := f.GetCellValue("s", "A1")
	require.NoError(t, err)
	require.Equal(t, "a\ufffd\ufffd\ufffd\nb", v)
}
