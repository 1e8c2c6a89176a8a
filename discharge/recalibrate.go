package discharge

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"example.com/dosetone/colorimetry"
)

// RecalibrateOptions are the choices of Recalibrate; nil and the zero value
// mean the defaults.
type RecalibrateOptions struct {
	// ShiftSD is how far, as a standard deviation of ln dose, a new fabric or
	// machine is expected to differ; 0 means 0.5. Smaller and larger ones are
	// weighed in by how well the lots agree with them.
	ShiftSD float64
}

// DefaultShiftSD is the prior standard deviation of the shift in ln dose
// between fabrics, machines or deliveries: a rate that differs by a third is
// that much in ln dose where the exponent of time is 1.5 (orientation from
// memory, no source).
const DefaultShiftSD = 0.5

// novelties are how new a fabric or machine may be: factors on ShiftSD and on
// what may differ besides the shift. The evidence is averaged over them, since
// another machine may hardly matter, another fabric much, and two lots say
// something about which.
func novelties() []float64 { return []float64{0.2, 0.5, 1, 2, 3} }

// What may differ besides the shift, as standard deviations for a novelty of 1:
// each first-order exponent (another machine tumbles and starts otherwise),
// and, growing with the square of novelty, since a fabric that shifts far is
// seldom the same cloth otherwise, the steepness of the whole curve (how evenly
// its dye gives way), the supply of oxidizer (how much dye there is to take it)
// and the upper plateau (a bottom that resists), besides which the plateau
// always differs a little.
const (
	recalSlopeSD   = 0.06
	recalSteepSD   = 0.06
	recalSupplySD  = 0.06
	recalPlateauSD = 0.02
)

// Recalibration says how a model was carried over to another fabric, machine
// or delivery.
type Recalibration struct {
	Fabric  string        `json:"fabric"` // of the new lots, "" where they name none or several; Machine alike
	Machine string        `json:"machine"`
	Shift   float64       `json:"shift_log_dose"` // of ln dose: above 0 the same settings discharge more
	ShiftSD float64       `json:"sd_shift_log_dose"`
	Base    bool          `json:"base_read"` // else the earlier fabric's base was kept
	White   bool          `json:"white_read"`
	Lots    []TrialRecord `json:"lots"`
}

// Recalibration returns how the model was recalibrated last, nil when it is
// as fitted.
func (m *Model) Recalibration() *Recalibration {
	if m.recal == nil {
		return nil
	}
	r := *m.recal
	r.Lots = slices.Clone(r.Lots)
	for i := range r.Lots {
		r.Lots[i].Settings = r.Lots[i].Settings.Clone()
	}
	return &r
}

// Factor is by how much the same settings' dose differs: the lower end of its
// 95 % interval, the estimate, and the upper end.
func (r *Recalibration) Factor() [3]float64 { return doseFactors(r.Shift, r.ShiftSD) }

// manyLots is the number of new lots from which on a fit of their own has a
// chance: one less than the least with which a fit is worth while.
const manyLots = 5

