package discharge

import (
	"fmt"
	"math"

	"example.com/dosetone/colorimetry"
)

// Where the oxidizer charged is about what the dye uses up, settings no longer
// act by their dose alone: however fast it works and however long it runs, a
// lot stops when the oxidizer is gone. The balance is
//
//	dx/dκ = 1 - r(x)/q
//
// for the effective dose x, the dose κ that the settings would give if
// oxidizer never ran short, the share r of the dye that is gone at x, and the
// oxidizer charged q, in units of what all dye uses up: first order in the
// oxidizer left, one unit of it for one of dye. What else takes oxidizer (size,
// decay, metal) makes q smaller, and q is learned. r is 1 less the share of
// K/S that is left (Kubelka-Munk: K/S is in proportion to the dye).
//
// Oxidizer is also spent by what it does to everything else: cloth, size,
// carrier, the bath itself. Where that is most of it, what remains falls with
// the dose, whether there is dye left or not, and no time gives more than the
// dose q. How sharp that end is depends on the order in oxidizer. A surface that
// is nearly covered with it, or a film that is fed from a store, hardly works
// slower as the store empties, so fits take an order of one half:
//
//	dx/dκ = √(1 - x/q), so x = κ·(1 - κ/4q) up to κ = 2q, where x = q

// demand is what uses the oxidizer up.
type demand int

const (
	noDemand demand = iota // it never runs short
	byDye
	byDose
	byDoseFirst // by dose with an order of one in oxidizer: model files of 2026-11-26
)

// prior is the prior mean and sd of ln q. By dye: from a supply of a third of
// what it uses up to one that is hardly missed. By dose, in units of the dose
// that brings cloth half way: from one that ends there to one that ends near
// white. What laundries charge stands in no standard, but a charge far from what
// is needed either does nothing or is waste.
func (d demand) prior() (mean, sd float64) {
	if d != byDye {
		return 0.3, 0.7
	}
	return 0.1, 1.2
}

// starts are the ln q from which a fit sets out: the evidence may have a top on
// either side of the middle.
func (d demand) starts() []float64 {
	mean, _ := d.prior()
	return []float64{mean - 0.45, mean, mean + 0.45}
}

// spentBy is how a model file tells demands with a supply apart.
func (d demand) spentBy() string {
	switch d {
	case byDose:
		return "dose-half-order"
	case byDoseFirst:
		return "dose"
	}
	return ""
}

// demandOf reads what a model file says.
func demandOf(supplied bool, spentBy string) (demand, error) {
	if !supplied && spentBy == "" {
		return noDemand, nil
	}
	for _, d := range []demand{byDye, byDose, byDoseFirst} {
		if supplied && spentBy == d.spentBy() {
			return d, nil
		}
	}
	return noDemand, fmt.Errorf("a supply of %t spent by %q is unknown", supplied, spentBy)
}

// left is the log dose that is left of eta for ln q, and its derivatives by
// both.
func (c *candidate) left(eta, lnQ float64) (left, byEta, byQ float64) {
	switch c.demand {
	case byDye:
		return c.table.left(eta, lnQ)
	case byDoseFirst:
		return leftByFirstOrder(eta, lnQ+c.link.half)
	}
	return leftByHalfOrder(eta, lnQ+c.link.half)
}

// leftByHalfOrder is left where the dose itself is the demand and the order in
// oxidizer is one half, in the unit of η.
func leftByHalfOrder(eta, lnQ float64) (left, byEta, byQ float64) {
	z := math.Exp(min(eta-lnQ, 1))
	if z >= 2 {
		return lnQ, 0, 1
	}
	byEta = (1 - z/2) / (1 - z/4)
	return eta + math.Log1p(-z/4), byEta, 1 - byEta
}

// leftByFirstOrder is the same with an order of one: dx/dκ = 1 - x/q, so
// x = q·(1 - exp(-κ/q)).
func leftByFirstOrder(eta, lnQ float64) (left, byEta, byQ float64) {
	d := eta - lnQ
	switch {
	case d < -36: // exp(d) is below the last digit of 1
		return eta, 1, 0
	case d > 4: // nothing is left: exp(-exp(4)) is below it
		return lnQ, 0, 1
	}
	u := math.Exp(d)
	gone := spent(u)
	byEta = u * (1 - gone) / gone
	return lnQ + math.Log(gone), byEta, 1 - byEta
}

