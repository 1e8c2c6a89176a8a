package chem

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Check must find what does not balance: an atom on either side, a charge.
func TestCheckFindsWhatDoesNotBalance(t *testing.T) {
	r := func(electrons int, s string) Reaction { return half(electrons, s).Reaction }
	assert.NoError(t, r(0, "2 MnO4^- + 5 HSO3^- + H^+ → 2 Mn^2+ + 5 SO4^2- + 3 H2O").Check())
	for equation, says := range map[string]string{
		"2 MnO4^- + 5 HSO3^- + H^+ → 2 Mn^2+ + 5 SO4^2- + 2 H2O": "atoms of H",
		"MnO4^- → Mn^2+":       "+4 atoms of O",
		"Mn^2+ → MnO4^-":       "-4 atoms of O",
		"MnO4^- → MnO4^2-":     "charge differs by +1",
		"MnO4^2- → MnO4^-":     "charge differs by -1",
		"2 MnO4^- → 2 MnO4^2-": "charge differs by +2",
		"Xx → MnO2":            "Xx",
		"MnO2 → Xx":            "Xx",
		"2 MnO4^- + 5 HSO3^- + 2 H^+ → 2 Mn^2+ + 5 SO4^2- + 3 H2O": "+1 atoms of H",
	} {
		assert.ErrorContains(t, r(0, equation).Check(), says, equation)
	}
	assert.Panics(t, func() { half(1, "MnO4^- = MnO4^2-") })
	assert.Panics(t, func() { half(1, "two MnO4^- → MnO4^2-") })
}

// Equations are written in their smallest whole numbers, and a species that
// stands twice is one.
func TestReactionsAreReduced(t *testing.T) {
	var n net
	n.add([]Term{{4, "MnO2"}, {2, "H^+"}, {2, "MnO2"}}, 1)
	n.add([]Term{{2, "Mn^2+"}}, -1)
	assert.Equal(t, "3 MnO2 + H^+ → Mn^2+", n.reaction().String())
	// 2 electrons against 4: one and two halves, not two and four.
	assert.Equal(t, "2 MnO2 + S2O5^2- + 2 H^+ → 2 Mn^2+ + 2 SO4^2- + H2O", ManganeseDioxide().Steps(Agents()[1].Reductant)[0].Reaction.String())
	assert.Equal(t, 2, half(0, "MnO2 + MnO2 → Mn^2+").Count("MnO2"))
}

// By hand: 100 g of permanganate, 1.6462 g bisulfite per g (table), 1.5 times
// the equation, of 80 % purity.
func TestWeighByHand(t *testing.T) {
	a, err := LookupAgent(" Bisulfite ")
	require.NoError(t, err)
	d, err := Neutralize(a)
	require.NoError(t, err)
	least, most, err := d.Weigh(100, 0.8, 1.5)
	require.NoError(t, err)
	assert.InEpsilon(t, 100*1.6462*1.5/0.8, float64(least), 2e-4)
	assert.Equal(t, least, most)
	for _, ok := range []struct {
		oxidizer Mass
		purity   Fraction
		excess   float64
	}{{0, 1, 1}, {1, 1, 10}, {1e11, 0.01, 1}} {
		_, _, err := d.Weigh(ok.oxidizer, ok.purity, ok.excess)
		assert.NoError(t, err)
	}
	for _, bad := range []struct {
		oxidizer Mass
		purity   Fraction
		excess   float64
	}{{1, 0, 1}, {1, 1.001, 1}, {1, 1, 0.999}, {1, 1, 10.5}, {-0.1, 1, 1}, {1e12, 1, 1}, {Mass(math.NaN()), 1, 1}, {1, Fraction(math.NaN()), 1}, {1, 1, math.NaN()}} {
		least, most, err := d.Weigh(bad.oxidizer, bad.purity, bad.excess)
		assert.Error(t, err, "%+v", bad)
		assert.Zero(t, least+most, "%+v", bad)
	}
	// Calcium thiosulfate: 152.18 g/mol by IUPAC weights, to sulfate 1 per 4 Cl2.
	a, err = LookupAgent("calcium-thiosulfate")
	require.NoError(t, err)
	d, err = Antichlor(a)
	require.NoError(t, err)
	assert.InEpsilon(t, 152.20/(4*70.906), float64(d.Least), 3e-4)
	assert.InEpsilon(t, 2*152.20/70.906, float64(d.Most), 3e-4)
	assert.Less(t, d.Steps[0].Factor, d.Steps[1].Factor)
	a, err = LookupAgent("hydroxylamine")
	require.NoError(t, err)
	d, err = Neutralize(a)
	require.NoError(t, err)
	assert.True(t, d.Steps[0].Factor < d.Steps[1].Factor && d.Steps[1].Factor < d.Steps[2].Factor, "by rising factor")
	// 5 KI per permanganate to iodine: 10 I⁻ + 2 MnO4⁻.
	assert.InEpsilon(t, 5*166.00/158.034, float64(Permanganate().Steps(Iodide())[0].Factor), 2e-4)
}

