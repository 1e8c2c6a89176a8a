package charge

import (
	"cmp"
	"fmt"
	"slices"

	"example.com/dosetone/discharge/chem"
)

// defaultExcess is the middle of what is usual: too little shows, too much does
// not (common practice, no source).
const defaultExcess = 1.2

// Neutralizing is how the oxidizer is undone.
type Neutralizing struct {
	Antichlor  bool // of hypochlorite; else of permanganate
	Demand     chem.Demand
	Excess     float64
	Purity     chem.Fraction
	Conditions chem.Conditions
	Notes      []string // on the agent
	TempC, Min float64  // as set
	// Oxidizer is what is counted on: all that was charged, or the remaining part.
	Oxidizer chem.Mass
	// Least and Most are what all batches take together, with excess and at that
	// purity; they differ where there is no single factor.
	Least, Most chem.Mass
	// IfSpent is what it would take if all permanganate were manganese dioxide by
	// then; 0 for hypochlorite.
	IfSpent chem.Mass
	// Dioxide is the most manganese dioxide that the load can leave.
	Dioxide chem.Mass
	Acid    string    // id of the acid that sets the pH; ""
	AcidNet chem.Mass // of it, pure, used up by the reaction
	SodaAsh chem.Mass // that the acid which the reaction makes uses up
	Gas     string
	GasAt25 chem.Volume
}

// neutralize adds the agent to every batch. What is charged counts in full
// unless a titration says how much of it remains: too little agent is what hurts.
func (m *maker) neutralize() error {
	if m.Neutralizer == nil {
		switch m.oxidizer {
		case "permanganate":
			m.warn("no neutralizer was chosen: this sheet ends before the cloth is safe; manganese dioxide stays brown and goes on reacting")
		case "hypochlorite":
			m.warn("no antichlor was chosen: this sheet ends before the cloth is safe; chlorine left in it yellows it and goes on taking its strength")
		}
		return nil
	}
	n, err := m.neutralizing()
	if err != nil {
		return err
	}
	if err := m.checkNeutralBath(n); err != nil {
		return err
	}
	m.Neutralizing = n
	remaining := chem.Fraction(1)
	if r := m.Neutralizer.Remaining; r != nil {
		if !(*r >= 0 && *r <= 1) {
			return fmt.Errorf("%w: remaining oxidizer %g %%; want 0 to 100 %%", ErrLoad, r.Percent())
		}
		remaining = *r
	}
	n.Oxidizer = remaining.Of(m.Oxidizer)
	if err := m.neutralProducts(n); err != nil {
		return err
	}
	for i := range m.Batches {
		if err := m.neutralizeBatch(n, &m.Batches[i], remaining.Of(m.onGarments[i])); err != nil {
			return err
		}
	}
	if !n.Antichlor {
		n.IfSpent = n.Demand.IfSpent.Of(n.Oxidizer) * chem.Mass(n.Excess/float64(n.Purity))
	}
	return nil
}

// neutralizing is what the agent chosen asks for, in the middle of what is usual where
// nothing is set.
func (m *maker) neutralizing() (*Neutralizing, error) {
	agent, err := chem.LookupAgent(m.Neutralizer.Agent)
	if err != nil {
		return nil, err
	}
	n := &Neutralizing{Purity: m.Neutralizer.Purity, Excess: cmp.Or(m.Neutralizer.Excess, defaultExcess), TempC: m.Neutralizer.TempC, Min: m.Neutralizer.Min}
	switch m.oxidizer {
	case "permanganate":
		n.Demand, err = chem.Neutralize(agent)
		n.Conditions = chem.NeutralizeConditions()
	case "hypochlorite":
		n.Antichlor = true
		n.Demand, err = chem.Antichlor(agent)
		n.Conditions = chem.AntichlorConditions()
	default:
		return nil, fmt.Errorf("%w: %s needs no %s: %s", chem.ErrUnsuited, m.Process.ID, agent.Name, stopping(m.oxidizer))
	}
	if err != nil {
		return nil, err
	}
	n.Conditions = n.Conditions.For(agent)
	n.Notes = slices.Clone(agent.Notes)
	if n.Antichlor {
		n.Notes = append(n.Notes, agent.AntichlorNotes...)
	} else {
		n.Notes = append(n.Notes, agent.PermanganateNotes...)
	}
	middle := func(s chem.Span) float64 { return (s.Lo + s.Hi) / 2 }
	n.TempC = cmp.Or(n.TempC, middle(n.Conditions.TempC))
	n.Min = cmp.Or(n.Min, middle(n.Conditions.Min))
	return n, nil
}

