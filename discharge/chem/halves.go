package chem

import (
	"errors"
	"fmt"
	"strings"
)

// half reads "MnO4^- + 8 H^+ → Mn^2+ + 4 H2O" with its number of electrons.
// The equations below are constants, checked for balance by the tests.
func half(electrons int, equation string) Half {
	l, r, ok := strings.Cut(equation, " → ")
	if !ok {
		panic("chem: no arrow in " + equation)
	}
	terms := func(s string) []Term {
		var out []Term
		for part := range strings.SplitSeq(s, " + ") {
			t := Term{1, part}
			if n, species, ok := strings.Cut(part, " "); ok {
				if _, err := fmt.Sscanf(n, "%d", &t.N); err != nil {
					panic("chem: " + part + " in " + equation)
				}
				t.Species = species
			}
			out = append(out, t)
		}
		return out
	}
	return Half{Reaction{terms(l), terms(r)}, electrons}
}

// Oxidant is what may have to be undone: how it is counted and the half-
// reaction by which it goes.
type Oxidant struct {
	ID        string // "permanganate"
	Name      string
	Formula   string // as counted: "KMnO4"; available chlorine is counted as Cl2
	Species   string // in the reaction
	Reduction Half
}

func (o Oxidant) check() error {
	if _, err := MolarMassOf(o.Formula); err != nil {
		return fmt.Errorf("oxidant %q: %w", o.ID, err)
	}
	if o.Reduction.Electrons < 1 || o.Reduction.Count(o.Species) < 1 {
		return fmt.Errorf("oxidant %q: its reduction must use up %q and take electrons", o.ID, o.Species)
	}
	return nil
}

// Permanganate takes 5 electrons in acid but stops at brown manganese dioxide,
// after 3, where acid is missing.
func Permanganate() Oxidant {
	return Oxidant{"permanganate", "potassium permanganate, to manganese(II)", "KMnO4", "MnO4^-",
		half(5, "MnO4^- + 8 H^+ → Mn^2+ + 4 H2O")}
}

// PermanganateToDioxide is permanganate without acid.
func PermanganateToDioxide() Oxidant {
	return Oxidant{"permanganate-to-dioxide", "potassium permanganate, to manganese dioxide", "KMnO4", "MnO4^-",
		half(3, "MnO4^- + 4 H^+ → MnO2 + 2 H2O")}
}

// PermanganateToManganate is permanganate in strong alkali, where it turns green.
func PermanganateToManganate() Oxidant {
	return Oxidant{"permanganate-to-manganate", "potassium permanganate, to manganate", "KMnO4", "MnO4^-",
		half(1, "MnO4^- → MnO4^2-")}
}

// ManganeseDioxide is the brown that spent permanganate leaves.
func ManganeseDioxide() Oxidant {
	return Oxidant{"manganese-dioxide", "manganese dioxide, to manganese(II)", "MnO2", "MnO2",
		half(2, "MnO2 + 4 H^+ → Mn^2+ + 2 H2O")}
}

// Chlorine is hypochlorite, counted as available chlorine: one OCl⁻ has the
// oxidizing power of one Cl2.
func Chlorine() Oxidant {
	return Oxidant{"chlorine", "available chlorine as Cl2, to chloride", "Cl2", "OCl^-",
		half(2, "OCl^- + 2 H^+ → Cl^- + H2O")}
}

// Oxidants lists them all.
func Oxidants() []Oxidant {
	return []Oxidant{Permanganate(), PermanganateToDioxide(), PermanganateToManganate(), ManganeseDioxide(), Chlorine()}
}

// Reductant is what is weighed to undo an oxidizer, or is attacked by it.
type Reductant struct {
	Formula string // as weighed: "(NH3OH)2SO4"
	Species string // in the reaction: "NH3OH^+"
	Per     int    // how many of the species are in one formula unit
	Routes  []Route
}

