package discharge

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/fit"
)

// Model is what the trial lots taught: dose, level, path and noise. It never
// changes after Fit or Load and is safe for concurrent use.
type Model struct {
	process   Process
	basis     doseBasis
	fixed     Settings // factors of the process that did not vary, at their value
	path      *shadePath
	viewing   colorimetry.Viewing
	condition Condition // of the trials' readings; "" when not stated
	grid      colorimetry.Grid
	kind      ReadingKind
	comps     []component
	low       float64 // level of the blank: mechanical fading alone
	sdPanel   float64 // in η of a curve with unit 1
	readSD    float64 // panel-mean level noise
	floorSD   float64 // lot-mean level scatter that dose does not cause
	trials    []TrialRecord
	inflation float64   // factor on the sd of η, from leave-one-lot-out surprise
	loo       []float64 // ΔE00 of each trial lot predicted from all others
	warnings  []error
	digest    string // of the data, whatever the order of the lots
	recal     *Recalibration
	tensile   *tensile // nil without tensile tests
	freedom   float64  // degrees of freedom of lots about predictions, see deviate; 0: normal
	joint     bool     // the plateau's uncertainty counts together with that of η; not in files of earlier versions
	// edged says that outside the trials nothing is surer than at their edge; not in
	// files of earlier versions.
	edged bool
	// lotsAlone says that the expected shade is that of lots about the likeliest dose; in files
	// of earlier versions it is the mean over what is not known of the dose, too.
	lotsAlone bool
	// untriedWidens says that what never varied in the trials and is set elsewhere widens intervals; in
	// files of before it did not.
	untriedWidens bool
	// baseAssumed says that base readings were missing and something else stands in.
	baseAssumed bool
	// whiteAssumed says the same of white readings.
	whiteAssumed bool
	// fabric and machine of the lots that it was fitted or recalibrated to, "" where
	// they do not say, or name several.
	fabric, machine string
	others          []Other // fabrics and machines whose lots were learned from besides
}

// RanOn is the fabric and the machine of the lots that the model was fitted or last
// recalibrated to, "" where these do not say it or name several.
func (m *Model) RanOn() (fabric, machine string) { return m.fabric, m.machine }

// TrialRecord is what a model keeps of a trial lot.
type TrialRecord struct {
	ID       string
	Settings Settings
	Lab      colorimetry.Lab
	Weight   float64 // robust weight in the fit, 1 for a lot that fits
	Panels   int     `json:",omitempty"` // behind Lab; 0 when a model file does not say
	// Shift is the ln dose that its settings gave against those of the model's own fabric
	// and machine, where it ran on another; Lab is then as its fabric's were the model's.
	Shift float64 `json:",omitempty"`
}

// OutOfLine reports whether the lot lies so far from the curve that the fit
// gave it little weight: more than about 2.5 sd of lots.
func (t TrialRecord) OutOfLine() bool { return t.Weight < littleWeight }

// littleWeight is that of a lot 2.54 sd off, by Student's t: ν/(ν + (2.54/tailScale)²).
const littleWeight = 0.3

// FitOptions are the choices of Fit; nil and the zero value mean the defaults.
type FitOptions struct {
	Process Process // used when the table's process column names a process of your own
	// Fabric and Machine are those that the model is for. Lots that name another one
	// teach what strength, load and time do, with a shift in dose of their own
	// ([Model.Others]). Where they are "", lots of all are taken alike.
	Fabric, Machine string
}

// curves is the list of unit curves that compete. Order-m kinetics with m
// from 1 (first order) to 3 spans what is met on cloth (m 1.5-2.5 for
// ring-dyed cloth; common practice, no source), m = 2 being log-logistic;
// log-normal is a spread of rates, and Weibull-2 starts late and then runs
// fast before a long tail.
func curves() []fit.Curve {
	return []fit.Curve{fit.FirstOrder{}, fit.OrderM{M: 1.5}, fit.LogLogistic{}, fit.OrderM{M: 3}, fit.LogNormal{}, fit.Weibull2{}}
}

// links pairs every curve with every scale.
func (m *Model) links() []link {
	var ls []link
	for _, c := range curves() {
		for _, sc := range []scale{scaleL, scaleLnKS, scaleKS} {
			ls = append(ls, newLink(c, sc, m.path.L0, m.path.L1, m.low))
		}
	}
	return ls
}

// Fit learns a model from the trial lots of a table. It needs at least four
// trial lots in which at least one factor varies.
func Fit(t *Table, opt *FitOptions) (*Model, error) {
	return FitContext(context.Background(), t, opt)
}

