package discharge

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestReadSamples(t *testing.T) {
	got, err := ReadSamples("swatches.csv", strings.NewReader("ID,red,green,blue,note\nwhite,255,255,255,x\nblack,0,0,0,y\n"), nil)
	require.NoError(t, err)
	require.Len(t, got.Items, 2)
	assert.Equal(t, "white", got.Items[0].ID)
	assert.Equal(t, 2, got.Items[0].Row)
	assert.InDelta(t, 100, got.Items[0].Lab.L, 1e-9)
	// The white of sRGB (IEC 61966-2-1, D65): X 95.047, Y 100, Z 108.883.
	assert.InDelta(t, 95.047, got.Items[0].XYZ.X, 1e-3)
	assert.InDelta(t, 108.883, got.Items[0].XYZ.Z, 1e-3)
	assert.Equal(t, "D65/2", got.Viewing.String())
	assert.Equal(t, []string{"note"}, got.Ignored)
	assert.Len(t, got.Warnings, 1)

	// A trial table is as good; its roles and settings are not looked at.
	trials, err := ReadSamples("lots.csv", strings.NewReader(strings.ReplaceAll(labTable, "trial", "anything")), nil)
	require.NoError(t, err)
	assert.Equal(t, "T1/2/thigh", trials.Items[4].ID)
	assert.Empty(t, trials.Warnings)
	assert.Positive(t, trials.Items[4].XYZ.Y)

	spectra, err := ReadSamples("lots.csv", strings.NewReader(spectralTable(1)), nil)
	require.NoError(t, err)
	assert.Len(t, spectra.Items[0].Spectrum, spectra.Grid.N)

	for text, want := range map[string]string{
		"name,red,green,blue\nx,1,2,3\n":      `column "id": the column is missing`,
		"Sample Name,L\nx,1\n":                `column "a": is missing beside L`,
		"Sample_ID,red,green,blue\nx,1,2,3\n": `rename "Sample_ID" to id`,
		"id,red,green,blue\n,1,2,3\n":         "every sample needs a name",
		"id,note\nx,y\n":                      "no readings",
	} {
		_, err := ReadSamples("swatches.csv", strings.NewReader(text), nil)
		assert.ErrorContains(t, err, want)
	}
}

func TestReadSettings(t *testing.T) {
	p, err := LookupProcess("permanganate-pellet")
	require.NoError(t, err)
	got, err := ReadSettings("ask.csv", strings.NewReader("id;strength_pct;ratio;time_min;rpm\nA;2,5;0,3;10;\nB;4;0,3;8;30\n"), p)
	require.NoError(t, err)
	assert.Equal(t, []SettingsRow{
		{"A", Settings{"strength_pct": 2.5, "ratio": 0.3, "time_min": 10}, 2},
		{"B", Settings{"strength_pct": 4, "ratio": 0.3, "time_min": 8, "rpm": 30}, 3},
	}, got.Items)
	assert.Empty(t, got.Warnings)

	// Of a trial table, the rows with settings to predict.
	got, err = ReadSettings("lots.csv", strings.NewReader(labTable), p)
	require.NoError(t, err)
	assert.Len(t, got.Items, 3)
	assert.Equal(t, "T1", got.Items[0].ID)

	for text, want := range map[string]string{
		"id,strength_gpl\nA,2\n":      `ask.csv:2: column "strength_gpl": value "2": is no factor of permanganate-pellet`,
		"id,strength_pct\nA,0\n":      "above 0",
		"id,strength_pct\nA,x\n":      "not a number",
		"id,strength_pct\nA,2\nB,\n":  "ask.csv:3: the row has no settings",
		"id,strength\nA,2\n":          "no settings: want columns strength_pct",
		"role,strength_pct\nbase,2\n": "no row with settings",
		"":                            "empty",
	} {
		_, err := ReadSettings("ask.csv", strings.NewReader(text), p)
		assert.ErrorContains(t, err, want, text)
	}
}
