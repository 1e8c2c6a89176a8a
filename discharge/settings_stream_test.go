package discharge

import (
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func streamed(t *testing.T, text string, p Process) (all []SettingsRow, pieces int, err error) {
	t.Helper()
	s := NewSettingsStream("s.csv", iotest.HalfReader(strings.NewReader(text)), p)
	for {
		piece, err := s.Next()
		if err == io.EOF {
			return all, pieces, nil
		}
		if err != nil {
			return all, pieces, err
		}
		pieces++
		list, err := piece.Parse()
		if err != nil {
			return all, pieces, err
		}
		all = append(all, list.Items...)
	}
}

// A stream reads what ReadSettings reads, in any dialect, and numbers the rows
// as it does.
func TestSettingsStreamReadsWhatReadSettingsReads(t *testing.T) {
	p, err := LookupProcess("permanganate-pellet")
	require.NoError(t, err)
	const rows = 15_000
	for _, c := range []struct{ start, header, row string }{
		{"# a note\n\n", "id,strength_pct,ratio,time_min\n", "lot %d,%d.5,1.25,12\n"},
		{"\ufeffsep=;\r\n", "id;strength_pct;ratio;time_min\r\n", "\"lot\n%d\";%d,5;1,25;12\r\n"},
		{"# 3/8\" pellets\r", "id,strength_pct,ratio,time_min\r", "lot %d,%d.5,1.25,12\r# 1\" more\r"},
		{"", "id,strength_pct,ratio,time_min,\"a\nnote\"\n", "lot %d,%d.5,1.25,12,\n"},
		{"", "note\tid\trole\tstrength_pct\tratio\ttime_min\n", "x\tlot %d\ttrial\t%d.5\t1.25\t12\n\t\tbase\t\t\t\n"},
	} {
		var b strings.Builder
		b.WriteString(c.start + c.header)
		for i := range rows {
			fmt.Fprintf(&b, c.row, i, 3+i%5)
		}
		want, err := ReadSettings("s.csv", strings.NewReader(b.String()), p)
		require.NoError(t, err)
		got, pieces, err := streamed(t, b.String(), p)
		require.NoError(t, err)
		require.Greater(t, pieces, 1)
		require.Equal(t, want.Items, got)
	}
}

func TestSettingsStreamPlacesFaults(t *testing.T) {
	p, err := LookupProcess("permanganate-pellet")
	require.NoError(t, err)
	good := "# note\nid,strength_pct,ratio,time_min\n" + strings.Repeat("a,5,1.2,10\n", 12_000)
	for _, c := range []struct {
		text, column string
		row          int
	}{
		{good + "b,5,x,10\n", "ratio", 12_003},
		{good + "b,-5,1,10\n" + strings.Repeat("a,5,1.2,10\n", 5), "strength_pct", 12_003},
		{good + "b,5,1\n", "", 12_003},
		{"# note\nid,strenght_pct\na,5\n", "", 2},
		{"# note\n\n", "", 2},
		{"# note\nid,strength_pct,ratio,time_min\n", "", 2},
		{"id,strength_pct,ratio,time_min,\"a\nnote\"\nb,5,x,10,\n", "ratio", 3},
		{"sep=,", "", 1},
		{"id,strength_pct,ratio,time_min", "", 1},
		{"id,strength_pct,ratio,time_min\n\n# none\n", "", 1},
		{"\n# one column\nid", "", 3},
		{"", "", 0},
	} {
		_, _, err := streamed(t, c.text, p)
		var fault *RowError
		require.ErrorAs(t, err, &fault)
		assert.Equal(t, c.row, fault.Row, fault)
		assert.Equal(t, c.column, fault.Column, fault)
		assert.Equal(t, "s.csv", fault.File)
	}
	_, _, err = streamed(t, good+"\""+strings.Repeat("never closed\n", maxLine/10), p)
	require.ErrorContains(t, err, "quote")
	s := NewSettingsStream("s.csv", io.MultiReader(strings.NewReader(good), iotest.ErrReader(io.ErrUnexpectedEOF)), p)
	for err = nil; err == nil; {
		_, err = s.Next()
	}
	require.ErrorIs(t, err, io.ErrUnexpectedEOF)
}
