package charge

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/published"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/chem"
)

func process(t testing.TB, id string) discharge.Process {
	t.Helper()
	p, err := discharge.LookupProcess(id)
	require.NoError(t, err)
	return p
}

func pure() *chem.Fraction { f := chem.Fraction(1); return &f }

// loads returns one ordinary load of every built-in process.
func loads(t testing.TB) map[string]Load {
	out := map[string]Load{}
	for id, s := range map[string]discharge.Settings{
		"permanganate-stone":  {"strength_gpl": 20, "ratio": 1, "time_min": 15, "uptake_lpkg": 0.4, "moisture_pct": 60, "rpm": 30},
		"permanganate-powder": {"strength_pct": 3, "ratio": 0.5, "time_min": 15, "moisture_pct": 50},
		"permanganate-pellet": {"strength_pct": 6, "ratio": 2, "time_min": 12, "moisture_pct": 50},
		"permanganate-spray":  {"strength_gpl": 30, "add_on_gsm": 100, "time_min": 15, "fabric_gsm": 400},
		"hypochlorite-bath":   {"strength_gpl": 3, "liquor_ratio": 10, "time_min": 20, "temp_c": 40, "ph": 10.5},
		"laccase-bath":        {"strength_pct": 1, "liquor_ratio": 8, "time_min": 30, "temp_c": 55, "ph": 5.5},
		"ozone-gas":           {"strength_gnm3": 60, "moisture_pct": 55, "time_min": 20, "flow_nm3pmin": 0.05},
	} {
		l := Load{Process: process(t, id), Settings: s, Garments: Garments{Count: 100, Each: 600}, Store: Store{Purity: pure()},
			Spray: Spray{Landing: 0.8}}
		switch id {
		case "hypochlorite-bath":
			l.Store = Store{Strength: 125}
			l.Neutralizer = &Neutralizer{Agent: "bisulfite", Purity: 0.98}
		case "laccase-bath", "ozone-gas":
		default:
			l.Neutralizer = &Neutralizer{Agent: "bisulfite", Purity: 0.98}
		}
		out[id] = l
	}
	require.Len(t, out, len(discharge.Processes()))
	return out
}

func sheet(t testing.TB, l Load) *Sheet {
	t.Helper()
	s, err := New(l)
	require.NoError(t, err, l.Process.ID)
	return s
}

func find(t testing.TB, items []Item, name string) Item {
	t.Helper()
	for _, i := range items {
		if strings.Contains(i.Name, name) {
			return i
		}
	}
	require.Fail(t, "no item "+name)
	return Item{}
}

// Arithmetic by hand: 60 kg of garments, 1:1 stones that hold 0.4 L/kg of 20 g/L.
func TestStoneSheet(t *testing.T) {
	s := sheet(t, loads(t)["permanganate-stone"])
	b := s.Batches[0]
	assert.Equal(t, 60*chem.Kilogram, find(t, b.Items, "stones, dry").Take.Mass)
	assert.InDelta(t, 24000, float64(find(t, b.Items, "liquid held").Take.Mass), 1e-9)
	assert.InDelta(t, 480, float64(s.Oxidizer), 1e-9) // 24 L × 20 g/L
	assert.InDelta(t, 8, b.ActivePerKg, 1e-9)         // ratio × uptake × strength
	// 24 L held and 1 L/kg on top: 84 L with 1680 g.
	assert.InDelta(t, 84, float64(find(t, s.Shared, "make up").Take.Volume), 1e-9)
	assert.InDelta(t, 1680, float64(find(t, s.Shared, "potassium permanganate").Take.Mass), 1e-9)
	assert.InDelta(t, 60, float64(find(t, s.Shared, "left in the tank").Take.Volume), 1e-9)
	// 60 % moisture is 36 kg of water: 20 × 24/(24+36) = 8 g/L where all mixes.
	assert.Contains(t, find(t, b.Items, waterName).Note, "8 g/L")
	assert.InDelta(t, 60+36+60+24, float64(b.InDrum/chem.Kilogram), 1e-9)
	// 1.6462 g per g (table, worked by hand), 1.2 times, 98 %.
	want := 480 * 1.6462 * 1.2 / 0.98
	assert.InEpsilon(t, want, float64(s.Neutralizing.Most), 2e-4)
	assert.InEpsilon(t, 0.4*want, float64(s.Neutralizing.IfSpent), 2e-4)
	assert.InEpsilon(t, 480*published.MnO2PerKMnO4, float64(s.Neutralizing.Dioxide), 1e-3)
	// 480 × 54.938/158.034 = 166.9 g of manganese in 9 baths of 480 L: desizing and
	// its rinse, dust rinse, neutralizing, two rinses, brightening, rinse, softening.
	assert.Contains(t, s.Effluent, "166.9 g")
	assert.Contains(t, s.Effluent, "38.6 mg/L")
}

