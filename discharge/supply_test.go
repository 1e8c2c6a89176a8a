package discharge

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/fit"
)

// rateLaw is ln of the effective dose by the integrated rate law of a reaction
// of A with B, first order in both: ln[(M - X)/(M (1 - X))] = (M - 1) k C t for
// conversion X and ratio M (any kinetics text, such as Levenspiel, Chemical
// Reaction Engineering, 3rd ed., ch. 3; from memory). κ = M k C t is the dose
// that dye would get if the oxidizer kept its first concentration, and
// -ln(1 - X) is what it gets.
func rateLaw(eta, lnQ float64) float64 {
	kappa, m := math.Exp(eta), math.Exp(lnQ)
	if math.Abs(m-1) < 1e-9 {
		return math.Log(math.Log1p(kappa))
	}
	e := math.Exp(kappa * (m - 1) / m)
	x := (e - 1) * m / (m*e - 1) // X
	return math.Log(-math.Log1p(-x))
}

// firstOrder is dye that fades by first order, seen as K/S, from L* 20 to
// nearly white, where K/S is nothing.
func firstOrder() link { return newLink(fit.FirstOrder{}, scaleKS, 20, 99.9, 0) }

func TestSupplyFollowsTheRateLaw(t *testing.T) {
	k := firstOrder()
	table := k.balance()
	worst := 0.0
	for lnQ := -1.2; lnQ < 1.5; lnQ += 0.0713 {
		for eta := -4.0; eta < 1.6; eta += 0.0917 {
			got, _, _ := table.left(eta, lnQ)
			want := rateLaw(eta, lnQ)
			// In dose where dye is left; where the last traces go no eye follows.
			if want < math.Log(4) {
				worst = math.Max(worst, math.Abs(got-want))
			}
		}
	}
	t.Logf("within %.4f of the rate law", worst)
	assert.Less(t, worst, 0.02, "a fifth of the least scatter of lots")
}

// Dye gone can be no more than the oxidizer that there is for it.
func TestSupplySetsTheEnd(t *testing.T) {
	k := firstOrder()
	for _, q := range []float64{0.2, 0.5, 0.8} {
		eta, slope, _ := k.balance().left(12, math.Log(q))
		assert.InDelta(t, q, -math.Expm1(-math.Exp(eta)), 0.01)
		assert.InDelta(t, 0, slope, 1e-9, "time no longer helps")
	}
	for _, eta := range []float64{-20, -5, 0, 1} {
		got, slope, byQ := k.balance().left(eta, 2.5)
		assert.InDelta(t, eta, got, 0.09, "with twelve times what all dye needs, at most a twelfth is missing")
		assert.InDelta(t, 1, slope, 0.09)
		assert.GreaterOrEqual(t, byQ, 0.0)
	}
}

// More of anything never leaves less, for every curve on every scale, and the
// derivatives are those of the values.
func TestSupplyRisesAndHasItsDerivatives(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	for _, c := range curves() {
		for _, sc := range []scale{scaleL, scaleLnKS, scaleKS} {
			k := newLink(c, sc, 19, 80, 0.03)
			table := k.balance()
			for range 300 {
				eta, lnQ := -9+28*rng.Float64(), -3+6*rng.Float64()
				at, byEta, byQ := table.left(eta, lnQ)
				more, _, _ := table.left(eta+0.3, lnQ)
				richer, _, _ := table.left(eta, lnQ+0.3)
				require.GreaterOrEqual(t, more, at-1e-9)
				require.GreaterOrEqual(t, richer, at-1e-9)
				require.LessOrEqual(t, at, eta+1e-9)
				require.True(t, byEta >= 0 && byEta < 1.1 && byQ >= -1e-9, "%v %v", byEta, byQ)
				if eta > -7 && eta < 10 && math.Abs(lnQ) < 2 && at < 6 {
					const h = 0.2 // more than a cell of the table
					up, _, _ := table.left(eta+h, lnQ)
					down, _, _ := table.left(eta-h, lnQ)
					require.InDelta(t, (up-down)/(2*h), byEta, 0.12, "%s %v at %g, %g", c.Name(), sc, eta, lnQ)
				}
			}
		}
	}
}