// FitContext is [Fit], and ends early with the error of ctx. Twenty lots take
// some tenths of a second; the time grows with the square of their number.
func FitContext(ctx context.Context, t *Table, opt *FitOptions) (*Model, error) {
	if opt == nil {
		opt = &FitOptions{}
	}
	m, o, err := beforeCurves(t, opt)
	if err != nil {
		return nil, err
	}
	// Two rounds: the first, at the middle of the grid only, finds the slopes that
	// tell dose scatter from reading noise within lots, the second uses them.
	links := m.links()
	f := m.fitting(ctx, o, links)
	first, w := keep(f.promises())
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if len(first) == 0 {
		return nil, errors.New("no curve could be fitted to the trial lots")
	}
	m.comps = f.collapse(first, w)
	m.sdPanel, m.readSD = withinLot(m.panelLevels(o), m.lotSlopes(o), m.readSD)
	f = m.fitting(ctx, o, links)
	kept, _ := keep(f.sweep())
	cells, w := f.suspect(kept)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if len(cells) == 0 {
		return nil, errors.New("no curve could be fitted to the trial lots")
	}
	m.comps = f.collapse(cells, w)
	m.doubtScatter()
	m.record(o, cells, w)
	m.leaveOneOut(o, f, cells, w)
	m.doubtLots()
	m.fitTensile(o)
	m.settle()
	return m, nil
}

// beforeCurves is a model as it is then: process, factors, shade path, and the
// scatter that is assumed until curves tell it.
func beforeCurves(t *Table, opt *FitOptions) (*Model, *observed, error) {
	if opt.Process.ID != "" {
		if err := opt.Process.check(); err != nil {
			return nil, nil, fmt.Errorf("process %q %w", opt.Process.ID, err)
		}
	}
	if err := t.check(&opt.Process); err != nil {
		return nil, nil, err
	}
	at := site{opt.Fabric, opt.Machine}
	o, err := observe(t, at)
	if err != nil {
		return nil, nil, err
	}
	process, err := processOf(t, o, opt)
	if err != nil {
		return nil, nil, err
	}
	whole, lacking, err := withoutLacking(t, o, &process)
	if err != nil {
		return nil, nil, err
	}
	if len(lacking) > 0 {
		if o, err = observe(whole, at); err != nil {
			return nil, nil, err
		}
	}
	m := &Model{process: process, inflation: 1, freedom: predictionFreedom, joint: true, edged: true, lotsAlone: true, untriedWidens: true, baseAssumed: !o.hasBase, whiteAssumed: !o.hasWhite, digest: digestFor(t, at), viewing: t.Viewing, condition: t.Condition.With(""), grid: t.Grid, kind: t.Kind, warnings: append(lacking, o.warnings...)}
	m.fabric, m.machine = o.ranOn()
	m.fabric, m.machine = cmp.Or(opt.Fabric, m.fabric), cmp.Or(opt.Machine, m.machine)
	if err := m.chooseFactors(t, o, at); err != nil {
		return nil, nil, err
	}
	if m.path, err = o.path(-1); err != nil {
		return nil, nil, fmt.Errorf("%s: %w", t.Name, err)
	}
	if o.blank != nil {
		m.low = math.Min(math.Max(m.path.level(o.blank.L), 0), 0.2)
	}
	span := m.path.L1 - m.path.L0
	m.readSD, m.sdPanel = math.Max(o.readNoise, 0.15)/span, 0.08
	m.floorSD = 0.25 / span
	return m, o, nil
}

// fitting lists the candidates and sets up their data.
func (m *Model) fitting(ctx context.Context, o *observed, links []link) *fitting {
	f := &fitting{
		ctx:     ctx,
		sdPanel: m.sdPanel, floor: m.floorSD,
		priors: map[priorKey]*prior{},
		ws:     newWorkspace(m.basis.terms() + 2),
	}
	points := m.lotPoints(o)
	trials := make([]values, len(o.trials))
	for i, t := range o.trials {
		trials[i] = m.basis.values(t.lot.Settings)
	}
	for _, c := range m.clocks() {
		basis := m.basis.timed(c, trials)
		lots := basis.place(points, trials)
		corner := basis.corners()
		for k := range links {
			for _, by := range []demand{noDemand, byDye, byDose} {
				f.add(candidate{link: links[k], basis: &basis, demand: by}, lots, corner)
			}
		}
	}
	return f
}

// place gives lots at settings their η rows and charges.
func (b *doseBasis) place(points []lotPoint, at []values) []lotPoint {
	lots := slices.Clone(points)
	for i := range lots {
		x := b.at(&at[i])
		lots[i].row = make([]float64, b.terms())
		b.row(lots[i].row, &x)
		lots[i].charge = b.charge(&x)
	}
	return lots
}

