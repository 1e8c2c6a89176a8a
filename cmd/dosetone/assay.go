package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

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
	run        func(f *assayFlags) (assayResult, error)
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

func milliliters(v float64) chem.Volume { return chem.Volume(v) * chem.Milliliter }

func (f *assayFlags) replicates() chem.Titres {
	t := chem.Titres{Blank: milliliters(f.blank.value)}
	for _, v := range f.titres {
		t.Used = append(t.Used, milliliters(v))
	}
	return t
}

func (f *assayFlags) tolerances() (*chem.Tolerances, error) {
	t := chem.DefaultTolerances()
	for _, n := range []number{f.burette, f.pipette, f.flask, f.balance, f.tolerance} {
		if n.value < 0 {
			return nil, usage("tolerances must not be negative: %g", n.value)
		}
	}
	set := func(n number, to func(float64)) {
		if n.set {
			to(n.value)
		}
	}
	set(f.burette, func(v float64) { t.Burette = milliliters(v) })
	set(f.pipette, func(v float64) { t.Pipette = milliliters(v) })
	set(f.flask, func(v float64) { t.Flask = milliliters(v) })
	set(f.balance, func(v float64) { t.Balance = chem.Mass(v) })
	set(f.tolerance, func(v float64) { t.Titrant = v / 100 })
	return &t, nil
}

func (f *assayFlags) standard() (chem.OxalateStandard, error) {
	if len(f.oxalate) > 0 && (f.oxalateMolarity.set || f.oxalateML.set) {
		return chem.OxalateStandard{}, usage("--oxalate is weighed, --oxalate-molarity with --oxalate-volume a solution: give one of the two")
	}
	if len(f.oxalate) == 0 && f.oxalatePurity.set {
		return chem.OxalateStandard{}, usage("--oxalate-purity is of weighed --oxalate; of a solution --oxalate-molarity says all")
	}
	o := chem.OxalateStandard{Purity: fraction(f.oxalatePurity), Solution: chem.Molarity(f.oxalateMolarity.value), Aliquot: milliliters(f.oxalateML.value)}
	for _, v := range f.oxalate {
		o.Portions = append(o.Portions, chem.Mass(v))
	}
	return o, nil
}

func (f *assayFlags) diluted() chem.Sample {
	return chem.Sample{Taken: milliliters(f.sample.value), MadeUp: milliliters(f.madeUp.value), Aliquot: milliliters(f.aliquot.value)}
}

