package discharge

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"example.com/dosetone/internal/quantile"
)

// A model may be made for one fabric and one machine from lots of several: what
// strength, load and time do is learned from all of them, while lots on another fabric or
// machine have a shift in log dose of their own. It is one more coefficient of the η row,
// drawn towards zero like that of a factor that only drifted, and is taken out again
// once the fit is done (settle), so that a model knows nothing of it.

// site is the fabric and the machine that a model is for; where one is "", all lots are
// taken alike in it.
type site struct{ fabric, machine string }

// siteColumn is one of the two, as the lots name it.
type siteColumn struct {
	column, own string // own is that of the site
	of          func(*Lot) string
	roles       []Role // of lots that it matters to
}

// columns are both: fabrics first, whose base and white differ, too.
func (at site) columns() [2]siteColumn {
	return [2]siteColumn{
		{"fabric", at.fabric, func(l *Lot) string { return l.Fabric }, []Role{Trial, Base, White}},
		{"machine", at.machine, func(l *Lot) string { return l.Machine }, []Role{Trial}},
	}
}

// names lists what lots name, sorted, each once.
func (c *siteColumn) names(lots []*Lot) []string {
	found := map[string]bool{}
	for _, l := range lots {
		found[c.of(l)] = true
	}
	delete(found, "")
	return slices.Sorted(maps.Keys(found))
}

// Other is what a model learned of lots on another fabric or machine than its own.
type Other struct {
	Fabric  string  `json:"fabric,omitempty"`
	Machine string  `json:"machine,omitempty"`
	Lots    int     `json:"lots"`
	Shift   float64 `json:"shift"`    // of ln dose that the same settings give there, against those of the model
	ShiftSD float64 `json:"shift_sd"` // its standard error
}

// Factor is by how much the same settings' dose differs there: the lower end of its
// 95 % interval, the estimate, and the upper end.
func (o Other) Factor() [3]float64 { return doseFactors(o.Shift, o.ShiftSD) }

// doseFactors is a shift of log dose as a factor, with the ends of its 95 % interval.
func doseFactors(shift, sd float64) [3]float64 {
	h := quantile.Normal(0.975) * sd
	return [3]float64{math.Exp(shift - h), math.Exp(shift), math.Exp(shift + h)}
}

// Minutes is the factor on the minutes that does as much as a shift of ln dose, with its standard
// error, at the middle of the trials: its lower end, estimate and upper end at 95 %. What makes up
// for the shift is its reciprocal. Dose has a unit of each curve's own, minutes have not. It is 0 where the trials do not
// show that minutes give dose, or never varied them.
func (m *Model) Minutes(shift, sd float64) (factor [3]float64) {
	return m.worth(m.basis.time, shift, sd)
}

// Strength is the same factor on the strength of the oxidizer.
func (m *Model) Strength(shift, sd float64) (factor [3]float64) {
	return m.worth(m.basis.strength(), shift, sd)
}

// worth is a shift of ln dose as a factor on factor j.
func (m *Model) worth(j int, shift, sd float64) (factor [3]float64) {
	slope, variance, shown := m.slope(j)
	if !shown {
		return factor
	}
	x := shift / slope
	return doseFactors(x, math.Sqrt(sd*sd+x*x*variance)/slope)
}

// name is what messages call it.
func (o Other) name() string {
	switch {
	case o.Machine == "":
		return "fabric " + o.Fabric
	case o.Fabric == "":
		return "machine " + o.Machine
	}
	return "fabric " + o.Fabric + " and machine " + o.Machine
}

// Others returns what was learned of lots on other fabrics and machines, when the
// model was made for one ([FitOptions]).
func (m *Model) Others() []Other { return slices.Clone(m.others) }

// otherColumn names the coefficient of such lots among the settings of a fit; no column
// of a file is called so.
func otherColumn(k int) string { return fmt.Sprintf("\x00other %d", k) }

// isShift tells such a coefficient from a factor.
func (f *doseFactor) isShift() bool { return f.Column[0] == 0 }

// others lists the fabrics and machines besides those of at, and for each which lots
// ran there. What goes with the same lots cannot be told apart and is one.
func (o *observed) others(at site) (list []Other, ran [][]bool) {
	for _, c := range at.columns() {
		if c.own == "" {
			continue
		}
		for _, name := range c.names(o.lots()) {
			if name == c.own {
				continue
			}
			lots, n := make([]bool, len(o.trials)), 0
			for i, t := range o.trials {
				if lots[i] = c.of(t.lot) == name; lots[i] {
					n++
				}
			}
			if k := slices.IndexFunc(ran, func(have []bool) bool { return slices.Equal(have, lots) }); k >= 0 {
				list[k].Machine = name // machines come after fabrics
				continue
			}
			other := Other{Machine: name, Lots: n}
			if c.column == "fabric" {
				other = Other{Fabric: name, Lots: n}
			}
			list, ran = append(list, other), append(ran, lots)
		}
	}
	return list, ran
}

// lots are the trial lots.
func (o *observed) lots() []*Lot {
	out := make([]*Lot, len(o.trials))
	for i, t := range o.trials {
		out[i] = t.lot
	}
	return out
}

// known are the transformed values of a factor in the lots of a site that have it.
func (o *observed) known(f *doseFactor, at site) (xs []float64) {
	columns := at.columns()
	elsewhere := func(l *Lot) bool {
		return slices.ContainsFunc(columns[:], func(c siteColumn) bool {
			return c.own != "" && c.of(l) != "" && c.of(l) != c.own
		})
	}
	for _, t := range o.trials {
		if v, ok := t.lot.Settings[f.Column]; ok && !elsewhere(t.lot) {
			xs = append(xs, f.raw(v))
		}
	}
	return xs
}