// Recalibrate carries the model over to a new fabric, machine or oxidizer
// delivery from a few lots run there, one to three being enough, and from its
// base and white readings if the table has them. Slopes, curve and bends stay
// what the first trials taught, within their uncertainty and the more loosely
// the newer the lots look; the shift in log dose is estimated anew, drawn
// towards zero, and its uncertainty widens the intervals. The shade path is
// moved to the new base and white, and towards the new lots; one that lies far off it is
// warned of. m itself does not change.
//
// Errors: [ErrViewing], [ErrCondition] and [ErrWrongProcess] where the table does not go with the
// model, [ErrUnknownFactor] where a lot lacks a factor, and readings that cannot be
// brought together with it.
func (m *Model) Recalibrate(t *Table, opt *RecalibrateOptions) (*Model, error) {
	sd := DefaultShiftSD
	if opt != nil && opt.ShiftSD != 0 {
		sd = opt.ShiftSD
	}
	if !(sd > 0) || math.IsInf(sd, 0) {
		return nil, badValue("the expected shift must be a positive number of ln dose, not %g", sd)
	}
	if err := t.check(&m.process); err != nil {
		return nil, err
	}
	if t.Viewing != m.viewing {
		return nil, fmt.Errorf("%w: %s is under %s, the model under %s", ErrViewing, t.Name, t.Viewing, m.viewing)
	}
	if err := t.Condition.Against(t.name(), m.condition, "the trials of the model"); err != nil {
		return nil, err
	}
	o, err := gather(t, site{}, 1)
	if err != nil {
		return nil, err
	}
	for _, l := range o.trials {
		if l.lot.Process != "" && l.lot.Process != m.process.ID {
			return nil, t.fault(l.lot, "process", l.lot.Process, fmt.Errorf("%w: the model is of %s", ErrWrongProcess, m.process.ID))
		}
		var v values
		if err := m.locate(l.lot.Settings, &v); err != nil {
			return nil, t.fault(l.lot, "", "", fmt.Errorf("lot %q: %w", l.lot.ID, err))
		}
	}
	known := slices.Clone(m.trials)
	if m.recal != nil {
		known = append(known, m.recal.Lots...)
	}
	n := *m
	n.condition = m.condition.With(t.Condition)
	if m.kind == Spectral && (t.Kind != Spectral || t.Grid != m.grid) {
		// Without spectra of the new cloth only its Lab can be carried over.
		n.kind, n.grid = LabKind, colorimetry.Grid{}
	}
	n.warnings = slices.Concat(m.warnings, doubtMixture(t, site{}, "recalibrate by the lots of one %s alone"))
	for _, l := range o.trials {
		if slices.ContainsFunc(known, func(r TrialRecord) bool { return r.ID == l.lot.ID && r.Lab == l.mean() }) {
			n.warnings = append(n.warnings, fmt.Errorf("lot %q is one that the model has learned from already, and counts twice: recalibrate by it once, from the model before", l.lot.ID))
		}
	}
	n.others = nil
	n.fabric, n.machine = o.ranOn()
	n.recal = &Recalibration{Fabric: n.fabric, Machine: n.machine, Base: o.hasBase, White: o.hasWhite}
	sum := sha256.Sum256([]byte(m.digest + digestOf(t)))
	n.digest = hex.EncodeToString(sum[:])
	if err := n.movePath(o); err != nil {
		return nil, fmt.Errorf("%s: %w", t.Name, err)
	}
	n.warnings = append(n.warnings, n.strayed(o, m.path, m.fabric)...)
	if o.blank != nil {
		n.low = math.Min(math.Max(n.path.level(o.blank.L), 0), 0.2)
	}
	if err := n.relink(m.comps); err != nil {
		return nil, err
	}
	n.rebase(n.path.L0 - m.path.L0)
	if err := n.shift(o, sd); err != nil {
		return nil, err
	}
	return &n, nil
}

// relink draws the curves of comps between the new base and white.
func (m *Model) relink(comps []component) error {
	links := m.links()
	m.comps = nil
	for _, c := range comps {
		k := slices.IndexFunc(links, func(l link) bool { return l.curve == c.link.curve && l.scale == c.link.scale })
		if k < 0 {
			return errors.New("a curve of the model is not among those that this version knows")
		}
		c.link = links[k]
		c.prepare()
		c.mean, c.cov = slices.Clone(c.mean), slices.Clone(c.cov)
		m.comps = append(m.comps, c)
	}
	return nil
}

