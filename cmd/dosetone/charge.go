package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/charge"
	"example.com/dosetone/discharge/chem"
)

// chargeFlags are what the weigh sheet needs beside the settings.
type chargeFlags struct {
	factors *factorFlags

	mass, each                        number
	count                             int
	capacity, drum                    numbers
	scaleStep, carrierStep            number
	liquidStep                        number
	purity, powder, carrier           number
	stock                             gramsPerLiter
	soakVolume, soakLeft, soakLeftGPL number
	soakTemp                          string
	acid                              string
	acidGPL                           number
	landing, sprayed, area            number
	aids                              number
	reuse                             int
	neutralizer, neutralAcid          string
	neutralPurity, excess             number
	neutralTemp, neutralTime          number
	remaining                         number
	wetRatio                          number
	rinses                            int
	prepared, noFinish, secondPass    bool
	with                              []string
	prices                            []string
	inlet, co2                        number
	tolerance                         number
	report                            reportFlags
}

func newCharge(e *env, processes []discharge.Process) *cobra.Command {
	f := &chargeFlags{}
	cmd := &cobra.Command{
		Use:     "charge (PROCESS | MODEL | PROCESS.json) --strength ... --time ... (--mass kg | --count N --each kg)",
		GroupID: "floor",
		Short:   "Weigh out a load: what to weigh, in which order, how to undo it, what must not meet",
		Long: `Turns settings into a weigh sheet for one load: carrier, oxidizer, soak or bath,
neutralizer, the order of work with times and temperatures, and the cautions for
the chemicals that are on it. Settings are flags named after the columns without
their unit. With a model the sheet says by how much ΔE00 the rounding to your
scale moves the shade, and how long the time for unloading is.

--second-pass makes the sheet of a second pass with a fresh charge, whose minutes check
works out: the interval is the one of check, and a panel is read at two thirds.

What cannot be run is refused with the reason. Local codes, safety data sheets
and licensed practice come before anything printed here.`,
		Example: `  dosetone charge model.json --strength 6 --ratio 1.3 --time 14 --mass 60 --purity 99 --neutralizer bisulfite --neutralizer-purity 97 --report sheet.html
  dosetone charge model.json --second-pass --strength 6 --ratio 1.3 --time 3.3 --mass 60 --purity 99 --neutralizer bisulfite --neutralizer-purity 97
  dosetone charge permanganate-stone --strength 20 --ratio 1 --time 15 --uptake 0.42 --count 100 --each 0.6 --capacity 40,40 --purity 99 --neutralizer peroxide --neutralizer-purity 35
  dosetone charge hypochlorite-bath --strength 3 --liquor-ratio 10 --time 20 --temp 40 --ph 10.5 --mass 60 --stock-strength 118 --neutralizer metabisulfite --neutralizer-purity 97 --format csv`,
		Args: cobra.ExactArgs(1),
		RunE: e.work(func(_ *cobra.Command, args []string) error { return e.charge(args[0], f) }),
	}
	f.factors = registerFactors(cmd, processes, "", "the load's", true)
	f.register(cmd)
	f.report.register(cmd)
	return cmd
}

