package report

import (
	"bytes"
	"encoding/csv"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestTableAlignsWhatATerminalShows(t *testing.T) {
	table := Table{Header: []string{"id", "", "ΔE00"}, Units: []string{"", "", "1"}, Left: []bool{true}}
	table.Add("a", "", "0.25")
	table.Add("\x1b[48;2;1;2;3m  \x1b[0m", "", "12.00")
	require.Equal(t, "  id   ΔE00\n          1\n  a    0.25\n  \x1b[48;2;1;2;3m  \x1b[0m  12.00\n", table.String())
}

func TestTableKeepsARowOnItsLine(t *testing.T) {
	table := Table{Header: []string{"id", "L*"}, Left: []bool{true}}
	table.Add("S1\r\nsecond\tline", "50")
	require.Equal(t, "  id              L*\n  S1 second line  50\n", table.String())
	require.Equal(t, "S1\r\nsecond\tline", table.Rows[0][0], "the table stays as it is")
}

func TestWrapKeepsEveryWordAndTheWidth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfN(rapid.StringMatching(`[a-zµ°]{1,9}`), 1, 30).Draw(t, "words")
		got := Wrap(strings.Join(words, " "), "- ", "  ", 24)
		require.Equal(t, words, strings.Fields(strings.TrimPrefix(got, "- ")))
		for line := range strings.Lines(got) {
			require.LessOrEqual(t, width(strings.TrimSuffix(line, "\n")), 24)
		}
	})
}

// NIST Special Publication 811 (2008), 7.2: between a number and its unit
// stands a space, and both belong together.
func TestWrapKeepsANumberWithItsUnit(t *testing.T) {
	require.Equal(t, "holds\n42 % of\n3 lots\n", Wrap("holds 42 % of 3 lots", "", "", 9))
}

func TestNumbers(t *testing.T) {
	require.Equal(t, "47.1 ± 2.3", PlusMinus(47.12, 2.34))
	require.Equal(t, "47.12 ± 0.23", PlusMinus(47.123, 0.234))
	require.Equal(t, "0.00", Fixed(-0.001, 2))
	require.Equal(t, "12.5", Short(12.5, 3))
	require.Equal(t, "1500", Short(1500.2, 3))
	require.Equal(t, "0", Short(0, 3))
	require.Equal(t, "> 99 %", Percent(0.9999))
	require.Equal(t, "< 1 %", Percent(0.001))
	require.Equal(t, "100 %", Percent(1))
	require.Equal(t, "71 %", Percent(0.71))
}

func TestExactGivesTheNumberBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64().Draw(t, "v")
		got, err := strconv.ParseFloat(Exact(v), 64)
		require.NoError(t, err)
		require.Equal(t, v, got)
	})
}

func TestCSVNeutralizesFormulasInTextOnly(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, CSV(&b, [][]any{{"id", "a"}, {"=1+1", -3.5}, {"@x", nil}, {"a,b", true}, {"#1", 2}}))
	require.Contains(t, b.String(), "\n\"#1\",2\n", "else its readers take the row for a comment")
	rows, err := csv.NewReader(&b).ReadAll()
	require.NoError(t, err)
	require.Equal(t, [][]string{{"id", "a"}, {"'=1+1", "-3.5"}, {"'@x", ""}, {"a,b", "true"}, {"#1", "2"}}, rows)
}

func TestJSONRefusesNaN(t *testing.T) {
	var b bytes.Buffer
	require.Error(t, JSON(&b, map[string]float64{"x": math.NaN()}))
	require.Error(t, JSON(&b, map[string]float64{"x": math.Inf(1)}))
}
