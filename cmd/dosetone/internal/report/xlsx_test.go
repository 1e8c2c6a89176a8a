package report

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"
)

// Names come from files of others: none becomes a formula, neither here nor
// when the sheet is saved as CSV, and numbers stay numbers.
func TestXLSXKeepsNumbersAndNeutralizesText(t *testing.T) {
	hostile := []string{`=HYPERLINK("http://example.org","x")`, "+1+1", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "=cmd|' /C calc'!A0"}
	half := 0.5
	rows := [][]any{{"lot", "a", "b", "n", "ok"}}
	for _, h := range hostile {
		rows = append(rows, []any{h, -3.25, &half, 7, true})
	}
	rows = append(rows, []any{"plain", -1e-9, (*float64)(nil), nil, false})
	var b bytes.Buffer
	require.NoError(t, XLSX(&b, "results", rows))
	f, err := excelize.OpenReader(&b, excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	defer f.Close()
	got, err := f.GetRows("results")
	require.NoError(t, err)
	require.Equal(t, []string{"lot", "a", "b", "n", "ok"}, got[0])
	for i, h := range hostile {
		cell := "A" + string(rune('2'+i))
		formula, err := f.GetCellFormula("results", cell)
		require.NoError(t, err)
		require.Empty(t, formula)
		kind, err := f.GetCellType("results", cell)
		require.NoError(t, err)
		require.Contains(t, []excelize.CellType{excelize.CellTypeInlineString, excelize.CellTypeSharedString}, kind)
		require.Equal(t, "'"+h, got[i+1][0])
		require.Equal(t, "-3.25", got[i+1][1])
		kind, err = f.GetCellType("results", "B"+string(rune('2'+i)))
		require.NoError(t, err)
		require.NotContains(t, []excelize.CellType{excelize.CellTypeInlineString, excelize.CellTypeSharedString}, kind, "a negative number is no text")
		require.Equal(t, "0.5", got[i+1][2])
	}
	last := got[len(got)-1]
	require.Equal(t, "plain", last[0])
	require.Equal(t, "", last[2])
}

func TestXLSXIsDeterministic(t *testing.T) {
	write := func() []byte {
		var b bytes.Buffer
		require.NoError(t, XLSX(&b, "results", [][]any{{"a", "b"}, {"x", 1.5}}))
		return b.Bytes()
	}
	require.Equal(t, write(), write())
}

func TestXLSXRefusesWhatASheetCannotHold(t *testing.T) {
	for _, v := range []any{math.NaN(), math.Inf(1), strings.Repeat("x", 40_000)} {
		var b bytes.Buffer
		require.ErrorContains(t, XLSX(&b, "results", [][]any{{"a"}, {v}}), "row 2, column 1")
		require.Zero(t, b.Len())
	}
}
