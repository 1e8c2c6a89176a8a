package discharge

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"example.com/dosetone/fit"
	"example.com/dosetone/internal/quantile"
)

// Parameter is one fitted quantity with its standard error and 95 % interval.
type Parameter struct {
	Name          string
	Value, SE     float64
	Lo, Hi        float64
	Unit, Meaning string
}

// Summary is what a fit found, in numbers and in words.
type Summary struct {
	Process, Curve, LevelScale string // of the curve with the most evidence
	CurveShare                 float64
	Parameters                 []Parameter
	SDLot, SDPanel             float64 // scatter in ln dose
	LOOMedian, LOOP95          float64 // ΔE00 of trial lots predicted without themselves
	LotDeltaE                  float64 // median ΔE00 by which a lot mean scatters at mid-path
	Warnings                   []string
	Words                      []string
}

// mixed returns the mean and variance of a linear function of the coefficients
// over all curves, each divided by its unit so that they are comparable. row
// fills in the function's row and returns what does not depend on them.
func (m *Model) mixed(row func(c *component, dst []float64) float64) (mean, variance float64) {
	for i := range m.comps {
		c := &m.comps[i]
		n := c.basis.terms()
		dst := make([]float64, n)
		rest := row(c, dst)
		mu := (rest + dot(dst, c.mean)) / c.link.unit
		v := 0.0
		for a := range n {
			for b := range n {
				v += dst[a] * dst[b] * c.cov[a*c.size()+b]
			}
		}
		mean += c.weight * mu
		variance += c.weight * (v/(c.link.unit*c.link.unit) + mu*mu)
	}
	return mean, math.Max(variance-mean*mean, 0)
}

// slopeAtMiddle fills dst with the row of ∂η/∂x_j at the middle of the trials,
// where x_j is the factor itself: under a clock, strength also acts through
// the minutes that count, so the slope is taken across the whole row. It
// returns what more of the factor gives as more oxidizer to use up.
func (m *Model) slopeAtMiddle(c *component, dst []float64, j int) (byCharge float64) {
	const h = 0.05
	var lo, mid [maxTerms]float64
	f := &m.basis.factors[j]
	at := func(x float64, dst []float64) (charge float64) {
		v := m.basis.values(nil)
		v[j] = f.value(x)
		y := c.basis.at(&v)
		c.basis.row(dst, &y)
		return c.basis.charge(&y)
	}
	n := len(dst)
	at(0, mid[:n])
	least, most := at(-h, lo[:n]), at(h, dst)
	for i := range dst {
		dst[i] = (dst[i] - lo[i]) / (2 * h)
	}
	if !c.supplied() {
		return 0
	}
	var grad [maxSize]float64
	c.dose(c.mean, mid[:n], 0, grad[:])
	for i := range dst {
		dst[i] *= grad[0]
	}
	return grad[n] * (most - least) / (2 * h)
}

// slope is the log dose gained by factor j, below 0 for none, at the middle of the trials;
// shown tells that they show it to be above 0.
func (m *Model) slope(j int) (mean, variance float64, shown bool) {
	const least = 0.1 // less is hardly any dose
	if j < 0 {
		return 0, 0, false
	}
	mean, variance = m.mixed(func(c *component, dst []float64) float64 { return m.slopeAtMiddle(c, dst, j) })
	return mean, variance, mean > least && mean > 2*math.Sqrt(variance)
}

// supply is the oxidizer charged at the middle of the trials, in the unit of
// some demands: the mean and sd of its logarithm over the curves with these,
// and their share.
func (m *Model) supply(by ...demand) (mean, sd, share float64) {
	square := 0.0
	for i := range m.comps {
		if c := &m.comps[i]; slices.Contains(by, c.demand) {
			n, p := c.basis.terms(), c.size()
			share += c.weight
			mean += c.weight * c.mean[n]
			square += c.weight * (c.mean[n]*c.mean[n] + c.cov[n*p+n])
		}
	}
	if share == 0 {
		return 0, 0, 0
	}
	mean /= share
	return mean, math.Sqrt(max(square/share-mean*mean, 0)), share
}