// The closed forms against steps of the balance itself, dx/dκ = (1 - x/q)^m.
func TestDoseThatSpendsTheOxidizerFollowsItsBalance(t *testing.T) {
	for _, order := range []struct {
		m    float64
		left func(eta, lnQ float64) (left, byEta, byQ float64)
		upTo float64 // κ/q; at order one half the last step to the end has no slope to follow
	}{{0.5, leftByHalfOrder, 1.98}, {1, leftByFirstOrder, 100}} {
		for _, q := range []float64{0.2, 1, 5} {
			rate := func(x float64) float64 { return math.Pow(1-x/q, order.m) }
			x, kappa := 0.0, 0.0
			const h = 1e-3
			for kappa < min(20, order.upTo*q) {
				k1 := rate(x)
				k2 := rate(x + h/2*k1)
				k3 := rate(x + h/2*k2)
				k4 := rate(x + h*k3)
				x += h / 6 * (k1 + 2*k2 + 2*k3 + k4)
				kappa += h
				left, byEta, byQ := order.left(math.Log(kappa), math.Log(q))
				require.InDelta(t, math.Log(x), left, 1e-7, "order %g, q %g, dose %g", order.m, q, kappa)
				require.InDelta(t, rate(x)*kappa/x, byEta, 1e-6, "d ln x / d ln κ, by the balance")
				require.InDelta(t, 1, byEta+byQ, 1e-12, "x is of first degree in κ and q together")
			}
		}
		for _, eta := range []float64{-1e4, -40, 40, 1e4} {
			left, byEta, byQ := order.left(eta, 0)
			assert.InDelta(t, min(eta, 0), left, 1e-12)
			assert.InDelta(t, 1, byEta+byQ, 1e-12)
		}
	}
}

// baseL and whiteL are L* of base and white of the laundries below.
const baseL, whiteL = 22.0, 80.0

// exactTrials is base, white and a trial lot at each of the settings, of four
// panels whose lightness follows from them but for reading noise.
func exactTrials(process string, rng *rand.Rand, all []Settings, lightness func(Settings) float64) *Table {
	table := &Table{Name: "exact", Kind: LabKind, Viewing: colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}}
	add := func(id string, role Role, s Settings, l float64) {
		lot := Lot{ID: id, Role: role, Process: process, Settings: s}
		for p := range 4 {
			lab := colorimetry.Lab{L: l + 0.05*rng.NormFloat64(), A: -1 + 0.03*rng.NormFloat64(), B: -12 + 0.15*(l-baseL) + 0.03*rng.NormFloat64()}
			lot.Panels = append(lot.Panels, Panel{ID: fmt.Sprint(p), Readings: []Reading{{Lab: lab}}})
		}
		table.Lots = append(table.Lots, lot)
	}
	add("base", Base, nil, baseL)
	add("white", White, nil, whiteL)
	for i, s := range all {
		add(fmt.Sprintf("T%02d", i+1), Trial, s, lightness(s))
	}
	return table
}

