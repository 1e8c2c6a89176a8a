package discharge

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

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
