package chem

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Sentinels that callers test for with errors.Is.
var (
	ErrPurity       = errors.New("impossible purity")
	ErrUnknown      = errors.New("not known")
	ErrUnsuited     = errors.New("not suited")
	ErrIncompatible = errors.New("chemicals that must not meet")
	ErrTitration    = errors.New("titration cannot be evaluated")
	ErrNoDecay      = errors.New("decay is unknown")
)

// Span is a closed range with the standing of its ends.
type Span struct {
	Lo, Hi float64
	Source string
}

// Contains reports whether x lies in the range.
func (s Span) Contains(x float64) bool { return s.Lo <= x && x <= s.Hi }

// Agent undoes an oxidizer.
type Agent struct {
	ID   string // also its id in [Chemicals]
	Name string
	Reductant
	Permanganate, Chlorine bool // which of them it is used for
	Notes                  []string
	PermanganateNotes      []string // beside Notes, when it takes up permanganate
	AntichlorNotes         []string // beside Notes, when it takes up chlorine
}

// Agents returns the neutralizers of permanganate and the antichlors.
func Agents() []Agent {
	sulfurDioxide := "gives off sulfur dioxide where the bath is acid: exhaust, and no more acid than the pH asks"
	blend := "a blend of metabisulfite and sulfite 7:3 at pH 6.2 and 38-60 °C avoids sulfur dioxide (US 5,017,301)"
	makesAcid := "makes acid as it works: keep the bath alkaline with soda ash until no chlorine is left"
	foams := "sets oxygen free at once: add it slowly to a diluted bath in a vented machine, never concentrate to concentrate"
	noFactor := "has no single factor"
	return []Agent{
		{"bisulfite", "sodium bisulfite", Reductant{"NaHSO3", "HSO3^-", 1, only(2, "HSO3^- + H2O → SO4^2- + 3 H^+")}, true, true, []string{sulfurDioxide}, []string{blend}, []string{makesAcid}},
		{"metabisulfite", "sodium metabisulfite", Reductant{"Na2S2O5", "S2O5^2-", 1, only(4, "S2O5^2- + 3 H2O → 2 SO4^2- + 6 H^+")}, true, true, []string{sulfurDioxide}, []string{blend}, []string{makesAcid}},
		{"sulfite", "sodium sulfite", Reductant{"Na2SO3", "SO3^2-", 1, only(2, "SO3^2- + H2O → SO4^2- + 2 H^+")}, true, true,
			[]string{"alkaline by itself: with permanganate it needs acid, with chlorine it needs none"}, nil, nil},
		{"peroxide", "hydrogen peroxide", Peroxide(), true, true, []string{foams}, nil, nil},
		{"oxalic-acid", "oxalic acid dihydrate", Reductant{"H2C2O4.2H2O", "H2C2O4", 1, only(2, "H2C2O4 → 2 CO2 + 2 H^+")}, true, false,
			[]string{"slow in the cold: warm bath; rinse it out well, its crystals and its calcium salt stay on the cloth"}, nil, nil},
		{"oxalic-acid-anhydrous", "oxalic acid, anhydrous", Reductant{"H2C2O4", "H2C2O4", 1, only(2, "H2C2O4 → 2 CO2 + 2 H^+")}, true, false, nil, nil, nil},
		{"hydroxylamine", "hydroxylamine sulfate", Reductant{"(NH3OH)2SO4", "NH3OH^+", 2, hydroxylamineRoutes()}, true, false,
			[]string{noFactor + ": whether nitrate, nitrous oxide or nitrogen forms depends on excess and pH"}, nil, nil},
		{"ascorbic-acid", "ascorbic acid", Reductant{"C6H8O6", "C6H8O6", 1, only(2, "C6H8O6 → C6H6O6 + 2 H^+")}, true, true, nil, nil, nil},
		{"sodium-ascorbate", "sodium ascorbate", Reductant{"NaC6H7O6", "C6H7O6^-", 1, only(2, "C6H7O6^- → C6H6O6 + H^+")}, false, true, nil, nil, nil},
		{"thiosulfate", "sodium thiosulfate pentahydrate", Reductant{"Na2S2O3.5H2O", "S2O3^2-", 1, thiosulfateRoutes()}, false, true,
			[]string{noFactor + ": between sulfate and tetrathionate it depends on pH and on which is in excess; slower than bisulfite"}, nil, nil},
		{"thiosulfate-anhydrous", "sodium thiosulfate, anhydrous", Reductant{"Na2S2O3", "S2O3^2-", 1, thiosulfateRoutes()}, false, true, []string{noFactor}, nil, nil},
		{"calcium-thiosulfate", "calcium thiosulfate", Reductant{"CaS2O3", "S2O3^2-", 1, thiosulfateRoutes()}, false, true, []string{noFactor}, nil, nil},
	}
}

