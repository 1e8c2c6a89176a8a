package discharge

import (
	"example.com/dosetone/colorimetry"
)

// How the uncertainty of the dose becomes one of the shade: each curve's η is
// normal, and the shades at a few nodes of it, weighted, have the moments of
// the shades of all. This is where a prediction spends its time, so the nodes
// of a curve are worked out side by side.

// The five-point Gauss-Hermite rule for a standard normal variable (Abramowitz
// and Stegun 1972, table 25.10, scaled by √2 and √π): nodes at 0, ±node1 and
// ±node2. Constants, as an array would be copied at each prediction.
const (
	node1, weight1 = 1.355626179974266, 0.2220759220056126
	node2, weight2 = 2.8569700138728056, 0.01125741132772069
	weight0        = 0.5333333333333333
)

// lotNodesOf puts the nodes of N(mu, sd²) into x and their weights, which sum
// to total, into w.
func lotNodesOf(x, w []float64, mu, sd, total float64) {
	x, w = x[:lotNodes], w[:lotNodes]
	x[0], x[1], x[2], x[3], x[4] = mu-sd*node2, mu-sd*node1, mu, mu+sd*node1, mu+sd*node2
	w[0], w[1], w[2], w[3], w[4] = total*weight2, total*weight1, total*weight0, total*weight1, total*weight2
}

// moments are weighted sums over levels s with their a* and b*. L* follows
// from the level.
type moments struct {
	w, s, a, b float64
	ss, aa, bb float64
	sa, sb, ab float64
}

// momentsOf gathers the moments of shades with weights w, all of one length.
func momentsOf(w, s, a, b []float64) moments {
	// Local sums stay in registers; the fields of a struct do not.
	var sw, ss, sa, sb, sss, saa, sbb, ssa, ssb, sab float64
	s, a, b = s[:len(w)], a[:len(w)], b[:len(w)]
	for k, w := range w {
		ws, wa, wb := w*s[k], w*a[k], w*b[k]
		sw, ss, sa, sb = sw+w, ss+ws, sa+wa, sb+wb
		sss, saa, sbb = sss+ws*s[k], saa+wa*a[k], sbb+wb*b[k]
		ssa, ssb, sab = ssa+ws*a[k], ssb+ws*b[k], sab+wa*b[k]
	}
	return moments{sw, ss, sa, sb, sss, saa, sbb, ssa, ssb, sab}
}

// average is the mean shade, and its level, of at most maxComponents times lotNodes levels
// with weights.
func (p *shadePath) average(w, s []float64) (colorimetry.Lab, float64) {
	var a, b [maxComponents * lotNodes]float64
	p.chroma(a[:len(s)], b[:len(s)], s)
	var q moments
	q.first(w, s, a[:len(s)], b[:len(s)])
	return p.center(&q)
}

// center is the mean shade and its level.
func (p *shadePath) center(q *moments) (colorimetry.Lab, float64) {
	s := q.s / q.w
	return colorimetry.Lab{L: p.lightness(s), A: q.a / q.w, B: q.b / q.w}, s
}

// covariance of (L*, a*, b*).
func (p *shadePath) covariance(q *moments) [3][3]float64 {
	r, span := 1/q.w, p.L1-p.L0
	s, a, b := q.s*r, q.a*r, q.b*r
	ll, aa, bb := span*span*max(q.ss*r-s*s, 0), max(q.aa*r-a*a, 0), max(q.bb*r-b*b, 0)
	la, lb, ab := span*(q.sa*r-s*a), span*(q.sb*r-s*b), q.ab*r-a*b
	return [3][3]float64{{ll, la, lb}, {la, aa, ab}, {lb, ab, bb}}
}

