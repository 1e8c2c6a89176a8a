package discharge

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/internal/mat3"
)

// SuggestOptions are the operator's limits. The zero value means: tolerance
// 1.5, every factor anywhere in the trials' range.
type SuggestOptions struct {
	Tolerance float64 // ΔE00 that the buyer accepts; 0 means 1.5
	// Bounds are the ranges allowed, by column; equal ends fix the factor. A
	// factor that the process only records, such as the liquid that stones
	// hold, takes equal ends too: it changes no shade, but with it the active
	// oxidizer may be told. One that only drifted in the trials stands at the middle
	// of its bounds; without bounds it goes on drifting as it did.
	Bounds    map[string]Range
	Available map[string][]float64 // by column: the values there are, such as strengths in store; an empty list says nothing
	Count     int                  // most suggestions to return; 0 means 5, below it is an error
	// LimitTolerance is how far past the target's light or dark limit a lot's mean may lie, in
	// ΔE00 and at most Tolerance; 0 means Tolerance. Limits that are final have a small one.
	LimitTolerance float64
	// MaxTensileLossPct is the most loss of tensile strength that a lot may be
	// expected to have; 0 means no limit. It needs trials that were tested.
	MaxTensileLossPct float64
}

// usualCount is how many suggestions are returned unless [SuggestOptions.Count] says.
const usualCount = 5

// DefaultTolerance is the ΔE00 taken when a buyer names none: what quality
// guides quote for premium garments (1.5; trade press).
const DefaultTolerance = 1.5

// Suggestion is one way to reach the target.
type Suggestion struct {
	Settings        Settings
	Shade           colorimetry.Lab // expected
	DeltaE          float64         // CIEDE2000 from the target to Shade
	Along, Off      float64         // the parts of DeltaE that dose does and does not explain
	PassProbability float64         // that the next lot's mean is within tolerance
	TimeWindowMin   [2]float64      // unload between these, for Shade within tolerance and tensile loss within its limit; zeros if there is none
	WindowPass      [2]float64      // PassProbability at either end of it
	ActiveGPerKg    float64         // active oxidizer per kg of dry garment; NaN is never stored, 0 means unknown
	Extrapolated    bool
	TensileLossPct  TensileLoss
}

// Suggestions is the answer for one target.
type Suggestions struct {
	Target              Target
	Tolerance           float64
	LimitTolerance      float64 // past a light or dark limit
	Reachable           bool
	ClosestDeltaE       float64         // of the nearest shade that is expected anywhere inside the bounds, from the standard itself
	Closest             colorimetry.Lab // that shade
	Nearest             *Suggestion     // settings that come nearest to a target that is not reachable, else nil
	Why                 string          // why it is not reachable, and what would help; or what limits it
	BestPassProbability float64         // the best that was found, also where List is empty since the target is not reachable
	List                []Suggestion    // best first; where chances are the same, the nearest shade
	Warnings            []error         // about bounds that have no effect
}

// search is one suggest call at work.
type search struct {
	m      *Model
	target Target
	tol    float64
	beyond float64 // by how much more a way past a limit counts than one off the way to it
	metric [3][3]float64
	grid   [][]float64 // candidate values of every primary factor, in value units
	free   []bool      // factor may take any value between the ends of its grid
	solve  int         // factor solved for; -1 when all are given
	limit  float64     // of tensile loss in %, 0 for none
	other  Settings    // fixed and recorded factors, copied to every suggestion
	trial  []values    // centered factors of the trials, for closeness
	near   *approach
	lots   lotDeviates
	warned []error
}

// Suggest finds the settings whose next lot most probably passes. A target out of
// reach is an answer, not an error: Reachable is false and Why says why. Errors:
// [ErrViewing] of a target that cannot be seen under the model's viewing,
// [ErrCondition] of one that was measured otherwise than the trials,
// [ErrUnknownFactor], [ErrHazard] and others of bounds, tolerance and count.
func (m *Model) Suggest(t Target, opt *SuggestOptions) (Suggestions, error) {
	return m.SuggestContext(context.Background(), t, opt)
}