// Every weight is of the product as it stands in the store, and its line says how pure
// it was taken to be. 24 L at 20 g/L are 480 g of permanganate, of 85 % 480/0.85 g; 84 L
// 1680/0.85 g. On 120 kg of pellets at 6 % are 7200/0.9 g.
func TestWeightsAreOfTheProduct(t *testing.T) {
	l := loads(t)["permanganate-stone"]
	p := chem.Fraction(0.85)
	l.Store.Purity = &p
	l.Soak = Soak{Acid: "phosphoric-acid", AcidStrength: 1}
	s := sheet(t, l)
	solid, next := find(t, s.Shared, "potassium permanganate"), find(t, s.Shared, "make-up for the next")
	assert.InDelta(t, 1680/0.85, float64(solid.Take.Mass), 1e-6)
	assert.InDelta(t, 480/0.85, float64(next.Take.Mass), 1e-6)
	assert.Contains(t, solid.Note, "85 % pure")
	assert.Contains(t, next.Note, "85 % pure")
	assert.Contains(t, find(t, s.Batches[0].Items, "bisulfite").Note, "98 % pure")
	// An acid of unknown strength is listed pure, and says what that means at the scales.
	assert.Contains(t, find(t, s.Shared, "phosphoric").Note, "of 50 % weigh twice as much")
	assert.Contains(t, find(t, s.Batches[0].Items, "acetic").Note, "of 50 % weigh twice as much")
	l = loads(t)["permanganate-pellet"]
	p = 0.9
	l.Store.Purity = &p
	solid = find(t, sheet(t, l).Batches[0].Items, "potassium permanganate")
	assert.InDelta(t, 7200/0.9, float64(solid.Take.Mass), 1e-6)
	assert.Contains(t, solid.Note, "90 % pure")
	l.Store.Purity = nil
	assert.Contains(t, find(t, sheet(t, l).Batches[0].Items, "potassium permanganate").Note, "taken as 100 % pure")
}

func TestSoakTakesWhatIsLeft(t *testing.T) {
	l := loads(t)["permanganate-stone"]
	l.Soak = Soak{Volume: 100, Left: 60, LeftStrength: 15}
	s := sheet(t, l)
	assert.InDelta(t, 20*100-15*60, float64(find(t, s.Shared, "potassium permanganate").Take.Mass), 1e-9)
	assert.InDelta(t, 20, s.Batches[0].Realized["strength_gpl"], 1e-9)
	assert.NotContains(t, find(t, s.Shared, "left from before").Note, "acid")
	// Acid of 2 g/L is weighed for the 40 L that are new, and the sheet says so.
	l.Soak.Acid, l.Soak.AcidStrength = "phosphoric-acid", 2
	s = sheet(t, l)
	assert.InDelta(t, 80, float64(find(t, s.Shared, "phosphoric").Take.Mass), 1e-9)
	assert.Contains(t, find(t, s.Shared, "left from before").Note, "counted as holding 2 g/L of acid already")
	l.Soak.LeftStrength = 40
	_, err := New(l)
	assert.ErrorIs(t, err, ErrStore)
	assert.ErrorContains(t, err, "120 L")
}

