package discharge

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"

	"example.com/dosetone/internal/mat3"
	"example.com/dosetone/internal/quantile"
)

// Plan chooses the next lots to run: those that, given the lots already run,
// leave the least variance of the expected shade at the target, or on average
// over the region when there is none. The variance is that of the whole model:
// of the parameters of every curve and between curves. Lots with their own
// scatter narrow it by the rules of conditional normal variables, so a lot
// where scatter is small against what it would teach is preferred.
//
// Of lists of available values so long that their combinations are too many, some
// are taken, evenly spread, with a warning.
//
// Settings stay inside the trials' region unless the bounds say otherwise. Errors are
// those of [Model.Suggest], and a target that cannot be reached.
func (m *Model) Plan(opt *PlanOptions) (*Plan, error) {
	return m.PlanContext(context.Background(), opt)
}

// PlanContext is [Model.Plan], and ends early with the error of ctx.
func (m *Model) PlanContext(ctx context.Context, opt *PlanOptions) (*Plan, error) {
	if opt == nil {
		opt = &PlanOptions{}
	}
	if err := opt.check(m.process); err != nil {
		return nil, err
	}
	n := opt.Lots
	if n == 0 {
		n = 4
	}
	plan := &Plan{Process: m.process, Seed: opt.Seed}
	factors, fixed, err := m.planFactors(opt)
	if err != nil {
		return nil, err
	}
	plan.thin(factors)
	points := grid(factors)
	aims, err := m.aims(ctx, opt, factors)
	if err != nil {
		return nil, err
	}
	// What the target needs may be run as it is.
	if opt.Target != nil {
		for _, a := range aims {
			if !slices.Contains(points, a.at) {
				points = append(points, a.at)
			}
		}
	}
	g := m.learnable(points, aims)
	chosen := g.choose(ctx, n)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	why := "narrows the interval over the region"
	if opt.Target != nil {
		why = fmt.Sprintf("narrows the interval at target %q", opt.Target.ID)
	}
	for _, k := range chosen {
		plan.Lots = append(plan.Lots, PlannedLot{Role: Trial, Settings: settingsOf(factors, &points[k], fixed), Why: why})
	}
	plan.Before = g.halfWidth(nil)
	plan.After = g.halfWidth(chosen)
	if m.movesAny(points, chosen) {
		plan.Warnings = append(plan.Warnings, "some of these settings lie outside the region of the earlier trials")
	}
	plan.order("N", m.trials)
	if err := plan.safe(); err != nil {
		return nil, err
	}
	return plan, nil
}

func (m *Model) movesAny(points []values, chosen []int) bool {
	return slices.ContainsFunc(chosen, func(k int) bool {
		v := m.complete(points[k])
		x := m.basis.at(&v)
		return m.basis.beyond(&x) > 0
	})
}

// planFactors lists the factors of the model in its order. Factors that were
// only recorded stay at the middle of the trials and are left to the settings
// of the day.
func (m *Model) planFactors(opt *PlanOptions) ([]planFactor, Settings, error) {
	fixed := Settings{}
	for _, f := range m.process.Factors {
		if v, ok := m.fixed[f.Column]; ok && f.Transform != Recorded {
			fixed[f.Column] = v
		}
	}
	levels := []int{15, 11, 7, 5, 3, 3, 2, 2}[m.basis.primary-1]
	var out []planFactor
	for j := range m.basis.primary {
		d := &m.basis.factors[j]
		f, _ := m.process.Factor(d.Column)
		r, ok := opt.Bounds[d.Column]
		if !ok {
			r = Range{Lo: d.From, Hi: d.To}
		}
		p, err := newPlanFactor(f, r, opt.Available[d.Column], levels)
		if err != nil {
			return nil, nil, err
		}
		out = append(out, p)
	}
	return out, fixed, nil
}

// aim is a setting at which the expected shade matters.
type aim struct {
	at     values
	weight float64
}

