package discharge

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
)

// PlanOptions are the wishes for a plan. The zero value plans twelve first
// lots, or four next ones, over the usual ranges or over the model's.
type PlanOptions struct {
	Lots      int                  // trial lots to plan; 0 means 12 without a model, 4 with one
	Seed      uint64               // of the random run order
	Bounds    map[string]Range     // by column; equal ends fix a factor
	Available map[string][]float64 // by column: the values there are, such as strengths in store
	// Target is the shade that the next lots shall make sure; nil means every
	// shade in reach. A first plan has no use for it.
	Target *Target
	// Tolerance is the ΔE00 within which the target is called reachable, 0 means 1.5: a plan
	// for one that is not is refused.
	Tolerance float64
}

// PlannedLot is one lot to run, or a set of garments to read as they are.
type PlannedLot struct {
	Run      int // place in the run order, from 1
	ID       string
	Role     Role     // Trial, Blank, Base or White
	Settings Settings // empty for Base and White
	Why      string   // what the lot is for
}

// HalfWidth is half of the 95 % interval of an expected shade along its path.
type HalfWidth struct {
	L      float64 // in L*
	DeltaE float64 // in CIEDE2000
}

// Plan is a list of lots to run.
type Plan struct {
	Process Process
	Seed    uint64
	Lots    []PlannedLot // in run order
	// Before and After are the half-width that the model has and the one that
	// it expects to have after these lots: at the target, or on average over
	// the region. Zero in a first plan, for which there is no model.
	Before, After HalfWidth
	Warnings      []string
}

// Trials returns the settings of the plan's trial lots in run order.
func (p *Plan) Trials() []Settings {
	var out []Settings
	for _, l := range p.Lots {
		if l.Role == Trial {
			out = append(out, l.Settings.Clone())
		}
	}
	return out
}

// maxPlanLots bounds a plan; nobody runs more trials than that in one go.
const maxPlanLots = 96

// check refuses options that no plan of the process can follow.
func (o *PlanOptions) check(p Process) error {
	if o.Lots < 0 || o.Lots > maxPlanLots {
		return badValue("a plan has 1 to %d lots, not %d", maxPlanLots, o.Lots)
	}
	for _, column := range slices.Sorted(maps.Keys(o.Bounds)) { // sorted, so that the error is always the same
		r := o.Bounds[column]
		f, ok := p.Factor(column)
		if !ok {
			return fmt.Errorf("%w: %s has no %s", ErrUnknownFactor, p.ID, column)
		}
		for _, v := range []float64{r.Lo, r.Hi} {
			if err := f.Check(v); err != nil {
				return fmt.Errorf("bounds of %s: %w", column, err)
			}
		}
		if r.Lo > r.Hi {
			return badValue("bounds of %s: lowest %g above highest %g", column, r.Lo, r.Hi)
		}
	}
	for _, column := range slices.Sorted(maps.Keys(o.Available)) {
		list := o.Available[column]
		f, ok := p.Factor(column)
		if !ok {
			return fmt.Errorf("%w: %s has no %s", ErrUnknownFactor, p.ID, column)
		}
		for _, v := range list {
			if err := f.Check(v); err != nil {
				return fmt.Errorf("available values of %s: %w", column, err)
			}
		}
	}
	return nil
}

// planFactor is a factor that a plan varies, with the values it may take.
type planFactor struct {
	doseFactor
	values  []float64 // ascending, as dialed
	thinned bool      // values are some of the available ones
}

// maxPlanPoints bounds the settings that a plan weighs against each other, whose
// covariances it holds all at once: more than a grid without lists has (729), and
// as many as thirty strengths at seven levels of two other factors.
const maxPlanPoints = 1500