func (r Reductant) check() error {
	if _, err := MolarMassOf(r.Formula); err != nil {
		return fmt.Errorf("reductant %q: %w", r.Formula, err)
	}
	if r.Per < 1 || len(r.Routes) == 0 {
		return fmt.Errorf("reductant %q has %d of its species in a formula unit and %d routes, each must be at least one", r.Formula, r.Per, len(r.Routes))
	}
	for _, route := range r.Routes {
		if route.Oxidation.Electrons < 1 || route.Oxidation.Count(r.Species) < 1 {
			return fmt.Errorf("reductant %q: each oxidation must use up %q and set electrons free", r.Formula, r.Species)
		}
	}
	return nil
}

// Route is one way that a reductant goes.
type Route struct {
	When      string // what decides for it; "" when there is only one
	Oxidation Half
}

func only(electrons int, equation string) []Route {
	return []Route{{"", half(electrons, equation)}}
}

// Indigo goes to isatin.
func Indigo() Reductant {
	return Reductant{"C16H10N2O2", "C16H10N2O2", 1, only(4, "C16H10N2O2 + 2 H2O → 2 C8H5NO2 + 4 H^+")}
}

// Oxalate is the standard of permanganate.
func Oxalate() Reductant {
	return Reductant{"Na2C2O4", "C2O4^2-", 1, only(2, "C2O4^2- → 2 CO2")}
}

// Iodide sets iodine free for the titration of chlorine.
func Iodide() Reductant {
	return Reductant{"KI", "I^-", 1, only(2, "2 I^- → I2")}
}

// Peroxide gives off oxygen.
func Peroxide() Reductant {
	return Reductant{"H2O2", "H2O2", 1, only(2, "H2O2 → O2 + 2 H^+")}
}

func thiosulfateRoutes() []Route {
	return []Route{
		{"to sulfate: alkaline, hypochlorite in excess", half(8, "S2O3^2- + 5 H2O → 2 SO4^2- + 10 H^+")},
		{"to tetrathionate: towards acid, thiosulfate in excess", half(2, "2 S2O3^2- → S4O6^2-")},
	}
}

func hydroxylamineRoutes() []Route {
	return []Route{
		{"to nitrate: permanganate in excess", half(6, "NH3OH^+ + 2 H2O → NO3^- + 8 H^+")},
		{"to nitrous oxide", half(4, "2 NH3OH^+ → N2O + H2O + 6 H^+")},
		{"to nitrogen: hydroxylamine in excess", half(2, "2 NH3OH^+ → N2 + 2 H2O + 4 H^+")},
	}
}

// Step is one balanced way of a reductant with an oxidizer.
type Step struct {
	When     string
	Reaction Reaction // acid form
	Factor   Ratio    // mass of reductant, as weighed and pure, per mass of oxidizer, as counted
	// Acid is the H⁺ used up per gram of oxidizer; below 0 the step makes acid.
	Acid Amount
	Gas  string // the gas it sets free, "" for none
	// GasAmount is set free per gram of oxidizer.
	GasAmount Amount
}

// Steps returns the balanced reactions of r with o, one per route. It panics on
// an oxidant or reductant without a formula, species, count or electrons.
func (o Oxidant) Steps(r Reductant) []Step {
	if err := errors.Join(o.check(), r.check()); err != nil {
		panic("chem: " + err.Error())
	}
	out := make([]Step, len(r.Routes))
	for i, route := range r.Routes {
		eq := Combine(o.Reduction, route.Oxidation)
		nOx, nRed := float64(eq.Count(o.Species)), float64(eq.Count(r.Species))
		perGram := 1 / (nOx * float64(molar(o.Formula)))
		s := Step{When: route.When, Reaction: eq,
			Factor: Ratio(nRed / float64(r.Per) * float64(molar(r.Formula)) * perGram),
			Acid:   Amount(float64(eq.Count("H^+")) * perGram)}
		for _, g := range []string{"O2", "CO2", "N2O", "N2"} {
			if n := eq.Count(g); n < 0 {
				s.Gas, s.GasAmount = g, Amount(float64(-n)*perGram)
			}
		}
		out[i] = s
	}
	return out
}

// GasVolume is the volume of an ideal gas at 1 atm: 24.47 L/mol at 25 °C [4].
func GasVolume(n Amount, t Celsius) Volume {
	const r, atm = 8.314462618, 101325.0
	return Volume(float64(n)*r*(float64(t)+273.15)/atm) * CubicMeter
}
