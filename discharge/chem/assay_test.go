package chem

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.com/dosetone/datasets/published"
)

func ml(v ...float64) []Volume {
	out := make([]Volume, len(v))
	for i, x := range v {
		out[i] = Volume(x) * Milliliter
	}
	return out
}

func TestPublishedTitrations(t *testing.T) {
	exact := &Tolerances{}

	// 20 mL of 0.14 mol/L oxalate took 25.0 mL: 0.0448 mol/L (practchem
	// standardization page).
	e, err := PermanganateByOxalate(OxalateStandard{Solution: 0.14, Aliquot: 20 * Milliliter}, Titres{Used: ml(25)}, exact)
	require.NoError(t, err)
	assert.InDelta(t, 0.0448, float64(e.Value.Molarity(molar("KMnO4"))), 0.5e-4)

	// 0.4718 mg per mg oxalate (USP 29, one unit in the last digit above the
	// current weights).
	e, err = PermanganateByOxalate(OxalateStandard{Portions: []Mass{0.2}}, Titres{Used: ml(20)}, exact)
	require.NoError(t, err)
	assert.InDelta(t, published.USPPermanganatePerOxalate*0.2/0.020, float64(e.Value), 1.5e-3)
	assert.InDelta(t, published.USPPermanganatePerML003N, 0.03/5*float64(molar("KMnO4")), 1e-4)

	// 5.00 mL of bleach of density 1.00 took 25.00 mL of 0.0700 mol/L: 1.30 %
	// NaOCl (general chemistry textbook problem).
	c, err := ChlorineByThiosulfate(Sample{Taken: 5 * Milliliter}, 0.07, Titres{Used: ml(25)}, exact)
	require.NoError(t, err)
	naocl := func(c Concentration) Concentration { return c * Concentration(molar("NaOCl")/molar("Cl2")) }
	assert.InDelta(t, 1.30, naocl(c.Value).MassFraction(1).Percent(), 0.005)

	// 3.0 mL at 1.084 g/mL took 41.26 mL of 0.1261 mol/L: 5.95 % (general
	// chemistry problem).
	c, err = ChlorineByThiosulfate(Sample{Taken: 3 * Milliliter}, 0.1261, Titres{Used: ml(41.26)}, exact)
	require.NoError(t, err)
	assert.InDelta(t, 5.954, naocl(c.Value).MassFraction(1.084).Percent(), 0.005)

	// 3.722 mg NaOCl per mL of 0.1 N (USP 29).
	c, err = ChlorineByThiosulfate(Sample{Taken: Milliliter}, 0.1, Titres{Used: ml(1)}, exact)
	require.NoError(t, err)
	assert.InDelta(t, published.USPHypochloritePerML01N, float64(naocl(c.Value)), 1e-3)

	// 10 mL of liquor, 0.1 N: the printed table.
	for i, want := range published.IodometricTitre() {
		c, err = ChlorineByThiosulfate(Sample{Taken: 10 * Milliliter}, 0.1, Titres{Used: ml(float64(i + 1))}, exact)
		require.NoError(t, err)
		assert.InDelta(t, want, float64(c.Value), 0.0055)
	}

	// 5 mL to 100 mL, 10 mL of it: g/L = 7.1 × titre with 0.1 N (thesmarttime;
	// the page rounds 7.09).
	c, err = ChlorineByThiosulfate(Sample{5 * Milliliter, 100 * Milliliter, 10 * Milliliter}, 0.1, Titres{Used: ml(10)}, exact)
	require.NoError(t, err)
	assert.InEpsilon(t, 71, float64(c.Value), 2e-3)

	// 1 mL 0.1 N permanganate is 1.7007 mg peroxide (pharmacopeia factor, from
	// memory): 0.1 mL of stock taking 20.0 mL holds 340 g/L.
	p, err := PeroxideByPermanganate(Sample{Taken: Milliliter, MadeUp: 10 * Milliliter, Aliquot: Milliliter}, 0.02, Titres{Used: ml(20)}, exact)
	require.NoError(t, err)
	assert.InDelta(t, 340, float64(p.Value), 0.5)
}

func TestCarrierAssayFollowsFromItsMake(t *testing.T) {
	// 10 g of a 4 % carrier leached to 500 mL is 0.8 g/L; 0.1 g oxalate takes
	// 0.0472 g of it, 58.97 mL (arithmetic from the USP factor).
	e, err := CarrierByOxalate(Carrier{10, 0.5}, OxalateStandard{Portions: []Mass{0.1}}, Titres{Used: ml(58.97)}, nil)
	require.NoError(t, err)
	assert.InDelta(t, 4, e.Value.Percent(), 0.005)
	_, err = CarrierByOxalate(Carrier{0.01, 0.5}, OxalateStandard{Portions: []Mass{0.1}}, Titres{Used: ml(5)}, nil)
	assert.ErrorIs(t, err, ErrTitration)
}

