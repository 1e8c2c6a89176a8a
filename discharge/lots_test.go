package discharge

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func sheetOf(t *testing.T, name, text string) *Sheet {
	t.Helper()
	s, err := ReadCSV(name, strings.NewReader(text))
	require.NoError(t, err)
	return s
}

const (
	lotList = "lot;role;process;strength_pct;ratio;time_min;remark\n" +
		"BASE;base;;;;;\nT1;trial;permanganate-pellet;4,5;1,5;10;\nT1-2;trial;permanganate-pellet;6;1,5;12;late\n"
	export = "id,illuminant,observer,L,a,b\nBASE/1,D65,10,20.5,0,-9\nBASE/2,D65,10,20.7,0,-9\nT1/1/a,D65,10,40,-2,-9\nT1/1/b,D65,10,41,-2,-9\nT1-2/1,D65,10,44,-2,-9\nT1-2,D65,10,45,-2,-9\n"
)

// An instrument's export and the chemist's list make one table, each in its
// own dialect.
func TestWithLotsJoinsByTheSamplesNames(t *testing.T) {
	readings, list := sheetOf(t, "export.csv", export), sheetOf(t, "lots.csv", lotList)
	before := len(readings.Header)
	s, err := readings.WithLots(list)
	require.NoError(t, err)
	require.Len(t, readings.Header, before)
	table, err := FromSheet(s, nil)
	require.NoError(t, err)
	require.Len(t, table.Lots, 3)
	require.Equal(t, Base, table.Lots[0].Role)
	require.Len(t, table.Lots[0].Panels, 2)
	require.Equal(t, Settings{"strength_pct": 4.5, "ratio": 1.5, "time_min": 10}, table.Lots[1].Settings)
	require.Len(t, table.Lots[1].Panels, 1)
	require.Equal(t, "b", table.Lots[1].Panels[0].Readings[1].Position)
	require.Equal(t, "T1-2", table.Lots[2].ID)
	require.Equal(t, "1", table.Lots[2].Panels[0].ID)
	require.Equal(t, "permanganate-pellet", table.Lots[2].Process)
}

// The same table in one file is the same table in two.
func TestWithLotsGivesTheSameDigestAsOneFile(t *testing.T) {
	joined, err := sheetOf(t, "export.csv", export).WithLots(sheetOf(t, "lots.csv", lotList))
	require.NoError(t, err)
	two, err := FromSheet(joined, nil)
	require.NoError(t, err)
	one, err := ReadTable("one.csv", strings.NewReader("lot,role,process,strength_pct,ratio,time_min,panel,position,illuminant,observer,L,a,b\n"+
		"BASE,base,,,,,1,,D65,10,20.5,0,-9\nBASE,base,,,,,2,,D65,10,20.7,0,-9\n"+
		"T1,trial,permanganate-pellet,4.5,1.5,10,1,a,D65,10,40,-2,-9\nT1,trial,permanganate-pellet,4.5,1.5,10,1,b,D65,10,41,-2,-9\n"+
		"T1-2,trial,permanganate-pellet,6,1.5,12,1,,D65,10,44,-2,-9\nT1-2,trial,permanganate-pellet,6,1.5,12,,,D65,10,45,-2,-9\n"), nil)
	require.NoError(t, err)
	require.Equal(t, digestOf(one), digestOf(two))
}

func TestWithLotsByRunningNumber(t *testing.T) {
	readings := sheetOf(t, "export.csv", "id,illuminant,observer,L,a,b\n0001,D65,10,40,-2,-9\n0002,D65,10,41,-2,-9\n")
	s, err := readings.WithLots(sheetOf(t, "lots.csv", "id,lot,role,panel\n0001,STD,standard,1\n0002,STD,standard,2\n"))
	require.NoError(t, err)
	table, err := FromSheet(s, nil)
	require.NoError(t, err)
	require.Len(t, table.Lots, 1)
	require.Len(t, table.Lots[0].Panels, 2)
}

