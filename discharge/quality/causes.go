package quality

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/fit"
	"example.com/dosetone/internal/quantile"
)

// Fault is what went wrong with a lot.
type Fault string

// The faults.
const (
	UnderDischarged Fault = "under-discharged"
	OverDischarged  Fault = "over-discharged"
	BrownCast       Fault = "brown cast"
	Yellowing       Fault = "yellowing"
	BackStaining    Fault = "back-staining"
	OtherFabric     Fault = "different base fabric"
	UnevenLot       Fault = "uneven lot"
	HotSpots        Fault = "hot spots"
	CannotTell      Fault = "cannot tell"
)

// Cause is a fault with its evidence and the usual remedy.
type Cause struct {
	Fault Fault
	// Size is how much of the difference it accounts for, in the formula's
	// units; causes are ranked by it.
	Size     float64
	Evidence string
	Remedy   string // a suggestion to a skilled person
}

// rareResidual and upsetResidual bound, in standard deviations of lots, what a
// lot's dose departs from its settings: 1 sound lot in 22 lies beyond the first, 1 in
// 370 beyond the second.
const (
	rareResidual  = 2
	upsetResidual = 3
)

// blame is what put a lot where it lies along the path.
type blame int

const (
	unknownBlame  blame = iota
	bySettings          // they promise a shade off the standard
	byDrift             // of a factor that nobody chose, which makes them do so
	byScatter           // of lots
	byRareScatter       // or an upset: too seldom to be passed over
	byUpset
)

// blame tells settings, scatter and upset apart. Only what the settings themselves
// promise is a reason to change them: chasing the scatter of lots, or an upset, with
// the settings makes later lots worse.
func (j *judge) blame() blame {
	s := j.report.Split
	if s == nil || s.Residual == nil || !s.ResidualUsable {
		return unknownBlame
	}
	promised, found := j.beyondAccepted(s.Residual.ExpectedLevel), j.doseExcess()
	switch z := math.Abs(s.ResidualZ); {
	case z > upsetResidual:
		return byUpset
	case promised*found > 0 && math.Abs(promised) > math.Abs(found)/2:
		if _, usual := j.drifted(); usual*found <= 0 || math.Abs(usual) <= math.Abs(found)/2 {
			return byDrift
		}
		return bySettings
	case z > rareResidual:
		return byRareScatter
	}
	return byScatter
}

// drifted is the factor that nobody chose by whose value in this lot its settings promise most
// to either side, and how far from the accepted ones the shade is that they would promise with
// all such factors as the trials had them.
func (j *judge) drifted() (most *discharge.FactorRange, usual float64) {
	m := j.opt.Model
	promise := func(s discharge.Settings) float64 {
		r, err := m.DoseResidual(s, j.report.Split.Level)
		if err != nil || !finite(r.ExpectedLevel) {
			return math.NaN() // settings that Residual has been worked out for: not reached
		}
		return j.beyondAccepted(r.ExpectedLevel)
	}
	all, without := promise(j.lot.Settings), j.lot.Settings.Clone()
	least := 0.0
	for _, f := range m.Factors() {
		if _, named := j.lot.Settings[f.Column]; !named || !f.Drifts {
			continue
		}
		delete(without, f.Column)
		one := j.lot.Settings.Clone()
		delete(one, f.Column)
		if d := math.Abs(all - promise(one)); d > least {
			least, most = d, &f
		}
	}
	if most == nil {
		return nil, all
	}
	return most, promise(without)
}

// driftWords names such a factor with its value and what the trials had.
func (j *judge) driftWords(f *discharge.FactorRange) string {
	unit := ""
	if f.Unit != "" {
		unit = " " + f.Unit
	}
	return fmt.Sprintf("its %s of %.4g%s, where the trials had %.4g to %.4g", f.Column, j.lot.Settings[f.Column], unit, f.Lo, f.Hi)
}

// nextLots is the advice on the lots to come after one that is rejected.
func (j *judge) nextLots(f Fault) string {
	change := "shorten the next lots"
	if f == UnderDischarged {
		change = "give the next lots longer"
	}
	switch j.blame() {
	case byUpset:
		return "find what went wrong with this lot before the next one is run, rather than change its settings"
	case byDrift:
		f, _ := j.drifted()
		if f.Measured {
			return fmt.Sprintf("leave the settings for usual loads as they are, and choose others for loads with such a %s", f.Column)
		}
		return fmt.Sprintf("bring %s back to what it was in the trials, or choose settings for it: at its usual value these promise the standard", f.Column)
	case byRareScatter:
		return "before the next lot check the oxidizer's strength, the weighing and the time, rather than change the settings"
	case byScatter:
		return "leave the settings of the next lots as they are: one lot within the scatter is no reason to change them"
	}
	return change
}

