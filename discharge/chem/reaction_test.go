package chem

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.com/dosetone/datasets/published"
)

// solve balances a reaction from its species alone, by exact elimination over
// the rationals: the null space of the matrix of atoms and charge. It shares
// nothing with Combine but the formula reader. It fails unless the null space
// has exactly one dimension.
func solve(t testing.TB, left, right []string) []int64 {
	t.Helper()
	species := append(append([]string{}, left...), right...)
	rows := append(elements(), "charge")
	m := make([][]*big.Rat, len(rows))
	for i, e := range rows {
		m[i] = make([]*big.Rat, len(species))
		for j, s := range species {
			c, err := Parse(s)
			require.NoError(t, err)
			n := c.Atoms[e]
			if e == "charge" {
				n = c.Charge
			}
			if j >= len(left) {
				n = -n
			}
			m[i][j] = big.NewRat(int64(n), 1)
		}
	}
	// Permanganate and peroxide balance in infinitely many ways, as textbooks
	// note; that the oxygen comes from the peroxide settles it.
	if i, j := slices.Index(species, "H2O2"), slices.Index(species, "O2"); i >= 0 && j >= 0 {
		row := make([]*big.Rat, len(species))
		for k := range row {
			row[k] = new(big.Rat)
		}
		row[i].SetInt64(1)
		row[j].SetInt64(-1)
		m = append(m, row)
	}
	var pivots []int
	r := 0
	for j := 0; j < len(species) && r < len(m); j++ {
		p := r
		for p < len(m) && m[p][j].Sign() == 0 {
			p++
		}
		if p == len(m) {
			continue
		}
		m[r], m[p] = m[p], m[r]
		inv := new(big.Rat).Inv(m[r][j])
		for k := range species {
			m[r][k] = new(big.Rat).Mul(m[r][k], inv)
		}
		for i := range m {
			if i == r || m[i][j].Sign() == 0 {
				continue
			}
			f := new(big.Rat).Set(m[i][j])
			for k := range species {
				m[i][k] = new(big.Rat).Sub(m[i][k], new(big.Rat).Mul(f, m[r][k]))
			}
		}
		pivots = append(pivots, j)
		r++
	}
	require.Len(t, pivots, len(species)-1, "not one balanced equation: %v → %v", left, right)
	free := 0
	for free < len(pivots) && pivots[free] == free {
		free++
	}
	x := make([]*big.Rat, len(species))
	x[free] = big.NewRat(1, 1)
	for i, p := range pivots {
		x[p] = new(big.Rat).Neg(m[i][free])
	}
	lcm := big.NewInt(1)
	for _, v := range x {
		g := new(big.Int).GCD(nil, nil, lcm, v.Denom())
		lcm.Mul(lcm, new(big.Int).Quo(v.Denom(), g))
	}
	out := make([]int64, len(x))
	for i, v := range x {
		w := new(big.Rat).Mul(v, new(big.Rat).SetInt(lcm))
		require.True(t, w.IsInt())
		out[i] = w.Num().Int64()
	}
	return out
}

func names(terms []Term) []string {
	var out []string
	for _, t := range terms {
		out = append(out, t.Species)
	}
	return out
}

// every returns each reaction that the package can make.
func every() map[string]Reaction {
	out := map[string]Reaction{}
	reductants := []Reductant{Indigo(), Oxalate(), Iodide(), Peroxide()}
	for _, a := range Agents() {
		reductants = append(reductants, a.Reductant)
	}
	for _, o := range Oxidants() {
		for _, r := range reductants {
			for i, s := range o.Steps(r) {
				name := o.ID + " with " + r.Formula + " " + r.Routes[i].When
				out[name] = s.Reaction
				out[name+", alkaline"] = s.Reaction.Alkaline()
			}
		}
	}
	return out
}