func (f *chargeFlags) register(cmd *cobra.Command) {
	s := cmd.Flags()
	f.scaleStep = number{set: true, value: 1}
	f.carrierStep = number{set: true, value: 10}
	f.liquidStep = number{set: true, value: 0.1}
	s.Var(&f.mass, "mass", "dry garments in kg")
	s.IntVar(&f.count, "count", 0, "number of garments")
	s.Var(&f.each, "each", "dry mass of one garment in kg")
	s.Var(&f.capacity, "capacity", "kg of dry garments that each machine holds, such as 60,40")
	s.Var(&f.drum, "drum-limit", "kg that each drum holds in all, wet and with carrier, in the order of --capacity")
	s.Var(&f.scaleStep, "scale-step", "step of the scale for chemicals in g")
	s.Var(&f.carrierStep, "carrier-step", "step of the scale for carrier in g")
	s.Var(&f.liquidStep, "liquid-step", "step of the gauge for liquids in L")
	s.Var(&f.purity, "purity", "purity of the solid oxidizer in %")
	s.Var(&f.stock, "stock-strength", "available chlorine of liquid hypochlorite in g/L, as assayed; below 30 with its unit, such as 25g/L")
	s.Var(&f.powder, "powder-chlorine", "available chlorine of bleaching powder in %, as assayed")
	s.Var(&f.carrier, "carrier-strength", "permanganate on ready pellets or powder in %, as assayed")
	s.Var(&f.soakVolume, "soak-volume", "soak made up to, in L; default: what the stones hold and 1 L/kg")
	s.StringVar(&f.soakTemp, "soak-temp", "", "temperature of soak or spray mix, such as 15 or 59F; default 20 °C")
	s.Var(&f.soakLeft, "soak-left", "L of an earlier soak in the tank")
	s.Var(&f.soakLeftGPL, "soak-left-strength", "its strength in g/L, as assayed")
	s.StringVar(&f.acid, "acid", "", "acid in the soak or spray: phosphoric-acid or acetic-acid")
	s.Var(&f.acidGPL, "acid-strength", "pure acid in the soak or spray in g/L")
	s.Var(&f.landing, "landing", "part of the spray that lands on the cloth in %")
	s.Var(&f.sprayed, "sprayed", "part of the cloth that is sprayed in %")
	s.Var(&f.area, "area-each", "sprayed m² per garment, instead of --fabric")
	s.Var(&f.aids, "aids", "tumbling aids in kg per kg of dry garment")
	s.IntVar(&f.reuse, "reuse", 0, "times that this carrier was used before")
	s.StringVar(&f.neutralizer, "neutralizer", "", "agent: "+agentNames())
	s.Var(&f.neutralPurity, "neutralizer-purity", "active agent in the product in %")
	s.Var(&f.excess, "excess", "factor on the balanced equation; default 1.2")
	s.StringVar(&f.neutralAcid, "neutralizer-acid", "", "acid of the neutralizing bath; default acetic-acid for permanganate")
	s.Var(&f.neutralTemp, "neutralizer-temp", "°C of the neutralizing bath")
	s.Var(&f.neutralTime, "neutralizer-time", "minutes in the neutralizing bath")
	s.Var(&f.remaining, "remaining", "part of the oxidizer charged that reaches the neutralizing bath in %, as titrated; default all")
	s.Var(&f.wetRatio, "wet-ratio", "L/kg of the baths before and after; default 8")
	s.IntVar(&f.rinses, "rinses", 0, "rinses after neutralizing; default 2")
	s.BoolVar(&f.prepared, "prepared", false, "garments come desized and abraded")
	s.BoolVar(&f.secondPass, "second-pass", false, "the garments were discharged before, and check says how long they go on: no window, no word on the shade")
	s.BoolVar(&f.noFinish, "no-finish", false, "no brightening and softening on the sheet")
	s.StringSliceVar(&f.with, "with", nil, "other chemicals in use at the same time, checked against those of the sheet")
	s.StringSliceVar(&f.prices, "price", nil, "prices: per kg by chemical or carrier (liquid hypochlorite per L), water per m³, energy per kWh, such as permanganate=3.2,water=1.5")
	s.Var(&f.inlet, "inlet-temp", "°C of the water supply; default 15")
	s.Var(&f.co2, "co2-per-kwh", "kg of CO2 per kWh of heat")
	s.Var(&f.tolerance, "tolerance", "ΔE00 for the time to unload; default 1.5")
}

func agentNames() string {
	var ids []string
	for _, a := range chem.Agents() {
		ids = append(ids, a.ID)
	}
	return strings.Join(ids, ", ")
}

// chargeSource is a process by its id, or the file of a model or a process.
func (e *env) chargeSource(name string) (discharge.Process, *discharge.Model, error) {
	p, unknown := discharge.LookupProcess(name)
	if unknown == nil {
		return p, nil, nil
	}
	data, err := e.read(name)
	if err != nil {
		var missing *noFile
		if errors.As(err, &missing) {
			return p, nil, usage("%s is neither a file nor a process: %w", name, unknown)
		}
		return p, nil, err
	}
	var probe struct {
		Schema *int `json:"schema"`
	}
	if json.Unmarshal(data, &probe) == nil && probe.Schema == nil {
		p, err = discharge.ReadProcess(shown(name), bytes.NewReader(data))
		return p, nil, err
	}
	m, err := loadModel(name, data)
	if err != nil {
		return p, nil, err
	}
	return m.Process(), m, nil
}