// Remedies are suggestions; all are common practice, no source.
func (j *judge) remedy(f Fault, p discharge.Process) string {
	perm, d := usesPermanganate(p), j.report.Verdict.Decision
	switch f {
	case UnderDischarged:
		if j.castLies() {
			return "take off the cast first and read again: until then it cannot be told how much dose is lacking"
		}
		if j.report.Split != nil && j.afterDose() > j.report.Tolerance {
			return "find out first what lies off the shade path: more dose does not take it away; " + j.nextLots(f)
		}
		if d == MeasureMore {
			return "settle the verdict first, with more panels; if it stays on this side, a second pass may bring it to the standard"
		}
		return "a second pass may bring it to the standard: see the correction, try it on a few garments first, and read before unloading; " + j.nextLots(f)
	case OverDischarged:
		if d != Reject {
			return "settle the verdict first, with more panels: only a rejected lot needs another buyer or color; if it stays on this side, " + j.nextLots(f)
		}
		return "this cannot be undone: the color is gone; offer the lot against another standard, tint or overdye with the buyer's consent; " + j.nextLots(f)
	case BrownCast:
		return "manganese dioxide is left: neutralize again with fresh reducing agent, enough of it and acid enough, rinse, and read again before any second pass"
	case Yellowing:
		if perm {
			return "rinse and neutralize again; if it stays, yellow dye products are on the cloth: an alkaline soap or top brightening lightens them"
		}
		return "check for residual oxidizer and antichlor or rinse again; if it stays, yellow dye products are on the cloth: an alkaline soap or top brightening lightens them"
	case BackStaining:
		return "loose dye has settled on pale areas: a hot wash with a dispersing agent and an extra rinse usually takes it off; use more liquor next time"
	case OtherFabric:
		text := "do not correct the recipe for the old fabric: read the base of each roll or load, band the rolls, and recalibrate the model with 1-3 lots on this fabric"
		if j.opt.Model != nil && slices.ContainsFunc(j.opt.Model.Factors(), func(f discharge.FactorRange) bool { return f.Measured }) {
			text += "; a roll of the same fabric, deeper or lighter, needs settings chosen for its own base"
		}
		return text
	case UnevenLot:
		return "check load size, carrier distribution, moisture of the garments and drum speed; sort the garments into shade bands before shipping"
	case HotSpots:
		return "take garments out at once after tumbling, crush lumps of carrier, and sort the spotted garments out: the pale spots cannot be undone"
	}
	return "read the base fabric of this load, check neutralization and rinsing, read one garment again after a rinse, and show it to a second person"
}

// usesPermanganate looks at the process's own words.
func usesPermanganate(p discharge.Process) bool {
	return strings.Contains(strings.ToLower(p.Oxidizer+" "+p.ID), "permanganate")
}

// causes fills in the ranked causes. A lot that is accepted has none unless
// something is out of the ordinary.
func (j *judge) causes() {
	r := j.report
	var process discharge.Process
	if j.opt.Model != nil {
		process = j.opt.Model.Process()
	}
	add := func(f Fault, size float64, format string, args ...any) {
		r.Causes = append(r.Causes, Cause{Fault: f, Size: size, Evidence: fmt.Sprintf(format, args...), Remedy: j.remedy(f, process)})
	}
	j.unevenness(add)
	outside := r.Verdict.Decision != Accept
	if j.opt.Model == nil {
		if outside {
			dir := "darker"
			if r.Mean.L > r.Standard.L {
				dir = "lighter"
			}
			add(CannotTell, r.DeltaE, "the lot is %s than the standard (L* %+.2f, a* %+.2f, b* %+.2f): only a model of this laundry tells dose from other causes",
				dir, r.Mean.L-r.Standard.L, r.Mean.A-r.Standard.A, r.Mean.B-r.Standard.B)
		}
		rank(r.Causes)
		return
	}
	e, s := j.shift, r.Split
	if size := math.Abs(j.doseExcess()); outside && size > 0.25*r.Tolerance && math.Abs(s.Along) > 2*j.alongSD() {
		add(doseFault(s.Along), size, "%s%s%s", j.alongWords(), j.residualWords(), j.baseDoubt())
	}
	named := j.castLies()
	if named {
		add(faultOf(e.colorant), e.size, "at its own lightness the lot is b* %+.2f and a* %+.2f off the shade path, and %s; %s, and is worth %.1f units",
			s.OffB, s.OffA, rareWords(s.OffT2), castWords(e), e.size)
	}
	fabric := j.fabric(add)
	// What no cause explains.
	left, rest, what := e.chi2None, s.Off, "off the shade path, for which no known fault of a likely size accounts"
	if named {
		left, rest = e.chi2, j.opt.Difference.Diff(moved(j.opt.Model.ShadeAt(e.level), e.effect), r.Mean)
		what = fmt.Sprintf("that dose and a %s together leave unexplained", faultOf(e.colorant))
	}
	if left > chi2Two999 && !fabric && outside && rest > 0.3*r.Tolerance {
		add(CannotTell, rest, "%.1f units %s (a* %+.2f, b* %+.2f off the path at its own lightness)%s", rest, what, s.OffA, s.OffB, j.baseHint())
	}
	if outside && len(r.Causes) == 0 {
		if off := j.opt.Difference.Diff(j.target.Lab, j.opt.Model.ShadeAt(s.StandardLevel)); off > 0.3*r.Tolerance {
			add(CannotTell, r.DeltaE, "the lot is %.1f units from the standard, but on the path and near its level: the standard itself lies %.1f off this laundry's path, which dose cannot reach", r.DeltaE, off)
		} else {
			add(doseFault(s.Along), math.Abs(s.Along), "%s, which is no more than these panels leave open%s", j.alongWords(), j.baseDoubt())
		}
	}
	rank(r.Causes)
}

