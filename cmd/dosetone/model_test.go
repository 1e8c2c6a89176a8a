package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
)

// TestModelCommands fits once and asks the model everything.
func TestModelCommands(t *testing.T) {
	dir := workspace(t)
	fitJSON := ok(t, "fit", "trials.csv", "-o", "model.json", "--format", "json")
	data, err := os.ReadFile("model.json")
	require.NoError(t, err)
	m, err := discharge.Load(bytes.NewReader(data))
	require.NoError(t, err)
	t.Run("fit keys", func(t *testing.T) { fitKeys(t, fitJSON, m) })
	t.Run("predict keys", func(t *testing.T) { t.Chdir(dir); predictKeys(t) })
	t.Run("predict values", func(t *testing.T) { t.Chdir(dir); predictValues(t, m) })
	t.Run("predict warnings", func(t *testing.T) { t.Chdir(dir); predictWarnings(t) })
	t.Run("suggest keys", func(t *testing.T) { t.Chdir(dir); suggestKeys(t) })
	t.Run("suggest bounds", func(t *testing.T) { t.Chdir(dir); suggestBounds(t, m) })
	t.Run("suggest targets", func(t *testing.T) { t.Chdir(dir); suggestTargets(t) })
	t.Run("unreachable", func(t *testing.T) { t.Chdir(dir); unreachable(t) })
	t.Run("text", func(t *testing.T) { t.Chdir(dir); modelTexts(t) })
	t.Run("failed fit keeps the old model", func(t *testing.T) {
		t.Chdir(dir)
		require.Equal(t, exitFailed, tool(t, "", "fit", "standard.csv", "-o", "model.json").code)
		after, err := os.ReadFile("model.json")
		require.NoError(t, err)
		require.Equal(t, data, after)
	})
}

// keys checks that an object has exactly these keys.
func keys(t *testing.T, object any, want ...string) map[string]any {
	t.Helper()
	m, isObject := object.(map[string]any)
	require.True(t, isObject, "%v", object)
	var got []string
	for k := range m {
		got = append(got, k)
	}
	require.ElementsMatch(t, want, got)
	return m
}

func numbersIn(t *testing.T, object map[string]any, names ...string) {
	t.Helper()
	for _, k := range names {
		require.IsType(t, 0.0, object[k], k)
	}
}

func fitKeys(t *testing.T, text string, m *discharge.Model) {
	o := keys(t, decode[any](t, text), "process", "curve", "level_scale", "parameters", "sd_lot", "sd_panel", "loo_delta_e_median", "loo_delta_e_p95", "lots_out_of_line", "fabric", "machine", "others", "warnings",
		"curve_share", "viewing", "lots", "lot_delta_e", "factors", "learned", "model")
	numbersIn(t, o, "sd_lot", "sd_panel", "loo_delta_e_median", "loo_delta_e_p95", "curve_share", "lots", "lot_delta_e")
	require.Equal(t, "permanganate-pellet", o["process"])
	require.Equal(t, 18.0, o["lots"])
	require.IsType(t, []any{}, o["warnings"])
	parameters := o["parameters"].([]any)
	require.NotEmpty(t, parameters)
	for _, p := range parameters {
		x := keys(t, p, "name", "value", "se", "lo", "hi", "unit", "meaning")
		numbersIn(t, x, "value", "se", "lo", "hi")
		require.LessOrEqual(t, x["lo"], x["value"])
		require.GreaterOrEqual(t, x["hi"], x["value"])
	}
	require.Equal(t, m.Summary().SDLot, o["sd_lot"], "what is reported is what the loaded model says")
}

