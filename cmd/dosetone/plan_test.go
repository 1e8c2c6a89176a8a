package main

import (
	"encoding/csv"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
)

// TestFirstPlanIsATrialTable: what --format csv writes can be filled in and
// read back as settings, and the same seed gives the same plan.
func TestFirstPlanIsATrialTable(t *testing.T) {
	workspace(t)
	args := strings.Fields("plan permanganate-pellet --min-strength 4 --max-strength 10 --min-ratio 1 --max-ratio 2 --min-time 6 --max-time 24 --format csv")
	text := ok(t, args...)
	require.Equal(t, text, ok(t, args...))
	require.NotEqual(t, text, ok(t, append(args, "--seed", "2")...))
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"run", "lot", "role", "process", "strength_pct", "ratio", "time_min"}, rows[0])
	p, err := discharge.LookupProcess("permanganate-pellet")
	require.NoError(t, err)
	list, err := discharge.ReadSettings("plan.csv", strings.NewReader(text), p)
	require.NoError(t, err)
	require.Len(t, list.Items, 12)
	levels := map[string]map[float64]bool{}
	for _, s := range list.Items {
		for c, v := range s.Settings {
			if levels[c] == nil {
				levels[c] = map[float64]bool{}
			}
			levels[c][v] = true
		}
		require.GreaterOrEqual(t, s.Settings["time_min"], 6.0)
		require.LessOrEqual(t, s.Settings["time_min"], 24.0)
	}
	for c, l := range levels {
		require.GreaterOrEqual(t, len(l), 3, "%s: curvature needs three levels", c)
	}
	roles := map[string]int{}
	for _, r := range rows[1:] {
		roles[r[2]]++
	}
	require.Equal(t, map[string]int{"trial": 12, "base": 1, "blank": 1, "white": 1}, roles)
}

// Levels between bounds are what people dial, without the rest that binary
// fractions leave; what they typed is kept.
func TestPlansHaveNumbersAsDialed(t *testing.T) {
	for _, f := range []string{"text", "csv", "json"} {
		text := ok(t, strings.Fields("plan ozone-gas --min-moisture 0.3 --max-moisture 0.6 --format "+f)...)
		require.Regexp(t, `\b0\.(35|4|45|5|55)\b`, text, f)
		require.NotRegexp(t, `\d\.\d*(0000|9999)`, text, f)
	}
	require.Contains(t, ok(t, strings.Fields("plan ozone-gas --min-moisture 30.123456 --max-moisture 30.123456 --format csv")...), ",30.123456,")
}

// What lies outside what is usual, or outside the trials, is named with its value
// and the range; what the trials had is this laundry's habit.
func TestBoundsOutsideWhatIsKnownAreDoubted(t *testing.T) {
	workspace(t)
	ok(t, "fit", "trials.csv", "-o", "model.json", "--quiet") // 4 to 10 %, 6 to 24 min
	const outside, usual = "is outside the trials' 4 to 10 %", "is outside the usual 0.5 to 12 %"
	for _, c := range []struct {
		args    string
		says    []string
		nothing []string
	}{
		{"plan permanganate-pellet --min-strength 40 --max-strength 90", []string{"strength_pct 40 " + usual, "strength_pct 90 " + usual}, nil},
		{"plan permanganate-pellet --min-strength 4 --max-strength 10", nil, []string{"is outside"}},
		{"plan permanganate-pellet --strengths 4,8,20", []string{"strength_pct 20 " + usual}, []string{"strength_pct 4 ", "strength_pct 8 "}},
		{"plan model.json --max-strength 14", []string{"strength_pct 14 " + outside, "strength_pct 14 " + usual}, []string{"strength_pct 4 "}},
		{"suggest model.json --lab 50,-2.6,-8 --max-strength 14", []string{"strength_pct 14 " + outside, "strength_pct 14 " + usual}, nil},
		{"suggest model.json --lab 50,-2.6,-8 --strengths 2,6,12", []string{"strength_pct 2 " + outside, "strength_pct 12 " + outside}, []string{"strength_pct 6 ", usual}},
		{"suggest model.json --lab 50,-2.6,-8 --min-time 25 --max-time 35", []string{"time_min 25 is outside the trials' 6 to 24 min", "time_min 35 is outside"}, nil},
		{"suggest model.json --lab 50,-2.6,-8 --strengths 4,6,8 --max-time 20", nil, []string{"is outside"}},
	} {
		r := tool(t, "", strings.Fields(c.args)...)
		require.Equal(t, exitDone, r.code, r.err)
		for _, s := range c.says {
			require.Contains(t, r.err, s, c.args)
		}
		for _, s := range c.nothing {
			require.NotContains(t, r.err, s, c.args)
		}
	}
	// The settings suggested are named with their own values.
	args := strings.Fields("suggest model.json --lab 50,-2.6,-8 --min-strength 10.5 --max-strength 14 --count 1")
	r := tool(t, "", args...)
	got := decode[[]suggestResult](t, ok(t, append(args, "--format", "json")...))
	require.Contains(t, r.err, "strength_pct "+report.Short(got[0].Suggestions[0].Settings["strength_pct"], 6)+" "+outside)
	// Programs read the plan's with it.
	plan := decode[planResult](t, ok(t, strings.Fields("plan permanganate-pellet --max-strength 90 --format json")...))
	require.Contains(t, strings.Join(plan.Warnings, "\n"), "strength_pct 90 "+usual)
}

