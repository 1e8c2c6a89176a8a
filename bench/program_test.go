// Peak memory is read as Linux gives it.
//go:build linux

package bench

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// build compiles a package or file of this module into a temporary folder.
func build(b *testing.B, source string) string {
	b.Helper()
	program := filepath.Join(b.TempDir(), "program")
	out, err := exec.Command("go", "build", "-o", program, source).CombinedOutput()
	require.NoError(b, err, string(out))
	return program
}

// runs times n runs of a program and returns the median.
func runs(b *testing.B, n int, program string, args ...string) time.Duration {
	b.Helper()
	times := make([]time.Duration, n)
	for i := range times {
		start := time.Now()
		require.NoError(b, exec.Command(program, args...).Run())
		times[i] = time.Since(start)
	}
	slices.Sort(times)
	return times[n/2]
}

// How long the tool takes to start and end, against a Go program that does
// nothing: what is left is package initialization and building the commands.
func BenchmarkProgramStart(b *testing.B) {
	empty := filepath.Join(b.TempDir(), "main.go")
	require.NoError(b, os.WriteFile(empty, []byte("package main\n\nfunc main() {}\n"), 0o644))
	peer, ours := build(b, empty), build(b, "../cmd/dosetone")
	var tool, nothing time.Duration
	for b.Loop() {
		tool, nothing = runs(b, 20, ours, "--version"), runs(b, 20, peer)
	}
	b.ReportMetric(tool.Seconds()*1000, "start-ms")
	b.ReportMetric(nothing.Seconds()*1000, "empty-ms")
	b.ReportMetric(float64(tool)/float64(nothing), "ours/peer")
}

// A million settings through examples/batch: wall time, CPU time and peak
// memory, against reading and writing the same table with encoding/csv in one
// goroutine, and the memory of a tenth of the rows.
func BenchmarkProgramMillion(b *testing.B) {
	dir := b.TempDir()
	model := filepath.Join(dir, "model.json")
	f, err := os.Create(model)
	require.NoError(b, err)
	require.NoError(b, shadeModel(b).Save(f, "bench"))
	require.NoError(b, f.Close())
	const rows = 1_000_000
	whole := settingsTable(rows)
	ours := build(b, "../examples/batch")
	var wall, cpu, peer time.Duration
	var peak, tenth int64
	for b.Loop() {
		wall, cpu, peak = batch(b, ours, model, whole)
		_, _, tenth = batch(b, ours, model, settingsTable(rows/10))
		start := time.Now()
		r, w := csv.NewReader(bytes.NewReader(whole)), csv.NewWriter(io.Discard)
		for {
			row, err := r.Read()
			if err == io.EOF {
				break
			}
			require.NoError(b, err)
			require.NoError(b, w.Write(row))
		}
		w.Flush()
		peer = time.Since(start)
	}
	b.ReportMetric(wall.Seconds(), "wall-s")
	b.ReportMetric(cpu.Seconds(), "cpu-s")
	b.ReportMetric(float64(peak)/(1<<20), "peak-MiB")
	b.ReportMetric(float64(tenth)/(1<<20), "peak-MiB-of-a-tenth")
	b.ReportMetric(float64(wall)/float64(peer), "ours/peer")
}

func settingsTable(rows int) []byte {
	rng := rand.New(rand.NewPCG(1, 1))
	var t bytes.Buffer
	t.WriteString("strength_pct,ratio,time_min\n")
	for range rows {
		fmt.Fprintf(&t, "%.2f,%.2f,%.1f\n", 4+6*rng.Float64(), 1+rng.Float64(), 6+18*rng.Float64())
	}
	return t.Bytes()
}

func batch(b *testing.B, program, model string, table []byte) (wall, cpu time.Duration, peakBytes int64) {
	b.Helper()
	c := exec.Command(program, model)
	c.Stdin = bytes.NewReader(table)
	start := time.Now()
	require.NoError(b, c.Run())
	wall = time.Since(start)
	if u, ok := c.ProcessState.SysUsage().(*syscall.Rusage); ok {
		peakBytes = u.Maxrss << 10 // KiB on Linux
	}
	return wall, c.ProcessState.UserTime() + c.ProcessState.SystemTime(), peakBytes
}