// found fills the result from an estimate, in the unit that scale makes of it.
func found[T ~float64](quantity, unit string, scale float64, e chem.Estimate[T]) assayResult {
	x := chem.Scale[T](e, scale)
	se, df := float64(x.SE), x.DF
	r := assayResult{Quantity: quantity, Value: float64(x.Value), Unit: unit, SE: &se, Interval: &[2]float64{float64(x.Lo), float64(x.Hi)}, DF: &df, Warnings: x.Warnings}
	for _, p := range x.Parts {
		r.Sources = append(r.Sources, partJSON(p))
	}
	return r
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

func runPermanganate(f *assayFlags) (assayResult, error) {
	if f.sample.set != f.madeUp.set {
		return assayResult{}, usage("--sample and --made-up belong together: mL of the solution taken, and mL to which it was made up before it went into the burette; leave both out if it was not diluted")
	}
	t, err := f.tolerances()
	if err != nil {
		return assayResult{}, err
	}
	o, err := f.standard()
	if err != nil {
		return assayResult{}, err
	}
	e, err := chem.PermanganateByOxalate(o, f.replicates(), t)
	if err != nil {
		return assayResult{}, err
	}
	quantity := "potassium permanganate in the solution"
	if f.sample.set {
		quantity += ", before dilution"
		if e, err = chem.BeforeDilution(e, milliliters(f.sample.value), milliliters(f.madeUp.value), t); err != nil {
			return assayResult{}, err
		}
	}
	r := found(quantity, "g/L", 1, e)
	m, err := chem.MolarMassOf("KMnO4")
	if err != nil {
		return assayResult{}, err
	}
	r.also("molarity", float64(e.Value.Molarity(m)), "mol/L")
	r.also("normality in acid (5 electrons)", 5*float64(e.Value.Molarity(m)), "mol/L")
	r.Use = "strength_gpl of the trials; charge --soak-left-strength"
	return r, nil
}

func runCarrier(f *assayFlags) (assayResult, error) {
	t, err := f.tolerances()
	if err != nil {
		return assayResult{}, err
	}
	o, err := f.standard()
	if err != nil {
		return assayResult{}, err
	}
	e, err := chem.CarrierByOxalate(chem.Carrier{Portion: chem.Mass(f.portion.value), Leached: milliliters(f.madeUp.value)}, o, f.replicates(), t)
	if err != nil {
		return assayResult{}, err
	}
	r := found("potassium permanganate on the carrier", "%", 100, e)
	r.Use = "strength_pct of the trials; charge --carrier-strength"
	return r, nil
}

// wholeDilution names the flag that a dilution lacks.
func (f *assayFlags) wholeDilution() error {
	missing := "--aliquot"
	if f.aliquot.set {
		missing = "--made-up"
	}
	if f.madeUp.set != f.aliquot.set {
		return usage("%s is missing: --made-up is what the sample was made up to and --aliquot what of it was titrated, both in mL; leave both out if all of --sample was titrated", missing)
	}
	return nil
}

func runChlorine(f *assayFlags) (assayResult, error) {
	if err := f.wholeDilution(); err != nil {
		return assayResult{}, err
	}
	t, err := f.tolerances()
	if err != nil {
		return assayResult{}, err
	}
	e, err := chem.ChlorineByThiosulfate(f.diluted(), chem.Molarity(f.thiosulfate.value), f.replicates(), t)
	if err != nil {
		return assayResult{}, err
	}
	r := found("available chlorine", "g/L", 1, e)
	r.also("trade % (g per 100 mL)", e.Value.TradePercent(), "%")
	f.byWeight(&r, "available chlorine by weight")
	r.Use = "charge --stock-strength"
	return r, nil
}

// byWeight adds the mass fraction when the density is known.
func (f *assayFlags) byWeight(r *assayResult, quantity string) {
	if f.density.value > 0 {
		r.also(quantity, chem.Concentration(r.Value).MassFraction(f.density.value).Percent(), "%")
	}
}

func runPowder(f *assayFlags) (assayResult, error) {
	t, err := f.tolerances()
	if err != nil {
		return assayResult{}, err
	}
	e, err := chem.SolidChlorineByThiosulfate(chem.SolidChlorine{Portion: chem.Mass(f.portion.value), MadeUp: milliliters(f.madeUp.value), Aliquot: milliliters(f.aliquot.value)},
		chem.Molarity(f.thiosulfate.value), f.replicates(), t)
	if err != nil {
		return assayResult{}, err
	}
	r := found("available chlorine of the powder", "%", 100, e)
	r.Use = "charge --powder-chlorine"
	return r, nil
}

func runPeroxide(f *assayFlags) (assayResult, error) {
	if err := f.wholeDilution(); err != nil {
		return assayResult{}, err
	}
	t, err := f.tolerances()
	if err != nil {
		return assayResult{}, err
	}
	e, err := chem.PeroxideByPermanganate(f.diluted(), chem.Molarity(f.permanganate.value), f.replicates(), t)
	if err != nil {
		return assayResult{}, err
	}
	r := found("hydrogen peroxide", "g/L", 1, e)
	f.byWeight(&r, "hydrogen peroxide by weight")
	r.Use = "the % by weight (give --density) as charge --neutralizer-purity"
	return r, nil
}

func runUptake(f *assayFlags) (assayResult, error) {
	t := &chem.Tolerances{Balance: chem.Gram}
	if f.balance.set {
		t.Balance = chem.Mass(f.balance.value)
	}
	kg := func(l numbers) []chem.Mass {
		var out []chem.Mass
		for _, v := range l {
			out = append(out, chem.Mass(v)*chem.Kilogram)
		}
		return out
	}
	e, err := chem.Uptake(kg(f.dry), kg(f.drained), cmp.Or(f.density.value, 1), t)
	if err != nil {
		return assayResult{}, err
	}
	r := found("liquid held by drained stones", "L/kg", 1, e)
	r.Use = "uptake_lpkg of the trials; charge --uptake"
	return r, nil
}

func runDecay(f *assayFlags) (assayResult, error) {
	if len(f.ages) != len(f.strengths) || len(f.errors) != 0 && len(f.errors) != len(f.ages) {
		return assayResult{}, usage("--ages %d, --strengths %d, --errors %d: give one of each per assay (errors may be left out)", len(f.ages), len(f.strengths), len(f.errors))
	}
	duration := func(days float64) (time.Duration, error) {
		if days < 0 || days > 1e4 {
			return 0, usage("an age of %g days: want 0 to 10000", days)
		}
		return time.Duration(days * 24 * float64(time.Hour)), nil
	}
	var list []chem.Assayed
	for i := range f.ages {
		a, err := duration(f.ages[i])
		if err != nil {
			return assayResult{}, err
		}
		x := chem.Assayed{Age: a, Strength: f.strengths[i]}
		if len(f.errors) > 0 {
			x.SE = f.errors[i]
		}
		list = append(list, x)
	}
	d, err := chem.FitDecay(list)
	if err != nil {
		return assayResult{}, err
	}
	at, err := duration(f.useAt.value)
	if err != nil {
		return assayResult{}, err
	}
	u := d.At(at)
	if !(u.Value > 0) || math.IsInf(u.Hi, 0) {
		return assayResult{}, fmt.Errorf("%w: the fit has no positive strength at %g days", chem.ErrNoDecay, f.useAt.value)
	}
	r := assayResult{Quantity: fmt.Sprintf("strength at %g days", f.useAt.value), Value: u.Value, Unit: "as given", Interval: &[2]float64{u.Lo, u.Hi}, Extrapol: u.Extrapolated,
		Warnings: d.Warnings, Use: "charge --stock-strength, if in g/L"}
	if !u.IntervalKnown {
		r.Warnings = append(r.Warnings, "two assays without --errors: the range covers only the choice of the order, not the error of the titrations")
	}
	if u.Extrapolated {
		r.Warnings = append(r.Warnings, "the time of use lies far beyond the last assay: assay again before use")
	}
	for _, x := range d.Fits {
		r.also(fmt.Sprintf("order %d: strength then", x.Order), x.At(at), "as given")
		r.also(fmt.Sprintf("order %d: rate", x.Order), x.Rate, map[chem.Order]string{1: "per day", 2: "per day and unit"}[x.Order])
		if h := x.HalfLife(); h > 0 {
			r.also(fmt.Sprintf("order %d: half of it is lost in", x.Order), h.Hours()/24, "days")
		}
	}
	return r, nil
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
		r, err := k.run(f)
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