// LookupAgent returns the agent of that id.
func LookupAgent(id string) (Agent, error) {
	var ids []string
	for _, a := range Agents() {
		if a.ID == strings.ToLower(strings.TrimSpace(id)) {
			return a, nil
		}
		ids = append(ids, a.ID)
	}
	return Agent{}, fmt.Errorf("agent %q is %w; there are %s", id, ErrUnknown, strings.Join(ids, ", "))
}

// Demand is how much of an agent an oxidizer takes.
type Demand struct {
	Agent Agent
	Steps []Step // by rising factor
	// Least and Most are the ends of the factor; equal where there is one
	// balanced equation.
	Least, Most Ratio
	// IfSpent is the factor when all permanganate has already become brown
	// manganese dioxide: per gram of the permanganate that it was. 0 for chlorine.
	IfSpent Ratio
}

// Neutralize returns the demand of an agent for permanganate, down to colorless
// manganese(II): on everything charged it is an upper bound, since a part is
// spent as manganese dioxide by then.
func Neutralize(a Agent) (Demand, error) {
	if !a.Permanganate {
		return Demand{}, fmt.Errorf("%s is %w to neutralize permanganate; take %s", a.Name, ErrUnsuited,
			agentIDs(func(b Agent) bool { return b.Permanganate }))
	}
	if err := a.Reductant.check(); err != nil {
		return Demand{}, fmt.Errorf("agent %q: %w", a.ID, err)
	}
	d := demand(a, Permanganate())
	spent := demand(a, ManganeseDioxide())
	// One mole of permanganate leaves one mole of dioxide.
	d.IfSpent = spent.Most * Ratio(molar("MnO2")/molar("KMnO4"))
	return d, nil
}

// Antichlor returns the demand of an agent for available chlorine, down to
// chloride.
func Antichlor(a Agent) (Demand, error) {
	if !a.Chlorine {
		return Demand{}, fmt.Errorf("%s is %w as an antichlor; take %s", a.Name, ErrUnsuited,
			agentIDs(func(b Agent) bool { return b.Chlorine && !b.acid() }))
	}
	if err := a.Reductant.check(); err != nil {
		return Demand{}, fmt.Errorf("agent %q: %w", a.ID, err)
	}
	return demand(a, Chlorine()), nil
}

// acid tells agents that set chlorine gas free: they take it up in an alkaline bath
// only, and no sheet has them beside hypochlorite.
func (a Agent) acid() bool {
	c, err := LookupChemical(a.ID)
	return err == nil && c.is(acid)
}

func demand(a Agent, o Oxidant) Demand {
	d := Demand{Agent: a, Steps: o.Steps(a.Reductant)}
	slices.SortStableFunc(d.Steps, func(x, y Step) int {
		if x.Factor < y.Factor {
			return -1
		}
		return 1
	})
	d.Least, d.Most = d.Steps[0].Factor, d.Steps[len(d.Steps)-1].Factor
	return d
}

func agentIDs(keep func(Agent) bool) string {
	var ids []string
	for _, a := range Agents() {
		if keep(a) {
			ids = append(ids, a.ID)
		}
	}
	return strings.Join(ids, ", ")
}

// Single reports whether one balanced equation rules.
func (d Demand) Single() bool { return len(d.Steps) == 1 }

// Weigh returns the least and most of the agent, of that purity, for a mass of
// oxidizer with an excess factor such as 1.2.
func (d Demand) Weigh(oxidizer Mass, purity Fraction, excess float64) (least, most Mass, err error) {
	switch {
	case !(purity > 0 && purity <= 1):
		return 0, 0, fmt.Errorf("%w: %s of purity %g %%; want above 0 and at most 100 %%: a product without active content neutralizes nothing", ErrPurity, d.Agent.Name, purity.Percent())
	case !(excess >= 1 && excess <= 10):
		return 0, 0, fmt.Errorf("excess factor %g: want 1 to 10; below 1 oxidizer is left over and the cloth yellows", excess)
	case !(oxidizer >= 0 && oxidizer < 1e12):
		return 0, 0, fmt.Errorf("mass of oxidizer is %g g; want 0 or more, and below 1e12 g", float64(oxidizer))
	}
	k := Mass(excess / float64(purity))
	return d.Least.Of(oxidizer) * k, d.Most.Of(oxidizer) * k, nil
}

// Conditions are how an agent is used.
type Conditions struct {
	Excess          Span // factor on the balanced equation
	PH, TempC, Min  Span
	WithoutThem     string   // what happens outside them
	ResidualTests   []string // how to see that no oxidizer is left
	TestsAreSources string
}