// Refusals name what there is.
func TestRefusalsNameTheChoice(t *testing.T) {
	_, err := LookupAgent("salt")
	for _, a := range Agents() {
		assert.ErrorContains(t, err, a.ID)
	}
	thio, _ := LookupAgent("thiosulfate")
	_, err = Neutralize(thio)
	assert.ErrorContains(t, err, "take bisulfite, metabisulfite, sulfite, peroxide, oxalic-acid")
	oxalic, _ := LookupAgent("oxalic-acid")
	_, err = Antichlor(oxalic)
	assert.ErrorContains(t, err, "take bisulfite")
	assert.NotContains(t, err.Error(), "oxalic-acid,")
	m, err := AcidMass("hydrochloric-acid", 1)
	assert.ErrorIs(t, err, ErrUnsuited)
	assert.Zero(t, m)
	m, err = AcidMass("acetic-acid", -0.5)
	assert.NoError(t, err)
	assert.Zero(t, m, "a step that makes acid takes none")
}

func TestSpans(t *testing.T) {
	s := Span{Lo: 1, Hi: 2}
	for x, in := range map[float64]bool{0.999: false, 1: true, 1.5: true, 2: true, 2.001: false} {
		assert.Equal(t, in, s.Contains(x), x)
	}
	assert.False(t, s.Contains(math.NaN()))
}

// The habits of the trade that sheets and warnings state (common practice, no
// source): neutralizing permanganate at pH 2.5-5, 40-60 °C, 10-20 min; an
// antichlor at pH 8-10, 30-50 °C, 5-15 min; both 1.1 to 1.5 times the equation.
func TestConditionsAsInTheTrade(t *testing.T) {
	span := func(lo, hi float64) Span { return Span{lo, hi, CommonPractice} }
	n, a := NeutralizeConditions(), AntichlorConditions()
	assert.Equal(t, []Span{span(1.1, 1.5), span(2.5, 5), span(40, 60), span(10, 20)}, []Span{n.Excess, n.PH, n.TempC, n.Min})
	assert.Equal(t, []Span{span(1.1, 1.5), span(8, 10), span(30, 50), span(5, 15)}, []Span{a.Excess, a.PH, a.TempC, a.Min})
	for _, c := range []Conditions{n, a} {
		assert.True(t, strings.Contains(strings.Join(c.ResidualTests, " "), "iodide-starch"))
	}
}

// Solubility of potassium permanganate in g per 100 g of water in handbooks
// (from memory): 2.83, 4.4, 6.4, 9.0, 12.6, 16.9, 22.2 at 0, 10 … 60 °C. The
// package rounds to 1 g/L; between, straight lines.
func TestSolubilityTable(t *testing.T) {
	for i, want := range []float64{28.3, 44, 64, 90, 125.6, 168.9, 222} {
		assert.InDelta(t, want, float64(Solubility(Celsius(10*i))), 1.05, "%d °C", 10*i)
	}
	assert.Equal(t, Solubility(0), Solubility(-20))
	assert.Equal(t, Solubility(60), Solubility(99))
	for c := Celsius(0); c < 60; c += 10 {
		assert.InDelta(t, float64(Solubility(c)+Solubility(c+10))/2, float64(Solubility(c+5)), 1e-9)
	}
}
