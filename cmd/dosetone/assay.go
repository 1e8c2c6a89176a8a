package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/chem"
)

// assayFlags are the readings of one titration, weighing or series.
type assayFlags struct {
	titres                                      numbers
	blank                                       number
	oxalate                                     numbers
	oxalatePurity, oxalateMolarity, oxalateML   number
	sample, madeUp, aliquot                     number
	portion                                     number
	thiosulfate, permanganate                   number
	gas, gasTemp, gasPressure, gasTolerance     number
	density                                     number
	dry, drained                                numbers
	ages, strengths, errors                     numbers
	useAt                                       number
	burette, pipette, flask, balance, tolerance number
}

// assayKind is one way to find a strength.
type assayKind struct {
	name, what string
	needs      []string
	may        []string // flags that it takes as well
	procedure  string
	cautions   []string // chemicals, for the cautions
	run        func(f *assayFlags, t *chem.Tolerances) (assayResult, error)
}

func assayKinds() []assayKind {
	const oxalate = "oxalate or oxalate-molarity with oxalate-volume"
	return []assayKind{
		{"permanganate-oxalate", "strength of a permanganate solution against sodium oxalate", []string{"titre", oxalate},
			[]string{"sample", "made-up", "blank", "oxalate-purity", "burette-tolerance", "pipette-tolerance", "flask-tolerance", "balance-tolerance", "titrant-tolerance"},
			"Dissolve the oxalate in about 1 mol/L sulfuric acid, diluted beforehand (concentrated acid and permanganate make an explosive oxide), 70-90 °C, " +
				"and run the permanganate in from the burette to a pink that lasts 30 s. A soak whose titre is small is diluted first: " +
				"say how much was taken (--sample) and what it was made up to (--made-up).",
			[]string{"permanganate", "oxalic-acid"}, runPermanganate},
		{"carrier", "permanganate on pellets, powder or stones", []string{"titre", "portion", "made-up", oxalate},
			[]string{"blank", "oxalate-purity", "burette-tolerance", "pipette-tolerance", "flask-tolerance", "balance-tolerance", "titrant-tolerance"},
			"Crush a weighed portion of pellets or powder (soak stones out whole), leach, make up, filter, and run the leachate into hot acid oxalate as for permanganate-oxalate.",
			[]string{"permanganate", "oxalic-acid"}, runCarrier},
		{"chlorine-iodometry", "available chlorine of liquid hypochlorite", []string{"titre", "sample", "thiosulfate"},
			[]string{"made-up", "aliquot", "blank", "density", "burette-tolerance", "pipette-tolerance", "flask-tolerance", "titrant-tolerance"},
			"Sample into water with excess potassium iodide, acetic acid last, titrate at once with thiosulfate to pale yellow, add starch, on to colorless. One flask at a time under the hood: never acid into a stock.",
			[]string{"hypochlorite"}, runChlorine},
		{"powder-chlorine", "available chlorine of bleaching powder", []string{"titre", "portion", "made-up", "aliquot", "thiosulfate"},
			[]string{"blank", "burette-tolerance", "pipette-tolerance", "flask-tolerance", "balance-tolerance", "titrant-tolerance"},
			"Grind a weighed portion with water, make up, shake, take the aliquot before it settles, and titrate as for chlorine-iodometry.",
			[]string{"hypochlorite"}, runPowder},
		{"ozone-iodometry", "ozone in the feed gas", []string{"titre", "gas", "thiosulfate"},
			[]string{"gas-temp", "gas-pressure", "gas-tolerance", "blank", "burette-tolerance", "titrant-tolerance"},
			"Lead a metered volume of the feed gas through two bottles of neutral 2 % potassium iodide in a row; only then acidify with dilute sulfuric acid below pH 2, and titrate at once with thiosulfate " +
				"to pale yellow, add starch, on to colorless. What leaves the bottles goes to the destruct unit; the room's ozone alarm is on.",
			[]string{"ozone"}, runOzone},
		{"peroxide-permanganate", "strength of hydrogen peroxide", []string{"titre", "sample", "permanganate"},
			[]string{"made-up", "aliquot", "blank", "density", "burette-tolerance", "pipette-tolerance", "flask-tolerance", "titrant-tolerance"},
			"Dilute the peroxide in water first, acidify with dilute sulfuric acid, and titrate cold with permanganate to a pink that lasts 30 s. Never permanganate and undiluted peroxide together.",
			[]string{"peroxide", "permanganate"}, runPeroxide},
		{"uptake", "liquid that drained stones hold", []string{"dry", "drained"}, []string{"density", "balance-tolerance"},
			"Weigh portions of some kg of stones dry, soak and drain them as the load is, in gloves, and weigh again.", []string{"permanganate"}, runUptake},
		{"decay", "strength at the time of use, from assays of different age", []string{"ages", "strengths", "use-at"}, []string{"errors"},
			"Assay the same store at least twice, some days apart, by the same method.", nil, runDecay},
	}
}

