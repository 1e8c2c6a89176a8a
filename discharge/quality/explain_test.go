package quality_test

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
)

// modelOf is that of trials of the demo.
func modelOf(t *testing.T, name string, trials []byte) *discharge.Model {
	t.Helper()
	table, err := discharge.ReadTable(name, bytes.NewReader(trials), nil)
	require.NoError(t, err)
	m, err := discharge.Fit(table, nil)
	require.NoError(t, err)
	return m
}

func pelletModel(t *testing.T) *discharge.Model {
	return modelOf(t, demo.PelletTrialsFile, demo.PelletTrials())
}

// lotOf is a production lot of panels with one reading each.
func lotOf(m *discharge.Model, panels ...colorimetry.Lab) (*discharge.Table, discharge.Lot) {
	lot := discharge.Lot{ID: "P", Role: discharge.Production, Process: m.Process().ID}
	for i, c := range panels {
		lot.Panels = append(lot.Panels, discharge.Panel{ID: string(rune('1' + i)), Readings: []discharge.Reading{{Lab: c}}})
	}
	table := labTable(lot)
	table.Viewing = m.Viewing()
	return table, lot
}

// The panels of an uneven lot lie on a bent path, so their mean lies beside it. That
// is no dose: a mean as light as the standard has its level, as the definition of
// the level says.
func TestUnevenLotHasTheLevelOfItsLightness(t *testing.T) {
	m := pelletModel(t)
	standard := discharge.Target{ID: "S", Viewing: m.Viewing(), Lab: m.ShadeAt(0.5)}
	table, lot := lotOf(m, m.ShadeAt(0.3), m.ShadeAt(0.44), m.ShadeAt(0.56), m.ShadeAt(0.7))
	r, err := quality.Judge(table, lot, standard, &quality.Options{Model: m})
	require.NoError(t, err)
	require.Contains(t, []quality.Fault{quality.UnevenLot, quality.HotSpots}, r.Causes[0].Fault)
	assert.InDelta(t, 0.5, r.Split.Level, 1e-9)
	assert.InDelta(t, r.Split.StandardLevel, r.Split.Level, 1e-3)
	for _, c := range r.Causes {
		assert.NotEqual(t, quality.OverDischarged, c.Fault)
		assert.NotEqual(t, quality.UnderDischarged, c.Fault)
	}
}

// A lot of a bath, about as light as its standard, in a hue that no cast of a bath
// has, is not called a matter of dose.
func TestAStrangeHueIsNoDose(t *testing.T) {
	m := modelOf(t, demo.HypochloriteTrialFile, demo.HypochloriteTrials())
	c := m.ShadeAt(0.5)
	standard := discharge.Target{ID: "S", Viewing: m.Viewing(), Lab: c}
	off := colorimetry.Lab{L: c.L - 0.5, A: c.A + 2, B: c.B - 2}
	table, lot := lotOf(m, off, off, off, off)
	r, err := quality.Judge(table, lot, standard, &quality.Options{Model: m})
	require.NoError(t, err)
	require.Equal(t, quality.Reject, r.Verdict.Decision)
	require.NotEmpty(t, r.Causes)
	for _, x := range r.Causes {
		assert.NotEqual(t, quality.OverDischarged, x.Fault, x.Evidence)
	}
}

// A lot on the path that is off by less than its panels tell is a matter of dose,
// in doubt, and not of a standard that dose cannot reach.
func TestSmallDoubtOnThePathIsDose(t *testing.T) {
	m := pelletModel(t)
	standard := discharge.Target{ID: "S", Viewing: m.Viewing(), Lab: m.ShadeAt(0.5)}
	table, lot := lotOf(m, m.ShadeAt(0.475))
	r, err := quality.Judge(table, lot, standard, &quality.Options{Model: m})
	require.NoError(t, err)
	require.Equal(t, quality.MeasureMore, r.Verdict.Decision)
	require.Len(t, r.Causes, 1)
	assert.Equal(t, quality.UnderDischarged, r.Causes[0].Fault)
	assert.Contains(t, r.Causes[0].Evidence, "no more than these panels leave open")
	assert.Contains(t, r.Causes[0].Remedy, "more panels")
}

// A base lighter than usual, though not by enough for another fabric, is brought up
// where the lot is too light.
func TestALighterBaseIsBroughtUp(t *testing.T) {
	m := pelletModel(t)
	standard := discharge.Target{ID: "S", Viewing: m.Viewing(), Lab: m.ShadeAt(0.5)}
	lighter := m.ShadeAt(0.56)
	table, lot := lotOf(m, lighter, lighter, lighter, lighter)
	base := m.ShadeAt(0)
	base.L += 2
	opt := &quality.Options{Model: m, Base: []discharge.Lot{{ID: "P", Role: discharge.Base, Panels: []discharge.Panel{{ID: "b", Readings: []discharge.Reading{{Lab: base}}}}}}}
	r, err := quality.Judge(table, lot, standard, opt)
	require.NoError(t, err)
	require.Equal(t, quality.OverDischarged, r.Causes[0].Fault)
	assert.Contains(t, r.Causes[0].Evidence, "L* +2.00")
	base.L -= 1.8
	opt.Base[0].Panels[0].Readings[0].Lab = base
	r, err = quality.Judge(table, lot, standard, opt)
	require.NoError(t, err)
	assert.NotContains(t, r.Causes[0].Evidence, "the base of this load")
}

// A cast must come off before a lack of dose can be told, so it comes first and no
// second pass is advised beside it.
func TestACastComesBeforeDose(t *testing.T) {
	r := newRoom(t, 0, "permanganate-pellet", 5)
	residue := func(nm float64) float64 { return 0.1 + 0.9*((700-nm)/300)*((700-nm)/300) }
	settings, ok := r.at(2*r.scatter, false)
	require.True(t, ok)
	_, lot := r.trueLot(settings)
	lot = r.addCast(lot, r.castOf(3*r.scatter, residue), residue)
	rep := r.judge(t, lot, nil, r.scatter)
	require.NotEmpty(t, rep.Causes)
	require.Equal(t, quality.BrownCast, rep.Causes[0].Fault)
	require.False(t, rep.Correction.Possible)
	for _, c := range rep.Causes {
		if c.Fault == quality.UnderDischarged {
			require.Contains(t, c.Remedy, "cast first")
		}
	}
}
