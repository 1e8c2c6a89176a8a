package discharge

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// bringTo sets the ends of the path, and moves lots of other fabrics onto it.
func (o *observed) bringTo(at site, references []trialObs) (warnings []error, err error) {
	if warnings, err = at.check(o); err != nil {
		return nil, err
	}
	if at.fabric != "" {
		of := map[string]*cloth{at.fabric: {}}
		for _, r := range references {
			name := cmp.Or(r.lot.Fabric, at.fabric)
			if of[name] == nil {
				of[name] = &cloth{}
			}
			switch r.lot.Role {
			case Base:
				of[name].base = append(of[name].base, r.panels...)
			case White:
				of[name].white = append(of[name].white, r.panels...)
			}
		}
		warnings = append(warnings, o.carryOver(at.fabric, of)...)
		own := of[at.fabric]
		references = slices.DeleteFunc(references, func(r trialObs) bool {
			if cmp.Or(r.lot.Fabric, at.fabric) == at.fabric {
				return false
			}
			switch r.lot.Role {
			case Base: // without one of its own the others' must do
				return len(own.base) > 0
			case White:
				return len(own.white) > 0
			}
			return true
		})
	}
	var base, white, blank []panelObs
	for i, r := range references {
		switch r.lot.Role {
		case Base:
			base = append(base, r.panels...)
		case White:
			white = append(white, r.panels...)
		case Blank:
			blank = append(blank, r.panels...)
		}
		for _, p := range r.panels {
			o.refs = append(o.refs, pathPoint{weight: math.Sqrt(float64(p.n)), y: p.y, lot: -1 - i})
			o.refL = append(o.refL, p.lab.L)
		}
	}
	o.anchor(base, blank, white)
	return warnings, nil
}

// cloth is the panels of base and white of one fabric.
type cloth struct{ base, white []panelObs }

// carryOver moves the trial lots of other fabrics onto the way of this one: as far
// between its base and its white as they are between their own, with the casts of its
// ends in place of theirs, so that dose alone is left to differ. The whites of two
// fabrics are taken to be the same unless both were read.
func (o *observed) carryOver(fabric string, of map[string]*cloth) (warnings []error) {
	own := of[fabric]
	if len(own.base) == 0 {
		return []error{fmt.Errorf("no base readings of fabric %s: those of all fabrics are taken together", fabric)}
	}
	var unread []string
	for _, t := range o.trials {
		name := cmp.Or(t.lot.Fabric, fabric)
		theirs := of[name]
		switch {
		case name == fabric:
			continue
		case theirs == nil || len(theirs.base) == 0:
			unread = append(unread, name)
			continue
		}
		base := meanOf(theirs.base, o.channels)
		atBase := meanOf(own.base, o.channels)
		atBase.add(-1, &base)
		atWhite, light := panelObs{y: make([]float64, o.channels)}, usualWhite
		switch {
		case len(own.white) > 0 && len(theirs.white) > 0:
			white := meanOf(theirs.white, o.channels)
			atWhite, light = meanOf(own.white, o.channels), white.lab.L
			atWhite.add(-1, &white)
		case len(theirs.white) > 0:
			light = meanLab(theirs.white).L
		case len(own.white) > 0:
			light = meanLab(own.white).L
		}
		if _, ok := t.lot.Settings[baseColumn]; ok {
			t.lot.Settings = t.lot.Settings.Clone() // the lot is the fit's own, but for the map
			t.lot.Settings[baseColumn] += atBase.lab.L
		}
		for k := range t.panels {
			p := &t.panels[k]
			level := (p.lab.L - base.lab.L) / math.Max(light-base.lab.L, 1)
			p.add(1-level, &atBase)
			p.add(level, &atWhite)
		}
	}
	if slices.Sort(unread); len(unread) > 0 {
		warnings = append(warnings, fmt.Errorf("no base readings of fabric %s: lots there are taken to start from the base of %s", firstOf(slices.Compact(unread)), fabric))
	}
	return warnings
}

// meanOf is the mean of panels.
func meanOf(panels []panelObs, channels int) panelObs {
	mean := panelObs{y: make([]float64, channels)}
	for i := range panels {
		mean.add(1/float64(len(panels)), &panels[i])
	}
	return mean
}

// add adds a share of another panel's color.
func (p *panelObs) add(share float64, q *panelObs) {
	p.lab.L += share * q.lab.L
	p.lab.A += share * q.lab.A
	p.lab.B += share * q.lab.B
	for c, v := range q.y {
		p.y[c] += share * v
	}
}
