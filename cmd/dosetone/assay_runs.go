package main

import (
	"cmp"
	"fmt"
	"math"
	"time"

	"example.com/dosetone/discharge/chem"
)

// How each kind of assay works out its result.

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

func runPermanganate(f *assayFlags, t *chem.Tolerances) (assayResult, error) {
	if f.sample.set != f.madeUp.set {
		return assayResult{}, usage("--sample and --made-up belong together: mL of the solution taken, and mL to which it was made up before it went into the burette; leave both out if it was not diluted")
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

func runCarrier(f *assayFlags, t *chem.Tolerances) (assayResult, error) {
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

func runChlorine(f *assayFlags, t *chem.Tolerances) (assayResult, error) {
	if err := f.wholeDilution(); err != nil {
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

func runOzone(f *assayFlags, t *chem.Tolerances) (assayResult, error) {
	e, err := chem.OzoneByThiosulfate(chem.GasSample{Volume: chem.Volume(f.gas.value), Temp: chem.Celsius(f.gasTemp.value), Pressure: f.gasPressure.value, Meter: f.gasTolerance.value / 100},
		chem.Molarity(f.thiosulfate.value), f.replicates(), t)
	if err != nil {
		return assayResult{}, err
	}
	r := found("ozone in the feed gas", "g/Nm³", 1000, e)
	r.Use = "strength_gnm3 of the trials; charge --strength"
	return r, nil
}

// byWeight adds the mass fraction when the density is known.
func (f *assayFlags) byWeight(r *assayResult, quantity string) {
	if f.density.value > 0 {
		r.also(quantity, chem.Concentration(r.Value).MassFraction(f.density.value).Percent(), "%")
	}
}

func runPowder(f *assayFlags, t *chem.Tolerances) (assayResult, error) {
	e, err := chem.SolidChlorineByThiosulfate(chem.SolidChlorine{Portion: chem.Mass(f.portion.value), MadeUp: milliliters(f.madeUp.value), Aliquot: milliliters(f.aliquot.value)},
		chem.Molarity(f.thiosulfate.value), f.replicates(), t)
	if err != nil {
		return assayResult{}, err
	}
	r := found("available chlorine of the powder", "%", 100, e)
	r.Use = "charge --powder-chlorine"
	return r, nil
}

func runPeroxide(f *assayFlags, t *chem.Tolerances) (assayResult, error) {
	if err := f.wholeDilution(); err != nil {
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

func runUptake(f *assayFlags, t *chem.Tolerances) (assayResult, error) {
	if !f.balance.set {
		t.Balance = chem.Gram // stones are weighed by the kilogram
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

func runDecay(f *assayFlags, _ *chem.Tolerances) (assayResult, error) {
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
