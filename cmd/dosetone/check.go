package main

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
)

// checkFlags are the buyer's terms and the laundry's knowledge.
type checkFlags struct {
	standard, standardID    string
	lots                    []string
	tolerance, garment      number
	limit                   number
	share, confidence, band number
	difference              string
	model, base, pairs      string
	ledger                  string
	process                 string
	inDrum, bandsOnly       bool
	reworked, replace       bool
	processFile             string
	own                     *discharge.Process // of that file
	before                  string
	passTime                number
	read                    readFlags
	second                  *factorFlags
	report                  reportFlags
}

func newCheck(e *env, processes []discharge.Process) *cobra.Command {
	var f checkFlags
	cmd := &cobra.Command{
		Use:     "check LOT (--standard FILE | --bands-only)",
		GroupID: "floor",
		Short:   "Judge lots: pass or not, why, and what to do",
		Long: `Compares the panels of a lot with a buyer's standard and says accept, reject, or
how many more panels would settle it, with the probability that the lot is good.
LOT is a table of readings; its lots with role production are judged (or trial,
when there are none). With a model it says how much of the difference is dose
and what else went wrong, each cause with its evidence and the usual remedy, and
how many minutes of a second pass remain. Rows with role base and the lot's name
are the base of that load.

A ledger gets one line per lot, never two, and shows drift of the laundry against
its model. A lot that was to be measured more has its line replaced once it is
judged from more panels, and --replace puts right one that was judged against the
wrong standard. dosetone ledger sums a ledger up. Panels read before the cloth is
finished and dry need --pairs, a table of panels read at both stages.

A lot that was discharged again is judged with --reworked: its line in the ledger
gets the new verdict and keeps the first one and the dose of its first pass. With
--before, its readings before that pass, and the pass's --pass-time, another pass is
worked out from what that one did.

A lot whose mean passes while single panels lie outside is accepted, but to be
sorted. The exit code is 3 when a lot is rejected, and 1 when one of several
lots could not be judged, as without --pairs: the others are, all the same.`,
		Example: `  dosetone check lot.csv --standard standard.csv --tolerance 1.5
  dosetone check lot.csv --standard standard.csv --model model.json --ledger ledger.csv
  dosetone check lot.csv --standard standard.csv --model model.json --report lot.html
  dosetone check lot.csv --standard standard.csv --model model.json --reworked --before first.csv --pass-time 2.5
  dosetone check trials.csv --bands-only --band 1 --report bands.html
  dosetone check lot.csv --standard standard.csv --difference CMC --tolerance 2 --share 80 --format json`,
		Args: cobra.ExactArgs(1),
		RunE: e.work(func(_ *cobra.Command, args []string) error { return e.check(args[0], &f) }),
	}
	fl := cmd.Flags()
	fl.StringVar(&f.standard, "standard", "", "table with the buyer's standard and, if any, its light and dark limit")
	fl.StringVar(&f.standardID, "standard-id", "", "which standard of that table; needed when it has several")
	fl.StringSliceVar(&f.lots, "lot", nil, "judge only these lots")
	fl.Var(&f.tolerance, "tolerance", "difference of the lot's mean that still passes (default 1.5)")
	fl.Var(&f.limit, "limit-tolerance", "difference past an approved light or dark limit that still passes, such as 0.1 where limits are final (default: the tolerance)")
	fl.Var(&f.garment, "garment-tolerance", "difference of a single garment that still passes (default: that of the mean)")
	fl.Var(&f.share, "share", "percent of garments that must pass too (default: the mean alone counts)")
	fl.Var(&f.confidence, "confidence", "percent of certainty to accept or to reject (default 95)")
	fl.StringVar(&f.difference, "difference", "CIEDE2000", `formula: CIEDE2000, "CIEDE2000(2:1:1)", "CMC(2:1)", ...`)
	fl.StringVar(&f.model, "model", "", "model of the laundry: causes, correction, drift")
	fl.StringVar(&f.base, "bases", "", "table with bases of earlier loads of this fabric, to know how they scatter")
	fl.StringVar(&f.pairs, "pairs", "", "table with panels read at an earlier stage and finished and dry")
	fl.StringVar(&f.ledger, "ledger", "", "CSV file that gets one line per lot; made if need be")
	fl.Var(&f.band, "band", "ΔE00 that two lots of one shade band may differ by (default: the tolerance)")
	fl.StringVar(&f.process, "process", "", "process of the lots, when the file has no process column")
	fl.StringVar(&f.processFile, "process-file", "", "JSON file that defines the process, when it is your own and no model says so")
	fl.BoolVar(&f.bandsOnly, "bands-only", false, "only group the lots, or base rolls when there are no lots, into shade bands; needs no standard")
	fl.BoolVar(&f.inDrum, "in-drum", false, "the lot is still in the drum with its charge: minutes to go on, not of a second pass")
	fl.BoolVar(&f.replace, "replace", false, "lots that are in the ledger already get the new line in the place of the old one, as after a wrong standard")
	fl.BoolVar(&f.reworked, "reworked", false, "the lots were discharged again: their ledger lines get the new verdict, and nothing is said of the dose of their settings")
	e.registerTables(cmd)
	e.registerLots(cmd)
	f.read.register(cmd)
	f.report.register(cmd, checkFigures()...)
	fl.StringVar(&f.before, "before", "", "table with the lots as they were read before their last pass, with --reworked: what that pass did says how long the next one takes")
	fl.Var(&f.passTime, "pass-time", "minutes of that pass, at --second-... or the table's settings")
	f.second = registerFactors(cmd, processes, "second-", "of a second pass:", true)
	// Refused with a reason, so not for the help: the time is the answer.
	must(fl.MarkHidden("second-time"))
	return cmd
}

