package discharge

import (
	"cmp"
	"context"
	"math"
	"slices"

	"example.com/dosetone/fit"
	"example.com/dosetone/internal/quantile"
)

// candidate is one form that the model may take: a curve on a scale, a way to
// count time, and what makes the oxidizer run short, if anything.
type candidate struct {
	link   link
	basis  *doseBasis
	demand demand
	table  *supplyTable // of a candidate in use, for demand by dye
}

// prepare works out what a candidate needs.
func (c *candidate) prepare() {
	if c.demand == byDye {
		c.table = c.link.balance()
	}
}

// supplied tells whether ln of the supply is one of the parameters.
func (c *candidate) supplied() bool { return c.demand != noDemand }

// size is the number of parameters: the coefficients of the η row, ln of the
// supply at the middle of the trials where there is one, and the upper plateau.
func (c *candidate) size() int {
	if c.supplied() {
		return c.basis.terms() + 2
	}
	return c.basis.terms() + 1
}

// dose is the log dose by parameters theta at a point with that η row and ln of
// the oxidizer charged relative to the middle of the trials. It fills grad with
// the derivatives by all parameters but the plateau; the first is that by η.
func (c *candidate) dose(theta, row []float64, charge float64, grad []float64) (eta float64) {
	eta = dot(row, theta)
	if !c.supplied() {
		copy(grad, row)
		return eta
	}
	n, slope := len(row), 0.0
	eta, slope, grad[n] = c.left(eta, theta[n]+charge)
	for j, v := range row {
		grad[j] = slope * v
	}
	return eta
}

// component is one candidate after the quantities that shape it have been
// averaged out: a normal distribution of its parameters.
type component struct {
	candidate
	weight float64
	mean   []float64 // as candidate.size tells
	cov    []float64 // row-major
	sdLot  float64   // lot scatter in η
}

// at is the log dose of the component's mean at settings v, with its
// derivatives as dose gives them.
func (c *component) at(v *values, grad *[maxSize]float64) (eta float64) {
	var row [maxTerms]float64
	n := c.basis.terms()
	x := c.basis.at(v)
	c.basis.row(row[:n], &x)
	return c.dose(c.mean, row[:n], c.basis.charge(&x), grad[:])
}

// plateau is the level of the upper plateau, the last parameter.
func (c *component) plateau() float64 { return c.mean[len(c.mean)-1] }

// Grids over which the evidence is averaged. What is known of second-order
// coefficients counts more or less; lot scatter runs from 5 % to 44 % of dose.
// Steps of about a factor of two: finer ones change predictions by less than a
// tenth of the lot scatter.
func bends() []float64  { return []float64{0.5, 0.9, 1.6} }
func sdLots() []float64 { return []float64{0.05, 0.11, 0.22, 0.44} }

// usualBend is about the middle of bends, for where one is enough.
const usualBend = 1

// likelySDLot is the most likely scatter of lots in η, 9 % of dose.
const likelySDLot = 0.09

// logPriorSDLot is what is known of lot scatter, in dose that goes by strength itself
// (byStrength): likelySDLot at its most likely, and in the logarithm a sd of 0.45 below
// and 0.6 above. A dozen lots say little of their scatter: in five simulators laundries have 0.07 to 0.10 with a
// spread of 0.24 to 0.43, and sixteen lots tell one from another with a correlation
// of 0.4. Lots that happen to agree shall not promise too much; lots that scatter
// widely shall be believed, since some laundries are less steady than simulated ones.
func logPriorSDLot(sd float64) float64 {
	z := math.Log(sd / likelySDLot)
	if z > 0 {
		z /= 0.6
	} else {
		z /= 0.45
	}
	return -0.5 * z * z
}

// byStrength is the exponent of strength by parameters theta, 1 to 2, by which a scatter of
// strength counts in dose: how steadily people dose is known in strength, and dose goes
// by whatever power of it the curve needs.
func (c *candidate) byStrength(theta []float64) float64 {
	j := c.basis.linear(c.basis.strength())
	if j < 0 {
		return 1
	}
	return math.Min(math.Max(theta[j]/c.link.unit, 1), 2)
}

// cell is one candidate at one point of the grid, with some lots taken to be upset.
type cell struct {
	candidate int
	h         hyper
	upset     []upset
	post      posterior
	logW      float64
	without   []cell // the same with each of the lots left out, see leaveEach
}

// evidenceFloor is how far, in log evidence, a cell may lie below the best
// before it is dropped: exp(-6) = 0.25 %.
const evidenceFloor = 6

// shortlist is how many candidates get the whole grid, chosen by their
// evidence at its middle. Three times as many, and three times as many kept,
// changed the study's figures by less than its own uncertainty.
const shortlist = 12

