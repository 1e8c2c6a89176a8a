package discharge

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
)

func demoTrials(t *testing.T) *Table {
	t.Helper()
	tab, err := ReadTable("demo", bytes.NewReader(demo.PelletTrials()), nil)
	require.NoError(t, err)
	return tab
}

// demoLab are the demo's trials without their spectra, for tests that move colors.
func demoLab(t *testing.T) *Table {
	tab := demoTrials(t)
	tab.Kind, tab.Grid = LabKind, colorimetry.Grid{}
	for i := range tab.Lots {
		for _, p := range tab.Lots[i].Panels {
			for k := range p.Readings {
				p.Readings[k].Spectrum = nil
			}
		}
	}
	return tab
}

// demoFitting is a model of the demo's trials and its candidates at work on them.
func demoFitting(t *testing.T) (*Model, *fitting) {
	t.Helper()
	table := demoTrials(t)
	m, err := Fit(table, nil)
	require.NoError(t, err)
	o, err := observe(table, site{})
	require.NoError(t, err)
	return m, m.fitting(t.Context(), o, m.links())
}

// subset keeps base, blank, white and the trial lots with these indices.
func subset(t *Table, keep ...int) *Table {
	out := *t
	out.Lots = nil
	n := 0
	for _, l := range t.Lots {
		if l.Role == Trial {
			n++
			found := false
			for _, k := range keep {
				found = found || k == n-1
			}
			if !found {
				continue
			}
		}
		out.Lots = append(out.Lots, l)
	}
	return &out
}

// An offset written into the spline must come out of it as the cubic that it
// is, everywhere on the path.
func TestOffsetsAreExactInTheSpline(t *testing.T) {
	p := shadePath{lo: -0.04, hi: 1.07}
	h := (p.hi - p.lo) / pathSegments
	for i := range offsets {
		c := make([]float64, pathBasis)
		for k := range c {
			c[k] = offsetCoef(p.lo, h, k)[i]
		}
		p.coef = [][]float64{c}
		for s := p.lo; s <= p.hi; s += 0.01 {
			require.InDelta(t, offsetRow(s)[i], p.channel(0, s), 1e-12)
		}
	}
}

// Lots of the very fabric on which the model was learned: no shift but what
// lots scatter, and hardly another prediction.
func TestRecalibrateOnTheSameFabric(t *testing.T) {
	tab := demoTrials(t)
	m, err := Fit(tab, nil)
	require.NoError(t, err)
	var before bytes.Buffer
	require.NoError(t, m.Save(&before, "test"))
	n, err := m.Recalibrate(subset(tab, 4, 11), nil)
	require.NoError(t, err)
	r := n.Recalibration()
	require.Len(t, r.Lots, 2)
	assert.Less(t, math.Abs(r.Shift), 2*r.ShiftSD)
	assert.Less(t, r.ShiftSD, DefaultShiftSD, "lots say something")
	s := Settings{"strength_pct": 6.5, "ratio": 1.4, "time_min": 12}
	a, err := m.Predict(s)
	require.NoError(t, err)
	b, err := n.Predict(s)
	require.NoError(t, err)
	assert.InDelta(t, a.Shade.L, b.Shade.L, 2*math.Sqrt(b.MeanCovariance[0][0]))
	assert.Greater(t, b.MeanCovariance[0][0], a.MeanCovariance[0][0], "the shift is not known exactly")
	var after, saved, again bytes.Buffer
	require.NoError(t, m.Save(&after, "test"))
	assert.Equal(t, before.String(), after.String(), "the old model has changed")

	require.NoError(t, n.Save(&saved, "test"))
	text := saved.String()
	loaded, err := Load(&saved)
	require.NoError(t, err)
	require.NoError(t, loaded.Save(&again, "test"))
	assert.Equal(t, text, again.String())
	c, err := loaded.Predict(s)
	require.NoError(t, err)
	assert.Equal(t, b, c)
	assert.NotEqual(t, m.digest, n.digest)
}