func TestNextPlanNarrowsTheTarget(t *testing.T) {
	workspace(t)
	ok(t, "fit", "trials.csv", "-o", "model.json")
	o := keys(t, decode[any](t, ok(t, "plan", "model.json", "--target", "standard.csv", "--strengths", "4,6,8,10", "--max-time", "20", "--format", "json")),
		"process", "seed", "target", "lots", "half_width_before", "half_width_after", "warnings")
	before, after := o["half_width_before"].(map[string]any), o["half_width_after"].(map[string]any)
	require.Less(t, after["delta_e"], before["delta_e"])
	require.Greater(t, after["delta_e"], 0.0)
	require.Len(t, o["lots"], 4)
	for _, l := range o["lots"].([]any) {
		s := keys(t, l, "run", "lot", "role", "settings", "why")["settings"].(map[string]any)
		require.Contains(t, []float64{4, 6, 8, 10}, s["strength_pct"])
		require.LessOrEqual(t, s["time_min"], 20.0)
	}
	require.Contains(t, ok(t, "plan", "model.json"), "on average over the region")
}

// A first plan says what it leaves alone, and how to plan that.
func TestFirstPlanSaysWhatItLeavesAlone(t *testing.T) {
	flat := func(args ...string) string {
		return strings.Join(strings.Fields(ok(t, append([]string{"plan", "hypochlorite-bath"}, args...)...)), " ")
	}
	require.Contains(t, flat(), "Not planned: bath temperature, pH of the bath, drum speed.")
	require.Contains(t, flat("--min-temp", "30", "--max-temp", "50"), "Not planned: pH of the bath, drum speed.")
}

func TestPlanAndRecalibrateMessages(t *testing.T) {
	workspace(t)
	ok(t, "fit", "lots.csv", "-o", "model.json", "--process", "permanganate-pellet", "--viewing", "D65/10")
	for _, c := range []struct {
		args string
		code int
		says string
	}{
		{"plan", exitUsage, "name a process"},
		{"plan permanganate-pelet", exitUsage, `did you mean "permanganate-pellet"?`},
		{"plan permanganate-pellet --lab 40,-2,-11", exitUsage, "needs a model"},
		{"plan permanganate-pellet --lots 2", exitFailed, "at least 4"},
		{"plan permanganate-pellet --lots 9999", exitFailed, "1 to 96"},
		{"plan permanganate-pellet --min-time 20 --max-time 10", exitUsage, "--min-time 20 is above --max-time 10"},
		{"plan permanganate-pellet --min-time 0", exitUsage, "above 0"},
		{"plan permanganate-pellet --max-liquor-ratio 5", exitUsage, "no such factor"},
		{"plan model.json --lab 45,40,20", exitFailed, "cannot be reached within ΔE00 1.5"},
		{"plan model.json --lab 45,40,20 --tolerance 2", exitFailed, "cannot be reached within ΔE00 2"},
		{"plan model.json --lab 40,-2,-11 --tolerance -1", exitUsage, "--tolerance must be above 0"},
		{"plan model.json --tolerance 2", exitUsage, "belongs to a target"},
		{"plan permanganate-pellet --tolerance 2", exitUsage, "needs a model"},
		{"plan model.json --lab 40,-2,-11 --target standard.csv", exitUsage, "not both"},
		{"plan lots.csv", exitFailed, "lots.csv"},
		{"recalibrate model.json lots.csv", exitUsage, "-o new.json"},
		{"recalibrate model.json lots.csv -o -", exitUsage, "name a file"},
		{"recalibrate model.json lots.csv -o ./model.json", exitUsage, "-o ./model.json would overwrite the input model.json: name another file"},
		{"plan model.json --lots 0", exitUsage, "at least 1"},
		{"recalibrate model.json settings.csv -o new.json", exitFailed, "settings.csv"},
		{"recalibrate model.json standard.csv -o new.json", exitFailed, "trial"},
		{"recalibrate model.json lots.csv -o new.json --shift-sd 0", exitUsage, "above 0"},
		{"recalibrate missing.json lots.csv -o new.json", exitFailed, "no such file"},
	} {
		r := tool(t, "", strings.Fields(c.args)...)
		require.Equal(t, c.code, r.code, "%s: %s", c.args, r.err)
		require.Contains(t, r.err, c.says, c.args)
		require.Empty(t, r.out, c.args)
	}
	_, err := os.Stat("new.json")
	require.ErrorIs(t, err, os.ErrNotExist)
}

