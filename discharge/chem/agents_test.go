package chem

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.com/dosetone/datasets/published"
)

func TestAntichlorAgainstFieldDoses(t *testing.T) {
	byName := map[string]Agent{}
	for _, a := range Agents() {
		byName[strings.Split(strings.TrimSuffix(a.Name, " pentahydrate"), ",")[0]] = a
	}
	for _, f := range published.FieldDoses() {
		a, ok := byName[f.Agent]
		require.True(t, ok, f.Agent)
		d, err := Antichlor(a)
		require.NoError(t, err)
		if d.Single() {
			// The guide doses up to a tenth above the equation, never below it
			// by more than its rounding.
			ratio := f.Dose / float64(d.Least)
			assert.GreaterOrEqual(t, ratio, 0.995, f.Agent)
			assert.LessOrEqual(t, ratio, 1.11, f.Agent)
			continue
		}
		assert.Less(t, float64(d.Least), f.Dose, f.Agent)
		assert.Greater(t, float64(d.Most), f.Dose, f.Agent)
	}
}

func TestWhereThereIsNoSingleFactor(t *testing.T) {
	h, err := LookupAgent("hydroxylamine")
	require.NoError(t, err)
	d, err := Neutralize(h)
	require.NoError(t, err)
	assert.False(t, d.Single())
	assert.InDelta(t, 0.4328, float64(d.Least), 1e-4)
	assert.InDelta(t, 2.5966, float64(d.Most), 3e-4)
	for _, id := range []string{"hydroxylamine", "thiosulfate", "thiosulfate-anhydrous", "calcium-thiosulfate"} {
		a, err := LookupAgent(id)
		require.NoError(t, err)
		assert.Contains(t, strings.Join(a.Notes, " "), "no single factor")
	}
}

// 5 electrons for permanganate, 2 for the dioxide that it leaves: spent charge
// needs 2/5 of the agent.
func TestSpentChargeNeedsTwoFifths(t *testing.T) {
	for _, a := range Agents() {
		if !a.Permanganate {
			continue
		}
		d, err := Neutralize(a)
		require.NoError(t, err)
		assert.InEpsilon(t, 0.4*float64(d.Most), float64(d.IfSpent), 1e-9, a.ID)
	}
}

func TestAcidAndAlkaliOfAgents(t *testing.T) {
	// Acid per mole of permanganate: bisulfite 1/2, sulfite and peroxide 3; and per
	// mole of chlorine bisulfite makes 1, sulfite none. From the printed equations.
	step := func(o Oxidant, id string) Step {
		a, err := LookupAgent(id)
		require.NoError(t, err)
		return o.Steps(a.Reductant)[0]
	}
	kmno4, cl2 := float64(molar("KMnO4")), float64(molar("Cl2"))
	assert.InDelta(t, 0.5, float64(step(Permanganate(), "bisulfite").Acid)*kmno4, 1e-9)
	assert.InDelta(t, 3, float64(step(Permanganate(), "sulfite").Acid)*kmno4, 1e-9)
	assert.InDelta(t, 3, float64(step(Permanganate(), "peroxide").Acid)*kmno4, 1e-9)
	assert.InDelta(t, -1, float64(step(Chlorine(), "bisulfite").Acid)*cl2, 1e-9)
	assert.InDelta(t, -1, float64(step(Chlorine(), "metabisulfite").Acid)*cl2, 1e-9)
	assert.InDelta(t, 0, float64(step(Chlorine(), "sulfite").Acid), 1e-12)
	assert.InDelta(t, 105.99, float64(SodaAsh(1)), 0.01)
	assert.Zero(t, SodaAsh(-1))
	acetic, err := AcidMass("acetic-acid", 1)
	require.NoError(t, err)
	assert.InDelta(t, 60.05, float64(acetic), 0.01)
	_, err = AcidMass("hydrochloric-acid", 1)
	assert.ErrorIs(t, err, ErrUnsuited)
}

func TestWeighRefuses(t *testing.T) {
	a, _ := LookupAgent("bisulfite")
	d, err := Neutralize(a)
	require.NoError(t, err)
	_, _, err = d.Weigh(100, 0, 1.2)
	assert.ErrorIs(t, err, ErrPurity)
	_, _, err = d.Weigh(100, 1.2, 1.2)
	assert.ErrorIs(t, err, ErrPurity)
	_, _, err = d.Weigh(100, 1, 0.9)
	assert.ErrorContains(t, err, "excess")
	_, _, err = d.Weigh(-1, 1, 1.2)
	assert.Error(t, err)
	thio, _ := LookupAgent("thiosulfate")
	_, err = Neutralize(thio)
	assert.ErrorIs(t, err, ErrUnsuited)
	oxalic, _ := LookupAgent("oxalic-acid")
	_, err = Antichlor(oxalic)
	assert.ErrorIs(t, err, ErrUnsuited)
	_, err = LookupAgent("salt")
	assert.ErrorIs(t, err, ErrUnknown)
}

func TestWeighScalesLinearly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var fit []Agent
		for _, a := range Agents() {
			if a.Permanganate {
				fit = append(fit, a)
			}
		}
		a := rapid.SampledFrom(fit).Draw(t, "agent")
		m := Mass(rapid.Float64Range(0, 1e6).Draw(t, "mass"))
		p := Fraction(rapid.Float64Range(0.05, 1).Draw(t, "purity"))
		x := rapid.Float64Range(1, 3).Draw(t, "excess")
		d, err := Neutralize(a)
		if err != nil {
			t.Fatal(err)
		}
		lo, hi, err := d.Weigh(m, p, x)
		if err != nil || lo < 0 || hi < lo {
			t.Fatal(lo, hi, err)
		}
		lo2, hi2, _ := d.Weigh(2*m, p, x)
		if !close(float64(lo2), 2*float64(lo)) || !close(float64(hi2), 2*float64(hi)) {
			t.Fatal("not linear")
		}
	})
}