// check refuses a site that no lot names, and tells of lots that name none.
func (at site) check(o *observed) (warnings []error, err error) {
	for _, c := range at.columns() {
		if c.own == "" {
			continue
		}
		var silent []string
		for _, t := range o.trials {
			if c.of(t.lot) == "" {
				silent = append(silent, t.lot.ID)
			}
		}
		have := c.names(o.lots())
		switch {
		case len(have) == 0:
			return nil, fmt.Errorf("%w: no trial lot names its %s: fill in column %s", ErrNoSuchLots, c.column, c.column)
		case !slices.Contains(have, c.own):
			return nil, fmt.Errorf("%w: no trial lot has %s %s; there are %s", ErrNoSuchLots, c.column, c.own, firstOf(have))
		case len(silent) > 0:
			warnings = append(warnings, fmt.Errorf("%d lots name no %s and are taken to be of %s: %s", len(silent), c.column, c.own, firstOf(silent)))
		}
	}
	return warnings, nil
}

// addOthers gives each lot on another fabric or machine a coefficient: a setting of 1 in
// a column of its own, 0 for all other lots.
func (m *Model) addOthers(o *observed, at site) (columns []doseFactor) {
	list, ran := o.others(at)
	for i := range o.trials {
		l := o.trials[i].lot // the fit's own, but for the map
		l.Settings = l.Settings.Clone()
		for k := range list {
			l.Settings[otherColumn(k)] = 0
			if ran[k][i] {
				l.Settings[otherColumn(k)] = 1
			}
		}
	}
	for k := range list {
		column := otherColumn(k)
		f := doseFactor{Column: column, Transform: Linear, Scale: 1, From: 0, To: 1}
		f.between(0, 1)
		columns = append(columns, f)
	}
	m.others = list
	return columns
}

// settle takes the coefficients of other fabrics and machines out of a model, and
// keeps what they are: what is left holds for its own.
func (m *Model) settle() {
	if len(m.others) == 0 {
		return
	}
	first := len(m.basis.factors) - len(m.others)
	for k := range m.others {
		mean, variance := m.mixed(func(_ *component, dst []float64) float64 { dst[1+first+k] = 1; return 0 })
		m.others[k].Shift, m.others[k].ShiftSD = mean, math.Sqrt(variance)
	}
	for i := range m.trials {
		t := &m.trials[i]
		for k, other := range m.others {
			t.Shift += other.Shift * t.Settings[otherColumn(k)]
			delete(t.Settings, otherColumn(k))
		}
	}
	own := m.basis.values(nil)
	for j := first; j < len(m.basis.factors); j++ {
		own[j] = 0
	}
	m.basis = m.basis.first(first)
	for i := range m.comps {
		c := &m.comps[i]
		x := c.basis.at(&own)
		c.mean, c.cov = joinConstant(c.mean, c.cov, first, len(m.others), &x)
		less := c.basis.first(first)
		c.basis = &less
	}
}

// first is the basis with its first n factors, primary ones among them.
func (b *doseBasis) first(n int) doseBasis {
	less := *b
	less.factors = slices.Clone(b.factors[:n])
	for j := n; j < len(b.factors); j++ {
		less.middle[j] = 0
	}
	return less
}

// joinConstant is a normal distribution of the parameters of an η row once its n factors
// from first on stand at x for good: their coefficients join the constant.
func joinConstant(mean, cov []float64, first, n int, x *values) (less, lessCov []float64) {
	p := len(mean)
	mean, cov = slices.Clone(mean), slices.Clone(cov)
	for k := first; k < first+n; k++ {
		j := 1 + k
		mean[0] += x[k] * mean[j]
		for i := range p {
			cov[i] += x[k] * cov[j*p+i]
		}
		for i := range p {
			cov[i*p] += x[k] * cov[i*p+j]
		}
	}
	kept := func(i int) bool { return i <= first || i > first+n }
	for i := range p {
		if !kept(i) {
			continue
		}
		less = append(less, mean[i])
		for k := range p {
			if kept(k) {
				lessCov = append(lessCov, cov[i*p+k])
			}
		}
	}
	return less, lessCov
}

// shiftOf is the shift of dose of a lot that ran on other fabrics or machines.
func (m *Model) shiftOf(l *Lot) (by float64) {
	for _, other := range m.others {
		if other.Fabric != "" && other.Fabric == l.Fabric || other.Machine != "" && other.Machine == l.Machine {
			by += other.Shift
		}
	}
	return by
}

// shifted is the model with another dose by the same settings.
func (m *Model) shifted(by float64) *Model {
	if by == 0 {
		return m
	}
	out := *m
	out.comps = slices.Clone(m.comps)
	for i := range out.comps {
		c := &out.comps[i]
		c.mean = slices.Clone(c.mean)
		c.mean[0] += by * c.link.unit
	}
	return &out
}

// wordsOnOthers says what the same settings do on other fabrics and machines.
func (m *Model) wordsOnOthers() (words []string) {
	for _, other := range m.others {
		f := other.Factor()
		text := fmt.Sprintf("on %s (%d of the lots) the same settings give %.2f times the dose (95 %%: %.2f to %.2f)", other.name(), other.Lots, f[1], f[0], f[2])
		if x := m.Minutes(other.Shift, other.ShiftSD); x[1] > 0 {
			text += fmt.Sprintf(", as %.2f times the minutes would (%.2f to %.2f)", x[1], x[0], x[2])
		}
		if f[0] <= 1 && f[2] >= 1 {
			text += ", not shown to differ"
		}
		words = append(words, text)
	}
	return words
}