// Hand: 60 kg × 10 L/kg × 3 g/L = 1800 g, of 125 g/L stock 14.4 L. Field dose of
// bisulfite 1.61 g/g (AWWA guide): within it lies the equation times 1.1.
func TestHypochloriteSheet(t *testing.T) {
	l := loads(t)["hypochlorite-bath"]
	l.Neutralizer.Excess, l.Neutralizer.Purity = 1.1, 1
	s := sheet(t, l)
	b := s.Batches[0]
	assert.InDelta(t, 14.4, float64(find(t, b.Items, "hypochlorite").Take.Volume), 1e-9)
	assert.InDelta(t, 600-14.4, float64(find(t, b.Items, "water").Take.Volume), 1e-9)
	assert.InEpsilon(t, 1800*published.FieldDoses()[0].Dose, float64(s.Neutralizing.Most), 0.01)
	// One mole of acid per mole of chlorine: 105.99/70.90 g soda ash per g.
	assert.InEpsilon(t, 1800*105.99/70.90, float64(s.Neutralizing.SodaAsh), 1e-3)
	find(t, b.Items, "soda ash")
	for _, i := range b.Items {
		assert.NotContains(t, i.Chemical, "acid")
	}
	// Wet garments bring part of the bath along.
	wet := chem.Fraction(0.6)
	l.Moisture = &wet
	s = sheet(t, l)
	assert.InDelta(t, 600-14.4-36, float64(find(t, s.Batches[0].Items, "water").Take.Volume), 1e-9)
	assert.InDelta(t, 3, s.Batches[0].Realized["strength_gpl"], 1e-9)
	// Powder at 35 %: 1800/0.35 g.
	l.Store = Store{Chlorine: 0.35}
	assert.InDelta(t, 1800/0.35, float64(find(t, sheet(t, l).Batches[0].Items, "hypochlorite").Take.Mass), 1e-6)
}

// 14.4 L of stock on a gauge of 1 L are 14 L: 14/14.4 of the dose, in a bath of
// the same 600 L.
func TestRoundingInTheDose(t *testing.T) {
	l := loads(t)["hypochlorite-bath"]
	l.Scale.Liquid = 1
	s := sheet(t, l)
	assert.InDelta(t, 14/14.4-1, s.Batches[0].DoseError, 1e-12)
	assert.InDelta(t, 3*14/14.4, s.Batches[0].Realized["strength_gpl"], 1e-12)
	assert.Contains(t, strings.Join(s.Warnings, " "), "-2.8 %")
}

// By hand: 100 × 0.3 m² × 60 mL/m² / 0.8 = 2.25 L of spray, 2.3 L on a gauge of 0.1 L;
// 2.3 L × 20 g/L / 0.99 = 46.5 g, 46 g on a scale of 1 g: 46 × 0.99/2.3 = 19.8 g/L and
// 60 × 2.3/2.25 = 61.33 g/m². Exactly, 36 g land on 60 kg.
func TestSprayOnAStatedAreaIsRounded(t *testing.T) {
	l := loads(t)["permanganate-spray"]
	l.Settings = discharge.Settings{"strength_gpl": 20, "add_on_gsm": 60, "time_min": 20}
	l.Spray.AreaEach = 0.3
	l.Scale = Scale{Chemical: 1, Liquid: 0.1}
	p := chem.Fraction(0.99)
	l.Store.Purity = &p
	s := sheet(t, l)
	solid := find(t, s.Shared, "potassium permanganate")
	assert.InDelta(t, 46, float64(solid.Take.Mass), 1e-9)
	assert.InDelta(t, 2.25*20/0.99, float64(solid.Exact.Mass), 1e-9)
	b := s.Batches[0]
	assert.InDelta(t, 19.8, b.Realized["strength_gpl"], 1e-9)
	assert.InDelta(t, 60*2.3/2.25, b.Realized["add_on_gsm"], 1e-9)
	change := 19.8 / 20 * 2.3 / 2.25
	assert.InDelta(t, change-1, b.DoseError, 1e-9)
	assert.InDelta(t, 36.0/60*change, b.ActivePerKg, 1e-9)
	// 5000 pieces of 0.3 m² are 1500 m², in digits that the floor reads.
	l.Garments.Count = 5000
	assert.Contains(t, find(t, sheet(t, l).Batches[0].Items, "spray mix").Note, "for 1500 m²")
	l.Garments.Count = 100
	// The mass per area says the same: 60 kg of 2000 g/m² are 30 m².
	l.Settings["fabric_gsm"], l.Spray.AreaEach = 2000, 0
	assert.InDelta(t, change-1, sheet(t, l).Batches[0].DoseError, 1e-9)
	assert.InDelta(t, 36.0/60*change, sheet(t, l).Batches[0].ActivePerKg, 1e-9)
}

