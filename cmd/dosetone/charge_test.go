package main

import (
	"html"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/datasets/published"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/charge"
)

func item(t *testing.T, items []itemJSON, name string) itemJSON {
	t.Helper()
	for _, i := range items {
		if strings.Contains(i.Name, name) {
			return i
		}
	}
	require.Fail(t, "no item "+name)
	return itemJSON{}
}

// Arithmetic by hand: 60 kg × 10 L/kg × 3 g/L = 1800 g of available chlorine, of
// 120 g/L 15 L; bisulfite at the factor of the published field dose, which is
// about a tenth above the equation.
func TestChargeHypochlorite(t *testing.T) {
	args := strings.Fields("charge hypochlorite-bath --strength 3 --liquor-ratio 10 --time 20 --temp 40 --ph 10.5 --moisture 50 --count 100 --each 0,6 --stock-strength 120 --neutralizer bisulfite --neutralizer-purity 100 --excess 1.1")
	v := decode[sheetJSON](t, ok(t, append(args, "--format", "json")...))
	require.Len(t, v.Batches, 1)
	b := v.Batches[0]
	assert.InDelta(t, 15, item(t, b.Items, "hypochlorite").Amount, 1e-9)
	assert.InDelta(t, 600-15-30, item(t, b.Items, "water").Amount, 1e-9)
	assert.InDelta(t, 1800, v.OxidizerG, 1e-9)
	assert.InDelta(t, 30, b.ActiveGPerKg, 1e-9)
	assert.InEpsilon(t, 1800*published.FieldDoses()[0].Dose, v.Neutralizing.AgentG[0], 0.01)
	assert.Equal(t, 100, b.Count)
	assert.Equal(t, discharge.Deference, v.Deference)
	csv := ok(t, append(args, "--format", "csv")...)
	assert.Contains(t, csv, "machine 1,bath,")
	assert.Contains(t, csv, discharge.Deference)
	assert.Contains(t, csv, "chlorine and sulfur dioxide free", "the pair on this sheet")
}

func TestChargeEveryProcessCarriesItsCautions(t *testing.T) {
	for _, line := range []string{
		"permanganate-stone --strength 20 --ratio 1 --time 15 --uptake 0.4 --neutralizer oxalic-acid --neutralizer-purity 99",
		"permanganate-powder --strength 3 --ratio 0.5 --time 15 --neutralizer hydroxylamine --neutralizer-purity 99",
		"permanganate-pellet --strength 6 --ratio 1 --time 12 --carrier-strength 8",
		"permanganate-spray --strength 30 --add-on 100 --time 15 --fabric 400",
		"hypochlorite-bath --strength 3 --liquor-ratio 10 --time 20 --powder-chlorine 35 --neutralizer thiosulfate --neutralizer-purity 99",
		"laccase-bath --strength 1 --liquor-ratio 8 --time 30",
		"ozone-gas --strength 60 --moisture 55 --time 20 --flow 0.05",
	} {
		args := append(strings.Fields("charge "+line), "--mass", "50")
		for _, form := range []string{"text", "json", "csv"} {
			out := ok(t, append(args, "--format", form)...)
			flat := strings.Join(strings.Fields(out), " ")
			assert.Contains(t, flat, "licensed staff come first", line)
			assert.NotContains(t, flat, "NaN", line)
			p, err := discharge.LookupProcess(strings.Fields(line)[0])
			require.NoError(t, err)
			assert.Contains(t, flat, p.Cautions[len(p.Cautions)-1].Hazard, line)
		}
	}
}

