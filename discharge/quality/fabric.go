package quality

import (
	"fmt"

	"example.com/dosetone/colorimetry"
)

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
