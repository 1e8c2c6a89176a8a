package discharge

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/internal/quantile"
)

// This file doubts tables that can be read but hardly be true: each doubt is an
// error when a model of such data would be wrong, else a warning, and says what
// to do when the data are right after all.

// dimmest is the reflectance that no table of cloth stays below at every
// wavelength of every reading: the darkest denim reaches 2 to 3 % somewhere
// between 400 and 700 nm (common practice, no source).
const dimmest = 0.02

// doubt runs all of them; they need the whole table.
func (b *lotBuilder) doubt() error {
	if err := b.doubtDimness(); err != nil {
		return err
	}
	lots := lotMeans(b.table)
	b.doubtSwap(lots)
	b.doubtDamp(lots)
	b.doubtTimes()
	b.doubtSafety()
	b.doubtTensile()
	b.doubtLoners()
	b.doubtTwins()
	b.doubtSecondColor()
	b.doubtOnePanel()
	b.doubtApart()
	return nil
}

// lotMean is the mean of a lot's finished, dry readings, by panel and in all.
type lotMean struct {
	*Lot
	panels []colorimetry.Lab
	mean   colorimetry.Lab
}

// lotMeans returns the lots with usable readings.
func lotMeans(lots []Lot) []lotMean {
	var out []lotMean
	for i := range lots {
		panels, _ := PanelMeans(lots[i])
		if len(panels) == 0 {
			continue
		}
		m := lotMean{Lot: &lots[i]}
		for _, p := range panels {
			m.panels = append(m.panels, p.Lab)
		}
		m.mean = centroid(m.panels)
		out = append(out, m)
	}
	return out
}

// darkest is the row of the darkest usable reading of a panel.
func (l *Lot) darkest(panel string) (row int) {
	least := math.Inf(1)
	for _, p := range l.Panels {
		for i := range p.Readings {
			if r := &p.Readings[i]; p.ID == panel && r.usable() && r.Lab.L < least {
				least, row = r.Lab.L, r.Row
			}
		}
	}
	return row
}

// doubtDimness refuses reflectances that never reach 2 % unless the unit is
// stated: percent values divided by 100 twice look so.
func (b *lotBuilder) doubtDimness() error {
	if b.kind != Spectral || len(b.Rows) == 0 {
		return nil
	}
	top := 0.0
	for _, lot := range b.table {
		for _, p := range lot.Panels {
			for _, r := range p.Readings {
				top = max(top, slices.Max(r.Spectrum))
			}
		}
	}
	stated := b.text(0, "unit") != ""
	if top >= dimmest || stated {
		return nil
	}
	return b.fault(b.Lines[0], b.Header[b.color[0]], "", fmt.Errorf("no reflectance of the file exceeds %.4g, which is blacker than any denim: were percents divided by 100 twice? Multiply by 100; if the cloth is that dark, say so with a column unit holding factor", top))
}

// doubtEnds refuses to learn from a base that is lighter than every trial or a
// white that is darker than most: discharge only lightens.
func doubtEnds(t *Table) (warnings []error, err error) {
	lots := lotMeans(t.Lots)
	fault := func(l lotMean, value string, err error) error {
		return t.fault(l.Lot, "role", value, err)
	}
	var trials []float64
	darkest, lightest := lotMean{}, lotMean{}
	for _, l := range lots {
		if l.Role == Trial {
			trials = append(trials, l.mean.L)
			if darkest.Lot == nil || l.mean.L < darkest.mean.L {
				darkest = l
			}
			if lightest.Lot == nil || l.mean.L > lightest.mean.L {
				lightest = l
			}
		}
	}
	if len(trials) == 0 {
		return nil, nil
	}
	const clear = 1 // L*, beyond what readings of one shade differ
	for _, l := range lots {
		switch {
		case l.Role == Base && l.mean.L > lightest.mean.L+clear:
			return nil, fault(l, string(Base), fmt.Errorf("lot %q is lighter (L* %.1f) than every trial (lightest: %q, L* %.1f), but discharge only lightens: correct the roles, or write state damp for wet readings; to go without a base delete its rows", l.ID, l.mean.L, lightest.ID, lightest.mean.L))
		case l.Role == White && l.mean.L < quantile.Median(trials)-clear:
			return nil, fault(l, string(White), fmt.Errorf("lot %q is darker (L* %.1f) than half of the trials (lightest: %q, L* %.1f), but white is the end of discharge: correct the roles, or write state damp for wet readings; to go without a white delete its rows", l.ID, l.mean.L, lightest.ID, lightest.mean.L))
		case l.Role == White && l.mean.L < lightest.mean.L-clear:
			warnings = append(warnings, fault(l, string(White), fmt.Errorf("lot %q is darker (L* %.1f) than trial %q (L* %.1f): it was not discharged to the end; measure one that was, or leave it if nothing gets lighter", l.ID, l.mean.L, lightest.ID, lightest.mean.L)))
		case l.Role == Base && l.mean.L > darkest.mean.L+clear:
			warnings = append(warnings, fault(darkest, string(Trial), fmt.Errorf("trial %q is darker (L* %.1f) than the base %q (L* %.1f): was it read wet? Then write state damp; leave it if the fabric of that lot was darker", darkest.ID, darkest.mean.L, l.ID, l.mean.L)))
		}
	}
	return warnings, nil
}