// aims are, for a target, the settings that would be suggested for it: the
// best one and, together as much as it, all others that come as near. Without
// a target they spread over the region.
func (m *Model) aims(ctx context.Context, opt *PlanOptions, factors []planFactor) ([]aim, error) {
	if opt.Target == nil {
		var out []aim
		for _, v := range cellCenters(factors) {
			out = append(out, aim{m.complete(v), 1})
		}
		return normalized(out), nil
	}
	so := &SuggestOptions{Tolerance: opt.Tolerance, Bounds: opt.Bounds, Available: maps.Clone(opt.Available)}
	for _, f := range factors {
		if f.thinned {
			so.Available[f.Column] = f.values
		}
	}
	r, err := m.SuggestContext(ctx, *opt.Target, so)
	if err != nil {
		return nil, err
	}
	if !r.Reachable || len(r.List) == 0 {
		return nil, fmt.Errorf("target %q cannot be reached within ΔE00 %g: %s; the nearest expected shade is ΔE00 %.1f away", opt.Target.ID, r.Tolerance, r.Why, r.ClosestDeltaE)
	}
	q, err := m.newSearch(*opt.Target, so)
	if err != nil {
		return nil, err
	}
	var out []aim
	list, err := q.candidates(ctx)
	if err != nil {
		return nil, err
	}
	for _, s := range list {
		if s.DeltaE <= r.List[0].DeltaE+0.5 {
			out = append(out, aim{m.basis.values(s.Settings), 1})
		}
	}
	out = append(out, aim{m.basis.values(r.List[0].Settings), float64(max(len(out), 1))})
	return normalized(out), nil
}

// complete puts the factors that a plan does not choose at their middle.
func (m *Model) complete(v values) values {
	for j := m.basis.primary; j < len(m.basis.factors); j++ {
		v[j] = m.basis.factors[j].value(0)
	}
	return v
}

func normalized(list []aim) []aim {
	sum := 0.0
	for _, a := range list {
		sum += a.weight
	}
	for i := range list {
		list[i].weight /= sum
	}
	return list
}

// learning is the joint normal distribution of the expected level at
// candidate lots and at aims, as features whose products are covariances.
type learning struct {
	lots   int         // the first rows are candidate lots, the others aims
	phi    [][]float64 // features
	noise  []float64   // variance of a lot's mean level about the expected one
	weight []float64   // of the aims, in ΔE00² per level²
	span   float64     // L* from base to white
	shares []float64   // weights of the aims, which sum to 1
}

// planPanels is how many panels a planned lot is taken to have.
const planPanels = 4

// learnable linearizes the model at the points and the aims.
func (m *Model) learnable(points []values, aims []aim) *learning {
	g := &learning{lots: len(points), span: m.path.L1 - m.path.L0}
	all := make([]values, 0, len(points)+len(aims))
	for _, v := range points {
		all = append(all, m.complete(v))
	}
	for _, a := range aims {
		all = append(all, a.at)
	}
	chols := make([][]float64, len(m.comps))
	for i := range m.comps {
		chols[i] = slices.Clone(m.comps[i].cov)
		p := m.comps[i].size()
		for a := range p { // Load and Fit see to it that covariances are positive definite
			chols[i][a*p+a] *= 1 + 1e-12
		}
		cholesky(chols[i], p, 0)
	}
	var grad [maxSize]float64
	for k := range all {
		level := make([]float64, len(m.comps))
		mean, noise := 0.0, 0.0
		var phi []float64
		for i := range m.comps {
			c := &m.comps[i]
			eta := c.at(&all[k], &grad)
			s, ds, dd := c.link.at(eta, c.plateau())
			level[i] = s
			mean += c.weight * s
			panel := m.sdPanel * c.link.unit
			noise += c.weight * ds * ds * (c.sdLot*c.sdLot + panel*panel/planPanels)
			w := m.inflation * math.Sqrt(c.weight)
			p := c.size()
			for b := range p { // the row of derivatives times the Cholesky factor
				t := dd * chols[i][(p-1)*p+b]
				for a := b; a < p-1; a++ {
					t += ds * grad[a] * chols[i][a*p+b]
				}
				phi = append(phi, w*t)
			}
			nominal := m.basis.at(&all[k])
			for j := range m.basis.factors {
				f := &m.basis.factors[j]
				d := nominal[j] - min(max(nominal[j], f.Lo), f.Hi)
				phi = append(phi, w*ds*extrapolationSD*c.link.unit*d)
			}
		}
		for i := range m.comps {
			phi = append(phi, m.inflation*math.Sqrt(m.comps[i].weight)*(level[i]-mean))
		}
		g.phi = append(g.phi, phi)
		if k < g.lots {
			g.noise = append(g.noise, noise+m.floorSD*m.floorSD+m.readSD*m.readSD/planPanels)
			continue
		}
		a := aims[k-g.lots]
		perLevel := m.deltaEPerLevel(mean)
		g.weight = append(g.weight, a.weight*perLevel*perLevel)
		g.shares = append(g.shares, a.weight)
	}
	return g
}

