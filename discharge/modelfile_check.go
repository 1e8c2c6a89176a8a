package discharge

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/fit"
)

// model rebuilds and checks a model.
func (f *modelFile) model() (*Model, error) {
	m := &Model{digest: f.Digest, kind: f.Readings, fixed: f.Fixed, low: f.BlankLevel, sdPanel: f.SDPanel, readSD: f.ReadSD, floorSD: f.FloorSD, inflation: f.Inflation, freedom: f.Freedom, joint: f.Joint, edged: f.Edged, lotsAlone: f.LotsAlone, untriedWidens: f.Untried, baseAssumed: f.BaseAssumed, whiteAssumed: f.WhiteAssumed, fabric: f.Fabric, machine: f.Machine, others: f.Others, trials: f.Trials, loo: f.LeaveOneOut}
	for _, w := range f.Warnings {
		m.warnings = append(m.warnings, fmt.Errorf("%s", w))
	}
	var err error
	if f.OwnProcess != nil {
		m.process = *f.OwnProcess
		if m.process.ID != f.Process {
			return nil, fmt.Errorf("process %q is not the one it defines, %q", f.Process, m.process.ID)
		}
		if err := m.process.check(); err != nil {
			return nil, fmt.Errorf("process %q %w", m.process.ID, err)
		}
	} else if m.process, err = LookupProcess(f.Process); err != nil {
		return nil, err
	}
	if m.viewing, err = colorimetry.ParseViewing(f.Viewing); err != nil {
		return nil, err
	}
	if m.condition = f.Condition; m.condition != m.condition.With("") {
		return nil, fmt.Errorf("measurement condition %q is not known", m.condition)
	}
	if f.Grid != nil {
		m.grid = colorimetry.Grid{Start: f.Grid.Start, Step: f.Grid.Step, N: f.Grid.N}
		if err := m.grid.Check(); err != nil {
			return nil, err
		}
	}
	if !slices.Contains([]ReadingKind{Spectral, LabKind, XYZKind, Swatch}, m.kind) {
		return nil, fmt.Errorf("readings %q are not known", m.kind)
	}
	if (m.kind == Spectral) != (f.Grid != nil) {
		return nil, fmt.Errorf("readings %q and grid do not go together", f.Readings)
	}
	if err := f.factors(m); err != nil {
		return nil, err
	}
	if m.path, err = f.Path.path(m); err != nil {
		return nil, err
	}
	if !magnitude(scatterLimit, m.sdPanel, m.readSD, m.floorSD) || !finite(m.low, m.inflation) || m.inflation < 1 || m.inflation > 10 || m.low < 0 || m.low > 0.5 || m.sdPanel <= 0 || m.readSD <= 0 || m.floorSD <= 0 {
		return nil, fmt.Errorf("scatter or blank level out of range")
	}
	if !(m.freedom == 0 || m.freedom >= 3 && m.freedom <= maxTrials) {
		return nil, fmt.Errorf("%g degrees of freedom", m.freedom)
	}
	if err := f.curves(m); err != nil {
		return nil, err
	}
	if len(m.trials) > maxTrials {
		return nil, fmt.Errorf("%d trials; at most %d", len(m.trials), maxTrials)
	}
	if len(m.trials) < 2 || (m.loo != nil && len(m.loo) != len(m.trials)) {
		return nil, fmt.Errorf("%d trials with %d leave-one-out figures", len(m.trials), len(m.loo))
	}
	for _, t := range m.trials {
		var v values
		if err := m.locate(t.Settings, &v); err != nil {
			return nil, fmt.Errorf("trial %q: %w", t.ID, err)
		}
		if !magnitude(colorLimit, t.Lab.L, t.Lab.A, t.Lab.B, t.Weight) || !magnitude(scatterLimit, t.Shift) || t.Panels < 0 {
			return nil, fmt.Errorf("trial %q: a number is out of range", t.ID)
		}
		for c, v := range t.Settings {
			if !magnitude(valueLimit, v) {
				return nil, fmt.Errorf("trial %q: %s = %g is out of range", t.ID, c, v)
			}
		}
	}
	if !magnitude(valueLimit, m.loo...) {
		return nil, fmt.Errorf("leave-one-out figures out of range")
	}
	return m, f.extras(m)
}

