package main

import (
	"cmp"
	"errors"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
)

type planFlags struct {
	goalFlags
	lots        int
	seed        uint64
	processFile string
}

func newPlan(e *env, processes []discharge.Process) *cobra.Command {
	var f planFlags
	cmd := &cobra.Command{
		Use:     "plan (PROCESS | MODEL | --process-file FILE.json)",
		GroupID: "model",
		Short:   "Propose the trial lots to run",
		Long: `With the name of a process, plans its first trial lots: settings from which a
curved dose surface can be told, replicates of the center, and the base, blank
and white to read. With a model, plans the next lots: those that narrow the
interval at a target most, or over the whole region when no target is given.
The run order is random; the same seed gives the same order. --format csv writes
a trial table to fill in: add panel, position and the readings.`,
		Example: `  dosetone plan permanganate-pellet --min-strength 4 --max-strength 10 --min-ratio 1 --max-ratio 2 --min-time 6 --max-time 24
  dosetone plan hypochlorite-bath --lots 16 --seed 7 --format csv
  dosetone plan model.json --lab 48,-2.6,-9 --lots 4
  dosetone plan model.json --target standard.csv --max-time 20 --format json`,
		Args: cobra.MaximumNArgs(1),
		RunE: e.work(func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 && f.processFile == "" {
				return usage("name a process, such as permanganate-pellet, or a model file, or give --process-file")
			}
			if cmd.Flags().Changed("lots") && f.lots < 1 {
				return usage("--lots must be at least 1")
			}
			return e.plan(strings.Join(args, ""), f)
		}),
	}
	e.registerTables(cmd)
	fl := cmd.Flags()
	fl.IntVar(&f.lots, "lots", 0, "trial lots to plan (default 12 for a process, 4 for a model)")
	fl.Uint64Var(&f.seed, "seed", 1, "seed of the random run order")
	fl.StringVar(&f.processFile, "process-file", "", "JSON file that defines a process of your own")
	f.register(cmd, processes)
	return cmd
}

// planResult is the JSON form of a plan; other programs rely on its keys.
type planResult struct {
	Process         string         `json:"process"`
	Seed            uint64         `json:"seed"`
	Target          *targetJSON    `json:"target"` // null when there is none
	Lots            []plannedLot   `json:"lots"`   // in run order
	HalfWidthBefore *halfWidthJSON `json:"half_width_before"`
	HalfWidthAfter  *halfWidthJSON `json:"half_width_after"` // both null in a first plan
	Warnings        []string       `json:"warnings"`
}

type plannedLot struct {
	Run      int                `json:"run"`
	Lot      string             `json:"lot"`
	Role     discharge.Role     `json:"role"`
	Settings discharge.Settings `json:"settings"`
	Why      string             `json:"why"`
}

type halfWidthJSON struct {
	L      float64 `json:"L"`
	DeltaE float64 `json:"delta_e"`
}

func (e *env) plan(name string, f planFlags) error {
	if err := f.check(); err != nil {
		return err
	}
	own, err := e.readProcess(f.processFile)
	if err != nil {
		return err
	}
	if own != nil && (name == "" || own.ID == name) {
		return e.firstPlan(*own, f)
	}
	p, err := discharge.LookupProcess(name)
	if err == nil {
		return e.firstPlan(p, f)
	}
	unknown := err
	if p, err := e.readProcess(name); err == nil {
		return e.firstPlan(*p, f)
	}
	m, err := e.model(name)
	var missing *noFile
	if errors.As(err, &missing) {
		return usage("%q is neither a model file nor a process: %w", name, unknown)
	}
	if err != nil {
		return err
	}
	return e.nextPlan(m, f)
}