// nameOne is what to do about lots of several fabrics or machines in a fit.
const nameOne = "name the one that the model is for (--%s), and the others' lots count with a shift in dose of their own"

// doubtMixture warns of lots of several fabrics or machines, which are learned
// from as if they were one unless a model is for one of them. remedy may name the
// column.
func doubtMixture(t *Table, at site, remedy string) (warnings []error) {
	for _, c := range at.columns() {
		if c.own != "" {
			continue
		}
		var lots []*Lot
		for i := range t.Lots {
			if slices.Contains(c.roles, t.Lots[i].Role) {
				lots = append(lots, &t.Lots[i])
			}
		}
		names := c.names(lots)
		if n := len(names); n > 1 {
			warnings = append(warnings, &RowError{File: t.Name, Column: c.column, Value: strings.Join(names, ", "),
				Err: fmt.Errorf("lots of %d are taken for one, and what differs between them counts as scatter: "+remedy, n, c.column)})
		}
	}
	return warnings
}

func centroid(list []colorimetry.Lab) (mean colorimetry.Lab) {
	n := float64(len(list))
	for _, x := range list {
		mean.L, mean.A, mean.B = mean.L+x.L/n, mean.A+x.A/n, mean.B+x.B/n
	}
	return mean
}

// doubtSwap warns of a* and b* that look exchanged: indigo is far bluer than
// green before discharge (b* −20 to −3 with a* −5 to 2; common practice, no
// source). Discharged cloth may be yellow and somewhat green, so the base
// decides, or without one the darkest lot.
func (b *lotBuilder) doubtSwap(lots []lotMean) {
	if b.kind != LabKind {
		return
	}
	of := func(roles ...Role) (out []lotMean) {
		for _, l := range lots {
			if slices.Contains(roles, l.Role) {
				out = append(out, l)
			}
		}
		return out
	}
	dark := of(Base)
	if len(dark) == 0 {
		dark = of(Trial, Production)
	}
	if len(dark) == 0 {
		return
	}
	darkest := slices.MinFunc(dark, func(a, b lotMean) int { return cmp.Compare(a.mean.L, b.mean.L) })
	if c := darkest.mean; c.A < -5 && c.B > c.A+3 {
		b.warn(b.HeaderLine, b.Header[b.color[1]], "", fmt.Errorf("lot %q has a* %.1f and b* %.1f: indigo before discharge has it the other way round; if the columns were exchanged, exchange their names; leave it if the cloth is green", darkest.ID, c.A, c.B))
	}
}

// doubtDamp warns of a panel much darker than the others of its lot: wet cloth
// reads 5 or more L* too dark (common practice, no source). Where panels scatter
// much, only one twice as far off as nearly all others is worth a word.
func (b *lotBuilder) doubtDamp(lots []lotMean) {
	wet := 5.0
	var off []float64
	mids := make([]float64, len(lots))
	for k, l := range lots {
		var ls []float64
		for _, p := range l.panels {
			ls = append(ls, p.L)
		}
		mids[k] = quantile.Median(ls)
		for _, v := range ls {
			off = append(off, math.Abs(v-mids[k]))
		}
	}
	slices.Sort(off)
	if n := len(off) - 1; n > 0 {
		wet = max(wet, 2*quantile.Of(off[:n], 0.95)) // the farthest may be the wet one
	}
	for k, l := range lots {
		if len(l.panels) < 3 {
			continue
		}
		for i, p := range l.panels {
			if below := mids[k] - p.L; below > wet {
				panels, _ := PanelMeans(*l.Lot)
				id := panels[i].ID
				b.warn(l.darkest(id), "panel", id, fmt.Errorf("panel %q of lot %q is %.1f L* darker than the middle of its lot: if it was read wet write state damp; leave it if the lot is that uneven", id, l.ID, below))
				break
			}
		}
	}
}