// checkNeutralBath refuses a bath that cannot be, and warns of what is unusual.
func (m *maker) checkNeutralBath(n *Neutralizing) error {
	if err := finite("neutralizing temperature", n.TempC); err != nil || n.TempC > 100 {
		return fmt.Errorf("%w: a neutralizing bath at %g °C", ErrLoad, n.TempC)
	}
	if err := finite("neutralizing time", n.Min); err != nil {
		return err
	}
	outside := func(what string, v float64, s chem.Span, unit string) {
		if !s.Contains(v) {
			m.warn("%s %g%s is outside the usual %g to %g%s (%s)", what, v, unit, s.Lo, s.Hi, unit, s.Source)
		}
	}
	outside("neutralizing temperature", n.TempC, n.Conditions.TempC, " °C")
	outside("neutralizing time", n.Min, n.Conditions.Min, " min")
	outside("excess factor", n.Excess, n.Conditions.Excess, "")
	return nil
}

// neutralProducts works out the gas that the reaction gives off and the acid that it
// uses up or makes.
func (m *maker) neutralProducts(n *Neutralizing) (err error) {
	worst := n.Demand.Steps[0]
	for _, s := range n.Demand.Steps {
		// The most acid used up counts; of an antichlor the most made.
		if n.Antichlor && s.Acid < worst.Acid || !n.Antichlor && s.Acid > worst.Acid {
			worst = s
		}
		if s.Gas != "" {
			n.Gas, n.GasAt25 = s.Gas, max(n.GasAt25, chem.GasVolume(s.GasAmount*chem.Amount(n.Oxidizer), 25))
		}
	}
	if n.Antichlor {
		n.SodaAsh = chem.SodaAsh(-worst.Acid * chem.Amount(n.Oxidizer))
		if m.Neutralizer.Acid != "" {
			return fmt.Errorf("%w: %s with hypochlorite on one sheet sets chlorine gas free; the antichlor bath stays alkaline", chem.ErrIncompatible, m.Neutralizer.Acid)
		}
		return nil
	}
	n.Dioxide = chem.DioxideLeft(n.Oxidizer)
	n.Acid = cmp.Or(m.Neutralizer.Acid, "acetic-acid")
	n.AcidNet, err = chem.AcidMass(n.Acid, worst.Acid*chem.Amount(n.Oxidizer))
	return err
}

func (m *maker) neutralizeBatch(n *Neutralizing, b *Batch, oxidizer chem.Mass) error {
	least, most, err := n.Demand.Weigh(oxidizer, n.Purity, n.Excess)
	if err != nil {
		return err
	}
	n.Least += least
	n.Most += most
	v := m.bathRatio().Of(b.Garments)
	q, err := m.measured("neutralizing bath", v)
	if err != nil {
		return err
	}
	b.add(Item{Name: "water", Part: "neutralize", Take: q, Exact: Quantity{Volume: v}, Note: fmt.Sprintf("at %.0f °C", n.TempC)})
	agent := n.Demand.Agent
	// Rounded up: too little is what hurts.
	first, err := m.weighed(agent.Name, least, m.Scale.Chemical, true)
	if err != nil {
		return err
	}
	alone := "dissolved on its own"
	if agent.ID == "peroxide" {
		alone = "diluted on its own"
	}
	note := fmt.Sprintf("%s pure, %.3g times the balanced equation; %s", n.Purity, n.Excess, alone)
	if m.Neutralizer.Remaining == nil {
		note += "; for all oxidizer charged, an upper bound: titrate what drains off to need less"
	}
	if !n.Demand.Single() {
		last, err := m.weighed(agent.Name, most, m.Scale.Chemical, true)
		if err != nil {
			return err
		}
		note += fmt.Sprintf("; no single factor: have %v at hand, and add until the residual test is negative", last)
	}
	b.add(Item{Name: agent.Name, Chemical: agent.ID, Part: "neutralize", Take: first, Exact: Quantity{Mass: least}, Note: note})
	share := chem.Mass(0)
	if n.Oxidizer > 0 {
		share = oxidizer / n.Oxidizer
	}
	extra := func(name, id string, exact chem.Mass, note string) error {
		if exact <= 0 {
			return nil
		}
		q, err := m.weighed(name, exact, m.Scale.Chemical, true)
		if err == nil {
			b.add(Item{Name: name, Chemical: id, Part: "neutralize", Take: q, Exact: Quantity{Mass: exact}, Note: note})
		}
		return err
	}
	if err := extra("soda ash", "soda-ash", n.SodaAsh*share, "into the bath before the agent: it takes up the acid that the reaction makes; then by the pH meter"); err != nil {
		return err
	}
	if n.Acid != "" {
		c, err := chem.LookupChemical(n.Acid)
		if err != nil {
			return err
		}
		return extra(c.Name+", as pure", n.Acid, n.AcidNet*share,
			asProduct+fmt.Sprintf("; the part that the reaction uses up, diluted; then by the pH meter to %g-%g", n.Conditions.PH.Lo, n.Conditions.PH.Hi))
	}
	return nil
}

// stopping says how the processes without a neutralizer end.
func stopping(oxidizer string) string {
	switch oxidizer {
	case "laccase":
		return "a hot or alkaline rinse stops the enzyme"
	case "ozone":
		return "purging the drum ends it"
	}
	return "its chemistry is not known to this package; see the data sheet of the product"
}
