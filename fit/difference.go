package fit

import "math"

// differences are the derivatives of functions that come without: central
// differences at three steps h, 2h, 4h, extrapolated to h = 0 [7]. How large h may
// be depends on how soon the functions bend, not on the size of the parameter: a
// peak at 45000 may be 5 wide. So h is looked for, upwards from where rounding
// rules.
type differences struct {
	value func(dst, p []float64) // sets dst to their values
	skip  func(j int) bool       // parameters that need no derivative; nil means none
	// reach is how far from each parameter values are asked for: half the width of
	// its bounds, 0 where there are none. nil means no bounds at all.
	reach []float64

	step  []float64 // h by parameter; 0 before it was looked for
	found []float64 // relative error when it was looked for
	noise []float64 // that of the values, relative to their size
	// rel is the estimated error of the derivatives by each parameter, relative
	// to their size, at the last call; NaN or Inf where there are none.
	rel []float64

	q, up, down        []float64
	central            [3][]float64 // at h, 2h, 4h
	derivative, chosen []float64
}

func newDifferences(m, n int, value func(dst, p []float64)) *differences {
	d := &differences{value: value}
	work := make([]float64, 5*n+7*m)
	take := func(k int) []float64 {
		v := work[:k:k]
		work = work[k:]
		return v
	}
	d.step, d.found, d.noise, d.rel, d.q = take(n), take(n), take(n), take(n), take(n)
	d.up, d.down, d.derivative, d.chosen = take(m), take(m), take(m), take(m)
	for k := range d.central {
		d.central[k] = take(m)
	}
	return d
}

// forget has the steps looked for anew.
func (d *differences) forget() { clear(d.step) }

// jacobian sets jac, m×n by rows, to the derivatives at p: NaN where the functions
// have no values around p, 0 by parameters that are skipped.
func (d *differences) jacobian(jac, p []float64) {
	copy(d.q, p)
	for j := range p {
		dst := d.derivative
		switch {
		case d.skip != nil && d.skip(j):
			clear(dst)
		case !d.again(p, j):
			d.search(p, j)
			dst = d.chosen
		}
		for i, v := range dst {
			jac[i*len(p)+j] = v
		}
	}
}

// again takes the derivative with the step of before and reports whether that
// still serves: the error is small, or it is that of rounding and no larger than a
// search left it.
func (d *differences) again(p []float64, j int) bool {
	h := d.step[j]
	if h == 0 {
		return false
	}
	size := 0.0
	for k := range d.central {
		size = d.difference(k, p, j, math.Ldexp(h, k))
	}
	bend, round := d.extrapolate(), size*d.noise[j]/h
	d.rel[j] = math.Max(math.Max(bend, round)/norm2(d.derivative), d.found[j])
	return d.rel[j] <= 1e-9 || bend <= 10*round && d.rel[j] <= 10*d.found[j]
}

// search looks for the step with the least error. The error has two parts:
// that of rounding falls as 1/h, that of bending rises as h⁴. It ends where
// derivatives are good enough.
func (d *differences) search(p []float64, j int) {
	const (
		warm   = 4       // steps from which rounding is learned
		enough = 0x1p-44 // relative error; fits need 1e-9
	)
	for i := range d.chosen {
		d.chosen[i] = math.NaN()
	}
	d.step[j], d.rel[j] = 0, math.NaN()
	h, dark, far := d.limits(p, j)
	k, flat := 0, false
	for 0x1p10*h <= dark && d.unseen(p, j, 16*h) {
		k, h, flat = warm, 16*h, true
	}
	if 0x1p10*h > dark && d.unseen(p, j, dark) {
		clear(d.chosen)
		d.rel[j], d.found[j] = math.Inf(1), math.Inf(1)
		return
	}
	if flat {
		h /= 4 // what is seen first is seen by the largest of three steps alone
	}
	before := d.difference(1, p, j, h)
	d.difference(2, p, j, 2*h)
	least, last := math.Inf(1), 0.0
	for ; 4*h <= far; k, h = k+1, 2*h {
		c := &d.central
		c[0], c[1], c[2] = c[1], c[2], c[0]
		size := d.difference(2, p, j, 4*h)
		diff := d.extrapolate()
		if math.IsNaN(diff) || math.IsInf(diff, 1) {
			break // beyond where the functions have values
		}
		// A small difference may be luck: rounding does not fall faster than 1/h.
		last = math.Max(math.Max(diff, size*0x1p-53/h), last/2)
		norm := norm2(d.derivative)
		if norm == 0 {
			// No effect, or none that rounding lets through at such a step.
			flat = true
			if 8*h > dark {
				break
			}
			continue
		}
		if k < warm {
			continue
		}
		if last <= least {
			least = last
			copy(d.chosen, d.derivative)
			d.step[j], d.rel[j], d.noise[j] = h, last/norm, last*h/size
		}
		if last > 100*least || last <= enough*norm {
			break // bending rules, or there is hardly any error
		}
		if before > 0 && size > 0x1p10*before {
			break // values are rough, and by now out of all proportion
		}
	}
	if flat && !(d.rel[j] < 0.5) {
		// All that was seen lies far off, such as a peak elsewhere.
		clear(d.chosen)
		d.step[j], d.rel[j] = 0, math.Inf(1)
	}
	d.found[j] = d.rel[j]
}

// limits returns the first step of a search, the last one where nothing is seen, and
// the last of all, four of the h of search. The two end at the reach of bounds; without
// any, nothing seen ends at a thousand times the parameter, and at a thousand million
// times what rounding hides all but a little of. A parameter smaller than 1 may have
// become so by chance, as one of 0, and counts as 1.
func (d *differences) limits(p []float64, j int) (first, dark, far float64) {
	first = 0x1p-100
	if p[j] != 0 {
		_, e := math.Frexp(p[j])
		first = math.Ldexp(1, max(e-49, -400)) // p ± h is exact from here on
	}
	size := math.Max(math.Abs(p[j]), 1)
	dark, far = 0x1p10*size, 0x1p30*size
	if d.reach != nil && d.reach[j] > 0 {
		far = math.Max(math.Min(far, d.reach[j]), 0x1p6*first) // leaves some to choose from
		dark = math.Min(dark, far)
	}
	return first, dark, far
}

// unseen reports whether a step h of p[j] either way leaves all values alike.
func (d *differences) unseen(p []float64, j int, h float64) bool {
	d.difference(2, p, j, h)
	return norm2(d.central[2]) == 0
}

// difference sets central[k] to the central differences by p[j] at step h and
// returns the size of the values.
func (d *differences) difference(k int, p []float64, j int, h float64) float64 {
	d.q[j] = p[j] + h
	d.value(d.up, d.q)
	d.q[j] = p[j] - h
	d.value(d.down, d.q)
	d.q[j] = p[j]
	for i, v := range d.up {
		d.central[k][i] = (v - d.down[i]) / (2 * h)
	}
	return math.Max(norm2(d.up), norm2(d.down))
}

// extrapolate sets derivative from the differences at h, 2h and 4h, and returns
// the estimated error of bending: what the last extrapolation changed.
func (d *differences) extrapolate() float64 {
	change := d.up
	for i, a := range d.central[0] {
		b, c := d.central[1][i], d.central[2][i]
		r, s := (4*a-b)/3, (4*b-c)/3
		change[i] = (r - s) / 15
		d.derivative[i] = r + change[i]
	}
	return norm2(change)
}