// Lots of a fabric that reacts like one time step longer: the same shades at
// 0.8 times the minutes. The dose factor must lie above 1, and the new model
// must predict lighter than the old one.
func TestRecalibrateSeesAFasterFabric(t *testing.T) {
	workspace(t)
	ok(t, "fit", "trials.csv", "-o", "model.json")
	ok(t, "fit", "lots.csv", "-o", "lab.json", "--process", "permanganate-pellet", "--viewing", "D65/10")
	require.NoError(t, os.WriteFile("new.csv", []byte(`# invented data: no real laundry
lot,role,strength_pct,ratio,time_min,panel,L,a,b,illuminant,observer
N1,trial,4,2,9,1,38.2,-2.1,-11.2,D65,10
N2,trial,8,2,14,1,55.4,-2.6,-6.4,D65,10
`), 0o644))
	o := keys(t, decode[any](t, ok(t, "recalibrate", "lab.json", "new.csv", "-o", "new.json", "--format", "json")),
		"process", "fabric", "machine", "lots", "shift_log_dose", "se", "dose_factor", "minutes_factor", "strength_factor", "base_read", "white_read", "warnings", "model")
	require.Greater(t, o["dose_factor"].([]any)[1], 1.0)
	minutes := o["minutes_factor"].([]any)
	require.Less(t, minutes[0], 1/0.8)
	require.Greater(t, minutes[2], 1/0.8)
	require.Greater(t, o["se"], 0.0)
	require.NotEmpty(t, o["warnings"], "base and white were not read")
	at := []string{"--strength", "6", "--ratio", "1.4", "--time", "12", "--format", "json"}
	was := decode[[]prediction](t, ok(t, append([]string{"predict", "lab.json"}, at...)...))
	is := decode[[]prediction](t, ok(t, append([]string{"predict", "new.json"}, at...)...))
	require.Greater(t, is[0].Shade.L, was[0].Shade.L)
	require.Contains(t, ok(t, "recalibrate", "lab.json", "new.csv", "-o", "new.json"), "from 2 lots\nThe same settings give")
	data, err := os.ReadFile("new.csv")
	require.NoError(t, err)
	one := strings.Split(string(data), "N2,")[0]
	require.NoError(t, os.WriteFile("one.csv", []byte(one), 0o644))
	require.Contains(t, ok(t, "recalibrate", "lab.json", "one.csv", "-o", "one.json"), "from 1 lot\n")
	require.Contains(t, ok(t, "recalibrate", "model.json", "new.csv", "-o", "new.json", "--format", "csv"), "dose_factor")
}

