package laundry

import (
	"cmp"
	"math"
	"slices"
)

// element is a small part of the surface that is uniform in itself.
type element struct {
	weight  float64 // share of the dyed surface; all sum to 1
	content float64 // dye relative to the mean
	rate    float64 // ease of attack relative to the mean
	z       float64 // normal quantile of the number of contacts
}

// remains is what is left in an element after an exposure.
type remains struct {
	dye     float64 // seen dye relative to the mean of the base
	removed float64 // share of the element's own dye that is gone, 0..1
	dose    float64 // exposure of this very element
}

// cloth holds the drawn numbers of the dye's side.
type cloth struct {
	elements []element
	order    float64 // m of -dd/dx = d^m
	half     float64 // Michaelis-Menten: dye at half the full rate, relative to the base
	floor    float64 // share of dye out of reach

	ring   float64 // scale of the dye ring over the yarn's radius
	optics float64 // scale of the depth that is seen
	slow   float64 // resistance of diffusion relative to that of reaction
	blur   float64 // width of the front
	shells int     // rings of a yarn
}

// division says how finely cloth is divided: normal quantiles of content and
// ease of attack of each element, and rings of a yarn.
type division struct {
	content, rate []float64
	shells        int
}

// maxElements is the most elements of a cloth that is drawn.
const maxElements = 144

// fine is the division of cloth. What ends at once in an element, as ring
// dyeing does, makes a stair of the dose response for each class of ease of
// attack: of up to 10 L* with four classes, of at most 2 with 144 (see the
// tests).
func fine() division { return lattice(maxElements, 20) }

// coarse is the division of the demo's cloth, part of the definition of its
// files: four classes of content by four of ease of attack.
func coarse() division {
	d := division{shells: 10}
	z := quantiles(4)
	for _, c := range z {
		for _, r := range z {
			d.content, d.rate = append(d.content, c), append(d.rate, r)
		}
	}
	return d
}

// quantiles returns the normal quantiles of the middles of n equal classes,
// scaled to variance 1.
func quantiles(n int) []float64 {
	z := make([]float64, n)
	var ss float64
	for i := range z {
		z[i] = math.Sqrt2 * math.Erfinv(2*(float64(i)+0.5)/float64(n)-1)
		ss += z[i] * z[i]
	}
	for i := range z {
		z[i] /= math.Sqrt(ss / float64(n))
	}
	return z
}

// lattice pairs n classes of ease of attack with as many of content, in the
// order of the fractional parts of the multiples of the golden ratio, so that
// both are evenly mixed (a Kronecker sequence; Niederreiter, Random Number
// Generation and Quasi-Monte Carlo Methods, SIAM 1992, ch. 3).
func lattice(n, shells int) division {
	d := division{content: make([]float64, n), rate: quantiles(n), shells: shells}
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	part := func(i int) float64 { return math.Mod(float64(i+1)*math.Phi, 1) }
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(part(a), part(b)) })
	for rank, i := range order {
		d.content[i] = d.rate[rank]
	}
	return d
}

// elements makes elements of log-normal content and rate; deep elements are
// slower by the power couple.
func (d division) elements(sdContent, sdRate, couple float64) []element {
	all := make([]element, len(d.rate))
	var sum float64
	for i, zr := range d.rate {
		e := element{weight: 1 / float64(len(all)), content: math.Exp(sdContent * d.content[i]), z: zr}
		e.rate = math.Exp(sdRate*zr) * math.Pow(e.content, -couple)
		sum += e.weight * e.content
		all[i] = e
	}
	for i := range all {
		all[i].content /= sum
	}
	return all
}

// after returns what is left of element e.
func (c *cloth) after(form Kind, e element, x exposure) remains {
	dose := x.dose * e.rate
	var d float64
	switch form {
	case RingDyed:
		return c.ringLeft(e, dose)
	case Contact:
		// Cornish-Fisher quantile of a Poisson number of hits, smooth in the mean.
		hits := max(x.hits+e.z*math.Sqrt(x.hits)+(e.z*e.z-1)/6, 0)
		if x.hits > 0 {
			dose *= hits / x.hits
		}
		d = math.Pow(1+(c.order-1)*dose, -1/(c.order-1))
	case Decay:
		d = michaelis(dose, c.half)
	default:
		d = math.Pow(1+(c.order-1)*dose, -1/(c.order-1))
	}
	d = c.floor + (1-c.floor)*d
	return remains{dye: e.content * d, removed: 1 - d, dose: dose}
}

// michaelis solves h ln d + d - 1 = -(1+h)·x for the dye left d in (0, 1], so
// that the rate at d = 1 is 1 for any h. In u = ln d the left side is
// increasing and convex, so Newton's steps from u = 0 fall to the root and
// never pass it.
func michaelis(x, h float64) float64 {
	u := 0.0
	for range 30 {
		e := math.Exp(u)
		step := (h*u + e - 1 + (1+h)*x) / (h + e)
		u -= step
		if math.Abs(step) < 1e-10 {
			break
		}
	}
	return math.Exp(u)
}

// ringLeft moves a front into the yarn. With depth u in units of the ring's
// scale, dye density falls as exp(-u) [5] and the front advances by
// du/dτ = exp(u)/(1 + slow·u): less dye to burn, but a longer way. Integrated,
// (1 + slow + slow·u)·exp(-u) = 1 + slow - τ.
func (c *cloth) ringLeft(e element, dose float64) remains {
	ring := c.ring * math.Pow(e.content, 0.3)
	front := ring * frontDepth(dose/2, c.slow)
	var seen, full, left, all float64
	// From shell to shell each exponential falls by a constant factor.
	h := 1 / float64(c.shells)
	dye, dyeFalls := math.Exp(-h/2/ring), math.Exp(-h/ring)
	w, wFalls := math.Exp(-h/2/c.optics), math.Exp(-h/c.optics)
	edge, edgeFalls := math.Exp(-h/2/c.blur), math.Exp(-h/c.blur)
	reached := math.Exp(front / c.blur)
	for range c.shells {
		// The front is not sharp: part of the dye survives behind it. At the
		// start nothing may be gone, hence the norm by the value at front 0.
		stay := (1 + edge) / (1 + reached*edge)
		stay = c.floor + (1-c.floor)*stay
		seen += w * dye * stay
		full += w * dye
		left += dye * stay
		all += dye
		dye *= dyeFalls
		w *= wFalls
		edge *= edgeFalls
	}
	return remains{dye: e.content * seen / full, removed: 1 - left/all, dose: dose}
}

// frontDepth solves ln(1 + slow + slow·u) - u = ln(1 + slow - τ), a concave
// falling function of u, by Newton's method; past the end of the dye it
// returns a depth at which nothing is left.
func frontDepth(tau, slow float64) float64 {
	const end = 14 // exp(-14) of the dye
	rest := 1 + slow - tau
	if rest <= 1e-6 {
		return end
	}
	u := -math.Log(rest / (1 + slow))
	for range 30 {
		a := 1 + slow + slow*u
		step := (math.Log(a/rest) - u) / (1 - slow/a)
		u += step
		if math.Abs(step) < 1e-10 {
			break
		}
	}
	return min(u, end)
}
