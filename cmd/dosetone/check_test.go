package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge/quality"
)

// productionOf is the demo's production file with only one of its lots.
func productionOf(id string) []byte {
	var out []string
	for _, line := range strings.SplitAfter(string(demo.PelletProduction()), "\n") {
		if strings.HasPrefix(line, "#") || strings.HasPrefix(line, "lot,") || strings.HasPrefix(line, id+",") {
			out = append(out, line)
		}
	}
	return []byte(strings.Join(out, ""))
}

// checkWorkspace has the demo's lots: P101 is good, P102 has a brown cast (the
// demo's README says so).
func checkWorkspace(t *testing.T) {
	t.Helper()
	workspace(t)
	require.NoError(t, os.WriteFile("both.csv", demo.PelletProduction(), 0o644))
	require.NoError(t, os.WriteFile("bad.csv", productionOf("P102"), 0o644))
	ok(t, "fit", "trials.csv", "-o", "model.json")
}

// Lots in percent against a standard in factors that says so: --reflectance percent is
// for the lots, and the judgment is that of the same lots in factors.
func TestCheckOfLotsInPercent(t *testing.T) {
	checkWorkspace(t)
	scaled := func(data []byte, unit string, scale float64) []byte {
		var rows [][]string
		for line := range strings.SplitSeq(strings.TrimSpace(string(data)), "\n") {
			if strings.HasPrefix(line, "#") {
				continue
			}
			row := strings.Split(line, ",")
			if len(rows) == 0 {
				rows = append(rows, append(row, "unit"))
				continue
			}
			for j, h := range rows[0][:len(row)] {
				if strings.HasPrefix(h, "R") && len(h) == 4 {
					v, err := strconv.ParseFloat(row[j], 64)
					require.NoError(t, err)
					row[j] = strconv.FormatFloat(v*scale, 'g', -1, 64)
				}
			}
			rows = append(rows, append(row, unit))
		}
		var b bytes.Buffer
		require.NoError(t, csv.NewWriter(&b).WriteAll(rows))
		return b.Bytes()
	}
	standard, err := os.ReadFile("standard.csv")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile("percent.csv", scaled(productionOf("P101"), "", 100), 0o644))
	require.NoError(t, os.WriteFile("says.csv", scaled(standard, "factor", 1), 0o644))
	want := decode[checkResult](t, ok(t, "check", "lot.csv", "--standard", "standard.csv", "--format", "json"))
	got := decode[checkResult](t, ok(t, "check", "percent.csv", "--standard", "says.csv", "--reflectance", "percent", "--format", "json"))
	require.InDelta(t, want.DeltaELot, got.DeltaELot, 1e-9)
	require.Equal(t, want.Verdict, got.Verdict)
}

func TestCheckJudgesTheDemosLots(t *testing.T) {
	checkWorkspace(t)
	good := tool(t, "", "check", "lot.csv", "--standard", "standard.csv", "--model", "model.json", "--format", "json")
	require.Equal(t, exitDone, good.code, good.err)
	// The keys of design.md's contract.
	keys := decode[map[string]any](t, good.out)
	for _, k := range []string{"verdict", "delta_e_lot", "delta_e_interval", "panels", "along", "off", "likely_cause", "correction", "shade_band"} {
		require.Contains(t, keys, k)
	}
	require.Equal(t, "accept", keys["verdict"])

	bad := tool(t, "", "check", "bad.csv", "--standard", "standard.csv", "--model", "model.json", "--format", "json")
	require.Equal(t, exitOutside, bad.code)
	require.Contains(t, bad.err, "outside tolerance: P102")
	r := decode[checkResult](t, bad.out)
	require.Equal(t, "reject", string(r.Verdict))
	require.Equal(t, "brown cast", *r.LikelyCause)
	require.False(t, r.Correction.Possible)

	both := tool(t, "", "check", "both.csv", "--standard", "standard.csv", "--format", "json")
	require.Equal(t, exitOutside, both.code)
	list := decode[[]checkResult](t, both.out)
	require.Len(t, list, 2)
	require.NotEqual(t, list[0].ShadeBand, list[1].ShadeBand)

	text := tool(t, "", "check", "both.csv", "--standard", "standard.csv", "--model", "model.json", "--share", "80")
	require.Equal(t, exitOutside, text.code)
	for _, s := range []string{"Lot P101: ACCEPT", "Lot P102: REJECT", "brown cast", "neutralize again", "Shade bands", "Under other lights", "by variables", "Cautions"} {
		require.Contains(t, text.out, s)
	}
	rows, err := csv.NewReader(strings.NewReader(tool(t, "", "check", "both.csv", "--standard", "standard.csv", "--format", "csv").out)).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 3)
	one := tool(t, "", "check", "both.csv", "--standard", "standard.csv", "--lot", "P101", "--difference", "CMC", "--tolerance", "2")
	require.Equal(t, exitDone, one.code, one.err)
	require.Contains(t, one.out, "CMC(2:1)")
}

