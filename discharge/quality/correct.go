package quality

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"example.com/dosetone/discharge"
)

// Correction is more time that would bring the lot to the standard: a second
// pass with a fresh charge, or, for a lot still in the drum, going on.
type Correction struct {
	Possible bool
	Why      string // when it is not: why
	GoOn     bool   // the lot is in the drum with its charge
	Settings discharge.Settings
	Minutes  float64
	Lo, Hi   float64 // interval of Minutes at 90 %, from the reading and the scatter of lots
	// Open says that it may take longer than Hi, which is as long as times are looked
	// for: three times the longest trial.
	Open    bool
	DosePct float64 // more dose that the whole lot needs
	// Extrapolated says that settings or times lie outside the trials, as short second
	// passes mostly do, and Outside names the columns of these settings.
	Extrapolated bool
	Outside      []string
	// Short says that the pass is shorter than half the shortest trial, so that it is hard to
	// stop in time; a weaker charge gives more.
	Short bool
	// Learned says that the minutes rest on what [Options.LastPass] did, Pace on how many times
	// the minutes it took that were thought the least.
	Learned bool
	Pace    float64
	Caution string
}

// caution comes with every correction.
const caution = "stop at two thirds of the time, read a panel, and go on; what is taken too far cannot be put back"

// correct works out the time from the lot's level to the standard's.
func (j *judge) correct() error {
	r, s, m := j.report, j.report.Split, j.opt.Model
	c := &Correction{Caution: caution, GoOn: j.opt.InDrum || strings.HasPrefix(r.ReadAt, "discharged")}
	r.Correction = c
	switch {
	case r.Verdict.Decision == Accept:
		c.Why = "none needed"
		return nil
	case r.Verdict.Decision == MeasureMore && !c.GoOn:
		c.Why = "the verdict is open: settle it with more panels before a second pass"
		return nil
	case j.castLies():
		c.Why = "not while a cast is on the cloth: remove it, read again, then decide"
		return nil
	case s.Level >= s.StandardLevel-s.LevelSD && s.Along > -0.25*r.Tolerance:
		c.Why = "the lot is not darker than the standard along the path: more dose does not help"
		return nil
	case j.region.distance(m.ShadeAt(s.StandardLevel)) > r.Tolerance:
		c.Why = "the standard lies off this laundry's shade path by more than the tolerance: dose alone does not reach it"
		return nil
	}
	if left := j.afterDose(); left > r.Tolerance {
		c.Why = fmt.Sprintf("more dose leaves the lot %.1f from the standard: what lies off the shade path (a* %+.2f, b* %+.2f) it does not take away; find out what that is first", left, s.OffA, s.OffB)
		return nil
	}
	for _, cause := range r.Causes {
		if cause.Fault == OtherFabric {
			c.Why = "the base differs from the trials': the model does not know this fabric; recalibrate it first"
			return nil
		}
	}
	settings := j.opt.SecondPass
	if settings == nil || c.GoOn {
		settings = j.lot.Settings
	}
	if settings != nil && j.opt.SecondPass == nil && !c.GoOn {
		settings = settings.Clone()
		garments := m.Process().Active.Over // are as many as they are
		for _, f := range j.strays() {      // not again what may have spoiled the first
			if slices.Contains(garments, f.Column) {
				continue
			}
			settings[f.Column] = f.Middle
			if dialed := math.Round(f.Middle/f.Step) * f.Step; f.Step > 0 && dialed >= f.Lo && dialed <= f.Hi {
				settings[f.Column] = dialed
			}
		}
	}
	if len(settings) == 0 && c.GoOn {
		c.Why = "how long a lot goes on follows from the settings of the charge in the drum, and it has none; after a second pass begun with a fresh charge, take it out, read it, and ask for another pass"
		return nil
	}
	if len(settings) == 0 {
		c.Why = "the lot has no settings and none were given for a second pass"
		return nil
	}
	ways := []way{fromBase, freshStart, goesOn}
	if c.GoOn {
		ways = []way{goesOn, lacksDose}
	}
	c.Minutes, c.Lo = math.Inf(1), math.Inf(1)
	var err error
	for _, w := range ways {
		if err := j.consider(c, w, settings); err != nil {
			return err
		}
	}
	if c.Learned, err = j.learn(c, ways); err != nil {
		return err
	}
	if c.Possible && c.Minutes > 3*j.longest() {
		c.Minutes, c.Lo, c.Hi = 0, 0, 0
		c.Possible, c.Learned, c.Pace = false, false, 0
		c.Why = "by what the last pass did no time within three times the longest trial leads there: find out why it did so little before another is run"
		return nil
	}
	if !c.Possible {
		c.Minutes, c.Lo, c.Hi = 0, 0, 0
		c.Why = "no time within three times the longest trial leads there at these settings, or time is no factor of the model"
		return nil
	}
	c.DosePct = 100 * math.Expm1(m.DoseBetween(s.Level, s.StandardLevel))
	c.Settings = settings.Clone()
	c.Settings[timeColumn] = c.Minutes
	j.compareWithTrials(c)
	return nil
}