// 25.00 mL ± 0.03 (triangular) made up to 100.0 ± 0.1 mL: four times the strength, and
// the relative uncertainties 0.03/25/√6 and 0.1/100/√6 added in squares (CG 4 [3]).
func TestBeforeDilution(t *testing.T) {
	e := Estimate[Concentration]{Value: 5, SE: 0.01, DF: 20}
	tol := &Tolerances{Pipette: 0.03 * Milliliter, Flask: 0.1 * Milliliter}
	d, err := BeforeDilution(e, 25*Milliliter, 100*Milliliter, tol)
	require.NoError(t, err)
	assert.InDelta(t, 20, float64(d.Value), 1e-12)
	u := math.Sqrt(0.002*0.002 + (0.0012*0.0012+0.001*0.001)/6)
	assert.InEpsilon(t, 20*u, float64(d.SE), 1e-9)
	for _, v := range [][2]Volume{{0, 0.1}, {0.1, 0}, {0.1, 0.05}, {-0.1, 0.1}, {0.1, Volume(math.Inf(1))}, {Volume(math.NaN()), 0.1}} {
		_, err := BeforeDilution(e, v[0], v[1], tol)
		assert.ErrorIs(t, err, ErrTitration, "%v", v)
	}
}

func TestSolidChlorine(t *testing.T) {
	// Powder of 35 % (the low end of fresh bleaching powder: textilelearner): 1 g
	// to 250 mL, 25 mL of it holds 35 mg, 9.87 mL of 0.1 N at 3.545 mg per mL.
	e, err := SolidChlorineByThiosulfate(SolidChlorine{1, 0.25, 0.025}, 0.1, Titres{Used: ml(9.873)}, nil)
	require.NoError(t, err)
	assert.InDelta(t, 35, e.Value.Percent(), 0.01)
}

func TestTradePercent(t *testing.T) {
	// 12.5 trade % is 125 g/L available chlorine, 131 g/L NaOCl; at 1.20 kg/L 10.4
	// and 10.9 % by weight: the usual worked example.
	c := FromTradePercent(12.5)
	assert.InDelta(t, 131, float64(c)*published.NaOClPerChlorine, 0.5)
	assert.InDelta(t, 10.4, c.MassFraction(1.2).Percent(), 0.05)
	assert.InDelta(t, 12.5, c.TradePercent(), 1e-12)
}

// The interval must hold the truth as often as it says: titrations simulated
// with the errors that the tolerances describe.
func TestAssayIntervalCoverage(t *testing.T) {
	const n, seed = 4000, 11
	r := rand.New(rand.NewPCG(seed, 1))
	tol := DefaultTolerances()
	tri := func(half float64) float64 { return half * (r.Float64() - r.Float64()) }
	truth, hit := 125.0, 0
	for range n {
		pip := 5e-3 + tri(float64(tol.Pipette))
		flask := 0.1 + tri(float64(tol.Flask))
		aliq := 10e-3 + tri(float64(tol.Pipette))
		conc := 0.1 * (1 + tol.Titrant*(2*r.Float64()-1))
		bur := tri(float64(tol.Burette))
		var used []Volume
		for range 3 {
			v := truth * pip * aliq / flask * 2 / float64(molar("Cl2")) / conc
			used = append(used, Volume(v*(1+0.004*r.NormFloat64())+bur))
		}
		e, err := ChlorineByThiosulfate(Sample{5e-3, 0.1, 10e-3}, 0.1, Titres{Used: used}, nil)
		require.NoError(t, err)
		if float64(e.Lo) <= truth && truth <= float64(e.Hi) {
			hit++
		}
	}
	// With 2 degrees of freedom in the titres the Welch-Satterthwaite interval is
	// known to be only about right: 95 % within 1.5 points.
	assert.InDelta(t, 0.95, float64(hit)/n, 0.015, "seed %d", seed)
}

func TestAssayLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(t, "n")
		base := rapid.Float64Range(1, 45).Draw(t, "titre")
		var used []Volume
		for range n {
			used = append(used, Volume(base+rapid.Float64Range(-0.2, 0.2).Draw(t, "d"))*Milliliter)
		}
		in := append([]Volume(nil), used...)
		s := Sample{Taken: Volume(rapid.Float64Range(1, 50).Draw(t, "sample")) * Milliliter}
		// Twice as much is still no slip in a unit: 35.45 g of chlorine per mole.
		gpl := rapid.Float64Range(0.1, 160).Draw(t, "strength")
		m := Molarity(gpl * 1000 * float64(s.Taken) / base / 35.45)
		e, err := ChlorineByThiosulfate(s, m, Titres{Used: used}, nil)
		if err != nil {
			t.Fatal(err)
		}
		if !(e.Lo >= 0 && e.Lo <= e.Value && e.Value <= e.Hi && e.SE > 0) || math.IsInf(float64(e.Hi), 0) {
			t.Fatalf("%+v", e)
		}
		twice, _ := ChlorineByThiosulfate(s, 2*m, Titres{Used: used}, nil)
		if !close(float64(twice.Value), 2*float64(e.Value)) {
			t.Fatal("not linear in the titrant")
		}
		for i := range in {
			if in[i] != used[i] {
				t.Fatal("input changed")
			}
		}
	})
}

func TestAssayRefusals(t *testing.T) {
	ok := Titres{Used: ml(20)}
	for name, run := range map[string]func() error{
		"no titre": func() error { _, e := ChlorineByThiosulfate(Sample{Taken: 0.01}, 0.1, Titres{}, nil); return e },
		"negative": func() error {
			_, e := ChlorineByThiosulfate(Sample{Taken: 0.01}, 0.1, Titres{Used: ml(-1)}, nil)
			return e
		},
		"NaN": func() error {
			_, e := ChlorineByThiosulfate(Sample{Taken: 0.01}, 0.1, Titres{Used: ml(math.NaN())}, nil)
			return e
		},
		"below blank": func() error {
			_, e := ChlorineByThiosulfate(Sample{Taken: 0.01}, 0.1, Titres{Used: ml(1), Blank: 2e-3}, nil)
			return e
		},
		"in mL not L": func() error {
			_, e := ChlorineByThiosulfate(Sample{Taken: 0.01}, 0.1, Titres{Used: []Volume{20}}, nil)
			return e
		},
		"no sample":    func() error { _, e := ChlorineByThiosulfate(Sample{}, 0.1, ok, nil); return e },
		"no titrant":   func() error { _, e := ChlorineByThiosulfate(Sample{Taken: 0.01}, 0, ok, nil); return e },
		"bad dilution": func() error { _, e := ChlorineByThiosulfate(Sample{0.01, 0.1, 0.2}, 0.1, ok, nil); return e },
		"no oxalate":   func() error { _, e := PermanganateByOxalate(OxalateStandard{}, ok, nil); return e },
		"two for three": func() error {
			_, e := PermanganateByOxalate(OxalateStandard{Portions: []Mass{1, 1}}, Titres{Used: ml(1, 1, 1)}, nil)
			return e
		},
		"one weighing": func() error { _, e := Uptake([]Mass{1}, nil, 1, nil); return e },
		"lighter wet":  func() error { _, e := Uptake([]Mass{2}, []Mass{1}, 1, nil); return e },
	} {
		assert.ErrorIs(t, run(), ErrTitration, name)
	}
	e, err := PermanganateByOxalate(OxalateStandard{Portions: []Mass{0.2}}, Titres{Used: ml(20, 22, 25)}, nil)
	require.NoError(t, err)
	assert.Contains(t, e.Warnings[0], "scatter")
}

func TestUptake(t *testing.T) {
	e, err := Uptake([]Mass{5000, 5000, 5000}, []Mass{6950, 7050, 7000}, 1, nil)
	require.NoError(t, err)
	assert.InDelta(t, 0.4, float64(e.Value), 1e-9)
	// Sample sd 0.01 of three gives s/√3, within the weighing error.
	assert.InEpsilon(t, 0.01/math.Sqrt(3), float64(e.SE), 1e-3)
}

func age(days float64) time.Duration { return time.Duration(days * 24 * float64(time.Hour)) }

func TestDecayAgainstTheStorageTable(t *testing.T) {
	for _, s := range published.StorageStrengths() {
		first, last := Assayed{Age: age(0), Strength: s.Percent[0]}, Assayed{Age: age(7), Strength: s.Percent[7]}
		d, err := FitDecay([]Assayed{first, last})
		require.NoError(t, err)
		assert.False(t, d.OrderKnown)
		second := d.Fits[1]
		require.Equal(t, Order(2), second.Order)
		for i, days := range s.Days {
			// The table is not exactly second order, so two assays a week apart give
			// the days between to 1.5 %: no worse than one titration.
			assert.InEpsilon(t, s.Percent[i], second.At(age(days)), 0.015, "%g °F, day %g", s.Fahrenheit, days)
		}
		var all []Assayed
		for i := range s.Days {
			all = append(all, Assayed{Age: age(s.Days[i]), Strength: s.Percent[i]})
		}
		d, err = FitDecay(all)
		require.NoError(t, err)
		assert.Equal(t, Order(2), d.Fits[0].Order, "%g °F", s.Fahrenheit)
	}
}