func predictKeys(t *testing.T) {
	list := decode[[]any](t, ok(t, "predict", "model.json", "--settings", "settings.csv", "--format", "json"))
	require.Len(t, list, 2)
	for _, x := range list {
		o := keys(t, x, "id", "settings", "viewing", "shade", "level", "mean_covariance", "lot_covariance", "interval_level", "lot_interval",
			"delta_e_p95", "active_g_per_kg", "tensile_loss_pct", "extrapolated", "warnings")
		numbersIn(t, o, "level", "interval_level", "delta_e_p95")
		require.Equal(t, 0.95, o["interval_level"])
		require.IsType(t, true, o["extrapolated"])
		require.IsType(t, []any{}, o["warnings"])
		numbersIn(t, keys(t, o["shade"], "L", "a", "b"), "L", "a", "b")
		for _, k := range []string{"mean_covariance", "lot_covariance"} {
			rows := o[k].([]any)
			require.Len(t, rows, 3)
			for _, r := range rows {
				require.Len(t, r, 3)
			}
		}
		shade := o["shade"].(map[string]any)
		for k, v := range keys(t, o["lot_interval"], "L", "a", "b") {
			r := v.([]any)
			require.Len(t, r, 2)
			require.Less(t, r[0], shade[k])
			require.Greater(t, r[1], shade[k])
		}
	}
}

// What the tool prints is, to the last bit, what the library answers.
func predictValues(t *testing.T, m *discharge.Model) {
	file := decode[[]prediction](t, ok(t, "predict", "model.json", "--settings", "settings.csv", "--format", "json"))
	flags := decode[[]prediction](t, ok(t, "predict", "model.json", "--strength", "6", "--ratio", "1,3", "--time", "14", "--format", "json"))
	want, err := m.Predict(discharge.Settings{"strength_pct": 6, "ratio": 1.3, "time_min": 14})
	require.NoError(t, err)
	for _, got := range []prediction{file[0], flags[0]} {
		require.Equal(t, want.Shade, colorimetry.Lab(got.Shade))
		require.Equal(t, want.LotCovariance, got.LotCovariance)
		require.Equal(t, want.MeanCovariance, got.MeanCovariance)
		require.Equal(t, want.DeltaEP95, got.DeltaEP95)
		require.InDelta(t, 10*6*1.3, *got.ActiveGPerKg, 1e-9, "6 %% of 1.3 kg per kg is 78 g/kg")
		h := 1.959963984540054 * math.Sqrt(want.LotCovariance[0][0]) // 97.5 % point of the normal, any table
		require.InDelta(t, want.Shade.L-h, got.LotInterval.L[0], 1e-9)
		require.InDelta(t, want.Shade.L+h, got.LotInterval.L[1], 1e-9)
	}
	r := tool(t, "", "predict", "model.json", "--strength", "6", "--ratio", "1.3", "--time", "14", "--confidence", "80", "--format", "json")
	require.Zero(t, r.code, r.err)
	narrow := decode[[]prediction](t, r.out)[0]
	require.Equal(t, 0.8, narrow.IntervalLevel)
	// Student's t with 24 degrees of freedom, 90 and 97.5 % points, any table.
	h := 1.959963984540054 * math.Sqrt(want.LotCovariance[0][0]) * 1.317836 / 2.063899
	require.InDelta(t, want.Shade.L-h, narrow.LotInterval.L[0], 1e-5)
	for _, bad := range []string{"100", "0.95", "-5"} {
		require.Equal(t, exitUsage, tool(t, "", "predict", "model.json", "--strength", "6", "--ratio", "1.3", "--time", "14", "--confidence", bad).code, bad)
	}
	require.Equal(t, "one", file[0].ID)
	table, err := csv.NewReader(strings.NewReader(ok(t, "predict", "model.json", "--settings", "settings.csv", "--format", "csv"))).ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"id", "strength_pct", "ratio", "time_min", "viewing", "L", "a", "b"}, table[0][:8])
	l, err := strconv.ParseFloat(table[1][5], 64)
	require.NoError(t, err)
	require.Equal(t, want.Shade.L, l)
}