// add lists a candidate with its data.
func (f *fitting) add(c candidate, lots []lotPoint, corner [][]float64) {
	f.problems = append(f.problems, problem{candidate: &c, lots: lots, corner: corner})
}

// clocks lists the ways in which time may count in this model.
func (m *Model) clocks() []clock {
	j := m.basis.index(timeColumn)
	if j < 0 || !m.basis.factors[j].Primary {
		return []clock{{}}
	}
	f := &m.basis.factors[j]
	return clocks(f.From, f.To)
}

// chooseFactors picks the factors that varied.
func (m *Model) chooseFactors(t *Table, o *observed, at site) error {
	m.fixed = Settings{}
	var primary, covariate []doseFactor
	for _, f := range m.process.Factors {
		if f.Transform == Recorded {
			continue
		}
		set := o.between(f.Column)
		d := newDoseFactor(f, set)
		xs := o.known(&d, site{})
		if len(xs) == 0 {
			continue
		}
		chosen, missing := f.chosen(xs), len(o.trials)-len(xs)
		switch {
		case missing > 0 && (chosen || missing > len(xs)): // of an optional factor
			m.warnings = append(m.warnings, fmt.Errorf("%s is given for %d of %d trial lots only and is left out of the model", f.Column, len(xs), len(o.trials)))
			continue
		case missing > 0:
			m.warnings = append(m.warnings, fmt.Errorf("%s is given for %d of %d trial lots only: the others are taken to have had the mean of these", f.Column, len(xs), len(o.trials)))
		}
		lo, hi := slices.Min(xs), slices.Max(xs)
		if hi-lo < 1e-9*math.Max(1, math.Abs(hi)) {
			m.fixed[f.Column] = set.Lo
			if !f.Optional {
				m.warnings = append(m.warnings, fmt.Errorf("%s was %g in every trial lot: its effect is unknown and it stays at that value", f.Column, m.fixed[f.Column]))
			}
			continue
		}
		d.between(lo, hi)
		d.From, d.To = set.Lo, set.Hi
		d.Primary = chosen
		if d.Primary && d.guessed(xs) {
			m.warnings = append(m.warnings, fmt.Errorf("%s was run at %g and %g only, and may have a best value between them, which two levels cannot show: predictions in between rest on what is usual and may be off by a factor of %.1f in dose; run lots at about %.3g",
				f.Column, d.From, d.To, math.Exp(d.open()), d.value(0)))
		}
		if d.Primary {
			primary = append(primary, d)
		} else {
			const few = 3 // of the site's own lots to tell how these drift
			if own := o.known(&d, at); len(own) >= few {
				xs = own
			}
			d.about(xs)
			covariate = append(covariate, d)
		}
	}
	if len(primary) == 0 {
		return fmt.Errorf("%w: %s", ErrNoVariation, t.Name)
	}
	varied := len(primary) + len(covariate)
	others := m.addOthers(o, at)
	switch {
	case len(primary) > maxPrimary:
		return fmt.Errorf("%s: %d factors were varied, at most %d can be learned", t.Name, len(primary), maxPrimary)
	case varied > maxFactors:
		return fmt.Errorf("%s: %d factors vary, at most %d can be learned", t.Name, varied, maxFactors)
	case varied+len(others) > maxFactors:
		return fmt.Errorf("%s: lots ran on %d other fabrics and machines, and beside %d factors that vary %d at most can be told apart: leave some lots out, or name fewer fabrics or machines", t.Name, len(others), varied, maxFactors-varied)
	}
	m.basis = newBasis(slices.Concat(primary, covariate, others), len(primary))
	return nil
}

