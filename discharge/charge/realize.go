package charge

import (
	"fmt"
	"maps"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/chem"
)

// realize reads the settings back from the rounded weights of every batch and
// says what the rounding does to the dose and the shade.
func (m *maker) realize() error {
	asked, askedKnown := m.Process.ActivePerKg(m.Load.Settings)
	fromBase := m.Model != nil && !m.Load.SecondPass
	var want discharge.Prediction
	var err error
	if fromBase {
		if want, err = m.Model.Predict(m.Load.Settings); err != nil {
			return err
		}
		if want.Extrapolated {
			m.warn("the settings lie outside the region of the trials: the model extrapolates")
		}
		m.window(want.Shade)
	}
	for i := range m.Batches {
		b := &m.Batches[i]
		b.Realized = m.realized(b)
		s := b.Realized
		if m.form == gas {
			s = maps.Clone(s)
			s["load_kg"] = float64(b.Garments / chem.Kilogram)
		}
		if g, ok := m.Process.ActivePerKg(s); ok {
			b.ActivePerKg = g
			if askedKnown && m.form != gas && asked > 0 {
				b.DoseError = g/asked - 1
			}
		} else if b.Garments > 0 && m.onGarments[i] > 0 {
			// The settings do not tell the dose, as for a spray on a stated area, whose
			// dose grows as its strength and its add-on do.
			if m.form == sprayed {
				b.DoseError = s["strength_gpl"]*s["add_on_gsm"]/(m.Load.Settings["strength_gpl"]*m.Load.Settings["add_on_gsm"]) - 1
			}
			b.ActivePerKg = float64(m.onGarments[i]) / float64(b.Garments/chem.Kilogram) * (1 + b.DoseError)
		}
		if !fromBase {
			continue
		}
		got, err := m.Model.Predict(b.Realized)
		if err != nil {
			return err
		}
		var f colorimetry.CIEDE2000
		d := f.Diff(want.Shade, got.Shade)
		b.DeltaE = &d
		if d > 0.2*m.tolerance() {
			m.warn("%s: rounding moves the shade by ΔE00 %.2f, a good part of the tolerance of %.2g; weigh on a finer scale", b.Machine, d, m.tolerance())
		}
	}
	return nil
}

func (m *maker) tolerance() float64 {
	if m.Tolerance > 0 {
		return m.Tolerance
	}
	return discharge.DefaultTolerance
}

// take sums what was really weighed of the items that fit.
func take(items []Item, fits func(Item) bool) (q Quantity) {
	for _, i := range items {
		if fits(i) {
			q.Mass += i.Take.Mass
			q.Volume += i.Take.Volume
		}
	}
	return q
}

// realized works the settings back from the rounded weights alone.
func (m *maker) realized(b *Batch) discharge.Settings {
	s := maps.Clone(m.Load.Settings)
	kg := float64(b.Garments / chem.Kilogram)
	part := func(p string) func(Item) bool {
		return func(i Item) bool { return i.Part == p && !i.Info }
	}
	oxidizer := func(i Item) bool { return i.oxidizer && !i.Info }
	purity := 1.0
	if m.Store.Purity != nil {
		purity = float64(*m.Store.Purity)
	}
	switch m.form {
	case soaked, sprayed:
		solid := float64(take(m.Shared, oxidizer).Mass) * purity
		v := float64(take(m.Shared, func(i Item) bool { return !i.Info && i.Take.Volume > 0 }).Volume)
		if m.form == soaked {
			solid += float64(m.Soak.LeftStrength.In(m.Soak.Left))
			s["ratio"] = float64(take(b.Items, part("carrier")).Mass/chem.Kilogram) / kg
		} else {
			exact := 0.0
			for _, i := range b.Items {
				if i.Part == "spray" {
					exact += float64(i.Exact.Volume)
				}
			}
			s["add_on_gsm"] *= float64(take(b.Items, part("spray")).Volume) / exact
		}
		s["strength_gpl"] = solid / v
	case charged:
		carrier := float64(take(b.Items, part("carrier")).Mass / chem.Kilogram)
		s["ratio"] = carrier / kg
		active := float64(take(b.Items, oxidizer).Mass/chem.Kilogram) * purity
		if m.Store.Carrier != nil {
			active = float64(take(b.Items, oxidizer).Mass/chem.Kilogram) * float64(*m.Store.Carrier)
		}
		s["strength_pct"] = 100 * active / carrier
	case bath:
		q := take(b.Items, oxidizer)
		wet, _ := m.moisture()
		v := float64(take(b.Items, part("bath")).Volume) + float64(wet.Of(b.Garments)/chem.Kilogram)
		active := float64(m.Store.Strength.In(q.Volume))
		if m.oxidizer == "hypochlorite" {
			active += float64(m.Store.Chlorine.Of(q.Mass))
		} else {
			active += purity * float64(q.Mass)
		}
		s["liquor_ratio"] = v / kg
		s["strength_gpl"] = active / v
	case product:
		wet, _ := m.moisture()
		s["liquor_ratio"] = (float64(take(b.Items, part("bath")).Volume) + float64(wet.Of(b.Garments)/chem.Kilogram)) / kg
		s["strength_pct"] = 100 * float64(take(b.Items, oxidizer).Mass/chem.Kilogram) / kg
	}
	return s
}

// window sets the time about the set one in which the expected shade stays within
// the tolerance of that at the set time. As that of a suggestion it ends where the
// tested times end: beyond them it would be a guess. Where the set time lies there
// itself, it reaches to half or twice of it at most and is called a guess.
func (m *maker) window(want colorimetry.Lab) {
	const column = "time_min"
	t0, ok := m.Load.Settings[column]
	f, known := m.tested(column)
	switch {
	case !ok || !known:
		return
	case f.Fixed:
		m.warn("all trials ran %.4g min: how long the time for unloading is cannot be told", f.Lo)
		return
	}
	s := m.Load.Settings.Clone()
	var diff colorimetry.CIEDE2000
	inside := func(t float64) bool {
		s[column] = t
		p, err := m.Model.Predict(s)
		return err == nil && diff.Diff(want, p.Shade) <= m.tolerance()
	}
	edge := func(far float64) float64 {
		if inside(far) {
			return far
		}
		a, b := t0, far
		for range 30 {
			if mid := (a + b) / 2; inside(mid) {
				a = mid
			} else {
				b = mid
			}
		}
		return a
	}
	from, to := f.Lo, f.Hi
	if t0 < from {
		from = t0 / 2
	}
	if t0 > to {
		to = 2 * t0
	}
	m.Window = [2]float64{edge(from), edge(to)}
	m.WindowNote = fmt.Sprintf("the expected shade stays within ΔE00 %.3g of that at %.4g min", m.tolerance(), t0)
	switch w := m.Window; {
	case t0 < f.Lo || t0 > f.Hi:
		m.WindowNote += fmt.Sprintf("; a guess, since trials ran %.4g to %.4g min", f.Lo, f.Hi)
	case w[0] == f.Lo && w[1] == f.Hi:
		m.WindowNote += "; no trial ran shorter or longer"
	case w[0] == f.Lo:
		m.WindowNote += "; no trial ran shorter"
	case w[1] == f.Hi:
		m.WindowNote += "; no trial ran longer"
	}
}

// tested returns what trials had of a factor.
func (m *maker) tested(column string) (discharge.FactorRange, bool) {
	for _, f := range m.Model.Factors() {
		if f.Column == column {
			return f, true
		}
	}
	return discharge.FactorRange{}, false
}
