package discharge

import (
	"bytes"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
)

// Bounds that cannot do anything are told, and recorded quantities are carried
// into the suggestions.
func TestSuggestSaysWhichBoundsHaveNoEffect(t *testing.T) {
	table, err := ReadTable(demo.PelletTrialsFile, bytes.NewReader(demo.PelletTrials()), nil)
	require.NoError(t, err)
	m, err := Fit(table, nil)
	require.NoError(t, err)
	target := Target{ID: "middle", Viewing: m.viewing, Lab: m.path.at(0.5)}
	var outside string
	for _, f := range m.process.Factors {
		if _, fixed := m.fixed[f.Column]; !fixed && m.basis.index(f.Column) < 0 && f.Transform != Recorded {
			outside = f.Column
		}
	}
	require.NotEmpty(t, outside, "the demo's trials hold every factor of the process")
	plain, err := m.Suggest(target, nil)
	require.NoError(t, err)
	assert.Empty(t, plain.Warnings)
	f, _ := m.process.Factor(outside)
	bounded, err := m.Suggest(target, &SuggestOptions{Bounds: map[string]Range{outside: f.Typical}})
	require.NoError(t, err)
	require.Len(t, bounded.Warnings, 1)
	assert.ErrorContains(t, bounded.Warnings[0], outside)
	assert.Equal(t, plain.List, bounded.List, "the bounds have no effect, as said")
}

func TestSuggestTakesWhatIsRecorded(t *testing.T) {
	// The demo's trials as if the pellets were stones: only the names matter here.
	data := bytes.ReplaceAll(demo.PelletTrials(), []byte("permanganate-pellet"), []byte("permanganate-stone"))
	data = bytes.ReplaceAll(data, []byte("strength_pct"), []byte("strength_gpl"))
	table, err := ReadTable("stones.csv", bytes.NewReader(data), nil)
	require.NoError(t, err)
	m, err := Fit(table, nil)
	require.NoError(t, err)
	target := Target{ID: "middle", Viewing: m.viewing, Lab: m.path.at(0.5)}
	plain, err := m.Suggest(target, nil)
	require.NoError(t, err)
	s, err := m.Suggest(target, &SuggestOptions{Bounds: map[string]Range{"uptake_lpkg": {Lo: 0.4, Hi: 0.4}}})
	require.NoError(t, err)
	require.NotEmpty(t, s.List)
	assert.Zero(t, plain.List[0].ActiveGPerKg, "without the liquid that stones hold it is not known")
	// By hand: g/L in the soak times L held per kg of stone times kg of stone
	// per kg of garment.
	best := s.List[0].Settings
	assert.InEpsilon(t, best["strength_gpl"]*0.4*best["ratio"], s.List[0].ActiveGPerKg, 1e-12)
	assert.Equal(t, 0.4, best["uptake_lpkg"])
	_, err = m.Suggest(target, &SuggestOptions{Bounds: map[string]Range{"uptake_lpkg": {Lo: 0.3, Hi: 0.4}}})
	assert.ErrorContains(t, err, "give one value")
}

// No turn of the time dial alone, nor of it and the ratio's together by one
// step, brings the expected shade nearer a target than the first suggestion
// does by more than the eye could tell.
func TestSuggestionsUseTheDials(t *testing.T) {
	table, err := ReadTable(demo.PelletTrialsFile, bytes.NewReader(demo.PelletTrials()), nil)
	require.NoError(t, err)
	m, err := Fit(table, nil)
	require.NoError(t, err)
	for _, level := range []float64{0.3, 0.4, 0.5, 0.6} {
		target := Target{ID: "t", Viewing: m.viewing, Lab: m.path.at(level)}
		r, err := m.Suggest(target, nil)
		require.NoError(t, err)
		require.NotEmpty(t, r.List)
		s := r.List[0]
		var turned []Settings
		for _, minutes := range []float64{-0.5, 0, 0.5} {
			for _, ratio := range []float64{-0.05, 0, 0.05} {
				u := s.Settings.Clone()
				u["time_min"] += minutes
				u["ratio"] += ratio
				turned = append(turned, u)
			}
		}
		list, err := m.Evaluate(target, 0, turned)
		require.NoError(t, err)
		for _, e := range list {
			assert.Greater(t, e.DeltaE, s.DeltaE-0.1, "%v", e.Settings)
		}
		assert.Less(t, s.DeltaE, 0.1)
	}
}