func close(a, b float64) bool { return a == b || (a-b)/(a+b) < 1e-12 && (b-a)/(a+b) < 1e-12 }

func TestSolubility(t *testing.T) {
	// 6.4 g per 100 mL at 20 °C: trade and handbook figure; it rises with heat.
	assert.InDelta(t, 64, float64(Solubility(20)), 0.5)
	last := Concentration(0)
	for c := Celsius(-10); c <= 80; c++ {
		assert.GreaterOrEqual(t, Solubility(c), last)
		last = Solubility(c)
	}
}

func TestHypochlorousShare(t *testing.T) {
	// From pKa 7.54: 26 % at pH 8, 3.4 at 9, 0.35 at 10, 0.035 at 11.
	for ph, want := range map[float64]float64{8: 26, 9: 3.4, 10: 0.35, 11: 0.035} {
		assert.InEpsilon(t, want, HypochlorousShare(ph).Percent(), 0.02, "pH %g", ph)
	}
}

func TestPairsThatMustNotMeet(t *testing.T) {
	refused := func(ids ...string) bool {
		c, err := Conflicts(ids...)
		require.NoError(t, err)
		return len(c) > 0 && c[0].Refuse
	}
	for _, p := range [][2]string{{"hypochlorite", "acetic-acid"}, {"hypochlorite", "oxalic-acid"}, {"ammonia", "hypochlorite"},
		{"permanganate", "hydrochloric-acid"}, {"glycerol", "permanganate"}, {"permanganate", "sulfuric-acid"}, {"hypochlorite", "hydroxylamine"}} {
		assert.True(t, refused(p[0], p[1]), "%v", p)
	}
	for _, p := range [][2]string{{"hypochlorite", "bisulfite"}, {"hypochlorite", "peroxide"}, {"permanganate", "bisulfite"},
		{"permanganate", "phosphoric-acid"}, {"permanganate", "oxalic-acid"}, {"bisulfite", "acetic-acid"}} {
		c, err := Conflicts(p[0], p[1])
		require.NoError(t, err)
		require.Len(t, c, 1, "%v", p)
		assert.False(t, c[0].Refuse, "%v", p)
		assert.NotEmpty(t, c[0].Source)
	}
	_, err := Conflicts("snake-oil")
	assert.ErrorIs(t, err, ErrUnknown)
	// Every agent is a chemical, so that it cannot slip past the pairs.
	for _, a := range Agents() {
		_, err := LookupChemical(a.ID)
		assert.NoError(t, err)
	}
	for _, l := range Limits("permanganate", "bisulfite", "oxalic-acid", "hypochlorite", "ozone", "peroxide", "hydroxylamine") {
		assert.NotEmpty(t, l.Source, l.Of)
	}
}

// Agents made by hand are errors where they cannot react, and what has no error
// to return says why it panics.
func TestWhatCannotReactIsRefused(t *testing.T) {
	good := Agents()[0]
	for name, change := range map[string]func(r *Reductant){
		"nothing":      func(r *Reductant) { *r = Reductant{} },
		"no formula":   func(r *Reductant) { r.Formula = "Xx" },
		"no routes":    func(r *Reductant) { r.Routes = nil },
		"no count":     func(r *Reductant) { r.Per = 0 },
		"no electrons": func(r *Reductant) { r.Routes = []Route{{"", Half{r.Routes[0].Oxidation.Reaction, 0}}} },
		"no such ion":  func(r *Reductant) { r.Species = "I^-" },
	} {
		a := good
		change(&a.Reductant)
		_, err := Antichlor(a)
		require.ErrorContains(t, err, `agent "bisulfite"`, name)
		_, err = Neutralize(a)
		require.ErrorContains(t, err, `agent "bisulfite"`, name)
		require.Panics(t, func() { Chlorine().Steps(a.Reductant) }, name)
	}
	require.PanicsWithValue(t, `chem: oxidant "": formula "": nothing where a formula should be`, func() { Oxidant{}.Steps(Indigo()) })
	require.PanicsWithValue(t, `chem: oxidant "": its reduction must use up "I^-" and take electrons`, func() {
		Oxidant{Formula: "Cl2", Species: "I^-", Reduction: Chlorine().Reduction}.Steps(Indigo())
	})
	require.PanicsWithValue(t, "chem: half-reactions of 0 and 0 electrons, each needs one or more", func() { Combine(Half{}, Half{}) })
	// One electron is enough: chlorine turns manganate into permanganate again.
	manganate := Reductant{"K2MnO4", "MnO4^2-", 1, only(1, "MnO4^2- → MnO4^-")}
	require.Equal(t, "OCl^- + 2 MnO4^2- + 2 H^+ → Cl^- + 2 MnO4^- + H2O", Chlorine().Steps(manganate)[0].Reaction.String())
	require.Empty(t, Combine(PermanganateToManganate().Reduction, manganate.Routes[0].Oxidation), "there and back")
	require.Panics(t, func() { Combine(Half{}, manganate.Routes[0].Oxidation) })
	require.Panics(t, func() { Combine(PermanganateToManganate().Reduction, Half{}) })
	require.PanicsWithValue(t, "chem: At of a Decay without assays or fits: take what FitDecay returns", func() { Decay{}.At(0) })
}
