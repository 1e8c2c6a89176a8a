package chem

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"example.com/dosetone/internal/quantile"
)

// Titres are replicate burette readings of one sample and, if run, the blank.
type Titres struct {
	Used  []Volume
	Blank Volume
}

// net returns the titres less the blank.
func (t Titres) net() ([]float64, error) {
	if len(t.Used) == 0 {
		return nil, fmt.Errorf("%w: no titre; give the volume used, one per replicate", ErrTitration)
	}
	if !(t.Blank >= 0 && t.Blank < 1) {
		return nil, fmt.Errorf("%w: blank %v; want 0 or more, in mL", ErrTitration, t.Blank)
	}
	out := make([]float64, len(t.Used))
	for i, v := range t.Used {
		if !(v > t.Blank && v < 1) {
			return nil, fmt.Errorf("%w: titre %d is %v; want a volume above the blank (%v) and below 1 L", ErrTitration, i+1, v, t.Blank)
		}
		out[i] = float64(v - t.Blank)
	}
	return out, nil
}

func mean(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v / float64(len(x))
	}
	return s
}

// small warns of a titre that the burette reads badly; remedy is what makes it larger.
func small(net []float64, remedy string, warnings []string) []string {
	if m := mean(net); m < 5e-3 {
		warnings = append(warnings, fmt.Sprintf("mean titre %.2f mL is small for a burette: %s, for 10 to 40 mL", 1000*m, remedy))
	}
	return warnings
}

func tolerances(t *Tolerances) Tolerances {
	if t == nil {
		return DefaultTolerances()
	}
	return *t
}

func positive(what string, x float64) error {
	if !(x > 0) || math.IsInf(x, 0) {
		return fmt.Errorf("%w: %s must be above 0, is %g", ErrTitration, what, x)
	}
	return nil
}

// strengths are what a liquid can hold: more than usual is doubted, more than most is a
// slip in a unit, such as mg of oxalate typed for g.
type strengths struct {
	usual, most Concentration
	words       string // where they come from
	units       string // what to look at
}

func permanganateStrengths() strengths {
	usual, most := Solubility(20), Solubility(60)
	return strengths{usual, most, fmt.Sprintf("water holds about %v of permanganate at 20 °C and %v at 60 °C", usual, most),
		"check that the oxalate is in g (not mg) or in mol/L (not mmol/L), and the volumes in mL"}
}

func chlorineStrengths() strengths {
	return strengths{MostHypochlorite, 2 * MostHypochlorite, fmt.Sprintf("more than %v of available chlorine does not keep (%s)", MostHypochlorite, CommonPractice),
		"check that the thiosulfate is in mol/L (not mmol/L), and the volumes in mL"}
}

// peroxideStrengths: 50 % by weight at 1.2 kg/L are 600 g/L; pure peroxide weighs
// 1.45 kg/L at 20 °C (handbook, from memory).
func peroxideStrengths() strengths {
	return strengths{600, 1450, "50 % by weight are about 600 g/L, pure peroxide is 1450 g/L",
		"check that the permanganate is in mol/L (not mmol/L, not normality), and the volumes in mL"}
}

// check refuses what no liquid holds and warns of what hardly any does.
func (s strengths) check(e Estimate[Concentration]) (Estimate[Concentration], error) {
	if e.Value > s.most {
		return Estimate[Concentration]{}, fmt.Errorf("%w: it comes out as %.4g g/L, but %s; %s", ErrTitration, float64(e.Value), s.words, s.units)
	}
	if e.Value > s.usual {
		e.Warnings = append(slices.Clip(e.Warnings), fmt.Sprintf("%.4g g/L is more than expected: %s; %s", float64(e.Value), s.words, s.units))
	}
	return sound(e)
}

// Sample is how a liquid came to the titration: Taken directly, or Taken made
// up to MadeUp of which Aliquot is titrated.
type Sample struct{ Taken, MadeUp, Aliquot Volume }