// Of chances within half a point of the best one the nearest shade comes first, and
// so on with what is left; the chance decides where it differs by more.
func TestNearestOfTheSameChanceComesFirst(t *testing.T) {
	var list []Suggestion
	for _, s := range [][2]float64{{0.4725, 0.24}, {0.4712, 0.10}, {0.4703, 0.02}, {0.4690, 0.04}, {0.46, 0}} {
		list = append(list, Suggestion{PassProbability: s[0], DeltaE: s[1]})
	}
	nearestFirst(list)
	var order []float64
	for _, s := range list {
		order = append(order, s.DeltaE)
	}
	assert.Equal(t, []float64{0.02, 0.04, 0.10, 0.24, 0}, order)
	nearestFirst(nil)
}

// Ends of a range are shortened inward to three digits, and stay what they are
// where they are no longer.
func TestReadableEndsLieInside(t *testing.T) {
	for _, c := range [][4]float64{
		{0.3603, 14.548, 0.361, 14.5},
		{0.36, 79.6, 0.36, 79.6},
		{5, 120, 5, 120},
		{-12.345, -1.2345, -12.3, -1.24},
		{0, 1234, 0, 1230},
		{14.541, 14.549, 14.541, 14.549}, // nothing that short lies between
		{0.1, 0.3, 0.1, 0.3},
	} {
		lo, hi := readable(c[0], c[1])
		assert.Equal(t, [2]float64{c[2], c[3]}, [2]float64{lo, hi}, "%v", c[:2])
	}
}

// What the model predicts at settings within the bounds is within reach, wherever a
// factor with a best value stands: the most dose of an ozone that works best on damp
// cloth lies inside.
func TestWhatIsPredictedIsReachable(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 9))
	var all []Settings
	for _, strength := range []float64{30, 60} {
		for _, moisture := range []float64{20, 50, 80} {
			for _, minutes := range []float64{10, 17, 30} {
				all = append(all, Settings{"strength_gnm3": strength, "moisture_pct": moisture, timeColumn: minutes})
			}
		}
	}
	lightness := func(s Settings) float64 {
		damp := (s["moisture_pct"] - 50) / 30
		dose := math.Log(s["strength_gnm3"]/45) + math.Log(s[timeColumn]/17) - 1.5*damp*damp
		return baseL + (whiteL-baseL)/(1+math.Exp(-1.2*dose))
	}
	m, err := Fit(exactTrials("ozone-gas", rng, all, lightness), nil)
	require.NoError(t, err)
	assert.Contains(t, strings.Join(m.Summary().Words, "\n"), "moisture_pct works best at about 5", "within a tenth of 50")
	ends, err := m.Suggest(Target{ID: "white", Viewing: m.viewing, Lab: m.path.at(1)}, nil)
	require.NoError(t, err)
	p, err := m.Predict(Settings{"strength_gnm3": 60, "moisture_pct": 50, timeColumn: 30})
	require.NoError(t, err)
	assert.GreaterOrEqual(t, ends.Closest.L, p.Shade.L-0.01, "the lightest shade within reach")
	corner, err := m.Predict(Settings{"strength_gnm3": 60, "moisture_pct": 80, timeColumn: 30})
	require.NoError(t, err)
	require.Greater(t, p.Shade.L, corner.Shade.L+5, "the corners are not it")
	for range 40 {
		s := Settings{"strength_gnm3": 30 + 30*rng.Float64(), "moisture_pct": 20 + 60*rng.Float64(), timeColumn: 10 + 20*rng.Float64()}
		p, err := m.Predict(s)
		require.NoError(t, err)
		got, err := m.Suggest(Target{ID: "predicted", Viewing: m.viewing, Lab: p.Shade}, nil)
		require.NoError(t, err)
		assert.True(t, got.Reachable, "%v: %s", s, got.Why)
		assert.NotEmpty(t, got.List)
	}
}

// A spectrum can be seen under the model's light, limits without one cannot: colors
// under two lights are not compared.
func TestLimitsUnderAnotherLightAreRefused(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	at := m.path.at(0.5)
	other := colorimetry.Viewing{Illuminant: colorimetry.A, Observer: colorimetry.TenDegree}
	require.NotEqual(t, other, m.viewing)
	grid := colorimetry.Grid{Start: 400, Step: 10, N: 31}
	target := Target{ID: "gray", Viewing: other, Lab: at, Grid: grid, Spectrum: slices.Repeat([]float64{0.2}, grid.N)}
	s, err := m.Suggest(target, nil)
	require.NoError(t, err)
	assert.InDelta(t, 0, s.Target.Lab.A, 0.1, "a gray is gray under any light")
	assert.InDelta(t, 0, s.Target.Lab.B, 0.1)
	target.Light = &at
	_, err = m.Suggest(target, nil)
	assert.ErrorIs(t, err, ErrViewing)
}