func (e *env) charge(name string, f *chargeFlags) error {
	if err := f.report.check(); err != nil {
		return err
	}
	p, m, err := e.chargeSource(name)
	if err != nil {
		return err
	}
	if err := f.refuseFractions(); err != nil {
		return err
	}
	l := charge.Load{Process: p, Model: m, SecondPass: f.secondPass}
	if err := f.refuseTradePercent(); err != nil {
		return err
	}
	doubts, err := f.fill(&l)
	e.warnEach(doubts)
	if err != nil {
		return err
	}
	if unused := l.Unused(); len(unused) > 0 {
		return usage("%s (%s) has no use for %s; leave it out", p.ID, p.Title, strings.Join(unused, ", "))
	}
	if m != nil && len(l.Machines) > 1 && slices.ContainsFunc(m.Others(), func(o discharge.Other) bool { return o.Machine != "" }) {
		_, machine := m.RanOn()
		doubts = append(doubts, fmt.Sprintf("the model is for machine %s, and on others of its trials the same settings gave another dose: weigh out each by the model for it (fit --machine)", machine))
	}
	s, err := charge.New(l)
	if err != nil {
		return err
	}
	s.Warnings = append(doubts, s.Warnings...)
	e.warnEach(s.Warnings)
	if f.report.wanted() {
		if err := e.writeReport(f.report, chargePage(s, m)); err != nil {
			return err
		}
	}
	return e.showSheet(s)
}

// percent is a fraction from a flag in percent, nil when it was not given.
func percent(n number) *chem.Fraction {
	if !n.set {
		return nil
	}
	f := chem.Fraction(n.value / 100)
	return &f
}

func fraction(n number) chem.Fraction { return chem.Fraction(n.value / 100) }

// refuseFractions refuses fractions in flags in percent: strengths of products, and
// parts of which less than one percent is no practice. Strengths of carriers may be
// that low, and are left alone.
func (f *chargeFlags) refuseFractions() error {
	for _, x := range []struct {
		flag string
		n    number
	}{
		{"purity", f.purity}, {"neutralizer-purity", f.neutralPurity}, {"powder-chlorine", f.powder}, {"landing", f.landing},
	} {
		if err := refuseFraction(x.flag, x.n); err != nil {
			return err
		}
	}
	return nil
}

// refuseTradePercent refuses a stock so weak that its trade percent was rather typed:
// ten times too much of it would be poured. A stock that is so weak is given with its unit.
func (f *chargeFlags) refuseTradePercent() error {
	v := f.stock.value
	if f.stock.unit || !(v > 0 && v < float64(chem.LeastHypochlorite)) {
		return nil
	}
	typed := report.Exact(v)
	return usage("--stock-strength is in g/L: %s g/L is weaker than any hypochlorite that is sold; if %[1]s %% is the trade percent (g per 100 mL), give --stock-strength %s (assay prints both); if the stock did assay %[1]s g/L, type the unit: --stock-strength %[1]sg/L",
		typed, report.Short(float64(chem.FromTradePercent(v)), 6))
}

