package charge

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/chem"
)

// Quantity is a mass or a volume; the other is 0.
type Quantity struct {
	Mass   chem.Mass
	Volume chem.Volume
}

func (q Quantity) String() string {
	if q.Volume != 0 {
		return q.Volume.String()
	}
	return q.Mass.String()
}

// Item is one line of the sheet.
type Item struct {
	Name     string
	Chemical string // its id in chem; "" for water, carrier, aids
	Part     string // soak, carrier, spray, bath, drum, neutralize
	Take     Quantity
	Exact    Quantity // before rounding
	Info     bool     // worked out, not weighed
	Note     string
	oxidizer bool // carries the oxidizer of the process
}

// Batch is what goes into one machine.
type Batch struct {
	Machine  string
	Garments chem.Mass // dry
	Count    int       // 0 when the load was given by mass
	Items    []Item
	InDrum   chem.Mass // everything, wet, while the oxidizer works
	// Realized are the settings that the rounded weights amount to.
	Realized discharge.Settings
	// ActivePerKg is the oxidizer in g per kg of dry garment that they carry;
	// 0 if the process does not say.
	ActivePerKg float64
	DoseError   float64  // relative change of ActivePerKg by rounding
	DeltaE      *float64 // CIEDE2000 by which rounding moves the shade; nil without a model
}

// Sheet is the weigh sheet.
type Sheet struct {
	Process  discharge.Process
	Settings discharge.Settings
	Garments chem.Mass
	Count    int
	// Oxidizer is the mass of active oxidizer that the batches carry, as
	// ActiveOf counts it.
	Oxidizer   chem.Mass
	ActiveOf   string
	Shared     []Item // soak or spray mix for all batches
	Batches    []Batch
	SecondPass bool // of garments discharged before: no window, no word on the shade
	// Window is the time in minutes in which the expected shade stays within the
	// tolerance of that at the set time, inside the times that trials had; zeros
	// without a model, where its trials did not vary the time, and in a second pass.
	Window       [2]float64
	WindowNote   string // what holds between its ends, and what ends it; "" without one
	End          string // what ends the time: "Unload", "Drain", "End of dwell", "Ozone off"
	Neutralizing *Neutralizing
	Steps        []Step
	Conflicts    []chem.Conflict
	Limits       []chem.Limit
	Cautions     []discharge.Caution
	Protection   []string
	Effluent     string // what leaves with the water; "" where nothing is known of it
	Deference    string
	Cost         *Cost
	Warnings     []string
}

// form is how a process holds its oxidizer, read from its columns so that a
// user's own process is weighed like the built-in one that it extends.
type form int

const (
	soaked  form = iota // stones soaked in a solution
	charged             // powder or pellets that carry it
	sprayed
	bath    // dissolved, by concentration
	product // dissolved, on weight of garment
	gas
)

func formOf(p discharge.Process) (form, error) {
	has := func(c string) bool { _, ok := p.Factor(c); return ok }
	switch {
	case has("add_on_gsm") && has("strength_gpl"):
		return sprayed, nil
	case has("ratio") && has("strength_gpl"):
		return soaked, nil
	case has("ratio") && has("strength_pct"):
		return charged, nil
	case has("liquor_ratio") && has("strength_gpl"):
		return bath, nil
	case has("liquor_ratio") && has("strength_pct"):
		return product, nil
	case has("strength_gnm3"):
		return gas, nil
	}
	return 0, fmt.Errorf("%w: %s has no pair of columns that says what to weigh; want strength with ratio, liquor_ratio or add_on_gsm, or strength_gnm3", ErrLoad, p.ID)
}

// oxidizerID is the chemical that the process uses, "" if it is not known.
func oxidizerID(p discharge.Process) string {
	switch of := p.Active.Of; {
	case strings.HasPrefix(of, "KMnO4"):
		return "permanganate"
	case strings.HasPrefix(of, "available chlorine"):
		return "hypochlorite"
	case strings.HasPrefix(of, "O3"):
		return "ozone"
	case strings.HasPrefix(of, "enzyme"):
		return "laccase"
	}
	return ""
}

// maker builds one sheet.
type maker struct {
	*Load
	*Sheet
	Process  discharge.Process
	form     form
	oxidizer string // id in chem, "" if not known
	// onGarments is the active oxidizer of each batch before rounding.
	onGarments []chem.Mass
	drumLimits []chem.Mass // of each batch; 0: none
}