func TestSuggestRefusesANegativeCount(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	_, err = m.Suggest(Target{ID: "middle", Viewing: m.viewing, Lab: m.path.at(0.5)}, &SuggestOptions{Count: -1})
	assert.ErrorContains(t, err, "negative")
}

// Hypochlorite made acid sets chlorine gas free (hazard statement EUH031): nothing that
// suggests or plans settings leads there, and what was read there is warned of.
func TestAcidHypochloriteIsNeverSuggested(t *testing.T) {
	process, err := LookupProcess("hypochlorite-bath")
	require.NoError(t, err)
	assert.Empty(t, process.Hazard(Settings{"ph": 10}))
	assert.Contains(t, process.Hazard(Settings{"ph": 4}), "chlorine gas")
	own := process
	own.Oxidizer = "bleach of our supplier"
	assert.Contains(t, own.Hazard(Settings{"ph": 4}), "chlorine gas")
	pellets, err := LookupProcess("permanganate-pellet")
	require.NoError(t, err)
	assert.Empty(t, pellets.Hazard(Settings{"ph": 4}))

	acid := map[string]Range{"ph": {Lo: 3, Hi: 5}}
	_, err = FirstPlan(process, &PlanOptions{Bounds: acid})
	assert.ErrorIs(t, err, ErrHazard)
	trials := func(ph ...float64) *Model {
		var all []Settings
		for i, strength := range []float64{1, 2, 4, 1, 2, 4, 2, 4} {
			all = append(all, Settings{"strength_gpl": strength, "liquor_ratio": 10, timeColumn: 5 + 3*float64(i), "ph": ph[i%len(ph)]})
		}
		lightness := func(s Settings) float64 {
			return baseL + (whiteL-baseL)/(1+60/(s["strength_gpl"]*s[timeColumn]))
		}
		m, err := Fit(exactTrials(process.ID, rand.New(rand.NewPCG(5, 6)), all, lightness), nil)
		require.NoError(t, err)
		return m
	}
	m := trials(9, 11)
	target := Target{ID: "middle", Viewing: m.viewing, Lab: m.path.at(0.5)}
	_, err = m.Suggest(target, nil)
	require.NoError(t, err)
	_, err = m.Suggest(target, &SuggestOptions{Bounds: acid})
	assert.ErrorIs(t, err, ErrHazard)
	_, err = m.Plan(&PlanOptions{Bounds: acid})
	assert.ErrorIs(t, err, ErrHazard)
	sour := trials(5)
	_, err = sour.Suggest(target, nil)
	assert.ErrorIs(t, err, ErrHazard, "held where all trials were")

	csv := "lot,role,process,strength_gpl,liquor_ratio,time_min,ph,illuminant,observer,L,a,b\n" +
		"B,base,hypochlorite-bath,,,,,D65,10,20,0,-12\nT1,trial,hypochlorite-bath,2,10,10,4,D65,10,30,-1,-13\n"
	table, err := ReadTable("acid.csv", strings.NewReader(csv), nil)
	require.NoError(t, err)
	require.NotEmpty(t, table.Warnings)
	assert.ErrorContains(t, table.Warnings[0], "acid.csv:3")
	assert.ErrorContains(t, table.Warnings[0], "chlorine gas")
}

// Nobody knows how dark a base is that was not read.
func TestDarkTargetsOfAnUnreadBase(t *testing.T) {
	table := demoTrials(t)
	dark := Target{ID: "dark", Viewing: table.Viewing, Lab: colorimetry.Lab{L: 8}}
	why := func(table *Table) string {
		m, err := Fit(table, nil)
		require.NoError(t, err)
		var file bytes.Buffer
		require.NoError(t, m.Save(&file, "test"))
		m, err = Load(&file)
		require.NoError(t, err)
		s, err := m.Suggest(dark, nil)
		require.NoError(t, err)
		assert.False(t, s.Reachable)
		return s.Why
	}
	assert.Contains(t, why(table), "darker than the base")
	table.Lots = slices.DeleteFunc(table.Lots, func(l Lot) bool { return l.Role == Base })
	assert.Contains(t, why(table), "read base garments")
}

