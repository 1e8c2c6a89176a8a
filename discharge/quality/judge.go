package quality

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// Options are the buyer's terms and what the laundry knows. The zero value
// and nil mean the defaults.
type Options struct {
	Difference colorimetry.Difference // nil means CIEDE2000
	Tolerance  float64                // of the lot's mean; 0 means discharge.DefaultTolerance
	// LimitTolerance is how far past an approved light or dark limit a lot's mean may lie, at most
	// Tolerance; 0 means Tolerance. Limits that are final have a small one, such as 0.1.
	LimitTolerance   float64
	GarmentTolerance float64            // of a single garment, for Share; 0 means Tolerance
	Share            float64            // of garments that must be inside, 0..1; 0 means that only the mean counts
	Confidence       float64            // to accept or to reject; 0 means 0.95
	Model            *discharge.Model   // nil: verdict without causes
	Base             []discharge.Lot    // readings of this load's garments before discharge
	Bases            *BaseHistory       // of this fabric; nil means the base of the model's trials and common practice's scatter
	Stages           *Stages            // for lots read before they are finished and dry
	SecondPass       discharge.Settings // settings of a second pass; nil means the lot's own
	InDrum           bool               // the lot is still in the drum with its charge; so are lots read "discharged"
	// LastPass is what a lot that was discharged again has had since it was read before: what it
	// did says how fast the next pass goes. nil means that it is not known.
	LastPass *LastPass
}

// LastPass is a pass with a fresh charge.
type LastPass struct {
	Before   float64            // L* of the lot's mean before it, under the viewing of the lot
	Settings discharge.Settings // its own, with the time
}

// Report is the judgment of one lot.
type Report struct {
	Lot        string
	StandardID string
	Viewing    colorimetry.Viewing
	Difference string // name of the formula
	Tolerance  float64
	// LimitTolerance is that past a light or dark limit.
	LimitTolerance float64
	Standard       colorimetry.Lab
	Mean           colorimetry.Lab
	// DeltaE is the lot mean's difference from the standard, Decisive the one
	// that decides: from the nearest approved shade when there are limits.
	DeltaE, Decisive float64
	// BeyondLimit is the limit that the lot mean lies beyond, "light limit" or "dark limit", by
	// Decisive; "" for none.
	BeyondLimit string
	Panels      []PanelResult
	Worst       Spot
	Reread      *Reread // nil unless one reading stands alone
	ReadAt      string  // stage from which the readings were mapped, "" for finished, dry cloth
	Verdict     Verdict
	Split       *Split  // nil without a model
	Causes      []Cause // most likely first; empty when nothing is to be explained
	Correction  *Correction
	Uniformity  Uniformity
	Metamerism  []Metamerism // nil without spectra of both lot and standard
	Notes       []string
}

// PanelResult is one panel against the standard.
type PanelResult struct {
	ID       string
	Lab      colorimetry.Lab
	DeltaE   float64 // from the standard
	Decisive float64 // from the nearest approved shade: what Inside rests on
	Inside   bool    // within the garment tolerance of an approved shade
	HotSpot  bool    // paler than the lot's other panels by more than chance
	Readings int
}

// Outside names the panels that lie outside the garment tolerance, in order.
func (r *Report) Outside() []string {
	var out []string
	for _, p := range r.Panels {
		if !p.Inside {
			out = append(out, p.ID)
		}
	}
	return out
}

// Sort says that the lot is accepted by its mean while panels that were read
// lie outside: garments like them must not leave unsorted.
func (r *Report) Sort() bool { return r.Verdict.Decision == Accept && len(r.Outside()) > 0 }

// Spot is one reading.
type Spot struct {
	Panel, Position string
	DeltaE          float64
}

// Reread is a reading that is so far from the others of its panel that it is to be
// taken again before anything is concluded: a slip of the instrument, such as a
// lining that was read, looks like a spot.
type Reread struct {
	Panel, Position string
	Apart           float64 // from the mean of its panel's other readings, in the formula's units
	Usual           float64 // the median of the largest such in the other panels
}

// ErrViewing says that lot and standard were read under different viewings.
var ErrViewing = discharge.ErrViewing

// ErrCondition says that lot and standard were measured under different conditions.
var ErrCondition = discharge.ErrCondition

// judge is one judgment at work.
type judge struct {
	opt    Options
	target discharge.Target
	lot    discharge.Lot
	sample *sample
	region *region
	report *Report
	shift  *explained // the explanation by dose and cast; nil without a model
	// unplaced is why the settings promise no dose, nil where they do.
	unplaced error
	hot      []int // panels that are hot spots
	// even is the sample without these, by which it is told what lies on the cloth: of pale
	// panels and dark ones the mean lies off a bent path, where neither does.
	even *sample
}