func TestEveryReactionAgainstTheSolver(t *testing.T) {
	all := every()
	require.Greater(t, len(all), 100)
	for name, r := range all {
		require.NoError(t, r.Check(), name)
		want := solve(t, names(r.Left), names(r.Right))
		for i, term := range append(append([]Term{}, r.Left...), r.Right...) {
			assert.EqualValues(t, want[i], term.N, "%s: %s in %s", name, term.Species, r)
		}
	}
}

func TestHalfReactionsBalanceWithTheirElectrons(t *testing.T) {
	electrons := func(h Half, left bool) Reaction {
		e := Term{h.Electrons, "e^-"}
		r := h.Reaction
		if left {
			r.Left = append(append([]Term{}, r.Left...), e)
		} else {
			r.Right = append(append([]Term{}, r.Right...), e)
		}
		return r
	}
	for _, o := range Oxidants() {
		// The electron carries charge −1 and no atoms.
		assert.NoError(t, electrons(o.Reduction, true).Check(), o.ID)
	}
	for _, a := range Agents() {
		for _, r := range a.Routes {
			assert.NoError(t, electrons(r.Oxidation, false).Check(), a.ID)
		}
	}
	// 5, 3 and 1 electrons: textbook (acid, without acid, strong alkali).
	assert.Equal(t, []int{5, 3, 1}, []int{Permanganate().Reduction.Electrons, PermanganateToDioxide().Reduction.Electrons, PermanganateToManganate().Reduction.Electrons})
}

// The equations as textbooks write them, from memory, species sorted as here.
func TestEquationsAsPrinted(t *testing.T) {
	eq := func(o Oxidant, r Reductant) string { return o.Steps(r)[0].Reaction.String() }
	bisulfite, err := LookupAgent("bisulfite")
	require.NoError(t, err)
	assert.Equal(t, "2 MnO4^- + 5 HSO3^- + H^+ → 2 Mn^2+ + 5 SO4^2- + 3 H2O", eq(Permanganate(), bisulfite.Reductant))
	assert.Equal(t, "2 MnO4^- + 5 C2O4^2- + 16 H^+ → 2 Mn^2+ + 10 CO2 + 8 H2O", eq(Permanganate(), Oxalate()))
	assert.Equal(t, "2 MnO4^- + 5 H2O2 + 6 H^+ → 2 Mn^2+ + 5 O2 + 8 H2O", eq(Permanganate(), Peroxide()))
	assert.Equal(t, "4 MnO4^- + 3 C16H10N2O2 + 2 H2O → 4 MnO2 + 6 C8H5NO2 + 4 OH^-",
		PermanganateToDioxide().Steps(Indigo())[0].Reaction.Alkaline().String())
	assert.Equal(t, "OCl^- + H2O2 → Cl^- + O2 + H2O", eq(Chlorine(), Peroxide()))
}

func TestMassesFromIUPACWeights(t *testing.T) {
	// Molar masses of handbook tables, to 0.01; 1.5e-4 covers their older weights
	// of sulfur and chlorine.
	for f, want := range map[string]float64{
		"KMnO4": 158.03, "MnO2": 86.94, "Cl2": 70.90, "NaOCl": 74.44, "H2O2": 34.01, "NaHSO3": 104.06, "Na2S2O5": 190.11,
		"Na2SO3": 126.04, "H2C2O4.2H2O": 126.07, "(NH3OH)2SO4": 164.14, "C6H8O6": 176.12, "Na2S2O3.5H2O": 248.18,
		"Na2C2O4": 134.00, "C16H10N2O2": 262.27, "Na2CO3": 105.99, "C2H4O2": 60.05, "KI": 166.00,
	} {
		m, err := MolarMassOf(f)
		require.NoError(t, err)
		assert.InEpsilon(t, want, float64(m), 1.5e-4, f)
	}
	for _, bad := range []string{"", "Xx2", "Na(", "(Na", "Na)2", "SO4^", "SO4^x", "na", "H2..O", "2"} {
		_, err := MolarMassOf(bad)
		assert.Error(t, err, bad)
	}
}