func predictWarnings(t *testing.T) {
	r := tool(t, "", "predict", "model.json", "--strength", "6", "--ratio", "1.3", "--time", "60", "--ph", "5", "--format", "json")
	require.Equal(t, exitUsage, r.code, "pellets have no pH")
	r = tool(t, "", "predict", "model.json", "--strength", "6", "--ratio", "1.3", "--time", "60", "--temp", "25", "--format", "json")
	require.Equal(t, exitDone, r.code, r.err)
	got := decode[[]prediction](t, r.out)[0]
	require.True(t, got.Extrapolated)
	require.Contains(t, strings.Join(got.Warnings, "\n"), "time_min 60 is outside the trials' 6 to 24 min")
	require.Contains(t, strings.Join(got.Warnings, "\n"), "temp_c is not in the model")
	for _, w := range got.Warnings {
		require.Contains(t, r.err, "warning: "+w)
	}
	require.Empty(t, tool(t, "", "predict", "model.json", "--strength", "6", "--ratio", "1.3", "--time", "60", "--quiet").err)
	// Thirty rows with a warning each do not flood the screen.
	rows := "strength_pct,ratio,time_min\n" + strings.Repeat("6,1.3,60\n", 30)
	r = tool(t, rows, "predict", "model.json", "--settings", "-")
	require.Less(t, strings.Count(r.err, "\n"), 14)
	require.Contains(t, r.err, "more; --format json")
}

func suggestKeys(t *testing.T) {
	list := decode[[]any](t, ok(t, "suggest", "model.json", "--target", "standard.csv", "--tolerance", "1.5", "--format", "json"))
	require.Len(t, list, 1)
	o := keys(t, list[0], "target", "viewing", "tolerance", "limit_tolerance", "reachable", "closest_delta_e", "closest", "best_pass_probability", "why", "suggestions", "warnings")
	target := keys(t, o["target"], "id", "L", "a", "b", "light_limit", "dark_limit")
	require.Equal(t, "STD", target["id"])
	numbersIn(t, target, "L", "a", "b")
	numbersIn(t, o, "closest_delta_e", "best_pass_probability", "tolerance")
	require.Equal(t, true, o["reachable"])
	suggestions := o["suggestions"].([]any)
	require.NotEmpty(t, suggestions)
	last := 2.0
	for _, x := range suggestions {
		s := keys(t, x, "settings", "shade", "lot_interval", "delta_e", "along", "off", "pass_probability", "time_window_min", "time_window_pass_probability", "active_g_per_kg", "tensile_loss_pct", "extrapolated")
		numbersIn(t, s, "delta_e", "pass_probability", "active_g_per_kg")
		numbersIn(t, s["settings"].(map[string]any), "strength_pct", "ratio", "time_min")
		p := s["pass_probability"].(float64)
		require.LessOrEqual(t, p, last+1e-4, "best first")
		last = p
		w := s["time_window_min"].([]any)
		require.Len(t, w, 2)
		minutes := s["settings"].(map[string]any)["time_min"].(float64)
		require.LessOrEqual(t, w[0], minutes*(1+1e-9))
		require.GreaterOrEqual(t, w[1], minutes*(1-1e-9))
	}
}

func suggestBounds(t *testing.T, m *discharge.Model) {
	get := func(args ...string) []suggestResult {
		return decode[[]suggestResult](t, ok(t, append([]string{"suggest", "model.json", "--format", "json", "--lab", "48,-2.6,-9"}, args...)...))
	}
	for _, s := range get("--min-time", "12", "--max-time", "12", "--min-ratio", "1.5", "--max-ratio", "1.5")[0].Suggestions {
		require.Equal(t, 12.0, s.Settings["time_min"])
		require.Equal(t, 1.5, s.Settings["ratio"])
	}
	for _, s := range get("--strengths", "4,6.5,10", "--max-time", "15")[0].Suggestions {
		require.Contains(t, []float64{4, 6.5, 10}, s.Settings["strength_pct"])
		require.LessOrEqual(t, s.Settings["time_min"], 15.0)
	}
	require.LessOrEqual(t, len(get("--count", "2")[0].Suggestions), 2)
	// A suggestion's shade is what predict says of its settings.
	s := get()[0].Suggestions[0]
	p, err := m.Predict(s.Settings)
	require.NoError(t, err)
	require.Equal(t, p.Shade, colorimetry.Lab(s.Shade))
}

