package main

import (
	"math"
	"slices"

	"github.com/spf13/cobra"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

type suggestFlags struct {
	target    string
	lab       labValue
	tolerance number
	strengths numbers
	count     int
	maxLoss   number
	percent   reflectance
	viewing   viewing
	min, max  *factorFlags
}

func newSuggest(e *env, processes []discharge.Process) *cobra.Command {
	var f suggestFlags
	cmd := &cobra.Command{
		Use:     "suggest MODEL (--target FILE.csv | --lab L,a,b)",
		GroupID: "model",
		Short:   "Find settings that reach a target shade",
		Long: `Looks for the settings whose next lot most probably passes, inside the trials'
range or the bounds that you give; equal bounds fix a setting. A target is a
table with an id and readings, or one with a role column whose rows standard,
light_limit and dark_limit belong together. A target that discharge cannot
reach on this fabric is reported as such, with the nearest shade and the reason.`,
		Example: `  dosetone suggest model.json --target standard.csv --tolerance 1.5
  dosetone suggest model.json --lab 48,-2.6,-9 --strengths 4,6.5,10 --max-time 20
  dosetone suggest model.json --target standard.csv --min-time 15 --max-time 15 --format json`,
		Args: cobra.ExactArgs(1),
		RunE: e.work(func(_ *cobra.Command, args []string) error { return e.suggest(args[0], f) }),
	}
	e.registerTables(cmd)
	fl := cmd.Flags()
	fl.StringVar(&f.target, "target", "", "table with the target's readings; - for standard input")
	fl.Var(&f.lab, "lab", "target as L,a,b under the model's viewing")
	fl.Var(&f.tolerance, "tolerance", "ΔE00 from the target that still passes (default 1.5)")
	fl.Var(&f.strengths, "strengths", "strengths in store, such as 1,2,4; nothing between them")
	fl.Var(&f.maxLoss, "max-tensile-loss", "most tensile loss, in %, that a lot may be expected to have (needs tested trials)")
	fl.IntVar(&f.count, "count", 5, "most suggestions per target")
	fl.Var(&f.viewing, "viewing", "viewing of L,a,b or X,Y,Z in the target file; default: the file's, or the model's")
	fl.Var(&f.percent, "reflectance", "scale of spectra in a target file without a unit column")
	f.min = registerFactors(cmd, processes, "min-", "least", false)
	f.max = registerFactors(cmd, processes, "max-", "most", false)
	return cmd
}

// suggestResult is the JSON form of the answer for one target; other programs
// rely on its keys.
type suggestResult struct {
	Target              targetJSON   `json:"target"`
	Viewing             string       `json:"viewing"`
	Tolerance           float64      `json:"tolerance"`
	Reachable           bool         `json:"reachable"`
	ClosestDeltaE       float64      `json:"closest_delta_e"`
	Closest             shadeJSON    `json:"closest"`
	BestPassProbability float64      `json:"best_pass_probability"`
	Why                 string       `json:"why"`
	Suggestions         []suggestion `json:"suggestions"`
}

type targetJSON struct {
	ID string `json:"id"`
	shadeJSON
	Light *shadeJSON `json:"light_limit,omitempty"`
	Dark  *shadeJSON `json:"dark_limit,omitempty"`
}

type suggestion struct {
	Settings        discharge.Settings `json:"settings"`
	Shade           shadeJSON          `json:"shade"`
	LotInterval     intervalJSON       `json:"lot_interval"`
	DeltaE          float64            `json:"delta_e"`
	Along           float64            `json:"along"`
	Off             float64            `json:"off"`
	PassProbability float64            `json:"pass_probability"`
	TimeWindowMin   *[2]float64        `json:"time_window_min"` // null when time is no factor or nothing passes
	ActiveGPerKg    *float64           `json:"active_g_per_kg"` // null when it cannot be told
	TensileLossPct  *tensileJSON       `json:"tensile_loss_pct,omitempty"`
	Extrapolated    bool               `json:"extrapolated"`
}

func (e *env) suggest(modelName string, f suggestFlags) error {
	switch {
	case f.target != "" && f.lab.set:
		return usage("give --target or --lab, not both")
	case f.target == "" && !f.lab.set:
		return usage("no target: give --target FILE.csv or --lab L,a,b")
	case f.tolerance.set && f.tolerance.value <= 0:
		return usage("--tolerance must be above 0 (a ΔE00, such as 1.5)")
	case f.maxLoss.set && !(f.maxLoss.value > 0 && f.maxLoss.value <= 100):
		return usage("--max-tensile-loss must be above 0 and at most 100 (a percentage)")
	case f.count < 1:
		return usage("--count must be at least 1")
	}
	m, err := e.model(modelName)
	if err != nil {
		return err
	}
	opt, err := e.suggestOptions(m, f)
	if err != nil {
		return err
	}
	targets := []discharge.Target{{ID: "lab", Viewing: m.Viewing(), Lab: f.lab.lab}}
	if f.target != "" {
		if targets, err = e.readTargetsUnder(f.target, m, bool(f.percent), f.viewing); err != nil {
			return err
		}
	}
	var list []suggestResult
	for _, t := range targets {
		if err := e.ctx.Err(); err != nil {
			return err
		}
		s, err := m.SuggestContext(e.ctx, t, opt)
		if err != nil {
			return err
		}
		r, err := newSuggestResult(m, s)
		if err != nil {
			return err
		}
		list = append(list, r)
	}
	return e.showSuggestions(m, list)
}

// suggestOptions turns the flags into bounds for this model's factors.
func (e *env) suggestOptions(m *discharge.Model, f suggestFlags) (*discharge.SuggestOptions, error) {
	p := m.Process()
	least, err := f.min.settings(p)
	if err != nil {
		return nil, err
	}
	most, err := f.max.settings(p)
	if err != nil {
		return nil, err
	}
	opt := &discharge.SuggestOptions{Tolerance: f.tolerance.value, Count: f.count, MaxTensileLossPct: f.maxLoss.value, Bounds: map[string]discharge.Range{}, Available: map[string][]float64{}}
	known := map[string]bool{}
	for _, r := range m.Factors() {
		known[r.Column] = true
		lo, hasLo := least[r.Column]
		hi, hasHi := most[r.Column]
		if !hasLo && !hasHi {
			continue
		}
		b := discharge.Range{Lo: r.Lo, Hi: r.Hi}
		if hasLo {
			b.Lo = lo
		}
		if hasHi {
			b.Hi = hi
		}
		if b.Lo > b.Hi {
			if hasLo && hasHi {
				return nil, usage("--min-%s %g is above --max-%[1]s %g", r.Name(), lo, hi)
			}
			given, other := "min", "max"
			if hasHi {
				given, other = "max", "min"
			}
			return nil, usage("--%s-%s lies outside the trials' %g to %g %s; give --%s-%[2]s too to search there",
				given, r.Name(), r.Lo, r.Hi, r.Unit, other)
		}
		opt.Bounds[r.Column] = b
	}
	for _, f := range p.Factors {
		_, lo := least[f.Column]
		_, hi := most[f.Column]
		if (lo || hi) && !known[f.Column] {
			e.warn("%s is not in the model, which has no trials with it: its bounds have no effect", f.Column)
		}
	}
	if len(f.strengths) == 0 {
		return opt, nil
	}
	s, ok := p.Strength()
	if !ok {
		return nil, usage("--strengths: %s has no strength", p.ID)
	}
	for _, v := range f.strengths {
		if err := s.Check(v); err != nil {
			return nil, usage("--strengths: %w", err)
		}
	}
	if lo, hi := slices.Min(f.strengths), slices.Max(f.strengths); hasBounds(opt, s.Column) && (lo > opt.Bounds[s.Column].Hi || hi < opt.Bounds[s.Column].Lo) {
		return nil, usage("--strengths: none lies between --min-strength and --max-strength")
	}
	opt.Available[s.Column] = f.strengths
	return opt, nil
}

func hasBounds(opt *discharge.SuggestOptions, column string) bool {
	_, ok := opt.Bounds[column]
	return ok
}

func newSuggestResult(m *discharge.Model, s discharge.Suggestions) (suggestResult, error) {
	r := suggestResult{
		Target:  targetJSON{ID: s.Target.ID, shadeJSON: shadeOf(s.Target.Lab), Light: optional(s.Target.Light), Dark: optional(s.Target.Dark)},
		Viewing: m.Viewing().String(), Tolerance: s.Tolerance, Reachable: s.Reachable, ClosestDeltaE: s.ClosestDeltaE, Closest: shadeOf(s.Closest),
		BestPassProbability: s.BestPassProbability, Why: s.Why, Suggestions: []suggestion{},
	}
	for _, x := range s.List {
		p, err := m.Predict(x.Settings)
		if err != nil {
			return r, err
		}
		y := suggestion{Settings: x.Settings, Shade: shadeOf(x.Shade), LotInterval: intervalOf(p), DeltaE: x.DeltaE, Along: x.Along, Off: x.Off,
			PassProbability: x.PassProbability, TensileLossPct: tensileOf(x.TensileLossPct), Extrapolated: x.Extrapolated}
		if w := x.TimeWindowMin; w != [2]float64{} {
			y.TimeWindowMin = &w
		}
		if x.ActiveGPerKg > 0 && !math.IsInf(x.ActiveGPerKg, 0) {
			y.ActiveGPerKg = &x.ActiveGPerKg
		}
		r.Suggestions = append(r.Suggestions, y)
	}
	return r, nil
}

func optional(c *colorimetry.Lab) *shadeJSON {
	if c == nil {
		return nil
	}
	s := shadeOf(*c)
	return &s
}
