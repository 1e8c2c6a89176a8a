package discharge

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strings"
)

// maxProcessFile bounds a process file in bytes.
const maxProcessFile = 1 << 20

// processFile is the JSON form of a user's own process.
type processFile struct {
	ID       string       `json:"id"`
	Title    string       `json:"title"`
	Extends  string       `json:"extends"`
	Oxidizer string       `json:"oxidizer"`
	Carrier  string       `json:"carrier"`
	Factors  []factorFile `json:"factors"`
	Active   *activeFile  `json:"active"`
	Practice []string     `json:"practice"`
	Cautions []string     `json:"cautions"`
}

type factorFile struct {
	Column    string    `json:"column"`
	Title     string    `json:"title"`
	Unit      string    `json:"unit"`
	Transform Transform `json:"transform"`
	Optional  bool      `json:"optional"`
	Typical   []float64 `json:"typical"`
	Step      float64   `json:"step"`
	Less      bool      `json:"less_is_better"`
	Increases bool      `json:"increases"`
	Monotone  bool      `json:"monotone"`
	Measured  bool      `json:"measured"`
}

type activeFile struct {
	Scale float64  `json:"scale"`
	Times []string `json:"times"`
	Over  []string `json:"over"`
	Of    string   `json:"of"`
}

// ReadProcess reads a user's own process from JSON:
//
//	{
//	  "id": "pellet-our-drum", "title": "pellets in the small drum",
//	  "extends": "permanganate-pellet",
//	  "factors": [
//	    {"column": "abrasion_min", "title": "abrasion before", "unit": "min",
//	     "transform": "linear", "optional": true, "typical": [0, 60], "step": 5}
//	  ]
//	}
//
// With "extends" it starts from a built-in process: factors of the same column
// replace, others are added, and the cautions are kept. Without it, "oxidizer"
// and at least one factor must be given. Transforms are log, linear,
// inverse_kelvin and recorded. "active" holds scale, times, over and of, as in
// [ActiveRule]; "increases", "monotone" and "measured" are as in [Factor]. Unknown keys,
// text after the object and impossible entries are errors; name is used in
// messages.
func ReadProcess(name string, r io.Reader) (Process, error) {
	fail := func(err error) (Process, error) { return Process{}, &RowError{File: name, Err: err} }
	data, err := io.ReadAll(io.LimitReader(r, maxProcessFile+1))
	if err != nil {
		return fail(err)
	}
	if len(data) > maxProcessFile {
		return fail(fmt.Errorf("a process file must not exceed %d bytes", maxProcessFile))
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if len(bytes.TrimSpace(data)) == 0 {
		return fail(errors.New("the file is empty; want one JSON object"))
	}
	if offset, err := checkJSON(data); err != nil {
		return Process{}, &RowError{File: name, Row: 1 + bytes.Count(data[:min(int(offset), len(data))], []byte("\n")), Err: err}
	}
	var pf processFile
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&pf); err != nil {
		row := 1 + bytes.Count(data[:min(int(dec.InputOffset()), len(data))], []byte("\n"))
		var syntax *json.SyntaxError
		if errors.As(err, &syntax) {
			row = 1 + bytes.Count(data[:min(int(syntax.Offset), len(data))], []byte("\n"))
		}
		return Process{}, &RowError{File: name, Row: row, Err: err}
	}
	if _, err := dec.Token(); err != io.EOF {
		return fail(errors.New("text after the JSON object; one file holds one process"))
	}
	p, err := pf.process()
	if err != nil {
		return fail(err)
	}
	return p, nil
}