// Rates of the same table, worked out in its README from (1/C − 1/C0)/t over
// the first week: 3.58e-4 and 3.284e-3 per trade % and day.
func TestDecayRates(t *testing.T) {
	for i, want := range []float64{3.58e-4, 3.284e-3} {
		s := published.StorageStrengths()[i]
		d, err := FitDecay([]Assayed{{Age: 0, Strength: 12.5}, {Age: age(7), Strength: s.Percent[7]}})
		require.NoError(t, err)
		assert.InEpsilon(t, want, d.Fits[1].Rate, 2e-3)
	}
}

func TestDecayThatLevelsOffIsFlagged(t *testing.T) {
	weeks, c := published.ChlorineDecay()
	var all []Assayed
	for i := range weeks {
		all = append(all, Assayed{Age: age(7 * weeks[i]), Strength: c[i]})
	}
	d, err := FitDecay(all)
	require.NoError(t, err)
	assert.NotEmpty(t, d.Warnings, "neither order levels off as this product does")
}

func TestDecayIntervalCoversBothOrdersAndTheError(t *testing.T) {
	d, err := FitDecay([]Assayed{{Age: 0, Strength: 125, SE: 1}, {Age: age(7), Strength: 110, SE: 1}})
	require.NoError(t, err)
	u := d.At(age(28))
	assert.True(t, u.Extrapolated)
	assert.True(t, u.IntervalKnown)
	one, two := d.Fits[0].At(age(28)), d.Fits[1].At(age(28))
	assert.InEpsilon(t, 125*math.Pow(110.0/125, 4), one, 1e-9)
	assert.InEpsilon(t, 1/(1/125.0+4*(1/110.0-1/125.0)), two, 1e-9)
	assert.Less(t, u.Lo, one)
	assert.Greater(t, u.Hi, two)

	for _, bad := range [][]Assayed{nil, {{0, 1, 0}}, {{0, 1, 0}, {0, 1, 0}}, {{0, 1, 0}, {age(1), -1, 0}}, {{0, 1, 0}, {age(1), math.NaN(), 0}}} {
		_, err := FitDecay(bad)
		assert.ErrorIs(t, err, ErrNoDecay)
	}
	d, err = FitDecay([]Assayed{{0, 10, 0}, {age(1), 11, 0}})
	require.NoError(t, err)
	assert.Contains(t, d.Warnings[1], "rise")
}

// Weighted least squares on 1/C, solved here by Cramer's rule with the sd of 1/C,
// which is SE/C² (GUM 5.1.2): the badly known assay must count for little.
func TestDecayWeighsByError(t *testing.T) {
	days, c, se := []float64{0, 5, 10, 20}, []float64{100, 81, 75, 50}, []float64{1, 0.8, 20, 0.5}
	var all []Assayed
	var w, wx, wy, wxx, wxy float64
	for i := range days {
		all = append(all, Assayed{age(days[i]), c[i], se[i]})
		g := math.Pow(c[i]*c[i]/se[i], 2)
		w += g
		wx += g * days[i]
		wy += g / c[i]
		wxx += g * days[i] * days[i]
		wxy += g * days[i] / c[i]
	}
	d, err := FitDecay(all)
	require.NoError(t, err)
	det := w*wxx - wx*wx
	for _, f := range d.Fits {
		if f.Order != 2 {
			continue
		}
		assert.InEpsilon(t, (w*wxy-wx*wy)/det, f.Rate, 1e-9)
		assert.InEpsilon(t, det/(wxx*wy-wx*wxy), f.Start, 1e-9)
	}
}

func TestDecayRecoversItsOwnOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c0 := rapid.Float64Range(1, 200).Draw(t, "c0")
		k := rapid.Float64Range(0.01, 0.2).Draw(t, "k")
		o := Order(rapid.IntRange(1, 2).Draw(t, "order"))
		var all []Assayed
		for _, x := range []float64{0, 3, 7, 14, 21} {
			c := c0 * math.Exp(-k*x)
			if o == 2 {
				c = c0 / (1 + k*x)
			}
			all = append(all, Assayed{Age: age(x), Strength: c})
		}
		d, err := FitDecay(all)
		if err != nil {
			t.Fatal(err)
		}
		if d.Fits[0].Order != o || math.Abs(d.Fits[0].Start/c0-1) > 1e-6 {
			t.Fatalf("%+v", d.Fits)
		}
		u := d.At(age(30))
		if !(u.Lo >= 0 && u.Lo <= u.Value && u.Value <= u.Hi && u.Value < c0) {
			t.Fatalf("%+v", u)
		}
	})
}

// Strengths beyond what numbers hold are errors, never an endless value.
func TestAssaysBeyondNumbersAreRefused(t *testing.T) {
	titres := Titres{Used: []Volume{17.6 * Milliliter, 17.7 * Milliliter}}
	for _, molarity := range []Molarity{1e307, math.MaxFloat64} {
		_, err := ChlorineByThiosulfate(Sample{Taken: 5e-3}, molarity, titres, nil)
		require.ErrorIs(t, err, ErrTitration)
		_, err = SolidChlorineByThiosulfate(SolidChlorine{Portion: 1e300, MadeUp: 1, Aliquot: 0.1}, molarity, titres, nil)
		require.ErrorIs(t, err, ErrTitration)
		_, err = PermanganateByOxalate(OxalateStandard{Solution: molarity, Aliquot: 0.01}, titres, nil)
		require.ErrorIs(t, err, ErrTitration)
	}
	_, err := Uptake([]Mass{1e-300, 1}, []Mass{1e300, 2}, 1, nil)
	require.ErrorIs(t, err, ErrTitration)
	_, err = FitDecay([]Assayed{{Age: 0, Strength: 1e308}, {Age: 24 * time.Hour, Strength: 1e-308}})
	require.ErrorIs(t, err, ErrNoDecay)
}

// What no liquid holds is a slip in a unit. Permanganate: 64 g/L dissolve at 20 °C (handbook
// and trade texts agree), 222 g/L at 60 °C (handbook, from memory); pure hydrogen peroxide is
// 1450 g/L (handbook, from memory), 50 % by weight at 1.2 kg/L 600; hypochlorite beyond
// 200 g/L does not keep (common practice, no source). Strengths by hand: 0.4 × 158.034 g
// of KMnO4 per mole of oxalate, 35.45 g of chlorine per mole of thiosulfate, 5/2 × 34.015 g
// of peroxide per mole of permanganate.
func TestStrengthsThatNoLiquidHas(t *testing.T) {
	titres := Titres{Used: []Volume{0.025, 0.025}}
	permanganate := func(gpl float64) (Estimate[Concentration], error) {
		return PermanganateByOxalate(OxalateStandard{Portions: []Mass{Mass(gpl * 0.025 / (0.4 * 158.034) * 133.998)}}, titres, nil)
	}
	undiluted := func(gpl float64) (Estimate[Concentration], error) {
		e, err := permanganate(gpl / 10)
		require.NoError(t, err)
		return BeforeDilution(e, 0.01, 0.1, nil)
	}
	chlorine := func(gpl float64) (Estimate[Concentration], error) {
		return ChlorineByThiosulfate(Sample{Taken: 0.001}, Molarity(gpl*0.001/0.025/35.45), titres, nil)
	}
	peroxide := func(gpl float64) (Estimate[Concentration], error) {
		return PeroxideByPermanganate(Sample{Taken: 0.001}, Molarity(gpl*0.001/0.025/(2.5*34.015)), titres, nil)
	}
	for name, c := range map[string]struct {
		of                     func(float64) (Estimate[Concentration], error)
		fine, doubted, refused float64
		says                   string
	}{
		"permanganate":                  {permanganate, 60, 70, 3915, "not mg"},
		"permanganate, before dilution": {undiluted, 60, 70, 400, "not mg"},
		"chlorine":                      {chlorine, 160, 210, 125000, "not mmol/L"},
		"peroxide":                      {peroxide, 420, 700, 1500, "not normality"},
	} {
		e, err := c.of(c.fine)
		require.NoError(t, err, name)
		assert.InEpsilon(t, c.fine, float64(e.Value), 1e-3, name)
		assert.Empty(t, e.Warnings, name)
		e, err = c.of(c.doubted)
		require.NoError(t, err, name)
		assert.Len(t, e.Warnings, 1, name)
		assert.Contains(t, e.Warnings[0], c.says, name)
		_, err = c.of(c.refused)
		assert.ErrorIs(t, err, ErrTitration, name)
		assert.ErrorContains(t, err, c.says, name)
	}
}
