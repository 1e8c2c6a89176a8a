package discharge

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// M0 to M3 are the names of ISO 13655; di:8°, de:8°, 45°a:0°, 0°:45°x and d:0° are
// written as in CIE 15; the other spellings are common practice, no source.
func TestParseCondition(t *testing.T) {
	for text, want := range map[string]Condition{
		"":                        "",
		"sce":                     "SCE",
		"SCI":                     "SCI",
		"di:8°":                   "SCI",
		"de:8°":                   "SCE",
		"8°:de":                   "SCE",
		"d:0°":                    "sphere",
		"d/8":                     "sphere",
		"45°a:0°":                 "45/0",
		"0°:45°x":                 "45/0",
		"0/45":                    "45/0",
		"specular included":       "SCI",
		"Sphere, excluded? SCE":   "SCE",
		"MeasurementCondition=M1": "M1",
		"M1_45/0":                 "M1 45/0",
		"SCE M3":                  "M3 SCE",
		"UVcut":                   "M2",
		"UV-excluded, SCI":        "M2 SCI",
		"SCE and SCI":             "", // which is it?
		"M1, UV cut":              "",
		"dry":                     "",
		"D65/10":                  "",
		"ISM1":                    "",
		"145/0":                   "",
	} {
		got := ParseCondition(text)
		assert.Equal(t, want, got, text)
		assert.Equal(t, got, ParseCondition(string(got)), "what it writes it reads: %s", text)
	}
}

// Conflict is symmetric, nothing conflicts with itself or with nothing stated, and
// what two state together conflicts with neither.
func TestConditionsConflict(t *testing.T) {
	all := []Condition{"", "M0", "M1", "M2", "M3", "SCI", "SCE", "sphere", "45/0", "M1 SCI", "M2 SCI", "M1 45/0", "M1 sphere"}
	for _, c := range all {
		assert.False(t, c.Conflicts(c))
		assert.False(t, c.Conflicts(""))
		for _, d := range all {
			assert.Equal(t, c.Conflicts(d), d.Conflicts(c), "%s, %s", c, d)
			if !c.Conflicts(d) {
				assert.Equal(t, c.With(d), d.With(c), "%s, %s", c, d)
				assert.False(t, c.With(d).Conflicts(d))
			}
		}
	}
	for _, pair := range [][2]Condition{{"SCI", "SCE"}, {"M0", "M1"}, {"M1 SCE", "M2"}, {"M1 SCE", "SCI"}, {"45/0", "SCE"}, {"45/0", "sphere"}} {
		assert.True(t, pair[0].Conflicts(pair[1]), "%s, %s", pair[0], pair[1])
	}
	for _, pair := range [][2]Condition{{"SCI", "M1"}, {"sphere", "SCE"}, {"M1 SCE", "SCE"}} {
		assert.False(t, pair[0].Conflicts(pair[1]), "%s, %s", pair[0], pair[1])
	}
}

// underConditions is labTable with a column condition, row by row.
func underConditions(stated ...string) string {
	lines := strings.Split(strings.TrimSpace(labTable), "\n")
	lines[0] += ",condition"
	for i := range lines[1:] {
		lines[i+1] += "," + stated[i%len(stated)]
	}
	return strings.Join(lines, "\n") + "\n"
}

func TestTablesHaveOneCondition(t *testing.T) {
	table, err := ReadTable("lots.csv", strings.NewReader(underConditions("sce", "", "M1")), nil)
	require.NoError(t, err)
	assert.Equal(t, Condition("M1 SCE"), table.Condition)
	assert.Empty(t, table.Warnings)
	assert.Empty(t, table.Ignored)

	_, err = ReadTable("lots.csv", strings.NewReader(underConditions("SCE", "", "SCI")), nil)
	require.ErrorIs(t, err, ErrCondition)
	require.ErrorContains(t, err, `lots.csv:4: column "condition": value "SCI": measurement conditions differ: line 2 has SCE`)

	table, err = ReadTable("lots.csv", strings.NewReader(underConditions("good", "bad")), nil)
	require.NoError(t, err, "a column of another meaning blocks nothing")
	assert.Empty(t, table.Condition)
	require.Len(t, table.Warnings, 1)
	assert.ErrorContains(t, table.Warnings[0], `lots.csv:2: column "condition": value "good": no measurement condition`)

	samples, err := ReadSamples("lots.csv", strings.NewReader(underConditions("SCE", "SCI")), nil)
	require.NoError(t, err, "colors may be listed side by side")
	assert.Equal(t, Condition("SCI"), samples.Items[1].Condition)

	targets, err := ReadTargets("std.csv", strings.NewReader("id,L,a,b,illuminant,observer,condition\nS,50,-2,-9,D65,10,SCE\n"), nil)
	require.NoError(t, err)
	assert.Equal(t, Condition("SCE"), targets.Items[0].Condition)
}