// Summary describes the model.
func (m *Model) Summary() Summary {
	s := Summary{Process: m.process.ID, SDLot: m.sdLot(), SDPanel: m.sdPanel, LotDeltaE: m.midScatter(), Parameters: []Parameter{}, Warnings: []string{}}
	s.Curve, s.LevelScale, s.CurveShare = m.foremost()
	add := func(name, unit, meaning string, mean, variance float64) {
		se := math.Sqrt(variance)
		h := quantile.Normal(0.975) * se
		s.Parameters = append(s.Parameters, Parameter{name, mean, se, mean - h, mean + h, unit, meaning})
	}
	var words []string
	two := m.atTwoLevels()
	for j := range m.basis.factors {
		f := &m.basis.factors[j]
		mean, v, _ := m.slope(j)
		add("exponent "+f.Column, "", "log dose gained per "+f.perUnit()+" at the middle of the trials", mean, v)
		text := m.wordsFor(f, mean, math.Sqrt(v))
		if !f.oneWay() && f.Primary && !slices.Contains(two, f.Column) {
			pf, _ := m.process.Factor(f.Column)
			switch best, shown, inside := m.bestValue(j, mean); {
			case shown && inside:
				text = fmt.Sprintf("%s works best at about %s, inside the trials' %.4g to %.4g", f.Column, strings.TrimSpace(fmt.Sprintf("%.2g %s", best, pf.Unit)), f.From, f.To)
			case inside:
				text += fmt.Sprintf("; predictions turn at about %s, which the trials do not show", strings.TrimSpace(fmt.Sprintf("%.2g %s", best, pf.Unit)))
			}
		}
		words = append(words, text)
	}
	n := 1 + len(m.basis.factors)
	// Of many products some stand out by chance: the level is shared among them.
	shown := quantile.Normal(1 - 0.025/math.Max(float64(m.basis.primary*(m.basis.primary-1)/2), 1))
	for j := range m.basis.primary {
		for k := j; k < m.basis.primary; k++ {
			mean, v := m.mixed(func(_ *component, dst []float64) float64 { dst[n] = 1; return 0 })
			name, meaning := "bend "+m.basis.factors[j].Column, "second-order coefficient of log dose"
			if k == j && slices.Contains(two, m.basis.factors[j].Column) {
				meaning += ", mostly assumed: two levels do not show a bend"
			}
			if k != j {
				name = "interaction " + m.basis.factors[j].Column + " × " + m.basis.factors[k].Column
				if math.Abs(mean) > shown*math.Sqrt(v) {
					words = append(words, fmt.Sprintf("%s and %s %s each other", m.basis.factors[j].Column, m.basis.factors[k].Column, map[bool]string{true: "strengthen", false: "weaken"}[mean > 0]))
				}
			}
			add(name, "", meaning, mean, v)
			n++
		}
	}
	plateau, v := m.plateau()
	add("upper plateau", "level", "where discharge ends, base = 0 and white = 1", plateau, v)
	if q, text, ok := m.wordsOnSupply(); ok {
		s.Parameters = append(s.Parameters, q)
		if text != "" {
			words = append(words, text)
		}
	}
	if m.loo != nil {
		s.LOOMedian, s.LOOP95 = quantile.Of(m.loo, 0.5), quantile.Of(m.loo, 0.95)
	}
	for _, w := range m.warnings {
		s.Warnings = append(s.Warnings, w.Error())
	}
	words = append(words, m.wordsOnOthers()...)
	if m.tensile != nil {
		words = append(words, m.wordsOnTensile())
	}
	s.Words = append(words, m.wordsOnScatter(&s)...)
	return s
}

// foremost is the curve whose candidates carry the most evidence, with its share, and
// the scale of the foremost of these.
func (m *Model) foremost() (curve, scale string, share float64) {
	shares := map[string]float64{}
	for _, c := range m.comps {
		k := curveName(c.link.curve)
		if shares[k] += c.weight; shares[k] > share+1e-12 {
			share, curve = shares[k], k
		}
	}
	most := 0.0
	for _, c := range m.comps {
		if curveName(c.link.curve) == curve && c.weight > most {
			most, scale = c.weight, c.link.scale.String()
		}
	}
	return curve, scale, share
}

// plateau is the mean and variance of the curves' upper end.
func (m *Model) plateau() (mean, variance float64) {
	square := 0.0
	for _, c := range m.comps {
		p := len(c.mean) - 1
		mean += c.weight * c.mean[p]
		square += c.weight * (c.cov[p*(p+1)+p] + c.mean[p]*c.mean[p])
	}
	return mean, math.Max(square-mean*mean, 0)
}

// bestValue is where the dose is highest by factor j, whose slope at the middle of the
// trials is given, where it bends down; shown says that the trials show that it does, inside
// that the best value lies within them.
func (m *Model) bestValue(j int, slope float64) (best float64, shown, inside bool) {
	f := &m.basis.factors[j]
	k := m.basis.product(j, j)
	bend, v := m.mixed(func(_ *component, dst []float64) float64 { dst[k] = 1; return 0 })
	if bend >= 0 {
		return 0, false, false
	}
	x := -slope / (2 * bend)
	return f.value(x), bend <= -2*math.Sqrt(v), x > f.Lo && x < f.Hi
}

// shownSupply is how well the trials must tell the supply of oxidizer, as a standard
// deviation of its logarithm, for words to speak of it: a factor of 1.5 either way at 95 %. Where no
// oxidizer runs short they leave it about as open as the prior does, 0.4 to 0.8.
const shownSupply = 0.2

