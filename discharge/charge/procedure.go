package charge

import (
	"fmt"
	"strconv"
	"strings"

	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/chem"
)

// Step is one step of the order of work. Times, temperatures and baths that do
// not follow from the settings are chem.CommonPractice.
type Step struct {
	Do      string
	Min     [2]float64 // minutes; zeros where the step has no set time
	TempC   [2]float64 // zeros where it has none
	Bath    chem.Volume
	Caution string
}

func at(v float64) [2]float64 { return [2]float64{v, v} }

// procedure writes the order of work for the process.
func (m *maker) procedure() {
	m.End = m.end()
	m.prepare()
	switch m.form {
	case soaked, charged:
		m.tumble()
	case sprayed:
		m.spray()
	case bath, product:
		m.runBath()
	case gas:
		m.runGas()
	}
	m.undo()
	m.finish()
}

func (m *maker) step(s Step) { m.Steps = append(m.Steps, s) }

// wetBath is a bath for all garments at the ratio of the wet steps.
func (m *maker) wetBath() chem.Volume { return m.bathRatio().Of(m.Sheet.Garments) }

func (m *maker) prepare() {
	switch {
	case m.Load.SecondPass:
		m.step(Step{Do: "Take only a lot whose verdict advises a second pass, without a cast on it and free of oxidizer; wash softener and brightener out, and rinse: a few garments first, then the rest",
			Bath: m.wetBath()})
	case !m.Wet.Dry:
		m.step(Step{Do: "Desize with enzyme and wetting agent, then rinse: size left in the cloth eats oxidizer and leaves streaks", Min: [2]float64{15, 20}, TempC: [2]float64{50, 60}, Bath: m.wetBath()})
		m.step(Step{Do: "Rinse until clear: no peroxide, softener or size may be left", Min: [2]float64{3, 5}, TempC: at(30), Bath: m.wetBath()})
		m.step(Step{Do: "Abrade as the style asks (stones, enzyme, hand work): on cloth that was not abraded the discharge looks flat"})
	}
	if wet, ok := m.moisture(); ok && m.form != bath && m.form != product {
		after := m.Sheet.Garments + wet.Of(m.Sheet.Garments)
		if wet == 0 {
			m.step(Step{Do: fmt.Sprintf("Dry the garments; all together they weigh %v", after)})
		} else {
			m.step(Step{Do: fmt.Sprintf("Extract, or dry, to %s moisture: all garments together then weigh %v; open them out so that no fold stays wetter", wet, after)})
		}
	}
}

// tumbleTime is the set time.
func (m *maker) tumbleTime() [2]float64 { return at(m.Load.Settings["time_min"]) }

// end is what ends the time that the oxidizer works.
func (m *maker) end() string {
	switch m.form {
	case sprayed:
		return "End of dwell"
	case bath, product:
		return "Drain"
	case gas:
		return "Ozone off"
	}
	return "Unload"
}

// after adds to what is done at the end of the set time when that is.
func (m *maker) after(do string) string {
	t, ok := m.Load.Settings["time_min"]
	if !ok {
		return do
	}
	do += fmt.Sprintf(" after %.4g min", t)
	if m.Load.SecondPass {
		return do + " at the latest (a second pass: its interval is the one that the verdict states; this sheet has no window)"
	}
	if m.Window != ([2]float64{}) {
		do += fmt.Sprintf(" (between %.1f and %.1f min %s)", m.Window[0], m.Window[1], m.WindowNote)
	}
	return do
}

// pause is where a second pass stops to look, as every correction asks.
func (m *maker) pause() {
	t, ok := m.Load.Settings["time_min"]
	if !m.Load.SecondPass || !ok {
		return
	}
	do := "stop and take out a panel"
	if m.form == gas {
		do = "turn the ozone off, purge until the monitor reads the drum free of ozone, and take out a panel"
	}
	do = fmt.Sprintf("At %.2g min, two thirds of the time, %s; read it, with the oxidizer undone, rinsed and dry, before going on: what is taken too far cannot be put back", 2*t/3, do)
	if m.form == soaked || m.form == charged {
		do += "; take the garments off the " + m.Process.Carrier + " meanwhile, or they get hot spots"
	}
	m.step(Step{Do: do})
}