func suggestTargets(t *testing.T) {
	require.NoError(t, os.WriteFile("two.csv", []byte("id,L,a,b\nnavy,35,-1.5,-11.5\nsky,60,-2.5,-4.5\n"), 0o644))
	r := tool(t, "", "suggest", "model.json", "--target", "two.csv", "--format", "json")
	require.Equal(t, exitDone, r.code, r.err)
	require.Contains(t, r.err, "taken to be under the model's D65/10")
	got := decode[[]suggestResult](t, r.out)
	require.Len(t, got, 2)
	require.Equal(t, []string{"navy", "sky"}, []string{got[0].Target.ID, got[1].Target.ID})
	require.Equal(t, 60.0, got[1].Target.L)
	require.NoError(t, os.WriteFile("other.csv", []byte("id,L,a,b,illuminant,observer\nx,35,-1.5,-11.5,D65,2\n"), 0o644))
	r = tool(t, "", "suggest", "model.json", "--target", "other.csv")
	require.Equal(t, exitFailed, r.code)
	require.Contains(t, r.err, "D65/2")
	table, err := csv.NewReader(strings.NewReader(ok(t, "suggest", "model.json", "--target", "two.csv", "--format", "csv"))).ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"target", "reachable", "closest_delta_e", "rank"}, table[0][:4])
}

// Discharged indigo is never red: no dose gets there (common practice, no source).
func unreachable(t *testing.T) {
	text := ok(t, "suggest", "model.json", "--lab", "45,30,12", "--format", "json")
	require.Contains(t, text, `"suggestions": []`, "never null")
	got := decode[[]suggestResult](t, text)[0]
	require.False(t, got.Reachable)
	require.Greater(t, got.ClosestDeltaE, 10.0)
	require.Zero(t, got.BestPassProbability)
	require.Contains(t, got.Why, "redder")
	require.NotNil(t, got.Nearest, "settings that come nearest")
	require.InDelta(t, got.ClosestDeltaE, got.Nearest.DeltaE, 0.2)
	said := ok(t, "suggest", "model.json", "--lab", "45,30,12")
	require.Contains(t, said, "NOT REACHABLE")
	require.Contains(t, said, "Nearest to it: ")
	require.Contains(t, ok(t, "suggest", "model.json", "--lab", "45,30,12", "--format", "csv"), "lab,false,")
}

func modelTexts(t *testing.T) {
	text := ok(t, "suggest", "model.json", "--target", "standard.csv")
	require.Contains(t, text, "Unload between")
	require.Contains(t, text, "Cautions: ")
	require.True(t, strings.HasSuffix(strings.Join(strings.Fields(text), " "), discharge.Deference))
	text = ok(t, "predict", "model.json", "--strength", "6", "--ratio", "1.3", "--time", "14")
	require.Contains(t, text, " ± ")
	require.Contains(t, text, "kg/kg")
	text = ok(t, "fit", "trials.csv", "-o", "again.json")
	require.Contains(t, text, "Written to again.json")
	a, err := os.ReadFile("model.json")
	require.NoError(t, err)
	b, err := os.ReadFile("again.json")
	require.NoError(t, err)
	require.Equal(t, a, b, "the same trials give the same model")
}