// The limit leaves only suggestions that keep it, and is refused without tests.
func TestSuggestKeepsTensileStrength(t *testing.T) {
	workspace(t)
	ok(t, "fit", "trials.csv", "-o", "model.json")
	ask := func(args ...string) []suggestResult {
		return decode[[]suggestResult](t, ok(t, append([]string{"suggest", "model.json", "--target", "standard.csv", "--format", "json"}, args...)...))
	}
	free := ask()
	require.NotEmpty(t, free[0].Suggestions)
	most := free[0].Suggestions[0].TensileLossPct.Mean
	require.Positive(t, most)
	for _, s := range ask("--max-tensile-loss", report.Exact(0.99*most))[0].Suggestions {
		require.LessOrEqual(t, s.TensileLossPct.Mean, 0.99*most)
	}
	ok(t, "suggest", "model.json", "--target", "standard.csv", "--report", "page.html")
	page, err := os.ReadFile("page.html")
	require.NoError(t, err)
	require.Contains(t, string(page), "tensile loss, %")
	require.Contains(t, string(page), report.PlusMinus(most, (free[0].Suggestions[0].TensileLossPct.Hi-free[0].Suggestions[0].TensileLossPct.Lo)/2))
	none := ask("--max-tensile-loss", "0.1")
	require.Empty(t, none[0].Suggestions)
	require.Contains(t, none[0].Why, "tensile")
	r := tool(t, "", "suggest", "model.json", "--lab", "48,-2.6,-9", "--max-tensile-loss", "0")
	require.Equal(t, exitUsage, r.code)
	ok(t, "fit", "lots.csv", "-o", "lab.json", "--process", "permanganate-pellet", "--viewing", "D65/10")
	r = tool(t, "", "suggest", "lab.json", "--lab", "48,-2.6,-9", "--max-tensile-loss", "10")
	require.Equal(t, exitFailed, r.code)
	require.Contains(t, r.err, "tensile_loss_pct")
}

// A target under another light than the model's is not answered as if it were under the
// model's.
func TestSuggestAsksForTheLightOfTheModel(t *testing.T) {
	workspace(t)
	ok(t, "fit", "trials.csv", "-o", "model.json")
	r := tool(t, "", "suggest", "model.json", "--lab", "48,-2.6,-9", "--viewing", "F11/10")
	require.Equal(t, exitFailed, r.code)
	require.Contains(t, r.err, "fit the trials' spectra again for F11/10")
	ok(t, "suggest", "model.json", "--lab", "48,-2.6,-9", "--viewing", "D65/10")

	var alone []string
	for line := range strings.Lines(string(demo.PelletStandard())) {
		if !strings.Contains(line, "limit") {
			alone = append(alone, line)
		}
	}
	require.NoError(t, os.WriteFile("alone.csv", []byte(strings.Join(alone, "")), 0o600))
	r = tool(t, "", "suggest", "model.json", "--target", "alone.csv", "--viewing", "F11/10")
	require.Equal(t, exitDone, r.code, r.err)
	require.Contains(t, r.err, "fit the trials with --viewing F11/10")
}

// A process of one's own is planned by its file, its factors with the others; what drifted in
// the trials has empty columns to fill in.
func TestPlanOfAnOwnProcessAndColumnsToNote(t *testing.T) {
	workspace(t)
	own := `{"id":"pellet-small-drum","title":"pellets in the small drum","extends":"permanganate-pellet",
		"factors":[{"column":"abrasion_min","title":"abrasion before","unit":"min","transform":"linear","optional":true,"typical":[0,60],"step":5}]}`
	require.NoError(t, os.WriteFile("own.json", []byte(own), 0o600))
	for _, args := range [][]string{{"--process-file", "own.json"}, {"own.json"}, {"--process-file=own.json"}} {
		text := ok(t, append(append([]string{"plan"}, args...), "--min-abrasion", "10", "--max-abrasion", "40", "--format", "csv")...)
		require.Contains(t, text, "abrasion_min")
		require.Contains(t, text, ",trial,pellet-small-drum,")
	}
	require.Equal(t, exitUsage, tool(t, "", "plan").code)
	ok(t, "fit", "trials.csv", "-o", "model.json")
	rows := strings.Split(ok(t, "plan", "model.json", "--format", "csv"), "\n")
	require.Equal(t, "run,lot,role,process,strength_pct,ratio,time_min,rpm,moisture_pct", rows[0])
	require.True(t, strings.HasSuffix(rows[1], ",,"), rows[1])
	require.Contains(t, ok(t, "plan", "model.json"), "Note with every lot, as they drift: drum speed, moisture of the garments.")
}
