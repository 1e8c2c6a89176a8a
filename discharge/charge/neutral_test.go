package charge

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge/chem"
)

// Molar masses from IUPAC standard atomic weights, as handbooks print them.
const (
	kmno4, cl2       = 158.034, 70.906
	sodaAsh, acetic  = 105.988, 60.052
	phosphoric, mol  = 97.994, 24.465 // mol: L of an ideal gas at 25 °C and 1 atm
	stoneKMnO4       = 480.           // g, see TestStoneSheet
	bathChlorine     = 1800.          // g, see TestHypochloriteSheet
	bisulfitePerCl2  = 1.4676         // computed table, published.Stoichiometry
	bisulfitePerMnO4 = 1.6462
)

func neutralizing(t *testing.T, id string, n Neutralizer) *Neutralizing {
	t.Helper()
	l := loads(t)[id]
	l.Neutralizer = &n
	return sheet(t, l).Neutralizing
}

// A liquid is diluted, a solid dissolved: what the words mean (no source).
func TestAgentsAreDilutedOrDissolved(t *testing.T) {
	for agent, words := range map[string]string{"peroxide": "; diluted on its own", "bisulfite": "; dissolved on its own"} {
		l := loads(t)["permanganate-stone"]
		l.Neutralizer = &Neutralizer{Agent: agent, Purity: 1}
		_, items := sheet(t, l).Items()
		i := slices.IndexFunc(items, func(x Item) bool { return x.Chemical == agent })
		require.GreaterOrEqual(t, i, 0)
		assert.Contains(t, items[i].Note, words)
	}
}

// The acid that a bath uses up or makes, per mole of oxidizer, from the printed
// equations. Where an agent has several, the one that takes most acid counts,
// of an antichlor the one that makes most:
//
//	2 MnO4⁻ + 5 HSO3⁻ + H⁺; 2 MnO4⁻ + 5 H2O2 + 6 H⁺;
//	6 MnO4⁻ + 5 NH3OH⁺ + 8 H⁺ (to nitrate), 4 MnO4⁻ + 10 NH3OH⁺ + 2 H⁺ (to N2O);
//	OCl⁻ + HSO3⁻ → … + H⁺; 4 OCl⁻ + S2O3²⁻ + H2O → … + 2 H⁺ (to sulfate),
//	OCl⁻ + 2 S2O3²⁻ + 2 H⁺ → … (to tetrathionate).
func TestAcidAndSodaOfTheBath(t *testing.T) {
	for agent, perMole := range map[string]float64{"bisulfite": 0.5, "peroxide": 3, "sulfite": 3, "hydroxylamine": 8. / 6} {
		n := neutralizing(t, "permanganate-stone", Neutralizer{Agent: agent, Purity: 1})
		assert.Equal(t, "acetic-acid", n.Acid, agent)
		assert.InEpsilon(t, stoneKMnO4/kmno4*perMole*acetic, float64(n.AcidNet), 1e-3, agent)
		assert.Zero(t, n.SodaAsh, agent)
	}
	n := neutralizing(t, "permanganate-stone", Neutralizer{Agent: "bisulfite", Purity: 1, Acid: "phosphoric-acid"})
	assert.Equal(t, "phosphoric-acid", n.Acid)
	assert.InEpsilon(t, stoneKMnO4/kmno4*0.5*phosphoric, float64(n.AcidNet), 1e-3)
	for agent, perMole := range map[string]float64{"bisulfite": 1, "thiosulfate": 0.5} {
		n := neutralizing(t, "hypochlorite-bath", Neutralizer{Agent: agent, Purity: 1})
		assert.InEpsilon(t, bathChlorine/cl2*perMole*sodaAsh, float64(n.SodaAsh), 1e-3, agent)
		assert.Empty(t, n.Acid, agent)
		assert.Zero(t, n.AcidNet+n.Dioxide+n.IfSpent, agent)
	}
	assert.Zero(t, neutralizing(t, "hypochlorite-bath", Neutralizer{Agent: "sulfite", Purity: 1}).SodaAsh)
	l := loads(t)["permanganate-stone"]
	l.Neutralizer.Acid = "citric-acid"
	_, err := New(l)
	assert.ErrorIs(t, err, chem.ErrUnsuited)
}