// A process of the user's own brings its factors as flags.
func TestOwnProcessFactorsAreFlags(t *testing.T) {
	t.Chdir(t.TempDir())
	require.NoError(t, os.WriteFile("own.json", []byte(`{"id": "pellet-our-drum", "title": "pellets in the small drum", "extends": "permanganate-pellet",
		"factors": [{"column": "abrasion_min", "title": "abrasion before", "unit": "min", "transform": "linear", "typical": [0, 60], "step": 5}]}`), 0o644))
	var b strings.Builder
	b.WriteString("# invented data\nlot,role,process,strength_pct,ratio,time_min,abrasion_min,panel,L,a,b,illuminant,observer\n")
	fmt.Fprintln(&b, "BASE,base,,,,,,1,19.5,0.4,-8.9,D65,10\nWHITE,white,,,,,,1,84,-1.5,5.5,D65,10")
	for i := range 8 {
		strength, minutes, abrasion := 4+4*float64(i%2), 8+8*float64(i/2%2), 30*float64(i/4)
		level := 0.3 + 0.08*float64(i%2) + 0.12*float64(i/2%2) + 0.06*float64(i/4)
		fmt.Fprintf(&b, "L%d,trial,pellet-our-drum,%g,1,%g,%g,1,%g,%g,%g,D65,10\n", i, strength, minutes, abrasion, 19.5+64.5*level, 0.4-6*level*(1-level), -8.9-12*level*(1-level)+14.4*level*level)
	}
	require.NoError(t, os.WriteFile("own.csv", []byte(b.String()), 0o644))
	require.Equal(t, exitFailed, tool(t, "", "fit", "own.csv").code, "the process is not known without its file")
	r := tool(t, "", "fit", "own.csv", "-o", "own-model.json", "--process-file", "own.json")
	require.Equal(t, exitDone, r.code, r.err)
	require.Contains(t, r.err, "ratio was 1 in every trial")
	got := decode[[]prediction](t, ok(t, "predict", "own-model.json", "--strength", "5", "--ratio", "1", "--time", "12", "--abrasion", "20", "--format", "json"))
	require.Equal(t, 20.0, got[0].Settings["abrasion_min"])
	list := decode[[]suggestResult](t, ok(t, "suggest", "own-model.json", "--lab", "50,-1,-9", "--min-abrasion", "20", "--max-abrasion", "20", "--tolerance", "5", "--format", "json"))
	for _, s := range list[0].Suggestions {
		require.Equal(t, 20.0, s.Settings["abrasion_min"])
	}
	require.NotEmpty(t, list[0].Suggestions)
	require.Equal(t, exitUsage, tool(t, "", "predict", "own-model.json", "--abrasion", "20", "--shine", "3").code)
}

// A factor that never varied need not be given, and is shown at its value.
func TestFixedFactorIsFilledIn(t *testing.T) {
	t.Chdir(t.TempDir())
	rows := strings.ReplaceAll(string(labLots()), ",2,", ",1,")
	rows = strings.ReplaceAll(rows, ",1.4,", ",1,")
	require.NoError(t, os.WriteFile("lots.csv", []byte(rows), 0o644))
	ok(t, "fit", "lots.csv", "-o", "m.json", "--process", "permanganate-pellet", "--viewing", "D65/10")
	r := tool(t, "", "predict", "m.json", "--strength", "5", "--time", "12", "--format", "json")
	require.Equal(t, exitDone, r.code, r.err)
	got := decode[[]prediction](t, r.out)[0]
	require.Equal(t, 1.0, got.Settings["ratio"])
	r = tool(t, "", "predict", "m.json", "--strength", "5", "--time", "12", "--ratio", "2", "--format", "json")
	got = decode[[]prediction](t, r.out)[0]
	require.True(t, got.Extrapolated)
	require.Contains(t, strings.Join(got.Warnings, "\n"), "ratio was 1 in every trial")
}

