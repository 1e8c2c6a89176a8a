package quality_test

import (
	"bytes"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge/quality"
)

// Counts by hand.
func TestSummarize(t *testing.T) {
	l := &quality.Ledger{}
	add := func(lot, day string, v quality.Decision, cause string, deltaE float64, dose *float64) quality.Entry {
		e := quality.Entry{Lot: lot, Checked: day + "T10:00:00Z", Process: "p", Fabric: "f", Standard: "S", Tolerance: 1.5, DeltaE: 2 * deltaE, Nearest: &deltaE, Verdict: v, Cause: cause, Panels: 3}
		if dose != nil {
			sd, z := 0.1, *dose/0.1
			e.DoseResidual, e.DoseSD, e.DoseZ = dose, &sd, &z
		}
		require.NoError(t, l.Add(e))
		return e
	}
	up, down := math.Log(1.1), math.Log(1/1.1)
	add("A", "2026-10-31", quality.Accept, "", 9, nil)
	add("B", "2026-11-01", quality.Accept, "", 0.4, &up)
	dark := add("C", "2026-11-02", quality.Reject, string(quality.UnderDischarged), 3, &down)
	add("D", "2026-11-30", quality.MeasureMore, string(quality.UnderDischarged), 1.4, nil)
	add("E", "2026-12-01", quality.Reject, string(quality.BrownCast), 9, nil)
	wrong := add("F", "2026-11-03", quality.Reject, string(quality.OverDischarged), 8, nil)

	// C gets a second pass and keeps its first verdict and cause; F was held against a wrong standard.
	light := 0.5
	dark.Verdict, dark.Cause, dark.Nearest = quality.Accept, "", &light
	old, err := l.Rework(dark)
	require.NoError(t, err)
	require.Equal(t, quality.Reject, old.Verdict)
	wrong.Verdict, wrong.Cause, wrong.Nearest = quality.Accept, "", &light
	old, err = l.Replace(wrong)
	require.NoError(t, err)
	require.Equal(t, quality.Reject, old.Verdict)
	require.Len(t, l.Entries, 6)
	require.Empty(t, l.Entries[5].First)
	require.Equal(t, quality.Reject, l.Entries[2].First)
	require.Equal(t, string(quality.UnderDischarged), l.Entries[2].FirstCause)

	// Written and read, November alone.
	data, err := l.Bytes()
	require.NoError(t, err)
	back, err := quality.ReadLedger("ledger.csv", bytes.NewReader(data))
	require.NoError(t, err)
	require.Equal(t, l.Entries, back.Entries)
	november, err := back.During(time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC), time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC))
	require.NoError(t, err)
	s := november.Summarize()
	require.Equal(t, quality.Tally{Lots: 4, Accepted: 3, Open: 1, Rescued: 1}, s.Tally)
	require.Equal(t, []string{"D"}, s.OpenLots)
	require.Equal(t, []quality.CauseTally{{Cause: "under-discharged", Lots: []string{"C", "D"}}}, s.Causes)
	require.Len(t, s.Groups, 1)
	g := s.Groups[0]
	require.Equal(t, s.Tally, g.Tally)
	require.Equal(t, []float64{1.5}, g.Tolerances)
	require.InDelta(t, 0.5, g.MedianDeltaE, 1e-12) // of 0.4, 0.5, 0.5 and 1.4
	require.Equal(t, 2, g.Doses)
	require.InDelta(t, 0, g.MeanDose, 1e-12)
	require.InDelta(t, up*math.Sqrt2, g.SDDose, 1e-12)
	require.Equal(t, "2026-11-01T10:00:00Z", s.From)

	none := &quality.Ledger{Entries: []quality.Entry{{Lot: "X", Checked: "yesterday"}}}
	_, err = none.During(time.Now(), time.Time{})
	require.ErrorContains(t, err, "yesterday")
}