// about makes a covariance about the mean of q one about another shade.
func (p *shadePath) about(c *[3][3]float64, q *moments, shade *colorimetry.Lab) {
	r := 1 / q.w
	d := [3]float64{shade.L - p.lightness(q.s*r), shade.A - q.a*r, shade.B - q.b*r}
	for i := range d {
		for j := range d {
			c[i][j] += d[i] * d[j]
		}
	}
}

const (
	lotNodes  = 5
	meanNodes = 3
)

// spread returns the moments of the shades of all curves: of lots, whose η is
// N(mu, sdLot²), by the five-point rule, of the mean, N(mu, sdMean²), and of lots about a
// dose that is known, N(mu, sdOwn²), by the three-point one; of the last the first moments
// alone.
func (m *Model) spread(parts *[maxComponents]mixPart) (mean, lot, own moments) {
	var w, s, a, b [maxComponents * (lotNodes + 2*meanNodes - 1)]float64
	n := len(m.comps)
	known := n * lotNodes // after the lots' nodes come the outer ones of a known dose,
	ends := known + 2*n   // those of the mean,
	middle := ends + 2*n  // and the middle ones of both, which the lots have already
	all := middle + n
	for i := range m.comps {
		c, part := &m.comps[i], &parts[i]
		d := c.mean[len(c.mean)-1]
		k := i * lotNodes
		lotNodesOf(s[k:], w[k:], part.mu, part.sdLot, c.weight)
		c.link.levels(s[k:k+lotNodes], d)
		part.begin(s[k : k+lotNodes])
		w[middle+i] = c.weight * 2 / 3
		for _, pair := range [2]struct {
			at  int
			far float64
		}{{known + 2*i, sqrt3 * part.sdOwn}, {ends + 2*i, sqrt3 * part.sdMean}} {
			k := pair.at
			s[k], s[k+1] = part.mu-pair.far, part.mu+pair.far
			w[k], w[k+1] = c.weight/6, c.weight/6
			c.link.levels(s[k:k+2], d)
			part.begin(s[k : k+2])
		}
	}
	m.path.chroma(a[:middle], b[:middle], s[:middle])
	for i := range n {
		k := i*lotNodes + lotNodes/2
		s[middle+i], a[middle+i], b[middle+i] = s[k], a[k], b[k]
	}
	own.first(w[known:ends], s[known:ends], a[known:ends], b[known:ends])
	own.first(w[middle:all], s[middle:all], a[middle:all], b[middle:all])
	return momentsOf(w[ends:all], s[ends:all], a[ends:all], b[ends:all]), momentsOf(w[:known], s[:known], a[:known], b[:known]), own
}

// first adds to the first moments.
func (q *moments) first(w, s, a, b []float64) {
	sw, ss, sa, sb := q.w, q.s, q.a, q.b
	s, a, b = s[:len(w)], a[:len(w)], b[:len(w)]
	for k, w := range w {
		sw, ss, sa, sb = sw+w, ss+w*s[k], sa+w*a[k], sb+w*b[k]
	}
	q.w, q.s, q.a, q.b = sw, ss, sa, sb
}

// expected is the shade part of predictAt alone.
func (m *Model) expected(v *values) colorimetry.Lab {
	lab, _ := m.expectedAt(v)
	return lab
}

// expectedAt is expected with its level.
func (m *Model) expectedAt(v *values) (lab colorimetry.Lab, level float64) {
	if !m.lotsAlone {
		return m.overAll(v)
	}
	var parts [maxComponents]mixPart
	m.parts(&parts, v)
	return m.center(&parts)
}

// center is what is expected of lots of a dose as likely as any, whose η is N(mu, sdOwn²), by
// the three-point rule. What is not known of the dose has no part in it: where a curve levels
// off, the mean over what is ever less certain would darken with more dose.
func (m *Model) center(parts *[maxComponents]mixPart) (colorimetry.Lab, float64) {
	var w, s [maxComponents * meanNodes]float64
	for i := range m.comps {
		c, part := &m.comps[i], &parts[i]
		k, far := i*meanNodes, sqrt3*part.sdOwn
		s[k], s[k+1], s[k+2] = part.mu-far, part.mu, part.mu+far
		w[k], w[k+1], w[k+2] = c.weight/6, c.weight*4/6, c.weight/6
		c.link.levels(s[k:k+meanNodes], c.mean[len(c.mean)-1])
		part.begin(s[k : k+meanNodes])
	}
	n := len(m.comps) * meanNodes
	return m.path.average(w[:n], s[:n])
}

