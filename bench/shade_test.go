package bench

import (
	"bytes"
	"testing"
	"time"

	"github.com/lucasb-eyer/go-colorful"
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
	yardstick(b)
}

// yardstick reports the time against one CIEDE2000 of go-colorful, measured in
// the same run: machines and their neighbors differ.
func yardstick(b *testing.B) {
	ours := float64(b.Elapsed().Nanoseconds()) / float64(b.N)
	c, d := colorful.Lab(0.48, -0.026, -0.09), colorful.Lab(0.5, -0.02, -0.08)
	const n = 100_000
	sum := 0.0
	start := time.Now()
	for range n {
		sum += c.DistanceCIEDE2000(d)
	}
	peer := float64(time.Since(start).Nanoseconds()) / n
	if sum <= 0 {
		b.Fatal("no difference")
	}
	b.ReportMetric(ours/peer, "ours/ciede2000")
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
	yardstick(b)
}