// 60 kg with 60 % of water weigh 96 kg, and the gas that is blown through, 100 g/Nm³ at
// 6 Nm³/min for 15 min, 9 kg, is not among it. 100 × 6 × 60 = 36000 g/h.
func TestGasWeighsNothingInTheDrum(t *testing.T) {
	l := loads(t)["ozone-gas"]
	l.Settings = discharge.Settings{"strength_gnm3": 100, "moisture_pct": 60, "time_min": 15, "flow_nm3pmin": 6}
	l.Machines = []Machine{{Dry: 60000, Drum: 100000}}
	b := sheet(t, l).Batches[0]
	assert.InDelta(t, 96, float64(b.InDrum/chem.Kilogram), 1e-9)
	assert.Contains(t, find(t, b.Items, "ozone").Note, "36000 g/h")
	l.Machines[0].Drum = 95000
	_, err := New(l)
	assert.ErrorIs(t, err, ErrCapacity)
}

// Three pieces of 0.6 kg weigh less than two machines of 1 kg hold, but two do
// not go into one of them.
func TestWholeGarmentsThatDoNotFit(t *testing.T) {
	l := loads(t)["permanganate-pellet"]
	l.Machines = []Machine{{Dry: 1000}, {Dry: 1000}}
	l.Garments = Garments{Count: 3, Each: 600}
	_, err := New(l)
	assert.ErrorIs(t, err, ErrCapacity)
	assert.ErrorContains(t, err, "whole pieces")
}

func TestThiosulfateIsARange(t *testing.T) {
	l := loads(t)["hypochlorite-bath"]
	l.Neutralizer = &Neutralizer{Agent: "thiosulfate", Purity: 1, Excess: 1}
	n := sheet(t, l).Neutralizing
	assert.InEpsilon(t, 1800*0.875, float64(n.Least), 2e-4)
	assert.InEpsilon(t, 1800*7.0003, float64(n.Most), 2e-4)
	assert.Contains(t, find(t, sheet(t, l).Batches[0].Items, "thiosulfate").Note, "no single factor")
}

func TestCarrierFromStock(t *testing.T) {
	l := loads(t)["permanganate-pellet"]
	have := chem.Fraction(0.08)
	l.Store = Store{Carrier: &have}
	s := sheet(t, l)
	// 120 kg at 6 % from 8 %: 90 kg and 30 kg of blank carrier.
	assert.InDelta(t, 90000, float64(find(t, s.Batches[0].Items, "assayed 8 %").Take.Mass), 1e-6)
	assert.InDelta(t, 30000, float64(find(t, s.Batches[0].Items, "without oxidizer").Take.Mass), 1e-6)
	assert.InDelta(t, 6, s.Batches[0].Realized["strength_pct"], 1e-9)
	have = 0.055
	_, err := New(l)
	assert.ErrorIs(t, err, ErrStore)
}

func TestOzoneAndLaccaseSheets(t *testing.T) {
	s := sheet(t, loads(t)["ozone-gas"])
	assert.InDelta(t, 60, float64(s.Oxidizer), 1e-9) // 60 g/Nm³ × 0.05 × 20
	assert.InDelta(t, 1, s.Batches[0].ActivePerKg, 1e-9)
	s = sheet(t, loads(t)["laccase-bath"])
	assert.InDelta(t, 600, float64(find(t, s.Batches[0].Items, "product").Take.Mass), 1e-9) // 1 % of 60 kg
	for _, id := range []string{"ozone-gas", "laccase-bath"} {
		l := loads(t)[id]
		l.Neutralizer = &Neutralizer{Agent: "bisulfite", Purity: 1}
		_, err := New(l)
		assert.ErrorIs(t, err, chem.ErrUnsuited, id)
	}
}

