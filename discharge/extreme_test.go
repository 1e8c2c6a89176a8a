package discharge

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// Settings that no one would dial, but that are numbers, give numbers: whatever
// is predicted is finite, from models of every schema.
func TestExtremeSettingsGiveNumbers(t *testing.T) {
	models := map[string]*Model{}
	demo, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	models["demo"] = demo
	files, err := filepath.Glob("testdata/*.json")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, name := range files {
		f, err := os.Open(name)
		require.NoError(t, err)
		models[name], err = Load(f)
		require.NoError(t, err, name)
		require.NoError(t, f.Close())
	}
	extremes := []float64{math.MaxFloat64, 1e300, 1e100, 1e20, 1e-9, 1e-15, 1e-17, 1e-20, 1e-300, math.SmallestNonzeroFloat64, 0, -1e-300, -1e100, -math.MaxFloat64, -273.14, 1e6}
	for name, m := range models {
		usual := Settings{}
		for _, f := range m.Factors() {
			usual[f.Column] = f.Middle
		}
		check := func(s Settings) {
			p, err := m.Predict(s)
			if err != nil {
				return // said to be no setting
			}
			l := p.TensileLossPct
			numbers := []float64{p.Shade.L, p.Shade.A, p.Shade.B, p.Level, p.DeltaEP95, l.Mean, l.Lo, l.Hi}
			for i := range 3 {
				numbers = append(append(numbers, p.MeanCovariance[i][:]...), p.LotCovariance[i][:]...)
			}
			require.True(t, finite(numbers...), "%s at %v: %+v", name, s, p)
		}
		for a := range usual {
			for b := range usual {
				for _, x := range extremes {
					for _, y := range extremes {
						s := usual.Clone()
						s[a], s[b] = x, y
						check(s)
					}
				}
			}
		}
	}
}