func TestCheckKeepsALedger(t *testing.T) {
	checkWorkspace(t)
	args := func(file string) []string {
		return []string{"check", file, "--standard", "standard.csv", "--model", "model.json", "--ledger", "ledger.csv"}
	}
	first := tool(t, "", args("lot.csv")...)
	require.Equal(t, exitDone, first.code, first.err)
	require.Contains(t, first.out, "Monitoring")
	before, err := os.ReadFile("ledger.csv")
	require.NoError(t, err)
	again := tool(t, "", args("lot.csv")...)
	require.Contains(t, again.err, "not added again")
	after, err := os.ReadFile("ledger.csv")
	require.NoError(t, err)
	require.Equal(t, string(before), string(after))
	require.Equal(t, exitOutside, tool(t, "", args("both.csv")...).code)
	after, err = os.ReadFile("ledger.csv")
	require.NoError(t, err)
	require.True(t, bytes.HasPrefix(after, before), "the ledger only grows")
	require.Equal(t, 3, bytes.Count(after, []byte("\n")))
	// A damaged ledger is not touched.
	require.NoError(t, os.WriteFile("ledger.csv", []byte("lot,verdict\nP1,accept\n"), 0o644))
	bad := tool(t, "", args("lot.csv")...)
	require.Equal(t, exitFailed, bad.code)
	require.Contains(t, bad.err, "ledger.csv:1")
	require.Empty(t, bad.out)
	text, err := os.ReadFile("ledger.csv")
	require.NoError(t, err)
	require.Equal(t, "lot,verdict\nP1,accept\n", string(text))
}

// Eight runs at once, each with a lot of its own, lose no line.
func TestCheckLedgerInParallel(t *testing.T) {
	checkWorkspace(t)
	const n = 8
	var all sync.WaitGroup
	var codes [n]int
	for i := range n {
		id := "Q" + string(rune('0'+i))
		file := id + ".csv"
		require.NoError(t, os.WriteFile(file, bytes.ReplaceAll(productionOf("P101"), []byte("P101"), []byte(id)), 0o644))
		all.Go(func() {
			codes[i] = tool(t, "", "check", file, "--standard", "standard.csv", "--model", "model.json", "--ledger", "ledger.csv").code
		})
	}
	all.Wait()
	require.Equal(t, [n]int{}, codes)
	text, err := os.ReadFile("ledger.csv")
	require.NoError(t, err)
	require.Equal(t, n+1, bytes.Count(text, []byte("\n")))
	_, err = os.Stat("ledger.csv.lock")
	require.ErrorIs(t, err, os.ErrNotExist)
}

// A standard that was measured otherwise than the lot is no standard for it; the
// condition can be chosen where a file has both.
func TestCheckComparesConditions(t *testing.T) {
	t.Chdir(t.TempDir())
	const header = "lot,role,panel,condition,L,a,b,illuminant,observer\n"
	require.NoError(t, os.WriteFile("standard.csv", []byte(header+"S,standard,1,SCE,48,-2,-9,D65,10\n"), 0o644))
	require.NoError(t, os.WriteFile("both.csv", []byte(header+"P,production,1,SCE,48,-2,-9,D65,10\nP,production,1,SCI,53,-2,-8,D65,10\n"), 0o644))
	require.NoError(t, os.WriteFile("sci.csv", []byte(header+"P,production,1,SCI,53,-2,-8,D65,10\n"), 0o644))
	require.NoError(t, os.WriteFile("silent.csv", []byte(strings.ReplaceAll(header, "condition,", "")+"P,production,1,48,-2,-9,D65,10\n"), 0o644))

	for file, says := range map[string]string{
		"both.csv": `both.csv:3: column "condition": value "SCI": measurement conditions differ: line 2 has SCE`,
		"sci.csv":  `sci.csv:2: measurement conditions differ: standard "S" is measured as SCE, the lot as SCI`,
	} {
		r := tool(t, "", "check", file, "--standard", "standard.csv")
		require.Equal(t, exitFailed, r.code)
		require.Contains(t, r.err, says)
		require.Empty(t, r.out)
	}
	r := tool(t, "", "check", "sci.csv", "--standard", "standard.csv", "--condition", "SCE")
	require.Contains(t, r.err, "no reading is of this measurement condition; the file has SCI")
	r = tool(t, "", "check", "sci.csv", "--standard", "standard.csv", "--condition", "shiny")
	require.Equal(t, exitUsage, r.code)
	require.Contains(t, r.err, "want M0, M1, M2, M3, SCI, SCE")
	for _, file := range []string{"both.csv", "silent.csv"} {
		got := decode[checkResult](t, ok(t, "check", file, "--standard", "standard.csv", "--condition", "SCE", "--format", "json"))
		require.InDelta(t, 0, got.DeltaELot, 1e-9, "the same color")
	}

	// The list of lots may state it as well.
	require.NoError(t, os.WriteFile("export.csv", []byte("id,L,a,b,illuminant,observer\nP/1,48,-2,-9,D65,10\n"), 0o644))
	require.NoError(t, os.WriteFile("list.csv", []byte("lot,role,condition\nP,production,M1\n"), 0o644))
	require.NoError(t, os.WriteFile("m0.csv", []byte("id,L,a,b,illuminant,observer,condition\nS,48,-2,-9,D65,10,M0\n"), 0o644))
	r = tool(t, "", "check", "export.csv", "--lot-list", "list.csv", "--standard", "m0.csv")
	require.Contains(t, r.err, `standard "S" is measured as M0, the lot as M1`)
}

