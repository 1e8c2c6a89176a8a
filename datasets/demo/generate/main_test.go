package main

import (
	"bytes"
	"encoding/csv"
	"maps"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"testing"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/internal/laundry"
)

// TestFilesAreWhatTheGeneratorMakes: go generate leaves no diff. Byte for byte
// on amd64; other machines may fuse multiplications and additions, so there
// numbers may differ by one in the last digit.
func TestFilesAreWhatTheGeneratorMakes(t *testing.T) {
	dir := t.TempDir()
	if err := run(dir); err != nil {
		t.Fatal(err)
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	if len(entries) != len(demo.Names()) {
		t.Errorf("%d files made, %d embedded", len(entries), len(demo.Names()))
	}
	for _, name := range demo.Names() {
		got, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		want := embedded(t, name)
		if runtime.GOARCH == "amd64" {
			if !bytes.Equal(got, want) {
				t.Errorf("%s differs from what is embedded: run go generate ./datasets/demo", name)
			}
			continue
		}
		a, b := parse(t, got), parse(t, want)
		if len(a) != len(b) {
			t.Fatalf("%s: %d rows, embedded %d", name, len(a), len(b))
		}
		for i := range a {
			for j := range a[i] {
				x, errX := strconv.ParseFloat(a[i][j], 64)
				y, errY := strconv.ParseFloat(b[i][j], 64)
				tol := 1.1e-5
				if b[0][j] == "red" || b[0][j] == "green" || b[0][j] == "blue" {
					tol = 1
				}
				if a[i][j] != b[i][j] && (errX != nil || errY != nil || math.Abs(x-y) > tol) {
					t.Errorf("%s row %d, %s: %q, embedded %q", name, i+1, b[0][j], a[i][j], b[i][j])
				}
			}
		}
	}
}

func embedded(t *testing.T, name string) []byte {
	t.Helper()
	f, err := demo.Files().Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var b bytes.Buffer
	if _, err := b.ReadFrom(f); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func parse(t *testing.T, data []byte) [][]string {
	t.Helper()
	r := csv.NewReader(bytes.NewReader(data))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// TestProduction reads the shades as embedded: P101 is near the standard and
// between the limits, P102 is off in the way of manganese dioxide, browner:
// higher b* and darker than P101.
func TestProduction(t *testing.T) {
	w, err := colorimetry.NewWeights(colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}, laundry.Grid())
	if err != nil {
		t.Fatal(err)
	}
	shade := means(t, w, demo.PelletStandard())
	maps.Copy(shade, means(t, w, demo.PelletProduction()))
	std, light, dark := shade["STD"], shade["STD-LIGHT"], shade["STD-DARK"]
	good, brown := shade["P101"], shade["P102"]
	t.Logf("standard %.2f, light %.2f, dark %.2f, good %.2f, brown %.2f", std, light, dark, good, brown)
	var de colorimetry.CIEDE2000
	t.Logf("ΔE00 to the standard: light %.2f, dark %.2f, good %.2f, brown %.2f", de.Diff(std, light), de.Diff(std, dark), de.Diff(std, good), de.Diff(std, brown))
	if !(dark.L < std.L-1 && std.L+1 < light.L) {
		t.Errorf("L* of dark limit, standard, light limit: %.2f, %.2f, %.2f", dark.L, std.L, light.L)
	}
	if d := de.Diff(std, good); d > 1.2 || good.L < dark.L || good.L > light.L {
		t.Errorf("the good lot is %.2f ΔE00 from the standard, L* %.2f", d, good.L)
	}
	if brown.B < good.B+2 || brown.L > good.L || de.Diff(std, brown) < 2 {
		t.Errorf("the brown lot %v is not browner than the good one %v", brown, good)
	}
}

// means returns the mean Lab of each lot of a spectral file.
func means(t *testing.T, w *colorimetry.Weights, data []byte) map[string]colorimetry.Lab {
	t.Helper()
	rows := parse(t, data)
	first := len(rows[0]) - laundry.Bands
	sum, n := map[string]colorimetry.Lab{}, map[string]float64{}
	for _, row := range rows[1:] {
		r := make([]float64, laundry.Bands)
		for i := range r {
			v, err := strconv.ParseFloat(row[first+i], 64)
			if err != nil {
				t.Fatal(err)
			}
			r[i] = v
		}
		c, s := w.Lab(r), sum[row[0]]
		sum[row[0]] = colorimetry.Lab{L: s.L + c.L, A: s.A + c.A, B: s.B + c.B}
		n[row[0]]++
	}
	for id, s := range sum {
		sum[id] = colorimetry.Lab{L: s.L / n[id], A: s.A / n[id], B: s.B / n[id]}
	}
	return sum
}