func TestChargeWithModel(t *testing.T) {
	workspace(t)
	ok(t, "fit", "trials.csv", "-o", "model.json")
	line := strings.Fields("charge model.json --strength 6 --ratio 1.3 --time 14 --mass 1.47 --purity 99 --format json --scale-step")
	fine := decode[sheetJSON](t, ok(t, append(line, "0.1")...))
	coarse := decode[sheetJSON](t, ok(t, append(line, "20", "--carrier-step", "200")...))
	require.NotNil(t, fine.Batches[0].DeltaE)
	assert.Less(t, *fine.Batches[0].DeltaE, 0.05)
	assert.Greater(t, *coarse.Batches[0].DeltaE, *fine.Batches[0].DeltaE)
	require.NotNil(t, fine.WindowMin)
	assert.Less(t, fine.WindowMin[0], 14.0)
	assert.Greater(t, fine.WindowMin[1], 14.0)
	// What the sheet says it is, predict finds to be as far away.
	s := coarse.Batches[0].Realized
	assert.InDelta(t, 1.3, s["ratio"], 0.1)
	assert.NotEqual(t, 6.0, s["strength_pct"])
}

// What the model knows and the flags leave out is said, and stands on the sheet.
func TestChargeSaysWhatItTakes(t *testing.T) {
	workspace(t)
	require.NoError(t, os.WriteFile("hypo.csv", demo.HypochloriteTrials(), 0o644))
	ok(t, "fit", "hypo.csv", "-o", "hypo.json")
	line := strings.Fields("charge hypo.json --strength 6 --liquor-ratio 8 --time 16 --mass 60 --stock-strength 120 --neutralizer thiosulfate --neutralizer-purity 99")
	r := tool(t, "", line...)
	require.Zero(t, r.code, r.err)
	assert.Contains(t, r.err, "temp_c is not given and taken as")
	assert.Contains(t, r.out, "temp ")
	r = tool(t, "", append(line, "--temp", "45", "--ph", "10.5")...)
	require.Zero(t, r.code, r.err)
	assert.NotContains(t, r.err, "is not given and taken as")
	// No agent is advised that the sheet would refuse.
	r = tool(t, "", append(line[:len(line)-3:len(line)-3], "oxalic-acid")...)
	require.Equal(t, exitFailed, r.code)
	assert.NotContains(t, r.err, ", ascorbic-acid")
}

func TestChargeOwnProcessFile(t *testing.T) {
	workspace(t)
	require.NoError(t, os.WriteFile("own.json", []byte(`{"id":"our-pellet","extends":"permanganate-pellet","title":"our drum"}`), 0o644))
	v := decode[sheetJSON](t, ok(t, strings.Fields("charge own.json --strength 6 --ratio 1 --time 12 --mass 20 --format json")...))
	assert.Equal(t, "our-pellet", v.Process)
	assert.InDelta(t, 1200, v.OxidizerG, 1e-9)
}