// errOutside makes the exit code 3: the results are written, and the lots are
// outside tolerance.
type errOutside struct{ lots []string }

func (o *errOutside) Error() string {
	return "outside tolerance: " + strings.Join(o.lots, ", ")
}

// unjudged says which lots could not be judged. The results of the others are
// written, and the exit code is 1: a script must not take the file for judged.
type unjudged struct {
	lots    []string
	errs    []error
	outside []string // rejected among the others
}

func (u *unjudged) Error() string {
	text := errors.Join(u.errs...).Error() + "\nnot judged: " + strings.Join(u.lots, ", ") + "; the results of the other lots are written"
	if len(u.outside) > 0 {
		text += "; outside tolerance: " + strings.Join(u.outside, ", ")
	}
	return text
}

// remedied adds to why a lot cannot be judged what to do about it here.
func remedied(err error) error {
	if !errors.Is(err, quality.ErrStage) {
		return err
	}
	return fmt.Errorf("%w; read it again finished and dry, or give such panels with --pairs FILE", err)
}

func (e *env) check(name string, f *checkFlags) error {
	opt, err := f.options()
	if err != nil {
		return err
	}
	if err := f.report.check(); err != nil {
		return err
	}
	if f.own, err = e.readProcess(f.processFile); err != nil {
		return err
	}
	e.warnFraction("share", f.share)
	width := cmp.Or(f.band.value, opt.Tolerance) // of a shade band
	if f.bandsOnly {
		return e.bandsOnly(name, f, width)
	}
	if f.model != "" {
		if opt.Model, err = e.model(f.model); err != nil {
			return err
		}
		if opt.SecondPass, err = f.secondPass(opt.Model); err != nil {
			return err
		}
	} else if f.second.any() {
		return usage("--second-... needs --model: only a model knows what more minutes do")
	}
	t, err := e.checkTable(name, f, opt.Model)
	if err != nil {
		return err
	}
	passes, err := e.lastPasses(f, t, opt.Model)
	if err != nil {
		return err
	}
	lots, err := f.chosen(t)
	if err != nil {
		return err
	}
	standard, err := e.checkStandard(f, t)
	if err != nil {
		return err
	}
	if (standard.Condition == "") != (t.Condition == "") {
		e.warn("of the standard and %s one states its measurement condition (%s) and the other does not: whether they were measured alike is not checked", t.Name, cmp.Or(standard.Condition, t.Condition))
	}
	if opt.Bases, err = e.checkBases(f, t, opt.Model); err != nil {
		return err
	}
	if opt.Stages, err = e.checkStages(f, t, opt.Model); err != nil {
		return err
	}
	j, err := e.judge(t, lots, standard, opt, f.reworked, passes)
	if err != nil {
		return err
	}
	bands, err := bandsOf(j.list, width)
	if err != nil {
		return err
	}
	ledger, trend, err := e.keepLedger(f.ledger, j.entries, opt.Model, f)
	if err != nil {
		return err
	}
	if f.report.wanted() {
		v := &checkView{list: j.list, open: j.open.lots, target: standard, bands: bands, ledger: ledger, trend: trend, opt: opt}
		if err := e.writeReport(f.report, v.page()); err != nil {
			return err
		}
	}
	if err := e.showCheck(j.list, len(lots) > 1, bands, trend, opt); err != nil {
		return err
	}
	if len(j.open.lots) > 0 {
		// The results of the others are written although the command fails.
		if err := e.flush(); err != nil {
			return err
		}
		j.open.outside = j.outside
		return &j.open
	}
	if len(j.outside) > 0 {
		return &errOutside{j.outside}
	}
	return nil
}

// judged is what became of the lots of a file.
type judged struct {
	list    []checkResult
	entries []quality.Entry // for the ledger
	outside []string        // rejected
	open    unjudged
}