// extras reads what only some models have.
func (f *modelFile) extras(m *Model) error {
	for _, other := range m.others {
		if !magnitude(scatterLimit, other.Shift, other.ShiftSD) || other.ShiftSD < 0 || other.Lots < 1 {
			return fmt.Errorf("%s: shift %g ± %g from %d lots", other.name(), other.Shift, other.ShiftSD, other.Lots)
		}
	}
	m.recal, m.tensile = f.Recalibration, f.Tensile
	if m.tensile != nil {
		m.tensile.prepare()
		if err := m.tensile.check(); err != nil {
			return err
		}
	}
	if m.recal == nil {
		return nil
	}
	return m.recal.check(m)
}

func (f *modelFile) factors(m *Model) error {
	if len(f.Factors) == 0 || len(f.Factors) > maxFactors {
		return fmt.Errorf("%d factors, must be 1 to %d", len(f.Factors), maxFactors)
	}
	primary := 0
	for _, d := range f.Factors {
		if d.Primary {
			primary++
		}
	}
	if primary > maxPrimary {
		return fmt.Errorf("%d factors were varied, at most %d can be", primary, maxPrimary)
	}
	for i, d := range f.Factors {
		pf, ok := m.process.Factor(d.Column)
		if !ok || pf.Transform != d.Transform {
			return fmt.Errorf("factor %q does not belong to process %q", d.Column, m.process.ID)
		}
		if !magnitude(etaLimit, d.Scale, d.Center, d.Lo, d.Hi, d.From, d.To) || d.From >= d.To || d.Scale < 1/etaLimit || d.Lo >= d.Hi {
			return fmt.Errorf("factor %q: range [%g, %g] about %g", d.Column, d.Lo, d.Hi, d.Center)
		}
		if !magnitude(etaLimit, d.Drift) || d.Drift < 0 || d.Drift > 0 && d.Primary {
			return fmt.Errorf("factor %q: a drift of %g", d.Column, d.Drift)
		}
		if m.basis.index(d.Column) >= 0 {
			return fmt.Errorf("factor %q stands twice", d.Column)
		}
		// The range is stored as set and as transformed: both must say the same.
		own := doseFactor(d)
		for _, end := range [][2]float64{{d.Lo, d.From}, {d.Hi, d.To}} {
			if err := pf.Check(end[1]); err != nil {
				return fmt.Errorf("factor %q: %w", d.Column, err)
			}
			if !(math.Abs(own.x(end[1])-end[0]) <= 1e-6*math.Max(1, math.Abs(d.Center))) {
				return fmt.Errorf("factor %q: the ends %g and %g do not agree", d.Column, end[0], end[1])
			}
		}
		if d.Primary {
			if i != m.basis.primary {
				return fmt.Errorf("factor %q: primary factors come first", d.Column)
			}
			m.basis.primary++
		}
		m.basis.factors = append(m.basis.factors, doseFactor(d))
	}
	if m.basis.primary == 0 {
		return fmt.Errorf("no primary factor")
	}
	m.basis = newBasis(m.basis.factors, m.basis.primary)
	for c, v := range f.Fixed {
		if _, ok := m.process.Factor(c); !ok || !magnitude(valueLimit, v) || m.basis.index(c) >= 0 {
			return fmt.Errorf("fixed factor %q = %g does not belong to process %q", c, v, m.process.ID)
		}
	}
	return nil
}

