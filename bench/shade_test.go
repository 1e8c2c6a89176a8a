package bench

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
)

func trials(b testing.TB) *discharge.Table {
	t, err := discharge.ReadTable("demo", bytes.NewReader(demo.PelletTrials()), nil)
	require.NoError(b, err)
	return t
}

func shadeModel(b testing.TB) *discharge.Model {
	m, err := discharge.Fit(trials(b), nil)
	require.NoError(b, err)
	return m
}

// The whole fit of the demo's 18 lots: all candidates, leave-one-lot-out.
func BenchmarkShadeFit(b *testing.B) {
	t := trials(b)
	for b.Loop() {
		if _, err := discharge.Fit(t, nil); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkShadePredict(b *testing.B) {
	m := shadeModel(b)
	s := discharge.Settings{"strength_pct": 6.5, "ratio": 1.4, "time_min": 12}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := m.Predict(s); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkShadeSuggest(b *testing.B) {
	m := shadeModel(b)
	targets, err := discharge.ReadTargets("standard", bytes.NewReader(demo.PelletStandard()), nil)
	require.NoError(b, err)
	for b.Loop() {
		if _, err := m.Suggest(targets.Items[0], nil); err != nil {
			b.Fatal(err)
		}
	}
}
