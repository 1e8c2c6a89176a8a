package discharge_test

import (
	"bytes"
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge"
)

// Model files written by earlier versions load, and predict what those versions
// predicted from them. The expected numbers are output of the versions that
// wrote the files, on purpose: what is tested is that a file keeps its meaning,
// not that the predictions are right. Nine digits, because compilers may fuse
// multiplications and additions on other machines, and sums may be reordered.
func TestModelFilesOfEarlierVersions(t *testing.T) {
	for _, name := range []string{"invented-schema-1", "invented-schema-2", "invented-schema-2-supplied", "invented-schema-2-joint", "invented-schema-2-spent", "invented-schema-2-half-order", "invented-schema-2-cast"} {
		file, err := os.ReadFile("testdata/" + name + ".json")
		require.NoError(t, err)
		m, err := discharge.Load(bytes.NewReader(file))
		require.NoError(t, err, name)
		if strings.HasSuffix(name, "-spent") || strings.HasSuffix(name, "-half-order") {
			assert.Contains(t, strings.Join(m.Summary().Words, "; "), "oxidizer spends itself", name)
		}
		data, err := os.ReadFile("testdata/" + name + "-predictions.csv")
		require.NoError(t, err)
		rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
		require.NoError(t, err)
		require.Equal(t, []string{"strength_pct", "ratio", "time_min", "L", "a", "b", "level", "delta_e_p95", "var_L", "var_mean_L", "cov_Lb"}, rows[0])
		require.Len(t, rows, 10)
		for _, row := range rows[1:] {
			var v [11]float64
			for j := range v {
				v[j], err = strconv.ParseFloat(row[j], 64)
				require.NoError(t, err)
			}
			p, err := m.Predict(discharge.Settings{"strength_pct": v[0], "ratio": v[1], "time_min": v[2]})
			require.NoError(t, err)
			for j, got := range []float64{p.Shade.L, p.Shade.A, p.Shade.B, p.Level, p.DeltaEP95, p.LotCovariance[0][0], p.MeanCovariance[0][0], p.LotCovariance[0][2]} {
				assert.InDelta(t, v[3+j], got, 1e-9*math.Max(1, math.Abs(v[3+j])), "%s, %v, %s", name, row[:3], rows[0][3+j])
			}
		}
	}
}
