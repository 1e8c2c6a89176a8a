package discharge

import (
	"errors"
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestProcessesAreComplete(t *testing.T) {
	ids := map[string]bool{}
	for _, p := range Processes() {
		assert.False(t, ids[p.ID], p.ID)
		ids[p.ID] = true
		require.NoError(t, p.checkFactors(), p.ID)
		require.NoError(t, p.checkActive(), p.ID)
		strength, ok := p.Strength()
		assert.True(t, ok && !strength.Optional && strength.Less && strength.Increases, p.ID)
		_, timed := p.Factor("time_min")
		assert.True(t, timed, p.ID)
		assert.NotEmpty(t, p.Title, p.ID)
		assert.NotEmpty(t, p.Oxidizer, p.ID)
		assert.NotEmpty(t, p.Practice, p.ID)
		assert.NotEmpty(t, p.Cautions, p.ID)
		for _, c := range p.Cautions {
			assert.True(t, c.Source == FromMemory || c.Source == CommonPractice, "%s: %s", p.ID, c.Hazard)
		}
		for _, f := range p.Factors {
			assert.NotEmpty(t, f.Title, f.Column)
			assert.False(t, isReservedColumn(f.Column), f.Column)
			if f.Typical.Known() {
				assert.Equal(t, CommonPractice, f.Typical.Note, f.Column)
				assert.True(t, f.Typical.Lo >= 0, f.Column)
				assert.NoError(t, f.Check((f.Typical.Lo+f.Typical.Hi)/2), f.Column)
			}
			if f.Transform != Recorded {
				assert.Positive(t, f.Step, f.Column)
			}
		}
	}
	for _, id := range []string{"permanganate-stone", "permanganate-powder", "permanganate-pellet", "permanganate-spray",
		"hypochlorite-bath", "laccase-bath", "ozone-gas"} {
		assert.True(t, ids[id], id)
	}
}

// What must never be left out, by the process's chemistry (common practice).
func TestProcessesWarnOfTheirChemistry(t *testing.T) {
	must := map[string][]string{
		"permanganate-stone":  {"glycerol", "sulfuric", "silica"},
		"permanganate-powder": {"glycerol", "silica"},
		"permanganate-pellet": {"glycerol", "silica"},
		"permanganate-spray":  {"glycerol", "booth"},
		"hypochlorite-bath":   {"acid", "ammonia", "chlorine gas"},
		"ozone-gas":           {"purge", "0.1 ppm"},
		"laccase-bath":        {"lungs"},
	}
	for id, words := range must {
		p, err := LookupProcess(id)
		require.NoError(t, err)
		var all strings.Builder
		for _, c := range p.Cautions {
			all.WriteString(c.Hazard + " " + c.Text + "\n")
		}
		for _, w := range words {
			assert.Contains(t, all.String(), w, id)
		}
	}
}

func TestProcessesAreTheCallersOwn(t *testing.T) {
	ps := Processes()
	ps[0].Factors[0].Column = "spoiled"
	ps[0].Cautions[0].Text = "spoiled"
	again := Processes()
	assert.NotEqual(t, "spoiled", again[0].Factors[0].Column)
	assert.NotEqual(t, "spoiled", again[0].Cautions[0].Text)
}

func TestLookupProcess(t *testing.T) {
	p, err := LookupProcess(" Permanganate-Pellet ")
	require.NoError(t, err)
	assert.Equal(t, "permanganate-pellet", p.ID)
	_, err = LookupProcess("permanganate-pelet")
	assert.ErrorIs(t, err, ErrWrongProcess)
	assert.ErrorContains(t, err, `did you mean "permanganate-pellet"?`)
	_, err = LookupProcess("plasma")
	assert.ErrorContains(t, err, "known are permanganate-stone")
}

// Hand arithmetic from the definitions of the units: g/L × L/kg, % of kg/kg,
// and for the spray g/L × L/m² ÷ kg/m².
func TestActivePerKg(t *testing.T) {
	for _, c := range []struct {
		process string
		s       Settings
		want    float64
		ok      bool
	}{
		{"permanganate-pellet", Settings{"strength_pct": 4, "ratio": 0.5}, 20, true},
		{"permanganate-powder", Settings{"strength_pct": 2, "ratio": 0.45, "time_min": 15}, 9, true},
		{"permanganate-stone", Settings{"strength_gpl": 10, "ratio": 1, "uptake_lpkg": 0.4}, 4, true},
		{"permanganate-stone", Settings{"strength_gpl": 10, "ratio": 1}, 0, false}, // uptake not measured
		{"permanganate-spray", Settings{"strength_gpl": 30, "add_on_gsm": 100, "fabric_gsm": 400}, 7.5, true},
		{"hypochlorite-bath", Settings{"strength_gpl": 5, "liquor_ratio": 8}, 40, true},
		{"laccase-bath", Settings{"strength_pct": 1, "liquor_ratio": 8}, 10, true}, // 1 % on weight of garment
		{"ozone-gas", Settings{"strength_gnm3": 40, "flow_nm3pmin": 0.5, "time_min": 15, "load_kg": 10}, 30, true},
		{"ozone-gas", Settings{"strength_gnm3": 40, "flow_nm3pmin": 0.5, "time_min": 15, "load_kg": 0}, 0, false},
	} {
		p, err := LookupProcess(c.process)
		require.NoError(t, err)
		got, ok := p.ActivePerKg(c.s)
		assert.Equal(t, c.ok, ok, c.process)
		assert.InDelta(t, c.want, got, 1e-12, c.process)
	}
}

func TestFactorNames(t *testing.T) {
	want := map[string]string{"strength_pct": "strength", "strength_gpl": "strength", "strength_gnm3": "strength", "ratio": "ratio",
		"liquor_ratio": "liquor-ratio", "add_on_gsm": "add-on", "time_min": "time", "temp_c": "temp", "ph": "ph", "rpm": "rpm",
		"moisture_pct": "moisture", "load_kg": "load"}
	for _, p := range Processes() {
		names := map[string]bool{}
		for _, f := range p.Factors {
			assert.False(t, names[f.Name()], "%s: two factors are called %s", p.ID, f.Name())
			names[f.Name()] = true
			if w, ok := want[f.Column]; ok {
				assert.Equal(t, w, f.Name())
			}
			assert.Regexp(t, regexp.MustCompile(`^[a-z][a-z0-9-]*$`), f.Name())
		}
	}
}

func TestProcessCheck(t *testing.T) {
	p, err := LookupProcess("hypochlorite-bath")
	require.NoError(t, err)
	good := Settings{"strength_gpl": 3, "liquor_ratio": 8, "time_min": 15, "temp_c": 45, "ph": 10.5}
	require.NoError(t, p.Check(good))
	assert.Empty(t, p.Unusual(good))
	for column, v := range map[string]float64{"strength_gpl": 0, "liquor_ratio": -1, "time_min": math.NaN(), "temp_c": 400, "ph": 15} {
		bad := good.Clone()
		bad[column] = v
		assert.ErrorContains(t, p.Check(bad), column)
	}
	extra := good.Clone()
	extra["tmep_c"] = 40
	assert.ErrorIs(t, p.Check(extra), ErrUnknownFactor)
	assert.ErrorContains(t, p.Check(extra), `did you mean "temp_c"?`)
	delete(good, "time_min")
	assert.ErrorContains(t, p.Check(good), "needs time_min")
	assert.Contains(t, p.Unusual(Settings{"temp_c": 85})[0], "common practice, no source")
}

const ownProcess = `{
  "id": "pellet-small-drum", "title": "pellets in the small drum", "extends": "permanganate-pellet",
  "factors": [
    {"column": "abrasion_min", "title": "abrasion before", "unit": "min", "transform": "linear", "optional": true, "typical": [0, 60], "step": 5},
    {"column": "load_kg", "unit": "kg", "transform": "log"}
  ],
  "cautions": ["the door of the small drum does not lock"]
}`

func TestReadProcess(t *testing.T) {
	p, err := ReadProcess("own.json", strings.NewReader(ownProcess))
	require.NoError(t, err)
	base, err := LookupProcess("permanganate-pellet")
	require.NoError(t, err)
	assert.Equal(t, "pellet-small-drum", p.ID)
	assert.Len(t, p.Factors, len(base.Factors)+2)
	assert.Len(t, p.Cautions, len(base.Cautions)+1)
	f, ok := p.Factor("abrasion_min")
	assert.True(t, ok)
	assert.Equal(t, Factor{Column: "abrasion_min", Title: "abrasion before", Unit: "min", Transform: Linear, Optional: true,
		Typical: Range{0, 60, "the process file"}, Step: 5}, f)
	got, ok := p.ActivePerKg(Settings{"strength_pct": 4, "ratio": 0.5})
	assert.True(t, ok)
	assert.Equal(t, 20.0, got)

	standalone, err := ReadProcess("own.json", strings.NewReader("\xef\xbb\xbf"+`{"id":"foam","title":"foam","oxidizer":"peroxymonosulfate",
		"factors":[{"column":"strength_gpl","unit":"g/L","transform":"log"},{"column":"add_on_gsm","transform":"log"},{"column":"fabric_gsm","transform":"recorded"}],
		"active":{"scale":1,"times":["strength_gpl","add_on_gsm"],"over":["fabric_gsm"],"of":"KHSO5"}}`))
	require.NoError(t, err)
	assert.NotEmpty(t, standalone.Cautions)
	assert.Equal(t, "KHSO5", standalone.Active.Of)
}

func TestReadProcessFaults(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"empty":              {" \n", "empty"},
		"not JSON":           {"id: x", "invalid character"},
		"unknown key":        {`{"id":"x","titel":"x"}`, "titel"},
		"two objects":        {`{"id":"xx","title":"x","extends":"ozone-gas"} {}`, "text after"},
		"built-in id":        {`{"id":"ozone-gas","title":"x","extends":"ozone-gas"}`, "built-in"},
		"bad id":             {`{"id":"Our Drum","title":"x","extends":"ozone-gas"}`, "lower-case"},
		"extends unknown":    {`{"id":"xx","title":"x","extends":"ozon-gas"}`, `did you mean "ozone-gas"`},
		"no oxidizer":        {`{"id":"xx","title":"x","factors":[{"column":"time_min","transform":"log"}]}`, "oxidizer"},
		"no factor":          {`{"id":"xx","title":"x","oxidizer":"y"}`, "at least one factor"},
		"only optional":      {`{"id":"xx","title":"x","oxidizer":"y","factors":[{"column":"time_min","transform":"log","optional":true}]}`, "at least one factor"},
		"transform":          {`{"id":"xx","title":"x","oxidizer":"y","factors":[{"column":"time_min","transform":"lgo"}]}`, `did you mean "log"`},
		"reserved":           {`{"id":"xx","title":"x","oxidizer":"y","factors":[{"column":"lot","transform":"log"}]}`, "already has a meaning"},
		"reserved color":     {`{"id":"xx","title":"x","oxidizer":"y","factors":[{"column":"b","transform":"log"}]}`, "already has a meaning"},
		"reserved spectral":  {`{"id":"xx","title":"x","oxidizer":"y","factors":[{"column":"r400","transform":"log"}]}`, "already has a meaning"},
		"column":             {`{"id":"xx","title":"x","oxidizer":"y","factors":[{"column":"Time (min)","transform":"log"}]}`, "underscores"},
		"twice":              {`{"id":"xx","title":"x","oxidizer":"y","factors":[{"column":"time_min","transform":"log"},{"column":"time_min","transform":"log"}]}`, "twice"},
		"key in two cases":   {`{"id":"aa","ID":"bb","title":"x","extends":"ozone-gas"}`, `"ID" stands twice`},
		"key in two scripts": {`{"process":"aa","extends":"ozone-gas","extendſ":"x"}`, `stands twice`},
		"typical":            {`{"id":"xx","title":"x","oxidizer":"y","factors":[{"column":"time_min","transform":"log","typical":[5,1]}]}`, "low < high"},
		"typical impossible": {`{"id":"xx","title":"x","oxidizer":"y","factors":[{"column":"time_min","transform":"log","typical":[0,1]}]}`, "above 0"},
		"two strengths":      {`{"id":"xx","title":"x","extends":"permanganate-pellet","factors":[{"column":"strength_gpl","transform":"log"}]}`, "two strength"},
		"active":             {`{"id":"xx","title":"x","extends":"ozone-gas","active":{"scale":1,"times":["strenght_gnm3"]}}`, `did you mean "strength_gnm3"`},
		"active scale":       {`{"id":"xx","title":"x","extends":"ozone-gas","active":{"scale":0,"times":["strength_gnm3"]}}`, "scale"},
		"too many": {`{"id":"xx","title":"x","extends":"permanganate-stone","factors":[{"column":"q1","transform":"log"},{"column":"q2","transform":"log"}]}`,
			"at most 8"},
		"too large": {`{"id":"` + strings.Repeat("x", maxProcessFile) + `"}`, "exceed"},
	} {
		_, err := ReadProcess("own.json", strings.NewReader(c.text))
		var row *RowError
		assert.True(t, errors.As(err, &row), "%s: %v", name, err)
		assert.ErrorContains(t, err, c.want, name)
		assert.ErrorContains(t, err, "own.json", name)
	}
}

func FuzzReadProcess(f *testing.F) {
	f.Add(ownProcess)
	f.Add(`{"id":"xx","title":"x","oxidizer":"y","factors":[{"column":"time_min","transform":"log","typical":[1,1e308]}]}`)
	f.Fuzz(func(t *testing.T, text string) {
		p, err := ReadProcess("f", strings.NewReader(text))
		if err != nil {
			return
		}
		if p.checkFactors() != nil || p.checkActive() != nil || len(p.Cautions) == 0 || p.Title == "" {
			t.Errorf("accepted an unusable process: %+v", p)
		}
	})
}

func TestNearest(t *testing.T) {
	words := []string{"strength_pct", "strength_gpl", "time_min", "temp_c", "ph", "light_limit", "trial", "lot"}
	for in, want := range map[string]string{"strenght_pct": "strength_pct", "Time": "time_min", "temp": "temp_c", "light limit": "light_limit",
		"trail": "trial", "Light-Limit": "light_limit", "time_min_": "time_min", "lott": "lot", "x": "", "banana": "", "": "", "pl": ""} {
		got, _ := nearest(in, words)
		assert.Equal(t, want, got, in)
	}
}
