package discharge

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// without is t with the factor taken from the trial lots with these indices.
func without(t *Table, column string, from ...int) *Table {
	out := *t
	out.Lots = nil
	n := 0
	for _, l := range t.Lots {
		if l.Role == Trial {
			for _, k := range from {
				if k == n {
					l.Settings = l.Settings.Clone()
					delete(l.Settings, column)
				}
			}
			n++
		}
		out.Lots = append(out.Lots, l)
	}
	return &out
}

// A lot that lacks a needed factor teaches nothing: the model is the one of a table
// without that lot, to the last bit, and says which lot it was. It had lost the
// factor for all lots.
func TestALotWithoutANeededFactorIsLeftOut(t *testing.T) {
	table := demoTrials(t)
	lots := table.ByRole(Trial)
	var rest []int
	for i := range lots {
		if i != 3 {
			rest = append(rest, i)
		}
	}
	want, err := Fit(subset(table, rest...), nil)
	require.NoError(t, err)
	spoiled := without(table, "ratio", 3)
	got, err := Fit(spoiled, nil)
	require.NoError(t, err)
	require.Len(t, spoiled.ByRole(Trial), len(lots), "the table does not change")
	assert.Equal(t, want.Trials(), got.Trials())
	s := Settings{"strength_pct": 6, "ratio": 1.5, "time_min": 12}
	a, err := want.Predict(s)
	require.NoError(t, err)
	b, err := got.Predict(s)
	require.NoError(t, err)
	assert.Equal(t, a.Shade, b.Shade)
	assert.ErrorContains(t, got.Warnings()[0], `column "ratio": nothing is learned from 1 of 18 lots, which do not have it: "`+lots[3].ID+`" (line `)

	// Ten of eighteen are most of them.
	_, err = Fit(without(table, "ratio", 0, 1, 2, 3, 4, 5, 6, 7, 8, 9), nil)
	var row *RowError
	require.ErrorAs(t, err, &row)
	assert.Equal(t, "ratio", row.Column)
	assert.ErrorContains(t, err, "10 of 18 lots do not have it")
	assert.ErrorContains(t, err, "and 2 more")

	// Of four lots three are too few, whatever the reason.
	_, err = Fit(without(subset(table, 0, 5, 9, 14), "ratio", 1), nil)
	require.ErrorIs(t, err, ErrTooFewLots)
}
