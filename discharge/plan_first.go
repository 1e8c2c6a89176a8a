package discharge

import (
	"context"
	"fmt"
	"math"
	"slices"

	"example.com/dosetone/fit"
)

// planFloorSD is what a first plan assumes of lots besides the prior of the fit:
// that they scatter by 0.02 of the way from base to white besides their dose.
const planFloorSD = 0.02

// FirstPlan designs the first trial lots of a process, for which there are no
// data yet: settings from which a curved dose surface can be told with the
// least average error of the predicted shade over the region, replicates of
// its center, and readings of base, blank and white. Every factor is run at
// three levels or more: at two, curvature cannot be seen.
//
// Factors are varied between the bounds; those without bounds are varied over
// the middle of their usual range if the process needs them and left alone if
// not.
func FirstPlan(p Process, opt *PlanOptions) (*Plan, error) {
	return FirstPlanContext(context.Background(), p, opt)
}

// FirstPlanContext is [FirstPlan], and ends early with the error of ctx. Three
// factors take some hundredths of a second, five with forty lots some tenths.
func FirstPlanContext(ctx context.Context, p Process, opt *PlanOptions) (*Plan, error) {
	if opt == nil {
		opt = &PlanOptions{}
	}
	if err := opt.check(p); err != nil {
		return nil, err
	}
	if opt.Target != nil {
		return nil, fmt.Errorf("a target needs a model: run a first plan of %s, fit it, then plan towards the target", p.ID)
	}
	plan := &Plan{Process: p, Seed: opt.Seed}
	factors, fixed, err := plan.firstFactors(opt)
	if err != nil {
		return nil, err
	}
	n := opt.Lots
	if n == 0 {
		n = 12
	}
	if n < 4 {
		return nil, fmt.Errorf("a first plan needs at least 4 lots to tell dose from scatter, not %d", n)
	}
	b := planBasis(factors)
	before := priorOfPlan(&b)
	if terms := b.terms(); n < terms {
		plan.Warnings = append(plan.Warnings, fmt.Sprintf("%d lots are few for %d factors: %d would show how each bends and how they interact; fix a factor by giving it equal bounds, or plan more lots", n, len(factors), terms+2))
	}
	points := grid(factors)
	center := nearestPoint(&b, points)
	replicates := 2
	if n < 8 {
		replicates = 1
	} else if n >= 20 {
		replicates = 3
	}
	cand := b.candidates(points, before.mean)
	done := before.observations()
	for range replicates {
		done = append(done, cand[center])
	}
	d, err := fit.ExchangeContext(ctx, fit.I(b.candidates(cellCenters(factors), before.mean)), cand, done, n-replicates)
	if err != nil {
		return nil, err
	}
	for range replicates {
		plan.Lots = append(plan.Lots, PlannedLot{Role: Trial, Settings: settingsOf(factors, &points[center], fixed), Why: "center, replicated to see how lots scatter"})
	}
	for _, k := range d.Points {
		plan.Lots = append(plan.Lots, PlannedLot{Role: Trial, Settings: settingsOf(factors, &points[k], fixed), Why: "spans the region"})
	}
	plan.references(p, settingsOf(factors, &points[center], fixed))
	plan.order("T", nil)
	if err := plan.safe(); err != nil {
		return nil, err
	}
	return plan, nil
}

// references adds what the ends of the shade path need.
func (p *Plan) references(process Process, center Settings) {
	blank := center.Clone()
	if s, ok := process.Strength(); ok {
		blank[s.Column] = 0
	}
	p.Lots = append(p.Lots,
		PlannedLot{ID: "BASE", Role: Base, Settings: Settings{}, Why: "prepared garments before discharge, at least 4 panels"},
		PlannedLot{ID: "BLANK", Role: Blank, Settings: blank, Why: "the whole process without oxidizer"},
		PlannedLot{ID: "WHITE", Role: White, Settings: Settings{}, Why: "panels discharged again and again until nothing more happens"})
}

// firstFactors settles what is varied and between which ends.
func (p *Plan) firstFactors(opt *PlanOptions) ([]planFactor, Settings, error) {
	type span struct {
		f Factor
		r Range
	}
	var spans []span
	fixed := Settings{}
	guessed := false
	for _, f := range p.Process.Factors {
		if f.Transform == Recorded || f.Measured {
			continue
		}
		r, ok := opt.Bounds[f.Column]
		switch {
		case ok && r.Lo == r.Hi:
			fixed[f.Column] = r.Lo
			continue
		case ok:
		case len(opt.Available[f.Column]) > 0:
			r = Range{Lo: slices.Min(opt.Available[f.Column]), Hi: slices.Max(opt.Available[f.Column])}
			if r.Lo == r.Hi {
				fixed[f.Column] = r.Lo
				continue
			}
		case f.Optional:
			continue
		case f.Typical.Known():
			guessed = true
			r = middle(f)
		default:
			return nil, nil, fmt.Errorf("no usual range of %s is known for %s: give bounds", f.Column, p.Process.ID)
		}
		spans = append(spans, span{f, r})
	}
	if len(spans) == 0 {
		return nil, nil, fmt.Errorf("%w: every factor is fixed", ErrNoVariation)
	}
	if len(spans) > maxPrimary {
		return nil, nil, fmt.Errorf("%d factors vary, at most %d can be learned", len(spans), maxPrimary)
	}
	if guessed {
		p.Warnings = append(p.Warnings, "ranges without bounds are the middle of what is usual ("+CommonPractice+"): give the range that your machine and your shades need")
	}
	// Seven levels follow a bend (in the study, 12 lots on seven predict 8 %
	// better than on five); with more than three factors the
	// combinations would run away.
	levels := []int{9, 7, 7, 3, 3, 3, 3, 3}[len(spans)-1]
	var factors []planFactor
	for _, s := range spans {
		f, err := newPlanFactor(s.f, s.r, opt.Available[s.f.Column], levels)
		if err != nil {
			return nil, nil, err
		}
		if len(f.values) == 2 {
			p.Warnings = append(p.Warnings, fmt.Sprintf("%s has only two levels: how it bends cannot be seen", f.Column))
		}
		factors = append(factors, f)
	}
	p.thin(factors)
	return factors, fixed, nil
}