// SuggestContext is [Model.Suggest], and ends early with the error of ctx.
// Three free factors take a few milliseconds, each further one seven times as
// long.
func (m *Model) SuggestContext(ctx context.Context, t Target, opt *SuggestOptions) (Suggestions, error) {
	if opt == nil {
		opt = &SuggestOptions{}
	}
	q, err := m.newSearch(t, opt)
	if err != nil {
		return Suggestions{}, err
	}
	out := Suggestions{Target: q.target, Tolerance: q.tol, LimitTolerance: q.tol / q.beyond, Warnings: q.warned}
	list, err := q.candidates(ctx)
	if err != nil {
		return Suggestions{}, err
	}
	out.Closest = q.closest(list)
	out.ClosestDeltaE = q.fromStandard(out.Closest)
	out.Reachable = q.deltaE(out.Closest) <= q.tol
	if list, err = q.strongEnough(list, opt.MaxTensileLossPct); err != nil {
		return Suggestions{}, err
	}
	weak := out.Reachable && q.limit > 0 && !q.reaches(list)
	if weak {
		out.Reachable = false
		if len(list) > 0 {
			out.Closest = q.nearestShade(list)
			out.ClosestDeltaE = q.fromStandard(out.Closest)
		}
	}
	q.rank(list)
	count := cmp.Or(opt.Count, usualCount)
	out.List = q.pick(list, max(count, usualCount)) // which is the first does not hang on how many are asked for
	out.List = out.List[:min(count, len(out.List))]
	for _, s := range out.List {
		out.BestPassProbability = max(out.BestPassProbability, s.PassProbability)
	}
	if weak {
		out.Why = q.whyTooWeak(list, out.ClosestDeltaE)
	} else {
		out.Why = q.why(&out)
	}
	if !out.Reachable {
		out.List, out.Nearest = nil, nearestOf(list, out.Closest)
		if out.Nearest != nil {
			out.BestPassProbability = max(out.BestPassProbability, out.Nearest.PassProbability)
		}
	}
	return out, nil
}

// nearestOf is the first in rank of those whose shade is about as near as any
// to c, the nearest shade within reach. (Far from the path many shades are about
// as near to the target.)
func nearestOf(list []Suggestion, c colorimetry.Lab) *Suggestion {
	const asNear = 0.1 // ΔE00, which no eye tells
	var f colorimetry.CIEDE2000
	least := math.Inf(1)
	for i := range list {
		least = min(least, f.Diff(c, list[i].Shade))
	}
	for i := range list {
		if f.Diff(c, list[i].Shade) <= least+asNear {
			return &list[i]
		}
	}
	return nil
}

func (m *Model) newSearch(t Target, opt *SuggestOptions) (*search, error) {
	lab, err := m.targetLab(t)
	if err != nil {
		return nil, err
	}
	for _, c := range []*colorimetry.Lab{&lab, t.Light, t.Dark} {
		if c != nil && !magnitude(colorLimit, c.L, c.A, c.B) {
			return nil, badValue("target %q: L* %g, a* %g, b* %g are no color", t.ID, c.L, c.A, c.B)
		}
	}
	if err := t.CheckLimits(); err != nil {
		return nil, fmt.Errorf("target %q: %w", t.ID, err)
	}
	t.Lab, t.Viewing = lab, m.viewing
	if opt.Count < 0 {
		return nil, badValue("the number of suggestions must not be negative, as %d is", opt.Count)
	}
	q := &search{m: m, target: t, tol: opt.Tolerance, limit: opt.MaxTensileLossPct, solve: -1, other: Settings{}}
	if q.tol == 0 {
		q.tol = DefaultTolerance
	}
	if !(q.tol > 0) || math.IsInf(q.tol, 0) {
		return nil, badValue("tolerance must be a positive ΔE00, not %g", opt.Tolerance)
	}
	q.beyond = 1
	if limit := opt.LimitTolerance; limit != 0 {
		if !(limit > 0 && limit <= q.tol) {
			return nil, badValue("the tolerance past limits must lie above 0 and not above the tolerance of %g, not %g", q.tol, limit)
		}
		q.beyond = q.tol / limit
	}
	q.metric = metric(lab)
	if err := m.knowsAll(opt); err != nil {
		return nil, err
	}
	maps.Copy(q.other, m.fixed)
	if err := q.boundOthers(opt); err != nil {
		return nil, err
	}
	for j := range m.basis.factors {
		f := &m.basis.factors[j]
		if !f.Primary {
			if err := q.drifting(j, opt); err != nil {
				return nil, err
			}
			continue
		}
		if err := q.addFactor(f, opt); err != nil {
			return nil, err
		}
	}
	if err := m.process.safe(q.other); err != nil { // of those searched, addFactor sees to it
		return nil, err
	}
	q.chooseSolved()
	if err := q.bounded(); err != nil {
		return nil, err
	}
	q.near = q.newApproach()
	q.lots = newLotDeviates(m.freedom)
	for _, r := range m.trials {
		v := m.basis.values(r.Settings)
		q.trial = append(q.trial, m.basis.at(&v))
	}
	return q, nil
}