func TestCheckRefuses(t *testing.T) {
	checkWorkspace(t)
	require.NoError(t, os.WriteFile("nolot.csv", demo.PelletStandard(), 0o644))
	require.NoError(t, os.WriteFile("damp.csv", []byte("lot,role,process,state,panel,L,a,b,illuminant,observer\nP1,production,permanganate-pellet,damp,1,40,-2,-9,D65,10\n"), 0o644))
	require.NoError(t, os.WriteFile("bath.csv", demo.HypochloriteTrials(), 0o644))
	for _, c := range []struct {
		args string
		code int
		says string
	}{
		{"check lot.csv", exitUsage, "--standard"},
		{"check lot.csv --standard standard.csv --tolerance -1", exitUsage, "above 0"},
		{"check lot.csv --standard standard.csv --share 100", exitUsage, "between 0 and 100"},
		{"check lot.csv --standard standard.csv --confidence 30", exitUsage, "between 50 and 100"},
		{"check lot.csv --standard standard.csv --difference CIE3000", exitUsage, "CIEDE2000"},
		{"check lot.csv --standard standard.csv --lot P9", exitUsage, `no lot "P9"`},
		{"check lot.csv --standard standard.csv --standard-id X", exitUsage, `no standard "X"`},
		{"check lot.csv --standard standard.csv --second-strength 4", exitUsage, "--model"},
		{"check lot.csv --standard standard.csv --model model.json --second-time 4", exitUsage, "works out"},
		{"check lot.csv --standard standard.csv --ledger -", exitUsage, "name a file"},
		{"check lot.csv --standard standard.csv --ledger no/such/ledger.csv", exitFailed, "no such"},
		{"check nolot.csv --standard standard.csv", exitFailed, "no lot to judge"},
		{"check missing.csv --standard standard.csv", exitFailed, "no such file"},
		{"check damp.csv --standard standard.csv", exitFailed, "panels read both so and finished and dry"},
		{"check bath.csv --standard standard.csv --model model.json", exitFailed, "the model is of permanganate-pellet"},
	} {
		r := tool(t, "", strings.Fields(c.args)...)
		require.Equal(t, c.code, r.code, "%s: %s", c.args, r.err)
		require.Contains(t, r.err, c.says, c.args)
		require.Empty(t, r.out, c.args)
	}
}