const sqrt3 = 1.7320508075688772

// overAll is expectedAt of files of versions until 2026-11-27: the mean over all that is uncertain.
func (m *Model) overAll(v *values) (lab colorimetry.Lab, level float64) {
	var parts [maxComponents]mixPart
	if m.parts(&parts, v) > 0 && m.edged {
		edge := m.edge(v)
		var near [maxComponents]mixPart
		m.parts(&near, &edge)
		for i := range m.comps {
			parts[i].sdLot = near[i].sdLot // see noSurer
		}
	}
	var w, s [maxComponents * lotNodes]float64
	for i := range m.comps {
		c, part := &m.comps[i], &parts[i]
		k := i * lotNodes
		lotNodesOf(s[k:], w[k:], part.mu, part.sdLot, c.weight)
		c.link.levels(s[k:k+lotNodes], c.mean[len(c.mean)-1])
		part.begin(s[k : k+lotNodes])
	}
	n := len(m.comps) * lotNodes
	return m.path.average(w[:n], s[:n])
}

// levels replaces η by what at gives for it.
func (k *link) levels(s []float64, d float64) {
	stretch := (d - k.low) / (1 - k.low)
	last := len(k.table) - 1
	for n, x := range s {
		t := (x - linkFrom) * linkNodes
		i := int(t)
		var v float64
		switch {
		case !(t > 0):
			v = k.table[0].s
		case t >= float64(last):
			v = k.table[last].s
		default:
			a, b := &k.table[i], &k.table[i+1]
			u := t - float64(i)
			rise := b.s - a.s
			v = a.s + u*(a.ds+u*(3*rise-2*a.ds-b.ds+u*(a.ds+b.ds-2*rise)))
		}
		s[n] = k.low + (v-k.low)*stretch
	}
}

// chroma is the a* and b* part of at for several levels at once.
func (p *shadePath) chroma(a, b, s []float64) {
	a, b = a[:len(s)], b[:len(s)]
	for n, x := range s {
		t := (x - p.lo) * p.rate
		if !(t >= 0 && t < pathSegments) {
			lab := p.at(x)
			a[n], b[n] = lab.A, lab.B
			continue
		}
		k := int(t)
		u := t - float64(k)
		c := &p.cubic[k]
		a[n] = c[0][0] + u*(c[0][1]+u*(c[0][2]+u*c[0][3]))
		b[n] = c[1][0] + u*(c[1][1]+u*(c[1][2]+u*c[1][3]))
	}
}

// quadratic is row·cov·row for the leading part of a symmetric matrix of
// stride p, from its lower triangle.
func quadratic(cov, row []float64, p int) float64 {
	sum, a := 0.0, 0
	// Two lines at a time: their sums do not wait for each other.
	for ; a+1 < len(row); a += 2 {
		before, ra, rb := row[:a], row[a], row[a+1]
		one, two := cov[a*p:], cov[(a+1)*p:]
		s := 0.5 * one[a] * ra
		t := 0.5*two[a+1]*rb + two[a]*ra
		one, two = one[:len(before)], two[:len(before)]
		for b, r := range before {
			s += one[b] * r
			t += two[b] * r
		}
		sum += s*ra + t*rb
	}
	if a < len(row) {
		s := 0.5 * cov[a*p+a] * row[a]
		for b, r := range row[:a] {
			s += cov[a*p+b] * r
		}
		sum += s * row[a]
	}
	return 2 * sum
}
