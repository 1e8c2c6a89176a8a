package discharge

import "math"

// SecondPass is the time of a second pass with a fresh charge at settings,
// whose own time is not looked at, that takes a lot from one level to another.
// Doses add: order-m kinetics and mixtures of rates depend on the sum of
// strength times time alone, whenever it was given. It is searched from a
// hundredth of the shortest trial to three times the longest; ok is false when
// one pass does not suffice, when the levels do not rise, or when time is no
// factor of the model.
func (m *Model) SecondPass(s Settings, from, to float64) (minutes float64, extrapolated, ok bool, err error) {
	if !finite(from, to) {
		return 0, false, false, errLevel
	}
	j := m.basis.index(timeColumn)
	if j < 0 || !(from < to) {
		return 0, false, false, nil
	}
	f := &m.basis.factors[j]
	shortest, longest := f.value(f.Lo), f.value(f.Hi)
	s = withTime(s, shortest)
	var v values
	if err := m.locate(s, &v); err != nil {
		return 0, false, false, err
	}
	var need [maxComponents]float64
	start := m.start(&v)
	for i := range m.comps {
		c := &m.comps[i]
		a, b := c.etaAt(since(start, from)), c.etaAt(since(start, to))
		need[i] = b + math.Log(-math.Expm1(math.Min(a-b, -1e-9)))
	}
	var parts [maxComponents]mixPart
	lacks := func(t float64) bool {
		v[j] = t
		m.parts(&parts, &v)
		sum := 0.0
		for i := range m.comps {
			c := &m.comps[i]
			sum += c.weight * (parts[i].mu - need[i]) / c.link.unit
		}
		return sum < 0
	}
	lo, hi := shortest/100, 3*longest
	if !lacks(lo) || lacks(hi) {
		return 0, false, false, nil
	}
	v[j] = bisect(lo, hi, 50, lacks)
	x := m.basis.at(&v)
	return v[j], m.basis.beyond(&x) > 0 || m.movesFixed(s), true, nil
}

// QuickestPass is the time of a pass as of [Model.SecondPass] at its quickest. Where oxidizer spends itself,
// a fresh charge is quickest at its start, which trials of whole passes do not show
// and SecondPass leaves to the curve. Dose is taken to be of order ¾ in strength,
// the middle of what is usual at surfaces (a half to one; from memory), and to grow as
// 1 - exp(-u·t), as by an oxidizer that is lost in the first order, with the u that the
// exponents of time and strength have in the middle of the trials. ok is as for
// SecondPass.
func (m *Model) QuickestPass(s Settings, from, to float64) (minutes float64, ok bool, err error) {
	j := m.basis.index(timeColumn)
	if j < 0 || !(from < to) || !finite(from, to) {
		return 0, false, nil
	}
	middle := m.basis.values(nil)
	const order = 0.75
	perDose := 1.0 // exponent of dose in the curve's own scale, if strength tells no other
	if k := m.basis.strength(); k >= 0 {
		perDose = max(m.exponent(middle, k)/order, 1)
	}
	// Doses of the two levels over that of a pass of the middle time.
	var v values
	if err := m.locate(withTime(s, middle[j]), &v); err != nil {
		return 0, false, err
	}
	start := m.start(&v)
	level := since(start, m.path.level(m.expected(&v).L))
	share := math.Exp(m.DoseBetween(level, since(start, to))/perDose) - math.Exp(m.DoseBetween(level, since(start, from))/perDose)
	minutes = middle[j] * spending(m.exponent(middle, j)/perDose, share)
	if !(minutes <= 3*m.basis.factors[j].To) {
		return 0, false, nil
	}
	return minutes, true, nil
}

// exponent is by which power of factor j dose grows where v stands.
func (m *Model) exponent(v values, j int) float64 {
	const step = 1.1
	var parts [maxComponents]mixPart
	gain := 0.0
	for _, sign := range []float64{-1, 1} {
		m.parts(&parts, &v)
		for i := range m.comps {
			gain += sign * m.comps[i].weight * parts[i].mu / m.comps[i].link.unit
		}
		v[j] *= step
	}
	return gain / math.Log(step)
}

// spending is the share of a pass's time that a share of its dose takes if dose
// grows as 1 - exp(-u·t), with t = 1 at the end of the pass, and by a power of t
// there, which is u/(exp(u) - 1): in proportion from a power of 1 on. What the charge
// never gives takes for ever, +Inf.
func spending(power, share float64) float64 {
	if power >= 1 {
		return share
	}
	u := bisect(1e-6, 50, 60, func(u float64) bool { return u/math.Expm1(u) > power })
	if left := 1 + share*math.Expm1(-u); left > 0 {
		return -math.Log(left) / u
	}
	return math.Inf(1)
}