// A fabric that needs the same dose in other minutes: lots run at t look like
// lots of the old fabric at f·t. The shift is the exponent of time times ln f.
func TestRecalibrateFindsAKnownShift(t *testing.T) {
	tab := demoTrials(t)
	m, err := Fit(tab, nil)
	require.NoError(t, err)
	const faster = 0.6
	for _, want := range []float64{faster, 1 / faster} {
		sub := subset(tab, 3, 5, 7, 9, 11, 13)
		for i := range sub.Lots {
			if l := &sub.Lots[i]; l.Role == Trial {
				l.Settings = l.Settings.Clone()
				l.Settings["time_min"] *= want
			}
		}
		n, err := m.Recalibrate(sub, &RecalibrateOptions{ShiftSD: 0.5})
		require.NoError(t, err)
		exponent := m.Summary().Parameters
		power := 0.0
		for _, p := range exponent {
			if p.Name == "exponent time_min" {
				power = p.Value
			}
		}
		require.Greater(t, power, 0.2)
		r := n.Recalibration()
		assert.InDelta(t, -power*math.Log(want), r.Shift, 3*r.ShiftSD)
		assert.Greater(t, math.Abs(r.Shift), 1.5*r.ShiftSD)
		for _, f := range []string{"strength_pct", "ratio", "time_min"} {
			last := math.Inf(-1)
			for _, x := range []float64{0.7, 0.85, 1, 1.2, 1.4} {
				s := Settings{"strength_pct": 6.5, "ratio": 1.4, "time_min": 12}
				s[f] *= x
				p, err := n.Predict(s)
				require.NoError(t, err)
				require.GreaterOrEqual(t, p.Shade.L, last)
				last = p.Shade.L
			}
		}
	}
}

func TestRecalibrateRefuses(t *testing.T) {
	tab := demoTrials(t)
	m, err := Fit(tab, nil)
	require.NoError(t, err)
	_, err = m.Recalibrate(subset(tab), nil)
	require.ErrorIs(t, err, ErrTooFewLots)
	_, err = m.Recalibrate(subset(tab, 1), &RecalibrateOptions{ShiftSD: -1})
	require.Error(t, err)
	_, err = m.Recalibrate(subset(tab, 1), &RecalibrateOptions{ShiftSD: math.NaN()})
	require.Error(t, err)
	other := demoTrials(t)
	other.Viewing.Observer = colorimetry.TwoDegree
	_, err = m.Recalibrate(other, nil)
	require.ErrorContains(t, err, "not that of the spectrum under D65/2")
	require.NoError(t, other.ColorSpectra())
	_, err = m.Recalibrate(other, nil)
	require.ErrorIs(t, err, ErrViewing)
	lacks := subset(tab, 1)
	for i := range lacks.Lots {
		if lacks.Lots[i].Role == Trial {
			lacks.Lots[i].Settings = Settings{"strength_pct": 5}
		}
	}
	_, err = m.Recalibrate(lacks, nil)
	var row *RowError
	require.ErrorAs(t, err, &row)
	require.Equal(t, "demo", row.File)
	wrong := subset(tab, 1)
	for i := range wrong.Lots {
		wrong.Lots[i].Process = "ozone-gas"
	}
	_, err = m.Recalibrate(wrong, nil)
	require.ErrorIs(t, err, ErrWrongProcess)
}