// castLies tells whether a cast is large enough to be named.
func (j *judge) castLies() bool {
	e, r := j.shift, j.report
	return e != nil && e.colorant != noColorant && (e.size > 0.5*r.Tolerance || r.Verdict.Decision != Accept && e.size > 0.25*r.Tolerance)
}

// doseFault names a deviation along the path, lighter positive.
func doseFault(along float64) Fault {
	if along < 0 {
		return UnderDischarged
	}
	return OverDischarged
}

// alongWords says how far along the path the lot is from the standard, and what
// dose that is.
func (j *judge) alongWords() string {
	s := j.report.Split
	text := fmt.Sprintf("%.1f units along the shade path from the standard (level %.0f %% against %.0f %%): as after %s",
		s.Along, 100*s.Level, 100*s.StandardLevel, DoseWords(s.DosePct))
	if s.HasMinutes {
		text += fmt.Sprintf(", or %+.1f min at these settings", s.Minutes)
	}
	return text
}

// farDose is the factor of dose beyond which words give no number: no trials span
// it, and on the plateaus of the curve any dose gives nearly the same shade.
const farDose = 10

// DoseWords says in words how much more (+) or less (-) dose a percentage is:
// "35 % more dose", and beyond ten times no number at all.
func DoseWords(pct float64) string {
	switch f := 1 + pct/100; {
	case f > farDose:
		return "more than ten times the dose"
	case f < 1./farDose:
		return "less than a tenth of the dose"
	case pct < 0:
		return fmt.Sprintf("%.0f %% less dose", -pct)
	}
	return fmt.Sprintf("%.0f %% more dose", pct)
}

// rareWords says how seldom good lots lie at a squared distance in their scatter:
// beyond t2 of chi-square with two degrees of freedom lies exp(-t2/2).
func rareWords(t2 float64) string {
	for _, n := range []float64{1000, 200, 50} {
		if t2 > 2*math.Log(n) {
			return fmt.Sprintf("fewer than 1 good lot in %.0f lies so far from it", n)
		}
	}
	return "good lots may lie so far from it"
}

func rank(c []Cause) {
	slices.SortStableFunc(c, func(a, b Cause) int {
		// A base that differs comes first: all other comparisons rest on it.
		if (a.Fault == OtherFabric) != (b.Fault == OtherFabric) {
			if a.Fault == OtherFabric {
				return -1
			}
			return 1
		}
		// What cannot be told never leads when something can.
		if (a.Fault == CannotTell) != (b.Fault == CannotTell) && math.Max(a.Size, b.Size) < 3*math.Min(a.Size, b.Size) {
			if a.Fault == CannotTell {
				return 1
			}
			return -1
		}
		// A cast is to be taken off before dose can be judged, so one that is not far
		// smaller comes first.
		if a.Fault.cast() != b.Fault.cast() && math.Max(a.Size, b.Size) < 2*math.Min(a.Size, b.Size) {
			if a.Fault.cast() {
				return -1
			}
			return 1
		}
		return cmp.Compare(b.Size, a.Size)
	})
}

// cast tells faults that lie on the cloth and may come off.
func (f Fault) cast() bool { return f == BrownCast || f == Yellowing || f == BackStaining }