// An optional factor that the trials chose and the lot does not name is filled in, and
// said; acid hypochlorite is warned of and never suggested.
func TestChosenFactorLeftOut(t *testing.T) {
	t.Chdir(t.TempDir())
	var csv strings.Builder
	csv.WriteString("lot,role,process,strength_gpl,liquor_ratio,time_min,temp_c,ph,illuminant,observer,L,a,b\nB,base,hypochlorite-bath,,,,,,D65,10,20,0,-12\nW,white,hypochlorite-bath,,,,,,D65,10,80,-1,4\n")
	for i, strength := range []float64{1, 2, 4, 1, 2, 4, 1, 4} {
		temp, minutes := 30+20*(i%2), 5+4*i
		l := 20 + 60/(1+40/(strength*float64(minutes)*float64(temp)/40))
		fmt.Fprintf(&csv, "T%d,trial,hypochlorite-bath,%g,10,%d,%d,9,D65,10,%.2f,-1,%.2f\n", i, strength, minutes, temp, l, -12+0.2*(l-20))
	}
	require.NoError(t, os.WriteFile("bath.csv", []byte(csv.String()), 0o644))
	ok(t, "fit", "bath.csv", "-o", "bath.json")
	p := decode[[]prediction](t, ok(t, "predict", "bath.json", "--strength", "2", "--liquor-ratio", "10", "--time", "15", "--format", "json"))[0]
	require.InDelta(t, 40, p.Settings["temp_c"], 0.5)
	require.NotEmpty(t, p.Warnings)
	require.Contains(t, p.Warnings[0], "temp_c is not given and taken as")
	given := decode[[]prediction](t, ok(t, "predict", "bath.json", "--strength", "2", "--liquor-ratio", "10", "--time", "15", "--temp", fmt.Sprint(p.Settings["temp_c"]), "--format", "json"))[0]
	require.InDelta(t, given.Shade.L, p.Shade.L, 1e-9)
	require.Empty(t, given.Warnings)
	acid := decode[[]prediction](t, ok(t, "predict", "bath.json", "--strength", "2", "--liquor-ratio", "10", "--time", "15", "--temp", "40", "--ph", "4", "--format", "json"))[0]
	require.Contains(t, strings.Join(acid.Warnings, "; "), "chlorine gas")
	r := tool(t, "", "plan", "hypochlorite-bath", "--min-ph", "3", "--max-ph", "5")
	require.Equal(t, exitFailed, r.code)
	require.Contains(t, r.err, "chlorine gas")
}

func TestJSONIsPlain(t *testing.T) {
	workspace(t)
	for _, args := range [][]string{{"fit", "trials.csv", "-o", "model.json"}, {"suggest", "model.json", "--lab", "200,0,0"}, {"suggest", "model.json", "--lab", "100,0,0"},
		{"suggest", "model.json", "--lab", "0,0,0"}, {"predict", "model.json", "--strength", "100", "--ratio", "1e6", "--time", "1e9"},
		{"predict", "model.json", "--strength", "1e-9", "--ratio", "1e-9", "--time", "1e-9"}} {
		r := tool(t, "", append(args, "--format", "json")...)
		if r.code != exitDone {
			require.Empty(t, r.out)
			require.Equal(t, exitUsage, r.code, "%v: %s", args, r.err)
			continue
		}
		require.True(t, json.Valid([]byte(r.out)), args)
	}
}

// A target's viewing said by flag: the model's is silent and the same, another
// one cannot be compared.
func TestSuggestTargetViewing(t *testing.T) {
	dir := t.TempDir()
	model := filepath.Join(dir, "m.json")
	trials := filepath.Join(dir, "trials.csv")
	target := filepath.Join(dir, "target.csv")
	require.NoError(t, os.WriteFile(trials, demo.PelletTrials(), 0o644))
	require.NoError(t, os.WriteFile(target, []byte("id,L,a,b\nmid,48,-2.6,-9\n"), 0o644))
	require.Equal(t, exitDone, tool(t, "", "fit", trials, "-o", model).code)
	plain := tool(t, "", "suggest", model, "--target", target, "--format", "json")
	require.Equal(t, exitDone, plain.code, plain.err)
	require.Contains(t, plain.err, "taken to be under the model's D65/10")
	said := tool(t, "", "suggest", model, "--target", target, "--viewing", "D65/10", "--format", "json")
	require.Equal(t, exitDone, said.code, said.err)
	require.Equal(t, plain.out, said.out)
	require.NotContains(t, said.err, "taken to be")
	other := tool(t, "", "suggest", model, "--target", target, "--viewing", "A/10")
	require.Equal(t, exitFailed, other.code)
	require.Contains(t, other.err, "A/10")
}

// Where the active oxidizer cannot be told, the flags that it lacks are named.
func TestSuggestNamesWhatActiveLacks(t *testing.T) {
	p, err := discharge.LookupProcess("ozone-gas")
	require.NoError(t, err)
	s := discharge.Settings{"strength_gnm3": 60, "moisture_pct": 45, "time_min": 20}
	require.Equal(t, []string{"--flow", "--load"}, activeLacks(p, s))
	s["flow_nm3pmin"], s["load_kg"] = 1, 40
	require.Empty(t, activeLacks(p, s))
}