// titrated is the volume of the original liquid in one titration.
func (s Sample) titrated() (Volume, error) {
	if err := positive("sample volume", float64(s.Taken)); err != nil {
		return 0, err
	}
	if s.MadeUp == 0 && s.Aliquot == 0 {
		return s.Taken, nil
	}
	if !(s.Aliquot > 0 && s.Aliquot <= s.MadeUp && s.MadeUp >= s.Taken) {
		return 0, fmt.Errorf("%w: %v made up to %v with %v titrated; want sample ≤ made up and 0 < aliquot ≤ made up", ErrTitration, s.Taken, s.MadeUp, s.Aliquot)
	}
	return Volume(float64(s.Taken) * float64(s.Aliquot/s.MadeUp)), nil
}

func (s Sample) parts(t Tolerances) []Part {
	p := []Part{{"sample pipette", 100 * triangular(float64(t.Pipette), float64(s.Taken))}}
	if s.MadeUp != 0 {
		p = append(p, Part{"dilution flask", 100 * triangular(float64(t.Flask), float64(s.MadeUp))},
			Part{"aliquot pipette", 100 * triangular(float64(t.Pipette), float64(s.Aliquot))})
	}
	return p
}

// OxalateStandard is what the permanganate is run against: weighed portions of
// sodium oxalate (one per titre, or one for all), or an aliquot of its solution.
type OxalateStandard struct {
	Portions []Mass
	Purity   Fraction // of the oxalate; 0 means 1
	Solution Molarity
	Aliquot  Volume
}

// amounts returns the oxalate of each of n titrations, with its uncertainty.
func (o OxalateStandard) amounts(n int, t Tolerances) ([]float64, []Part, error) {
	out := make([]float64, n)
	if len(o.Portions) == 0 {
		if err := positive("oxalate solution", float64(o.Solution)); err != nil {
			return nil, nil, fmt.Errorf("%w (or give weighed portions)", err)
		}
		if err := positive("aliquot of oxalate solution", float64(o.Aliquot)); err != nil {
			return nil, nil, err
		}
		for i := range out {
			out[i] = float64(o.Solution.In(o.Aliquot))
		}
		return out, []Part{{"oxalate solution", 100 * t.Titrant / math.Sqrt(3)},
			{"oxalate pipette", 100 * triangular(float64(t.Pipette), float64(o.Aliquot))}}, nil
	}
	if len(o.Portions) != 1 && len(o.Portions) != n {
		return nil, nil, fmt.Errorf("%w: %d portions of oxalate for %d titres; give one each, or one for all", ErrTitration, len(o.Portions), n)
	}
	purity := o.Purity
	if purity == 0 {
		purity = 1
	}
	if !(purity > 0 && purity <= 1) {
		return nil, nil, fmt.Errorf("%w: sodium oxalate %g %%", ErrPurity, purity.Percent())
	}
	least := math.Inf(1)
	for i := range out {
		m := o.Portions[min(i, len(o.Portions)-1)]
		if err := positive("portion of oxalate", float64(m)); err != nil {
			return nil, nil, err
		}
		least = math.Min(least, float64(m))
		out[i] = float64(purity.Of(m).Amount(molar("Na2C2O4")))
	}
	return out, []Part{{"oxalate weighing", 100 * triangular(float64(t.Balance), least)}}, nil
}