func (m *maker) drumTemp() [2]float64 {
	if t, ok := m.Load.Settings["temp_c"]; ok {
		return at(t)
	}
	return [2]float64{}
}

// tried is what the model's trials had of a factor that the settings do not name.
func (m *maker) tried(column string) (discharge.FactorRange, bool) {
	if m.Model == nil {
		return discharge.FactorRange{}, false
	}
	for _, f := range m.Model.Factors() {
		if f.Column == column {
			return f, true
		}
	}
	return discharge.FactorRange{}, false
}

func (m *maker) speed() string {
	if r, ok := m.Load.Settings["rpm"]; ok {
		return fmt.Sprintf(" at %.3g rpm", r)
	}
	return ""
}

func (m *maker) tumble() {
	carrier := m.Process.Carrier
	dust := "Exhaust on, dust mask: carrier and manganese dust harm the lungs."
	if m.form == soaked {
		m.step(Step{Do: fmt.Sprintf("Mix the soak as listed: acid, if any, into the water first, then the permanganate dissolved on its own; stir until no crystal is left (%v)", chem.Concentration(m.Load.Settings["strength_gpl"])),
			TempC:   at(float64(m.solutionTemp())),
			Caution: "Gloves, goggles, apron. Never acid onto crystals; no oil, rag, glycol or reducing agent near the tank."})
		m.step(Step{Do: "Soak the stones until no more bubbles rise (up to 2 h for large grades)", Min: [2]float64{15, 60}})
		m.step(Step{Do: "Drain, and weigh: the held liquid must be as listed, or the dose is another", Min: [2]float64{10, 30}, Caution: "Gloves, goggles, apron: the liquid burns and stains. Use the stones within the shift, covered, out of light."})
	} else {
		if m.Store.Carrier == nil && m.oxidizer == "permanganate" {
			m.step(Step{Do: "Charge the " + carrier + ", unless ready ones are weighed: the permanganate dissolved on its own, no crystal left, worked in evenly",
				Caution: "Gloves, goggles, apron, dust mask. No crystals onto dry carrier; nothing organic in it, on it or in the mixer: no oil, glycerol, rag or wood."})
		}
		m.step(Step{Do: "Weigh the " + carrier + " as listed and mix them evenly; keep them moist and covered until they are loaded",
			Caution: "Dry charged carrier can set rags, lint and oil on fire; no metal scoop that held bisulfite."})
	}
	m.step(Step{Do: "Line the drum: run the " + carrier + " alone so that the oxidizer spreads over the wall", Min: [2]float64{1, 3}, Caution: dust})
	load := "Load the garments, opened out and of even moisture"
	if m.Aids > 0 {
		load += ", with the tumbling aids"
	}
	m.step(Step{Do: load + ", all within a minute: what goes in first gets more"})
	m.step(Step{Do: "Tumble" + m.speed(), Min: m.tumbleTime(), TempC: m.drumTemp(), Caution: dust})
	m.pause()
	m.step(Step{Do: m.after("Unload at once") + ", shake the " + carrier + " off while dry, pockets too: garments left lying on them get hot spots; move to a clean washer",
		Caution: "Gloves: what sticks to the garments is still an oxidizer."})
	m.step(Step{Do: "Rinse the dust off, cold, until the water runs without grit", Min: [2]float64{2, 3}, TempC: at(20), Bath: m.wetBath()})
}

func (m *maker) spray() {
	m.step(Step{Do: "Mix the spray as listed: acid, if any, into the water first, then the permanganate dissolved on its own; strain it", TempC: at(float64(m.solutionTemp())),
		Caution: "Gloves, goggles, apron. Never acid onto crystals."})
	m.step(Step{Do: "Spray or brush with one gun distance and one number of strokes; weigh a panel before and after for the add-on",
		Caution: "Exhausted booth, respirator, tight goggles, gloves, eye wash: the mist burns lungs, eyes and skin."})
	m.step(Step{Do: "Let every piece dwell the same time: drying alone does not stop the reaction", Min: m.tumbleTime(), TempC: m.drumTemp()})
	m.pause()
	m.step(Step{Do: m.after("End the dwell") + ": straight into the neutralizing bath"})
}

