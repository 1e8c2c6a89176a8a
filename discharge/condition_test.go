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
		"":                             "",
		"specular: excluded":           "SCE",
		"specular component: included": "SCI",
		"sce":                          "SCE",
		"SCI":                          "SCI",
		"di:8°":                        "SCI",
		"de:8°":                        "SCE",
		"8°:de":                        "SCE",
		"d:0°":                         "sphere",
		"d/8":                          "sphere",
		"45°a:0°":                      "45/0",
		"0°:45°x":                      "45/0",
		"0/45":                         "45/0",
		"specular included":            "SCI",
		"Sphere, excluded? SCE":        "SCE",
		"MeasurementCondition=M1":      "M1",
		"M1_45/0":                      "M1 45/0",
		"SCE M3":                       "M3 SCE",
		"UVcut":                        "M2",
		"UV-excluded, SCI":             "M2 SCI",
		"SCE and SCI":                  "", // which is it?
		"M1, UV cut":                   "",
		"dry":                          "",
		"D65/10":                       "",
		"ISM1":                         "",
		"SPIN":                         "SCI",
		"d/8 SPEX":                     "SCE",
		"UV included":                  "", // it is M0 or M1
		"excluded":                     "", // of what?
		"145/0":                        "",
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
	require.Len(t, table.Warnings, 1, "lot T1, of lines 5 and 6, is a mean of what is stated and what is not")
	require.ErrorContains(t, table.Warnings[0], `lots.csv:6: column "condition": lot "T1" has readings that state a measurement condition ("sce") and readings that state none (line 5)`)
	table, err = ReadTable("lots.csv", strings.NewReader(underConditions("SCE")), nil)
	require.NoError(t, err)
	assert.Empty(t, table.Warnings)
	assert.Empty(t, table.Ignored)

	_, err = ReadTable("lots.csv", strings.NewReader(underConditions("SCE", "", "SCI")), nil)
	require.ErrorIs(t, err, ErrCondition)
	require.ErrorContains(t, err, `lots.csv:4: column "condition": value "SCI": measurement conditions differ: line 2 has SCE`)

	table, err = ReadTable("lots.csv", strings.NewReader(underConditions("good", "bad")), nil)
	require.NoError(t, err, "a column of another meaning blocks nothing")
	assert.Empty(t, table.Condition)
	require.Len(t, table.Warnings, 2)
	assert.ErrorContains(t, table.Warnings[0], `lots.csv:2: column "condition": value "good": no measurement condition`)
	assert.ErrorContains(t, table.Warnings[1], `lots.csv:6: column "condition": value "good": lot "T1" has "bad", too (line 5), and they are averaged`)

	samples, err := ReadSamples("lots.csv", strings.NewReader(underConditions("SCE", "SCI")), nil)
	require.NoError(t, err, "colors may be listed side by side")
	assert.Equal(t, Condition("SCI"), samples.Items[1].Condition)

	targets, err := ReadTargets("std.csv", strings.NewReader("id,L,a,b,illuminant,observer,condition\nS,50,-2,-9,D65,10,SCE\n"), nil)
	require.NoError(t, err)
	assert.Equal(t, Condition("SCE"), targets.Items[0].Condition)
}

// Instruments name the column and its words in their own ways (common practice, no
// source). A column that numbers machines M1 and M2 is none of conditions.
func TestColumnsOfConditions(t *testing.T) {
	for _, c := range []struct {
		heading string
		stated  []string
		want    Condition // of the last row
		read    bool
	}{
		{"condition", []string{"SPIN", "SPEX"}, "SCE", true},
		{"Condition", []string{"excluded", "included"}, "SCI", true},
		{"specular", []string{"Included", "Excluded"}, "SCE", true},
		{"SCI/SCE", []string{"SCI", "SCE"}, "SCE", true},
		{"SCI_SCE", []string{"excluded", "included"}, "SCI", true},
		{"measurement_condition", []string{"M0", "M1"}, "M1", true},
		{"Mode", []string{"SCI", "SCE"}, "SCE", true},
		{"whatever", []string{"SCI", "SCE"}, "SCE", true},
		{"whatever", []string{"SCI", "", "SCE"}, "SCE", true},
		{"washer", []string{"M1", "M2"}, "", false},
		{"model", []string{"M1", "M2"}, "", false},
		{"UV", []string{"included", "excluded"}, "", false},
		{"whatever", []string{"SCI", "good"}, "", false},
	} {
		text := strings.ReplaceAll(underConditions(c.stated...), "condition", c.heading)
		samples, err := ReadSamples("lots.csv", strings.NewReader(text), nil)
		require.NoError(t, err)
		assert.Equal(t, c.want, samples.Items[len(samples.Items)-1].Condition, c)
		_, err = ReadTable("lots.csv", strings.NewReader(text), nil)
		under, err2 := FromSheet(taken(t, text, c.want), nil)
		require.NoError(t, err2)
		if !c.read {
			require.NoError(t, err, c)
			assert.Equal(t, []string{c.heading}, samples.Ignored)
			continue
		}
		require.ErrorIs(t, err, ErrCondition, c)
		require.ErrorContains(t, err, `column "`+c.heading+`"`)
		assert.Empty(t, samples.Ignored)
		assert.Equal(t, c.want, under.Condition, c)
		if !strings.EqualFold(c.heading, "condition") {
			assert.ErrorContains(t, samples.Warnings[0], "every cell states a measurement condition")
		}
	}

	// What two columns state belongs together.
	text := strings.Replace(underConditions("d/8,SCE", "d/8,SCI"), "condition", "geometry,specular", 1)
	_, err := ReadTable("lots.csv", strings.NewReader(text), nil)
	require.ErrorContains(t, err, `lots.csv:3: column "specular": value "SCI": measurement conditions differ: line 2 has SCE`)
}

// taken is a table with the rows of one condition, or all for "".
func taken(t *testing.T, text string, c Condition) *Sheet {
	t.Helper()
	s, err := ReadCSV("lots.csv", strings.NewReader(text))
	require.NoError(t, err)
	if c == "" {
		return s
	}
	s, err = s.UnderCondition(c)
	require.NoError(t, err)
	return s
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