func TestChargeRefusals(t *testing.T) {
	stone := "charge permanganate-stone --ratio 1 --time 15 --mass 60 "
	for line, want := range map[string]struct {
		code int
		says string
	}{
		stone + "--strength 90 --uptake 0.4":                                                                                                                 {exitFailed, "does not dissolve"},
		stone + "--strength 20 --uptake 0.4 --capacity 30":                                                                                                   {exitFailed, "above capacity"},
		stone + "--strength 20 --uptake 0.4 --neutralizer bisulfite --neutralizer-purity 0":                                                                  {exitFailed, "purity"},
		stone + "--strength 20":                                                                                                                              {exitFailed, "must be measured"},
		stone + "--strength 20 --uptake 42":                                                                                                                  {exitFailed, "are 0.42 L/kg"},
		stone + "--strength 20 --uptake 0.4 --soak-temp warm":                                                                                                {exitUsage, "140F"},
		stone + "--strength 20 --uptake 0.4 --price permanganate":                                                                                            {exitUsage, "name=number"},
		stone + "--strength 20 --uptake 0.4 --price gold=3":                                                                                                  {exitFailed, "gold"},
		"charge permanganate-stone --ratio 1 --time 15 --uptake 0.4 --mass 60":                                                                               {exitUsage, "--strength"},
		"charge permanganate-stone --strength 20 --ratio 1 --time 15 --uptake 0.4":                                                                           {exitUsage, "--mass"},
		"charge pellets --mass 3":                                                                                                                            {exitUsage, "permanganate-pellet"},
		"charge laccase-bath --strength 2 --liquor-ratio 8 --time 15 --mass 60 --purity 50 --carrier-strength 5":                                             {exitUsage, "no use for purity of a solid oxidizer (--purity), ready carrier (--carrier-strength)"},
		"charge hypochlorite-bath --strength 3 --liquor-ratio 10 --time 20 --mass 60 --stock-strength 120 --reuse 2":                                         {exitUsage, "--reuse"},
		"charge laccase-bath --strength 2 --liquor-ratio 8 --time 15 --mass 60 --temp 122":                                                                   {exitFailed, "122 °F are 50 °C"},
		"charge ozone-gas --strength 60 --moisture 50 --time 15 --mass 60 --flow 500":                                                                        {exitFailed, "1000 L/min make one"},
		"charge hypochlorite-bath --strength 3 --liquor-ratio 10 --time 20 --mass 60":                                                                        {exitFailed, "titrate"},
		"charge hypochlorite-bath --strength 3 --liquor-ratio 10 --time 20 --mass 60 --stock-strength 120 --with acetic-acid":                                {exitFailed, "chlorine gas"},
		"charge hypochlorite-bath --strength 3 --liquor-ratio 10 --time 20 --mass 60 --stock-strength 120 --neutralizer oxalic-acid --neutralizer-purity 99": {exitFailed, "not suited"},
	} {
		r := tool(t, "", strings.Fields(line)...)
		assert.Equal(t, want.code, r.code, line)
		assert.Contains(t, r.err, want.says, line)
		assert.Empty(t, r.out, line)
	}
}

// A fraction where percent is meant would weigh out a hundred times too much, or, of
// what remains, a hundred times too little. Products are far from one percent: peroxide
// is sold at 3 % and more, hypochlorite at 10 to 15 (common practice, no source).
func TestChargeRefusesFractions(t *testing.T) {
	workspace(t)
	const line = "charge permanganate-stone --strength 20 --ratio 1 --time 15 --uptake 0.42 --mass 50 --neutralizer bisulfite "
	for more, says := range map[string]string{
		"--neutralizer-purity 97 --purity 0.99": "for the fraction 0.99 give --purity 99",
		"--neutralizer-purity 0.97 --purity 99": "for the fraction 0.97 give --neutralizer-purity 97",
		"--neutralizer-purity 97 --purity 1":    "for the fraction 1 give --purity 100",
	} {
		r := tool(t, "", append(strings.Fields(line+more), "--report", "sheet.html")...)
		assert.Equal(t, exitUsage, r.code, more)
		assert.Contains(t, r.err, says)
		assert.Empty(t, r.out)
		assert.NoFileExists(t, "sheet.html")
	}
	r := tool(t, "", append(strings.Fields(line+"--neutralizer-purity 97 --purity 99 --remaining 0.4"), "--report", "sheet.html")...)
	assert.Equal(t, exitDone, r.code)
	sheet, err := os.ReadFile("sheet.html")
	require.NoError(t, err)
	assert.True(t, strings.Contains(string(sheet), "0.4 is taken as 0.4 %"), "a carrier may hold so little")
	r = tool(t, "", strings.Fields("charge hypochlorite-bath --strength 3 --liquor-ratio 10 --time 20 --mass 60 --powder-chlorine 0.35")...)
	assert.Contains(t, r.err, "give --powder-chlorine 35")
	assert.NotContains(t, tool(t, "", strings.Fields(line+"--neutralizer-purity 3 --purity 99 --remaining 40")...).err, "in percent", "peroxide of 3 % is sold")
	r = tool(t, "", strings.Fields("assay permanganate-oxalate --titre 24 --oxalate 0.2 --oxalate-purity 0.999")...)
	assert.Equal(t, exitUsage, r.code)
	assert.Contains(t, r.err, "--oxalate-purity 99.9")
}