// doubtSafety warns of lots that must not be run, whatever the file says.
func (b *lotBuilder) doubtSafety() {
	if b.process == nil {
		return
	}
	for i, l := range b.table {
		if h := b.process.Hazard(l.Settings); h != "" {
			b.warn(b.lines[i]["ph"], "ph", fmt.Sprint(l.Settings["ph"]), errors.New(h))
			return
		}
	}
}

// doubtTensile warns of losses of strength that would all be below 1 %, which no
// test tells from none: fractions look so, and a limit in percent would never hold.
func (b *lotBuilder) doubtTensile() {
	const column = "tensile_loss_pct"
	const few = 3
	n, most := 0, 0.0
	for _, l := range b.table {
		for _, p := range l.Panels {
			if p.TensileLossPct != nil {
				n, most = n+1, max(most, math.Abs(*p.TensileLossPct))
			}
		}
	}
	if n >= few && most > 0 && most < 1 {
		b.warn(0, column, "", fmt.Errorf("no loss is above %.3g %%: if they are fractions, multiply by 100; leave them if they are percent", most))
	}
}

// doubtLoners warns of a trial lot whose setting stands far from that of all others, which
// vary among themselves: 1200 min among 10 to 30 are a slip of the pen more often than a trial,
// and one such lot stretches the region over which all is learned.
func (b *lotBuilder) doubtLoners() {
	if b.process == nil {
		return
	}
	// Lots; how far in ranges of the others; and how wide these are at least, in what
	// counts as an e-fold (common practice, no source).
	const few, alone, varied = 5, 1.5, 0.2
	for _, f := range b.process.Factors {
		if f.Transform == Recorded {
			continue
		}
		d := newDoseFactor(f, Range{})
		var at []int // lots, by rising setting
		x := func(i int) float64 { return d.raw(b.table[i].Settings[f.Column]) }
		for i, l := range b.table {
			if v, ok := l.Settings[f.Column]; ok && l.Role == Trial && f.Check(v) == nil {
				at = append(at, i)
			}
		}
		n := len(at)
		if n < few {
			continue
		}
		slices.SortStableFunc(at, func(i, k int) int { return cmp.Compare(x(i), x(k)) })
		loner, from, to := at[n-1], at[0], at[n-2]
		gap := x(loner) - x(to)
		if low := x(at[1]) - x(at[0]); low > gap {
			loner, from, to, gap = at[0], at[1], at[n-1], low
		}
		if others := x(to) - x(from); others > varied && gap > alone*others {
			v := func(i int) float64 { return b.table[i].Settings[f.Column] }
			b.warn(b.lines[loner][f.Column], f.Column, fmt.Sprint(v(loner)), fmt.Errorf("lot %q stands alone: all others have %.4g to %.4g; correct it if it is a slip, since it stretches the region that is learned", b.table[loner].ID, v(from), v(to)))
		}
	}
}

// doubtTimes warns of times that would be usual in another unit.
func (b *lotBuilder) doubtTimes() {
	if b.process == nil {
		return
	}
	f, ok := b.process.Factor(timeColumn)
	if !ok || !f.Typical.Known() {
		return
	}
	lo, hi, n, line := math.Inf(1), 0.0, 0, 0
	for i, l := range b.table {
		if v, ok := l.Settings[timeColumn]; ok && (l.Role == Trial || l.Role == Production) {
			lo, hi, n = min(lo, v), max(hi, v), n+1
			line = cmp.Or(line, b.lines[i][timeColumn])
		}
	}
	if n == 0 || lo <= f.Typical.Hi && hi >= f.Typical.Lo {
		return
	}
	// A unit is 60 times off; the usual range is wide, so twice it on each side.
	for _, u := range []struct {
		name, do string
		factor   float64
	}{{"hours", "multiply by 60", 60}, {"seconds", "divide by 60", 1. / 60}} {
		if lo*u.factor >= f.Typical.Lo/2 && hi*u.factor <= f.Typical.Hi*2 {
			b.warn(line, timeColumn, "", fmt.Errorf("times are %.4g to %.4g, which would be usual as %s: %s; leave them if they are minutes", lo, hi, u.name, u.do))
			return
		}
	}
}

// doubtOnePanel warns of lots with several readings of which none names its panel: they pass for
// readings of one garment, and how garments scatter is not seen.
func (b *lotBuilder) doubtOnePanel() {
	for _, l := range b.table {
		if (l.Role == Trial || l.Role == Production) && len(l.Panels) == 1 && l.Panels[0].ID == "" && len(l.Panels[0].Readings) > 1 {
			b.warn(l.Row, "panel", "", fmt.Errorf("the %d readings of lot %q name no panel and are taken to be of one garment: where they are of several, name each (a column panel, or lot/panel as name), since the scatter of garments decides how sure a mean is", len(l.Panels[0].Readings), l.ID))
			return
		}
	}
}