// Lab readings carry a model learned from spectra over as well.
func TestRecalibrateFromLab(t *testing.T) {
	tab := demoTrials(t)
	m, err := Fit(tab, nil)
	require.NoError(t, err)
	lab := subset(tab, 4, 11)
	spectral, err := m.Recalibrate(lab, nil)
	require.NoError(t, err)
	lab.Kind, lab.Grid = LabKind, colorimetry.Grid{}
	for i := range lab.Lots {
		lab.Lots[i].Panels = slices.Clone(lab.Lots[i].Panels)
		for j := range lab.Lots[i].Panels {
			p := &lab.Lots[i].Panels[j]
			p.Readings = slices.Clone(p.Readings)
			for k := range p.Readings {
				p.Readings[k].Spectrum = nil
			}
		}
	}
	n, err := m.Recalibrate(lab, nil)
	require.NoError(t, err)
	s := Settings{"strength_pct": 6.5, "ratio": 1.4, "time_min": 12}
	a, err := spectral.Predict(s)
	require.NoError(t, err)
	b, err := n.Predict(s)
	require.NoError(t, err)
	assert.InDelta(t, a.Shade.L, b.Shade.L, 1e-9)
	assert.InDelta(t, a.Shade.B, b.Shade.B, 1e-9)
	var buf bytes.Buffer
	require.NoError(t, n.Save(&buf, "test"))
	_, err = Load(&buf)
	require.NoError(t, err)
}

// Next lots inside the trials' range are not called outside it, and ones
// that the bounds ask for beyond it are.
func TestPlanSaysWhenItLeavesTheRegion(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	p, err := m.Plan(&PlanOptions{Seed: 1})
	require.NoError(t, err)
	require.Empty(t, p.Warnings)
	require.Less(t, p.After.DeltaE, p.Before.DeltaE)
	p, err = m.Plan(&PlanOptions{Seed: 1, Bounds: map[string]Range{"time_min": {Lo: 40, Hi: 50}}})
	require.NoError(t, err)
	require.Len(t, p.Warnings, 1)
	again, err := m.Plan(&PlanOptions{Seed: 1, Bounds: map[string]Range{"time_min": {Lo: 40, Hi: 50}}})
	require.NoError(t, err)
	require.Equal(t, p, again)
}

// Predict must not allocate, with tensile loss and after recalibration.
func TestPredictDoesNotAllocate(t *testing.T) {
	tab := demoTrials(t)
	m, err := Fit(tab, nil)
	require.NoError(t, err)
	n, err := m.Recalibrate(subset(tab, 4, 11), nil)
	require.NoError(t, err)
	s := Settings{"strength_pct": 6.5, "ratio": 1.4, "time_min": 12}
	for _, x := range []*Model{m, n} {
		require.Zero(t, testing.AllocsPerRun(100, func() {
			if _, err := x.Predict(s); err != nil {
				t.Fatal(err)
			}
		}))
	}
}

// What never varied before and differs now cannot be told from a shift: that is said.
func TestRecalibrateSaysWhatItTakesForAShift(t *testing.T) {
	table := demoTrials(t)
	for i := range table.Lots {
		if l := &table.Lots[i]; l.Role == Trial {
			l.Settings = l.Settings.Clone()
			l.Settings["rpm"] = 20
		}
	}
	m, err := Fit(table, nil)
	require.NoError(t, err)
	warned := func(rpm float64) bool {
		two := *table
		two.Lots = nil
		for _, l := range table.ByRole(Trial)[:2] {
			l.Settings = l.Settings.Clone()
			l.Settings["rpm"] = rpm
			two.Lots = append(two.Lots, l)
		}
		n, err := m.Recalibrate(&two, nil)
		require.NoError(t, err)
		return slices.ContainsFunc(n.Warnings(), func(err error) bool { return strings.Contains(err.Error(), "another rpm") })
	}
	assert.False(t, warned(20))
	assert.True(t, warned(40))
}

// Far outside the trials, where every curve stands at base or white, nothing is surer
// than at the edge of what was run.
func TestFarOutsideNothingIsSurer(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	within := Settings{}
	for _, f := range m.Factors() {
		within[f.Column] = f.Middle
	}
	for _, f := range m.Factors() {
		if f.Fixed || !f.Chosen {
			continue
		}
		most := 1e6 * f.Hi
		if f.Column == "strength_pct" {
			most = 100 // there is no more
		}
		for far, edge := range map[float64]float64{most: f.Hi, 1e-6 * f.Lo: f.Lo} {
			s := within.Clone()
			s[f.Column] = far
			out, err := m.Predict(s)
			require.NoError(t, err)
			require.True(t, out.Extrapolated)
			s[f.Column] = edge
			at, err := m.Predict(s)
			require.NoError(t, err)
			require.False(t, at.Extrapolated)
			assert.GreaterOrEqual(t, out.LotCovariance[0][0], at.LotCovariance[0][0]*(1-1e-9), "%s %g", f.Column, far)
			assert.GreaterOrEqual(t, out.DeltaEP95, at.DeltaEP95*(1-1e-9), "%s %g", f.Column, far)
		}
	}
}