// A sheet sends nobody to a step that it does not have: brightening waits for the
// test where there is one, for the purge where there is gas, else for what lies
// outside the sheet.
func TestBrighteningWaitsForAStepOfTheSheet(t *testing.T) {
	for id, l := range loads(t) {
		for _, undone := range []bool{true, false} {
			if !undone {
				l.Neutralizer = nil
			}
			s := sheet(t, l)
			var steps, caution string
			for _, step := range s.Steps {
				steps += step.Do + "\n"
				if strings.HasPrefix(step.Do, "Top brighten") {
					caution = step.Caution
				}
			}
			assert.Contains(t, caution, "scalds", id)
			tested := strings.Contains(steps, "Test for oxidizer left")
			assert.Equal(t, tested, strings.Contains(caution, "the residual test"), "%s: %s", id, caution)
			assert.Equal(t, strings.Contains(steps, "Purge until"), strings.Contains(caution, "the purge"), "%s: %s", id, caution)
			assert.Equal(t, !tested && id != "ozone-gas" && id != "laccase-bath", strings.Contains(caution, "no step for either"), "%s: %s", id, caution)
		}
	}
}

// The clock stops when the ozone does; the door waits for the monitor alone, so no
// minutes stand at or between the purge and the open drum.
func TestOzoneDoorDoesNotOpenByTheClock(t *testing.T) {
	s := sheet(t, loads(t)["ozone-gas"])
	step := func(begins string) int {
		for i, x := range s.Steps {
			if strings.HasPrefix(x.Do, begins) {
				return i
			}
		}
		require.Fail(t, "no step "+begins)
		return 0
	}
	on, off, purge := step("Ozone on"), step("Turn the ozone off after 20 min"), step("Purge until the monitor")
	assert.Equal(t, []int{on, on + 1, on + 2}, []int{on, off, purge})
	assert.Contains(t, s.Steps[purge].Do, "then open")
	assert.NotContains(t, s.Steps[purge].Do, " min")
	assert.Zero(t, s.Steps[purge].Min)
	assert.Equal(t, "Ozone off", s.End)
}

// Acid goes last into sulfites, which it sets sulfur dioxide free of, and first into a
// bath of peroxide: permanganate without acid turns to manganese dioxide, which breaks
// peroxide down at once (half-reactions of Permanganate and PermanganateToDioxide;
// the order is common practice, no source).
func TestOrderOfAcidAndAgent(t *testing.T) {
	l := loads(t)["permanganate-stone"]
	step := func(agent string) string {
		l.Neutralizer.Agent = agent
		for _, x := range sheet(t, l).Steps {
			if strings.HasPrefix(x.Do, "Neutralize in a fresh bath") {
				return x.Do
			}
		}
		return ""
	}
	for agent, acidFirst := range map[string]bool{"bisulfite": false, "metabisulfite": false, "sulfite": false, "peroxide": true} {
		do := step(agent)
		a, err := chem.LookupAgent(agent)
		require.NoError(t, err)
		acid, added := strings.Index(do, "acid"), strings.Index(do, a.Name)
		require.True(t, acid > 0 && added > 0, do)
		assert.Equal(t, acidFirst, acid < added, do)
		assert.Contains(t, do, "pH 2.5-5")
	}
}

// What does not dissolve of bleaching powder burns holes; a liquid has no such step.
func TestPowderIsDissolvedFirst(t *testing.T) {
	l := loads(t)["hypochlorite-bath"]
	assert.NotContains(t, text(t, sheet(t, l).Steps), "clear liquor")
	l.Store = Store{Chlorine: 0.35}
	steps := text(t, sheet(t, l).Steps)
	settle, dose := strings.Index(steps, "clear liquor"), strings.Index(steps, "Dose the hypochlorite")
	assert.True(t, 0 < settle && settle < dose, steps)
}

