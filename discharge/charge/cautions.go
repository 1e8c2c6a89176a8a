package charge

import (
	"fmt"
	"slices"

	"example.com/dosetone/discharge/chem"
)

// chemicals lists the ids of what is on the sheet and of what else the load says
// is used with it.
func (m *maker) chemicals() []string {
	var ids []string
	add := func(id string) {
		if id != "" && !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	add(m.oxidizer)
	_, items := m.Items()
	for _, i := range items {
		add(i.Chemical)
	}
	if n := m.Neutralizing; n != nil {
		add(n.Demand.Agent.ID)
		add(n.Acid)
	}
	if !m.Wet.NoFinish {
		add("brightener")
		add("softener")
	}
	for _, id := range m.Others {
		add(id)
	}
	return ids
}

// cautions refuses pairs that must not be on one sheet and lists what else
// belongs there.
func (m *maker) cautions() error {
	ids := m.chemicals()
	all, err := chem.Conflicts(ids...)
	if err != nil {
		return err
	}
	for _, c := range all {
		if c.Refuse {
			return fmt.Errorf("%w: %s and %s on one sheet: %s", chem.ErrIncompatible, c.A, c.B, c.Text)
		}
	}
	m.Conflicts, m.Limits = all, chem.Limits(ids...)
	for _, c := range m.Process.Cautions {
		if m.oxidizer != "" && toldByChemistry(c.Hazard, m.Neutralizing != nil) {
			continue
		}
		m.Cautions = append(m.Cautions, c)
	}
	m.effluent()
	m.Protection = []string{
		"when weighing and mixing: chemical gloves, tight goggles, apron, closed shoes, dust protection for powders; eye wash and shower within reach",
		"at the machines: exhaust on, no open drum while gas is set free, no one alone",
		"spills: contain, keep organic matter and other chemicals away, follow the safety data sheet; never into a drain that carries another chemical of this sheet",
	}
	return nil
}

// effluent says how much of what the permits limit this load can send down the
// drain: all of it, since none is destroyed.
func (m *maker) effluent() {
	var water chem.Volume
	for _, s := range m.Steps {
		water += s.Bath
	}
	switch m.oxidizer {
	case "permanganate":
		mn := chem.Manganese(m.Oxidizer)
		m.Effluent = fmt.Sprintf("manganese: up to %v leave with sludge and water, in %v of baths at most %s mg/L on average; local permits rule", mn.Round(0.1), water.Round(1), plain(1000*float64(mn.Per(water))))
	case "hypochlorite":
		m.Effluent = "chlorinated organics (AOX) and residual chlorine: test the drained baths; the antichlor belongs in them too if permits ask for it"
	case "ozone":
		m.Effluent = "ozone leaves only through the destruct unit; the rinse carries dye fragments"
	}
}

// toldByChemistry names the cautions of the built-in processes that the pairs
// and limits of the sheet replace: those list every agent and limit, a sheet
// those of its own chemicals.
func toldByChemistry(hazard string, neutralizing bool) bool {
	switch hazard {
	case "manganese dust", "chlorine", "ozone":
		return true
	case "neutralizing permanganate", "antichlor":
		return neutralizing
	}
	return false
}