// fitting is candidates at work on one set of trials.
type fitting struct {
	ctx            context.Context
	problems       []problem // the candidates with their data
	sdPanel, floor float64   // as in hyper, for a curve of unit 1
	priors         map[priorKey]*prior
	ws             *workspace
	upset          []upset // lots that solve leaves out
}

type priorKey struct {
	demand demand
	bend   float64
}

// prior is what is known of the coefficients of candidate k. Candidates differ
// in it by their demand alone.
func (f *fitting) prior(k int, bend float64) *prior {
	c := f.problems[k].candidate
	key := priorKey{c.demand, bend}
	if f.priors[key] == nil {
		know := known(c.demand)
		f.priors[key] = newPrior(c.basis, &know, bend)
	}
	return f.priors[key]
}

// sweep fits the promising candidates at every grid point.
func (f *fitting) sweep() []cell {
	list := f.promises()
	var cells []cell
	for _, p := range list[:min(shortlist, len(list))] {
		if p.logW < list[0].logW-evidenceFloor {
			break
		}
		start := p.post.mean
		for _, bend := range bends() {
			if f.ctx.Err() != nil {
				return nil
			}
			for _, sd := range sdLots() {
				c := f.solve(p.candidate, hyper{prior: f.prior(p.candidate, bend), sdLot: sd}, start)
				if math.IsInf(c.logW, 0) || math.IsNaN(c.logW) {
					continue
				}
				cells = append(cells, c)
				start = c.post.mean
			}
		}
	}
	return cells
}

// promises lists the candidates at the middle of the grid, best first. Of the
// clocks, with and without a supply, only the best few under one middling curve
// are tried with all others: what the minutes and the oxidizer count for
// changes the evidence much more than the shape of the curve does.
func (f *fitting) promises() []cell {
	byEvidence := func(a, b cell) int { return cmp.Compare(b.logW, a.logW) }
	var probes []cell
	for k := range f.problems {
		if l := &f.problems[k].link; l.curve == (fit.LogNormal{}) && l.scale == scaleL {
			probes = append(probes, f.promise(k, f.problems[k].demand.starts()))
		}
	}
	slices.SortStableFunc(probes, byEvidence)
	var list []cell
	few := min(promisingClocks, len(probes))
	// The best one of each supply is among them: the middling curve does it least justice.
	for _, by := range []demand{byDye, byDose} {
		if i := slices.IndexFunc(probes, func(p cell) bool { return f.problems[p.candidate].demand == by }); i >= few {
			probes[few], probes[i] = probes[i], probes[few]
			few++
		}
	}
	for _, p := range probes[:few] {
		if f.ctx.Err() != nil {
			return nil
		}
		list = append(list, p)
		own := f.problems[p.candidate].candidate
		starts := []float64{p.post.mean[own.basis.terms()]} // the supply found, if any
		for k := range f.problems {
			if c := f.problems[k].candidate; c != own && c.basis == own.basis && c.demand == own.demand {
				list = append(list, f.promise(k, starts))
			}
		}
	}
	slices.SortStableFunc(list, byEvidence)
	return list
}

// promise fits a candidate at the middle of the grid, from each of the
// supplies, ln q, if it has one.
func (f *fitting) promise(k int, supplies []float64) (best cell) {
	c := f.problems[k].candidate
	c.prepare()
	if !c.supplied() {
		supplies = supplies[:1] // all the same
	}
	h := hyper{prior: f.prior(k, usualBend), sdLot: likelySDLot}
	for i, lnQ := range supplies {
		at := f.solve(k, h, f.problems[k].start(h, lnQ))
		if i == 0 || at.logW > best.logW {
			best = at
		}
	}
	return best
}

// promisingClocks is how many clocks compete with every curve.
const promisingClocks = 3

// solve fits one candidate; h.sdLot is for a curve of unit 1.
func (f *fitting) solve(k int, h hyper, start []float64) cell {
	unit := f.problems[k].link.unit
	h.floor = f.floor
	h.sdLot *= unit
	h.sdPanel = f.sdPanel * unit
	return f.fill(cell{candidate: k, h: h, upset: f.upset}, start)
}

// again fits a cell with one lot left out.
func (f *fitting) again(c *cell, out int) cell {
	return f.fill(cell{candidate: c.candidate, h: c.h, upset: c.upset}, c.post.mean, out)
}