// NeutralizeConditions are those of permanganate.
func NeutralizeConditions() Conditions {
	return Conditions{
		Excess: Span{1.1, 1.5, CommonPractice}, PH: Span{2.5, 5, CommonPractice},
		TempC: Span{40, 60, CommonPractice}, Min: Span{10, 20, CommonPractice},
		WithoutThem: "without acid the reaction stops after 3 electrons at brown manganese dioxide and the cloth turns tan; too little agent shows, too much does not",
		ResidualTests: []string{
			"no pink in the bath, no tan on white pocketing",
			"a tan spot that fades under a drop of oxalic acid with dilute sulfuric acid is manganese dioxide: neutralize again",
			"acidified potassium iodide-starch paper pressed on the wet cloth stays white",
		},
		TestsAreSources: CommonPractice,
	}
}

// AntichlorConditions are those of hypochlorite.
func AntichlorConditions() Conditions {
	return Conditions{
		Excess: Span{1.1, 1.5, CommonPractice}, PH: Span{8, 10, CommonPractice},
		TempC: Span{30, 50, CommonPractice}, Min: Span{5, 15, CommonPractice},
		WithoutThem: "in acid, chlorine and sulfur dioxide escape before they have reacted; chlorine left in the cloth yellows it and goes on taking its strength",
		ResidualTests: []string{
			"potassium iodide-starch paper pressed on the wet cloth stays white: blue-black is chlorine",
			"no smell of chlorine from the squeezed cloth",
		},
		TestsAreSources: CommonPractice,
	}
}

// For returns the conditions with the tests for oxidizer left as they are read after
// an agent: iodide paper tells peroxide from no other oxidizer.
func (c Conditions) For(a Agent) Conditions {
	if a.ID != "peroxide" {
		return c
	}
	c.ResidualTests = slices.Clone(c.ResidualTests)
	for i, t := range c.ResidualTests {
		if strings.Contains(t, "iodide") {
			c.ResidualTests[i] = t + "; peroxide left over blues it as well, and more of it would not help: rinse, then test again, and take up what stays with a little bisulfite"
		}
	}
	return c
}

// SodaAsh returns the sodium carbonate that keeps a bath from turning acid
// while a step makes acid: one carbonate takes one H⁺ and leaves bicarbonate,
// about pH 8.
func SodaAsh(made Amount) Mass { return max(made, 0).Mass(molar("Na2CO3")) }

// AcidMass returns the pure acid whose H⁺ a step uses up at pH 2.5 to 5: one per
// mole, for phosphoric acid the first of its three.
func AcidMass(id string, used Amount) (Mass, error) {
	formula := map[string]string{"acetic-acid": "C2H4O2", "phosphoric-acid": "H3PO4"}[id]
	if formula == "" {
		return 0, fmt.Errorf("%q is %w to set the pH of a neutralizing bath; take acetic-acid or phosphoric-acid", id, ErrUnsuited)
	}
	return max(used, 0).Mass(molar(formula)), nil
}

// DioxideLeft is the brown manganese dioxide that spent permanganate leaves.
func DioxideLeft(permanganate Mass) Mass {
	return permanganate.Amount(molar("KMnO4")).Mass(molar("MnO2"))
}

// Manganese is the metal in permanganate, as permits count it.
func Manganese(permanganate Mass) Mass {
	return permanganate.Amount(molar("KMnO4")).Mass(molar("Mn"))
}

// Solubility of potassium permanganate in water, grams per liter of water, by
// straight lines between 0 and 60 °C, held at the ends; NaN of NaN. Handbook values, from
// memory except 64 g/L at 20 °C, which trade and handbook texts agree on.
func Solubility(t Celsius) Concentration {
	at := [...]float64{28, 43, 64, 90, 126, 169, 222} // at 0, 10 … 60 °C
	x := min(max(float64(t)/10, 0), float64(len(at)-1))
	if math.IsNaN(x) {
		return Concentration(x)
	}
	i := min(int(x), len(at)-2)
	return Concentration(at[i] + (x-float64(i))*(at[i+1]-at[i]))
}

// Liquid hypochlorite is sold at 3 (household) to 16 % by trade; less is a stock grown
// old or let down, and more than 20 % does not keep (common practice, no source).
const (
	LeastHypochlorite Concentration = 30 // of available chlorine
	MostHypochlorite  Concentration = 200
)

// HypochlorousShare is the part of the free chlorine that is HOCl and not OCl⁻,
// from pKa 7.54 at 25 °C (from memory). HOCl attacks dye and cotton faster.
func HypochlorousShare(ph float64) Fraction { return Fraction(1 / (1 + pow10(ph-7.54))) }
