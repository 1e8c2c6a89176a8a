package discharge

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
)

func viewingOf(t *testing.T, s string) colorimetry.Viewing {
	t.Helper()
	v, err := colorimetry.ParseViewing(s)
	require.NoError(t, err)
	return v
}

// One color under two lamps, as a table of converted spectra has it: no mean of both is
// anybody's color.
const twoLamps = `lot,role,panel,viewing,L,a,b
P1,production,1,D65/10,50,-3,-8
P1,production,1,A/10,49,-5,-10
P1,production,2,D65/10,52,-3,-8
P1,production,2,A/10,51,-5,-10
`

func TestColumnViewing(t *testing.T) {
	read := func(text, asked string) (*Table, error) {
		opt := &ReadOptions{}
		if asked != "" {
			opt.Viewing = viewingOf(t, asked)
		}
		return ReadTable("p2.csv", strings.NewReader(text), opt)
	}
	one := strings.ReplaceAll(twoLamps, "D65/10", "A/10")
	table, err := read(one, "")
	require.NoError(t, err)
	assert.Equal(t, viewingOf(t, "A/10"), table.Viewing)
	assert.Empty(t, table.Ignored)
	_, err = read(one, "D65/10")
	require.ErrorIs(t, err, ErrViewing)
	require.ErrorContains(t, err, `p2.csv:2: column "viewing": value "A/10": viewings differ: D65/10 was asked for`)

	_, err = read(twoLamps, "")
	require.ErrorIs(t, err, ErrViewing)
	require.ErrorContains(t, err, `p2.csv:3: column "viewing": value "A/10"`)
	require.ErrorContains(t, err, "or choose it (--viewing)")
	_, err = read(twoLamps, "F11/10")
	require.ErrorIs(t, err, ErrViewing, "the file has neither")

	for asked, want := range map[string][2]float64{"D65/10": {50, 52}, "A/10": {49, 51}} {
		table, err = read(twoLamps, asked)
		require.NoError(t, err)
		require.Len(t, table.Lots, 1)
		require.Len(t, table.Lots[0].Panels, 2)
		for i, p := range table.Lots[0].Panels {
			require.Len(t, p.Readings, 1)
			assert.Equal(t, want[i], p.Readings[0].Lab.L)
		}
		assert.Equal(t, viewingOf(t, asked), table.Viewing)
		require.ErrorContains(t, table.Warnings[0], "2 of 4 readings are under another viewing and were left out")
	}

	for text, want := range map[string]string{
		"id,viewing,L,a,b\nS,D65,50,-3,-8\n":                                     `p.csv:2: column "viewing": value "D65"`,
		"id,viewing,L,a,b\nS,A/10,50,-3,-8\nT,,50,-3,-8\n":                       `p.csv:3: column "viewing": the cell is empty`,
		"id,viewing,illuminant,observer,L,a,b\nS,A/10,D65,10,50,-3,-8\n":         `viewings differ: the columns illuminant and observer say D65/10`,
		"id,viewing,illuminant,L,a,b\nS,A/10,A,50,-3,-8\n":                       `column "observer": the column is missing`,
		"id,L,a,b\nS,50,-3,-8\n":                                                 `state what the instrument calculated with`,
		"id,viewing,red,green,blue\nS,A/10,50,60,70\n":                           `sRGB is D65/2 by definition`,
		"id,viewing,X,Y,Z\nS,A/10,15,16,20\nT,D65/10,15,16,20\n":                 `column "viewing": value "D65/10": viewings differ: line 2 has A/10`,
		"id,viewing,X,Y,Z,illuminant,observer\nS,A/10,15,16,20,,\nT,,15,1,2,,\n": `column "illuminant"`,
	} {
		_, err := ReadSamples("p.csv", strings.NewReader(text), nil)
		assert.ErrorContains(t, err, want, text)
	}

	// Spectra are seen under any viewing; a column of another meaning binds them to none.
	samples, err := ReadSamples("p.csv", strings.NewReader("id,viewing,R400,R410,R420,R430,R440,R450,R460,R470,R480,R490,R500,R510,R520,R530,R540,R550,R560,R570,R580,R590,R600,R610,R620,R630,R640,R650,R660,R670,R680,R690,R700\nS,front"+strings.Repeat(",0.3", 31)+"\n"), nil)
	require.NoError(t, err)
	assert.Equal(t, viewingOf(t, "D65/10"), samples.Viewing)
	assert.Equal(t, []string{"viewing"}, samples.Ignored)
}

// Faults of a joined table still name the file they come from after rows were left out.
func TestViewingOfJoinedTables(t *testing.T) {
	sheet := func(name, text string) *Sheet {
		s, err := ReadCSV(name, strings.NewReader(text))
		require.NoError(t, err)
		return s
	}
	readings := sheet("p2.csv", "id,viewing,L,a,b\nP1/1,A/10,49,-5,-10\nP1/1,D65/10,50,-3,-8\nP2/1,A/10,49,-5,-10\nP2/1,D65/10,50,-3,-8\n")
	list := sheet("lots.csv", "lot,role,process,strength_pct,ratio,time_min\nP1,production,permanganate-pellet,4,1,10\nP2,production,permanganate-pellet,4,1,much\n")
	joined, err := readings.WithLots(list)
	require.NoError(t, err)
	_, err = FromSheet(joined, &ReadOptions{Viewing: viewingOf(t, "D65/10")})
	require.ErrorContains(t, err, `lots.csv:3: column "time_min": value "much"`)
}
