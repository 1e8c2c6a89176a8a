package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
)

func demoModel(t *testing.T) (*discharge.Model, []byte) {
	t.Helper()
	table, err := discharge.ReadTable(demo.PelletTrialsFile, bytes.NewReader(demo.PelletTrials()), nil)
	require.NoError(t, err)
	model, err := discharge.Fit(table, nil)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, model.Save(&b, "test"))
	return model, b.Bytes()
}

// Every row of the batch is what the model says of it alone.
func TestBatch(t *testing.T) {
	model, file := demoModel(t)
	var in strings.Builder
	in.WriteString("# invented settings\nstrength_pct,ratio,time_min\n")
	for i := range 200 {
		fmt.Fprintf(&in, "%g,%g,%g\n", 4+0.03*float64(i), 1+0.005*float64(i), 6+0.1*float64(i))
	}
	var out bytes.Buffer
	require.NoError(t, run(bytes.NewReader(file), strings.NewReader(in.String()), &out))
	rows, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 201)
	require.Equal(t, []string{"strength_pct", "ratio", "time_min", "L", "a", "b", "delta_e_p95", "extrapolated"}, rows[0])
	for _, r := range rows[1:] {
		var v [7]float64
		for i := range v {
			v[i], err = strconv.ParseFloat(r[i], 64)
			require.NoError(t, err)
		}
		p, err := model.Predict(discharge.Settings{"strength_pct": v[0], "ratio": v[1], "time_min": v[2]})
		require.NoError(t, err)
		require.InDelta(t, p.Shade.L, v[3], 0.0051)
		require.InDelta(t, p.Shade.A, v[4], 0.0051)
		require.InDelta(t, p.Shade.B, v[5], 0.0051)
		require.Equal(t, strconv.FormatBool(p.Extrapolated), r[7])
	}
}

func TestBatchSaysWhichLineIsWrong(t *testing.T) {
	_, file := demoModel(t)
	for in, says := range map[string]string{
		"":                                     "header",
		"strength,ratio,time_min\n1,1,1\n":     `"strength"`,
		"strength_pct,ratio,time_min\n5,1,x\n": "line 2, column time_min",
		"strength_pct,ratio,time_min\n5,1,9\n0,1,9\n": "line 3",
		"strength_pct,ratio\n5,1\n":                   "time_min",
	} {
		var out bytes.Buffer
		require.ErrorContains(t, run(bytes.NewReader(file), strings.NewReader(in), &out), says, in)
	}
	require.ErrorIs(t, run(strings.NewReader("{}"), strings.NewReader(""), &bytes.Buffer{}), discharge.ErrModelFile)
}