// between returns the least and the greatest value of a column in the trials.
func (o *observed) between(column string) Range {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, l := range o.trials {
		if v, ok := l.lot.Settings[column]; ok {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	return Range{Lo: lo, Hi: hi}
}

// chosen tells a factor, of which the transformed values are given, that was varied on purpose.
func (f *Factor) chosen(xs []float64) bool {
	return !f.Optional || !f.Measured && deliberately(f.Transform, xs)
}

// deliberately tells an optional factor that was varied on purpose from one
// that was only recorded as it drifted, by its range: drum speed and moisture
// wander by some percent and temperature by a few degrees from load to load
// (common practice, no source). What was run at two or three levels again and again
// was set: half of that range will do. Where most lots have a value of their own nobody set
// them, unless they lie twice as far apart: of two dozen lots that wander the ends do.
func deliberately(t Transform, xs []float64) bool {
	limit := 0.5 // ln units, a factor 1.65; a quarter of the typical range of a linear factor
	if t == InverseKelvin {
		limit = 0.35 // about 7 °C
	}
	levels := slices.Compact(slices.Sorted(slices.Values(xs)))
	switch {
	case len(levels) <= 3 && len(xs) >= 3*len(levels):
		limit /= 2
	case 3*len(levels) > 2*len(xs):
		limit *= 2
	}
	return slices.Max(xs)-slices.Min(xs) > limit
}

// path fits the shade path, leaving out trial lot skip (-1 for none).
func (o *observed) path(skip int) (*shadePath, error) {
	l0, l1 := o.base.L, o.white.L
	if !(l1-l0 > 1) {
		return nil, errPath
	}
	var pts []pathPoint
	for i, q := range o.refs {
		q.level = (o.refL[i] - l0) / (l1 - l0)
		pts = append(pts, q)
	}
	if len(o.refs) == 0 {
		pts = append(pts, pathPoint{level: 0, weight: 0.1, y: o.stub(o.base), lot: -1}, pathPoint{level: 1, weight: 0.1, y: o.stub(o.white), lot: -2})
	}
	for i, t := range o.trials {
		if i == skip {
			continue
		}
		for _, p := range t.panels {
			pts = append(pts, pathPoint{level: (p.lab.L - l0) / (l1 - l0), weight: math.Sqrt(float64(p.n)), y: p.y, lot: i})
		}
	}
	path, err := fitPath(l0, l1, pts)
	if err != nil {
		return nil, err
	}
	// Of all lots, also without one: how surprising that one is tells of the dose, not of
	// what lies beyond the lightest.
	for _, t := range o.trials {
		path.lightest = min(max(path.lightest, path.level(t.mean().L)), mostLevel)
	}
	path.offPath(pts, len(o.trials))
	path.prepare()
	return path, nil
}

func (o *observed) stub(c colorimetry.Lab) []float64 {
	y := make([]float64, o.channels)
	y[0], y[1] = c.A, c.B
	return y
}

// panelLevels returns the levels of each lot's panels, of lots that start where all do.
func (m *Model) panelLevels(o *observed) [][]float64 {
	out := make([][]float64, len(o.trials))
	for i, t := range o.trials {
		v := m.basis.values(t.lot.Settings)
		for _, p := range t.panels {
			out[i] = append(out[i], since(m.start(&v), m.path.level(p.lab.L)))
		}
	}
	return out
}

// lotSlopes returns |ds/dη| at each lot's settings, averaged over the curves,
// for η of unit 1.
func (m *Model) lotSlopes(o *observed) []float64 {
	out := make([]float64, len(o.trials))
	var grad [maxSize]float64
	for i, t := range o.trials {
		v := m.basis.values(t.lot.Settings)
		for k := range m.comps {
			c := &m.comps[k]
			eta := c.at(&v, &grad)
			_, ds, _ := c.link.at(eta, c.plateau())
			out[i] += c.weight * ds * c.link.unit
		}
	}
	return out
}

// lotPoints boils each lot down to a robust mean level and its noise.
func (m *Model) lotPoints(o *observed) []lotPoint {
	levels := m.panelLevels(o)
	slopes := make([]float64, len(o.trials))
	for i := range slopes {
		slopes[i] = 0.2 // a middling slope until the curve is known
	}
	if m.comps != nil {
		slopes = m.lotSlopes(o)
	}
	points := make([]lotPoint, len(o.trials))
	for i := range points {
		n := float64(len(levels[i]))
		scale := tailScale * math.Hypot(slopes[i]*m.sdPanel, m.readSD)
		points[i] = lotPoint{level: robustMean(levels[i], scale), panels: n, read: m.readSD * m.readSD / n}
	}
	return points
}

// corners returns the rows of ∂η/∂x_j at the corners of the trials' region
// for every primary factor that can only raise the dose.
func (b *doseBasis) corners() [][]float64 {
	var rows [][]float64
	var x values
	for j := range b.primary {
		if !b.factors[j].Raises {
			continue
		}
		for mask := range 1 << b.primary {
			for k := range b.primary {
				x[k] = b.factors[k].Lo
				if mask>>k&1 == 1 {
					x[k] = b.factors[k].Hi
				}
			}
			row := make([]float64, b.terms()+1)
			b.slopes(row[:b.terms()], &x, j)
			rows = append(rows, row)
		}
	}
	return rows
}

func dot(row, theta []float64) float64 {
	s := 0.0
	for j, v := range row {
		s += v * theta[j]
	}
	return s
}
