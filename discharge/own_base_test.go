package discharge_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// roll is a load of cloth with more or less dye than the others, ln of its share, whose dye
// goes by first order in its own amount: of twice as much, twice as much is left (textbook
// kinetics). Gray cloth of one reflectance, K/S of 14 in the middle and of 0.05 when
// no dye is left.
func rollLightness(depth, dose float64) float64 {
	ks := 0.05 + 14*math.Exp(depth-dose)
	r := 1 + ks - math.Sqrt(ks*ks+2*ks) // Kubelka and Munk 1931
	return 116*math.Cbrt(r) - 16        // CIE 15, eq. 8.3, for R > 0.008856
}

// rollDose is a closed form of ours.
func rollDose(strength, ratio, minutes float64) float64 {
	return 2.2 * strength / 6 * ratio * math.Pow(minutes/12, 0.8)
}

// rolls are trials on loads whose cloth differs by spread in ln of its dye; each load's own
// garments are read before it, but those of the lots that skip names.
func rolls(t *testing.T, spread float64, skip ...string) *discharge.Table {
	t.Helper()
	random := rand.New(rand.NewPCG(21, 22))
	var b strings.Builder
	b.WriteString("lot,role,process,strength_pct,ratio,time_min,panel,illuminant,observer,L,a,b\n")
	row := func(lot, role, settings string, panel int, lightness float64) {
		fmt.Fprintf(&b, "%s,%s,permanganate-pellet,%s,%d,D65,10,%.3f,%.3f,%.3f\n", lot, role, settings, panel, lightness, -1-0.03*lightness, -22+0.25*lightness)
	}
	row("white", "white", ",,", 1, rollLightness(0, 30))
	lot := 0
	for _, s := range []float64{4, 9} {
		for _, r := range []float64{0.8, 1.6} {
			for _, m := range []float64{6, 10, 15, 24} {
				lot++
				id := fmt.Sprintf("T%02d", lot)
				depth := spread * random.NormFloat64()
				dose := rollDose(s, r, m) * math.Exp(0.03*random.NormFloat64())
				for panel := range 4 {
					own := depth + 0.01*random.NormFloat64()
					if !strings.Contains(fmt.Sprint(skip), id) {
						row(id, "base", ",,", panel+1, rollLightness(own, 0))
					}
					row(id, "trial", fmt.Sprintf("%g,%g,%g", s, r, m), panel+1, rollLightness(own, dose*math.Exp(0.02*random.NormFloat64())))
				}
			}
		}
	}
	table, err := discharge.ReadTable("rolls.csv", strings.NewReader(b.String()), nil)
	require.NoError(t, err)
	return table
}

// apart is the table with the same readings of bases under names of no trial lot.
func apart(table *discharge.Table) *discharge.Table {
	out := *table
	out.Lots = nil
	for _, l := range table.Lots {
		if l.Role == discharge.Base {
			l.ID = "base of " + l.ID
		}
		out.Lots = append(out.Lots, l)
	}
	return &out
}

const ownBase = "base_lightness"