func faultOf(c colorant) Fault {
	switch c {
	case brown:
		return BrownCast
	case yellow:
		return Yellowing
	case stain:
		return BackStaining
	}
	return ""
}

func castWords(e *explained) string {
	switch e.colorant {
	case brown:
		return fmt.Sprintf("a broad absorption that falls from blue to red explains it (K/S %.2f at 400 nm; L* %+.1f, b* %+.1f), as manganese dioxide has", e.amount, e.effect[0], e.effect[2])
	case yellow:
		return fmt.Sprintf("an absorption in the blue alone explains it (K/S %.2f near 400 nm; L* %+.1f, b* %+.1f)", e.amount, e.effect[0], e.effect[2])
	case stain:
		return fmt.Sprintf("%.1f %% of the base's dye spread over everything explains it (L* %+.1f, b* %+.1f)", 100*e.amount, e.effect[0], e.effect[2])
	}
	return ""
}

// doseExcess is the part of the deviation along the path that lies outside the
// accepted range of levels.
func (j *judge) doseExcess() float64 { return j.beyondAccepted(j.report.Split.Level) }

// beyondAccepted is how far along the path a level lies from the accepted ones, darker
// negative.
func (j *judge) beyondAccepted(level float64) float64 {
	s := j.report.Split
	switch {
	case level < s.AcceptedFrom:
		return j.along(s.AcceptedFrom, level)
	case level > s.AcceptedTo:
		return j.along(s.AcceptedTo, level)
	}
	return 0
}

// alongSD is the uncertainty of Split.Along.
func (j *judge) alongSD() float64 {
	s := j.report.Split
	return math.Abs(j.along(s.Level, s.Level+s.LevelSD))
}

// residualWords says whether the settings or the lot are to blame.
func (j *judge) residualWords() string {
	s := j.report.Split
	if s.Residual == nil || !s.ResidualUsable {
		return ""
	}
	text := fmt.Sprintf("; against its settings that is %s%s (%+.1f standard deviations of lots)", DoseWords(100*math.Expm1(s.Residual.LnDose)), j.strengthWords(s.Residual.LnDose), s.ResidualZ)
	switch j.blame() {
	case byUpset:
		text += ": an upset of this lot, so check strength, weighing and time"
	case bySettings:
		text += fmt.Sprintf(": the settings themselves promise a shade %.1f units off this standard", math.Abs(j.beyondAccepted(s.Residual.ExpectedLevel)))
	case byDrift:
		f, usual := j.drifted()
		text += fmt.Sprintf(": %s, promises a shade %.1f units off this standard; at its usual value the settings promise one %.1f off", j.driftWords(f), math.Abs(j.beyondAccepted(s.Residual.ExpectedLevel)), math.Abs(usual))
	case byRareScatter:
		text += ": fewer than 1 sound lot in 20 departs so far"
	default:
		text += ": within the scatter of lots"
	}
	return text
}

// strengthWords says what strength would have done as much: dose has a unit of each curve's
// own, strength is what is weighed. It is "" where the trials do not show it, or no
// slip of strength goes so far.
func (j *judge) strengthWords(lnDose float64) string {
	f := j.opt.Model.Strength(lnDose, 0)[1]
	const far = 3
	switch {
	case f == 0 || f > far || f < 1./far:
		return ""
	case f < 1:
		return fmt.Sprintf(", as %.0f %% less strength gives", 100*(1-f))
	}
	return fmt.Sprintf(", as %.0f %% more strength gives", 100*(f-1))
}

// fabric says that the load is of another fabric than the trials: by its base alone, or
// by its base and the lot together, if nothing lies on the cloth that must come off first.
func (j *judge) fabric(add func(Fault, float64, string, ...any)) bool {
	base, ok := j.base()
	if !ok {
		return false
	}
	h := baseOf(&j.opt)
	size := j.opt.Difference.Diff(h.Mean, base)
	switch d2 := h.distance2(base); {
	case d2 >= h.limit():
		add(OtherFabric, size, "%s: fewer than 1 load of one fabric in 1000 does so", j.baseWords(h, base))
	case d2 > chi2Three95 && j.shift.fabric && j.shift.colorant == noColorant && j.report.Verdict.Decision != Accept:
		add(OtherFabric, size, "%s, as fewer than 1 load of one fabric in 20 does, and another fabric accounts for base and lot together better than dose or anything on the cloth", j.baseWords(h, base))
	default:
		return false
	}
	return true
}