func (m *maker) runBath() {
	total := chem.LiquorRatio(m.Load.Settings["liquor_ratio"]).Of(m.Sheet.Garments)
	ph, temp := "", m.drumTemp()
	if v, ok := m.Load.Settings["ph"]; ok {
		ph = fmt.Sprintf(", pH %.3g", v)
	} else if r, ok := m.tried("ph"); ok {
		ph = fmt.Sprintf(", pH %.3g-%.3g as the trials had", r.Lo, r.Hi)
	}
	if r, ok := m.tried("temp_c"); ok && temp == ([2]float64{}) {
		temp = [2]float64{r.Lo, r.Hi}
	}
	asMaker := " as the maker's sheet says"
	if ph != "" && temp != ([2]float64{}) {
		asMaker = ""
	}
	if m.oxidizer == "hypochlorite" {
		if ph == "" {
			ph = ", pH 9-11 with soda ash"
		}
		m.step(Step{Do: "Fill with the water listed, load the garments, set the temperature" + ph, TempC: temp, Bath: total,
			Caution: "Below pH 8.5 cotton is damaged fastest; in acid chlorine gas escapes. No acid, sour or ammonia on this line."})
		if m.Store.Chlorine > 0 {
			m.step(Step{Do: "Stir the powder into cold water, let it settle, and use the clear liquor: what is not dissolved burns holes",
				Caution: "Powder into water, never water onto powder; a dry, clean scoop; no dust; away from acid, oil and rags."})
		}
		m.step(Step{Do: "Dose the hypochlorite, diluted, into the running bath within a minute", Caution: "Gloves, goggles, apron; ventilate."})
		m.step(Step{Do: "Run" + m.speed() + "; sample every minute or two towards the end: the time in which the shade is right is short", Min: m.tumbleTime(), TempC: temp})
		m.pause()
		m.step(Step{Do: m.after("Drain at once") + "; cold rinse", Min: [2]float64{2, 3}, TempC: at(20), Bath: m.wetBath()})
		return
	}
	m.step(Step{Do: "Fill with the water listed, load the garments, set the temperature" + ph + asMaker, TempC: temp, Bath: total})
	m.step(Step{Do: "Dose the product" + doseNote(m.oxidizer), Caution: "No dust, no spray: see the data sheet of the product."})
	m.step(Step{Do: "Run" + m.speed(), Min: m.tumbleTime(), TempC: temp})
	m.pause()
	m.step(Step{Do: m.after("Drain at once")})
	if m.oxidizer == "laccase" {
		m.step(Step{Do: "Stop the enzyme with a hot alkaline rinse (soda ash); detergent carries off loose indigo", Min: [2]float64{5, 10}, TempC: [2]float64{70, 80}, Bath: m.wetBath()})
	}
}

func doseNote(oxidizer string) string {
	if oxidizer == "laccase" {
		return ", enzyme and mediator, when pH and temperature hold"
	}
	return ""
}

func (m *maker) runGas() {
	m.step(Step{Do: "Load the garments; close and check the door interlock, the destruct unit and the room alarm",
		Caution: "Do not rely on the nose: it gets used to ozone."})
	m.step(Step{Do: fmt.Sprintf("Ozone on: tumble%s in feed gas of %.4g g/Nm³", m.speed(), m.Load.Settings["strength_gnm3"]), Min: m.tumbleTime(), TempC: m.drumTemp(),
		Caution: "Oxygen-rich gas feeds fires: no oil or grease on fittings."})
	m.pause()
	m.step(Step{Do: m.after("Turn the ozone off") + "; the time counts from ozone on to ozone off, and the door stays shut"})
	m.step(Step{Do: "Purge until the monitor reads the drum free of ozone, then open and unload",
		Caution: "Only the reading opens the door, never the clock: no time on this sheet is one to open at."})
	m.step(Step{Do: "Rinse with detergent", Min: [2]float64{5, 10}, TempC: [2]float64{40, 50}, Bath: m.wetBath()})
}