// By hand: 60 kg × 10 L/kg × 3 g/L are 1800 g of chlorine, 144 L of a stock of 12.5 g/L
// and 14.4 L of 125 g/L, which is 12.5 % by trade (g per 100 mL). Sold are 3 to 16 %
// (common practice, no source); an old stock of 30 g/L is not held up.
func TestChargeRefusesTradePercentAsStockStrength(t *testing.T) {
	workspace(t)
	line := strings.Fields("charge hypochlorite-bath --strength 3 --liquor-ratio 10 --time 20 --temp 40 --ph 10.5 --mass 60 --report sheet.html --stock-strength")
	for _, typed := range []string{"12.5", "12,5"} {
		r := tool(t, "", append(line, typed)...)
		assert.Equal(t, exitUsage, r.code)
		assert.Contains(t, r.err, "give --stock-strength 125 ")
		assert.Contains(t, r.err, "--stock-strength 12.5g/L")
		assert.Empty(t, r.out)
		assert.NoFileExists(t, "sheet.html")
	}
	r := tool(t, "", append(line, "12.5%")...)
	assert.Equal(t, exitUsage, r.code)
	assert.Contains(t, r.err, "times 10")
	for _, typed := range []string{"12.5g/L", "12,5 G/l"} {
		r = tool(t, "", append(line, typed)...)
		require.Zero(t, r.code, r.err)
		assert.Contains(t, r.out, "144 L")
		page, err := os.ReadFile("sheet.html")
		require.NoError(t, err)
		const says = "ten times too strong"
		assert.Contains(t, r.err, says)
		assert.Less(t, strings.Index(strings.Join(strings.Fields(r.out), " "), says), strings.Index(strings.Join(strings.Fields(r.out), " "), "144 L"), "before the scales")
		assert.Less(t, strings.Index(string(page), says), strings.Index(string(page), `id="weigh"`))
		assert.Contains(t, string(page), says)
	}
	for _, typed := range []string{"30", "125", "125g/L"} {
		r = tool(t, "", append(line, typed)...)
		require.Zero(t, r.code, r.err)
		assert.NotContains(t, r.err, "the stock is taken")
	}
	assert.Contains(t, ok(t, append(line, "125")...), "14.4 L")
	assert.Contains(t, tool(t, "", append(line, "1250")...).err, "too weak")
}

// A strength 5 % above and an add-on as far below, 20 × 1.05 and 60/1.05, make the dose
// that was set, and yet neither is as set.
func TestAsSetIsEverySetting(t *testing.T) {
	p, err := discharge.LookupProcess("permanganate-spray")
	require.NoError(t, err)
	s := &charge.Sheet{Process: p, Settings: discharge.Settings{"strength_gpl": 20, "add_on_gsm": 60}}
	b := charge.Batch{Realized: discharge.Settings{"strength_gpl": 20 * 1.05, "add_on_gsm": 60 / 1.05}, ActivePerKg: 0.6}
	words := batchWords(s, b)
	assert.NotContains(t, words, "as set")
	assert.Contains(t, words, "strength 21 g/L")
	b.Realized = s.Settings
	assert.Contains(t, batchWords(s, b), "as set, within 0.05 %")
	assert.NotContains(t, ok(t, strings.Fields("charge permanganate-spray --strength 20 --add-on 60 --time 20 --count 100 --each 0.6 --area-each 0.3 --landing 80 --purity 99")...), "as set")
}

