package discharge_test

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
)

// What is learned from two files is what one file with the rows of both teaches, to
// the last digit.
func TestJoinedTablesTeachAsOne(t *testing.T) {
	lines := strings.SplitAfter(string(demo.PelletTrials()), "\n")
	head, rows := strings.Join(lines[:2], ""), lines[2:]
	half := len(rows) / 2
	for lot := strings.SplitN(rows[half], ",", 2)[0]; strings.HasPrefix(rows[half], lot+","); {
		half++ // to the end of its lot
	}
	read := func(name string, rows []string) *discharge.Table {
		table, err := discharge.ReadTable(name, strings.NewReader(head+strings.Join(rows, "")), nil)
		require.NoError(t, err)
		return table
	}
	first, second := read("march.csv", rows[:half]), read("april.csv", rows[half:])
	both, err := first.Join(second)
	require.NoError(t, err)
	require.Greater(t, len(second.ByRole(discharge.Trial)), 3)
	file := func(table *discharge.Table) []byte {
		var b bytes.Buffer
		require.NoError(t, fitted(t, table).Save(&b, "test"))
		return b.Bytes()
	}
	require.Equal(t, string(file(demoTable(t))), string(file(both)))

	// Production lots count where they are asked for, and only those with settings.
	for i := range both.Lots {
		if l := &both.Lots[i]; l.Role == discharge.Trial {
			l.Role = discharge.Production
		}
	}
	both.Lots[len(both.Lots)-1].Settings = nil
	last := both.Lots[len(both.Lots)-1]
	all, left := both.WithProduction()
	require.Equal(t, discharge.Production, last.Role)
	require.Equal(t, []string{last.ID}, left)
	require.Len(t, all.ByRole(discharge.Trial), len(demoTable(t).ByRole(discharge.Trial))-1)
	require.Empty(t, both.ByRole(discharge.Trial), "the table itself does not change")

	sce, sci := *first, *second
	sce.Condition, sci.Condition = "SCE", "SCI"
	_, err = sce.Join(&sci)
	require.ErrorIs(t, err, discharge.ErrCondition)
	sci.Condition = "" // not stated
	both, err = sce.Join(&sci)
	require.NoError(t, err)
	require.Equal(t, sce.Condition, both.Condition)

	other := *second
	other.Lots = slices.Clone(second.Lots)
	other.Lots[0].Process = "permanganate-powder"
	_, err = first.Join(&other)
	require.ErrorContains(t, err, `april.csv`)
	require.ErrorContains(t, err, "the lots of march.csv are of permanganate-pellet")
	// A file pasted again under other names counts every lot twice.
	again := *first
	again.Name, again.Lots = "copy.csv", nil
	for _, l := range first.Lots {
		l.ID = strings.ToLower(l.ID)
		again.Lots = append(again.Lots, l)
	}
	both, err = first.Join(&again)
	require.NoError(t, err)
	told := both.Warnings[len(first.Warnings)+len(again.Warnings):]
	require.Len(t, told, len(first.ByRole(discharge.Trial)), "one for each lot; a base may be written in both")
	one := first.ByRole(discharge.Trial)[0]
	require.ErrorContains(t, told[0], `copy.csv:`)
	require.ErrorContains(t, told[0], `every reading equals that of lot "`+one.ID+`" (march.csv, line `)
	both, err = first.Join(second)
	require.NoError(t, err)
	require.Len(t, both.Warnings, len(first.Warnings)+len(second.Warnings))
	three, err := both.Join(&again)
	require.NoError(t, err)
	require.ErrorContains(t, three.Warnings[len(both.Warnings)+len(again.Warnings)], `(march.csv, line `, "not both files of the first table")
	_, err = both.Join(first)
	var fault *discharge.RowError
	require.ErrorAs(t, err, &fault)
	require.Equal(t, "march.csv", fault.File)
	_, err = first.Join(both)
	require.ErrorAs(t, err, &fault)
	require.Equal(t, "march.csv", fault.File, "of the file in both, not of both")

	_, err = first.Join(first)
	require.ErrorContains(t, err, `march.csv has a lot of that name, too`)
	swatches, err := discharge.ReadTable("photo.csv", bytes.NewReader(demo.PelletSwatches()), nil)
	require.NoError(t, err)
	_, err = first.Join(swatches)
	require.ErrorContains(t, err, "march.csv holds readings of kind spectrum, photo.csv swatch")
}
