package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"runtime"
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

// Every row of the batch is what the model says of it alone, in order, over
// several pieces.
func TestBatch(t *testing.T) {
	model, file := demoModel(t)
	const rows = 12_000
	var in strings.Builder
	in.WriteString("# invented settings\nid;strength_pct;ratio;time_min\n")
	for i := range rows {
		k := i % 200
		fmt.Fprintf(&in, "n%d;%s\n", i, strings.ReplaceAll(fmt.Sprintf("%g;%g;%g", 4+0.03*float64(k), 1+0.005*float64(k), 6+0.1*float64(k)), ".", ","))
	}
	var out bytes.Buffer
	require.NoError(t, run(t.Context(), bytes.NewReader(file), strings.NewReader(in.String()), &out, io.Discard))
	table, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	require.Len(t, table, rows+1)
	at := map[string]int{}
	for j, c := range table[0] {
		at[c] = j
	}
	for i, r := range table[1:] {
		require.Equal(t, fmt.Sprintf("n%d", i), r[at["id"]])
		if i%97 != 0 {
			continue
		}
		number := func(c string) float64 {
			v, err := strconv.ParseFloat(r[at[c]], 64)
			require.NoError(t, err)
			return v
		}
		p, err := model.Predict(discharge.Settings{"strength_pct": number("strength_pct"), "ratio": number("ratio"), "time_min": number("time_min")})
		require.NoError(t, err)
		require.InDelta(t, p.Shade.L, number("L"), 0.0051)
		require.InDelta(t, p.Shade.A, number("a"), 0.0051)
		require.InDelta(t, p.Shade.B, number("b"), 0.0051)
		require.Equal(t, strconv.FormatBool(p.Extrapolated), r[at["extrapolated"]])
	}
}

func TestBatchQuotesWhatComesFromOutside(t *testing.T) {
	_, file := demoModel(t)
	var out bytes.Buffer
	in := "id,strength_pct,ratio,time_min\n\"a \"\"b\"\", c\",6,1,9\n=1+1,6,1,9\n"
	require.NoError(t, run(t.Context(), bytes.NewReader(file), strings.NewReader(in), &out, io.Discard))
	table, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	require.Equal(t, `a "b", c`, table[1][0])
	require.Equal(t, "'=1+1", table[2][0])
}

func TestBatchSaysWhichLineIsWrong(t *testing.T) {
	_, file := demoModel(t)
	for in, says := range map[string]string{
		"":                                     "header",
		"strength,ratio,time_min\n1,1,1\n":     `did you mean "strength_pct"?`,
		"strength_pct,ratio,time_min\n5,1,x\n": `stdin:2: column "time_min"`,
		"strength_pct,ratio,time_min\n5,1,9\n0,1,9\n": "stdin:3",
		"strength_pct,ratio\n5,1\n":                   "time_min",
	} {
		var out, warnings bytes.Buffer
		err := run(t.Context(), bytes.NewReader(file), strings.NewReader(in), &out, &warnings)
		require.Error(t, err)
		require.Contains(t, err.Error()+warnings.String(), says, in)
	}
	require.ErrorIs(t, run(t.Context(), strings.NewReader("{}"), strings.NewReader(""), &bytes.Buffer{}, io.Discard), discharge.ErrModelFile)
}

// forever is a table without end.
type forever struct{ started bool }

func (f *forever) Read(p []byte) (int, error) {
	if !f.started {
		f.started = true
		return copy(p, "strength_pct,ratio,time_min\n"), nil
	}
	n := 0
	for n+9 <= len(p) {
		n += copy(p[n:], "6,1.4,12\n")
	}
	return n, nil
}

// stopAfter cancels once so much was written.
type stopAfter struct {
	left   int
	cancel context.CancelFunc
}

func (s *stopAfter) Write(p []byte) (int, error) {
	if s.left -= len(p); s.left < 0 {
		s.cancel()
	}
	return len(p), nil
}

// An endless table is written as it comes, in flat memory, until the context ends.
func TestBatchStreamsAndStops(t *testing.T) {
	_, file := demoModel(t)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	before, after := runtime.MemStats{}, runtime.MemStats{}
	runtime.GC()
	runtime.ReadMemStats(&before)
	err := run(ctx, bytes.NewReader(file), &forever{}, &stopAfter{left: 2 << 20, cancel: cancel}, io.Discard)
	require.ErrorIs(t, err, context.Canceled)
	runtime.GC()
	runtime.ReadMemStats(&after)
	require.Less(t, int64(after.HeapAlloc)-int64(before.HeapAlloc), int64(16<<20), "something was kept")
}