// Gas by the gas law: 2.5 mol O2 per mol of permanganate, 1 per mol of
// chlorine; hydroxylamine gives at most 5 N2 per 2 permanganate.
func TestGasOfTheBath(t *testing.T) {
	n := neutralizing(t, "permanganate-stone", Neutralizer{Agent: "peroxide", Purity: 1})
	assert.Equal(t, "O2", n.Gas)
	assert.InEpsilon(t, 2.5*stoneKMnO4/kmno4*mol, float64(n.GasAt25), 1e-3)
	n = neutralizing(t, "hypochlorite-bath", Neutralizer{Agent: "peroxide", Purity: 1})
	assert.InEpsilon(t, bathChlorine/cl2*mol, float64(n.GasAt25), 1e-3)
	n = neutralizing(t, "permanganate-stone", Neutralizer{Agent: "hydroxylamine", Purity: 1})
	assert.Equal(t, "N2", n.Gas)
	assert.InEpsilon(t, 2.5*stoneKMnO4/kmno4*mol, float64(n.GasAt25), 1e-3)
	n = neutralizing(t, "permanganate-stone", Neutralizer{Agent: "bisulfite", Purity: 1})
	assert.Empty(t, n.Gas)
	assert.Zero(t, n.GasAt25)
}

// A titration that finds a quarter left takes a quarter of everything.
func TestRemainingOxidizer(t *testing.T) {
	all := neutralizing(t, "permanganate-stone", Neutralizer{Agent: "bisulfite", Purity: 0.98})
	for _, part := range []chem.Fraction{0, 0.25, 1} {
		n := neutralizing(t, "permanganate-stone", Neutralizer{Agent: "bisulfite", Purity: 0.98, Remaining: &part})
		for _, v := range [][2]chem.Mass{{n.Oxidizer, all.Oxidizer}, {n.Least, all.Least}, {n.Most, all.Most}, {n.IfSpent, all.IfSpent}, {n.Dioxide, all.Dioxide}, {n.AcidNet, all.AcidNet}} {
			assert.InDelta(t, float64(part)*float64(v[1]), float64(v[0]), 1e-9*float64(v[1]))
		}
	}
	l := loads(t)["permanganate-stone"]
	for _, bad := range []chem.Fraction{-0.01, 1.01, chem.Fraction(math.NaN())} {
		l.Neutralizer.Remaining = &bad
		_, err := New(l)
		assert.ErrorIs(t, err, ErrLoad)
		assert.ErrorContains(t, err, "0 to 100 %")
	}
	quarter := chem.Fraction(0.25)
	upperBound := func(remaining *chem.Fraction) bool {
		l.Neutralizer.Remaining = remaining
		return strings.Contains(find(t, sheet(t, l).Batches[0].Items, "bisulfite").Note, "upper bound")
	}
	// 0.96 g of permanganate left still takes its 0.18 g of acid.
	trace := chem.Fraction(0.002)
	l.Neutralizer.Remaining = &trace
	acid := find(t, sheet(t, l).Batches[0].Items, "acetic acid").Exact.Mass
	assert.InEpsilon(t, 0.96/kmno4*0.5*acetic, float64(acid), 1e-3)
	assert.True(t, upperBound(nil))
	assert.False(t, upperBound(&quarter), "it was titrated")
}

// Two machines share one load 3 to 2: each batch has its part of agent, acid
// and soda, and the parts add up to the sheet's.
func TestBatchesShareTheAgent(t *testing.T) {
	for id, c := range map[string]struct {
		agent, extra string
		perGram      float64
	}{
		"permanganate-stone": {"bisulfite", "acetic acid", 0.5 / kmno4 * acetic},
		"hypochlorite-bath":  {"bisulfite", "soda ash", 1 / cl2 * sodaAsh},
	} {
		l := loads(t)[id]
		l.Machines = []Machine{{"a", 36000, 0}, {"b", 24000, 0}}
		l.Neutralizer = &Neutralizer{Agent: c.agent, Purity: 0.98}
		s := sheet(t, l)
		require.Len(t, s.Batches, 2, id)
		factor, total := bisulfitePerMnO4, stoneKMnO4
		if s.Neutralizing.Antichlor {
			factor, total = bisulfitePerCl2, bathChlorine
		}
		var agent chem.Mass
		for _, b := range s.Batches {
			oxidizer := total * float64(b.Garments) / 60000
			a := find(t, b.Items, "bisulfite").Exact.Mass
			assert.InEpsilon(t, oxidizer*factor*1.2/0.98, float64(a), 3e-4, id)
			assert.InEpsilon(t, oxidizer*c.perGram, float64(find(t, b.Items, c.extra).Exact.Mass), 1e-3, id)
			agent += a
		}
		assert.InEpsilon(t, float64(s.Neutralizing.Most), float64(agent), 1e-12, id)
		assert.Equal(t, s.Neutralizing.Least, s.Neutralizing.Most, id)
	}
}