// Beside settings that are expected to pass, none that are expected to fail are
// suggested, such as a strength far above what the shade needs; where all fail, the
// best of them are.
func TestNoFailureIsSuggestedBesideAPass(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	target := Target{ID: "middle", Viewing: m.viewing, Lab: m.path.at(0.4)}
	f, _ := m.process.Strength()
	both, err := m.Suggest(target, &SuggestOptions{Available: map[string][]float64{f.Column: {6.5, 60}}})
	require.NoError(t, err)
	require.NotEmpty(t, both.List)
	for _, s := range both.List {
		assert.LessOrEqual(t, s.DeltaE, both.Tolerance)
		assert.Equal(t, 6.5, s.Settings[f.Column])
	}
	strong, err := m.Suggest(target, &SuggestOptions{Available: map[string][]float64{f.Column: {60}}})
	require.NoError(t, err)
	if strong.Reachable {
		require.NotEmpty(t, strong.List)
	} else {
		require.NotNil(t, strong.Nearest)
	}
}

// Numbers that are none are refused where an error can be returned, and else panic with
// what is wrong: none passes for a level.
func TestNoNumberIsNoLevel(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	s := m.Ladder(2)[0]
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		_, err := m.DoseResidual(s, bad)
		assert.ErrorContains(t, err, "finite")
		_, _, _, err = m.TimeFor(s, bad)
		assert.ErrorContains(t, err, "finite")
		_, _, _, err = m.SecondPass(s, 0.2, bad)
		assert.ErrorContains(t, err, "finite")
		for name, call := range map[string]func(){
			"ShadeAt": func() { m.ShadeAt(bad) }, "ScatterAt": func() { m.ScatterAt(bad) }, "SpectrumAt": func() { m.SpectrumAt(bad) },
			"Slope": func() { m.Slope(bad) }, "DoseBetween": func() { m.DoseBetween(0.2, bad) }, "NearestLevel": func() { m.NearestLevel(colorimetry.Lab{L: bad}) },
		} {
			assert.PanicsWithValue(t, "discharge: a level, or a color to find one for, must be finite", call, name)
		}
	}
	assert.Panics(t, func() { m.Ladder(1) })
	_, err = m.Influences(t.Context(), nil, nil, 3)
	assert.ErrorContains(t, err, "table")
	_, err = m.Influences(t.Context(), demoTrials(t), nil, 1)
	assert.ErrorContains(t, err, "at least 2")
	light, dark := m.path.at(0.4), m.path.at(0.6)
	_, err = m.Suggest(Target{ID: "swapped", Viewing: m.viewing, Lab: m.path.at(0.5), Light: &light, Dark: &dark}, nil)
	assert.ErrorContains(t, err, "not lighter")
}

// The unloading window keeps to bounds that leave a choice, and has two sides where
// the time given lies beyond the trials.
func TestWindowKeepsToBounds(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	p, err := m.Predict(Settings{"strength_pct": 5, "ratio": 1.2, "time_min": 15})
	require.NoError(t, err)
	target := Target{ID: "t", Viewing: m.Viewing(), Lab: p.Shade}
	s, err := m.Suggest(target, &SuggestOptions{Tolerance: 4, Bounds: map[string]Range{"time_min": {Lo: 14, Hi: 16}}})
	require.NoError(t, err)
	require.NotEmpty(t, s.List)
	for _, x := range s.List {
		assert.GreaterOrEqual(t, x.TimeWindowMin[0], 14.0)
		assert.LessOrEqual(t, x.TimeWindowMin[1], 16.0)
	}
	const late = 40.0
	p, err = m.Predict(Settings{"strength_pct": 4, "ratio": 1, "time_min": late})
	require.NoError(t, err)
	target.Lab = p.Shade
	s, err = m.Suggest(target, &SuggestOptions{Bounds: map[string]Range{"time_min": {Lo: late, Hi: late}}})
	require.NoError(t, err)
	require.NotEmpty(t, s.List)
	assert.True(t, s.List[0].Extrapolated)
	assert.Less(t, s.List[0].TimeWindowMin[0], late)
	assert.Greater(t, s.List[0].TimeWindowMin[1], late)
}