// drifting settles a factor that only drifted in the trials: at the middle of its
// bounds, or else it goes on drifting, which is said of one that matters.
func (q *search) drifting(j int, opt *SuggestOptions) error {
	f := &q.m.basis.factors[j]
	r, ok := opt.Bounds[f.Column]
	if !ok {
		switch matters := q.m.matters(j); {
		case matters && f.Drift > 0:
			q.warned = append(q.warned, errors.New(q.m.drifting(f)))
		case matters: // of an earlier version, which does not know how far it drifts
			q.other[f.Column], _ = FactorRange{Middle: q.m.basis.middle[j]}.middle()
		}
		return nil
	}
	at := (r.Lo + r.Hi) / 2
	pf, _ := q.m.process.Factor(f.Column)
	if err := pf.Check(at); err != nil {
		return fmt.Errorf("bounds of %s: %w", f.Column, err)
	}
	q.other[f.Column] = at
	return nil
}

// boundOthers takes the bounds and lists of factors that are not searched.
func (q *search) boundOthers(opt *SuggestOptions) error {
	for _, f := range q.m.process.Factors {
		r, bounded := opt.Bounds[f.Column]
		list := opt.Available[f.Column]
		if !bounded && list == nil || q.m.basis.index(f.Column) >= 0 {
			continue
		}
		fixed, ok := q.m.fixed[f.Column]
		switch {
		case f.Transform == Recorded:
			if !bounded || r.Lo != r.Hi {
				return badValue("%s is recorded, not chosen: give one value of it, as equal bounds", f.Column)
			}
			if err := f.Check(r.Lo); err != nil {
				return fmt.Errorf("bounds of %s: %w", f.Column, err)
			}
			q.other[f.Column] = r.Lo
		case ok && bounded:
			q.other[f.Column] = min(max(fixed, r.Lo), r.Hi)
		case ok && !slices.Contains(list, fixed):
			q.warned = append(q.warned, fmt.Errorf("%s was %g in every trial and stays there: the available values have no effect", f.Column, fixed))
		case !ok:
			q.warned = append(q.warned, fmt.Errorf("%s is not in the model, which has no trials with it: its bounds have no effect", f.Column))
		}
	}
	return nil
}

// MaxCandidates is how many combinations of settings one call of Suggest works
// out: six free factors and a list of ten strengths stay below it.
const MaxCandidates = 200000

// bounded refuses a search that would not end in reasonable time.
func (q *search) bounded() error {
	n := 1
	for j, values := range q.grid {
		if j == q.solve {
			continue
		}
		if n *= len(values); n > MaxCandidates {
			return badValue("too many combinations of settings to try, at most %d: give fewer available values, or fix factors by equal bounds", MaxCandidates)
		}
	}
	return nil
}

// targetLab is the target's color under the model's viewing, from its spectrum
// if it has one.
func (m *Model) targetLab(t Target) (colorimetry.Lab, error) {
	if err := t.Condition.Against(fmt.Sprintf("target %q", t.ID), m.condition, "the trials of the model"); err != nil {
		return colorimetry.Lab{}, err
	}
	switch {
	case t.Viewing == m.viewing:
		return t.Lab, nil
	case t.Light != nil || t.Dark != nil:
		return colorimetry.Lab{}, fmt.Errorf("%w: target %q and its limits are under %s, the model under %s; read them under %[4]s", ErrViewing, t.ID, t.Viewing, m.viewing)
	case t.Spectrum != nil:
		s, err := colorimetry.NewSpectrum(t.Grid, t.Spectrum)
		if err != nil {
			return colorimetry.Lab{}, fmt.Errorf("target %q: %w", t.ID, err)
		}
		w, err := colorimetry.NewWeights(m.viewing, t.Grid)
		if err != nil {
			return colorimetry.Lab{}, err
		}
		return w.Lab(s.Values), nil
	}
	remedy := ""
	if m.kind == Spectral {
		remedy = fmt.Sprintf(", or fit the trials' spectra again for %s", t.Viewing)
	}
	return colorimetry.Lab{}, fmt.Errorf("%w: target %q is under %s, the model under %s; measure the target as a spectrum or under %[4]s%s", ErrViewing, t.ID, t.Viewing, m.viewing, remedy)
}