// fill makes the load of the flags. What is doubtful in them, or taken where they are
// silent, belongs on the sheet.
func (f *chargeFlags) fill(l *charge.Load) (doubts []string, err error) {
	doubt := func(text string) {
		if text != "" {
			doubts = append(doubts, text)
		}
	}
	doubt(fractionDoubt("sprayed", f.sprayed))
	doubt(fractionDoubt("remaining", f.remaining)) // so little may be left on a carrier
	if v := f.factors.values["moisture"]; v != nil {
		doubt(fractionDoubt("moisture", *v))
	}
	if _, ok := l.Process.Factor("moisture_pct"); !ok {
		if v := f.factors.values["moisture"]; v != nil && v.set {
			l.Moisture = percent(*v)
			*v = number{}
		}
	}
	if l.Settings, err = f.factors.settings(l.Process); err != nil {
		return doubts, err
	}
	if l.Model != nil {
		// What never varied in the trials is part of what the model stands for.
		for _, x := range l.Model.Factors() {
			if _, given := l.Settings[x.Column]; x.Fixed && !given {
				l.Settings[x.Column] = x.Lo
			}
		}
		var assumed []string
		l.Settings, assumed = l.Model.FillIn(l.Settings)
		doubts = append(doubts, assumed...)
	}
	if err := farTooStrong(l.Process, l.Model, l.Settings); err != nil {
		return doubts, err
	}
	if err := l.Process.Check(l.Settings); err != nil {
		return doubts, usage("%w; it takes %s", err, flagNames(l.Process, ""))
	}
	if !f.mass.set && (f.count == 0 || !f.each.set) {
		return doubts, usage("no garments: give --mass in kg, or --count and --each in kg")
	}
	if len(f.drum) > 0 && len(f.drum) != len(f.capacity) {
		return doubts, usage("--drum-limit has %d machines, --capacity %d; give one for each", len(f.drum), len(f.capacity))
	}
	kg := func(v float64) chem.Mass { return chem.Mass(v) * chem.Kilogram }
	l.Garments = charge.Garments{Mass: kg(f.mass.value), Count: f.count, Each: kg(f.each.value)}
	for i, c := range f.capacity {
		m := charge.Machine{Name: fmt.Sprintf("machine %d", i+1), Dry: kg(c)}
		if len(f.drum) > 0 {
			m.Drum = kg(f.drum[i])
		}
		if c <= 0 || m.Drum < 0 {
			return doubts, usage("--capacity and --drum-limit: want kg above 0, machine %d has %g", i+1, c)
		}
		l.Machines = append(l.Machines, m)
	}
	l.Scale = charge.Scale{Chemical: chem.Mass(f.scaleStep.value), Carrier: chem.Mass(f.carrierStep.value), Liquid: chem.Volume(f.liquidStep.value)}
	l.Store = charge.Store{Purity: percent(f.purity), Strength: chem.Concentration(f.stock.value), Chlorine: fraction(f.powder), Carrier: percent(f.carrier)}
	l.Soak = charge.Soak{Volume: chem.Volume(f.soakVolume.value), Left: chem.Volume(f.soakLeft.value), LeftStrength: chem.Concentration(f.soakLeftGPL.value),
		Acid: f.acid, AcidStrength: chem.Concentration(f.acidGPL.value)}
	if f.soakTemp != "" {
		t, err := chem.ParseTemperature(f.soakTemp)
		if err != nil {
			return doubts, usage("--soak-temp: %w", err)
		}
		l.Soak.Temp = &t
	}
	l.Spray = charge.Spray{Share: fraction(f.sprayed), Landing: fraction(f.landing), AreaEach: f.area.value}
	l.Aids, l.Reuse, l.Others, l.Tolerance = chem.Ratio(f.aids.value), f.reuse, f.with, f.tolerance.value
	l.Wet = charge.Wet{LiquorRatio: chem.LiquorRatio(f.wetRatio.value), Rinses: f.rinses, Dry: f.prepared, NoFinish: f.noFinish}
	if f.neutralizer != "" {
		n := &charge.Neutralizer{Agent: f.neutralizer, Purity: 1, Excess: f.excess.value, Acid: f.neutralAcid, TempC: f.neutralTemp.value, Min: f.neutralTime.value, Remaining: percent(f.remaining)}
		if f.neutralPurity.set {
			n.Purity = fraction(f.neutralPurity)
		} else {
			doubt("--neutralizer-purity was not given: the agent is taken as 100 %; most products are weaker, peroxide by far")
		}
		l.Neutralizer = n
	}
	return doubts, f.fillPrices(l)
}

func (f *chargeFlags) fillPrices(l *charge.Load) error {
	if len(f.prices) == 0 && !f.co2.set {
		return nil
	}
	p := &charge.Prices{PerKg: map[string]float64{}, CO2PerKWh: f.co2.value}
	if f.inlet.set {
		p.InletC = &f.inlet.value
	}
	for _, text := range f.prices {
		key, value, ok := strings.Cut(text, "=")
		v, err := parseNumber(value)
		if !ok || err != nil {
			return usage("--price %q: want name=number, such as permanganate=3.2", text)
		}
		switch key = strings.TrimSpace(key); key {
		case "water":
			p.WaterPerM3 = v
		case "energy":
			p.EnergyPerKWh = v
		default:
			p.PerKg[key] = v
		}
	}
	l.Prices = p
	return nil
}

// farTooStrong refuses to weigh more than three times the strongest that is usual and that the
// trials ran: a slip of the decimal point, which a warning would not stop.
func farTooStrong(p discharge.Process, m *discharge.Model, s discharge.Settings) error {
	const slip = 3
	f, ok := p.Strength()
	if !ok || !f.Typical.Known() {
		return nil
	}
	most := f.Typical.Hi
	if m != nil {
		if r, ok := trialRange(m)(f); ok {
			most = max(most, r.Hi)
		}
	}
	if v := s[f.Column]; v > slip*most {
		return usage("--strength %g: more than %d times the %g %s that is the most usual here; was %g meant? If it is right, a process file says so by its typical range", v, slip, most, f.Unit, v/10)
	}
	return nil
}
