package main

import (
	"math"

	"github.com/spf13/cobra"

	"example.com/dosetone/discharge"
)

type suggestFlags struct {
	goalFlags
	count   int
	limit   number
	maxLoss number
	stated  *factorFlags
	report  reportFlags
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
  dosetone suggest model.json --target standard.csv --report suggest.html --figure pass=pass.svg
  dosetone suggest model.json --target standard.csv --min-time 15 --max-time 15 --format json`,
		Args: cobra.ExactArgs(1),
		RunE: e.work(func(_ *cobra.Command, args []string) error { return e.suggest(args[0], f) }),
	}
	e.registerTables(cmd)
	fl := cmd.Flags()
	fl.Var(&f.limit, "limit-tolerance", "ΔE00 past an approved light or dark limit that still passes, such as 0.1 where limits are final (default: the tolerance)")
	fl.Var(&f.maxLoss, "max-tensile-loss", "most tensile loss, in %, that a lot may be expected to have (needs tested trials)")
	fl.IntVar(&f.count, "count", 5, "most suggestions per target")
	f.register(cmd, processes)
	f.stated = registerStated(cmd, processes)
	f.report.register(cmd, suggestFigures()...)
	return cmd
}

// suggestResult is the JSON form of the answer for one target; other programs
// rely on its keys.
type suggestResult struct {
	Target              targetJSON   `json:"target"`
	Viewing             string       `json:"viewing"`
	Tolerance           float64      `json:"tolerance"`
	LimitTolerance      float64      `json:"limit_tolerance"` // past a light or dark limit
	Reachable           bool         `json:"reachable"`
	ClosestDeltaE       float64      `json:"closest_delta_e"`
	Closest             shadeJSON    `json:"closest"`
	BestPassProbability float64      `json:"best_pass_probability"`
	Why                 string       `json:"why"`
	Suggestions         []suggestion `json:"suggestions"`
	Nearest             *suggestion  `json:"nearest,omitempty"` // of a target that is not reachable
	Warnings            []string     `json:"warnings"`
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
	TimeWindowMin   *[2]float64        `json:"time_window_min"`              // null when time is no factor or nothing passes
	WindowPass      *[2]float64        `json:"time_window_pass_probability"` // at either end of it
	ActiveGPerKg    *float64           `json:"active_g_per_kg"`              // null when it cannot be told
	TensileLossPct  *tensileJSON       `json:"tensile_loss_pct,omitempty"`
	Extrapolated    bool               `json:"extrapolated"`
}

func (s suggestion) settings() discharge.Settings { return s.Settings }

func (e *env) suggest(modelName string, f suggestFlags) error {
	if err := f.check(); err != nil {
		return err
	}
	switch {
	case !f.given():
		return usage("no target: give --target FILE.csv or --lab L,a,b")
	case f.maxLoss.set && !(f.maxLoss.value > 0 && f.maxLoss.value <= 100):
		return usage("--max-tensile-loss must be above 0 and at most 100 (a percentage)")
	case f.count < 1:
		return usage("--count must be at least 1")
	}
	if err := f.report.check(); err != nil {
		return err
	}
	e.warnFraction("max-tensile-loss", f.maxLoss)
	m, err := e.model(modelName)
	if err != nil {
		return err
	}
	opt, err := f.options(m)
	if err != nil {
		return err
	}
	e.warnEach(doubts(m.Process(), m.Factors(), asked(opt.Bounds, opt.Available)...))
	targets, err := e.targets(&f.goalFlags, m)
	if err != nil {
		return err
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
		e.warnAll(s.Warnings)
		found := settingsOf(s.List, func(x discharge.Suggestion) discharge.Settings { return x.Settings })
		if s.Nearest != nil {
			found = append(found, s.Nearest.Settings)
		}
		e.warnEach(doubts(m.Process(), m.Factors(), found...))
		r, err := newSuggestResult(m, s)
		if err != nil {
			return err
		}
		list = append(list, r)
	}
	if f.report.wanted() {
		p, err := e.suggestPage(m, list, targets)
		if err != nil {
			return err
		}
		if err := e.writeReport(f.report, p); err != nil {
			return err
		}
	}
	return e.showSuggestions(m, list)
}

// options turns the flags into bounds for this model's factors.
func (f *suggestFlags) options(m *discharge.Model) (*discharge.SuggestOptions, error) {
	p := m.Process()
	bounds, err := f.bounds(p, "the trials'", trialRange(m))
	if err != nil {
		return nil, err
	}
	stated, err := f.stated.settings(p)
	if err != nil {
		return nil, err
	}
	for c, v := range stated {
		if _, ok := bounds[c]; ok {
			x, _ := p.Factor(c)
			return nil, usage("--%s says what it is for this load: --min-%[1]s and --max-%[1]s do not go with it", x.Name())
		}
		bounds[c] = discharge.Range{Lo: v, Hi: v}
	}
	available, err := f.available(p, bounds)
	return &discharge.SuggestOptions{Tolerance: f.tolerance.value, LimitTolerance: f.limit.value, Count: f.count, MaxTensileLossPct: f.maxLoss.value, Bounds: bounds, Available: available}, err
}

func newSuggestResult(m *discharge.Model, s discharge.Suggestions) (suggestResult, error) {
	r := suggestResult{
		Target:  targetJSON{ID: s.Target.ID, shadeJSON: shadeOf(s.Target.Lab), Light: optional(s.Target.Light), Dark: optional(s.Target.Dark)},
		Viewing: m.Viewing().String(), Tolerance: s.Tolerance, LimitTolerance: s.LimitTolerance, Reachable: s.Reachable, ClosestDeltaE: s.ClosestDeltaE, Closest: shadeOf(s.Closest),
		BestPassProbability: s.BestPassProbability, Why: s.Why, Suggestions: []suggestion{}, Warnings: inWords(s.Warnings),
	}
	for i := range s.List {
		y, err := newSuggestion(m, &s.List[i])
		if err != nil {
			return r, err
		}
		r.Suggestions = append(r.Suggestions, y)
	}
	if s.Nearest != nil {
		y, err := newSuggestion(m, s.Nearest)
		if err != nil {
			return r, err
		}
		r.Nearest = &y
	}
	return r, nil
}

func newSuggestion(m *discharge.Model, x *discharge.Suggestion) (suggestion, error) {
	p, err := m.Predict(x.Settings)
	if err != nil {
		return suggestion{}, err
	}
	y := suggestion{Settings: x.Settings, Shade: shadeOf(x.Shade), LotInterval: intervalOf(p, intervalLevel), DeltaE: x.DeltaE, Along: x.Along, Off: x.Off,
		PassProbability: x.PassProbability, TensileLossPct: tensileOf(x.TensileLossPct), Extrapolated: x.Extrapolated}
	if w := x.TimeWindowMin; w != [2]float64{} {
		y.TimeWindowMin, y.WindowPass = &w, &x.WindowPass
	}
	if x.ActiveGPerKg > 0 && !math.IsInf(x.ActiveGPerKg, 0) {
		y.ActiveGPerKg = &x.ActiveGPerKg
	}
	return y, nil
}