// doubtApart warns of readings of one panel that lie as far apart as cloth before and after its
// load: a mean of both is neither.
func (b *lotBuilder) doubtApart() {
	const far = 12.0 // L* (common practice, no source)
	for _, l := range b.table {
		if l.Role != Trial && l.Role != Production {
			continue
		}
		for _, p := range l.Panels {
			lo, hi, row := math.Inf(1), math.Inf(-1), 0
			for i := range p.Readings {
				if r := &p.Readings[i]; r.usable() {
					if r.Lab.L < lo {
						lo, row = r.Lab.L, r.Row
					}
					hi = max(hi, r.Lab.L)
				}
			}
			if hi-lo > far {
				b.warn(row, "panel", p.ID, fmt.Errorf("readings of panel %q of lot %q lie %.0f L* apart: give those from before the load role base, and leave out a lining or a label; keep them if the cloth is that uneven", p.ID, l.ID, hi-lo))
				return
			}
		}
	}
}

// doubtTwins warns of two lots with the same readings in the same order.
func (b *lotBuilder) doubtTwins() {
	for _, pair := range twins(b.table, b.kind) {
		first, l := &b.table[pair[0]], &b.table[pair[1]]
		b.warn(l.Row, "lot", l.ID, twinFault(l, first, place(first.Row)))
	}
}

// twinFault says that l has the readings of first, which stands at a place.
func twinFault(l, first *Lot, at string) error {
	what := "its settings differ"
	if maps.Equal(l.Settings, first.Settings) {
		what = "as are its settings"
	}
	return fmt.Errorf("every reading equals that of lot %q (%s), %s: was it pasted twice? Delete one; leave it if two lots truly agree in every digit", first.ID, at, what)
}

// twins lists which lots have the readings of an earlier one, in the same order: the
// places of both, the earlier one's first. A standard may well be a panel of a lot.
func twins(lots []Lot, kind ReadingKind) (pairs [][2]int) {
	seen := map[string]int{}
	for i := range lots {
		l := &lots[i]
		readings := l.Readings()
		// Few rounded numbers do meet by chance.
		if l.Role == Standard || l.Role == LightLimit || l.Role == DarkLimit || kind != Spectral && len(readings) < 2 {
			continue
		}
		// A blank that did nothing does look like the base in whole numbers of 0-255.
		if kind == Swatch && l.Role != Trial && l.Role != Production {
			continue
		}
		var key strings.Builder
		for _, r := range readings {
			fmt.Fprintf(&key, "%x%x%x", math.Float64bits(r.Lab.L), math.Float64bits(r.Lab.A), math.Float64bits(r.Lab.B))
		}
		k, twice := seen[key.String()]
		if !twice {
			seen[key.String()] = i
			continue
		}
		pairs = append(pairs, [2]int{k, i})
	}
	return pairs
}

// doubtSecondColor compares spectra with L, a, b of the same rows: they differ
// when the columns are a step off, or the viewing is another.
func (b *lotBuilder) doubtSecondColor() {
	if b.kind != Spectral {
		return
	}
	var at [3]int
	for n, c := range colorColumns(LabKind) {
		j, ok := b.col[c]
		if !ok {
			return
		}
		at[n] = j
	}
	rows := make(map[int]int, len(b.Lines))
	for i, line := range b.Lines {
		rows[line] = i
	}
	var apart []float64
	for _, lot := range b.table {
		for _, r := range lot.Readings() {
			i := rows[r.Row]
			var c [3]float64
			ok := true
			for n := 0; n < 3 && ok; n++ {
				v, _, err := parseNumber(b.Rows[i][at[n]], true)
				c[n], ok = v, err == nil
			}
			if ok {
				apart = append(apart, colorimetry.CIE76{}.Diff(r.Lab, colorimetry.Lab{L: c[0], A: c[1], B: c[2]}))
			}
		}
	}
	// Instruments round to 0.01; other weights move cloth by up to 0.3.
	if d := quantile.Median(apart); d > 0.6 {
		b.warn(b.HeaderLine, b.Header[at[0]], "", fmt.Errorf("the columns L, a, b differ from the spectra under %s by ΔE*ab %.1f (median): are the wavelengths a step off, or do L, a, b belong to another viewing? The spectra are used", b.viewing, d))
	}
}