// shift updates every component by the new lots and weighs them again.
func (m *Model) shift(o *observed, sd float64) error {
	points := m.lotPoints(o)
	at := make([]values, len(points))
	for i, t := range o.trials {
		at[i] = m.basis.values(t.lot.Settings)
		m.recal.Lots = append(m.recal.Lots, TrialRecord{ID: t.lot.ID, Settings: t.lot.Settings.Clone(), Lab: t.mean()})
	}
	logW := make([]float64, len(m.comps))
	old := make([]float64, len(m.comps))
	weights := make([][]float64, len(m.comps)) // of the lots, by component
	best := math.Inf(-1)
	for i := range m.comps {
		c := &m.comps[i]
		old[i] = c.mean[0]
		logW[i], weights[i] = m.average(c, c.basis.place(points, at), sd)
		logW[i] += math.Log(c.weight)
		best = math.Max(best, logW[i])
	}
	if math.IsInf(best, 0) || math.IsNaN(best) {
		return errors.New("the new lots cannot be brought together with the model: fit them on their own")
	}
	sum := 0.0
	for i := range m.comps {
		m.comps[i].weight = math.Exp(math.Max(logW[i]-best, -20))
		sum += m.comps[i].weight
	}
	mean, variance := 0.0, 0.0
	for i := range m.comps {
		c := &m.comps[i]
		c.weight /= sum
		d := (c.mean[0] - old[i]) / c.link.unit
		mean += c.weight * d
		variance += c.weight * (c.cov[0]/(c.link.unit*c.link.unit) + d*d)
		for k, w := range weights[i] {
			m.recal.Lots[k].Weight += c.weight * w
		}
	}
	m.recal.Shift, m.recal.ShiftSD = mean, math.Sqrt(math.Max(variance-mean*mean, 0))
	for i, l := range m.recal.Lots {
		if l.Weight < littleWeight {
			m.warnings = append(m.warnings, fmt.Errorf("lot %q does not fit a mere shift of the dose: check it, and run another; if that one does not fit either, fit the new lots as a model of their own", l.ID))
		}
		if _, said := m.FillIn(l.Settings); len(said) > 0 {
			m.warnings = append(m.warnings, fmt.Errorf("lot %q: %s; a lot run otherwise passes for a shift of the dose", l.ID, strings.Join(said, "; ")))
		}
		if m.movesFixed(l.Settings) {
			m.warnings = append(m.warnings, fmt.Errorf("lot %q was run with another %s than all earlier trials: what that does passes for a shift of the dose", l.ID, m.moved(l.Settings)))
		}
		if where := m.basis.farOut(&at[i]); where != "" {
			m.warnings = append(m.warnings, fmt.Errorf("lot %q was run outside the region of the earlier trials (%s), where the model is a guess", l.ID, where))
		}
	}
	if f := m.recal.Factor(); math.Abs(m.recal.Shift) > 2*sd {
		m.warnings = append(m.warnings, fmt.Errorf("the same settings give %.2g times the dose (95 %%: %.2g to %.2g), further from 1 than expected of a new fabric or machine: check strength, minutes and units of the new lots, and that the base read is theirs", f[1], f[0], f[2]))
	}
	if n := len(points); n > manyLots {
		m.warnings = append(m.warnings, fmt.Errorf("%d lots may well make a model of their own: fit them alone, too, and compare how lots left out are predicted", n))
	}
	if !o.hasBase {
		m.warnings = append(m.warnings, errors.New("no base readings: the base of the earlier fabric was kept; if the new one is lighter or darker, that passes for a shift of the dose"))
	}
	if !o.hasWhite {
		m.warnings = append(m.warnings, errors.New("no white readings: the white of the earlier fabric was kept"))
	}
	return nil
}

