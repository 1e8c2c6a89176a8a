package charge

import (
	"errors"
	"fmt"
	"math"

	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/chem"
)

// Sentinels that callers test for with errors.Is.
var (
	ErrSolubility = errors.New("does not dissolve")
	ErrCapacity   = errors.New("above capacity")
	ErrUnmeasured = errors.New("must be measured first")
	ErrStore      = errors.New("what is in store cannot give this")
	ErrScale      = errors.New("scale too coarse")
	ErrLoad       = errors.New("impossible load")
)

// Load is what is asked for.
type Load struct {
	Process  discharge.Process
	Settings discharge.Settings
	Model    *discharge.Model // of the same process; nil: no statement on the shade
	// Tolerance is the ΔE00 that the unloading window keeps to; 0 means
	// discharge.DefaultTolerance.
	Tolerance float64
	// SecondPass says that the garments have been discharged before: they are not
	// prepared anew, and the model, which starts from the base, says nothing of shade or
	// window. How long it takes is what a verdict's correction says.
	SecondPass bool

	Garments Garments
	Machines []Machine // none: one machine without limit
	Scale    Scale
	// Moisture of the garments going in, as a fraction of their dry mass, for
	// processes without a moisture column; nil: not stated.
	Moisture *chem.Fraction

	Store       Store
	Soak        Soak
	Spray       Spray
	Aids        chem.Ratio // tumbling aids per dry garment; 0: none
	Reuse       int        // times that this carrier was used before
	Neutralizer *Neutralizer
	Wet         Wet
	Others      []string // further chemicals used on the same floor at the same time, by their id in chem
	Prices      *Prices
}

// Garments are given by dry mass, or by count and the mass of one.
type Garments struct {
	Mass  chem.Mass
	Count int
	Each  chem.Mass
}

// Machine takes so much.
type Machine struct {
	Name string
	Dry  chem.Mass // dry garments that it may hold; 0: no limit
	Drum chem.Mass // everything that may be in the drum, wet; 0: no limit
}

// Scale is what weights and volumes are rounded to; 0 leaves them as they are.
type Scale struct {
	Chemical, Carrier chem.Mass
	Liquid            chem.Volume
}

// Store is the oxidizer that the laundry really has.
type Store struct {
	// Purity of a solid oxidizer; nil means pure, with a warning.
	Purity *chem.Fraction
	// Strength of a liquid one: available chlorine as assayed.
	Strength chem.Concentration
	// Chlorine is the available chlorine of a bleaching powder.
	Chlorine chem.Fraction
	// Carrier is the assayed permanganate on ready-charged powder or pellets;
	// nil: the carrier is charged here.
	Carrier *chem.Fraction
}

// Soak is the tank in which stones take up permanganate.
type Soak struct {
	Volume       chem.Volume        // made up to; 0: what the stones hold and Cover on top
	Cover        chem.LiquorRatio   // liquid beyond what stones hold; 0 means 1 L/kg (common practice, no source)
	Left         chem.Volume        // of an earlier soak, in the tank
	LeftStrength chem.Concentration // as assayed
	Temp         *chem.Celsius      // of the soak or spray mix; nil means 20 °C
	Acid         string             // "phosphoric-acid" or "acetic-acid"; "" none
	AcidStrength chem.Concentration // of pure acid in the soak or spray mix
}

// Spray is how the cloth area follows from the load.
type Spray struct {
	Share    chem.Fraction // of the cloth that is sprayed; 0 means all
	Landing  chem.Fraction // of the liquid that lands on it; 0 means all
	AreaEach float64       // m² sprayed per garment, instead of Share; 0: from the fabric's mass per area
}

// Neutralizer is the agent chosen to undo the oxidizer.
type Neutralizer struct {
	Agent  string        // id in chem.Agents
	Purity chem.Fraction // above 0, at most 1: there is no default
	Excess float64       // factor on the balanced equation; 0 means 1.2
	Acid   string        // to set the pH of a permanganate neutralizing bath; "" means acetic-acid
	TempC  float64       // 0 means the middle of the usual range
	Min    float64       // minutes; 0 means the middle of the usual range
	// Remaining is the part of the oxidizer charged that reaches the neutralizing
	// bath, from a titration of what was drained or shaken off; nil means all, the
	// safe upper bound.
	Remaining *chem.Fraction
}

