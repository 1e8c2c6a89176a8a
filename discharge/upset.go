package discharge

import (
	"cmp"
	"math"
	"slices"
)

// A lot may be upset: weighed in wrong, unloaded late. Student's t alone gives it
// less weight where it lies far off, but where a lot stands alone at its settings a
// dozen coefficients bend to it. So lots that the others do not foresee are also
// taken to be upset, one by one and together, and what is learned without them is
// weighed by Bayes' rule against what is learned with them.

// upset is a lot that is taken to be upset.
type upset struct {
	lot     int
	density float64 // ln of the density of its level, over that of Student's t as posterior.evidence leaves it out
}

const (
	// upsetShare is how many lots are upset before any is seen: one in twenty
	// (common practice, no source).
	upsetShare = 0.05
	// suspicious is from which odds on a lot is taken to be upset besides not being
	// so: what is less likely would weigh less than a tenth.
	suspicious = 0.1
	// mostSuspects is how many lots may be suspect at a time.
	mostSuspects = 3
	// lotsPerUpset is how many trial lots there must be for each one that is upset, and by
	// moreThanTerms they must outnumber the coefficients of η: else no other lot could
	// gainsay one that stands alone, and a curve that misses it would be kept at its
	// expense.
	lotsPerUpset, moreThanTerms = 14, 4
	// upsetLn is how far, in ln dose, upset lots are off at most: to a third or three
	// times the dose, evenly in between.
	upsetLn, upsetStep = 1.2, 0.3
	// tailTop is the density of Student's t with tailWeight degrees of freedom where
	// it is highest, Γ(5/2)/(Γ(2)·√(4π)), which evidence leaves out.
	tailTop = 3.0 / 8
)

// gainsaid is how many lots may be upset.
func (f *fitting) gainsaid() int {
	return len(f.problems[0].lots) / max(lotsPerUpset, f.problems[0].basis.terms()+moreThanTerms)
}

func (c *cell) isUpset(lot int) bool {
	return slices.ContainsFunc(c.upset, func(u upset) bool { return u.lot == lot })
}

// leaveEach fits cells with each lot left out, where that has not been done.
func (f *fitting) leaveEach(cells []cell) {
	for k := range cells {
		c := &cells[k]
		if c.without != nil {
			continue
		}
		c.without = make([]cell, len(f.problems[c.candidate].lots))
		for i := range c.without {
			if f.ctx.Err() != nil {
				return
			}
			c.without[i] = f.again(c, i)
		}
	}
}

// suspect adds to kept cells those in which lots are upset, and returns what is kept of all
// with its weights. Of these leaveEach has been done.
func (f *fitting) suspect(all []cell) ([]cell, []float64) {
	defer func() { f.upset = nil }()
	from, to := 0, len(all) // cells that take the same lots to be upset
	for f.ctx.Err() == nil && from < to && len(all[from].upset) < f.gainsaid() {
		given := all[from:to]
		if f.leaveEach(given); f.ctx.Err() != nil {
			return nil, nil
		}
		sure := given[0].upset
		list, odds := f.suspects(given)
		for i, u := range list {
			f.upset = append(slices.Clone(sure), u)
			more, _ := keep(f.sweep())
			if i == 0 {
				from, to = len(all), len(all)+len(more)
			}
			all = append(all, more...)
		}
		if odds < 1 {
			break
		}
	}
	kept, w := keep(all)
	f.leaveEach(kept)
	if f.ctx.Err() != nil {
		return nil, nil
	}
	return kept, w
}

// suspects lists the lots that may be upset besides those that all cells take for
// it, the likeliest first, and the odds of that one.
func (f *fitting) suspects(cells []cell) (list []upset, odds float64) {
	type suspect struct {
		upset
		odds float64
	}
	var found []suspect
	with := logSum(cells)
	for i := range cells[0].without {
		if cells[0].isUpset(i) {
			continue
		}
		without := make([]cell, len(cells))
		for k := range cells {
			without[k] = cells[k].without[i]
		}
		kept, w := keep(without)
		density := 0.0
		for k := range kept {
			density += w[k] * f.ifUpset(&kept[k], i)
		}
		s := suspect{upset: upset{i, math.Log(density / tailTop)}}
		s.odds = upsetShare * math.Exp(s.density+logSum(without)-with)
		if s.odds > suspicious {
			found = append(found, s)
		}
	}
	slices.SortStableFunc(found, func(a, b suspect) int { return cmp.Compare(b.odds, a.odds) })
	for _, s := range found[:min(len(found), mostSuspects)] {
		list = append(list, s.upset)
	}
	if len(found) > 0 {
		odds = found[0].odds
	}
	return list, odds
}

// ifUpset is the density of the level of a lot that is upset, by a cell that was
// fitted without it.
func (f *fitting) ifUpset(c *cell, lot int) (density float64) {
	pr := &f.problems[c.candidate]
	l := &pr.lots[lot]
	var jac [maxSize]float64
	expected := pr.dose(c.post.mean, l.row, l.charge, jac[:])
	n := 0.0
	for off := upsetStep; off <= upsetLn; off += upsetStep {
		for _, eta := range []float64{expected - off*pr.link.unit, expected + off*pr.link.unit} {
			s, ds, _ := pr.link.at(eta, c.post.mean[pr.size()-1])
			v := levelVariance(ds, upsetStep*pr.link.unit, c.h.sdPanel, l.panels, c.h.floor, l.read)
			n++
			density += (math.Exp(-(l.level-s)*(l.level-s)/(2*v))/math.Sqrt(2*math.Pi*v) - density) / n
		}
	}
	return density
}

// logSum is ln of the sum of the cells' weights.
func logSum(cells []cell) float64 {
	best, sum := highest(cells), 0.0
	for _, c := range cells {
		sum += math.Exp(c.logW - best)
	}
	return best + math.Log(sum)
}