// undo is neutralizing or antichlor, its test and its rinses.
func (m *maker) undo() {
	n := m.Neutralizing
	if n == nil {
		return
	}
	agent := n.Demand.Agent.Name
	b := m.wetBath()
	if n.Antichlor {
		do := "Antichlor in a fresh bath: soda ash first, then the " + agent + ", diluted, slowly"
		if n.SodaAsh == 0 {
			do = "Antichlor in a fresh, still alkaline bath with the " + agent + ", diluted, slowly"
		}
		m.step(Step{Do: fmt.Sprintf("%s; pH stays at %g-%g", do, n.Conditions.PH.Lo, n.Conditions.PH.Hi), Min: at(n.Min), TempC: at(n.TempC), Bath: b, Caution: m.gasCaution()})
	} else {
		// Acid comes last where it sets sulfur dioxide free, and first where without it
		// manganese dioxide would break the peroxide down.
		do := "dissolve the " + agent + ", load the garments, close, then diluted acid until it is"
		if n.Demand.Agent.ID == "peroxide" {
			do = "diluted acid first, load the garments, then the " + agent + ", diluted, slowly; keep it"
		}
		m.step(Step{Do: fmt.Sprintf("Neutralize in a fresh bath: %s at pH %g-%g", do, n.Conditions.PH.Lo, n.Conditions.PH.Hi),
			Min: at(n.Min), TempC: at(n.TempC), Bath: b, Caution: m.gasCaution()})
	}
	m.step(Step{Do: "Test for oxidizer left: " + strings.Join(n.Conditions.ResidualTests, "; ") + ". If oxidizer is left, add agent and repeat"})
	for i := range m.rinses() {
		m.step(Step{Do: fmt.Sprintf("Rinse %d of %d", i+1, m.rinses()), Min: [2]float64{2, 3}, TempC: at(30), Bath: b})
	}
}

// threeDigits is a volume as well as a reaction's gas is known.
func threeDigits(v chem.Volume) chem.Volume {
	f, err := strconv.ParseFloat(strconv.FormatFloat(float64(v), 'g', 3, 64), 64)
	if err != nil {
		return v // no number prints as what cannot be read
	}
	return chem.Volume(f)
}

func (m *maker) gasCaution() string {
	n := m.Neutralizing
	var s string
	switch n.Gas {
	case "O2":
		s = fmt.Sprintf("Sets up to %v of oxygen free in all: foam and pressure; vented machine, add slowly.", threeDigits(n.GasAt25))
	case "CO2":
		s = fmt.Sprintf("Sets up to %v of carbon dioxide free in all: vent.", threeDigits(n.GasAt25))
	case "N2O", "N2":
		s = fmt.Sprintf("Sets nitrogen or nitrous oxide free, up to %v in all: vent; keep the solid cool.", threeDigits(n.GasAt25))
	}
	switch n.Demand.Agent.ID {
	case "bisulfite", "metabisulfite", "sulfite":
		s = strings.TrimSpace(s + " Acid sets sulfur dioxide free: exhaust; keep people with asthma away.")
	case "oxalic-acid", "oxalic-acid-anhydrous":
		s = strings.TrimSpace(s + " Oxalic acid harms kidneys and eyes: gloves, goggles, no dust.")
	}
	return s
}

// finish is brightening, softening and drying.
func (m *maker) finish() {
	if !m.Wet.NoFinish {
		m.step(Step{Do: "Top brighten with detergent and optical brightener, then rinse", Min: at(15), TempC: at(82), Bath: m.wetBath(),
			Caution: strings.TrimSpace("Hot bath: scalds. " + m.brightenOnce())})
		m.step(Step{Do: "Rinse", Min: [2]float64{2, 3}, TempC: at(30), Bath: m.wetBath()})
		m.step(Step{Do: "Soften as the maker's sheet says", Min: [2]float64{5, 10}, TempC: [2]float64{35, 40}, Bath: m.wetBath(), Caution: m.sourCaution()})
	}
	m.step(Step{Do: "Extract, dry, condition; judge the shade on dry, conditioned cloth, not wet", TempC: [2]float64{60, 80}})
}

// brightenOnce says what comes before brightening, of the steps that the sheet has.
func (m *maker) brightenOnce() string {
	switch {
	case m.Neutralizing != nil:
		return "Only after the residual test is negative."
	case m.oxidizer == "ozone":
		return "Only after the purge, once the drum has read free of ozone."
	case m.oxidizer == "permanganate" || m.oxidizer == "hypochlorite":
		return "Only once the oxidizer is undone and a test shows that none is left: this sheet has no step for either."
	}
	return ""
}

func (m *maker) sourCaution() string {
	if m.oxidizer == "hypochlorite" {
		return "No acid to set its pH: a sour belongs on another sheet, after the test for chlorine is negative."
	}
	return ""
}
