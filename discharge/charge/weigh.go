package charge

import (
	"fmt"

	"example.com/dosetone/discharge/chem"
)

// weigh fills the items of every batch and notes the oxidizer that each carries.
func (m *maker) weigh() error {
	switch m.form {
	case soaked:
		return m.weighSoaked()
	case charged:
		return m.weighCharged()
	case sprayed:
		return m.weighSprayed()
	case bath:
		return m.weighBath()
	case product:
		return m.weighProduct()
	}
	return m.weighGas()
}

// add appends a rounded line to a batch.
func (b *Batch) add(i Item) { b.Items = append(b.Items, i) }

// carry notes the oxidizer of a batch.
func (m *maker) carry(mass chem.Mass) {
	m.onGarments = append(m.onGarments, mass)
	m.Oxidizer += mass
}

// purity of the solid oxidizer in store.
func (m *maker) purity() chem.Fraction {
	if m.Store.Purity == nil {
		m.warn("purity of the %s was not given: taken as 100 %%; see the certificate of the delivery", m.Process.Oxidizer)
		return 1
	}
	return *m.Store.Purity
}

// purityWords say on the line of the solid oxidizer what was counted on, as every weight
// on the sheet is of the product.
func (m *maker) purityWords() string {
	if m.Store.Purity == nil {
		return "taken as 100 % pure"
	}
	return m.Store.Purity.String() + " pure"
}

// asProduct says how much of an acid to weigh that is listed as pure.
const asProduct = "counted as 100 % acid: of a product of 50 % weigh twice as much"

// dissolves refuses a strength above the solubility at the temperature of the
// solution, and warns near it.
func (m *maker) dissolves(c chem.Concentration) error {
	if m.oxidizer != "permanganate" {
		return nil
	}
	t := m.solutionTemp()
	limit := chem.Solubility(t)
	if c > limit {
		return fmt.Errorf("%w: %v of permanganate at %v, where water holds about %v; warm the solution or lower the strength: crystals burn hot spots", ErrSolubility, c, t, limit)
	}
	if c > 0.8*limit {
		m.warn("%v is close to what water holds at %v (about %v): a colder corner leaves crystals, and crystals burn hot spots", c, t, limit)
	}
	return nil
}

// soakAcid adds the acid of a permanganate solution of volume v.
func (m *maker) soakAcid(part string, v chem.Volume) error {
	if m.Soak.Acid == "" {
		if m.Soak.AcidStrength > 0 {
			return fmt.Errorf("%w: an acid strength without the acid; take phosphoric-acid or acetic-acid", ErrLoad)
		}
		return nil
	}
	acid, err := chem.LookupChemical(m.Soak.Acid)
	if err != nil {
		return err
	}
	if acid.ID != "phosphoric-acid" && acid.ID != "acetic-acid" {
		return fmt.Errorf("%w: %s in a permanganate solution: it is attacked by it or endangers people; take phosphoric-acid or acetic-acid", chem.ErrIncompatible, m.Soak.Acid)
	}
	if m.Soak.AcidStrength <= 0 {
		return fmt.Errorf("%w: %s needs a strength in g/L of pure acid", ErrLoad, m.Soak.Acid)
	}
	exact := m.Soak.AcidStrength.In(v)
	q, err := m.weighed(acid.Name, exact, m.Scale.Chemical, false)
	if err != nil {
		return err
	}
	m.Shared = append(m.Shared, Item{Name: acid.Name + ", as pure", Chemical: acid.ID, Part: part, Take: q, Exact: Quantity{Mass: exact},
		Note: asProduct + "; diluted into the water first, before the permanganate"})
	return nil
}

// addMoisture tells how wet the garments go in; note is what their water does to
// the oxidizer.
func (m *maker) addMoisture(b *Batch, note string) {
	wet, ok := m.moisture()
	if !ok {
		return
	}
	water := wet.Of(b.Garments)
	b.add(Item{Name: waterName, Part: "drum", Take: Quantity{Mass: water}, Exact: Quantity{Mass: water}, Info: true,
		Note: fmt.Sprintf("extract until the load weighs %v; %s", b.Garments+water, note)})
}

