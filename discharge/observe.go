package discharge

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"example.com/dosetone/colorimetry"
)

// observed is a table boiled down to what the model learns from: panel means
// of finished, dry readings.
type observed struct {
	trials      []trialObs
	base, white colorimetry.Lab
	blank       *colorimetry.Lab
	hasBase     bool // else base is a stand-in
	hasWhite    bool
	refs        []pathPoint // base, blank and white lots, levels not yet set
	refL        []float64   // their lightness
	readNoise   float64     // sd of one panel mean's L* from its positions
	channels    int
	warnings    []error
}

// ranOn is the one fabric and machine of the trial lots, "" for none or several.
func (o *observed) ranOn() (fabric, machine string) {
	first := o.trials[0].lot
	fabric, machine = first.Fabric, first.Machine
	for _, t := range o.trials {
		if t.lot.Fabric != fabric {
			fabric = ""
		}
		if t.lot.Machine != machine {
			machine = ""
		}
	}
	return fabric, machine
}

// trialObs is one trial lot.
type trialObs struct {
	lot    *Lot
	panels []panelObs
}

type panelObs struct {
	lab  colorimetry.Lab
	y    []float64 // a*, b*, then ln K/S per wavelength when spectral
	n    int       // readings behind the mean
	loss *float64
}

// usable reports whether a reading is of finished, dry cloth.
func (r *Reading) usable() bool {
	return (r.Stage == "" || r.Stage == "finished") && (r.State == "" || r.State == "dry")
}

// observe gathers the panel means of a table to learn a model from.
func observe(t *Table, at site) (*observed, error) { return gather(t, at, 4) }

// gather is observe for at least least trial lots.
func gather(t *Table, at site, least int) (*observed, error) {
	o := &observed{channels: 2}
	lots := sorted(t.Lots)
	if t.Kind == Spectral {
		o.channels += t.Grid.N
	}
	var references []trialObs // lots of base, white and blank
	var within float64
	var withinN int
	skipped := 0
	var silent []string // trial lots that teach nothing
	for i := range lots {
		l := &lots[i]
		var panels []panelObs
		for k := range l.Panels {
			p, ss, n, skip := meanPanel(&l.Panels[k], o.channels)
			skipped += skip
			if p.n == 0 {
				continue
			}
			panels = append(panels, p)
			if n > 1 {
				within += ss / float64(n)
				withinN += n - 1
			}
		}
		if len(panels) == 0 {
			if l.Role == Trial {
				silent = append(silent, l.ID)
			}
			continue
		}
		switch l.Role {
		case Base, White, Blank:
			references = append(references, trialObs{lot: l, panels: panels})
		case Trial:
			o.trials = append(o.trials, trialObs{lot: l, panels: panels})
		}
	}
	if skipped > 0 {
		o.warnings = append(o.warnings, fmt.Errorf("%d readings were left out: only finished, dry cloth is learned from", skipped))
	}
	if len(silent) > 0 {
		o.warnings = append(o.warnings, fmt.Errorf("nothing is learned from %d trial lots without readings of finished, dry cloth: %s", len(silent), firstOf(silent)))
	}
	if withinN > 0 {
		o.readNoise = math.Sqrt(within / float64(withinN))
	}
	if len(o.trials) < least {
		if least == 1 {
			return nil, fmt.Errorf("%w: %s has no lot with role trial; run one to three inside the model's region, one at a lower and one at a higher dose", ErrTooFewLots, t.name())
		}
		return nil, fmt.Errorf("%w: %s has %d, need at least 4 at different settings (6 to be of use)", ErrTooFewLots, t.name(), len(o.trials))
	}
	doubts, err := doubtEnds(t)
	if err != nil {
		return nil, err
	}
	o.ownBases(references)
	o.warnings = append(append(o.warnings, doubts...), doubtMixture(t, at, nameOne)...)
	doubts, err = o.bringTo(at, references)
	if err != nil {
		return nil, err
	}
	o.warnings = append(o.warnings, doubts...)
	return o, nil
}