// judge judges the lots one by one. Of several, those that cannot be judged stay open;
// it is an error if none can.
func (e *env) judge(t *discharge.Table, lots []discharge.Lot, standard discharge.Target, opt *quality.Options, reworked bool, passes *lastPasses) (*judged, error) {
	j := &judged{}
	checked := time.Now().UTC().Format(time.RFC3339)
	for _, lot := range lots {
		if err := e.ctx.Err(); err != nil {
			return nil, err
		}
		o := *opt
		o.Base = basesOf(t, lot.ID)
		if reworked { // its settings are those of one pass of two; another pass may be run at them
			if o.SecondPass == nil {
				o.SecondPass = lot.Settings
			}
			lot.Settings = nil
			o.LastPass = passes.of(lot.ID, o.SecondPass)
		}
		r, err := quality.Judge(t, lot, standard, &o)
		if err != nil {
			err = &discharge.RowError{File: t.Name, Row: lot.Row, Err: remedied(err)}
			if len(lots) == 1 || errors.Is(err, quality.ErrViewing) || errors.Is(err, quality.ErrCondition) {
				return nil, err
			}
			j.open.lots, j.open.errs = append(j.open.lots, lot.ID), append(j.open.errs, err)
			continue
		}
		if r.Verdict.Decision == quality.Reject {
			j.outside = append(j.outside, lot.ID)
		}
		j.list = append(j.list, newCheckResult(r))
		j.entries = append(j.entries, quality.NewEntry(r, lot, opt.Model, checked))
	}
	if len(j.list) == 0 {
		return nil, errors.Join(j.open.errs...)
	}
	return j, nil
}

// options turns the flags into the terms of the judgment.
func (f *checkFlags) options() (*quality.Options, error) {
	switch {
	case f.bandsOnly && (f.standard != "" || f.model != "" || f.ledger != ""):
		return nil, usage("--bands-only takes no --standard, --model or --ledger")
	case f.replace && (f.ledger == "" || f.reworked):
		return nil, usage("--replace needs --ledger, and does not go with --reworked")
	case f.standard == "" && !f.bandsOnly:
		return nil, usage("no standard: give --standard FILE.csv")
	case f.tolerance.set && f.tolerance.value <= 0, f.garment.set && f.garment.value <= 0:
		return nil, usage("tolerances must be above 0 (a color difference, such as 1.5)")
	case f.limit.set && !(f.limit.value > 0 && f.limit.value <= cmp.Or(f.tolerance.value, discharge.DefaultTolerance)):
		return nil, usage("--limit-tolerance must lie above 0 and not above --tolerance: how far past a limit still passes")
	case f.share.set && (f.share.value <= 0 || f.share.value >= 100):
		return nil, usage("--share must lie between 0 and 100, such as 90: a sample cannot show that all garments pass")
	case f.confidence.set && (f.confidence.value <= 50 || f.confidence.value >= 100):
		return nil, usage("--confidence must lie between 50 and 100, such as 95")
	case f.band.set && f.band.value <= 0:
		return nil, usage("--band must be above 0")
	}
	d, err := colorimetry.ParseDifference(f.difference)
	if err != nil {
		return nil, usage("--difference: %w", err)
	}
	return &quality.Options{Difference: d, Tolerance: cmp.Or(f.tolerance.value, discharge.DefaultTolerance), GarmentTolerance: f.garment.value, LimitTolerance: f.limit.value,
		Share: f.share.value / 100, Confidence: f.confidence.value / 100, InDrum: f.inDrum}, nil
}

// secondPass is the settings of a second pass, whose time is the answer.
func (f *checkFlags) secondPass(m *discharge.Model) (discharge.Settings, error) {
	if !f.second.any() {
		return nil, nil
	}
	s, err := f.second.settings(m.Process())
	if err != nil {
		return nil, err
	}
	if _, ok := s["time_min"]; ok {
		return nil, usage("--second-time: the time of the second pass is what check works out")
	}
	for _, x := range m.Factors() {
		if _, given := s[x.Column]; !given && !x.Optional && !x.Fixed && x.Column != "time_min" {
			return nil, usage("--second-%s is needed: a second pass is worked out from all its settings but the time", x.Name())
		}
	}
	return s, nil
}