// A lot cut short gets the minutes of a second pass, at its own settings or at
// those given.
func TestCheckGivesASecondPass(t *testing.T) {
	checkWorkspace(t)
	dark := `lot,role,process,strength_pct,ratio,time_min,panel,L,a,b,illuminant,observer
P7,production,permanganate-pellet,7,1.3,13,1,43.1,-2.50,-10.3,D65,10
P7,production,permanganate-pellet,7,1.3,13,2,42.8,-2.45,-10.4,D65,10
P7,production,permanganate-pellet,7,1.3,13,3,43.3,-2.48,-10.3,D65,10
P7,production,permanganate-pellet,7,1.3,13,4,43.0,-2.50,-10.4,D65,10
`
	require.NoError(t, os.WriteFile("dark.csv", []byte(dark), 0o644))
	r := tool(t, "", "check", "dark.csv", "--standard", "standard.csv", "--model", "model.json", "--format", "json")
	require.Equal(t, exitOutside, r.code, r.err)
	own := decode[checkResult](t, r.out)
	require.Equal(t, "under-discharged", *own.LikelyCause, r.out)
	require.True(t, own.Correction.Possible)
	r = tool(t, "", "check", "dark.csv", "--standard", "standard.csv", "--model", "model.json", "--format", "json", "--second-strength", "5", "--second-ratio", "1.2")
	require.Equal(t, exitOutside, r.code, r.err)
	weak := decode[checkResult](t, r.out)
	require.True(t, weak.Correction.Possible, weak.Correction.Why)
	require.Greater(t, *weak.Correction.Minutes, *own.Correction.Minutes, "a weaker charge takes longer")
	// The command line of its weigh sheet is whole but for the mass, and runs: 60 kg at
	// 1.2 kg/kg and 5 % are 3600 g.
	words := strings.Join(strings.Fields(tool(t, "", "check", "dark.csv", "--standard", "standard.csv", "--model", "model.json", "--second-strength", "5", "--second-ratio", "1.2").out), " ")
	_, words, _ = strings.Cut(words, "Its weigh sheet: dosetone ")
	line, _, found := strings.Cut(words, ", with")
	require.True(t, found, words)
	require.Equal(t, fmt.Sprintf("charge MODEL --second-pass --strength 5 --ratio 1.2 --time %.1f --mass KG", *weak.Correction.Minutes), line)
	line = strings.NewReplacer("MODEL", "model.json", "KG", "60").Replace(line)
	require.InDelta(t, 3600, decode[sheetJSON](t, ok(t, append(strings.Fields(line), "--format", "json")...)).OxidizerG, 1e-9)
	r = tool(t, "", "check", "dark.csv", "--standard", "standard.csv", "--model", "model.json", "--second-strength", "5")
	require.Equal(t, exitUsage, r.code)
	require.Contains(t, r.err, "--second-ratio is needed")

	// It was given and read again: a pass that did little says that the next takes longer, and
	// is told how much longer.
	before := strings.NewReplacer(",43.1,", ",41.9,", ",42.8,", ",41.6,", ",43.3,", ",42.1,", ",43.0,", ",41.8,").Replace(dark)
	require.NoError(t, os.WriteFile("before.csv", []byte(before), 0o644))
	args := []string{"check", "dark.csv", "--standard", "standard.csv", "--model", "model.json", "--reworked"}
	blind := decode[checkResult](t, tool(t, "", append(args, "--format", "json")...).out)
	require.True(t, blind.Correction.Possible, blind.Correction.Why)
	require.Nil(t, blind.Correction.Pace)
	args = append(args, "--before", "before.csv", "--pass-time", "6")
	learned := decode[checkResult](t, tool(t, "", append(args, "--format", "json")...).out)
	require.Greater(t, *learned.Correction.Pace, 1.0)
	require.InDelta(t, *learned.Correction.Pace**blind.Correction.Minutes, *learned.Correction.Minutes, 1e-9)
	require.Contains(t, strings.Join(strings.Fields(tool(t, "", args...).out), " "), "The last pass took")
	lot := learned.Lot
	require.NoError(t, os.WriteFile("other.csv", []byte(strings.ReplaceAll(before, lot+",", "ELSE,")), 0o644))
	other := tool(t, "", "check", "dark.csv", "--standard", "standard.csv", "--model", "model.json", "--reworked", "--before", "other.csv", "--pass-time", "6", "--format", "json")
	require.Contains(t, other.err, "no finished, dry reading of lot "+lot)
	require.Nil(t, decode[checkResult](t, other.out).Correction.Pace)
	for args, says := range map[string]string{
		"--reworked --before before.csv":                "go together",
		"--reworked --pass-time 3":                      "go together",
		"--before before.csv --pass-time 3":             "needs --reworked",
		"--reworked --before before.csv --pass-time 0":  "above 0",
		"--reworked --before missing.csv --pass-time 3": "no such file",
	} {
		r := tool(t, "", append([]string{"check", "dark.csv", "--standard", "standard.csv", "--model", "model.json"}, strings.Fields(args)...)...)
		require.Contains(t, r.err, says, args)
		require.Empty(t, r.out)
	}
}

// What check says is for a person at the machine: no statistic without its meaning,
// no dose that nobody could run, one figure for one thing.
func TestCheckSpeaksPlainly(t *testing.T) {
	checkWorkspace(t)
	bad := tool(t, "", "check", "bad.csv", "--standard", "standard.csv", "--model", "model.json")
	require.Equal(t, exitOutside, bad.code, bad.err)
	flat := strings.Join(strings.Fields(bad.out), " ")
	require.NotContains(t, flat, "chi-square")
	require.Contains(t, flat, "fewer than 1 good lot in 1000 lies so far from it")
	require.Equal(t, 1, strings.Count(flat, "off the shade path 3."), flat)
	require.NotContains(t, flat, "units off the shade path", "the distance stands above, by the same name")
	require.Contains(t, flat, "not judged", "3.8 from the standard at a tolerance of 1.5")
	require.NotContains(t, flat, "Risk")
	wide := tool(t, "", "check", "bad.csv", "--standard", "standard.csv", "--model", "model.json", "--tolerance", "2.5")
	require.Contains(t, wide.out, "Risk: lot")

	lot := "lot,role,process,strength_pct,ratio,time_min,panel,L,a,b,illuminant,observer\n"
	for _, p := range []string{"1,84", "2,85"} {
		lot += "F,production,permanganate-pellet,7,1.3,13," + p + ",-1.5,5,D65,10\n"
	}
	require.NoError(t, os.WriteFile("pale.csv", []byte(lot), 0o644))
	pale := tool(t, "", "check", "pale.csv", "--standard", "standard.csv", "--model", "model.json", "--report", "pale.html")
	require.Equal(t, exitOutside, pale.code, pale.err)
	require.Contains(t, strings.Join(strings.Fields(pale.out), " "), "as after more than ten times the dose; against its settings that is more than ten times the dose")
	_, page := pageOf(t, "pale.html")
	require.Contains(t, page, "lighter (more than ten times the dose)")
	got := decode[checkResult](t, tool(t, "", "check", "pale.csv", "--standard", "standard.csv", "--model", "model.json", "--format", "json").out)
	require.Greater(t, *got.DosePct, 900.0, "the number stays")
}