// afterDose is the difference that the lot would have at the standard's level, with what lies
// off the path as it is.
func (j *judge) afterDose() float64 {
	s := j.report.Split
	there := j.opt.Model.ShadeAt(s.StandardLevel)
	there.A, there.B = there.A+s.OffA, there.B+s.OffB
	return j.region.distance(there)
}

// longest is the longest trial in minutes, infinite where time is no factor of the model.
func (j *judge) longest() float64 {
	for _, f := range j.opt.Model.Factors() {
		if f.Column == timeColumn {
			return f.Hi
		}
	}
	return math.Inf(1)
}

// compareWithTrials says what of a correction lies outside the trials, and bounds its
// interval by how far times are looked for.
func (j *judge) compareWithTrials(c *Correction) {
	for _, f := range j.opt.Model.Factors() {
		v, ok := c.Settings[f.Column]
		if f.Column == timeColumn {
			c.Short = !c.GoOn && c.Minutes < f.Lo/2
			if longest := 3 * f.Hi; c.Hi >= longest {
				c.Hi, c.Open = max(longest, c.Minutes), true
			}
		}
		if c.GoOn && f.Column == timeColumn {
			continue // minutes on top of those that the lot has had
		}
		if ok && (v < f.Lo*(1-1e-9) || v > f.Hi*(1+1e-9)) {
			c.Extrapolated = true
			c.Outside = append(c.Outside, f.Column)
		}
	}
}

// consider brings in a way the dose may grow. No reading of one lot tells
// them apart: the shortest is suggested, since what is taken too far cannot be put
// back, and the interval holds all.
func (j *judge) consider(c *Correction, w way, settings discharge.Settings) error {
	p, err := j.pass(w, settings, j.report.Split.Level, j.report.Split.StandardLevel)
	if err != nil {
		return err
	}
	if !p.ok { // longer than times are looked for, or never
		c.Hi = math.Inf(1)
		return nil
	}
	lo, hi, err := j.minutesInterval(w, settings, p)
	c.Possible, c.Extrapolated = true, c.Extrapolated || p.extrapolated
	c.Minutes, c.Lo, c.Hi = math.Min(c.Minutes, p.minutes), math.Min(c.Lo, lo), math.Max(c.Hi, hi)
	return err
}

// learn scales a correction by how many times the minutes the last pass took that the same
// ways say it needed, from where the lot was to where it is. That the lot came further than
// its reading shows counts for the minutes that are suggested, that it came less far for the
// longest: what is taken too far cannot be put back.
func (j *judge) learn(c *Correction, ways []way) (bool, error) {
	last := j.opt.LastPass
	if last == nil || c.GoOn || !c.Possible {
		return false, nil
	}
	s := j.report.Split
	before, sd := j.opt.Model.LevelOf(last.Before), math.Sqrt2*s.LevelSD // both were read
	if t := last.Settings[timeColumn]; !(t > 0) || math.IsInf(t, 0) || !finite(last.Before) {
		return false, fmt.Errorf("the last pass: want its minutes, above 0, and the L* before it, not %g and %g", t, last.Before)
	}
	// In how many times the least minutes it came to a level; ok is false where no way leads there.
	const most = 20 // times: slower is no pace but a pass that did nothing
	pace := func(to float64) (times float64, ok bool, err error) {
		least := math.Inf(1)
		for _, w := range ways {
			p, err := j.pass(w, last.Settings, before, to)
			if err != nil {
				return 0, false, err
			}
			if p.ok {
				least = math.Min(least, p.minutes)
			}
		}
		return min(max(last.Settings[timeColumn]/least, 1./most), most), !math.IsInf(least, 0), nil
	}
	seen := s.Level - before
	switch {
	case seen < -2*sd:
		j.note("the lot is darker than before its last pass (L* %.1f, then %.1f), so nothing is learned from it: are the two tables the right way round?", last.Before, j.sample.mean.L)
		return false, nil
	case seen < sd:
		j.note("the last pass did nothing that the readings show: find out why, such as a dead oxidizer or one that does not reach the cloth, before another is run")
		return false, nil
	}
	fast, ok, err := pace(before + seen + sd)
	if err != nil || !ok {
		return false, err
	}
	slow, ok, err := pace(before + math.Max(seen-sd, 0.1*sd))
	if err != nil {
		return false, err
	}
	if !ok { // so near that no pass is so short
		slow = most
	}
	c.Pace = fast
	c.Minutes, c.Lo, c.Hi = fast*c.Minutes, fast*c.Lo, math.Max(slow, fast)*c.Hi
	return true, nil
}