// New works the sheet out. Nothing in l is changed or kept.
func New(l Load) (*Sheet, error) {
	m := &maker{Process: l.Process, Load: &l, Sheet: &Sheet{Process: l.Process, Settings: maps.Clone(l.Settings), SecondPass: l.SecondPass, Deference: discharge.Deference}}
	if err := m.check(); err != nil {
		return nil, err
	}
	var err error
	if m.form, err = formOf(l.Process); err != nil {
		return nil, err
	}
	if err := l.Process.Check(l.Settings); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrLoad, err)
	}
	m.oxidizer, m.ActiveOf = oxidizerID(l.Process), l.Process.Active.Of
	if err := m.boils(); err != nil {
		return nil, err
	}
	m.Sheet.Warnings = append(m.Sheet.Warnings, l.Process.Unusual(l.Settings)...)
	if err := m.split(); err != nil {
		return nil, err
	}
	m.unweighed()
	if err := m.weigh(); err != nil {
		return nil, err
	}
	if err := m.drum(); err != nil {
		return nil, err
	}
	if err := m.neutralize(); err != nil {
		return nil, err
	}
	if err := m.realize(); err != nil {
		return nil, err
	}
	m.procedure()
	if err := m.cautions(); err != nil {
		return nil, err
	}
	if err := m.cost(); err != nil {
		return nil, err
	}
	return m.Sheet, nil
}

// unweighed warns of settings that a process of the laundry's own has and no sheet knows: what
// they are weighed as, its recipe says.
func (m *maker) unweighed() {
	known := []string{"strength_pct", "strength_gpl", "strength_gnm3", "ratio", "liquor_ratio", "add_on_gsm", "time_min", "temp_c", "ph", "rpm", "moisture_pct",
		"fabric_gsm", "uptake_lpkg", "flow_nm3pmin", "load_kg", "base_lightness"}
	for _, f := range m.Process.Factors {
		if v, ok := m.Load.Settings[f.Column]; ok && !slices.Contains(known, f.Column) {
			m.warn("%s of %s is a setting of this process and is not weighed on this sheet: weigh it as its recipe says", f.Column, strings.TrimSpace(fmt.Sprintf("%.4g %s", v, f.Unit)))
		}
	}
}

func (m *maker) warn(format string, args ...any) {
	w := fmt.Sprintf(format, args...)
	if !slices.Contains(m.Warnings, w) {
		m.Warnings = append(m.Warnings, w)
	}
}

// weighed rounds a mass to the step and refuses what rounds to nothing.
func (m *maker) weighed(name string, exact, step chem.Mass, up bool) (Quantity, error) {
	r := exact.Round(step)
	if up {
		r = exact.RoundUp(step)
	}
	return Quantity{Mass: r}, m.coarse(name, float64(exact), float64(r), exact.String(), step.String())
}

func (m *maker) measured(name string, exact chem.Volume) (Quantity, error) {
	r := exact.Round(m.Scale.Liquid)
	return Quantity{Volume: r}, m.coarse(name, float64(exact), float64(r), exact.String(), m.Scale.Liquid.String())
}

// coarse judges what rounding does to an amount, which amount and step say in words.
func (m *maker) coarse(name string, exact, rounded float64, amount, step string) error {
	switch {
	case exact > 0 && rounded <= 0:
		return fmt.Errorf("%w: %s of %s rounds to nothing at a step of %s; weigh it on a finer scale or run a larger load", ErrScale, amount, name, step)
	case exact > 0 && math.Abs(rounded/exact-1) > 0.02:
		m.warn("%s: rounding to %s changes it by %+.1f %%; a finer scale would keep the shade steadier", name, step, 100*(rounded/exact-1))
	}
	return nil
}

// Items returns every line of the sheet in order, with the machine it is for
// ("" for shared ones).
func (s *Sheet) Items() (machines []string, items []Item) {
	for _, i := range s.Shared {
		machines, items = append(machines, ""), append(items, i)
	}
	for _, b := range s.Batches {
		for _, i := range b.Items {
			machines, items = append(machines, b.Machine), append(items, i)
		}
	}
	return machines, items
}