// Judge compares a lot of the table with a standard. The table's viewing must be
// that of the model, when there is one, and of the standard, unless the
// standard has a spectrum; a lot of another process than the model's is
// [discharge.ErrWrongProcess]. Nor may any of them state another measurement condition
// ([ErrCondition]). What [discharge.Table.Check] refuses of the lot or of how the table
// was measured is an error; the table's other lots are not looked at. It takes some
// hundredths of a second: judge many lots in a loop that asks its own context.
func Judge(t *discharge.Table, lot discharge.Lot, standard discharge.Target, opt *Options) (*Report, error) {
	j := &judge{lot: lot, target: standard}
	if opt != nil {
		j.opt = *opt
	}
	if err := j.rightProcess(); err != nil {
		return nil, err
	}
	if t != nil {
		alone := *t
		alone.Lots = []discharge.Lot{lot}
		t = &alone
	}
	if err := t.Check(); err != nil {
		return nil, err
	}
	if err := j.prepare(t); err != nil {
		return nil, err
	}
	if m := j.opt.Model; m != nil {
		j.lot.Settings = m.Starting(j.lot.Settings, j.opt.Base)
	}
	r := j.report
	var err error
	if r.Verdict, err = j.decide(); err != nil {
		return nil, err
	}
	r.Reread = j.reread()
	j.findHotSpots()
	j.even = j.sample.without(j.hot)
	if j.opt.Model != nil {
		j.explain(t)
	}
	j.causes()
	r.Uniformity = j.uniformity()
	if r.Metamerism, err = j.metamerism(t); err != nil {
		return nil, err
	}
	if j.opt.Model != nil {
		if err := j.correct(); err != nil {
			return nil, err
		}
	}
	j.notes()
	return r, nil
}

// rightProcess refuses a lot of another process than the model's, whose settings would be
// doubted one by one.
func (j *judge) rightProcess() error {
	if j.opt.Model == nil || j.lot.Process == "" {
		return nil
	}
	if p := j.opt.Model.Process().ID; j.lot.Process != p {
		return fmt.Errorf("lot %q: %w: it is of %s, the model of %s", j.lot.ID, discharge.ErrWrongProcess, j.lot.Process, p)
	}
	return nil
}

// terms fills in the defaults of the buyer's terms and checks them.
func (o *Options) terms() error {
	if o.Difference == nil {
		o.Difference = colorimetry.CIEDE2000{}
	}
	o.Tolerance = cmp.Or(o.Tolerance, discharge.DefaultTolerance)
	o.GarmentTolerance = cmp.Or(o.GarmentTolerance, o.Tolerance)
	o.LimitTolerance = cmp.Or(o.LimitTolerance, o.Tolerance)
	o.Confidence = cmp.Or(o.Confidence, 0.95)
	switch {
	case !(o.Tolerance > 0) || math.IsInf(o.Tolerance, 0) || !(o.GarmentTolerance > 0) || math.IsInf(o.GarmentTolerance, 0):
		return fmt.Errorf("tolerances must be positive, not %g and %g", o.Tolerance, o.GarmentTolerance)
	case !(o.LimitTolerance > 0 && o.LimitTolerance <= o.Tolerance):
		return fmt.Errorf("the tolerance past limits must lie above 0 and not above the tolerance of %g, not %g", o.Tolerance, o.LimitTolerance)
	case !(o.Confidence > 0.5 && o.Confidence < 1):
		return fmt.Errorf("confidence must lie between 0.5 and 1, not %g", o.Confidence)
	case !(o.Share >= 0 && o.Share < 1):
		return fmt.Errorf("the share of garments inside must lie in 0 to 1 (1 itself can never be shown), not %g", o.Share)
	}
	switch o.Difference.(type) {
	case colorimetry.CIE94, colorimetry.CMC, colorimetry.CIEDE2000:
		// The name holds the factors in use, and is read only if they can be.
		if _, err := colorimetry.ParseDifference(o.Difference.String()); err != nil {
			return err
		}
	}
	return nil
}

