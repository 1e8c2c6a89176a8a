package quality_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
)

// Trials with one panel a lot say nothing of how panels scatter, so the verdict with
// their model is the one without a model, and says what it rests on; two panels in
// any lot are a measurement.
func TestTrialsOfOnePanelKnowNoScatter(t *testing.T) {
	table, err := discharge.ReadTable("trials.csv", bytes.NewReader(demo.PelletTrials()), nil)
	require.NoError(t, err)
	fit := func(panels func(lot int) int) *discharge.Model {
		some := *table
		some.Lots = nil
		n := 0
		for _, l := range table.Lots {
			if l.Role == discharge.Trial {
				l.Panels = l.Panels[:panels(n)]
				n++
			}
			some.Lots = append(some.Lots, l)
		}
		m, err := discharge.Fit(&some, nil)
		require.NoError(t, err)
		return m
	}
	one := fit(func(int) int { return 1 })
	require.False(t, one.PanelsMeasured())
	require.Contains(t, strings.Join(one.Summary().Words, "\n"), "is assumed, not measured: no lot has two panels")
	two := fit(func(lot int) int { return 1 + (lot+1)%2 })
	require.True(t, two.PanelsMeasured())
	require.NotContains(t, strings.Join(two.Summary().Words, "\n"), "assumed, not measured")

	lots, err := discharge.ReadTable("lots.csv", bytes.NewReader(demo.PelletProduction()), nil)
	require.NoError(t, err)
	list, err := discharge.ReadTargets("standard.csv", bytes.NewReader(demo.PelletStandard()), nil)
	require.NoError(t, err)
	judge := func(m *discharge.Model) *quality.Report {
		r, err := quality.Judge(lots, lots.Lots[0], list.Items[0], &quality.Options{Model: m})
		require.NoError(t, err)
		return r
	}
	got := judge(one)
	require.Equal(t, judge(nil).Verdict, got.Verdict)
	require.True(t, got.Verdict.UsesTypicalScatter)
	require.Contains(t, strings.Join(got.Notes, "\n"), "as no trial lot has two panels, the scatter within lots starts from common practice (no source) and 4 panels")
	require.True(t, judge(two).Verdict.UsesTrialsScatter)
}