func (m *maker) addAids(b *Batch) error {
	if m.Aids == 0 {
		return nil
	}
	exact := m.Aids.Of(b.Garments)
	q, err := m.weighed("tumbling aids", exact, m.Scale.Carrier, false)
	if err != nil {
		return err
	}
	b.add(Item{Name: "tumbling aids", Part: "drum", Take: q, Exact: Quantity{Mass: exact}})
	return nil
}

func (m *maker) reuseNotes(what string) {
	if m.Reuse == 0 {
		return
	}
	m.warn("the %s were used %d times: assay their strength and weigh again before this load; the settings must be what they carry now, not what they were made to", what, m.Reuse)
	if m.Reuse > 3 {
		m.warn("%d reuses are more than the usual 2-3 (%s): size, dust and uptake have changed", m.Reuse, chem.CommonPractice)
	}
}

// weighCharged is powder or pellets.
func (m *maker) weighCharged() error {
	strength := chem.Fraction(m.Load.Settings["strength_pct"] / 100)
	ratio := chem.Ratio(m.Load.Settings["ratio"])
	m.reuseNotes(m.Process.Carrier)
	for i := range m.Batches {
		b := &m.Batches[i]
		exact := ratio.Of(b.Garments)
		q, err := m.weighed(m.Process.Carrier, exact, m.Scale.Carrier, false)
		if err != nil {
			return err
		}
		if err := m.makeCarrier(b, strength, q.Mass, exact); err != nil {
			return err
		}
		active := strength.Of(exact)
		m.carry(active)
		if err := m.addAids(b); err != nil {
			return err
		}
		note := "even moisture makes an even shade"
		if wet, ok := m.moisture(); ok && wet > 0 {
			c := active.Per(chem.Volume(wet.Of(b.Garments) / chem.Kilogram))
			note = fmt.Sprintf("dissolved in it the oxidizer would be at most %v", c)
			if m.oxidizer == "permanganate" && c > chem.Solubility(m.solutionTemp()) {
				note += ", more than dissolves at once: uneven contact shows as spots"
			}
		}
		m.addMoisture(b, note)
	}
	return nil
}

// makeCarrier lists what gives a mass of carrier of the set strength: ready
// carrier as assayed, let down with blank carrier, or blank carrier charged here.
func (m *maker) makeCarrier(b *Batch, strength chem.Fraction, carrier, exact chem.Mass) error {
	name := m.Process.Carrier
	if have := m.Store.Carrier; have != nil {
		if *have < strength*(1-1e-9) {
			return fmt.Errorf("%w: the %s assay %v, the settings want %v; look for settings with this strength (suggest with it as the available one) or charge new carrier", ErrStore, name, *have, strength)
		}
		stock := exact * chem.Mass(strength / *have)
		q, err := m.weighed(name, stock, m.Scale.Carrier, false)
		if err != nil {
			return err
		}
		b.add(Item{Name: fmt.Sprintf("%s, assayed %v", name, *have), Chemical: m.oxidizer, oxidizer: true, Part: "carrier", Take: q, Exact: Quantity{Mass: stock}})
		if blank := exact - stock; blank > 1e-9*exact {
			// The rest to the total, so that the ratio is met as closely as the scale
			// allows.
			rest := max(exact-q.Mass, 0).Round(m.Scale.Carrier)
			b.add(Item{Name: name + " without oxidizer", Part: "carrier", Take: Quantity{Mass: rest}, Exact: Quantity{Mass: blank},
				Note: "mixed in well before it meets the garments"})
		}
		return nil
	}
	purity := m.purity()
	solid := strength.Of(exact) / chem.Mass(purity)
	q, err := m.weighed(m.Process.Oxidizer, solid, m.Scale.Chemical, false)
	if err != nil {
		return err
	}
	if solid >= exact {
		return fmt.Errorf("%w: %v of %v %s on %v of carrier leaves no carrier", ErrLoad, solid, purity, m.Process.Oxidizer, exact)
	}
	note := m.purityWords()
	if m.oxidizer == "permanganate" {
		t := m.solutionTemp()
		note += fmt.Sprintf("; dissolved on its own in at least %s L of water at %.0f °C, then worked into the carrier; what the carrier holds of it must be dried off or counted", plain(float64(solid)/float64(chem.Solubility(t))), float64(t))
	}
	b.add(Item{Name: m.Process.Oxidizer, Chemical: m.oxidizer, oxidizer: true, Part: "carrier", Take: q, Exact: Quantity{Mass: solid}, Note: note})
	b.add(Item{Name: name + " without oxidizer", Part: "carrier", Take: Quantity{Mass: max(exact-q.Mass, 0).Round(m.Scale.Carrier)}, Exact: Quantity{Mass: exact - solid},
		Note: "or ready " + name + " that assay the set strength: then weigh " + carrier.String() + " of them alone"})
	return nil
}