// A tenth more or less dye from load to load passes for scatter of dosing, unless the base of
// each load is read and said; then a load that starts lighter is known to end lighter.
func TestOwnBaseOfALoad(t *testing.T) {
	table := rolls(t, 0.12)
	own, pooled := fitted(t, table), fitted(t, apart(table))
	var misses [3][]float64 // base known, not known, pooled
	inside := [3]int{}
	random := rand.New(rand.NewPCG(31, 32))
	n := 300
	for range n {
		s, r, minutes, depth := 4+5*random.Float64(), 0.8+0.8*random.Float64(), 6+18*random.Float64(), 0.12*random.NormFloat64()
		truth := rollLightness(depth, rollDose(s, r, minutes)*math.Exp(0.03*random.NormFloat64()))
		settings := discharge.Settings{"strength_pct": s, "ratio": r, "time_min": minutes}
		known := settings.Clone()
		known[ownBase] = rollLightness(depth, 0)
		for i, ask := range []struct {
			m *discharge.Model
			s discharge.Settings
		}{{own, known}, {own, settings}, {pooled, settings}} {
			p, err := ask.m.Predict(ask.s)
			require.NoError(t, err)
			misses[i] = append(misses[i], math.Abs(p.Shade.L-truth))
			if lo, hi := p.Interval(0, 0.9); lo <= truth && truth <= hi {
				inside[i]++
			}
		}
	}
	rms := func(x []float64) (sum float64) {
		for _, v := range x {
			sum += v * v / float64(len(x))
		}
		return math.Sqrt(sum)
	}
	t.Logf("L* off by %.2f with the base known, %.2f without, %.2f pooled; 90 %% intervals hold %v of %d; sd of lots %.3f, pooled %.3f", rms(misses[0]), rms(misses[1]), rms(misses[2]), inside, n, own.Summary().SDLot, pooled.Summary().SDLot)
	require.Less(t, rms(misses[0]), 0.75*rms(misses[2]))
	for _, k := range inside {
		require.GreaterOrEqual(t, k, n*84/100) // three standard errors below 0.9
	}
	words := strings.Join(own.Summary().Words, "\n")
	require.Contains(t, words, "a load that starts 1 L* lighter ends ")
	require.NotContains(t, strings.Join(pooled.Summary().Words, "\n"), "starts 1 L* lighter")
}

// What a lighter base is worth in dose is known where dye goes by first order: a
// share δ of dye is δ of that dose. Half way, where K/S falls by exp(-dose), it is what 1 L*
// of base is in ln K/S, over the dose.
func TestOwnBaseIsWorthItsDye(t *testing.T) {
	m := fitted(t, rolls(t, 0.12))
	perL := 0.02 / (rollLightness(-0.02, 0) - rollLightness(0, 0)) // ln K/S per L* of base
	want := perL / rollDose(6, 1.13, 12)                           // of ln dose
	p, err := m.Predict(discharge.Settings{"strength_pct": 6, "ratio": 1.13, "time_min": 12, ownBase: rollLightness(0, 0)})
	require.NoError(t, err)
	lighter, err := m.Predict(discharge.Settings{"strength_pct": 6, "ratio": 1.13, "time_min": 12, ownBase: rollLightness(0, 0) + 1})
	require.NoError(t, err)
	longer, err := m.Predict(discharge.Settings{"strength_pct": 6, "ratio": 1.13, "time_min": 12 * math.Exp(want/0.8), ownBase: rollLightness(0, 0)})
	require.NoError(t, err)
	t.Logf("1 L* of base: L* %.2f, the same in minutes %.2f", lighter.Shade.L-p.Shade.L, longer.Shade.L-p.Shade.L)
	require.InDelta(t, longer.Shade.L-p.Shade.L, lighter.Shade.L-p.Shade.L, 0.35*(longer.Shade.L-p.Shade.L))
}

// Loads that differ by no more than their panels do have no base of their own, and a few
// loads of which it is not known are taken to be like the others.
func TestOwnBaseMustDiffer(t *testing.T) {
	has := func(m *discharge.Model) bool {
		for _, f := range m.Factors() {
			if f.Column == ownBase {
				require.False(t, f.Chosen)
				require.True(t, f.Measured)
				return true
			}
		}
		return false
	}
	alike, unlike := fitted(t, rolls(t, 0)), fitted(t, rolls(t, 0.12))
	require.False(t, has(alike))
	require.Contains(t, fmt.Sprint(alike.Warnings()), "bases of 16 trial lots were read, but differ by no more than the garments of each")
	require.True(t, has(unlike))
	require.NotContains(t, fmt.Sprint(unlike.Warnings()), "bases of 16")
	some := fitted(t, rolls(t, 0.12, "T03", "T11"))
	require.True(t, has(some))
	require.Contains(t, fmt.Sprint(some.Warnings()), ownBase+" is given for 14 of 16 trial lots only: the others are taken to have had the mean of these")
	few := fitted(t, rolls(t, 0.12, "T01", "T02", "T03", "T04", "T05", "T06", "T07", "T08", "T09"))
	require.False(t, has(few))
	require.Contains(t, fmt.Sprint(few.Warnings()), ownBase+" is given for 7 of 16 trial lots only and is left out of the model")
}