// flagWords lists flags, ways between them included, as they are typed.
func flagWords(names []string) string {
	return "--" + strings.NewReplacer(" or ", " or --", " with ", " with --").Replace(strings.Join(names, ", --"))
}

// takes are the names of all flags that a kind uses.
func (k assayKind) takes() []string {
	needs := strings.NewReplacer(" or ", " ", " with ", " ").Replace(strings.Join(k.needs, " "))
	return append(strings.Fields(needs), k.may...)
}

// refuseUnused names the flags of a command line that some kind of assay uses and
// this one does not: what was typed counts, or it is an error.
func (k assayKind) refuseUnused(cmd *cobra.Command) error {
	takes := k.takes()
	var unused []string
	for _, other := range assayKinds() {
		for _, name := range other.takes() {
			if cmd.Flags().Changed(name) && !slices.Contains(takes, name) && !slices.Contains(unused, "--"+name) {
				unused = append(unused, "--"+name)
			}
		}
	}
	if len(unused) == 0 {
		return nil
	}
	return usage("assay %s does not use %s; it takes %s", k.name, strings.Join(unused, ", "), flagWords(takes))
}

func newAssay(e *env) *cobra.Command {
	f := &assayFlags{}
	var b strings.Builder
	for _, k := range assayKinds() {
		fmt.Fprintf(&b, "  %-22s %s\n", k.name, k.what)
		fmt.Fprintf(&b, "  %-22s needs %s\n", "", flagWords(k.needs))
		if rest := slices.DeleteFunc(slices.Clone(k.may), func(n string) bool { return strings.HasSuffix(n, "-tolerance") }); len(rest) > 0 {
			fmt.Fprintf(&b, "  %-22s takes %s\n", "", flagWords(rest))
		}
	}
	cmd := &cobra.Command{
		Use:     "assay KIND --titre 24.1,24.2,24.0 ...",
		GroupID: "floor",
		Short:   "Titration or weighing to effective strength, with its uncertainty",
		Long: `Works out the strength that fit and charge use, with an interval that holds 95 %,
from replicate titres, the tolerances of glass and balance, and the titrant.
Kinds:

` + strings.TrimRight(b.String(), "\n") + `

Tolerances are half-widths as marked on the glass; the defaults are class A.
Flags that a kind does not use are refused. In permanganate-oxalate the
permanganate is in the burette: --sample made up to --made-up says that it was
diluted before, and the strength is that of the undiluted solution.`,
		Example: `  dosetone assay permanganate-oxalate --titre 24.10,24.16,24.08 --oxalate 0.2000,0.2004,0.1999
  dosetone assay permanganate-oxalate --titre 24.10,24.16,24.08 --oxalate 0.2000 --sample 10 --made-up 60
  dosetone assay carrier --portion 10.00 --made-up 250 --oxalate 0.1000 --titre 29.4,29.6,29.4
  dosetone assay chlorine-iodometry --sample 5 --made-up 100 --aliquot 10 --thiosulfate 0.1 --titre 17.6,17.7,17.6 --density 1.2
  dosetone assay ozone-iodometry --gas 1.00 --gas-temp 22 --thiosulfate 0.1 --titre 22.4,22.5,22.4
  dosetone assay uptake --dry 5.00,5.00,5.00 --drained 7.05,7.15,7.10
  dosetone assay decay --ages 0,7 --strengths 125,118 --errors 1,1 --use-at 12`,
		Args: cobra.ExactArgs(1),
		RunE: e.work(func(cmd *cobra.Command, args []string) error { return e.assay(cmd, args[0], f) }),
	}
	f.register(cmd)
	return cmd
}