// Last month's production is learned from together with the trials, where that is asked
// for, and said to be left out where it is not. The model's count of lots is the files'.
func TestProductionIsLearnedFromWhenAsked(t *testing.T) {
	workspace(t)
	lots := func(args ...string) (int, string) {
		r := tool(t, "", append([]string{"fit", "trials.csv", "-o", "new.json", "--format", "json"}, args...)...)
		require.Equal(t, exitDone, r.code, r.err)
		var got struct{ Lots int }
		require.NoError(t, json.Unmarshal([]byte(r.out), &got))
		return got.Lots, r.err
	}
	trials, _ := lots()
	same, said := lots("production.csv")
	require.Equal(t, trials, same)
	require.Contains(t, said, "2 lots with role production are not learned from; --production learns from them, too")
	more, said := lots("production.csv", "--production")
	require.Equal(t, trials+2, more) // the file's first line says that it has two
	require.NotContains(t, said, "not learned from")
	// The demo has 18 trial lots and 2 of production.
	text := ok(t, "fit", "trials.csv", "production.csv", "--production", "-o", "all.json", "--report", "all.html")
	require.Contains(t, text, ", 20 lots (2 of production), D65/10")
	view, err := os.ReadFile("all.html")
	require.NoError(t, err)
	require.Contains(t, string(view), "20 lots (2 of production). A lot predicted from all the others")
	require.Contains(t, ok(t, "fit", "trials.csv", "-o", "some.json"), ", 18 trial lots, D65/10")
	_, said = lots("--production")
	require.Contains(t, said, "no lot with role production")

	require.Equal(t, exitFailed, tool(t, "", "recalibrate", "new.json", "production.csv", "-o", "other.json").code)
	require.Contains(t, ok(t, "recalibrate", "new.json", "production.csv", "-o", "other.json", "--production"), "from 2 lots")
	require.Equal(t, exitFailed, tool(t, "", "fit", "trials.csv", "trials.csv", "-o", "twice.json").code)
	require.NoFileExists(t, "twice.json")
}

// The demo's lots from the tenth on, said to have run on another machine and a quarter
// longer: that machine takes 1.25 times the minutes, and the model for the first is about
// the demo's.
func TestFitLearnsFromOtherMachines(t *testing.T) {
	workspace(t)
	rows, err := csv.NewReader(strings.NewReader(strings.SplitN(string(demo.PelletTrials()), "\n", 2)[1])).ReadAll()
	require.NoError(t, err)
	machine, minutes := slices.Index(rows[0], "machine"), slices.Index(rows[0], "time_min")
	for _, row := range rows[1:] {
		if strings.HasPrefix(row[0], "T1") {
			x, err := strconv.ParseFloat(row[minutes], 64)
			require.NoError(t, err)
			row[machine], row[minutes] = "drum-4", fmt.Sprint(1.25*x)
		}
	}
	var b bytes.Buffer
	require.NoError(t, csv.NewWriter(&b).WriteAll(rows))
	require.NoError(t, os.WriteFile("several.csv", b.Bytes(), 0o644))
	r := tool(t, "", "fit", "several.csv", "--machine", "drum-3", "-o", "drum-3.json", "--format", "json", "--report", "several.html")
	require.Equal(t, exitDone, r.code, r.err)
	require.NotContains(t, r.err, "taken for one")
	o := decode[map[string]any](t, r.out)
	require.Equal(t, "drum-3", o["machine"])
	other := keys(t, o["others"].([]any)[0], "fabric", "machine", "lots", "shift_log_dose", "se", "dose_factor", "minutes_factor", "strength_factor")
	require.Equal(t, "drum-4", other["machine"])
	require.InDelta(t, 9, other["lots"], 0)
	x := other["minutes_factor"].([]any)
	require.Less(t, x[0], 0.8)
	require.Greater(t, x[2], 0.8)
	at := []string{"--strength", "6", "--ratio", "1.4", "--time", "12", "--format", "json"}
	ok(t, "fit", "trials.csv", "-o", "model.json")
	whole := decode[[]prediction](t, ok(t, append([]string{"predict", "model.json"}, at...)...))[0]
	own := decode[[]prediction](t, ok(t, append([]string{"predict", "drum-3.json"}, at...)...))[0]
	require.InDelta(t, whole.Shade.L, own.Shade.L, 1.5)
	require.Contains(t, ok(t, "fit", "several.csv", "--machine", "drum-4", "-o", "drum-4.json"), "on machine drum-4, 18 trial lots")
	require.NoError(t, os.WriteFile("lot.csv", bytes.ReplaceAll(productionOf("P101"), []byte("drum-3"), []byte("drum-4")), 0o600))
	said := ok(t, "check", "lot.csv", "--standard", "standard.csv", "--model", "drum-3.json")
	require.Contains(t, strings.Join(strings.Fields(said), " "), "the model's trials have lots there, too: fit them again for it")
	view, err := os.ReadFile("several.html")
	require.NoError(t, err)
	require.Contains(t, string(view), "on machine drum-3")
	require.Contains(t, string(view), "Lots on other fabrics and machines stand at the dose")
	require.Contains(t, tool(t, "", "fit", "several.csv").err, "name the one that the model is for (--machine)")
	r = tool(t, "", "fit", "several.csv", "--machine", "drum-5", "-o", "no.json")
	require.Equal(t, exitFailed, r.code)
	require.Contains(t, r.err, "no trial lot has machine drum-5; there are drum-3, drum-4")
	require.NoFileExists(t, "no.json")
}