// PermanganateByOxalate is the strength of a permanganate solution in the
// burette, run into hot acid oxalate:
//
//	2 MnO4⁻ + 5 C2O4²⁻ + 16 H⁺ → 2 Mn²⁺ + 10 CO2 + 8 H2O
//
// About 1 mol/L sulfuric acid, 70-90 °C, to a pink that lasts 30 s.
func PermanganateByOxalate(o OxalateStandard, t Titres, tol *Tolerances) (Estimate[Concentration], error) {
	tl := tolerances(tol)
	net, err := t.net()
	if err != nil {
		return Estimate[Concentration]{}, err
	}
	n, parts, err := o.amounts(len(net), tl)
	if err != nil {
		return Estimate[Concentration]{}, err
	}
	// Grams of permanganate per mole of oxalate, from the balanced equation.
	eq := Combine(Permanganate().Reduction, Oxalate().Routes[0].Oxidation)
	k := float64(eq.Count("MnO4^-")) / float64(eq.Count("C2O4^2-")) * float64(molar("KMnO4"))
	for i := range net {
		n[i] = k * n[i] / net[i]
	}
	m := mean(net)
	parts = append(parts, Part{"burette", 100 * triangular(float64(tl.Burette), m)})
	e := estimate[Concentration](n, float64(drop)/m, parts)
	// The permanganate is the titrant: of a weaker one more is used.
	e.Warnings = small(net, "take more oxalate, or dilute the permanganate by known volumes and state them", e.Warnings)
	return permanganateStrengths().check(e)
}

// BeforeDilution is the strength of a permanganate solution of which taken was made up to madeUp,
// from the strength e of the diluted one. Both volumes must be above 0 and finite,
// and madeUp not below taken.
func BeforeDilution(e Estimate[Concentration], taken, madeUp Volume, tol *Tolerances) (Estimate[Concentration], error) {
	if err := errors.Join(positive("sample volume", float64(taken)), positive("volume made up to", float64(madeUp))); err != nil {
		return Estimate[Concentration]{}, err
	}
	if madeUp < taken {
		return Estimate[Concentration]{}, fmt.Errorf("%w: %v made up to %v; want no less than was taken", ErrTitration, taken, madeUp)
	}
	tl := tolerances(tol)
	return permanganateStrengths().check(widen(Scale[Concentration](e, float64(madeUp)/float64(taken)),
		Part{"sample pipette", 100 * triangular(float64(tl.Pipette), float64(taken))},
		Part{"dilution flask", 100 * triangular(float64(tl.Flask), float64(madeUp))}))
}

// Carrier is a weighed portion of charged carrier leached into a volume: pellets
// or powder crushed, stones soaked out whole, then filtered.
type Carrier struct {
	Portion Mass
	Leached Volume // to which the leachate was made up
}

// CarrierByOxalate is the permanganate on a carrier as a fraction of its mass,
// from the leachate run into hot acid oxalate. Manganese dioxide stays on the
// filter and is not counted: it no longer bleaches.
func CarrierByOxalate(c Carrier, o OxalateStandard, t Titres, tol *Tolerances) (Estimate[Fraction], error) {
	if err := positive("portion of carrier", float64(c.Portion)); err != nil {
		return Estimate[Fraction]{}, err
	}
	if err := positive("leachate volume", float64(c.Leached)); err != nil {
		return Estimate[Fraction]{}, err
	}
	tl := tolerances(tol)
	e, err := PermanganateByOxalate(o, t, tol)
	if err != nil {
		return Estimate[Fraction]{}, err
	}
	f := Scale[Fraction](e, float64(c.Leached)/float64(c.Portion))
	f = widen(f, Part{"carrier weighing", 100 * triangular(float64(tl.Balance), float64(c.Portion))},
		Part{"leachate flask", 100 * triangular(float64(tl.Flask), float64(c.Leached))})
	if f.Value > 1 {
		return Estimate[Fraction]{}, fmt.Errorf("%w: more permanganate (%v) than carrier (%v); check the units of portion, leachate and titre", ErrTitration, f.Value.Of(c.Portion), c.Portion)
	}
	return sound(f)
}