// A column says the same as readings, and goes before them.
func TestOwnBaseAsAColumn(t *testing.T) {
	table := rolls(t, 0.12)
	stated := *table
	stated.Lots = nil
	for _, l := range table.Lots {
		if l.Role == discharge.Trial {
			l.Settings = l.Settings.Clone()
			l.Settings[ownBase] = baseOf(table, l.ID)
		}
		stated.Lots = append(stated.Lots, l)
	}
	s := discharge.Settings{"strength_pct": 6, "ratio": 1.2, "time_min": 12, ownBase: 22}
	a, err := fitted(t, table).Predict(s)
	require.NoError(t, err)
	b, err := fitted(t, &stated).Predict(s)
	require.NoError(t, err)
	require.InDelta(t, a.Shade.L, b.Shade.L, 1e-9)
}

func baseOf(table *discharge.Table, lot string) (mean float64) {
	for _, l := range table.Lots {
		if l.ID == lot && l.Role == discharge.Base {
			for _, p := range l.Panels {
				mean += p.Readings[0].Lab.L / float64(len(l.Panels))
			}
		}
	}
	return mean
}

// Suggestions for a load whose base was read are others than for any load, and surer.
func TestSuggestForALoadOfKnownBase(t *testing.T) {
	m := fitted(t, rolls(t, 0.12))
	target := discharge.Target{ID: "t", Viewing: m.Viewing(), Lab: colorimetry.Lab{L: 50, A: -2.5, B: -9.5}}
	unnamed, err := m.Suggest(target, nil)
	require.NoError(t, err)
	require.Contains(t, fmt.Sprint(unnamed.Warnings), ownBase+" is not given")
	require.NotContains(t, unnamed.List[0].Settings, ownBase)
	require.Contains(t, unnamed.Why, ownBase+" drifts from load to load: read before each load, and settings chosen for it")
	at := func(base float64) discharge.Suggestion {
		bounds := map[string]discharge.Range{ownBase: {Lo: base, Hi: base}, "strength_pct": {Lo: 6, Hi: 6}, "ratio": {Lo: 1.2, Hi: 1.2}}
		s, err := m.Suggest(target, &discharge.SuggestOptions{Bounds: bounds})
		require.NoError(t, err)
		return s.List[0]
	}
	dark, light := at(20), at(24)
	require.Greater(t, dark.Settings["time_min"], light.Settings["time_min"])
	known, err := m.Suggest(target, &discharge.SuggestOptions{Bounds: map[string]discharge.Range{ownBase: {Lo: 22, Hi: 22}}})
	require.NoError(t, err)
	require.Greater(t, known.BestPassProbability, unnamed.BestPassProbability+0.05)
	require.Equal(t, 22.0, known.List[0].Settings[ownBase])
}

// A recalibration to cloth with more dye takes own bases from those of that cloth: what the
// new lots are worth is not counted twice.
func TestRecalibrateWithOwnBases(t *testing.T) {
	m := fitted(t, rolls(t, 0.12))
	fresh := rolls(t, 0.12)
	few := *fresh
	few.Lots = nil
	for _, l := range fresh.Lots {
		if l.ID == "T06" || l.ID == "T11" || l.Role == discharge.White {
			few.Lots = append(few.Lots, l)
		}
	}
	n, err := m.Recalibrate(&few, nil)
	require.NoError(t, err)
	base := (baseOf(fresh, "T06") + baseOf(fresh, "T11")) / 2
	for _, f := range n.Factors() {
		if f.Column == ownBase {
			require.Less(t, f.Lo, base)
			require.Greater(t, f.Hi, base)
		}
	}
	// The same cloth: a load at its own base is predicted as before.
	s := discharge.Settings{"strength_pct": 6, "ratio": 1.2, "time_min": 12, ownBase: base}
	p, err := n.Predict(s)
	require.NoError(t, err)
	require.InDelta(t, rollLightness(math.Log(rolledKS(base)/rolledKS(rollLightness(0, 0))), rollDose(6, 1.2, 12)), p.Shade.L, 1.5)
}

// rolledKS is the K/S of the dye of a base of that lightness.
func rolledKS(lightness float64) float64 {
	r := math.Pow((lightness+16)/116, 3)
	return (1-r)*(1-r)/(2*r) - 0.05
}