// Damp panels are compared only through panels read damp and finished and dry.
func TestCheckReadsDampPanelsByPairs(t *testing.T) {
	checkWorkspace(t)
	pairs := "lot,role,process,stage,state,panel,L,a,b,illuminant,observer\n"
	for i, l := range []string{"44.0", "46.1", "48.2", "50.0"} {
		damp := []string{"37.0", "38.8", "40.6", "42.1"}[i]
		panel := string(rune('1' + i))
		pairs += "D,production,permanganate-pellet,finished,dry," + panel + "," + l + ",-2.6,-9.0,D65,10\n"
		pairs += "D,production,permanganate-pellet,discharged,damp," + panel + "," + damp + ",-2.3,-11.0,D65,10\n"
	}
	require.NoError(t, os.WriteFile("pairs.csv", []byte(pairs), 0o644))
	lot := "lot,role,process,strength_pct,ratio,time_min,stage,state,panel,L,a,b,illuminant,observer\n"
	for _, row := range []string{"1,34.6", "2,34.4", "3,34.8"} {
		lot += "P8,production,permanganate-pellet,7,1.3,10,discharged,damp," + row + ",-2.3,-11.9,D65,10\n"
	}
	require.NoError(t, os.WriteFile("damp.csv", []byte(lot), 0o644))
	args := []string{"check", "damp.csv", "--standard", "standard.csv", "--model", "model.json", "--format", "json"}
	require.Contains(t, tool(t, "", args...).err, "panels read both so and finished and dry")
	r := tool(t, "", append(args, "--pairs", "pairs.csv")...)
	require.Equal(t, exitOutside, r.code, r.err)
	got := decode[checkResult](t, r.out)
	require.Equal(t, "discharged, damp", got.ReadAt)
	require.InDelta(t, 41.5, got.Mean.L, 0.8)
	require.True(t, got.Correction.Possible && got.Correction.GoOn, got.Correction.Why)
	require.Positive(t, *got.Correction.Minutes)
}

func TestCheckBandsRolls(t *testing.T) {
	checkWorkspace(t)
	rolls := "lot,role,process,panel,L,a,b,illuminant,observer\n"
	for _, row := range []string{"R1,base,permanganate-pellet,1,19.5", "R2,base,permanganate-pellet,1,19.8", "R3,base,permanganate-pellet,1,22.4"} {
		rolls += row + ",0.4,-8.9,D65,10\n"
	}
	require.NoError(t, os.WriteFile("rolls.csv", []byte(rolls), 0o644))
	list := decode[[]bandJSON](t, ok(t, "check", "rolls.csv", "--bands-only", "--band", "1", "--format", "json"))
	require.Len(t, list, 2)
	require.Equal(t, []string{"R3"}, list[0].Lots)
	require.Equal(t, []string{"R2", "R1"}, list[1].Lots)
	require.Contains(t, ok(t, "check", "rolls.csv", "--bands-only", "--band", "1"), "L19.5: R2, R1")
	require.Equal(t, exitUsage, tool(t, "", "check", "rolls.csv", "--bands-only", "--standard", "standard.csv").code)
}

// A lot that passes by its mean while a panel lies outside must not leave as if
// it were even.
func TestCheckSaysWhenToSort(t *testing.T) {
	checkWorkspace(t)
	lot := func(name, last string) {
		table := "lot,role,process,panel,L,a,b,illuminant,observer\n"
		for _, row := range []string{"1,48.0", "2,48.1", "3,47.9", "4," + last, "5,48.0", "6,48.1", "7,47.9", "8,48.0"} {
			table += name + ",production,permanganate-pellet," + row + ",-2.6,-9,D65,10\n"
		}
		require.NoError(t, os.WriteFile(name+".csv", []byte(table), 0o644))
	}
	standard := "id,role,L,a,b,illuminant,observer\nS,standard,48,-2.6,-9,D65,10\n"
	require.NoError(t, os.WriteFile("s.csv", []byte(standard), 0o644))
	lot("even", "48.2")
	lot("odd", "50.6")
	even := ok(t, "check", "even.csv", "--standard", "s.csv")
	require.Contains(t, even, "Lot even: ACCEPT. ")
	odd := ok(t, "check", "odd.csv", "--standard", "s.csv", "--report", "odd.html") // exit code 0
	require.Contains(t, odd, "Lot odd: ACCEPT, but sort: panel 4 lies outside. ")
	_, page := pageOf(t, "odd.html")
	require.Contains(t, page, "Accept, but sort: panel 4 lies outside.")

	rows, err := csv.NewReader(strings.NewReader(ok(t, "check", "odd.csv", "--standard", "s.csv", "--format", "csv"))).ReadAll()
	require.NoError(t, err)
	at := slices.Index(rows[0], "panels_outside")
	require.Positive(t, at)
	require.Equal(t, "4", rows[1][at])
}

