package discharge

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// Transform says how a factor enters the log dose η.
type Transform string

// The transforms. A Recorded column is kept with the lot and may be needed
// for the active oxidizer, but never enters the dose.
const (
	Log           Transform = "log"            // ln of the value, which must be above 0
	Linear        Transform = "linear"         // the value as it is
	InverseKelvin Transform = "inverse_kelvin" // 1/T with T in kelvin, from °C
	Recorded      Transform = "recorded"       // not a factor of the dose
)

// CommonPractice marks ranges that are habit of the trade.
const CommonPractice = "common practice, no source"

// Range is a closed interval with the standing of its ends.
type Range struct {
	Lo, Hi float64
	Note   string // where the ends come from, such as CommonPractice
}

// Known reports whether the range says anything.
func (r Range) Known() bool { return r.Hi > r.Lo }

// Contains reports whether x lies in the closed range.
func (r Range) Contains(x float64) bool { return r.Lo <= x && x <= r.Hi }

// Factor is one thing that the operator chooses or records for a lot.
type Factor struct {
	Column    string    // column of the file, ending in its unit: "strength_pct"
	Title     string    // in words: "permanganate on the pellets"
	Unit      string    // as printed: "%"
	Transform Transform // how it enters the dose
	Optional  bool      // a trial may leave it out
	Typical   Range     // values met in practice, for warnings only; zero: not known
	Step      float64   // how finely people dial it
	Less      bool      // of two equal results, the one with less of it is better
	Increases bool      // more of it never discharges less
	// Monotone: it acts one way all along, more or less as the trials say.
	// A factor without it and without Increases may have a best value inside.
	Monotone bool `json:",omitempty"`
	// Measured: it is read on each load before it and set by nobody, so that neither plans nor
	// suggestions choose it.
	Measured bool `json:",omitempty"`
}

// Name is the column without its unit, as in flags: time_min gives "time",
// add_on_gsm "add-on".
func (f Factor) Name() string {
	name := f.Column
	if i := strings.LastIndexByte(name, '_'); i > 0 && slices.Contains(unitSuffixes(), name[i+1:]) {
		name = name[:i]
	}
	return strings.ReplaceAll(name, "_", "-")
}

// IsStrength reports whether the factor is the amount of oxidizer, so that
// zero of it makes a blank.
func (f Factor) IsStrength() bool { return strings.HasPrefix(f.Column, "strength_") }

// Check returns why v cannot be a value of the factor in a lot that carries
// oxidizer, or nil.
func (f Factor) Check(v float64) error {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return badValue("%s must be a finite number", f.Column)
	}
	least, most := math.Inf(-1), math.Inf(1)
	switch {
	case f.Transform == InverseKelvin || strings.HasSuffix(f.Column, "_c"):
		least, most = -50, 250 // °C; more is Fahrenheit or kelvin
	case f.Column == "ph":
		least, most = 0, 14
	case f.Transform == Recorded || f.Column == "rpm" || f.Column == "moisture_pct":
		least = 0
	case f.Column == "strength_pct":
		most = 100
	}
	switch {
	case f.Transform == Log && v <= 0:
		return badValue("%s must be above 0", f.Column)
	case v < least && math.IsInf(most, 1):
		return badValue("%s must not be below %g", f.Column, least)
	case v > most && math.IsInf(least, -1):
		return badValue("%s must not exceed %g %s", f.Column, most, f.Unit)
	case v < least || v > most:
		return badValue("%s must lie in %g to %g %s", f.Column, least, most, f.Unit)
	}
	return nil
}

// unitSuffixes are the last words of a column that name a unit.
func unitSuffixes() []string {
	return []string{"pct", "gpl", "gnm3", "gsm", "min", "c", "kg", "lpkg", "nm3pmin", "g", "l", "mm", "bar", "s", "h"}
}

// Caution is one thing that can hurt someone, and the standing of what is said.
type Caution struct {
	Hazard string // the substance or the act
	Text   string
	Source string // FromMemory, CommonPractice, or a reference
}

// FromMemory marks figures that were not checked against the official text.
const FromMemory = "from memory: check the current official text"

// Deference closes every list of cautions.
const Deference = "These are reminders, not a safety assessment: the safety data sheets of your products, " +
	"local codes and permits, and trained, licensed staff come first."

// ActiveRule gives the active oxidizer in g per kg of dry garment as
// Scale × the product of Times ÷ the product of Over. The zero rule gives nothing.
type ActiveRule struct {
	Scale float64
	Times []string // columns
	Over  []string // columns
	Of    string   // what is counted: "KMnO4", "available chlorine as Cl2"
}