// baseDoubt says that the load's base differs by more than most loads of its
// fabric do, but by too little to be another's: it may be what passes for dose.
func (j *judge) baseDoubt() string {
	base, ok := j.base()
	if !ok {
		return ""
	}
	h := baseOf(&j.opt)
	if d2 := h.distance2(base); d2 > chi2Three95 && d2 < h.limit() {
		return "; " + j.baseWords(h, base) + ", as fewer than 1 load of one fabric in 20 does, and may be the cause instead"
	}
	return ""
}

// baseWords says how the load's base differs from those known.
func (j *judge) baseWords(h *BaseHistory, base colorimetry.Lab) string {
	d := minus(base, h.Mean)
	return fmt.Sprintf("the base of this load differs by %.1f units from that of %s (L* %+.2f, a* %+.2f, b* %+.2f)", j.opt.Difference.Diff(h.Mean, base), j.basesWords(h), d[0], d[1], d[2])
}

// basesWords names the bases that a load is compared with.
func (j *judge) basesWords(h *BaseHistory) string {
	switch {
	case j.opt.Bases == nil:
		return "the trials"
	case h.Loads == 1:
		return "the one load known"
	}
	return fmt.Sprintf("the %d loads known", h.Loads)
}

func (j *judge) baseHint() string {
	if len(j.opt.Base) == 0 {
		return "; the base of this load was not read, so another fabric cannot be excluded"
	}
	return "; the base of this load is as in the trials"
}

// findHotSpots marks panels that are paler than the others by more than chance:
// against the trials' scatter when it is known, else by Grubbs' test [4].
func (j *judge) findHotSpots() {
	n := len(j.sample.panels)
	if n < 3 {
		return
	}
	light := make([]float64, n)
	for i, p := range j.sample.panels {
		light[i] = p.Lab.L
	}
	mark := func(i int) {
		j.hot = append(j.hot, i)
		j.report.Panels[i].HotSpot = true
	}
	if !knowsScatter(j.opt.Model) {
		if i, g, critical, err := fit.Grubbs(light, 0.05); err == nil && g > critical && light[i] > j.sample.mean.L {
			mark(i)
		}
		return
	}
	middle := quantile.Median(light)
	sd := math.Sqrt(j.opt.Model.ScatterAt(j.opt.Model.LevelOf(middle)).Panel[0][0])
	// One in a hundred lots of n even panels has one so far above the median;
	// lots differ in evenness, by about a fifth of the standard deviation.
	limit := 1.2 * quantile.Normal(1-0.01/float64(n)) * math.Sqrt(1+math.Pi/2/float64(n))
	for i, l := range light {
		if (l-middle)/sd > limit {
			mark(i)
		}
	}
}

// unevenness adds hot spots and a scatter between panels above the trials'.
func (j *judge) unevenness(add func(Fault, float64, string, ...any)) {
	r := j.report
	n := len(j.sample.panels)
	if len(j.hot) > 0 {
		var names []string
		size := 0.0
		var rest []float64
		for i, p := range j.sample.panels {
			if slices.Contains(j.hot, i) {
				names = append(names, p.ID)
				size = math.Max(size, j.opt.Difference.Diff(j.sample.mean, p.Lab))
			} else {
				rest = append(rest, p.Lab.L)
			}
		}
		if len(rest) >= 2 {
			middle := quantile.Median(rest)
			top := 0.0
			for _, i := range j.hot {
				top = math.Max(top, j.sample.panels[i].Lab.L-middle)
			}
			// Its weight on the lot mean is what it accounts for.
			add(HotSpots, size*float64(len(j.hot))/float64(n), "panel %s is paler than the others by up to %.1f L*", strings.Join(names, ", "), top)
		}
	}
	if !knowsScatter(j.opt.Model) || n < 3 {
		return
	}
	var rest []float64
	for i, p := range j.sample.panels {
		if !slices.Contains(j.hot, i) {
			rest = append(rest, p.Lab.L)
		}
	}
	if len(rest) < 3 {
		return
	}
	mean, ss := 0.0, 0.0
	for _, l := range rest {
		mean += l / float64(len(rest))
	}
	for _, l := range rest {
		ss += (l - mean) * (l - mean)
	}
	v := j.opt.Model.ScatterAt(j.opt.Model.LevelOf(mean)).Panel[0][0]
	df := float64(len(rest) - 1)
	// The trials' own scatter is known to about 20 %: the limit allows for it.
	const known = 1.44
	limit := chiSquareQuantile(0.995, df) * known
	if ss/v > limit {
		seen := math.Sqrt(ss / df)
		add(UnevenLot, 0.5*seen/math.Sqrt(v)*r.Verdict.WithinSD/math.Max(1, math.Sqrt(float64(n))), "panels scatter by %.2f L*, those of the trials by %.2f", seen, math.Sqrt(v))
	}
}