// Conditions: the middle of what is usual unless set; outside it a warning, an
// impossible one is refused.
func TestConditionsOfTheBath(t *testing.T) {
	for id, want := range map[string]chem.Conditions{"permanganate-stone": chem.NeutralizeConditions(), "hypochlorite-bath": chem.AntichlorConditions()} {
		n := neutralizing(t, id, Neutralizer{Agent: "bisulfite", Purity: 1})
		assert.Equal(t, (want.TempC.Lo+want.TempC.Hi)/2, n.TempC)
		assert.Equal(t, (want.Min.Lo+want.Min.Hi)/2, n.Min)
		assert.Equal(t, 1.2, n.Excess)
		l := loads(t)[id]
		warnings := func(change func(*Neutralizer)) string {
			l.Neutralizer = &Neutralizer{Agent: "bisulfite", Purity: 1}
			change(l.Neutralizer)
			return strings.Join(sheet(t, l).Warnings, "; ")
		}
		usual := warnings(func(*Neutralizer) {})
		assert.NotContains(t, usual, "outside")
		assert.Equal(t, usual, warnings(func(n *Neutralizer) { n.TempC, n.Min, n.Excess = want.TempC.Hi, want.Min.Lo, want.Excess.Lo }))
		assert.Contains(t, warnings(func(n *Neutralizer) { n.TempC = 100 }), "neutralizing temperature 100 °C is outside")
		assert.Contains(t, warnings(func(n *Neutralizer) { n.Min = 60 }), "neutralizing time 60 min is outside")
		assert.Contains(t, warnings(func(n *Neutralizer) { n.Excess = 3 }), "excess factor 3 is outside")
		for _, change := range []func(*Neutralizer){
			func(n *Neutralizer) { n.TempC = 100.5 },
			func(n *Neutralizer) { n.TempC = math.NaN() },
			func(n *Neutralizer) { n.TempC = -3 },
			func(n *Neutralizer) { n.Min = math.Inf(1) },
		} {
			l.Neutralizer = &Neutralizer{Agent: "bisulfite", Purity: 1}
			change(l.Neutralizer)
			_, err := New(l)
			assert.ErrorIs(t, err, ErrLoad)
		}
		l.Neutralizer = nil
		assert.Contains(t, strings.Join(sheet(t, l).Warnings, " "), "ends before the cloth is safe")
	}
}

// What must be known of an agent travels with the sheet.
func TestNotesOfTheAgent(t *testing.T) {
	a, err := chem.LookupAgent("bisulfite")
	require.NoError(t, err)
	assert.Equal(t, append(append([]string{}, a.Notes...), a.PermanganateNotes...), neutralizing(t, "permanganate-stone", Neutralizer{Agent: "bisulfite", Purity: 1}).Notes)
	assert.Equal(t, append(append([]string{}, a.Notes...), a.AntichlorNotes...), neutralizing(t, "hypochlorite-bath", Neutralizer{Agent: "bisulfite", Purity: 1}).Notes)
	_, err = New(func() Load { l := loads(t)["permanganate-stone"]; l.Neutralizer.Agent = "magic"; return l }())
	assert.ErrorIs(t, err, chem.ErrUnknown)
	// An acid blend belongs to no bath that holds chlorine.
	assert.NotContains(t, strings.Join(neutralizing(t, "hypochlorite-bath", Neutralizer{Agent: "metabisulfite", Purity: 1}).Notes, " "), "pH 6")
}

// Peroxide blues iodide-starch paper itself, so the paper alone would ask for more
// and more of it (common practice, no source).
func TestResidualTestAfterPeroxide(t *testing.T) {
	for _, process := range []string{"permanganate-stone", "hypochlorite-bath"} {
		for agent, doubt := range map[string]bool{"peroxide": true, "bisulfite": false} {
			n := neutralizing(t, process, Neutralizer{Agent: agent, Purity: 1})
			assert.Equal(t, doubt, strings.Contains(strings.Join(n.Conditions.ResidualTests, " "), "peroxide left over"), "%s on %s", agent, process)
		}
	}
}