func TestSpraySheet(t *testing.T) {
	// 60 kg of 400 g/m² are 150 m², 100 g/m² on it 15 L, with 80 % landing 18.75 L.
	s := sheet(t, loads(t)["permanganate-spray"])
	assert.InDelta(t, 18.75, float64(find(t, s.Batches[0].Items, "spray mix").Take.Volume), 1e-9)
	assert.InDelta(t, 15*30, float64(s.Oxidizer), 1e-9)
	assert.InDelta(t, 18.75*30, float64(find(t, s.Shared, "potassium permanganate").Take.Mass), 1e-6)
}

func TestEverySheetIsWhole(t *testing.T) {
	for id, l := range loads(t) {
		s := sheet(t, l)
		assert.Equal(t, discharge.Deference, s.Deference, id)
		assert.NotEmpty(t, s.Cautions, id)
		assert.NotEmpty(t, s.Protection, id)
		assert.Greater(t, len(s.Steps), 6, id)
		for _, c := range s.Cautions {
			assert.NotEmpty(t, c.Source, id)
		}
		effluent := strings.Contains(strings.ToLower(text(t, s.Cautions)), "effluent")
		assert.Equal(t, s.Neutralizing != nil, effluent, "%s: those that leave metal or chlorine say so", id)
		if s.Neutralizing != nil {
			assert.NotEmpty(t, s.Limits, id)
			assert.NotEmpty(t, s.Conflicts, id)
		}
		for _, v := range l.Settings {
			assert.False(t, math.IsNaN(v))
		}
		// The time of the settings stands in the procedure.
		found := false
		for _, step := range s.Steps {
			found = found || step.Min == at(l.Settings["time_min"])
		}
		assert.True(t, found, id)
		assert.NotContains(t, text(t, s), "NaN")
		// Deterministic.
		assert.True(t, text(t, s) == text(t, sheet(t, l)), id)
	}
}

// Only what is on the sheet: no word of oxalic acid where bisulfite was chosen.
func TestCautionsFitTheSheet(t *testing.T) {
	for _, id := range []string{"permanganate-stone", "permanganate-pellet"} {
		l := loads(t)[id]
		with := func(agent string) string {
			l.Neutralizer.Agent = agent
			s := sheet(t, l)
			return strings.ToLower(text(t, []any{s.Cautions, s.Conflicts, s.Limits}))
		}
		assert.NotContains(t, with("bisulfite"), "oxalic")
		assert.Contains(t, with("bisulfite"), "sulfur dioxide")
		assert.NotContains(t, with("peroxide"), "sulfur dioxide")
		assert.Contains(t, with("oxalic-acid"), "kidneys")
	}
}

func text(t testing.TB, v any) string {
	b, err := json.Marshal(v)
	require.NoError(t, err)
	return string(b)
}

// What a built-in caution is replaced by must go on existing under that name.
func TestReplacedCautionsExist(t *testing.T) {
	all := map[string]bool{}
	for _, p := range discharge.Processes() {
		for _, c := range p.Cautions {
			all[c.Hazard] = true
		}
	}
	n := 0
	for h := range all {
		if toldByChemistry(h, true) {
			n++
		}
	}
	assert.Equal(t, 5, n)
	assert.Equal(t, discharge.FromMemory, chem.FromMemory, "one wording for one standing")
	assert.Equal(t, discharge.CommonPractice, chem.CommonPractice)
}

// What a process of one's own adds is not passed over.
func TestOwnFactorsAreSaidNotToBeWeighed(t *testing.T) {
	p, err := discharge.ReadProcess("own.json", strings.NewReader(`{"id": "our-bath", "extends": "laccase-bath", "factors": [{"column": "alkali_gpl", "title": "alkali", "unit": "g/L", "transform": "log", "optional": true}]}`))
	require.NoError(t, err)
	l := loads(t)["laccase-bath"]
	l.Process = p
	require.NotContains(t, strings.Join(sheet(t, l).Warnings, " "), "not weighed")
	l.Settings = l.Settings.Clone()
	l.Settings["alkali_gpl"] = 3
	require.Contains(t, strings.Join(sheet(t, l).Warnings, " "), "alkali_gpl of 3 g/L is a setting of this process and is not weighed")
	for id, l := range loads(t) {
		require.NotContains(t, strings.Join(sheet(t, l).Warnings, " "), "not weighed", id)
	}
}