// deltaEPerLevel is how fast ΔE00 grows along the path at a level.
func (m *Model) deltaEPerLevel(s float64) float64 {
	q := metric(m.path.at(s))
	da, db := m.path.tangent(s)
	t := [3]float64{m.path.L1 - m.path.L0, da, db}
	return math.Sqrt(mat3.Form(&q, t, t))
}

// covariance of the aims and lots after the chosen lots have been run.
func (g *learning) covariance(chosen []int) [][]float64 {
	n := len(g.phi)
	k := make([][]float64, n)
	for i := range k {
		k[i] = make([]float64, n)
		for j := range i + 1 {
			k[i][j] = dot(g.phi[i], g.phi[j])
			k[j][i] = k[i][j]
		}
	}
	for _, c := range chosen {
		g.observe(k, c)
	}
	return k
}

// observe conditions k, in place, on a lot at candidate c.
func (g *learning) observe(k [][]float64, c int) {
	v := k[c][c] + g.noise[c]
	col := slices.Clone(k[c])
	for i := range k {
		f := col[i] / v
		for j := range k[i] {
			k[i][j] -= f * col[j]
		}
	}
}

// best is the candidate whose lot narrows the aims most.
func (g *learning) best(k [][]float64) int {
	at, gain := -1, 0.0
	for c := range g.lots {
		sum := 0.0
		for t, w := range g.weight {
			u := k[c][g.lots+t]
			sum += w * u * u
		}
		sum /= k[c][c] + g.noise[c]
		if at < 0 || sum > gain*(1+1e-9) {
			at, gain = c, sum
		}
	}
	return at
}

// choose picks n candidates one by one and then exchanges each for a better
// one until none is.
func (g *learning) choose(ctx context.Context, n int) []int {
	var chosen []int
	base := g.covariance(nil)
	k := cloneRows(base)
	for range n {
		c := g.best(k)
		chosen = append(chosen, c)
		g.observe(k, c)
	}
	for range 5 {
		moved := false
		for i := range chosen {
			if ctx.Err() != nil {
				return nil
			}
			k := cloneRows(base)
			for j, c := range chosen {
				if j != i {
					g.observe(k, c)
				}
			}
			if c := g.best(k); c != chosen[i] {
				chosen[i], moved = c, true
			}
		}
		if !moved {
			break
		}
	}
	slices.Sort(chosen)
	return chosen
}

func cloneRows(k [][]float64) [][]float64 {
	out := make([][]float64, len(k))
	for i := range k {
		out[i] = slices.Clone(k[i])
	}
	return out
}

// halfWidth is the 95 % half-width at the aims, as a root mean square.
func (g *learning) halfWidth(chosen []int) HalfWidth {
	k := g.covariance(chosen)
	level, de := 0.0, 0.0
	for t := range g.weight {
		v := math.Max(k[g.lots+t][g.lots+t], 0)
		level += g.shares[t] * v
		de += g.weight[t] * v
	}
	z := quantile.Normal(0.975)
	return HalfWidth{L: z * g.span * math.Sqrt(level), DeltaE: z * math.Sqrt(de)}
}