// With limits, what decides on a panel is its distance from the nearest approved
// shade; that is what tables show beside "outside".
func TestCheckPanelsShowTheDifferenceThatDecides(t *testing.T) {
	checkWorkspace(t)
	limits := "id,role,L,a,b,illuminant,observer\nS,standard,48,-2.6,-9,D65,10\nS,light_limit,52,-2.6,-9,D65,10\n"
	require.NoError(t, os.WriteFile("s.csv", []byte(limits), 0o644))
	table := "lot,role,process,panel,L,a,b,illuminant,observer\n"
	for _, row := range []string{"1,51", "2,51.1", "3,50.9", "4,51"} {
		table += "P,production,permanganate-pellet," + row + ",-2.6,-9,D65,10\n"
	}
	require.NoError(t, os.WriteFile("p.csv", []byte(table), 0o644))
	got := decode[checkResult](t, ok(t, "check", "p.csv", "--standard", "s.csv", "--format", "json"))
	for _, p := range got.Panels {
		require.Greater(t, p.DeltaE, 1.5)
		require.InDelta(t, 0, p.Decisive, 0.01)
		require.True(t, p.Inside)
	}
	text := ok(t, "check", "p.csv", "--standard", "s.csv")
	require.Regexp(t, `panel +L\* +a\* +b\* +to nearest approved`, text)
	require.Regexp(t, `(?m)^ *1 .*51\.00.* 0\.00`, text)
	rows, err := csv.NewReader(strings.NewReader(ok(t, "check", "p.csv", "--standard", "s.csv", "--format", "csv"))).ReadAll()
	require.NoError(t, err)
	decisive, err := strconv.ParseFloat(rows[1][slices.Index(rows[0], "delta_e_decisive")], 64)
	require.NoError(t, err)
	require.InDelta(t, got.DeltaEDecisive, decisive, 1e-9)
	require.NoError(t, os.WriteFile("two.csv", []byte(table+strings.ReplaceAll(strings.SplitAfterN(table, "\n", 2)[1], "P,", "Q,")), 0o644))
	ok(t, "check", "two.csv", "--standard", "s.csv", "--report", "two.html")
	page, err := os.ReadFile("two.html")
	require.NoError(t, err)
	glance := string(page)[strings.Index(string(page), "All lots"):]
	require.Contains(t, glance[:strings.Index(glance, "</table>")], "to nearest approved")
}

// The verdict from more panels takes the place of measure-more in the ledger.
func TestCheckSettlesAnOpenLotInTheLedger(t *testing.T) {
	checkWorkspace(t)
	rows := strings.SplitAfter("P9,production,permanganate-pellet,1,49.0\nP9,production,permanganate-pellet,2,49.1\nP9,production,permanganate-pellet,3,48.9\nP9,production,permanganate-pellet,4,49.0\nP9,production,permanganate-pellet,5,49.1\nP9,production,permanganate-pellet,6,49\n", "\n")
	table := func(n int) string {
		return "lot,role,process,panel,L,a,b,illuminant,observer\n" + strings.ReplaceAll(strings.Join(rows[:n], ""), "\n", ",-2.6,-9,D65,10\n")
	}
	require.NoError(t, os.WriteFile("s.csv", []byte("id,role,L,a,b,illuminant,observer\nS,standard,48,-2.6,-9,D65,10\n"), 0o644))
	require.NoError(t, os.WriteFile("other.csv", []byte(strings.ReplaceAll(table(6), "P9", "P10")), 0o644))
	check := func(n int) result {
		require.NoError(t, os.WriteFile("p.csv", []byte(table(n)), 0o644))
		r := tool(t, "", "check", "p.csv", "--standard", "s.csv", "--tolerance", "1.4", "--ledger", "ledger.csv")
		require.Equal(t, exitDone, r.code, r.err)
		return r
	}
	require.Contains(t, check(1).out, "MEASURE-MORE")
	ok(t, "check", "other.csv", "--standard", "s.csv", "--tolerance", "1.4", "--ledger", "ledger.csv")
	require.Contains(t, check(1).err, "lot P9 is there already, as measure-more from 1 panel, and is not added again; to settle its line")
	require.Contains(t, check(6).err, "lot P9 was measure-more from 1 panel and is accept from 6 panels now; its line is replaced")
	require.Contains(t, check(6).err, "not added again")
	text, err := os.ReadFile("ledger.csv")
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	require.Len(t, lines, 3)
	require.True(t, strings.HasPrefix(lines[1], "P9,") && strings.Contains(lines[1], ",accept,"), lines[1])
	require.True(t, strings.HasPrefix(lines[2], "P10,"), lines[2])
}