// middle is the part of a usual range that a first plan dares: at most a
// factor of 2 to either side of the middle of a log factor, and the middle
// half of others. The whole usual range holds what very different fabrics and
// machines need.
func middle(f Factor) Range {
	if f.Transform != Log {
		d := (f.Typical.Hi - f.Typical.Lo) / 4
		return Range{Lo: dial(f.Typical.Lo+d, f.Step, f.Typical.Lo, f.Typical.Hi), Hi: dial(f.Typical.Hi-d, f.Step, f.Typical.Lo, f.Typical.Hi)}
	}
	mid := math.Sqrt(f.Typical.Lo * f.Typical.Hi)
	w := math.Min(2, math.Sqrt(f.Typical.Hi/mid))
	return Range{Lo: dial(mid/w, f.Step, f.Typical.Lo, f.Typical.Hi), Hi: dial(mid*w, f.Step, f.Typical.Lo, f.Typical.Hi)}
}

func planBasis(factors []planFactor) doseBasis {
	list := make([]doseFactor, len(factors))
	for j := range factors {
		list[j] = factors[j].doseFactor
	}
	return newBasis(list, len(list))
}

// priorOfPlan is what a fit would start from without a supply, at its loosest: a
// plan must serve processes that bend more than most, too.
func priorOfPlan(b *doseBasis) *prior {
	know := known(noDemand)
	return newPrior(b, &know, slices.Max(bends()))
}

// candidates gives each point its information on the coefficients of η about
// their mean before trials, for regions that lie early, midway and late on a
// logistic curve.
func (b *doseBasis) candidates(points []values, mean []float64) []fit.Candidate {
	out := make([]fit.Candidate, len(points))
	for i := range points {
		x := b.at(&points[i])
		row := make([]float64, b.terms())
		b.row(row, &x)
		for _, shift := range [scenarios]float64{-0.7, 0, 0.7} {
			slope := fit.LogLogistic{}.Slope(dot(row, mean) + shift)
			g := make([]float64, len(row))
			for j, v := range row {
				g[j] = v * slope / math.Hypot(slope*likelySDLot, planFloorSD)
			}
			out[i].G = append(out[i].G, g)
		}
	}
	return out
}

// scenarios are the places on the curve that a first plan serves.
const scenarios = 3

// observations are lots already run that teach as much as is known before
// trials: the columns of a Cholesky factor of the precision, in every scenario.
func (p *prior) observations() []fit.Candidate {
	n := len(p.mean)
	l := slices.Clone(p.precision)
	if !cholesky(l, n, 0) {
		panic("discharge: the precision of a prior is not positive definite") // as in newPrior
	}
	out := make([]fit.Candidate, n)
	for j := range n {
		g := make([]float64, n)
		for i := j; i < n; i++ {
			g[i] = l[i*n+j]
		}
		for range scenarios {
			out[j].G = append(out[j].G, g)
		}
	}
	return out
}

// maxCells bounds the cells of a region: four to a factor up to six factors.
const maxCells = 4096

// cellCenters are points between the levels, which stand for the region
// without its edges.
func cellCenters(factors []planFactor) []values {
	n := 4
	for math.Pow(float64(n), float64(len(factors))) > maxCells {
		n--
	}
	inner := make([]planFactor, len(factors))
	for j, f := range factors {
		inner[j] = f
		inner[j].values = nil
		for k := range n {
			inner[j].values = append(inner[j].values, f.value(f.Lo+(f.Hi-f.Lo)*(float64(k)+0.5)/float64(n)))
		}
	}
	return grid(inner)
}

// nearestPoint is the grid point nearest the middle of the region.
func nearestPoint(b *doseBasis, points []values) int {
	best, at := math.Inf(1), 0
	for i := range points {
		x := b.at(&points[i])
		d := 0.0
		for j := range b.factors {
			w := b.factors[j].Hi - b.factors[j].Lo
			d += x[j] * x[j] / (w * w)
		}
		if d < best-1e-12 {
			best, at = d, i
		}
	}
	return at
}