// average updates a component under each novelty, merges the results by their
// evidence, and returns that of all and the weights of the lots.
func (m *Model) average(c *component, lots []lotPoint, sd float64) (evidence float64, weights []float64) {
	pr := problem{candidate: &c.candidate, lots: lots, corner: c.basis.corners()}
	scales := novelties()
	parts := make([]component, len(scales))
	w := make([]float64, len(scales)) // log evidence at first
	own := make([][]float64, len(scales))
	best := math.Inf(-1)
	for i, f := range scales {
		parts[i] = *c
		w[i], own[i] = m.update(&parts[i], &pr, sd, f)
		best = math.Max(best, w[i])
	}
	if math.IsInf(best, 0) {
		return best, nil
	}
	sum := 0.0
	for i := range w {
		w[i] = math.Exp(w[i] - best) // 0 for one that failed
		sum += w[i]
	}
	p := len(c.mean)
	mean, cov := make([]float64, p), make([]float64, p*p)
	weights = make([]float64, len(lots))
	for i := range parts {
		w[i] /= sum
		for j := range p {
			mean[j] += w[i] * parts[i].mean[j]
		}
		for k := range own[i] {
			weights[k] += w[i] * own[i][k]
		}
	}
	for i := range parts {
		for a := range p {
			for b := range p {
				cov[a*p+b] += w[i] * (parts[i].cov[a*p+b] + (parts[i].mean[a]-mean[a])*(parts[i].mean[b]-mean[b]))
			}
		}
	}
	c.mean, c.cov = mean, cov
	return best + math.Log(sum/float64(len(scales))), weights
}

// loosened is the component's covariance before the new lots are seen, for a
// shift of standard deviation sd at novelty 1.
func (c *component) loosened(sd, novelty float64) []float64 {
	n, p := c.basis.terms(), c.size()
	cov := slices.Clone(c.cov)
	square := func(x float64) float64 { return x * x }
	cov[0] += square(novelty * sd * c.link.unit)
	for j := range c.basis.factors {
		cov[(1+j)*p+1+j] += square(novelty * recalSlopeSD * c.link.unit)
	}
	far := square(novelty)
	for j := 1; j < n; j++ { // all terms by one factor
		for k := 1; k < n; k++ {
			cov[j*p+k] += square(far*recalSteepSD) * c.mean[j] * c.mean[k]
		}
	}
	if c.supplied() {
		cov[n*p+n] += square(far * recalSupplySD)
	}
	cov[p*p-1] += square(recalPlateauSD) * (1 + square(far))
	return cov
}

// update moves a component to what the new lots make of it at a novelty, and
// returns their log evidence and their weights.
func (m *Model) update(c *component, pr *problem, sd, novelty float64) (evidence float64, weights []float64) {
	p := c.size()
	cov := c.loosened(sd, novelty)
	if !cholesky(cov, p, 1e-12) {
		return math.Inf(-1), nil
	}
	logDet := 0.0
	for j := range p {
		logDet -= 2 * math.Log(cov[j*p+j])
	}
	ws := newWorkspace(p)
	copy(ws.prior, c.mean)
	copy(ws.prec, cholInverse(cov, p))
	post := pr.mode(hyper{sdLot: c.sdLot, sdPanel: m.sdPanel * c.link.unit, floor: m.floorSD}, ws, logDet, slices.Clone(c.mean))
	if math.IsInf(post.evidence, 0) {
		return post.evidence, nil
	}
	c.mean, c.cov = post.mean, cholInverse(post.chol, p)
	return post.evidence, post.weights
}

// check refuses a record that Recalibrate does not write.
func (r *Recalibration) check(m *Model) error {
	if !magnitude(scatterLimit, r.Shift, r.ShiftSD) || r.ShiftSD < 0 || len(r.Lots) == 0 || len(r.Lots) > maxTrials {
		return fmt.Errorf("recalibration: shift %g ± %g from %d lots", r.Shift, r.ShiftSD, len(r.Lots))
	}
	for _, l := range r.Lots {
		var v values
		if err := m.locate(l.Settings, &v); err != nil {
			return fmt.Errorf("recalibration lot %q: %w", l.ID, err)
		}
		if !magnitude(colorLimit, l.Lab.L, l.Lab.A, l.Lab.B, l.Weight) {
			return fmt.Errorf("recalibration lot %q: a number is out of range", l.ID)
		}
	}
	return nil
}