// weighSprayed is a mix for all batches and the liquid that each takes.
func (m *maker) weighSprayed() error {
	c := chem.Concentration(m.Load.Settings["strength_gpl"])
	if err := m.dissolves(c); err != nil {
		return err
	}
	addOn := m.Load.Settings["add_on_gsm"] // g/m², taken as mL/m²
	landing := m.Spray.Landing
	if landing == 0 {
		landing = 1
		m.warn("the share of the spray that lands on the cloth was not given: weigh a panel before and after; overspray is lost and goes into booth and drain")
	}
	var total chem.Volume
	for i := range m.Batches {
		b := &m.Batches[i]
		area := 0.0
		switch fabric := m.Load.Settings["fabric_gsm"]; {
		case m.Spray.AreaEach > 0 && b.Count == 0:
			return fmt.Errorf("%w: an area for each garment needs their count", ErrLoad)
		case m.Spray.AreaEach > 0:
			area = m.Spray.AreaEach * float64(b.Count)
		case fabric > 0:
			share := m.Spray.Share
			if share == 0 {
				share = 1
			}
			area = float64(b.Garments) / fabric * float64(share)
		default:
			return fmt.Errorf("%w: the sprayed area: give fabric_gsm (weigh a cut piece), or the area and the count of garments", ErrUnmeasured)
		}
		lands := chem.Volume(addOn*area) * chem.Milliliter
		v := lands / chem.Volume(landing)
		total += v
		m.carry(c.In(lands))
		q, err := m.measured("spray", v)
		if err != nil {
			return err
		}
		b.add(Item{Name: "spray mix", Part: "spray", Take: q, Exact: Quantity{Volume: v}, Note: fmt.Sprintf("for %s m², %.0f g/m² on the cloth", plain(area), addOn)})
		m.addMoisture(b, "sprayed evenly damp or dry, never mixed")
	}
	return m.mix("spray", c, total, 0, 0)
}

// mix lists the solids and water of a permanganate solution made up to volume
// v on top of what is left of an earlier one.
func (m *maker) mix(part string, c chem.Concentration, v, left chem.Volume, leftStrength chem.Concentration) error {
	need := c.In(v) - leftStrength.In(left)
	if need < -1e-9*c.In(v) {
		return fmt.Errorf("%w: the %v left at %v hold more oxidizer than %v at %v; make up at least %.4g L or draw some off", ErrStore, left, leftStrength, v, c, float64(leftStrength.In(left))/float64(c))
	}
	vol, err := m.measured("solution", v)
	if err != nil {
		return err
	}
	purity := chem.Mass(m.purity())
	solid := max(need, 0) / purity
	// Weighed for the volume that the gauge shows, or a small mix misses its strength.
	q, err := m.weighed(m.Process.Oxidizer, max(c.In(vol.Volume)-leftStrength.In(left), 0)/purity, m.Scale.Chemical, false)
	if err != nil {
		return err
	}
	if left > 0 {
		note := "discard it if it is brown: manganese dioxide speeds up its own making"
		if m.Soak.Acid != "" {
			note = fmt.Sprintf("counted as holding %v of acid already, so none is weighed for it: if it was made without, add what it lacks; ", m.Soak.AcidStrength) + note
		}
		m.Shared = append(m.Shared, Item{Name: "left from before, assayed " + leftStrength.String(), Part: part, Take: Quantity{Volume: left}, Exact: Quantity{Volume: left}, Info: true, Note: note})
	}
	if err := m.soakAcid(part, v-left); err != nil {
		return err
	}
	m.Shared = append(m.Shared,
		Item{Name: m.Process.Oxidizer, Chemical: m.oxidizer, oxidizer: true, Part: part, Take: q, Exact: Quantity{Mass: solid}, Note: m.purityWords() + "; dissolved completely on its own in part of the water"},
		Item{Name: "make up with water to", Part: part, Take: vol, Exact: Quantity{Volume: v}, Note: fmt.Sprintf("at %.0f °C; no crystals left", float64(m.solutionTemp()))})
	return nil
}