func (e *env) firstPlan(p discharge.Process, f planFlags) error {
	if f.given() {
		return usage("a target needs a model: run the first plan's lots, fit them, then plan with the model")
	}
	if f.tolerance.set {
		return usage("--tolerance belongs to a target, which needs a model")
	}
	opt, err := f.options(p, "the usual", func(x discharge.Factor) (discharge.Range, bool) { return x.Typical, x.Typical.Known() })
	if err != nil {
		return err
	}
	plan, err := discharge.FirstPlanContext(e.ctx, p, opt)
	if err != nil {
		return err
	}
	plan.Warnings = append(doubts(p, nil, asked(opt.Bounds, opt.Available)...), plan.Warnings...)
	return e.showPlan(plan, nil, nil)
}

func (e *env) nextPlan(m *discharge.Model, f planFlags) error {
	opt, err := f.options(m.Process(), "the trials'", trialRange(m))
	if err != nil {
		return err
	}
	if f.tolerance.set && !f.given() {
		return usage("--tolerance belongs to a target: give --target or --lab, too")
	}
	if f.given() {
		list, err := e.targets(&f.goalFlags, m)
		if err != nil {
			return err
		}
		if len(list) > 1 {
			e.warn("%s holds %d targets: the plan is for the first, %q", shown(f.target), len(list), list[0].ID)
		}
		opt.Target = &list[0]
	}
	plan, err := m.PlanContext(e.ctx, opt)
	if err != nil {
		return err
	}
	plan.Warnings = append(doubts(m.Process(), m.Factors(), asked(opt.Bounds, opt.Available)...), plan.Warnings...)
	return e.showPlan(plan, noted(m), opt.Target)
}

func (f *planFlags) options(p discharge.Process, whose string, known func(discharge.Factor) (discharge.Range, bool)) (*discharge.PlanOptions, error) {
	bounds, err := f.bounds(p, whose, known)
	if err != nil {
		return nil, err
	}
	available, err := f.available(p, bounds)
	return &discharge.PlanOptions{Lots: f.lots, Seed: f.seed, Bounds: bounds, Available: available, Tolerance: f.tolerance.value}, err
}

func (e *env) showPlan(plan *discharge.Plan, note []discharge.Factor, target *discharge.Target) error {
	e.warnEach(plan.Warnings)
	for _, l := range plan.Lots {
		for column, v := range l.Settings {
			l.Settings[column] = dialed(v)
		}
	}
	r := planResult{Process: plan.Process.ID, Seed: plan.Seed, Lots: []plannedLot{}, Warnings: orEmpty(plan.Warnings)}
	if target != nil {
		r.Target = &targetJSON{ID: target.ID, shadeJSON: shadeOf(target.Lab)}
	}
	if plan.Before != (discharge.HalfWidth{}) {
		before, after := halfWidthJSON(plan.Before), halfWidthJSON(plan.After)
		r.HalfWidthBefore, r.HalfWidthAfter = &before, &after
	}
	for _, l := range plan.Lots {
		r.Lots = append(r.Lots, plannedLot{l.Run, l.ID, l.Role, l.Settings, l.Why})
	}
	switch e.format {
	case formatJSON:
		return report.JSON(&e.out, r)
	case formatCSV:
		return e.rows(planRows(plan, note))
	}
	e.planText(plan, r, note)
	return nil
}

// held lists the factors that a plan leaves alone and lots may differ in, with the
// flag's name of the first.
func held(plan *discharge.Plan, planned []discharge.Factor) (titles []string, flag string) {
	for _, f := range plan.Process.Factors {
		if !f.Optional || f.Measured || f.Transform == discharge.Recorded || slices.ContainsFunc(planned, func(x discharge.Factor) bool { return x.Column == f.Column }) {
			continue
		}
		flag = cmp.Or(flag, f.Name())
		titles = append(titles, f.Title)
	}
	return titles, flag
}

// dialed is a setting without what sums of binary fractions leave behind its last
// digit: 0.35, not 0.35000000000000003. Twelve digits hold what anyone typed.
func dialed(v float64) float64 {
	f, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
	if err != nil {
		return v
	}
	return f
}