// A lot is never surer than the mean of all lots, far outside the trials either.
func TestLotsAreNoSurerThanTheirMean(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(1, 2))
	for range 20000 {
		s := Settings{"strength_pct": math.Exp(4.6 * rng.Float64()), "ratio": math.Exp(4*rng.Float64() - 2), timeColumn: math.Exp(6 * rng.Float64())}
		p, err := m.Predict(s)
		require.NoError(t, err)
		for i := range 3 {
			require.GreaterOrEqual(t, p.LotCovariance[i][i], p.MeanCovariance[i][i]*(1-1e-9), "%v, channel %d", s, i)
		}
	}
}

// A factor that the trials chose and a new lot leaves out is not passed over, here
// nor by FillIn, nor is a shift far beyond what is expected.
func TestRecalibrateSaysWhatLotsLeaveOut(t *testing.T) {
	table, err := ReadTable(demo.HypochloriteTrialFile, bytes.NewReader(demo.HypochloriteTrials()), nil)
	require.NoError(t, err)
	m, err := Fit(table, nil)
	require.NoError(t, err)
	lot := table.ByRole(Trial)[3]
	full, said := m.FillIn(lot.Settings)
	assert.Equal(t, lot.Settings, full)
	assert.Empty(t, said)
	without := lot
	without.Settings = lot.Settings.Clone()
	delete(without.Settings, "temp_c")
	full, said = m.FillIn(without.Settings)
	require.Len(t, said, 1)
	assert.Contains(t, said[0], "temp_c is not given")
	for _, f := range m.Factors() {
		if f.Column == "temp_c" {
			assert.InDelta(t, f.Middle, full["temp_c"], 0.05)
		}
	}
	recalibrated := func(l Lot) string {
		less := *table
		less.Lots = []Lot{l}
		n, err := m.Recalibrate(&less, nil)
		require.NoError(t, err)
		return fmt.Sprint(n.Warnings()[len(m.Warnings()):])
	}
	assert.Contains(t, recalibrated(without), "temp_c is not given")
	assert.NotContains(t, recalibrated(lot), "temp_c is not given")
	other := lot
	other.Settings = lot.Settings.Clone()
	other.Settings["time_min"] /= 3
	assert.Contains(t, recalibrated(other), "check strength, minutes and units")
	assert.NotContains(t, recalibrated(lot), "check strength, minutes and units")
}

// Lots that the model knows already would be counted twice.
func TestRecalibrateByTheSameLotsTwiceIsWarnedOf(t *testing.T) {
	trials, err := ReadTable("trials.csv", bytes.NewReader(demo.PelletTrials()), nil)
	require.NoError(t, err)
	lots, err := ReadTable("new.csv", bytes.NewReader(demo.PelletNewFabric()), nil)
	require.NoError(t, err)
	m, err := Fit(trials, nil)
	require.NoError(t, err)
	twice := func(m *Model) bool {
		return slices.ContainsFunc(m.Warnings(), func(w error) bool { return strings.Contains(w.Error(), "counts twice") })
	}
	once, err := m.Recalibrate(lots, nil)
	require.NoError(t, err)
	require.False(t, twice(once))
	again, err := once.Recalibrate(lots, nil)
	require.NoError(t, err)
	require.True(t, twice(again))
	own, err := m.Recalibrate(trials, nil)
	require.NoError(t, err)
	require.True(t, twice(own))
}