func (f *modelPath) path(m *Model) (*shadePath, error) {
	p := &shadePath{L0: f.L0, L1: f.L1, lo: f.Lo, hi: f.Hi, coef: f.Coef, covScale: f.CovScale, lotOff: f.LotOff, panelOff: f.PanelOff, castAtBase: f.CastAtBase, lightest: f.Lightest}
	if f.CastAtBase == 0 {
		p.castAtBase = 1
	}
	channels := 2
	if m.kind == Spectral {
		channels += m.grid.N
	}
	if !finite(f.L0, f.L1, f.Lo, f.Hi) || f.L1-f.L0 <= 1 || f.L0 < 0 || f.L1 > 150 || f.Lo > 0 || f.Hi < 1 || f.Lo < -5 || f.Hi > 5 {
		return nil, fmt.Errorf("shade path from L* %g to %g over levels %g to %g", f.L0, f.L1, f.Lo, f.Hi)
	}
	if len(f.Coef) != channels || len(f.CovScale) != 2 || len(f.Cov) != pathBasis {
		return nil, fmt.Errorf("shade path has %d channels of %d", len(f.Coef), channels)
	}
	for i, row := range f.Cov {
		if len(row) != pathBasis || !magnitude(etaLimit, row...) {
			return nil, fmt.Errorf("shade path: covariance row %d", i)
		}
	}
	p.cov = mat.NewSymDense(pathBasis, nil)
	for i, row := range f.Cov {
		for j, v := range row {
			if v != f.Cov[j][i] {
				return nil, fmt.Errorf("shade path: covariance is not symmetric")
			}
			p.cov.SetSym(i, j, v)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(p.cov) {
		return nil, fmt.Errorf("shade path: covariance is not positive definite")
	}
	for i, c := range f.Coef {
		if len(c) != pathBasis || !magnitude(colorLimit, c...) {
			return nil, fmt.Errorf("shade path: channel %d", i)
		}
	}
	for _, c := range [][2][2]float64{f.LotOff, f.PanelOff} {
		if !magnitude(etaLimit, c[0][0], c[0][1], c[1][1]) || c[0][1] != c[1][0] || c[0][0] <= 0 || c[0][0]*c[1][1] <= c[0][1]*c[0][1] {
			return nil, fmt.Errorf("off-path covariance is not positive definite")
		}
	}
	if !(f.CastAtBase >= 0 && f.CastAtBase <= 1) {
		return nil, fmt.Errorf("share %g of scatter off the path at the base", f.CastAtBase)
	}
	if !(f.Lightest >= 0 && f.Lightest <= mostLevel) {
		return nil, fmt.Errorf("level %g of the lightest lot", f.Lightest)
	}
	if !magnitude(etaLimit, f.CovScale...) || slices.Min(f.CovScale) < 0 {
		return nil, fmt.Errorf("reading variance %v", f.CovScale)
	}
	p.prepare()
	return p, nil
}

func (f *modelFile) curves(m *Model) error {
	if len(f.Curves) == 0 || len(f.Curves) > maxComponents {
		return fmt.Errorf("%d curves, must be 1 to %d", len(f.Curves), maxComponents)
	}
	sum := 0.0
	bases := map[clock]*doseBasis{}
	for _, c := range f.Curves {
		basis, ok := bases[c.Clock]
		if !ok {
			b, err := m.basis.restored(c.Clock, c.Time)
			if err != nil {
				return fmt.Errorf("curve %q: %w", c.Curve, err)
			}
			basis = &b
			bases[c.Clock] = basis
		}
		l, err := m.linkNamed(c.Curve, c.Shape, c.Scale)
		if err != nil {
			return err
		}
		by, err := demandOf(c.Supplied, c.SpentBy)
		if err != nil {
			return fmt.Errorf("curve %q: %w", c.Curve, err)
		}
		own := candidate{link: l, basis: basis, demand: by}
		p := own.size()
		if len(c.Mean) != p || len(c.Cov) != p*p || !magnitude(etaLimit, c.Mean...) || !magnitude(etaLimit, c.Cov...) || !magnitude(scatterLimit, c.Weight, c.SDLot) {
			return fmt.Errorf("curve %q: wrong number of values, or one out of range", c.Curve)
		}
		if c.Weight <= 0 || c.SDLot <= 0 || c.Mean[p-1] <= m.low || c.Mean[p-1] > 2 {
			return fmt.Errorf("curve %q: weight, scatter or plateau out of range", c.Curve)
		}
		cov := mat.NewSymDense(p, nil)
		for i := range p {
			for j := range p {
				if math.Abs(c.Cov[i*p+j]-c.Cov[j*p+i]) > 1e-9*math.Sqrt(math.Abs(c.Cov[i*p+i]*c.Cov[j*p+j])) {
					return fmt.Errorf("curve %q: covariance is not symmetric", c.Curve)
				}
				cov.SetSym(i, j, c.Cov[i*p+j])
			}
		}
		var chol mat.Cholesky
		if !chol.Factorize(cov) {
			return fmt.Errorf("curve %q: covariance is not positive definite", c.Curve)
		}
		sum += c.Weight
		own.prepare()
		m.comps = append(m.comps, component{candidate: own, weight: c.Weight, mean: c.Mean, cov: c.Cov, sdLot: c.SDLot})
	}
	if math.Abs(sum-1) > 1e-9 {
		return fmt.Errorf("curve weights sum to %g, not 1", sum)
	}
	return nil
}

// timeRange is what of a clock's basis differs from the model's.
func (b *doseBasis) timeRange() [3]float64 {
	if b.clock == (clock{}) {
		return [3]float64{}
	}
	f := &b.factors[b.time]
	return [3]float64{f.Center, f.Lo, f.Hi}
}

// possible reports whether times are times and powers are small.
func (c clock) possible() bool {
	for _, t := range [3]float64{c.Lag, c.Life, c.Spread} {
		if !(t == 0 || t >= 1e-6 && t <= valueLimit) {
			return false
		}
	}
	for _, p := range [3]float64{c.Charge, c.Early, c.Heat} {
		if !(p >= 0 && p <= 3) {
			return false
		}
	}
	return true
}

// restored is the basis under a clock whose time factor is centered as saved.
func (b *doseBasis) restored(c clock, time [3]float64) (doseBasis, error) {
	d := doseBasis{factors: slices.Clone(b.factors), primary: b.primary, clock: c, time: b.time, own: b.own}
	if c == (clock{}) {
		return d, nil
	}
	if d.time < 0 || !c.possible() {
		return d, fmt.Errorf("clock %+v is impossible", c)
	}
	f := &d.factors[d.time]
	f.Center, f.Lo, f.Hi = time[0], time[1], time[2]
	if !magnitude(etaLimit, time[:]...) || f.Lo >= f.Hi {
		return d, fmt.Errorf("time range %v under a clock", time)
	}
	return d, nil
}

// linkNamed finds the candidate with that name, shape and scale.
func (m *Model) linkNamed(curve string, shape float64, sc string) (link, error) {
	for _, l := range m.links() {
		own := 0.0
		if s, ok := l.curve.(fit.ShapedCurve); ok {
			own = s.Shape()
		}
		if l.curve.Name() == curve && own == shape && l.scale.String() == sc {
			return l, nil
		}
	}
	return link{}, fmt.Errorf("unknown curve %q on scale %q", curve, sc)
}

// Limits of what a model file may hold: far beyond any fit, near enough that
// no prediction overflows.
const (
	etaLimit     = 1e7   // log doses, their regressors and covariances
	valueLimit   = 1e12  // settings
	colorLimit   = 1e3   // L*, a*, b*, ln K/S, weights
	scatterLimit = 1e3   // standard deviations of log dose and level
	maxTrials    = 10000 // trial lots
)

// magnitude reports whether all x are numbers from −limit to limit.
func magnitude(limit float64, x ...float64) bool {
	for _, v := range x {
		if !(math.Abs(v) <= limit) {
			return false
		}
	}
	return true
}

func finite(x ...float64) bool {
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
