package discharge

import (
	"fmt"
	"math"
	"slices"
)

// Rolls of a fabric differ in depth, and a load that starts lighter ends lighter by the
// same settings. Where trial lots have readings of their own garments before the
// load, how light these were is one more factor, which nobody chooses: it is where the way to
// white begins, and besides it is worth some dose.

// baseColumn is the L* of the garments of a load before it.
const baseColumn = "base_lightness"

// What a load that starts 1 L* lighter gains in ln dose besides its start, and its standard
// deviation. Dye that is less by a share stays less by that share, which half way is 1 to 1.4 L*,
// of which the start makes a half, and ln dose is 12 to 20 L* per unit there: 0.03 to 0.07. Where
// oxidizer runs short and dye sits in a ring it is more (internal/study/HISTORY.md, at night).
const usualBaseGain, usualBaseGainSD = 0.09, 0.08

// baseTold is the variance between own bases over what panels alone make of it, from which
// on loads are held to differ (the F ratio of an analysis of variance).
const baseTold = 2.0

// ownBases gives trial lots the lightness of their own garments as a setting, where they
// were read and no column states it; where they differ by no more than panels do, it is none.
func (o *observed) ownBases(references []trialObs) {
	read := map[string]*trialObs{}
	for i := range references {
		if r := &references[i]; r.lot.Role == Base {
			read[r.lot.ID] = r
		}
	}
	var lots []*Lot
	var own []*trialObs
	for _, t := range o.trials {
		_, stated := t.lot.Settings[baseColumn]
		if base := read[t.lot.ID]; base != nil && !stated {
			lots, own = append(lots, t.lot), append(own, base)
		}
	}
	if len(own) > 1 && !differ(own) {
		o.warnings = append(o.warnings, fmt.Errorf("bases of %d trial lots were read, but differ by no more than the garments of each: what a lighter or darker roll does cannot be learned from them", len(own)))
		return
	}
	for i, l := range lots {
		l.Settings = l.Settings.Clone() // the lot is the fit's own, but for the map
		l.Settings[baseColumn] = own[i].mean().L
	}
}

// differ reports whether lots' bases lie further apart than their panels say of each.
func differ(bases []*trialObs) bool {
	var mean, between, within float64
	k := float64(len(bases))
	for _, b := range bases {
		mean += b.mean().L / k
	}
	for _, b := range bases {
		l, n := b.mean().L, float64(len(b.panels))
		between += (l - mean) * (l - mean) / (k - 1)
		if n > 1 {
			for _, p := range b.panels {
				within += (p.lab.L - l) * (p.lab.L - l) / (n - 1) / n / k
			}
		}
	}
	return between > math.Max(baseTold*within, 1e-12)
}

// rebase moves the middle of own bases to those of another cloth, by so much lighter: what
// counts is how far a load is from the others of its cloth, whose base the path has.
func (m *Model) rebase(lighter float64) {
	j := m.basis.own
	if j < 0 || lighter == 0 {
		return
	}
	move := func(b *doseBasis) {
		b.factors = slices.Clone(b.factors)
		f := &b.factors[j]
		f.Center += lighter / f.Scale
		f.From += lighter
		f.To += lighter
		b.middle[j] += lighter
	}
	move(&m.basis)
	moved := map[*doseBasis]*doseBasis{} // curves share them
	for i := range m.comps {
		c := &m.comps[i]
		if moved[c.basis] == nil {
			b := *c.basis
			move(&b)
			moved[c.basis] = &b
		}
		c.basis = moved[c.basis]
	}
}

// start is the level of a load's own base on the way of the model's cloth, 0 for one like
// the others.
func (m *Model) start(v *values) float64 {
	j := m.basis.own
	if j < 0 || drifts(v[j]) {
		return 0
	}
	const most = 0.5 // beyond is no base
	return min(max(m.path.rise(v[j]-m.basis.middle[j]), -most), most)
}

// rise is a difference of L* as one of level.
func (p *shadePath) rise(lightness float64) float64 { return lightness / (p.L1 - p.L0) }

// begun is the level of a load that starts at start, where one that starts at 0 comes to s.
func begun(start, s float64) float64 { return start + (1-start)*s }

// since is the inverse of begun.
func since(start, level float64) float64 { return (level - start) / (1 - start) }

// begin moves the levels of curves, which start at 0.
func (p *mixPart) begin(s []float64) {
	if p.start == 0 {
		return
	}
	for n := range s {
		s[n] = begun(p.start, s[n])
	}
}

// wordsOnStart says what a lighter base does, of which the effect on dose is given.
func (m *Model) wordsOnStart(f *doseFactor, mean, se float64) string {
	const half = 0.5
	per := m.Slope(half) * (m.path.L1 - m.path.L0) / f.Scale // L* per L*, by dose
	at := func(gain float64) float64 { return 1 - half + per*gain }
	return fmt.Sprintf("a load that starts 1 L* lighter ends %.1f L* lighter where it goes half of the way (95 %%: %.1f to %.1f); trial lots started at L* %.1f to %.1f", at(mean), at(mean-2*se), at(mean+2*se), f.From, f.To)
}

// Starting is a copy of the settings of a load with the lightness of its own garments before
// it, where the model learned what that does, the readings of base show it and s does not
// state it; else s itself.
func (m *Model) Starting(s Settings, base []Lot) Settings {
	if _, stated := s[baseColumn]; stated || len(s) == 0 || m.basis.own < 0 {
		return s
	}
	light, ok := MeanLightness(base...)
	if !ok {
		return s
	}
	s = s.Clone()
	s[baseColumn] = light
	return s
}