// sorted returns the lots in the order of their names, so that a model does
// not depend, to the last bit, on the order of rows in a file.
func sorted(lots []Lot) []Lot {
	lots = slices.Clone(lots)
	slices.SortStableFunc(lots, func(a, b Lot) int {
		return cmp.Or(cmp.Compare(a.ID, b.ID), cmp.Compare(a.Role, b.Role))
	})
	for i := range lots {
		lots[i].Panels = slices.Clone(lots[i].Panels)
		slices.SortStableFunc(lots[i].Panels, func(a, b Panel) int { return cmp.Compare(a.ID, b.ID) })
	}
	return lots
}

// usualWhite is the L* of fully discharged indigo denim where none was read: it ends near
// 75 to 88 (orientation from memory).
const usualWhite = 80.0

// anchor finds the ends of the path, or stand-ins with a warning.
func (o *observed) anchor(base, blank, white []panelObs) {
	dark, light := o.trials[0].panels[0].lab, o.trials[0].panels[0].lab
	for _, t := range o.trials {
		for _, p := range t.panels {
			if p.lab.L < dark.L {
				dark = p.lab
			}
			if p.lab.L > light.L {
				light = p.lab
			}
		}
	}
	o.hasBase, o.hasWhite = len(base) > 0, len(white) > 0
	if len(blank) > 0 {
		b := meanLab(blank)
		o.blank = &b
	}
	switch {
	case len(base) > 0:
		o.base = meanLab(base)
	case o.blank != nil:
		o.base = *o.blank
		o.warnings = append(o.warnings, fmt.Errorf("no base readings: the blank lot stands in for the base"))
	default:
		o.base = dark
		o.base.L -= 2
		o.warnings = append(o.warnings, fmt.Errorf("no base readings: the darkest trial panel, L* %.1f, less 2 stands in; measure the prepared garment before discharge and add rows with role base", dark.L))
	}
	switch {
	case len(white) > 0:
		o.white = meanLab(white)
	default:
		o.white = light
		o.white.L = math.Max(usualWhite, light.L+3)
		o.warnings = append(o.warnings, fmt.Errorf("no white readings: L* %.1f is assumed for fully discharged cloth; shades lighter than the lightest trial are a guess until a panel is discharged to the end and added with role white", o.white.L))
	}
}

// meanPanel is what a panel's usable readings say, and the sum of squares of L* about
// their mean for the reading noise.
func meanPanel(p *Panel, channels int) (m panelObs, ss float64, n, skipped int) {
	mean, skipped := p.mean()
	m = panelObs{y: make([]float64, channels), n: mean.N, lab: mean.Lab}
	if m.n == 0 {
		return m, 0, 0, skipped
	}
	m.y[0], m.y[1] = m.lab.A, m.lab.B
	if channels > 2 {
		for k, v := range mean.Spectrum {
			m.y[2+k] = lnKS(v)
		}
	}
	for i := range p.Readings {
		if r := &p.Readings[i]; r.usable() {
			d := r.Lab.L - m.lab.L
			ss += d * d
		}
	}
	m.loss = p.TensileLossPct
	return m, ss, m.n, skipped
}

// name of a table in messages; one made in a program may have none.
func (t *Table) name() string { return cmp.Or(t.Name, "the table") }

// lnKS is ln(K/S), kept finite for white and brightened cloth (R near or over
// 1) by stopping at R = 0.98.
func lnKS(r float64) float64 {
	return math.Log(colorimetry.KS(math.Min(math.Max(r, 1e-3), 0.98)))
}

func meanLab(ps []panelObs) colorimetry.Lab {
	var m colorimetry.Lab
	for _, p := range ps {
		m.L += p.lab.L
		m.A += p.lab.A
		m.B += p.lab.B
	}
	n := float64(len(ps))
	return colorimetry.Lab{L: m.L / n, A: m.A / n, B: m.B / n}
}