// Wet are the baths around the discharge.
type Wet struct {
	LiquorRatio chem.LiquorRatio // of every bath but the discharge; 0 means 8 L/kg (common practice, no source)
	Rinses      int              // after neutralizing, at most 20; 0 means 2
	Dry         bool             // garments come desized and abraded: no desizing on the sheet
	NoFinish    bool             // neither brightening nor softening on the sheet
}

// maxRinses and maxGarments bound what is meant: ten times the rinses that are usual, and
// far more cloth than any laundry runs in a load.
const (
	maxRinses   = 20
	maxGarments = 1e6 * chem.Kilogram
)

// finite refuses what no scale shows.
func finite(what string, x float64) error {
	if math.IsNaN(x) || math.IsInf(x, 0) || x < 0 {
		return fmt.Errorf("%w: %s must be a number of 0 or more, is %g", ErrLoad, what, x)
	}
	return nil
}

// maxMoisture is more water, as a fraction of dry mass, than dripping denim holds (common
// practice, no source).
const maxMoisture = 5

// plausible refuses more garments than any load has.
func plausible(m chem.Mass) error {
	if m > maxGarments {
		return fmt.Errorf("%w: %g kg of garments are more than any load: check the unit", ErrLoad, float64(m/chem.Kilogram))
	}
	return nil
}

// mass returns the dry mass and checks the garments.
func (g Garments) mass() (chem.Mass, error) {
	if err := errors.Join(finite("garment mass", float64(g.Mass)), finite("mass of one garment", float64(g.Each))); err != nil {
		return 0, err
	}
	switch {
	case g.Count < 0:
		return 0, fmt.Errorf("%w: %d garments", ErrLoad, g.Count)
	case g.Count > 0 && g.Each > 0:
		m := chem.Mass(g.Count) * g.Each
		if g.Mass > 0 && math.Abs(float64(g.Mass/m-1)) > 0.02 {
			return 0, fmt.Errorf("%w: %d garments of %v are %v, but the mass is given as %v; weigh again or leave one out", ErrLoad, g.Count, g.Each, m, g.Mass)
		}
		return m, plausible(m)
	case g.Mass > 0:
		return g.Mass, plausible(g.Mass)
	}
	return 0, fmt.Errorf("%w: give the dry mass, or the count and the mass of one garment", ErrLoad)
}

