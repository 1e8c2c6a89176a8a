package quality

import (
	"bytes"
	"runtime"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
)

// One model serves 64 goroutines that predict, suggest and check at once: no
// race (run with -race), every answer equal to the one that a single goroutine
// gets, and no goroutine left behind.
func TestOneModelServesManyGoroutines(t *testing.T) {
	trials, err := discharge.ReadTable(demo.PelletTrialsFile, bytes.NewReader(demo.PelletTrials()), nil)
	require.NoError(t, err)
	m, err := discharge.Fit(trials, nil)
	require.NoError(t, err)
	lots, err := discharge.ReadTable(demo.PelletProductionFile, bytes.NewReader(demo.PelletProduction()), nil)
	require.NoError(t, err)
	targets, err := discharge.ReadTargets(demo.PelletStandardFile, bytes.NewReader(demo.PelletStandard()), nil)
	require.NoError(t, err)
	target := targets.Items[0]
	settings := discharge.Settings{"strength_pct": 6.5, "ratio": 1.4, "time_min": 12}
	type answers struct {
		p discharge.Prediction
		s discharge.Suggestions
		r *Report
	}
	ask := func() (a answers, err error) {
		if a.p, err = m.Predict(settings); err != nil {
			return a, err
		}
		if a.s, err = m.Suggest(target, &discharge.SuggestOptions{Tolerance: 1.5, Bounds: map[string]discharge.Range{"ratio": {Lo: 1.4, Hi: 1.4}}}); err != nil {
			return a, err
		}
		a.r, err = Judge(lots, lots.Lots[0], target, &Options{Model: m})
		return a, err
	}
	want, err := ask()
	require.NoError(t, err)
	before := runtime.NumGoroutine()
	var all sync.WaitGroup
	var got [64]answers
	var errs [64]error
	for i := range got {
		all.Go(func() { got[i], errs[i] = ask() })
	}
	all.Wait()
	for i := range got {
		require.NoError(t, errs[i])
		require.Equal(t, want, got[i])
	}
	settled(t, before)
}

// settled waits for goroutines that are just ending.
func settled(t *testing.T, before int) {
	t.Helper()
	for range 100 {
		if runtime.NumGoroutine() <= before {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	stacks := make([]byte, 1<<16)
	t.Fatalf("%d goroutines before, %d after:\n%s", before, runtime.NumGoroutine(), stacks[:runtime.Stack(stacks, true)])
}
