package quality

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"example.com/dosetone/discharge"
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
		if s.StandardOff > 0.3*r.Tolerance {
			add(CannotTell, r.DeltaE, "the lot is %.1f units from the standard, but on the path and near its level: the standard itself lies %.1f off this laundry's path, which dose cannot reach", r.DeltaE, s.StandardOff)
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