// planColumns are the factors of a plan that are set in any of its lots.
func planColumns(plan *discharge.Plan) []discharge.Factor {
	return usedColumns(plan.Process, settingsOf(plan.Lots, func(l discharge.PlannedLot) discharge.Settings { return l.Settings }))
}

// titles are what factors are called in words.
func titles(factors []discharge.Factor) (words []string) {
	for _, f := range factors {
		words = append(words, f.Title)
	}
	return words
}

// noted are the factors of a model that nobody chose: to be noted with every lot.
func noted(m *discharge.Model) (columns []discharge.Factor) {
	for _, f := range m.Factors() {
		if !f.Chosen && !f.Fixed && !f.Measured {
			columns = append(columns, f.Factor)
		}
	}
	return columns
}

// planRows is the table to fill in, with empty columns for what is to be noted.
func planRows(plan *discharge.Plan, note []discharge.Factor) [][]any {
	columns := append(planColumns(plan), note...)
	rows := [][]any{append([]any{"run", "lot", "role", "process"}, columnNames(columns)...)}
	for _, l := range plan.Lots {
		rows = append(rows, append([]any{l.Run, l.ID, string(l.Role), plan.Process.ID}, settingValues(columns, l.Settings)...))
	}
	return rows
}

func (e *env) planText(plan *discharge.Plan, r planResult, note []discharge.Factor) {
	trials := len(plan.Trials())
	if r.HalfWidthBefore == nil {
		e.printf("First %d trial %s of %s (%s)\n", trials, plural(trials, "lot", "lots"), r.Process, plan.Process.Title)
	} else if r.Target != nil {
		e.printf("Next %d %s of %s for target %s\n", trials, plural(trials, "lot", "lots"), r.Process, r.Target.ID)
	} else {
		e.printf("Next %d %s of %s\n", trials, plural(trials, "lot", "lots"), r.Process)
	}
	t := report.Table{Header: []string{"run", "lot", "role"}, Units: []string{"", "", ""}, Left: []bool{false, true, true}}
	columns := planColumns(plan)
	for _, f := range columns {
		t.Header, t.Units, t.Left = append(t.Header, f.Name()), append(t.Units, f.Unit), append(t.Left, false)
	}
	t.Header, t.Units, t.Left = append(t.Header, "why"), append(t.Units, ""), append(t.Left, true)
	for _, l := range plan.Lots {
		row := []string{report.Short(float64(l.Run), 3), l.ID, string(l.Role)}
		row = append(row, settingCells(columns, l.Settings, report.Exact)...)
		t.Add(append(row, l.Why)...)
	}
	e.printf("%s", &t)
	if r.HalfWidthBefore != nil {
		where := "on average over the region"
		if r.Target != nil {
			where = "at the target"
		}
		e.printf("The expected shade %s is known to L* ± %s (ΔE00 %s); after these lots to about ± %s (ΔE00 %s). ± holds 95 %%.\n", where,
			report.Fixed(r.HalfWidthBefore.L, 2), report.Fixed(r.HalfWidthBefore.DeltaE, 2), report.Fixed(r.HalfWidthAfter.L, 2), report.Fixed(r.HalfWidthAfter.DeltaE, 2))
	}
	if names, flag := held(plan, columns); len(names) > 0 && r.HalfWidthBefore == nil {
		e.printf("Not planned: %s. Keep %s as in production and note %[2]s with every lot; bounds, such as --min-%s and --max-%[3]s, plan %[2]s too.\n",
			strings.Join(names, ", "), plural(len(names), "it", "them"), flag)
	}
	if len(note) > 0 {
		e.printf("Note with every lot, as they drift: %s.\n", strings.Join(titles(note), ", "))
	}
	e.printf("Run them in this order (seed %d); --format csv writes the table to fill in.\n", r.Seed)
	e.cautions(plan.Process)
}