// checkTable reads a table, of the model's process if nothing else is said.
func (e *env) checkTable(name string, f *checkFlags, m *discharge.Model) (*discharge.Table, error) {
	s, err := e.lotSheet(name)
	if err != nil {
		return nil, err
	}
	new(idleLots).take(s) // a list is of a month's lots, a file of one
	opt := &discharge.ReadOptions{Process: f.process, Viewing: f.read.viewing.Viewing, Percent: bool(f.read.percent)}
	if f.own != nil {
		opt.Processes = []discharge.Process{*f.own}
	}
	if m != nil {
		opt.Viewing = cmp.Or(opt.Viewing, m.Viewing())
		opt.Processes = ownProcess(m)
		if opt.Process == "" && !hasColumn(s, "process") {
			opt.Process = m.Process().ID
		}
	}
	t, err := discharge.FromSheet(s, opt)
	if err != nil {
		return nil, err
	}
	e.warnAll(t.Warnings)
	if m == nil {
		return t, nil
	}
	for _, l := range t.Lots {
		if l.Process != "" && l.Process != m.Process().ID {
			return nil, &discharge.RowError{File: t.Name, Row: l.Row, Column: "process", Value: l.Process, Err: fmt.Errorf("the model is of %s", m.Process().ID)}
		}
	}
	return t, nil
}

// tableBeside reads a table whose readings are compared with those of t, and must have been
// measured alike.
func (e *env) tableBeside(name string, f *checkFlags, t *discharge.Table, m *discharge.Model) (*discharge.Table, error) {
	b, err := e.checkTable(name, f, m)
	if err != nil {
		return nil, err
	}
	if b.Viewing != t.Viewing {
		return nil, fmt.Errorf("%w: %s is under %s, %s under %s", discharge.ErrViewing, b.Name, b.Viewing, t.Name, t.Viewing)
	}
	if err := b.Condition.Against(b.Name, t.Condition, t.Name); err != nil {
		return nil, err
	}
	return b, nil
}

// chosen are the lots to judge, in file order.
func (f *checkFlags) chosen(t *discharge.Table) ([]discharge.Lot, error) {
	lots := t.ByRole(discharge.Production)
	if len(lots) == 0 {
		lots = t.ByRole(discharge.Trial)
	}
	if len(lots) == 0 {
		return nil, fmt.Errorf("%s: no lot to judge: rows with role %s are needed", t.Name, discharge.Production)
	}
	if len(f.lots) == 0 {
		return lots, nil
	}
	var out []discharge.Lot
	for _, id := range f.lots {
		i := slices.IndexFunc(lots, func(l discharge.Lot) bool { return l.ID == id })
		if i < 0 {
			return nil, usage("--lot: %s has no lot %q to judge", t.Name, id)
		}
		out = append(out, lots[i])
	}
	return out, nil
}

// basesOf are the base readings of one load.
func basesOf(t *discharge.Table, id string) []discharge.Lot {
	var out []discharge.Lot
	for _, l := range t.ByRole(discharge.Base) {
		if l.ID == id {
			out = append(out, l)
		}
	}
	return out
}

// checkStandard reads the standard, under the lots' viewing if its file does
// not say another.
func (e *env) checkStandard(f *checkFlags, t *discharge.Table) (discharge.Target, error) {
	s, err := e.sheet(f.standard)
	if err != nil {
		return discharge.Target{}, err
	}
	opt := &discharge.ReadOptions{Viewing: t.Viewing, Percent: bool(f.read.percent)}
	list, err := discharge.TargetsFromSheet(s, opt)
	if err != nil {
		return discharge.Target{}, err
	}
	e.warnAll(list.Warnings)
	if list.Items[0].Spectrum == nil && !statesViewing(s) {
		e.warn("%s: no columns illuminant and observer: the colors are taken to be under the lots' %s", shown(f.standard), t.Viewing)
	}
	if f.standardID == "" {
		if len(list.Items) > 1 {
			var ids []string
			for _, x := range list.Items {
				ids = append(ids, x.ID)
			}
			return discharge.Target{}, usage("%s has %d standards, %s: choose one with --standard-id", shown(f.standard), len(list.Items), names(ids))
		}
		return list.Items[0], nil
	}
	for _, it := range list.Items {
		if it.ID == f.standardID {
			return it, nil
		}
	}
	return discharge.Target{}, usage("--standard-id: %s has no standard %q", shown(f.standard), f.standardID)
}

// checkBases reads the bases of earlier loads.
func (e *env) checkBases(f *checkFlags, t *discharge.Table, m *discharge.Model) (*quality.BaseHistory, error) {
	if f.base == "" {
		return nil, nil
	}
	b, err := e.tableBeside(f.base, f, t, m)
	if err != nil {
		return nil, err
	}
	h, err := quality.LearnBase(b)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", b.Name, err)
	}
	return h, nil
}

// checkStages learns from --pairs, and from the lots' own file, whose panels
// may have been read at both stages too.
func (e *env) checkStages(f *checkFlags, t *discharge.Table, m *discharge.Model) (*quality.Stages, error) {
	tables := []*discharge.Table{t}
	if f.pairs != "" {
		p, err := e.checkTable(f.pairs, f, m)
		if err != nil {
			return nil, err
		}
		tables = append(tables, p)
	}
	return quality.LearnStages(tables...)
}