func TestUnderCondition(t *testing.T) {
	named := func(name, text string) *Sheet {
		s, err := ReadCSV(name, strings.NewReader(text))
		require.NoError(t, err)
		return s
	}
	read := func(text string) *Sheet { return named("lots.csv", text) }
	mixed := read(underConditions("SCE", "", "SCI"))
	got, err := mixed.UnderCondition("SCE")
	require.NoError(t, err)
	require.Equal(t, []int{2, 3, 5, 6}, got.Lines)
	require.Len(t, got.Warnings, 1)
	assert.ErrorContains(t, got.Warnings[0], "2 of 6 readings are of another measurement condition (SCI) and were left out")
	assert.Len(t, mixed.Rows, 6, "the sheet stays as it is")
	assert.Empty(t, mixed.Warnings)
	table, err := FromSheet(got, nil)
	require.NoError(t, err)
	assert.Equal(t, Condition("SCE"), table.Condition)

	_, err = mixed.UnderCondition("45/0")
	require.NoError(t, err, "the rows that state nothing are left")
	_, err = read(underConditions("SCI", "SCE")).UnderCondition("45/0")
	require.ErrorContains(t, err, "the file has SCE, SCI")

	stated, err := read(labTable).UnderCondition("M1")
	require.NoError(t, err)
	table, err = FromSheet(stated, nil)
	require.NoError(t, err)
	assert.Equal(t, Condition("M1"), table.Condition, "what states nothing is taken to be of it")

	// Faults of joined tables still name the file they come from.
	list := named("list.csv", "lot,role,process,strength_pct,ratio,time_min\nA,trial,permanganate-pellet,4,1,10\nB,trial,permanganate-pellet,6,1,much\n")
	joined, err := read("lot,L,a,b,illuminant,observer,condition\nA,40,-2,-9,D65,10,SCI\nB,50,-2,-9,D65,10,SCE\n").WithLots(list)
	require.NoError(t, err)
	joined, err = joined.UnderCondition("SCE")
	require.NoError(t, err)
	_, err = FromSheet(joined, nil)
	require.ErrorContains(t, err, `list.csv:3: column "time_min": value "much"`)
}

// The model keeps how its trials were measured, and takes neither lots nor targets
// that were measured otherwise; a model of trials that do not say it takes all.
func TestModelsKeepTheirCondition(t *testing.T) {
	table := demoTrials(t)
	plain, err := Fit(table, nil)
	require.NoError(t, err)
	table.Condition = "SCE"
	m, err := Fit(table, nil)
	require.NoError(t, err)
	var file, without bytes.Buffer
	require.NoError(t, m.Save(&file, "test"))
	require.NoError(t, plain.Save(&without, "test"))
	assert.NotContains(t, without.String(), `"condition"`)
	m, err = Load(bytes.NewReader(file.Bytes()))
	require.NoError(t, err)
	assert.Equal(t, Condition("SCE"), m.Condition())

	few := subset(table, 1, 5)
	target := Target{ID: "S", Viewing: m.Viewing(), Lab: m.path.at(0.5)}
	for _, c := range []struct {
		model     *Model
		condition Condition
		refused   bool
		then      Condition
	}{{m, "", false, "SCE"}, {m, "M1", false, "M1 SCE"}, {m, "SCI", true, ""}, {plain, "SCI", false, "SCI"}} {
		few.Condition, target.Condition = c.condition, c.condition
		moved, err := c.model.Recalibrate(few, nil)
		_, err2 := c.model.Suggest(target, nil)
		if c.refused {
			assert.ErrorIs(t, err, ErrCondition)
			assert.ErrorIs(t, err2, ErrCondition)
			continue
		}
		require.NoError(t, err)
		require.NoError(t, err2)
		assert.Equal(t, c.then, moved.Condition())
	}
}