// supplyTable holds ln x for a grid of ln κ and ln q, with bilinear
// interpolation between its nodes: within 0.002 of the balance for dye of first
// order, a fiftieth of the least scatter of lots. Its slope is kept beside it
// and interpolated likewise.
type supplyTable [supplyRows][supplyNodes]knot

const (
	supplyLeast = -2.5 // ln q: below it nothing is discharged
	supplyRows  = 101  // up to +2.5, where nothing runs short
	supplyStep  = 0.05
	supplyFrom  = -8.0 // ln κ: below it no dye is gone
	supplyNodes = 145  // up to 16, where all is
	supplySteps = 6    // nodes per unit of ln κ
	supplyFine  = 12   // steps of r per unit of ln x
)

// newSupplyTable integrates the balance for the curve of a link between
// lightness l0 and l1.
func newSupplyTable(k *link, l0, l1 float64) *supplyTable {
	ks := func(eta float64) float64 {
		s, _ := k.unstretched(eta)
		return colorimetry.KS(luminance(l0 + s*(l1-l0)))
	}
	full := ks(linkFrom)
	n := int((linkTo-supplyFrom)*supplyFine) + 1
	gone := make([]float64, n) // r at the ends of the steps
	for i := range gone {
		gone[i] = min(max(1-ks(supplyFrom+float64(i)/supplyFine)/full, 0), 1)
	}
	var nodes [supplyNodes]float64 // κ
	for j := range nodes {
		nodes[j] = math.Exp(supplyFrom + float64(j)/supplySteps)
	}
	growth := math.Expm1(1.0 / supplyFine)
	t := new(supplyTable)
	for row := range t {
		q := math.Exp(supplyLeast + supplyStep*float64(row))
		x, kappa, j := nodes[0], nodes[0], 0
		for i := 1; i < n && j < supplyNodes; i++ {
			// r rises straight over a step: dx/dκ = left - rate·(x - x at its start).
			dx := x * growth
			left, rate := 1-gone[i-1]/q, max((gone[i]-gone[i-1])/(q*dx), 1e-300)
			end := math.Inf(1) // κ at the end of the step, unless the oxidizer is gone before
			if share := rate * dx / left; share < 1e-9 {
				end = kappa + dx/left
			} else if share < 1 {
				end = kappa - math.Log1p(-share)/rate
			}
			for ; j < supplyNodes && nodes[j] <= end; j++ {
				d := nodes[j] - kappa
				if rate*d > 1e-9 {
					d = -math.Expm1(-rate*d) / rate
				}
				at := x + left*d
				t[row][j] = knot{math.Log(at), max(nodes[j]/at*(left-rate*left*d), 0)}
			}
			x += dx
			kappa = end
		}
	}
	return t
}

// left is candidate.left from the table.
func (t *supplyTable) left(eta, lnQ float64) (left, byEta, byQ float64) {
	u := (eta - supplyFrom) * supplySteps
	if !(u > 0) {
		return eta, 1, 0
	}
	v := min(max((lnQ-supplyLeast)/supplyStep, 0), supplyRows-1)
	u = min(u, supplyNodes-1)
	i, j := min(int(v), supplyRows-2), min(int(u), supplyNodes-2)
	v -= float64(i)
	u -= float64(j)
	a, b := &t[i], &t[i+1]
	r0, r1 := b[j].s-a[j].s, b[j+1].s-a[j+1].s
	s0, s1 := a[j].s+v*r0, a[j+1].s+v*r1
	d0, d1 := a[j].ds+v*(b[j].ds-a[j].ds), a[j+1].ds+v*(b[j+1].ds-a[j+1].ds)
	return s0 + u*(s1-s0), d0 + u*(d1-d0), (r0 + u*(r1-r0)) / supplyStep
}
