package discharge

import (
	"fmt"
	"math"
	"slices"
)

// why says in words what stands between the target and a pass.
func (q *search) why(out *Suggestions) string {
	t, c := q.target.Lab, out.Closest
	if out.Reachable {
		return q.whyNotSurely(out)
	}
	switch {
	case t.L > q.m.path.L1 && q.m.whiteAssumed:
		return fmt.Sprintf("lighter than any trial lot (L* %.0f), and no white was read: that fully discharged cloth comes to L* %.0f is assumed; discharge a panel to the end, add it with role white and fit again",
			q.m.path.lightness(q.m.path.lightest), q.m.path.L1)
	case t.L > q.m.path.L1:
		return "lighter than fully discharged cloth: this fabric cannot get there by discharge"
	case t.L < q.m.path.lightness(q.m.low)-0.5 && q.m.baseAssumed:
		return "darker than any trial lot, and the base was not read: read base garments, add them to the trials and fit again"
	case t.L < q.m.path.lightness(q.m.low)-0.5:
		return "darker than the base: discharge only lightens; it needs another fabric or over-dyeing"
	}
	// What stands in the way is the bounds when some dose would do, and the
	// fabric when none would.
	near := q.m.path.at(q.m.NearestLevel(t))
	if q.deltaE(near) <= q.tol {
		if t.L > c.L {
			return "lighter than the allowed settings reach: raise a bound, or run trials at a higher dose"
		}
		return "darker than the allowed settings reach: lower a bound, or run trials at a lower dose"
	}
	hue := hueWords(t.A-near.A, t.B-near.B)
	if q.m.path.mayHold(t) {
		return fmt.Sprintf("%s than what is expected of shades as light as this, but lighter than any trial lot (L* %.0f): the way from there to white is assumed; run a lot at a higher dose, and fit again", hue, q.m.path.lightness(q.m.path.lightest))
	}
	text := fmt.Sprintf("off the shade path: the target is %s than any shade this fabric passes through; dose cannot change that, tinting or another process might", hue)
	if off, bounded := q.deltaE(near), q.deltaE(c); bounded > off+q.tol {
		text += fmt.Sprintf("; and the allowed settings come to ΔE00 %.1f from it only, where the path comes to %.1f", bounded, off)
	}
	return text
}

// surely is the pass probability from which nothing needs to be explained.
const surely = 0.8

// whyNotSurely says what keeps the best suggestion from passing surely: the
// target's distance from the path, what the trials leave open, or the scatter
// of lots.
func (q *search) whyNotSurely(out *Suggestions) string {
	if len(out.List) == 0 || out.BestPassProbability >= surely {
		return ""
	}
	best := &out.List[0]
	v := q.m.values(best.Settings)
	p := q.m.predictAt(&v)
	if d := q.deltaE(best.Shade); d > 0.4*q.tol {
		near := q.deltaE(out.Closest)
		const binds = 0.9 // as near the limit as dials come
		switch {
		case q.limit > 0 && best.TensileLossPct.Mean > binds*q.limit && d > 2*near:
			return fmt.Sprintf("reachable, but with a tensile loss of at most %.3g %% only to ΔE00 %.1f from the target, without that limit to %.1f", q.limit, d, near)
		case d > 2*near:
			return fmt.Sprintf("reachable, but the values allowed come only to ΔE00 %.1f from the target, settings between them to %.1f: allow finer ones, or free another factor", d, near)
		}
		return fmt.Sprintf("reachable, but only just: the nearest shade on this fabric's path is ΔE00 %.1f from the target, so of the tolerance of %.2g little is left for the scatter of lots", d, q.tol)
	}
	scatter := p.LotCovariance[0][0] - p.MeanCovariance[0][0]
	if text := q.whyDrifting(&v); text != "" {
		return text
	}
	if p.MeanCovariance[0][0] > scatter {
		return "reachable, but the trials leave the dose open: more trial lots near these settings will raise the probability"
	}
	if sd, unusual := q.m.dosing(); unusual {
		return fmt.Sprintf("reachable, but the trial lots lie as far off the curve as %.0f %% of strength would bring them, more than dosing scatters: see what the fit warns of", 100*sd)
	}
	// What would be left if the curve were known exactly.
	known := *q.m
	known.comps = slices.Clone(q.m.comps)
	for i := range known.comps {
		known.comps[i].cov = make([]float64, len(known.comps[i].cov))
	}
	at := *q
	at.m = &known
	return fmt.Sprintf("reachable, but lots scatter: even if the curve were known exactly, about %.0f %% of lots would lie inside ΔE00 %.2g; steadier dosing helps more than trials", 100*at.pass(&v), q.tol)
}

// hueWords names the direction of (da, db) as people say it.
func hueWords(da, db float64) string {
	var a, b string
	if da > 0 {
		a = "redder"
	} else {
		a = "greener"
	}
	if db > 0 {
		b = "yellower"
	} else {
		b = "bluer"
	}
	switch {
	case math.Abs(da) > 2.5*math.Abs(db):
		return a
	case math.Abs(db) > 2.5*math.Abs(da):
		return b
	}
	return a + " and " + b
}

// whyDrifting names the factor that costs most by drifting from load to load, "" where none
// costs much.
func (q *search) whyDrifting(v *values) string {
	const much = 0.05
	chance := q.pass(v)
	most, text := chance+much, ""
	for j := q.m.basis.primary; j < len(q.m.basis.factors); j++ {
		if !drifts(v[j]) {
			continue
		}
		f := &q.m.basis.factors[j]
		at := *v
		at[j] = q.m.basis.middle[j]
		if held := q.pass(&at); held > most {
			remedy := fmt.Sprintf("held at %.3g", at[j])
			if pf, _ := q.m.process.Factor(f.Column); pf.Measured {
				remedy = "read before each load, and settings chosen for it"
			}
			most, text = held, fmt.Sprintf("reachable, but %s drifts from load to load: %s, about %.0f %% of lots would pass instead of %.0f %%", f.Column, remedy, 100*held, 100*chance)
		}
	}
	return text
}