// One lot that cannot be judged does not keep the others from it.
func TestCheckJudgesTheOthersBesideADampLot(t *testing.T) {
	checkWorkspace(t)
	table := "lot,role,process,state,panel,L,a,b,illuminant,observer\n"
	for _, row := range []string{"A,dry,48", "A,dry,48.1", "W,damp,40", "B,dry,40", "B,dry,40.1", "B,dry,39.9"} {
		c := strings.Split(row, ",")
		table += c[0] + ",production,permanganate-pellet," + c[1] + "," + c[2] + "," + c[2] + ",-2.6,-9,D65,10\n"
	}
	require.NoError(t, os.WriteFile("week.csv", []byte(table), 0o644))
	require.NoError(t, os.WriteFile("s.csv", []byte("id,role,L,a,b,illuminant,observer\nS,standard,48,-2.6,-9,D65,10\n"), 0o644))
	r := tool(t, "", "check", "week.csv", "--standard", "s.csv", "--tolerance", "3", "--ledger", "ledger.csv", "--report", "week.html", "--format", "json")
	require.Equal(t, exitFailed, r.code, r.err)
	require.Contains(t, r.err, "week.csv:4: ")
	require.Contains(t, r.err, "--pairs")
	require.Contains(t, r.err, "not judged: W; the results of the other lots are written")
	require.Contains(t, r.err, "outside tolerance: B")
	list := decode[[]checkResult](t, r.out)
	require.Len(t, list, 2)
	require.Equal(t, []string{"A", "B"}, []string{list[0].Lot, list[1].Lot})
	ledger, err := os.ReadFile("ledger.csv")
	require.NoError(t, err)
	require.Equal(t, 3, bytes.Count(ledger, []byte("\n")))
	_, page := pageOf(t, "week.html")
	require.Contains(t, page, "not judged: W")
	require.Equal(t, exitDone, tool(t, "", "check", "week.csv", "--standard", "s.csv", "--tolerance", "3", "--lot", "A").code)
	// Of several lots the answer is a list, also when only one could be judged.
	r = tool(t, "", "check", "week.csv", "--standard", "s.csv", "--tolerance", "3", "--lot", "A,W", "--format", "json")
	require.Equal(t, exitFailed, r.code)
	require.Len(t, decode[[]checkResult](t, r.out), 1)
}

func TestCheckCountsOne(t *testing.T) {
	one := &checkResult{Panels: make([]panelJSON, 1), report: &quality.Report{Verdict: quality.Verdict{MorePanels: 1, SettlesWith: quality.Accept}}}
	require.Equal(t, "Measure one more panel: if it looks like this one, the lot will be accepted.", moreWords(one))
	one.Panels = make([]panelJSON, 4)
	require.Equal(t, "Measure one more panel: if it looks like these, the lot will be accepted.", moreWords(one))
	one.report.Verdict = quality.Verdict{MorePanels: 3, SettlesWith: quality.Reject}
	require.Equal(t, "Measure about 3 more panels: if they look like these, the lot will be rejected.", moreWords(one))
}

// A lot of another machine is judged, and said to be of another one.
func TestCheckSaysThatTheMachineIsAnother(t *testing.T) {
	workspace(t)
	ok(t, "fit", "trials.csv", "-o", "model.json")
	lot := productionOf("P101")
	require.Contains(t, string(lot), "drum-3")
	require.NoError(t, os.WriteFile("other.csv", bytes.ReplaceAll(lot, []byte("drum-3"), []byte("drum-9")), 0o600))
	const said = "its machine is drum-9, that of the model's lots drum-3"
	for file, want := range map[string]bool{"lot.csv": false, "other.csv": true} {
		r := tool(t, "", "check", file, "--standard", "standard.csv", "--model", "model.json")
		require.Equal(t, exitDone, r.code, r.err)
		require.Equal(t, want, strings.Contains(strings.Join(strings.Fields(r.out), " "), said), r.out)
	}
}

// A dark lot gets a second pass and is read again: its line in the ledger ends as
// accepted, was rejected first, and keeps the dose of its first pass.
func TestReworkedLotsAreBooked(t *testing.T) {
	workspace(t)
	ok(t, "fit", "trials.csv", "-o", "model.json")
	good := productionOf("P101")
	// P102's readings stand for the first pass, P101's for what came of the second.
	first := bytes.ReplaceAll(productionOf("P102"), []byte("P102"), []byte("P101"))
	require.NoError(t, os.WriteFile("first.csv", first, 0o600))
	require.NoError(t, os.WriteFile("again.csv", good, 0o600))
	args := []string{"--standard", "standard.csv", "--model", "model.json", "--ledger", "ledger.csv"}
	require.Equal(t, exitOutside, tool(t, "", append([]string{"check", "first.csv"}, args...)...).code)
	read := func() quality.Entry {
		file, err := os.Open("ledger.csv")
		require.NoError(t, err)
		defer file.Close()
		l, err := quality.ReadLedger("ledger.csv", file)
		require.NoError(t, err)
		require.Len(t, l.Entries, 1)
		return l.Entries[0]
	}
	before := read()
	require.Equal(t, quality.Reject, before.Verdict)
	require.NotNil(t, before.DoseZ)
	r := tool(t, "", append([]string{"check", "again.csv"}, args...)...)
	require.Contains(t, r.err, "--reworked enters what became of a lot that was discharged again")
	require.Equal(t, before, read())
	r = tool(t, "", append([]string{"check", "again.csv", "--reworked"}, args...)...)
	require.Equal(t, exitDone, r.code, r.err)
	require.NotContains(t, r.out, "against its settings")
	after := read()
	require.Equal(t, quality.Accept, after.Verdict)
	require.Equal(t, quality.Reject, after.First)
	require.Equal(t, *before.DoseZ, *after.DoseZ)
}

