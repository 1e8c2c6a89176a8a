package tables

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/tabletest"
)

// turned exchanges rows and columns.
func turned(rows [][]string) [][]string {
	out := make([][]string, len(rows[0]))
	for j := range out {
		for _, row := range rows {
			out[j] = append(out[j], row[j])
		}
	}
	return out
}

func csvOf(t *testing.T, rows [][]string) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, csv.NewWriter(&b).WriteAll(rows))
	return b.Bytes()
}

// A table with one column per reading is the same table.
func TestWideTablesGiveTheSameRows(t *testing.T) {
	want, err := Read("trials.csv", demo.PelletTrials(), Options{})
	require.NoError(t, err)
	table, err := discharge.FromSheet(want, nil)
	require.NoError(t, err)
	rows, err := tabletest.Rows(demo.PelletTrials())
	require.NoError(t, err)
	book, err := tabletest.XLSX(turned(rows))
	require.NoError(t, err)
	for name, data := range map[string][]byte{"wide.csv": csvOf(t, turned(rows)), "wide.xlsx": book, "comma.csv": tabletest.DecimalComma(turned(rows))} {
		s, err := Read(name, data, Options{Wide: true})
		require.NoError(t, err, name)
		require.Contains(t, s.Format, "each column a reading")
		got, err := discharge.FromSheet(s, nil)
		require.NoError(t, err, name)
		require.Len(t, got.Lots, len(table.Lots))
		for i, lot := range got.Lots {
			require.Equal(t, table.Lots[i].Settings, lot.Settings)
			for k, p := range lot.Panels {
				for n, r := range p.Readings {
					require.Equal(t, table.Lots[i].Panels[k].Readings[n].Spectrum, r.Spectrum)
				}
			}
		}
	}
}

const wide = "sample,T1/1,T1/2,std\nlot,T1,T1,S\nrole,production,production,standard\nilluminant,D65,D65,D65\nobserver,10,10,10\nL,40,41,42\na,-1,-1,-1\nb,-9,-9,-9\n"

func TestWideFaultsNameTheOriginalPlace(t *testing.T) {
	for _, c := range []struct {
		name, text string
		want       []string
	}{
		{"value", strings.Replace(wide, "L,40,41,42", "L,40,41x,42", 1), []string{`w.csv: column 3 (C): row "L": value "41x"`}},
		{"mistyped row", strings.Replace(wide, "role,", "rol,", 1), []string{`w.csv: column 1 (A): row "role"`, `is it "rol"`, "each column a reading"}},
		{"twice", strings.Replace(wide, "a,-1", "L,-1", 1), []string{`w.csv:7: value "L"`, "line 6"}},
		{"no row name", strings.Replace(wide, "a,-1", ",-1", 1), []string{`w.csv:7: column "B"`, "no name in its first column"}},
		{"no reading name", strings.Replace(wide, "T1/2", "", 1), []string{`w.csv:2: column "C"`, "no name in line 1"}},
		{"contradiction", strings.Replace(wide, "lot,T1,T1,S", "lot,T1,T1,S\nfabric,x,y,", 1), []string{`w.csv: column 3 (C): row "fabric"`, "in column 2 (B)"}},
		{"not wide", "p,q\nr,1\ns,2\n", []string{"w.csv:1", "names its rows in the first column"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := Read("w.csv", []byte(c.text), Options{Wide: true})
			if err == nil {
				_, err = discharge.FromSheet(s, nil)
			}
			require.Error(t, err)
			for _, w := range c.want {
				require.ErrorContains(t, err, w)
			}
		})
	}
}

func TestWideLeavesATidyTableAlone(t *testing.T) {
	s, err := Read("t.csv", []byte("id,L,a,b\nx,1,2,3\n"), Options{Wide: true})
	require.NoError(t, err)
	require.Equal(t, []string{"id", "L", "a", "b"}, s.Header)
	require.ErrorContains(t, s.Warnings[0], "not turned")
}