// check refuses numbers that cannot be meant.
func (l *Load) check() error {
	fraction := func(what string, f chem.Fraction) error {
		if !(f >= 0 && f <= 1) {
			return fmt.Errorf("%w: %s is %g %%; want 0 to 100 %%", ErrLoad, what, f.Percent())
		}
		return nil
	}
	errs := []error{
		finite("tolerance", l.Tolerance), finite("scale step", float64(l.Scale.Chemical)), finite("carrier step", float64(l.Scale.Carrier)),
		finite("liquid step", float64(l.Scale.Liquid)), finite("stock strength", float64(l.Store.Strength)), fraction("available chlorine of the powder", l.Store.Chlorine),
		finite("soak volume", float64(l.Soak.Volume)), finite("soak cover", float64(l.Soak.Cover)), finite("soak left over", float64(l.Soak.Left)),
		finite("strength of the soak left over", float64(l.Soak.LeftStrength)), finite("acid strength", float64(l.Soak.AcidStrength)),
		fraction("share sprayed", l.Spray.Share), fraction("spray landing", l.Spray.Landing), finite("sprayed area", l.Spray.AreaEach),
		finite("tumbling aids", float64(l.Aids)), finite("liquor ratio", float64(l.Wet.LiquorRatio)),
	}
	if l.Moisture != nil {
		errs = append(errs, finite("moisture", float64(*l.Moisture)))
		if *l.Moisture > maxMoisture {
			errs = append(errs, fmt.Errorf("%w: moisture is a fraction of dry mass, and cloth holds no %g times it: percent divided by 100", ErrLoad, float64(*l.Moisture)))
		}
	}
	for _, m := range l.Machines {
		errs = append(errs, finite("capacity of "+m.Name, float64(m.Dry)), finite("drum limit of "+m.Name, float64(m.Drum)))
	}
	switch {
	case l.Reuse < 0 || l.Wet.Rinses < 0:
		errs = append(errs, fmt.Errorf("%w: reuse and rinses must not be negative", ErrLoad))
	case l.Wet.Rinses > maxRinses:
		errs = append(errs, fmt.Errorf("%w: %d rinses; at most %d are written on a sheet", ErrLoad, l.Wet.Rinses, maxRinses))
	}
	active := func(what string, p *chem.Fraction) error {
		if p != nil && !(*p > 0 && *p <= 1) {
			return fmt.Errorf("%w: %s of %g %%; want above 0 and at most 100 %%", chem.ErrPurity, what, p.Percent())
		}
		return nil
	}
	errs = append(errs, active("oxidizer", l.Store.Purity), active("carrier", l.Store.Carrier))
	if h := l.Process.Hazard(l.Settings); h != "" {
		errs = append(errs, fmt.Errorf("%w: %s", chem.ErrIncompatible, h))
	}
	if l.Soak.Temp != nil && !(*l.Soak.Temp >= 0 && *l.Soak.Temp <= 95) {
		errs = append(errs, fmt.Errorf("%w: a soak at %g °C; want 0 to 95 °C", ErrLoad, float64(*l.Soak.Temp)))
	}
	if l.Model != nil && l.Model.Process().ID != l.Process.ID {
		errs = append(errs, fmt.Errorf("%w: the model is of %s, the load of %s", discharge.ErrWrongProcess, l.Model.Process().ID, l.Process.ID))
	}
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// Unused names what of a load its process has no use for: [New] passes it over, and a sheet that
// does is perhaps not what was meant.
func (l *Load) Unused() (what []string) {
	form, err := formOf(l.Process)
	if err != nil {
		return nil // New says so
	}
	hypochlorite := oxidizerID(l.Process) == "hypochlorite"
	solid := form == soaked || form == charged || form == sprayed || form == bath && !hypochlorite
	for _, x := range []struct {
		what          string
		given, useful bool
	}{
		{"purity of a solid oxidizer (--purity)", l.Store.Purity != nil, solid && l.Store.Carrier == nil},
		{"strength of a liquid oxidizer (--stock-strength)", l.Store.Strength > 0, form == bath},
		{"available chlorine of a powder (--powder-chlorine)", l.Store.Chlorine > 0, form == bath && hypochlorite},
		{"ready carrier (--carrier-strength)", l.Store.Carrier != nil, form == charged},
		{"soak (--soak-volume, --soak-left, --soak-left-strength)", l.Soak.Volume > 0 || l.Soak.Left > 0 || l.Soak.LeftStrength > 0, form == soaked},
		{"acid in a solution (--acid, --acid-strength)", l.Soak.Acid != "" || l.Soak.AcidStrength > 0, form == soaked || form == sprayed},
		{"temperature of a solution (--soak-temp)", l.Soak.Temp != nil, solid},
		{"spray (--sprayed, --landing, --area-each)", l.Spray != (Spray{}), form == sprayed},
		{"share that is sprayed (--sprayed) beside an area for each garment", l.Spray.Share > 0, l.Spray.AreaEach == 0},
		{"carrier that was used before (--reuse)", l.Reuse > 0, form == soaked || form == charged},
	} {
		if x.given && !x.useful {
			what = append(what, x.what)
		}
	}
	return what
}

// boils refuses a bath that does: a temperature in Fahrenheit.
func (m *maker) boils() error {
	const boils = 98 // °C, of water with something in it at some height
	if t, ok := m.Load.Settings["temp_c"]; ok && (m.form == bath || m.form == product) && t > boils {
		return fmt.Errorf("%w: a bath of %g °C boils; %g °F are %.0f °C", ErrLoad, t, t, (t-32)/1.8)
	}
	return nil
}

func (l *Load) bathRatio() chem.LiquorRatio {
	if l.Wet.LiquorRatio > 0 {
		return l.Wet.LiquorRatio
	}
	return 8
}

func (l *Load) rinses() int {
	if l.Wet.Rinses > 0 {
		return l.Wet.Rinses
	}
	return 2
}

func (l *Load) solutionTemp() chem.Celsius {
	if l.Soak.Temp != nil {
		return *l.Soak.Temp
	}
	return 20
}

// moisture of the garments going in, if stated.
func (l *Load) moisture() (chem.Fraction, bool) {
	if v, ok := l.Settings["moisture_pct"]; ok {
		return chem.Fraction(v / 100), true
	}
	if l.Moisture != nil {
		return *l.Moisture, true
	}
	return 0, false
}