// thin takes values out of the longest lists until their combinations are few
// enough, those that lie nearest to evenly spread levels staying, and says so.
func (p *Plan) thin(factors []planFactor) {
	count, points := make([]int, len(factors)), 1.0
	for j := range factors {
		count[j] = len(factors[j].values)
		points *= float64(count[j])
	}
	for points > maxPlanPoints {
		longest := 0
		for j := range count {
			if count[j] > count[longest] {
				longest = j
			}
		}
		points *= float64(count[longest]-1) / float64(count[longest])
		count[longest]--
	}
	for j := range factors {
		f := &factors[j]
		if count[j] == len(f.values) {
			continue
		}
		var kept []float64
		for k := range count[j] {
			level := f.Lo + (f.Hi-f.Lo)*float64(k)/float64(max(count[j]-1, 1))
			kept = append(kept, slices.MinFunc(f.values, func(a, b float64) int {
				return cmp.Compare(math.Abs(f.x(a)-level), math.Abs(f.x(b)-level))
			}))
		}
		kept = slices.Compact(kept)
		p.Warnings = append(p.Warnings, fmt.Sprintf("%d available values of %s are more than a plan can weigh: the %d nearest to evenly spread ones were taken; give those that you would run", len(f.values), f.Column, len(kept)))
		f.values, f.thinned = kept, true
	}
}

// newPlanFactor spreads n levels evenly in the factor's own scale, rounded to
// how finely people dial it, or takes what is available.
func newPlanFactor(f Factor, r Range, available []float64, n int) (planFactor, error) {
	d := planFactor{doseFactor: newDoseFactor(f, r)}
	d.Primary = true
	d.between(d.raw(r.Lo), d.raw(r.Hi))
	for _, v := range available {
		if r.Contains(v) {
			d.values = append(d.values, v)
		}
	}
	if len(available) > 0 {
		if len(d.values) == 0 {
			return d, badValue("none of the available values of %s lies between %g and %g", f.Column, r.Lo, r.Hi)
		}
		slices.Sort(d.values)
		d.values = slices.Compact(d.values)
		d.between(d.raw(d.values[0]), d.raw(d.values[len(d.values)-1]))
		return d, nil
	}
	for k := range n {
		x := d.Lo + (d.Hi-d.Lo)*float64(k)/float64(max(n-1, 1))
		v := dial(d.value(x), f.Step, r.Lo, r.Hi)
		switch k { // bounds are meant as they are given
		case 0:
			v = r.Lo
		case n - 1:
			v = r.Hi
		}
		d.values = append(d.values, v)
	}
	d.values = slices.Compact(d.values)
	return d, nil
}

// grid lists every combination of the factors' values, the last factor
// fastest.
func grid(factors []planFactor) []values {
	out := []values{{}}
	for j := range factors {
		var next []values
		for _, v := range out {
			for _, u := range factors[j].values {
				v[j] = u
				next = append(next, v)
			}
		}
		out = next
	}
	return out
}

// settingsOf names the values of a grid point and adds the fixed settings.
func settingsOf(factors []planFactor, v *values, fixed Settings) Settings {
	s := Settings{}
	for c, u := range fixed {
		s[c] = u
	}
	for j := range factors {
		s[factors[j].Column] = v[j]
	}
	return s
}

// safe refuses a plan with a lot that must not be run.
func (p *Plan) safe() error {
	for _, l := range p.Lots {
		if err := p.Process.safe(l.Settings); err != nil {
			return fmt.Errorf("%w: give bounds that keep clear of it", err)
		}
	}
	return nil
}

// order shuffles the lots that are run in the machine, so that drift of
// liquor, machine or weather does not pass for an effect, and numbers all.
// Base garments are read first; the white comes last.
func (p *Plan) order(prefix string, taken []TrialRecord) {
	rng := rand.New(rand.NewPCG(p.Seed, 0x706c616e)) // a stream of its own
	rank := func(r Role) int {
		switch r {
		case Base:
			return 0
		case White:
			return 2
		}
		return 1
	}
	rng.Shuffle(len(p.Lots), func(i, j int) { p.Lots[i], p.Lots[j] = p.Lots[j], p.Lots[i] })
	slices.SortStableFunc(p.Lots, func(a, b PlannedLot) int { return cmp.Compare(rank(a.Role), rank(b.Role)) })
	n := 0
	for i := range p.Lots {
		l := &p.Lots[i]
		l.Run = i + 1
		if l.Role != Trial {
			continue
		}
		for l.ID == "" || slices.ContainsFunc(taken, func(t TrialRecord) bool { return t.ID == l.ID }) {
			n++
			l.ID = fmt.Sprintf("%s%02d", prefix, n)
		}
	}
}