// widen adds independent relative uncertainties.
func widen[T ~float64](e Estimate[T], parts ...Part) Estimate[T] {
	u2 := math.Pow(float64(e.SE/e.Value), 2)
	was := math.Sqrt(u2)
	for _, p := range parts {
		u2 += p.Percent * p.Percent / 1e4
	}
	u := math.Sqrt(u2)
	if was > 0 {
		e.DF = math.Min(e.DF*math.Pow(u/was, 4), maxDF)
	}
	h := u * float64(e.Value) * quantile.Student(0.975, e.DF)
	e.SE, e.Lo, e.Hi = T(u*float64(e.Value)), T(math.Max(float64(e.Value)-h, 0)), T(float64(e.Value)+h)
	e.Parts = append(append([]Part(nil), e.Parts...), parts...)
	return e
}

// ChlorineByThiosulfate is the available chlorine of a liquid, by iodometry in
// acid with excess iodide:
//
//	OCl⁻ + 2 I⁻ + 2 H⁺ → I2 + Cl⁻ + H2O,  I2 + 2 S2O3²⁻ → 2 I⁻ + S4O6²⁻
func ChlorineByThiosulfate(s Sample, thiosulfate Molarity, t Titres, tol *Tolerances) (Estimate[Concentration], error) {
	e, err := iodometry(s, thiosulfate, t, tol)
	if err != nil {
		return e, err
	}
	return chlorineStrengths().check(e)
}

// iodometry counts half a mole of Cl2 per mole of thiosulfate.
func iodometry(s Sample, thiosulfate Molarity, t Titres, tol *Tolerances) (Estimate[Concentration], error) {
	return liquid(s, "thiosulfate", thiosulfate, float64(molar("Cl2"))/2, t, tol)
}

// PeroxideByPermanganate is the hydrogen peroxide of a liquid, in acid:
//
//	2 MnO4⁻ + 5 H2O2 + 6 H⁺ → 2 Mn²⁺ + 5 O2 + 8 H2O
func PeroxideByPermanganate(s Sample, permanganate Molarity, t Titres, tol *Tolerances) (Estimate[Concentration], error) {
	eq := Combine(Permanganate().Reduction, Peroxide().Routes[0].Oxidation)
	k := float64(eq.Count("H2O2")) / float64(eq.Count("MnO4^-")) * float64(molar("H2O2"))
	e, err := liquid(s, "permanganate", permanganate, k, t, tol)
	if err != nil {
		return e, err
	}
	return peroxideStrengths().check(e)
}

// liquid is the titration of a measured liquid: gramPerMole of analyte per
// mole of titrant.
func liquid(s Sample, titrant string, c Molarity, gramPerMole float64, t Titres, tol *Tolerances) (Estimate[Concentration], error) {
	v, err := s.titrated()
	if err != nil {
		return Estimate[Concentration]{}, err
	}
	return perVolume(v, s.parts(tolerances(tol)), titrant, c, gramPerMole, t, tol)
}

// perVolume is the titration of volume v, whose uncertainty parts tell.
func perVolume(v Volume, parts []Part, titrant string, c Molarity, gramPerMole float64, t Titres, tol *Tolerances) (Estimate[Concentration], error) {
	tl := tolerances(tol)
	if err := positive("molarity of the "+titrant, float64(c)); err != nil {
		return Estimate[Concentration]{}, err
	}
	net, err := t.net()
	if err != nil {
		return Estimate[Concentration]{}, err
	}
	out := make([]float64, len(net))
	for i, x := range net {
		out[i] = float64(c) * x * gramPerMole / float64(v)
	}
	m := mean(net)
	parts = append(parts, Part{titrant + " solution", 100 * tl.Titrant / math.Sqrt(3)},
		Part{"burette", 100 * triangular(float64(tl.Burette), m)})
	e := estimate[Concentration](out, float64(drop)/m, parts)
	e.Warnings = small(net, "take more sample, or a weaker titrant", e.Warnings)
	return sound(e)
}

// SolidChlorine is the available chlorine of a bleaching powder as a fraction
// of its mass: Portion is made up to MadeUp, of which Aliquot is titrated.
type SolidChlorine struct {
	Portion         Mass
	MadeUp, Aliquot Volume
}