const timeColumn = "time_min"

// way is how dose may grow from where the lot is.
type way int

const (
	// A fresh charge acts as on cloth from the base. How passes shorter than any
	// trial add up then rests on the curve.
	fromBase way = iota
	// A fresh charge acts at once and spends itself, as a first-order loss of
	// oxidizer does: it is quickest at its start.
	freshStart
	// What is in the drum goes on, and the lot lacked time.
	goesOn
	// What is in the drum goes on, and was weaker than noted all along.
	lacksDose
)

// pass is a run that leads to the standard: minutes from start on, which is 0
// with a fresh charge.
type pass struct {
	start, minutes   float64
	extrapolated, ok bool
}

// pass leads from a level to another.
func (j *judge) pass(w way, settings discharge.Settings, from, to float64) (p pass, err error) {
	m := j.opt.Model
	switch w {
	case fromBase:
		p.minutes, p.extrapolated, p.ok, err = m.SecondPass(settings, from, to)
		return p, err
	case freshStart:
		p.minutes, p.ok, err = m.QuickestPass(settings, from, to)
		return p, err
	case lacksDose:
		d, err := m.DoseResidual(settings, from)
		if err != nil {
			return pass{}, err
		}
		from, to = d.ExpectedLevel, j.further(d.ExpectedLevel, m.DoseBetween(from, to))
	}
	now, ex1, ok1, err := m.TimeFor(settings, from)
	if err != nil {
		return pass{}, err
	}
	then, ex2, ok2, err := m.TimeFor(settings, to)
	return pass{now, then - now, ex1 || ex2, ok1 && ok2 && then > now}, err
}

// further is the level that so much more ln dose leads to from a level, 1 where
// the curve ends before.
func (j *judge) further(level, more float64) float64 {
	lo, hi := level, 1.0
	for range 50 {
		if mid := (lo + hi) / 2; j.opt.Model.DoseBetween(level, mid) < more {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// minutesInterval adds to a pass how surely the level now is known and how the
// pass will scatter in dose, at 90 %.
func (j *judge) minutesInterval(w way, settings discharge.Settings, p pass) (lo, hi float64, err error) {
	const z = 1.6448536269514722
	m, s := j.opt.Model, j.report.Split
	// Reading: the time that belongs to one standard deviation of level.
	reading := p.minutes
	less, err := j.pass(w, settings, s.Level-s.LevelSD, s.StandardLevel)
	if err != nil {
		return 0, 0, err
	}
	if less.ok {
		reading = less.minutes - p.minutes
	}
	// Uncertainty and scatter in dose, turned into time by the rise of dose with
	// time. A lot that goes on starts from the dose it has had.
	end := p.start + p.minutes
	d, err := m.DoseResidual(withTime(settings, end), s.Level)
	if err != nil {
		return 0, 0, err
	}
	longer, err := m.DoseResidual(withTime(settings, 1.1*end), s.Level)
	if err != nil {
		return 0, 0, err
	}
	exponent := math.Max((d.LnDose-longer.LnDose)/math.Log(1.1), 0.2)
	model := d.SDModel
	if w == goesOn || w == lacksDose {
		if model, err = m.GoOnSD(settings, p.start, end); err != nil {
			return 0, 0, err
		}
	}
	sd := math.Hypot(reading, math.Hypot(end*model, p.minutes*d.SDLots)/exponent)
	// Minutes are positive, so they scatter by a factor.
	factor := math.Exp(z * sd / p.minutes)
	return p.minutes / factor, p.minutes * factor, nil
}

func withTime(s discharge.Settings, minutes float64) discharge.Settings {
	s = s.Clone()
	s[timeColumn] = minutes
	return s
}