// weighBath is a bath of set concentration, such as hypochlorite.
func (m *maker) weighBath() error {
	c := chem.Concentration(m.Load.Settings["strength_gpl"])
	if err := m.dissolves(c); err != nil {
		return err
	}
	wet, _ := m.moisture()
	for i := range m.Batches {
		b := &m.Batches[i]
		v := chem.LiquorRatio(m.Load.Settings["liquor_ratio"]).Of(b.Garments)
		total, err := m.measured("bath", v)
		if err != nil {
			return err
		}
		active := c.In(v)
		m.carry(active)
		stock := Item{Name: m.Process.Oxidizer, Chemical: m.oxidizer, oxidizer: true, Part: "bath", Note: "into the running bath, well diluted, never onto the garments"}
		displaced := chem.Volume(0)
		switch s := m.Store; {
		case s.Strength > 0 && s.Chlorine > 0:
			return fmt.Errorf("%w: give the strength of a liquid or of a powder, not both", ErrLoad)
		case s.Strength > 0:
			if s.Strength <= c {
				return fmt.Errorf("%w: a stock of %v cannot make a bath of %v", ErrStore, s.Strength, c)
			}
			m.doubtStock()
			stock.Exact.Volume = chem.Volume(active) / chem.Volume(s.Strength)
			stock.Name += ", assayed " + s.Strength.String()
			if stock.Take, err = m.measured(m.Process.Oxidizer, stock.Exact.Volume); err != nil {
				return err
			}
			displaced = stock.Take.Volume
		case s.Chlorine > 0 || m.oxidizer != "hypochlorite":
			f := s.Chlorine
			if m.oxidizer != "hypochlorite" {
				f = m.purity()
			}
			stock.Exact.Mass = active / chem.Mass(f)
			stock.Name += ", assayed " + f.String()
			if stock.Take, err = m.weighed(m.Process.Oxidizer, stock.Exact.Mass, m.Scale.Chemical, false); err != nil {
				return err
			}
		default:
			return fmt.Errorf("%w: the available chlorine of the hypochlorite in store: it falls from day to day; titrate it (assay) and give its strength", ErrUnmeasured)
		}
		inside := chem.Volume(wet.Of(b.Garments) / chem.Kilogram)
		water := total.Volume - displaced - inside
		if water < 0 {
			return fmt.Errorf("%w: a bath of %v has no room for %v of stock and %v of water in the garments; take a stronger stock, a longer liquor ratio or drier garments", ErrStore, total.Volume, displaced, inside)
		}
		b.add(Item{Name: "water", Part: "bath", Take: Quantity{Volume: water}, Exact: Quantity{Volume: v - stock.Exact.Volume - inside},
			Note: fmt.Sprintf("to %v in all%s", total.Volume, insideNote(inside))})
		b.add(stock)
		m.addMoisture(b, "counted as part of the bath")
		if err := m.addAids(b); err != nil {
			return err
		}
	}
	return nil
}