// knowsAll refuses bounds on columns that the process does not have.
func (m *Model) knowsAll(opt *SuggestOptions) error {
	known := func(c string) error {
		if _, ok := m.process.Factor(c); !ok {
			return fmt.Errorf("%w: %s has no %s", ErrUnknownFactor, m.process.ID, c)
		}
		return nil
	}
	for _, c := range slices.Sorted(maps.Keys(opt.Bounds)) { // sorted, so that the error is always the same
		r := opt.Bounds[c]
		if err := known(c); err != nil {
			return err
		}
		if !finite(r.Lo, r.Hi) {
			return badValue("bounds of %s must be finite numbers, not %g and %g", c, r.Lo, r.Hi)
		}
		if !(r.Lo <= r.Hi) {
			return badValue("bounds of %s: lowest %g above highest %g", c, r.Lo, r.Hi)
		}
	}
	for _, c := range slices.Sorted(maps.Keys(opt.Available)) {
		if err := known(c); err != nil {
			return err
		}
	}
	return nil
}

// fromStandard is the distance from the standard itself.
func (q *search) fromStandard(c colorimetry.Lab) float64 {
	return colorimetry.CIEDE2000{}.Diff(q.target.Lab, c)
}

// deltaE is the distance that decides on a pass: from the standard or, when
// limits were approved, from the nearest shade between them.
func (q *search) deltaE(c colorimetry.Lab) float64 {
	var f colorimetry.CIEDE2000
	d := q.fromStandard(c)
	if q.beyond > 1 {
		for _, end := range []*colorimetry.Lab{q.target.Light, q.target.Dark} {
			if end == nil {
				continue
			}
			if x := alongTo(q.target.Lab, *end, c, &q.metric) - 1; x > 0 {
				way := colorimetry.Lab{L: end.L + x*(end.L-q.target.Lab.L), A: end.A + x*(end.A-q.target.Lab.A), B: end.B + x*(end.B-q.target.Lab.B)}
				straight, all := f.Diff(*end, way), f.Diff(*end, c)
				return math.Sqrt(math.Max(all*all-straight*straight, 0) + math.Pow(q.beyond*straight, 2))
			}
		}
	}
	for _, end := range []*colorimetry.Lab{q.target.Light, q.target.Dark} {
		if end != nil {
			d = math.Min(d, f.Diff(nearestOn(q.target.Lab, *end, c, &q.metric), c))
		}
	}
	return d
}

// nearestOn is the point of the segment a-b nearest to c in the metric g.
func nearestOn(a, b, c colorimetry.Lab, g *[3][3]float64) colorimetry.Lab {
	t := min(max(alongTo(a, b, c, g), 0), 1)
	return colorimetry.Lab{L: a.L + t*(b.L-a.L), A: a.A + t*(b.A-a.A), B: a.B + t*(b.B-a.B)}
}

// alongTo is how far c lies along the way from a to b, in lengths of it; 0 where they are one.
func alongTo(a, b, c colorimetry.Lab, g *[3][3]float64) float64 {
	d := [3]float64{b.L - a.L, b.A - a.A, b.B - a.B}
	e := [3]float64{c.L - a.L, c.A - a.A, c.B - a.B}
	dd := mat3.Form(g, d, d)
	if dd <= 0 {
		return 0
	}
	return mat3.Form(g, d, e) / dd
}

// evaluate fills in everything about one setting.
func (q *search) evaluate(s Settings) Suggestion {
	v := q.m.values(s)
	p := q.m.predictAt(&v)
	out := Suggestion{Settings: s, Shade: p.Shade, DeltaE: q.fromStandard(p.Shade), Extrapolated: p.Extrapolated || q.m.movesFixed(s)}
	out.Along, out.Off = q.split(p)
	out.PassProbability = q.pass(&v)
	out.ActiveGPerKg, _ = q.m.process.ActivePerKg(s)
	out.TensileLossPct = p.TensileLossPct
	return out
}

// split divides the difference of the target from a shade into the part along
// the path there and the rest, both in ΔE00.
func (q *search) split(p Prediction) (along, off float64) {
	da, db := q.m.path.tangent(p.Level)
	t := [3]float64{q.m.path.L1 - q.m.path.L0, da, db}
	e := [3]float64{p.Shade.L - q.target.Lab.L, p.Shade.A - q.target.Lab.A, p.Shade.B - q.target.Lab.B}
	tt, te, ee := mat3.Form(&q.metric, t, t), mat3.Form(&q.metric, t, e), mat3.Form(&q.metric, e, e)
	along = te / math.Sqrt(tt)
	return along, math.Sqrt(math.Max(ee-along*along, 0))
}