// fill fits a cell without its upset lots and those left out.
func (f *fitting) fill(c cell, start []float64, out ...int) cell {
	pr := f.problems[c.candidate]
	pr.skip = out
	for _, u := range c.upset {
		pr.skip = append(pr.skip, u.lot)
	}
	c.post = pr.solve(c.h, f.ws, slices.Clone(start))
	c.logW = c.post.evidence + logPriorSDLot(c.h.sdLot/pr.link.unit/pr.byStrength(c.post.mean))
	for _, u := range c.upset {
		c.logW += math.Log(upsetShare)
		if !slices.Contains(out, u.lot) {
			c.logW += u.density
		}
	}
	return c
}

// start is a self-start: prior coefficients, and the η at which the median lot
// sits on the curve.
func (pr *problem) start(h hyper, lnQ float64) []float64 {
	p, n := pr.size(), pr.basis.terms()
	theta := make([]float64, p)
	theta[p-1] = 1
	for j := 1; j < n; j++ {
		theta[j] = h.prior.mean[j] * pr.link.unit
	}
	if pr.supplied() {
		theta[n] = lnQ
	}
	var off []float64
	for i, l := range pr.lots {
		if slices.Contains(pr.skip, i) {
			continue
		}
		s := min(max(l.level, pr.link.low+0.02), 0.97)
		eta := pr.link.inverse(s)
		if pr.supplied() {
			// A lot that ran out of oxidizer says only that it had enough of the rest.
			eta = bisect(supplyFrom, eta+4, 14, func(e float64) bool {
				v, _, _ := pr.left(e, lnQ+l.charge)
				return v < eta
			})
		}
		off = append(off, eta-dot(l.row, theta[:n]))
	}
	theta[0] = quantile.Median(off)
	return theta
}

// keep drops hopeless cells and turns log weights into weights that sum to 1.
func keep(cells []cell) ([]cell, []float64) {
	best := highest(cells)
	var kept []cell
	var w []float64
	sum := 0.0
	for _, c := range cells {
		if !(c.logW >= best-evidenceFloor) {
			continue
		}
		kept = append(kept, c)
		w = append(w, math.Exp(c.logW-best))
		sum += w[len(w)-1]
	}
	for i := range w {
		w[i] /= sum
	}
	return kept, w
}

// highest is the highest log weight, -Inf of no cells.
func highest(cells []cell) float64 {
	best := math.Inf(-1)
	for _, c := range cells {
		if c.logW > best {
			best = c.logW
		}
	}
	return best
}

// minWeight is the least share of the evidence for which a candidate stays in
// the model, unless it is the best one; fits keep up to keptComponents, model
// files may hold up to maxComponents.
const (
	minWeight      = 0.03
	keptComponents = 3
	maxComponents  = 4
)

// collapse merges the cells of each candidate into one normal distribution
// with their mean and covariance (spread between cells included).
func (f *fitting) collapse(cells []cell, w []float64) []component {
	total := make([]float64, len(f.problems))
	for i, c := range cells {
		total[c.candidate] += w[i]
	}
	order := make([]int, len(total))
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(total[b], total[a]) })
	var comps []component
	sum := 0.0
	for n, k := range order {
		if n >= keptComponents || (n > 0 && total[k] < minWeight) {
			break
		}
		comps = append(comps, f.merge(k, total[k], cells, w))
		sum += total[k]
	}
	for i := range comps {
		comps[i].weight /= sum
	}
	return comps
}

// merge makes the component of candidate k.
func (f *fitting) merge(k int, total float64, cells []cell, w []float64) component {
	p := f.problems[k].size()
	m := component{candidate: *f.problems[k].candidate, weight: total, mean: make([]float64, p), cov: make([]float64, p*p)}
	varLot := 0.0
	for i, c := range cells {
		if c.candidate != k {
			continue
		}
		share := w[i] / total
		varLot += share * c.h.sdLot * c.h.sdLot
		for j, v := range c.post.mean {
			m.mean[j] += share * v
		}
	}
	m.sdLot = math.Sqrt(varLot)
	for i, c := range cells {
		if c.candidate != k {
			continue
		}
		share := w[i] / total
		inv := cholInverse(c.post.chol, p)
		for a := range p {
			da := c.post.mean[a] - m.mean[a]
			for b := range p {
				m.cov[a*p+b] += share * (inv[a*p+b] + da*(c.post.mean[b]-m.mean[b]))
			}
		}
	}
	return m
}

// mixMoments are the mean and the mean square of a quantity over the curves.
type mixMoments struct{ mean, square float64 }

// add counts a curve of some weight that gives x with variance v.
func (m *mixMoments) add(weight, x, v float64) {
	m.mean += weight * x
	m.square += weight * (x*x + v)
}

// sd is the standard deviation, within the curves and between them.
func (m *mixMoments) sd() float64 { return math.Sqrt(max(m.square-m.mean*m.mean, 0)) }