// prepare checks the input and measures the plain differences.
func (j *judge) prepare(t *discharge.Table) error {
	o := &j.opt
	if err := o.terms(); err != nil {
		return err
	}
	if j.target.Spectrum != nil {
		if err := (colorimetry.Spectrum{Grid: j.target.Grid, Values: j.target.Spectrum}).Check(); err != nil {
			return fmt.Errorf("standard %q: %w", j.target.ID, err)
		}
	}
	if o.Model != nil && o.Model.Viewing() != t.Viewing {
		return fmt.Errorf("%w: the lot is under %s, the model under %s", ErrViewing, t.Viewing, o.Model.Viewing())
	}
	if o.Model != nil {
		if err := t.Condition.Against("the lot", o.Model.Condition(), "the trials of the model"); err != nil {
			return err
		}
	}
	if err := j.target.Condition.Against(fmt.Sprintf("standard %q", j.target.ID), t.Condition, "the lot"); err != nil {
		return err
	}
	if err := j.see(t.Viewing); err != nil {
		return err
	}
	for _, c := range []*colorimetry.Lab{&j.target.Lab, j.target.Light, j.target.Dark} {
		if c != nil && !finite(c.L, c.A, c.B) {
			return fmt.Errorf("standard %q: L* %g, a* %g, b* %g are no color", j.target.ID, c.L, c.A, c.B)
		}
	}
	if err := j.target.CheckLimits(); err != nil {
		return fmt.Errorf("standard %q: %w", j.target.ID, err)
	}
	var err error
	if j.sample, err = newSample(j.lot, o.Stages); err != nil {
		return err
	}
	j.region = newRegion(j.target, o.Difference, o.Tolerance)
	j.region.beyond = o.Tolerance / o.LimitTolerance
	j.report = &Report{Lot: j.lot.ID, StandardID: j.target.ID, Viewing: t.Viewing, Difference: o.Difference.String(), Tolerance: o.Tolerance, LimitTolerance: o.LimitTolerance, Standard: j.target.Lab,
		Mean: j.sample.mean, DeltaE: j.region.fromStandard(j.sample.mean), ReadAt: j.sample.mapped}
	j.report.Decisive, j.report.BeyondLimit = j.region.nearest(j.sample.mean)
	garment := newRegion(j.target, o.Difference, o.GarmentTolerance)
	for _, p := range j.sample.panels {
		j.report.Panels = append(j.report.Panels, PanelResult{ID: p.ID, Lab: p.Lab, DeltaE: j.region.fromStandard(p.Lab), Decisive: garment.distance(p.Lab), Inside: garment.holds(p.Lab), Readings: p.N})
	}
	if j.sample.mapped == "" {
		for _, p := range j.lot.Panels {
			for _, r := range p.Readings {
				if d := j.region.fromStandard(r.Lab); r.Finished() && d >= j.report.Worst.DeltaE {
					j.report.Worst = Spot{p.ID, r.Position, d}
				}
			}
		}
	}
	return nil
}

// see brings the standard under the lot's viewing. Limits have no spectra and
// must be under it already.
func (j *judge) see(v colorimetry.Viewing) error {
	if j.target.Viewing == v {
		return nil
	}
	if j.target.Spectrum == nil || j.target.Light != nil || j.target.Dark != nil {
		return fmt.Errorf("%w: standard %q is under %s, the lot under %s; measure both under one", ErrViewing, j.target.ID, j.target.Viewing, v)
	}
	w, err := colorimetry.NewWeights(v, j.target.Grid)
	if err != nil {
		return err
	}
	j.target.Lab, j.target.Viewing = w.Lab(j.target.Spectrum), v
	return nil
}

func finite(x ...float64) bool {
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

func (j *judge) note(format string, args ...any) {
	j.report.Notes = append(j.report.Notes, fmt.Sprintf(format, args...))
}

// notes says what limits the judgment.
func (j *judge) notes() {
	r, add := j.report, j.note
	if r.Verdict.SinglePanelWarning {
		known := "common practice's"
		if r.Verdict.UsesTrialsScatter {
			known = "the trials'"
		}
		add("one panel only: the scatter within the lot is %s, not this lot's", known)
	} else if r.Verdict.UsesTypicalScatter {
		why := "without a model"
		if j.opt.Model != nil {
			why = "as no trial lot has two panels,"
		}
		add("%s the scatter within lots starts from common practice (no source) and %d panels", why, len(r.Panels))
	}
	if r.Verdict.UsesTypicalScatter && r.Verdict.MorePanels > 0 {
		add("how many more panels would settle it rests on that assumed scatter")
	}
	if r.BeyondLimit != "" && r.Verdict.Decision == Accept && r.LimitTolerance == r.Tolerance {
		add("the lot lies %.2f beyond the %s and passes because the tolerance counts from limits, too: where they are final, give a smaller one for them (--limit-tolerance 0.1)", r.Decisive, r.BeyondLimit)
	}
	if r.ReadAt != "" {
		add("read %s and mapped to finished, dry cloth by the shift between the two", r.ReadAt)
	}
	if j.opt.Model != nil && len(j.lot.Settings) == 0 && len(j.opt.SecondPass) == 0 {
		add("the lot has no settings: its dose cannot be compared with what they promise")
	}
	if j.opt.Model != nil && len(j.lot.Settings) > 0 {
		_, said := j.opt.Model.FillIn(j.lot.Settings)
		for _, s := range said {
			add("%s", s)
		}
	}
	if j.opt.Model != nil {
		fabric, machine := j.opt.Model.RanOn()
		for _, c := range []struct{ what, lot, model string }{{"fabric", j.lot.Fabric, fabric}, {"machine", j.lot.Machine, machine}} {
			if c.lot == "" || c.model == "" || c.lot == c.model {
				continue
			}
			remedy := "recalibrate the model for it"
			there := func(o discharge.Other) bool {
				return c.what == "fabric" && o.Fabric == c.lot || c.what == "machine" && o.Machine == c.lot
			}
			if slices.ContainsFunc(j.opt.Model.Others(), there) {
				remedy = "the model's trials have lots there, too: fit them again for it"
			}
			add("its %s is %s, that of the model's lots %s: dose and causes are judged as if they were the same; %s", c.what, c.lot, c.model, remedy)
		}
	}
	if r.Verdict.Decision == MeasureMore && r.Verdict.MorePanels == 0 {
		add("the lot lies at the edge of the tolerance: even 40 more panels like these would probably not settle it")
	}
}

func joined(parts []string) string { return strings.Join(parts, "; ") }