// Six months of production over two deliveries, the second a sixth weaker: a model of both would
// be of neither, and the lot is named where dose took its step. Sound production is not doubted.
func TestProductionOverTwoDeliveriesIsToldApart(t *testing.T) {
	t.Chdir(t.TempDir())
	shade := func(eta float64) (l, a, b float64) {
		s := 1 / (1 + math.Exp(-eta))
		return 24 + 60*s, -0.5 - 8*s*(1-s), -12 + 4*s - 6*s*(1-s)
	}
	write := func(name string, second float64) {
		random := rand.New(rand.NewPCG(4, 2))
		var b strings.Builder
		b.WriteString("lot,role,process,strength_pct,ratio,time_min,panel,illuminant,observer,L,a,b\n")
		row := func(lot, role, settings string, eta float64) {
			for panel := range 3 {
				l, a, bb := shade(eta + 0.02*random.NormFloat64())
				fmt.Fprintf(&b, "%s,%s,permanganate-pellet,%s,%d,D65,10,%.3f,%.3f,%.3f\n", lot, role, settings, panel+1, l, a, bb)
			}
		}
		lot := func(name, role string, strength, ratio, minutes, alive float64) {
			row(name, role, fmt.Sprintf("%g,%g,%g", strength, ratio, minutes), 1.6*math.Log(alive*strength/6.5*ratio/1.4*minutes/12)+0.08*random.NormFloat64())
		}
		row("base", "base", ",,", -20)
		row("white", "white", ",,", 20)
		n := 0
		for _, s := range []float64{4, 6.5, 10} {
			for _, r := range []float64{1, 2} {
				for _, m := range []float64{7, 20} {
					n++
					lot(fmt.Sprintf("T%02d", n), "trial", s, r, m, 1)
				}
			}
		}
		for i := range 40 {
			alive := 1.0
			if i >= 20 {
				alive = second
			}
			lot(fmt.Sprintf("P%02d", i+1), "production", []float64{6.5, 5.5}[i%2], 1.4, []float64{12, 10, 14}[i%3], alive)
		}
		require.NoError(t, os.WriteFile(name, []byte(b.String()), 0o644))
	}
	write("two.csv", 1/1.2)
	write("one.csv", 1)
	r := tool(t, "", "fit", "two.csv", "--production", "-o", "m.json")
	require.Equal(t, exitDone, r.code, r.err)
	require.Regexp(t, `production from lot P(20|21|22) on has had -\d+ % dose`, r.err)
	r = tool(t, "", "fit", "one.csv", "--production", "-o", "m.json")
	require.Equal(t, exitDone, r.code, r.err)
	require.NotContains(t, r.err, "production from lot")
}