func TestFactorsAgainstTheComputedTable(t *testing.T) {
	oxidants := map[string]Oxidant{"KMnO4": Permanganate(), "MnO2": ManganeseDioxide(), "Cl2": Chlorine()}
	product := map[string]string{"N2O": "N2O", "N2": "N2", "NO3-": "NO3^-", "SO4 2-": "SO4^2-", "S4O6 2-": "S4O6^2-"}
	for _, f := range published.Stoichiometry() {
		found := false
		for _, a := range Agents() {
			if a.Formula != f.Agent {
				continue
			}
			for _, s := range oxidants[f.Substance].Steps(a.Reductant) {
				if p := product[f.Products]; p != "" && s.Reaction.Count(p) >= 0 {
					continue
				}
				found = true
				// 2e-4: the table has 4 decimals and older weights of S and Cl.
				assert.InEpsilon(t, f.GramsPerGram, float64(s.Factor), 2e-4, "%s %s %s", f.Substance, f.Agent, f.Products)
			}
		}
		assert.True(t, found, "%+v", f)
	}
	inv := func(s Step) float64 { return 1 / float64(s.Factor) }
	assert.InDelta(t, published.KMnO4PerIndigoAcid, inv(Permanganate().Steps(Indigo())[0]), 1e-4)
	assert.InDelta(t, published.KMnO4PerIndigoNeutral, inv(PermanganateToDioxide().Steps(Indigo())[0]), 1e-4)
	assert.InDelta(t, published.ChlorinePerIndigo, inv(Chlorine().Steps(Indigo())[0]), 1e-4)
	assert.InDelta(t, published.MnO2PerKMnO4, float64(DioxideLeft(1)), 1e-4)
	assert.InDelta(t, published.NaOClPerChlorine, float64(molar("NaOCl")/molar("Cl2")), 1e-4)
	assert.InDelta(t, published.USPPermanganatePerOxalate, inv(Permanganate().Steps(Oxalate())[0]), 1.5e-4)
}

func TestGasOfNeutralizing(t *testing.T) {
	// 2.5 mol O2 per mol of permanganate, 0.387 L per g; 1 mol per mol of
	// chlorine, 0.345 L per g, with 24.47 L/mol at 25 °C: textbook gas law.
	s := Permanganate().Steps(Peroxide())[0]
	assert.Equal(t, "O2", s.Gas)
	assert.InDelta(t, 2.5*24.47/158.034, float64(GasVolume(s.GasAmount, 25)), 1e-3)
	assert.InDelta(t, 24.47/70.906, float64(GasVolume(Chlorine().Steps(Peroxide())[0].GasAmount, 25)), 1e-3)
	assert.InDelta(t, 22.414, float64(GasVolume(1, 0)), 1e-3)
}

func TestFormulaReaderSumsItsParts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 20).Draw(t, "n")
		m := rapid.IntRange(1, 9).Draw(t, "m")
		inner := rapid.SampledFrom([]string{"SO4", "NH3OH", "C2O4"}).Draw(t, "group")
		f := fmt.Sprintf("Na%d(%s)%d", n, inner, m)
		whole, err := MolarMassOf(f)
		if err != nil {
			t.Fatal(err)
		}
		g, _ := MolarMassOf(inner)
		if math.Abs(float64(whole)-22.990*float64(n)-float64(m)*float64(g)) > 1e-9 {
			t.Fatalf("%s = %v", f, whole)
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"H2C2O4.2H2O", "(NH3OH)2SO4", "SO4^2-", "((((((H", "9999((H9999)9999)9999", "((((H9999)9999)9999)9999)9999", "e^-", "9999"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if m, err := MolarMassOf(s); err == nil && !(m >= 0) {
			t.Errorf("%q weighs %v", s, m)
		}
	})
}