// Process is a way to take color out of garments: its factors, its chemistry
// in words, its cautions. It is data: a new one is a new entry.
type Process struct {
	ID       string
	Title    string
	Oxidizer string
	Carrier  string   // stones, powder, pellets; "" when there is none
	Factors  []Factor // in the order in which they are asked for
	Active   ActiveRule
	Practice []string // how it is run; all CommonPractice
	Cautions []Caution
}

// clone is a copy that shares nothing.
func (p Process) clone() Process {
	p.Factors, p.Practice, p.Cautions = slices.Clone(p.Factors), slices.Clone(p.Practice), slices.Clone(p.Cautions)
	p.Active.Times, p.Active.Over = slices.Clone(p.Active.Times), slices.Clone(p.Active.Over)
	return p
}

// Factor returns the factor of that column.
func (p Process) Factor(column string) (Factor, bool) {
	i := slices.IndexFunc(p.Factors, func(f Factor) bool { return f.Column == column })
	if i < 0 {
		return Factor{}, false
	}
	return p.Factors[i], true
}

// Strength returns the factor that measures the oxidizer, if there is one.
func (p Process) Strength() (Factor, bool) {
	i := slices.IndexFunc(p.Factors, Factor.IsStrength)
	if i < 0 {
		return Factor{}, false
	}
	return p.Factors[i], true
}

// Check returns the first reason why s cannot be the settings of a lot with
// oxidizer: a factor that is missing, unknown or has an impossible value.
func (p Process) Check(s Settings) error {
	for _, f := range p.Factors {
		v, ok := s[f.Column]
		if !ok && !f.Optional {
			return fmt.Errorf("%s needs %s (%s, %s)", p.ID, f.Column, f.Title, f.Unit)
		}
		if ok {
			if err := f.Check(v); err != nil {
				return err
			}
		}
	}
	for _, column := range slices.Sorted(maps.Keys(s)) {
		if _, ok := p.Factor(column); !ok {
			return fmt.Errorf("%w %q for %s%s", ErrUnknownFactor, column, p.ID, didYouMean(column, p.columns()))
		}
	}
	return nil
}

// Unusual lists, in words, the settings outside what is met in practice.
func (p Process) Unusual(s Settings) []string {
	var out []string
	for _, f := range p.Factors {
		if v, ok := s[f.Column]; ok && f.Typical.Known() && !f.Typical.Contains(v) {
			out = append(out, fmt.Sprintf("%s %g is outside %s", f.Column, v, f.typical()))
		}
	}
	return out
}

func (f Factor) typical() string {
	unit := f.Unit
	if unit != "" {
		unit = " " + unit
	}
	return fmt.Sprintf("the usual %g to %g%s (%s)", f.Typical.Lo, f.Typical.Hi, unit, f.Typical.Note)
}

// ActivePerKg returns the active oxidizer applied, in g per kg of dry garment
// (what it counts is Active.Of). It reports false when the process has no rule
// or the settings lack a quantity that must be measured, such as the liquid
// that stones hold.
func (p Process) ActivePerKg(s Settings) (gPerKg float64, ok bool) {
	if p.Active.Scale == 0 {
		return 0, false
	}
	g := p.Active.Scale
	for _, c := range p.Active.Times {
		v, ok := s[c]
		if !ok {
			return 0, false
		}
		g *= v
	}
	for _, c := range p.Active.Over {
		v, ok := s[c]
		if !ok {
			return 0, false
		}
		g /= v
	}
	if math.IsNaN(g) || math.IsInf(g, 0) {
		return 0, false
	}
	return g, true
}

func (p Process) columns() []string {
	names := make([]string, len(p.Factors))
	for i, f := range p.Factors {
		names[i] = f.Column
	}
	return names
}

// LookupProcess returns the built-in process of that id. The error names the
// nearest one.
func LookupProcess(id string) (Process, error) { return lookupProcess(id, nil) }

// lookupProcess also looks through the user's own processes.
func lookupProcess(id string, own []Process) (Process, error) {
	all := append(Processes(), own...)
	ids := make([]string, len(all))
	want := strings.ToLower(strings.TrimSpace(id))
	for i, p := range all {
		if p.ID == want {
			return p, nil
		}
		ids[i] = p.ID
	}
	hint := didYouMean(want, ids)
	if hint == "" {
		hint = "; known are " + strings.Join(ids, ", ") + ", and those of a process file"
	}
	return Process{}, fmt.Errorf("%w: no process %q%s", ErrWrongProcess, id, hint)
}