func (pf processFile) process() (Process, error) {
	var p Process
	if pf.Extends != "" {
		base, err := LookupProcess(pf.Extends)
		if err != nil {
			return p, fmt.Errorf("extends: %w", err)
		}
		p = base
	}
	p.ID = pf.ID
	if !regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`).MatchString(pf.ID) || len(pf.ID) > 64 {
		return p, fmt.Errorf("id %q must be lower-case words joined by hyphens, such as \"pellet-our-drum\"", pf.ID)
	}
	if _, err := LookupProcess(pf.ID); err == nil {
		return p, fmt.Errorf("id %q is a built-in process; take another id and \"extends\": %q", pf.ID, pf.ID)
	}
	p.Title = cmp.Or(pf.Title, p.Title)
	p.Oxidizer = cmp.Or(pf.Oxidizer, p.Oxidizer)
	p.Carrier = cmp.Or(pf.Carrier, p.Carrier)
	if p.Title == "" {
		return p, errors.New("title is missing")
	}
	if p.Oxidizer == "" {
		return p, errors.New("oxidizer is missing: name the substance, so that people know what they handle")
	}
	seen := map[string]bool{}
	for _, ff := range pf.Factors {
		f, err := ff.factor()
		if err != nil {
			return p, err
		}
		if seen[f.Column] {
			return p, fmt.Errorf("factor %q is given twice", f.Column)
		}
		seen[f.Column] = true
		if i := slices.IndexFunc(p.Factors, func(g Factor) bool { return g.Column == f.Column }); i >= 0 {
			p.Factors[i] = f
		} else {
			p.Factors = append(p.Factors, f)
		}
	}
	if err := p.checkFactors(); err != nil {
		return p, err
	}
	if _, own := p.Factor(baseColumn); !own { // any load may be read before it
		p.Factors = append(p.Factors, ownBase())
	}
	if pf.Active != nil {
		p.Active = ActiveRule(*pf.Active)
	}
	if err := p.checkActive(); err != nil {
		return p, err
	}
	p.Practice = append(p.Practice, pf.Practice...)
	for _, c := range pf.Cautions {
		p.Cautions = append(p.Cautions, Caution{Hazard: p.ID, Text: c, Source: "the process file"})
	}
	if len(p.Cautions) == 0 {
		p.Cautions = []Caution{{p.Oxidizer, "The process file gives no cautions: take them from the safety data sheet before the first load.", CommonPractice}}
	}
	return p, nil
}

// factor checks the entry and turns it into a Factor.
func (ff factorFile) factor() (Factor, error) {
	bad := func(format string, args ...any) (Factor, error) {
		return Factor{}, fmt.Errorf("factor %q: %w", ff.Column, fmt.Errorf(format, args...))
	}
	if !regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*$`).MatchString(ff.Column) || len(ff.Column) > 64 {
		return bad("column must be lower-case words joined by underscores, such as abrasion_min")
	}
	if isReservedColumn(ff.Column) {
		return bad("this column already has a meaning in trial tables")
	}
	switch ff.Transform {
	case Log, Linear, InverseKelvin, Recorded:
	default:
		return bad("transform %q is not known; want %s, %s, %s or %s%s", ff.Transform, Log, Linear, InverseKelvin, Recorded,
			didYouMean(string(ff.Transform), []string{string(Log), string(Linear), string(InverseKelvin), string(Recorded)}))
	}
	f := Factor{Column: ff.Column, Title: cmp.Or(ff.Title, strings.ReplaceAll(ff.Column, "_", " ")), Unit: ff.Unit, Transform: ff.Transform,
		Optional: ff.Optional || ff.Measured || ff.Transform == Recorded, Step: ff.Step, Less: ff.Less, Increases: ff.Increases, Monotone: ff.Monotone, Measured: ff.Measured}
	if ff.Step < 0 {
		return bad("step must not be negative")
	}
	if ff.Typical != nil {
		if len(ff.Typical) != 2 || !(ff.Typical[0] < ff.Typical[1]) {
			return bad("typical must be [low, high] with low < high")
		}
		for _, v := range ff.Typical {
			if err := f.Check(v); err != nil {
				return bad("typical: %w", err)
			}
		}
		f.Typical = Range{Lo: ff.Typical[0], Hi: ff.Typical[1], Note: "the process file"}
	}
	return f, nil
}

// check refuses a process that was not made by ReadProcess, such as one from a
// model file that someone wrote.
func (p Process) check() error {
	if len(p.Factors) > 100 {
		return fmt.Errorf("has %d factors", len(p.Factors))
	}
	seen := map[string]bool{}
	for _, f := range p.Factors {
		if seen[f.Column] {
			return fmt.Errorf("has factor %q twice", f.Column)
		}
		seen[f.Column] = true
		if _, err := (factorFile{Column: f.Column, Transform: f.Transform, Step: f.Step}).factor(); err != nil {
			return err
		}
		if !magnitude(valueLimit, f.Step, f.Typical.Lo, f.Typical.Hi) {
			return fmt.Errorf("factor %q: step or usual range out of range", f.Column)
		}
	}
	if err := p.checkFactors(); err != nil {
		return err
	}
	if !magnitude(valueLimit, p.Active.Scale) {
		return errors.New("active: scale out of range")
	}
	return p.checkActive()
}

// checkFactors refuses a process that cannot be fitted.
func (p Process) checkFactors() error {
	dose, required, strengths := 0, 0, 0
	for _, f := range p.Factors {
		if f.Transform != Recorded {
			if f.Column != baseColumn { // which each built-in process has, besides what files may add
				dose++
			}
			if !f.Optional {
				required++
			}
		}
		if f.IsStrength() {
			strengths++
		}
	}
	switch {
	case required == 0:
		return errors.New("needs at least one factor that is neither optional nor recorded")
	case dose > maxPrimary:
		return fmt.Errorf("has %d factors of the dose; at most %d can be fitted", dose, maxPrimary)
	case strengths > 1:
		return errors.New("has two strength columns: keep the one whose unit you use")
	}
	return nil
}

func (p Process) checkActive() error {
	a := p.Active
	if a.Scale == 0 && len(a.Times)+len(a.Over) == 0 {
		return nil
	}
	if !(a.Scale > 0) {
		return errors.New("active: scale must be above 0")
	}
	for _, c := range slices.Concat(a.Times, a.Over) {
		if _, ok := p.Factor(c); !ok {
			return fmt.Errorf("active: %q is not a factor of this process%s", c, didYouMean(c, p.columns()))
		}
	}
	return nil
}