// A page is read by who has no columns in mind: 2.1 min are below the usual 3 (common
// practice, no source), and the column's name stays in what a program reads.
func TestPagesNameSettingsInWords(t *testing.T) {
	workspace(t)
	line := strings.Fields("charge hypochlorite-bath --strength 3 --liquor-ratio 10 --time 2.1 --temp 40 --ph 10.5 --mass 60 --stock-strength 125 --report sheet.html")
	assert.Contains(t, ok(t, append(line, "--format", "csv")...), "time_min 2.1 is outside")
	page, err := os.ReadFile("sheet.html")
	require.NoError(t, err)
	assert.Contains(t, string(page), "Time 2.1 is outside the usual")
	assert.NotContains(t, string(page), "ime_min")
	p, err := discharge.LookupProcess("hypochlorite-bath")
	require.NoError(t, err)
	assert.Equal(t, []string{"liquor ratio 9, strength 3"}, worded(p, []string{"liquor_ratio 9, strength_gpl 3"}))
}

// What is warned of stands on every form of the sheet: paper has no screen beside it.
func TestWarningsStandOnTheSheet(t *testing.T) {
	workspace(t)
	line := strings.Fields("charge permanganate-stone --strength 20 --ratio 1 --time 15 --uptake 0.42 --moisture 0.6 --mass 50 --neutralizer bisulfite")
	r := tool(t, "", append(line, "--report", "sheet.html")...)
	require.Zero(t, r.code, r.err)
	page, err := os.ReadFile("sheet.html")
	require.NoError(t, err)
	warned := strings.Count(r.err, "warning: ")
	assert.Equal(t, 3, warned, "moisture, neutralizer's purity, oxidizer's purity: %s", r.err)
	for _, w := range []string{"--moisture is in percent: 0.6 is taken as 0.6 %", "--neutralizer-purity was not given", "purity of the potassium permanganate was not given"} {
		assert.Contains(t, r.err, w)
		assert.Contains(t, strings.Join(strings.Fields(r.out), " "), w)
		assert.Contains(t, html.UnescapeString(string(page)), strings.TrimPrefix(w, "p"), "the sentence on the page has a capital")
		assert.Contains(t, ok(t, append(line, "--format", "csv")...), w)
		assert.Contains(t, ok(t, append(line, "--format", "json")...), w)
	}
	assert.Less(t, strings.Index(string(page), `id="warnings"`), strings.Index(string(page), `id="weigh"`), "before the scales")
}

func TestChargeCost(t *testing.T) {
	v := decode[sheetJSON](t, ok(t, strings.Fields("charge hypochlorite-bath --strength 3 --liquor-ratio 10 --time 20 --temp 40 --count 100 --each 0.6 --stock-strength 120 --prepared --no-finish --price hypochlorite=0.5,water=2,energy=0.1 --format json")...))
	require.NotNil(t, v.Cost)
	// 15 L of stock; 600 L and a cold rinse of 480 L; heat of 600 L by 25 K and of
	// 480 L by 5 K from 15 °C, 4.186 kJ/(kg K).
	assert.InDelta(t, 7.5, v.Cost.Chemicals, 1e-9)
	assert.InDelta(t, 2.16, v.Cost.Water, 1e-9)
	assert.InDelta(t, (600*25+480*5)*4.186/3600*0.1, v.Cost.Energy, 1e-9)
	require.NotNil(t, v.Cost.PerGarment)
	assert.InDelta(t, v.Cost.Total/100, *v.Cost.PerGarment, 1e-12)
}

// A strength ten times too high is not weighed out.
func TestChargeRefusesASlipInStrength(t *testing.T) {
	workspace(t)
	ok(t, "fit", "trials.csv", "-o", "model.json")
	for _, args := range [][]string{{"model.json", "--strength", "60", "--ratio", "1.3"}, {"hypochlorite-bath", "--strength", "125", "--liquor-ratio", "10"}} {
		r := tool(t, "", append(append([]string{"charge"}, args...), "--time", "14", "--mass", "60", "--purity", "99")...)
		require.Equal(t, exitUsage, r.code)
		require.Contains(t, r.err, "times the 12")
		require.Empty(t, r.out)
	}
}