// Baths in which the enzyme works in proportion to its weight to the power 0.4 and
// wears itself out by that, whatever dye there is, so that no time gives more
// than a dose that is in proportion to what was weighed: the fit finds how much
// that is, predicts strengths between those that it saw, and says so; saved and
// loaded it predicts the same to the last digit. The order in enzyme is one, not
// the half that the fit takes, and it must do nevertheless.
func TestFitFindsThatTheDoseSpendsTheOxidizer(t *testing.T) {
	const supply = 1.4 // in doses that bring cloth half way in L*
	ks := func(l float64) float64 { return colorimetry.KS(luminance(l)) }
	full, white := ks(baseL), ks(whiteL)
	half := -math.Log((ks(51) - white) / (full - white)) // dose of level 1/2, L* 51
	lightness := func(s Settings) float64 {
		charge := math.Log(s["strength_pct"] / 1.2)
		kappa := math.Exp(0.9 + 0.4*charge + math.Log(s["time_min"]/30))
		q := supply * half * math.Exp(charge)
		return lightnessOf(colorimetry.FromKS(white + (full-white)*math.Exp(q*math.Expm1(-kappa/q))))
	}
	var all []Settings
	for _, strength := range []float64{0.4, 1.2, 3.6} { // two alone could be supply of dye as well
		for _, minutes := range []float64{8, 16, 35, 60, 100} {
			all = append(all, Settings{"strength_pct": strength, "liquor_ratio": 8, "time_min": minutes})
		}
	}
	m, err := Fit(exactTrials("laccase-bath", rand.New(rand.NewPCG(19, 2)), all, lightness), nil)
	require.NoError(t, err)
	mean, sd, share := m.supply(byDose)
	t.Logf("supply %.3f (sd of ln %.3f), %.0f %% of the evidence", math.Exp(mean), sd, 100*share)
	assert.Greater(t, share, 0.5)
	assert.InDelta(t, math.Log(supply), mean, 0.15)
	assert.Contains(t, fmt.Sprint(m.Summary().Words), "oxidizer spends itself")
	var file bytes.Buffer
	require.NoError(t, m.Save(&file, "test"))
	loaded, err := Load(bytes.NewReader(file.Bytes()))
	require.NoError(t, err)
	for _, strength := range []float64{0.7, 1, 2} {
		for _, minutes := range []float64{20, 80} {
			s := Settings{"strength_pct": strength, "liquor_ratio": 8, "time_min": minutes}
			p, err := m.Predict(s)
			require.NoError(t, err)
			assert.InDelta(t, lightness(s), p.Shade.L, 1, "%v", s)
			again, err := loaded.Predict(s)
			require.NoError(t, err)
			assert.Equal(t, p, again)
		}
	}
	_, err = Load(bytes.NewReader(bytes.ReplaceAll(file.Bytes(), []byte(`"spent_by": "dose-half-order"`), []byte(`"spent_by": "light"`))))
	require.Error(t, err)
}

// Lots whose dye follows the rate law exactly: the fit finds how much oxidizer
// there was, and predicts a level of strength and carrier between the two that
// it saw, where a curve without a supply goes wrong.
func TestFitFindsTheSupply(t *testing.T) {
	const supply = 1.1
	ks := func(l float64) float64 { return colorimetry.KS(luminance(l)) }
	lightness := func(s Settings) float64 {
		charge := math.Log(s["strength_pct"]/math.Sqrt(4*10)) + math.Log(s["ratio"]/math.Sqrt(1*2))
		eta := rateLaw(1.6+charge+math.Log(s["time_min"]/12), math.Log(supply)+charge)
		return lightnessOf(colorimetry.FromKS(ks(whiteL) + (ks(baseL)-ks(whiteL))*math.Exp(-math.Exp(eta))))
	}
	var all []Settings
	for _, strength := range []float64{4, 10} {
		for _, ratio := range []float64{1, 2} {
			for _, minutes := range []float64{6, 10, 15, 24} {
				all = append(all, Settings{"strength_pct": strength, "ratio": ratio, "time_min": minutes})
			}
		}
	}
	m, err := Fit(exactTrials("permanganate-pellet", rand.New(rand.NewPCG(9, 2)), all, lightness), nil)
	require.NoError(t, err)
	mean, sd, share := m.supply(byDye)
	t.Logf("supply %.3f (sd of ln %.3f), %.0f %% of the evidence", math.Exp(mean), sd, 100*share)
	assert.Greater(t, share, 0.9)
	assert.InDelta(t, math.Log(supply), mean, 0.1)
	assert.InDelta(t, math.Log(supply), mean, 3*sd)
	var worst float64
	for _, strength := range []float64{5, 6.5, 8} {
		for _, ratio := range []float64{1.2, 1.5, 1.8} {
			s := Settings{"strength_pct": strength, "ratio": ratio, "time_min": 12}
			p, err := m.Predict(s)
			require.NoError(t, err)
			worst = math.Max(worst, math.Abs(p.Shade.L-lightness(s)))
		}
	}
	t.Logf("between the levels within %.2f L*", worst)
	assert.Less(t, worst, 1.0, "what eyes see between two pieces side by side (common practice, no source)")
	var names []string
	for _, p := range m.Summary().Parameters {
		names = append(names, p.Name)
	}
	assert.Contains(t, names, "supply")
	assert.Contains(t, fmt.Sprint(m.Summary().Words), "oxidizer runs short")
}
