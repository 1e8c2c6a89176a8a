package charge

import (
	"fmt"

	"example.com/dosetone/discharge/chem"
)

// weighSoaked is stones and their tank. How much liquid the drained stones hold
// decides the dose as much as the strength does, so it must have been measured.
func (m *maker) weighSoaked() error {
	s := m.Load.Settings
	c, ratio := chem.Concentration(s["strength_gpl"]), chem.Ratio(s["ratio"])
	up, ok := s["uptake_lpkg"]
	if !ok || up <= 0 {
		return fmt.Errorf("%w: uptake_lpkg, the liquid that the drained stones hold: weigh three portions of some kg dry and after soaking and draining; (drained − dry)/dry is L per kg", ErrUnmeasured)
	}
	if m.Process.Carrier == "stones" && chem.LiquorRatio(up) > chem.MostUptake {
		return fmt.Errorf("%w: stones that hold %.4g L per kg, where none take up more than %v; 42 %% of their dry weight, say, are 0.42 L/kg", ErrLoad, up, chem.MostUptake)
	}
	if err := m.dissolves(c); err != nil {
		return err
	}
	m.reuseNotes(m.Process.Carrier)
	wet, hasWet := m.moisture()
	var stones, held chem.Mass
	for i := range m.Batches {
		b := &m.Batches[i]
		exact := ratio.Of(b.Garments)
		q, err := m.weighed(m.Process.Carrier, exact, m.Scale.Carrier, false)
		if err != nil {
			return err
		}
		stones += exact
		liquid := exact * chem.Mass(up)
		held += liquid
		m.carry(c.In(chem.Volume(liquid / chem.Kilogram)))
		b.add(Item{Name: m.Process.Carrier + ", dry weight", Part: "carrier", Take: q, Exact: Quantity{Mass: exact}})
		took := q.Mass * chem.Mass(up)
		b.add(Item{Name: "liquid held by the drained " + m.Process.Carrier, Part: "carrier", Take: Quantity{Mass: took}, Exact: Quantity{Mass: liquid}, Info: true,
			Note: fmt.Sprintf("drained they must weigh %v: weigh them, and drain on or soak on if not", q.Mass+took)})
		if err := m.addAids(b); err != nil {
			return err
		}
		note := "dry garments take the liquid as it is"
		if hasWet && wet > 0 {
			diluted := float64(c) * float64(liquid) / float64(liquid+wet.Of(b.Garments))
			note = fmt.Sprintf("their water dilutes the liquid to %.3g g/L where all of it mixes", diluted)
		}
		m.addMoisture(b, note)
	}
	need := chem.Volume(held / chem.Kilogram)
	v := m.Soak.Volume
	if v == 0 {
		cover := m.Soak.Cover
		if cover == 0 {
			cover = 1
		}
		v = need + cover.Of(stones)
	}
	if v < need {
		return fmt.Errorf("%w: a soak of %v for stones that take up %v; make at least that and enough to cover them", ErrLoad, v, need)
	}
	if m.Soak.Left > v {
		return fmt.Errorf("%w: %v are left in a soak of %v; draw some off", ErrStore, m.Soak.Left, v)
	}
	if err := m.mix("soak", c, v, m.Soak.Left, m.Soak.LeftStrength); err != nil {
		return err
	}
	makeUp := c.In(need) / chem.Mass(m.purity())
	m.Shared = append(m.Shared,
		Item{Name: "left in the tank after draining", Part: "soak", Take: Quantity{Volume: v - need}, Exact: Quantity{Volume: v - need}, Info: true,
			Note: "assay it before the next load and give it as left over; keep it covered, out of light; discard it when brown"},
		Item{Name: "make-up for the next such load, " + m.Process.Oxidizer, Part: "soak", Take: Quantity{Mass: makeUp}, Exact: Quantity{Mass: makeUp}, Info: true,
			Note: fmt.Sprintf("%s, in %v, if the tank still had its strength: the assay says how much more", m.purityWords(), need)})
	return nil
}