// wordsOnSupply says whether oxidizer runs short, and at which charge, where most
// of the evidence says that it does; text is empty where trials do not show it.
func (m *Model) wordsOnSupply() (q Parameter, text string, ok bool) {
	mean, sd, byDyeShare := m.supply(byDye)
	q = Parameter{Name: "supply", Unit: "of what all dye uses up", Meaning: "oxidizer charged at the middle of the trials"}
	text = "oxidizer runs short: in the middle of the trials there is %.2g (95 %%: %.2g to %.2g) times what all dye would use up; where it is below 1, neither time nor heat replaces it"
	if _, carried := m.process.Factor("ratio"); carried {
		// Carrier that dries, or has its pores emptied, with oxidizer left on it looks the same.
		text = "oxidizer runs short, or the carrier stops giving it off: in the middle of the trials it is as if there were %.2g (95 %%: %.2g to %.2g) times what all dye would use up; where that is below 1, time does not replace it"
	}
	dose, doseSD, byDoseShare := m.supply(byDose, byDoseFirst)
	if byDoseShare > byDyeShare {
		mean, sd = dose, doseSD
		q.Unit = "of what cloth half way has had"
		text = "oxidizer spends itself: in the middle of the trials, however long or hot, the dose stays below %.2g (95 %%: %.2g to %.2g) times what brings cloth half way; only more oxidizer raises that"
	}
	if byDyeShare+byDoseShare <= 0.5 {
		return q, "", false
	}
	h := quantile.Normal(0.975) * sd
	q.Value, q.SE, q.Lo, q.Hi = math.Exp(mean), math.Exp(mean)*sd, math.Exp(mean-h), math.Exp(mean+h)
	if sd > shownSupply {
		q.Meaning += ", mostly assumed: the trials do not show that it runs short"
		return q, "", true
	}
	return q, fmt.Sprintf(text, q.Value, q.Lo, q.Hi), true
}

// wordsOnTensile says what strength the way to the lightest and the darkest trials
// costs.
func (m *Model) wordsOnTensile() string {
	dark, light := m.trials[0], m.trials[0]
	for _, t := range m.trials {
		if t.Lab.L < dark.Lab.L {
			dark = t
		}
		if t.Lab.L > light.Lab.L {
			light = t
		}
	}
	at := func(t TrialRecord) string {
		v := m.basis.values(t.Settings)
		p := m.predictAt(&v)
		x := p.TensileLossPct
		return fmt.Sprintf("%.0f %% (95 %% of lots: %.0f to %.0f) at L* %.0f", x.Mean, x.Lo, x.Hi, p.Shade.L)
	}
	return fmt.Sprintf("tensile strength lost, by dose: about %s, %s", at(dark), at(light))
}

// curveName is the name of a curve with its shape.
func curveName(c fit.Curve) string {
	if s, ok := c.(fit.ShapedCurve); ok {
		return fmt.Sprintf("%s (m = %g)", c.Name(), s.Shape())
	}
	return c.Name()
}

func (f *doseFactor) perUnit() string {
	switch f.Transform {
	case Log:
		return "e-fold"
	case InverseKelvin:
		return "40 kJ/mol of activation energy"
	}
	return fmt.Sprintf("%.3g units", f.Scale)
}

// wordsFor says how much a factor matters.
func (m *Model) wordsFor(f *doseFactor, mean, se float64) string {
	if f.Column == baseColumn {
		return m.wordsOnStart(f, mean, se)
	}
	switch f.Transform {
	case Log:
		switch {
		case math.Abs(mean) > 2*se && math.Abs(mean) > 0.1:
			return fmt.Sprintf("doubling %s multiplies the dose by %.2f (95 %%: %.2f to %.2f)", f.Column, math.Pow(2, mean), math.Pow(2, mean-2*se), math.Pow(2, mean+2*se))
		case math.Abs(mean)+2*se < 0.2:
			return fmt.Sprintf("%s hardly matters: %.2f ± %.2f log dose per %s", f.Column, mean, 2*se, f.perUnit())
		}
	case InverseKelvin:
		// Over 10 °C about the middle of the trials.
		t := f.value(0)
		d := f.x(t+5) - f.x(t-5)
		where := ""
		if !f.Raises {
			where = fmt.Sprintf("about %.0f °C, ", t) // it may have a best value
		}
		return fmt.Sprintf(where+"10 °C more multiplies the dose by %.2f (95 %%: %.2f to %.2f)", math.Exp(mean*d), math.Exp((mean-2*se)*d), math.Exp((mean+2*se)*d))
	}
	if math.Abs(mean) < 2*se {
		return fmt.Sprintf("%s: these lots do not show whether it matters in the middle of the trials (%.2f ± %.2f log dose per %s)", f.Column, mean, 2*se, f.perUnit())
	}
	// By a round number of units, not larger than the scale of the model.
	step := math.Pow(10, math.Floor(math.Log10(f.Scale)))
	pf, _ := m.process.Factor(f.Column)
	per := step / f.Scale
	return fmt.Sprintf("%s higher by %s multiplies the dose by %.2f (95 %%: %.2f to %.2f) in the middle of the trials", f.Column, strings.TrimSpace(fmt.Sprintf("%g %s", step, pf.Unit)),
		math.Exp(mean*per), math.Exp((mean-2*se)*per), math.Exp((mean+2*se)*per))
}