// Of several unknown columns always the same one is named.
func TestUnknownColumnsAreNamedInOrder(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	p := m.Process()
	unknown := map[string]Range{}
	list := map[string][]float64{}
	for _, c := range []string{"x", "y", "z", "a", "b"} {
		unknown[c], list[c] = Range{Lo: 1, Hi: 2}, []float64{1}
	}
	target := Target{ID: "T", Viewing: m.Viewing(), Lab: m.ShadeAt(0.5)}
	for range 20 {
		_, err := m.Suggest(target, &SuggestOptions{Bounds: unknown})
		require.ErrorContains(t, err, "has no a")
		_, err = m.Suggest(target, &SuggestOptions{Available: list})
		require.ErrorContains(t, err, "has no a")
		_, err = FirstPlan(p, &PlanOptions{Bounds: unknown})
		require.ErrorContains(t, err, "has no a")
		_, err = FirstPlan(p, &PlanOptions{Available: list})
		require.ErrorContains(t, err, "has no a")
	}
}

// Of settings that pass alike and need the same oxidizer and time, those with less of what
// the process says is better less come first.
func TestLessIsRankedFirstWhereTheProcessSaysSo(t *testing.T) {
	q := &search{m: &Model{process: Process{Factors: []Factor{{Column: "ratio"}, {Column: "salt_gpl", Less: true}}}}}
	list := []Suggestion{{Settings: Settings{"ratio": 1, "salt_gpl": 4}}, {Settings: Settings{"ratio": 2, "salt_gpl": 3}}, {Settings: Settings{"ratio": 3, "salt_gpl": 5}, PassProbability: 0.5}}
	q.rank(list)
	for i, salt := range []float64{5, 3, 4} {
		assert.Equal(t, salt, list[i].Settings["salt_gpl"], i)
	}
}

// Settings that no lot can have are refused with their column and value, as readers
// refuse them in tables; what is only far from the trials is extrapolated.
func TestSettingsThatCannotBeAreRefused(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	good := Settings{"strength_pct": 6, "ratio": 1.4, timeColumn: 12}
	for _, c := range []struct {
		column string
		value  float64
		says   string
	}{
		{"strength_pct", 600, "strength_pct = 600: strength_pct must not exceed 100 %"},
		{"strength_pct", 0, "must be above 0"},
		{"ratio", -1, "ratio = -1: ratio must be above 0"},
		{timeColumn, math.NaN(), "time_min must be a finite number"},
		{"rpm", math.Inf(1), "rpm must be a finite number"},
		{"rpm", -3, "rpm must be above 0"},
	} {
		bad := good.Clone()
		bad[c.column] = c.value
		_, err := m.Predict(bad)
		assert.ErrorContains(t, err, c.says)
		assert.ErrorContains(t, err, c.column)
		assert.ErrorIs(t, err, ErrValue)
	}
	target := Target{ID: "middle", Viewing: m.viewing, Lab: m.path.at(0.5)}
	for _, opt := range []SuggestOptions{
		{Tolerance: -1}, {Tolerance: math.NaN()}, {Count: -1}, {MaxTensileLossPct: 120},
		{Bounds: map[string]Range{"ratio": {Lo: 2, Hi: 1}}}, {Bounds: map[string]Range{"ratio": {Lo: 1, Hi: math.Inf(1)}}}, {Bounds: map[string]Range{"strength_pct": {Lo: 4, Hi: 400}}},
		{Available: map[string][]float64{"strength_pct": {-6}}},
	} {
		_, err := m.Suggest(target, &opt)
		assert.ErrorIs(t, err, ErrValue, "%+v", opt)
	}
	_, err = m.Suggest(Target{ID: "none", Viewing: m.viewing, Lab: colorimetry.Lab{L: math.NaN()}}, nil)
	assert.ErrorIs(t, err, ErrValue)
	_, err = m.Recalibrate(demoTrials(t), &RecalibrateOptions{ShiftSD: -1})
	assert.ErrorIs(t, err, ErrValue)
	far := good.Clone()
	far["strength_pct"] = 60
	p, err := m.Predict(far)
	require.NoError(t, err)
	assert.True(t, p.Extrapolated)
}

// So is what cannot be of a factor that never varied in the trials.
func TestFixedSettingsThatCannotBeAreRefused(t *testing.T) {
	table := demoTrials(t)
	for i := range table.Lots {
		if s := table.Lots[i].Settings; s != nil {
			s["rpm"] = 30
		}
	}
	m, err := Fit(table, nil)
	require.NoError(t, err)
	s := Settings{"strength_pct": 6, "ratio": 1.4, timeColumn: 12, "rpm": 40}
	p, err := m.Predict(s)
	require.NoError(t, err)
	assert.True(t, p.Extrapolated)
	for _, v := range []float64{math.NaN(), math.Inf(1), -4} {
		s["rpm"] = v
		_, err := m.Predict(s)
		assert.ErrorContains(t, err, "rpm")
	}
}