// Each fault names the file, the line and the column where it stands.
func TestWithLotsFaults(t *testing.T) {
	for _, c := range []struct {
		name, export, list string
		want               []string
	}{
		{"unknown lot", strings.ReplaceAll(export, "T1-2/1", "T3/1"), lotList, []string{"export.csv:6", "T3/1", "lots.csv"}},
		{"near lot", strings.ReplaceAll(export, "BASE/1", "BAES"), lotList, []string{"export.csv:2", `did you mean "BASE"`}},
		{"too many parts", strings.ReplaceAll(export, "T1/1/a", "T1/1/a/b"), lotList, []string{"export.csv:4", "lot/panel/position"}},
		{"lot twice", export, lotList + "T1;trial;;;;;\n", []string{"lots.csv:5", "line 3"}},
		{"no lot column", export, strings.ReplaceAll(lotList, "lot;", "load;"), []string{"lots.csv:1", `"lot"`}},
		{"readings in the list", export, "lot,role,L,a,b\nBASE,base,1,2,3\n", []string{"lots.csv:1", "no readings"}},
		{"no name", "sample,L,a,b\nBASE,1,2,3\n", lotList, []string{"export.csv:1", "matched"}},
		{"contradiction", "lot,role,illuminant,observer,ratio,L,a,b\nT1,trial,D65,10,2,40,-2,-9\n", lotList, []string{"export.csv:2", `"ratio"`, "must agree"}},
		{"number in the list", export, strings.ReplaceAll(lotList, "4,5", "four"), []string{"lots.csv:3", `"strength_pct"`, `"four"`}},
		{"value in the list", export, strings.ReplaceAll(lotList, "4,5", "0"), []string{"lots.csv:3", `"strength_pct"`, "blank"}},
		{"point and comma", export, strings.ReplaceAll(lotList, "1,5;10", "1.5;10"), []string{"lots.csv:", "point"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := sheetOf(t, "export.csv", c.export).WithLots(sheetOf(t, "lots.csv", c.list))
			if err == nil {
				_, err = FromSheet(s, nil)
			}
			require.Error(t, err)
			for _, w := range c.want {
				require.ErrorContains(t, err, w)
			}
		})
	}
}

// The list knows a lot's role; but the base of that very load stays base.
func TestWithLotsRoles(t *testing.T) {
	readings := sheetOf(t, "e.csv", "lot,role,illuminant,observer,L,a,b\nP1,trial,D65,10,40,-2,-9\nP1,base,D65,10,20,0,-9\nP1,,D65,10,41,-2,-9\n")
	s, err := readings.WithLots(sheetOf(t, "lots.csv", "lot,role,process\nP1,production,permanganate-pellet\n"))
	require.NoError(t, err)
	table, err := FromSheet(s, nil)
	require.NoError(t, err)
	require.Len(t, table.Lots, 2)
	require.Equal(t, Production, table.Lots[0].Role)
	require.Len(t, table.Lots[0].Readings(), 2)
	require.Equal(t, Base, table.Lots[1].Role)
}

// Samples beside a standard are no targets.
func TestTargetsLeaveOutRowsWithoutARole(t *testing.T) {
	targets, err := TargetsFromSheet(sheetOf(t, "e.csv", "id,role,illuminant,observer,L,a,b\ns,standard,D65,10,40,-2,-9\nx,,D65,10,20,0,-9\n"), nil)
	require.NoError(t, err)
	require.Len(t, targets.Items, 1)
	require.Contains(t, targets.Warnings[0].Error(), "e.csv:3")
	_, err = TargetsFromSheet(sheetOf(t, "e.csv", "id,role,illuminant,observer,L,a,b\ns,,D65,10,40,-2,-9\n"), nil)
	require.ErrorContains(t, err, "empty")
}

func TestWithLotsWarnsOfIdleLots(t *testing.T) {
	s, err := sheetOf(t, "export.csv", export).WithLots(sheetOf(t, "lots.csv", lotList+"T9;trial;permanganate-pellet;6;1,5;12;\n"))
	require.NoError(t, err)
	require.Contains(t, s.Warnings[len(s.Warnings)-1].Error(), `no reading of "T9"`)
}

func TestRowErrorOfATurnedTable(t *testing.T) {
	require.Equal(t, `w.csv: column 28 (AB): row "R430": value "x": bad`, (&RowError{File: "w.csv", Row: -28, Column: "R430", Value: "x", Err: errNotNumberForTest{}}).Error())
}

type errNotNumberForTest struct{}

func (errNotNumberForTest) Error() string { return "bad" }

// The template's own table, filled in as a list of lots, has empty columns for readings.
func TestEmptyColumnsOfAListOfLotsAreNoReadings(t *testing.T) {
	list, err := ReadCSV("lots.csv", strings.NewReader("lot,role,process,strength_pct,ratio,time_min,panel,L,a,b\nT1,trial,permanganate-pellet,6,1.2,10,,,,\n"))
	require.NoError(t, err)
	readings, err := ReadCSV("export.csv", strings.NewReader("lot,panel,viewing,L,a,b\nT1,1,D65/10,45,-2,-9\nT1,2,D65/10,45.2,-2,-9\n"))
	require.NoError(t, err)
	joined, err := readings.WithLots(list)
	require.NoError(t, err)
	table, err := FromSheet(joined, nil)
	require.NoError(t, err)
	require.Len(t, table.Lots, 1)
	require.Len(t, table.Lots[0].Panels, 2)
	list.Rows[0][7] = "44"
	_, err = readings.WithLots(list)
	require.ErrorContains(t, err, "holds no readings")
}
