package discharge

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// One option is given for lots in percent and a standard that says factor: what a cell
// says holds, an empty one is of the option.
func TestAStatedUnitHolds(t *testing.T) {
	stated := strings.Replace(spectralTable(1), "thigh,,", "thigh,factor,", 3)
	table, err := ReadTable("t.csv", strings.NewReader(stated), &ReadOptions{Percent: true})
	require.NoError(t, err)
	plain, err := ReadTable("t.csv", strings.NewReader(spectralTable(1)), nil)
	require.NoError(t, err)
	assert.Equal(t, plain.Lots, table.Lots)
	require.Len(t, table.Warnings, len(plain.Warnings)+1)
	assert.ErrorContains(t, table.Warnings[0], `t.csv:2: column "unit": value "factor": the file says factor, which holds`)

	// The first row alone says it, and 3 % to 6 % of the others are 0.03 to 0.06.
	rows := strings.Split(spectralTable(100), "\n")
	rows[1] = strings.Split(stated, "\n")[1]
	table, err = ReadTable("t.csv", strings.NewReader(strings.Join(rows, "\n")), &ReadOptions{Percent: true})
	require.NoError(t, err)
	for i, l := range table.Lots {
		assert.InDeltaSlice(t, plain.Lots[i].Panels[0].Readings[0].Spectrum, l.Panels[0].Readings[0].Spectrum, 1e-12)
	}
}