// Month's end: a lot that was held against a wrong standard is put right, and the ledger summed up.
func TestLedgerIsPutRightAndSummedUp(t *testing.T) {
	checkWorkspace(t)
	wrong := "id,role,illuminant,observer,L,a,b\nOTHER,standard,D65,10,30,-2,-9\n"
	require.NoError(t, os.WriteFile("wrong.csv", []byte(wrong), 0o644))
	args := []string{"check", "lot.csv", "--standard", "standard.csv", "--model", "model.json", "--ledger", "l.csv"}
	r := tool(t, "", "check", "lot.csv", "--standard", "wrong.csv", "--model", "model.json", "--ledger", "l.csv")
	require.Equal(t, exitOutside, r.code, r.err)
	again := tool(t, "", args...)
	require.Equal(t, exitDone, again.code, again.err)
	require.Contains(t, again.err, "--replace one that was judged wrongly")
	type sum struct {
		Lots, Accepted, Rejected int
		Causes                   []struct{ Cause string }
		Groups                   []struct{ Standard string }
		Drift                    []struct{ Lots int }
	}
	got := decode[sum](t, ok(t, "ledger", "l.csv", "--format", "json"))
	require.Equal(t, 1, got.Rejected)
	require.Equal(t, "over-discharged", got.Causes[0].Cause)

	r = tool(t, "", append(args, "--replace")...)
	require.Equal(t, exitDone, r.code, r.err)
	require.Contains(t, r.err, "its line is replaced")
	got = decode[sum](t, ok(t, "ledger", "l.csv", "--format", "json"))
	require.Equal(t, 1, got.Accepted)
	require.Equal(t, 1, got.Lots)
	require.Equal(t, 1, got.Drift[0].Lots)
	require.Empty(t, got.Causes)
	require.Equal(t, "STD", got.Groups[0].Standard)
	require.Contains(t, ok(t, "ledger", "l.csv"), "Accepted 1, rejected 0.")
	for args, says := range map[string]string{
		"ledger l.csv --since 1999-01-01 --until 1999-12-31": "no lot was judged in that time",
		"ledger l.csv --since yesterday":                     "want a day such as",
		"ledger l.csv --since 2026-02-01 --until 2026-01-01": "before --since",
		"ledger standard.csv":                                "not a ledger",
	} {
		require.Contains(t, tool(t, "", strings.Fields(args)...).err, says, args)
	}
	require.Contains(t, tool(t, "", "check", "lot.csv", "--standard", "standard.csv", "--replace").err, "--replace needs --ledger")
}

// Limits that are final are said so to check and to suggest, which answer alike.
func TestFinalLimits(t *testing.T) {
	checkWorkspace(t)
	standard := "id,role,illuminant,observer,L,a,b\nS,standard,D65,10,48,-2.6,-9\nS-L,light_limit,D65,10,49,-2.6,-8.7\nS-D,dark_limit,D65,10,47,-2.6,-9.3\n"
	require.NoError(t, os.WriteFile("limits.csv", []byte(standard), 0o644))
	lot := "lot,role,process,panel,L,a,b,illuminant,observer\n"
	for i := range 12 {
		lot += fmt.Sprintf("P,production,permanganate-pellet,%d,%.2f,-2.6,-8.5,D65,10\n", i+1, 49.8+0.02*float64(i%3))
	}
	require.NoError(t, os.WriteFile("past.csv", []byte(lot), 0o644))
	loose := tool(t, "", "check", "past.csv", "--standard", "limits.csv")
	require.Equal(t, exitDone, loose.code, loose.err)
	require.Contains(t, strings.Join(strings.Fields(loose.out), " "), "where they are final, give a smaller one for them (--limit-tolerance 0.1)")
	final := tool(t, "", "check", "past.csv", "--standard", "limits.csv", "--limit-tolerance", "0.1")
	require.Equal(t, exitOutside, final.code, final.err)
	require.Contains(t, final.out, "tolerance 1.5 (0.1 past limits)")

	pass := func(args ...string) float64 {
		r := decode[[]suggestResult](t, ok(t, append([]string{"suggest", "model.json", "--target", "limits.csv", "--format", "json"}, args...)...))
		require.True(t, r[0].Reachable)
		return r[0].BestPassProbability
	}
	require.Less(t, pass("--limit-tolerance", "0.1"), pass()-0.1)
	require.InDelta(t, pass(), pass("--limit-tolerance", "1.5"), 1e-12)
	require.Contains(t, ok(t, "suggest", "model.json", "--target", "limits.csv", "--limit-tolerance", "0.1"), "no more than 0.1 past these")
	for _, args := range []string{"check past.csv --standard limits.csv --limit-tolerance 2", "suggest model.json --target limits.csv --limit-tolerance 2", "suggest model.json --target limits.csv --limit-tolerance -1"} {
		require.NotEqual(t, exitDone, tool(t, "", strings.Fields(args)...).code, args)
	}
}