// doubtStock warns of a liquid hypochlorite of a strength that is not sold: the trade
// percent typed for g/L weighs out ten times too much.
func (m *maker) doubtStock() {
	s := m.Store.Strength
	if m.oxidizer != "hypochlorite" {
		return
	}
	if s < chem.LeastHypochlorite {
		m.warn("the stock is taken to hold %v of available chlorine, weaker than any that is sold: read the drum's label before you pour. If %.4g is the trade percent (g per 100 mL), the stock holds %v and this bath becomes ten times too strong",
			s, float64(s), chem.FromTradePercent(float64(s)))
	}
	if s > chem.MostHypochlorite {
		m.warn("the stock is taken to hold %v of available chlorine, stronger than any that keeps: check the unit, or the bath becomes too weak", s)
	}
}

func insideNote(inside chem.Volume) string {
	if inside == 0 {
		return ""
	}
	return fmt.Sprintf(" with %v that the garments bring along", inside)
}

// weighProduct is a bath dosed on weight of garment, such as laccase.
func (m *maker) weighProduct() error {
	f := chem.Fraction(m.Load.Settings["strength_pct"] / 100)
	wet, _ := m.moisture()
	for i := range m.Batches {
		b := &m.Batches[i]
		v := chem.LiquorRatio(m.Load.Settings["liquor_ratio"]).Of(b.Garments)
		total, err := m.measured("bath", v)
		if err != nil {
			return err
		}
		exact := f.Of(b.Garments)
		m.carry(exact)
		q, err := m.weighed(m.Process.Oxidizer, exact, m.Scale.Chemical, false)
		if err != nil {
			return err
		}
		inside := chem.Volume(wet.Of(b.Garments) / chem.Kilogram)
		if inside > total.Volume {
			return fmt.Errorf("%w: the garments bring %v into a bath of %v", ErrStore, inside, total.Volume)
		}
		b.add(Item{Name: "water", Part: "bath", Take: Quantity{Volume: total.Volume - inside}, Exact: Quantity{Volume: v - inside},
			Note: fmt.Sprintf("to %v in all%s", total.Volume, insideNote(inside))})
		b.add(Item{Name: m.Process.Oxidizer + ", product", Chemical: m.oxidizer, oxidizer: true, Part: "bath", Take: q, Exact: Quantity{Mass: exact}, Note: "when pH and temperature are set"})
		m.addMoisture(b, "counted as part of the bath")
		if err := m.addAids(b); err != nil {
			return err
		}
	}
	return nil
}

// plain writes three significant digits, or whole units, and no exponent: the floor
// reads 36000, not 3.6e+04.
func plain(v float64) string {
	if v >= 100 {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.3g", v)
}

// weighGas is ozone: nothing is weighed, the generator is set.
func (m *maker) weighGas() error {
	s := m.Load.Settings
	flow, known := s["flow_nm3pmin"]
	if !known {
		m.warn("flow_nm3pmin was not given: the ozone applied cannot be told; read the feed-gas meter")
	}
	for i := range m.Batches {
		b := &m.Batches[i]
		if stated, ok := s["load_kg"]; ok && (b.Garments/chem.Kilogram < chem.Mass(stated)*0.98 || b.Garments/chem.Kilogram > chem.Mass(stated)*1.02) {
			m.warn("%s holds %v, the settings say load_kg %g: the ozone per kg differs from the trials", b.Machine, b.Garments, stated)
		}
		applied := chem.Mass(s["strength_gnm3"] * flow * s["time_min"])
		if applied > b.Garments {
			return fmt.Errorf("%w: %v of ozone on %v of garments: flow_nm3pmin is in Nm³/min, of which 1000 L/min make one, and strength in g/Nm³", ErrLoad, applied, b.Garments)
		}
		m.carry(applied)
		if known {
			b.add(Item{Name: "ozone applied", Chemical: m.oxidizer, oxidizer: true, Part: "drum", Take: Quantity{Mass: applied}, Exact: Quantity{Mass: applied}, Info: true,
				Note: fmt.Sprintf("generator at %s g/h, %.4g Nm³/min", plain(s["strength_gnm3"]*flow*60), flow)})
		}
		m.addMoisture(b, "dry cloth hardly reacts, soaking cloth keeps the gas out")
		if err := m.addAids(b); err != nil {
			return err
		}
	}
	return nil
}