// SolidChlorineByThiosulfate evaluates it as [ChlorineByThiosulfate] does.
func SolidChlorineByThiosulfate(s SolidChlorine, thiosulfate Molarity, t Titres, tol *Tolerances) (Estimate[Fraction], error) {
	tl := tolerances(tol)
	if err := positive("portion of bleaching powder", float64(s.Portion)); err != nil {
		return Estimate[Fraction]{}, err
	}
	if !(s.Aliquot > 0 && s.Aliquot <= s.MadeUp) {
		return Estimate[Fraction]{}, fmt.Errorf("%w: aliquot %v of %v; want 0 < aliquot ≤ made up", ErrTitration, s.Aliquot, s.MadeUp)
	}
	e, err := iodometry(Sample{Taken: s.Aliquot}, thiosulfate, t, tol)
	if err != nil {
		return Estimate[Fraction]{}, err
	}
	f := widen(Scale[Fraction](e, float64(s.MadeUp)/float64(s.Portion)),
		Part{"weighing", 100 * triangular(float64(tl.Balance), float64(s.Portion))},
		Part{"flask", 100 * triangular(float64(tl.Flask), float64(s.MadeUp))})
	if f.Value > 1 {
		return Estimate[Fraction]{}, fmt.Errorf("%w: more chlorine than powder; check the units of portion, volumes and titre", ErrTitration)
	}
	return sound(f)
}

// MostUptake is more than any stone takes up: one of nine tenths pores and a solid of
// 2.4 kg/L (common practice, no source) holds 0.9/(0.1 × 2.4) = 3.75 L per kg; drained
// pumice is at 0.2 to 0.6.
const MostUptake LiquorRatio = 5

// Uptake is the liquid that drained stones hold, in L per kg of dry stone, from
// replicate weighings (dry and drained, in pairs) and the density of the soak
// in kg/L. It is measured, never assumed: it changes with grade and reuse.
func Uptake(dry, drained []Mass, kgPerLiter float64, tol *Tolerances) (Estimate[LiquorRatio], error) {
	tl := tolerances(tol)
	if len(dry) == 0 || len(dry) != len(drained) {
		return Estimate[LiquorRatio]{}, fmt.Errorf("%w: %d dry and %d drained weighings; want pairs", ErrTitration, len(dry), len(drained))
	}
	if err := positive("density of the soak", kgPerLiter); err != nil {
		return Estimate[LiquorRatio]{}, err
	}
	out := make([]float64, len(dry))
	least := math.Inf(1)
	for i := range dry {
		if !(dry[i] > 0 && drained[i] > dry[i]) || math.IsInf(float64(drained[i]), 0) {
			return Estimate[LiquorRatio]{}, fmt.Errorf("%w: stones of %v dry weigh %v drained; want more than dry", ErrTitration, dry[i], drained[i])
		}
		out[i] = float64((drained[i]-dry[i])/dry[i]) / kgPerLiter
		least = math.Min(least, float64(drained[i]-dry[i]))
	}
	if m := mean(out); m > float64(MostUptake) {
		return Estimate[LiquorRatio]{}, fmt.Errorf("%w: stones that hold %.3g L per kg: no stone takes up more than %v; check that dry and drained are in one unit", ErrTitration, m, MostUptake)
	}
	// A single weighing says nothing of how unevenly stones drain: 10 % is taken.
	e := estimate[LiquorRatio](out, 0.1, []Part{{"weighing", 100 * triangular(float64(tl.Balance), least)}})
	if len(dry) == 1 {
		e.Parts[0].Source = "spread between portions, taken as 10 %"
		e.Warnings = []string{"one portion: how unevenly the stones drain is assumed, not measured; weigh at least three"}
	} else {
		e.Parts[0].Source = fmt.Sprintf("spread between %d portions", len(dry))
		e.Warnings = nil
	}
	return sound(e)
}