func (f *assayFlags) register(cmd *cobra.Command) {
	s := cmd.Flags()
	s.Var(&f.titres, "titre", "burette readings in mL, one per replicate")
	s.Var(&f.blank, "blank", "titre of the blank in mL")
	s.Var(&f.oxalate, "oxalate", "weighed sodium oxalate in g, one per titre or one for all")
	s.Var(&f.oxalatePurity, "oxalate-purity", "its purity in %; default 100")
	s.Var(&f.oxalateMolarity, "oxalate-molarity", "oxalate solution in mol/L, instead of --oxalate")
	s.Var(&f.oxalateML, "oxalate-volume", "mL of it taken")
	s.Var(&f.sample, "sample", "liquid taken in mL")
	s.Var(&f.madeUp, "made-up", "volume in mL to which it, or the leachate, was made up")
	s.Var(&f.aliquot, "aliquot", "mL of that titrated")
	s.Var(&f.portion, "portion", "weighed carrier or powder in g")
	s.Var(&f.thiosulfate, "thiosulfate", "titrant in mol/L")
	s.Var(&f.permanganate, "permanganate", "titrant in mol/L (normality divided by 5)")
	s.Var(&f.gas, "gas", "feed gas that went through the bottles, in L as metered")
	s.Var(&f.gasTemp, "gas-temp", "°C of it at the meter; default 0, for a meter that reads the normal state")
	s.Var(&f.gasPressure, "gas-pressure", "its absolute pressure there in kPa; default 101.325")
	s.Var(&f.gasTolerance, "gas-tolerance", "± % of the meter; default 2")
	s.Var(&f.density, "density", "density of the liquid in kg/L, to give % by weight too")
	s.Var(&f.dry, "dry", "stones dry in kg, one per portion")
	s.Var(&f.drained, "drained", "the same portions drained in kg")
	s.Var(&f.ages, "ages", "ages of the store in days, one per assay")
	s.Var(&f.strengths, "strengths", "strengths found, in one unit")
	s.Var(&f.errors, "errors", "their standard uncertainties")
	s.Var(&f.useAt, "use-at", "age in days at which it will be used")
	s.Var(&f.burette, "burette-tolerance", "± mL; default 0.05")
	s.Var(&f.pipette, "pipette-tolerance", "± mL; default 0.02")
	s.Var(&f.flask, "flask-tolerance", "± mL; default 0.1")
	s.Var(&f.balance, "balance-tolerance", "± g; default 0.001")
	s.Var(&f.tolerance, "titrant-tolerance", "± % of the titrant; default 0.3")
}

// assayResult is what one assay says; other programs may rely on its keys.
type assayResult struct {
	Kind      string      `json:"kind"`
	Quantity  string      `json:"quantity"`
	Value     float64     `json:"value"`
	Unit      string      `json:"unit"`
	SE        *float64    `json:"se"`
	Interval  *[2]float64 `json:"interval"`
	Level     float64     `json:"interval_level"`
	DF        *float64    `json:"df"`
	Sources   []partJSON  `json:"sources"`
	Also      []alsoJSON  `json:"also"`
	Use       string      `json:"use"`
	Extrapol  bool        `json:"extrapolated"`
	Warnings  []string    `json:"warnings"`
	Procedure string      `json:"procedure"`
	Deference string      `json:"deference"`
}

type partJSON struct {
	Source  string  `json:"source"`
	Percent float64 `json:"percent"`
}

type alsoJSON struct {
	Quantity string  `json:"quantity"`
	Value    float64 `json:"value"`
	Unit     string  `json:"unit"`
}

// finite refuses a result with what is no number, such as a strength per weight
// where the density is next to nothing.
func (r *assayResult) finite() error {
	numbers := []alsoJSON{{r.Quantity, r.Value, r.Unit}}
	if r.Interval != nil {
		numbers = append(numbers, alsoJSON{r.Quantity, r.Interval[0], r.Unit}, alsoJSON{r.Quantity, r.Interval[1], r.Unit})
	}
	for _, n := range append(numbers, r.Also...) {
		if math.IsNaN(n.Value) || math.IsInf(n.Value, 0) {
			return fmt.Errorf("%s comes out as %g %s: check the units of what was given", n.Quantity, n.Value, n.Unit)
		}
	}
	return nil
}

func (r *assayResult) also(quantity string, value float64, unit string) {
	r.Also = append(r.Also, alsoJSON{quantity, value, unit})
}

func (e *env) assay(cmd *cobra.Command, name string, f *assayFlags) error {
	var names []string
	for _, k := range assayKinds() {
		names = append(names, k.name)
		if k.name != strings.ToLower(name) {
			continue
		}
		for _, need := range k.needs {
			if !given(cmd, need) {
				return usage("assay %s needs %s", k.name, flagWords([]string{need}))
			}
		}
		if err := k.refuseUnused(cmd); err != nil {
			return err
		}
		if f.density.set && !(f.density.value > 0) {
			return usage("--density %g: want kg/L above 0", f.density.value)
		}
		if err := refuseFraction("oxalate-purity", f.oxalatePurity); err != nil {
			return err
		}
		t, err := f.tolerances()
		if err != nil {
			return err
		}
		r, err := k.run(f, t)
		if err != nil {
			return err
		}
		if err := r.finite(); err != nil {
			return err
		}
		r.Kind, r.Level, r.Procedure, r.Deference = k.name, intervalLevel, k.procedure, discharge.Deference
		r.Warnings = append([]string{}, r.Warnings...)
		r.Sources, r.Also = append([]partJSON{}, r.Sources...), append([]alsoJSON{}, r.Also...)
		e.warnEach(r.Warnings)
		return e.showAssay(k, r)
	}
	return usage("assay %q is not known; kinds are %s", name, strings.Join(names, ", "))
}

// given reports whether a flag, or one of two ways, was used.
func given(cmd *cobra.Command, need string) bool {
	for way := range strings.SplitSeq(need, " or ") {
		all := true
		for name := range strings.SplitSeq(way, " with ") {
			all = all && cmd.Flags().Changed(name)
		}
		if all {
			return true
		}
	}
	return false
}
