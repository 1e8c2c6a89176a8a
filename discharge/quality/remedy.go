package quality

import (
	"fmt"
	"slices"
	"strings"

	"example.com/dosetone/discharge"
)

// nextLots is the advice on the lots to come after one that is rejected.
func (j *judge) nextLots(f Fault) string {
	change := "shorten the next lots"
	if f == UnderDischarged {
		change = "give the next lots longer"
	}
	switch j.blame() {
	case unknownBlame:
		switch {
		case len(j.lot.Settings) == 0:
			return "whether the next lots need other settings is told by this one's, which are not known here"
		case j.unplaced != nil:
			return fmt.Sprintf("whether the next lots need other settings cannot be told from this one's: %v", j.unplaced)
		}
		return "before the next lot check the oxidizer's strength, the weighing and the time: where the curve is as flat as here a shade does not tell whether they or the settings are to blame"
	case byUpset:
		if strays := j.strayNames(); strays != "" {
			return fmt.Sprintf("find what went wrong with this lot, and bring %s back to what the trials had, before the next one is run, rather than change its settings", strays)
		}
		return "find what went wrong with this lot before the next one is run, rather than change its settings"
	case byDrift:
		f, _ := j.drifted()
		if f.Measured {
			return fmt.Sprintf("leave the settings for usual loads as they are, and choose others for loads with such a %s", f.Column)
		}
		return fmt.Sprintf("bring %s back to what it was in the trials, or choose settings for it: at its usual value these promise the standard", f.Column)
	case byStray:
		return fmt.Sprintf("bring %s back to what the trials had before the next lot, rather than change its settings", j.strayNames())
	case byRareScatter:
		return "before the next lot check the oxidizer's strength, the weighing and the time, rather than change the settings"
	case byScatter:
		return "leave the settings of the next lots as they are: one lot within the scatter is no reason to change them"
	}
	return change
}

// strayNames are the columns of what stands outside the trials, "" for none.
func (j *judge) strayNames() string {
	var names []string
	for _, f := range j.strays() {
		names = append(names, f.Column)
	}
	return strings.Join(names, " and ")
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
		first := "wash warm with detergent and rinse"
		if uses(p, "hypochlorite") {
			first = "check for residual chlorine and antichlor or rinse again"
		}
		return first + "; if it stays, yellow dye products are on the cloth: an alkaline soap or top brightening lightens them"
	case BackStaining:
		return "loose dye has settled on pale areas: a hot wash with a dispersing agent and an extra rinse usually takes it off; use more liquor next time"
	case OtherFabric:
		text := "do not correct the recipe for the old fabric: read the base of each roll or load, band the rolls, and recalibrate the model with 1-3 lots on this fabric"
		if j.opt.Model != nil && slices.ContainsFunc(j.opt.Model.Factors(), func(f discharge.FactorRange) bool { return f.Measured }) {
			text += "; a roll of the same fabric, deeper or lighter, needs settings chosen for its own base"
		}
		return text
	case UnevenLot:
		return "check load size, " + bringing(p).even + ", moisture of the garments and drum speed; sort the garments into shade bands before shipping"
	case HotSpots:
		return bringing(p).spots + ", and sort the spotted garments out: the pale spots cannot be undone"
	}
	return "read the base fabric of this load, check neutralization and rinsing, read one garment again after a rinse, and show it to a second person"
}

// usesPermanganate looks at the process's own words.
func usesPermanganate(p discharge.Process) bool { return uses(p, "permanganate") }

func uses(p discharge.Process, oxidizer string) bool {
	return strings.Contains(strings.ToLower(p.Oxidizer+" "+p.ID), oxidizer)
}

// bringer is how the oxidizer comes to the cloth: what is to be even about it, and what
// makes spots.
type bringer struct{ even, spots string }

func bringing(p discharge.Process) bringer {
	has := func(column string) bool { _, ok := p.Factor(column); return ok }
	switch {
	case uses(p, "ozone"):
		return bringer{"that the gas reaches all of it", "wet the garments evenly and load them opened out, and no more than tumble freely"}
	case has("liquor_ratio"):
		return bringer{"how the bath turns over and what is dosed into it", "dilute what is dosed and add it slowly to a moving bath, never onto the cloth, and load the garments opened out"}
	case has("add_on_gsm"):
		return bringer{"gun, distance and overlap", "keep the gun moving at one distance, catch drips"}
	}
	return bringer{"how the carrier is spread", "take garments out at once after tumbling, crush lumps of carrier"}
}
