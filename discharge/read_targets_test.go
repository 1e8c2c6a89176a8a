package discharge

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
)

func TestReadTargetsOfStandards(t *testing.T) {
	const text = `lot,role,panel,position,illuminant,observer,L,a,b
B,base,1,,D65,10,22,0,-11
S1,standard,1,,D65,10,50,-3,-15
S1,standard,2,,D65,10,50,-3,-15
S1-light,light_limit,1,,D65,10,52,-3,-14
S1-dark,dark_limit,1,,D65,10,48,-3,-16
`
	got, err := ReadTargets("std.csv", strings.NewReader(text), nil)
	require.NoError(t, err)
	assert.Empty(t, got.Warnings)
	require.Len(t, got.Items, 1)
	target := got.Items[0]
	assert.Equal(t, "S1", target.ID)
	assert.InDelta(t, 50, target.Lab.L, 1e-12)
	assert.InDelta(t, -15, target.Lab.B, 1e-12)
	assert.Equal(t, &colorimetry.Lab{L: 52, A: -3, B: -14}, target.Light)
	assert.Equal(t, &colorimetry.Lab{L: 48, A: -3, B: -16}, target.Dark)

	two := text + "S2,standard,1,,D65,10,60,-3,-12\n"
	_, err = ReadTargets("std.csv", strings.NewReader(two), nil)
	assert.ErrorContains(t, err, "std.csv:5")
	assert.ErrorContains(t, err, "a limit needs the lot name of its own")
	got, err = ReadTargets("std.csv", strings.NewReader(strings.NewReplacer("S1-light", "S1", "S1-dark", "S2", "48,", "58,").Replace(two)), nil)
	require.NoError(t, err)
	assert.NotNil(t, got.Items[0].Light)
	assert.Nil(t, got.Items[0].Dark)
	assert.NotNil(t, got.Items[1].Dark)
}

func TestReadTargetsByID(t *testing.T) {
	got, err := ReadTargets("std.csv", strings.NewReader("id;L;a;b\nsky;60,5;-3;-12\nnavy;30;0;-14\n"),
		&ReadOptions{Viewing: colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TwoDegree}})
	require.NoError(t, err)
	require.Len(t, got.Items, 2)
	assert.Equal(t, "sky", got.Items[0].ID)
	assert.Equal(t, colorimetry.Lab{L: 60.5, A: -3, B: -12}, got.Items[0].Lab)
	assert.Equal(t, "D65/2", got.Items[1].Viewing.String())
	assert.Nil(t, got.Items[1].Light)

	// A file with lots but no roles works as well, and so does id beside lot.
	for _, head := range []string{"lot", "lot,panel", "id,lot", "lot,id"} {
		extra := strings.Repeat("S,", strings.Count(head, ","))
		got, err = ReadTargets("std.csv", strings.NewReader(head+",red,green,blue\n"+extra+"S,90,120,160\n"), nil)
		require.NoError(t, err)
		assert.Equal(t, "S", got.Items[0].ID)
	}
}

// Reflected light adds, Lab does not: half a white and half a black patch is
// grey of R = 0.5, L* 76.07 (CIE 15:2018 eq. 8.3: 116·0.5^(1/3) − 16), not L* 50.
func TestTargetsAverageInLight(t *testing.T) {
	const want = 76.0692610
	view := &ReadOptions{Viewing: colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}}
	for _, text := range []string{
		"id" + gridHeader(400, 700, 10) + "\nS" + strings.Repeat(",1", 31) + "\nS" + strings.Repeat(",0", 31) + "\n",
		"id,L,a,b\nS,100,0,0\nS,0,0,0\n",
	} {
		got, err := ReadTargets("std.csv", strings.NewReader(text), view)
		require.NoError(t, err)
		require.Len(t, got.Items, 1)
		assert.InDelta(t, want, got.Items[0].Lab.L, 1e-6)
		assert.Len(t, got.Items[0].Spectrum, got.Items[0].Grid.N)
		require.Len(t, got.Warnings, 1)
		assert.ErrorContains(t, got.Warnings[0], "are they of one shade?")
	}
}

// Two readings by L* 50 and 54 lie about ΔE00 2 from their mean: they may be of one shade,
// but nobody should learn it from the answer.
func TestTargetReadingsThatDifferAreSaid(t *testing.T) {
	view := &ReadOptions{Viewing: colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}}
	for second, want := range map[string]string{"50.5": "", "54": "which is what is aimed at", "62": "are they of one shade?"} {
		got, err := ReadTargets("std.csv", strings.NewReader("id,L,a,b\nS,50,0,0\nS,"+second+",0,0\n"), view)
		require.NoError(t, err)
		if want == "" {
			assert.Empty(t, got.Warnings)
			continue
		}
		require.Len(t, got.Warnings, 1)
		assert.ErrorContains(t, got.Warnings[0], want)
	}
}

// A sample that is no target may be all that has a setting.
func TestTargetsStandBesideSamplesWithSettings(t *testing.T) {
	const rows = "S1,standard,,100,110,120\nP1,production,,90,100,110\nx,,3,80,90,100\n"
	for _, header := range []string{"lot,role,strength_gpl,red,green,blue\n", "lot,role,temp_c,red,green,blue\n"} {
		got, err := ReadTargets("std.csv", strings.NewReader(header+rows), &ReadOptions{Process: "permanganate-pellet"})
		require.NoError(t, err)
		require.Len(t, got.Items, 1)
		assert.ErrorContains(t, got.Warnings[0], "left out")
	}
}

func TestReadTargetsFaults(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"no name":        {"shade,red,green,blue\nS,1,2,3\n", "std.csv:1: column \"id\": the column is missing"},
		"empty name":     {"id,red,green,blue\n,1,2,3\n", "std.csv:2"},
		"no standard":    {"lot,role,red,green,blue\nS,base,1,2,3\n", "no row with role standard"},
		"damp":           {"lot,role,state,red,green,blue\nS,standard,damp,1,2,3\n", "finished, dry cloth"},
		"limits swapped": {"lot,role,red,green,blue\nS,standard,100,100,100\nS,light_limit,80,80,80\nS,dark_limit,120,120,120\n", "not lighter"},
		"two limits":     {"lot,role,red,green,blue\nS,standard,100,100,100\nA,light_limit,110,110,110\nB,light_limit,120,120,120\n", "second light_limit"},
		"no viewing":     {"id,L,a,b\nS,50,0,0\n", "viewing"},
	} {
		_, err := ReadTargets("std.csv", strings.NewReader(c.text), nil)
		assert.ErrorContains(t, err, c.want, name)
		assert.ErrorContains(t, err, "std.csv", name)
	}
}
