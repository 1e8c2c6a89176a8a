package cie

import (
	"crypto/sha256"
	"encoding/hex"
	"math"
	"os"
	"slices"
	"strings"
	"testing"
)

// The README names the SHA-256 of each file; the embedded bytes must match.
func TestSumsAreThoseOfTheReadme(t *testing.T) {
	readme, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{
		"cmf_1931_2deg.csv": observer1931, "cmf_1964_10deg.csv": observer1964, "illuminants.csv": illuminants,
	} {
		sum := sha256.Sum256([]byte(text))
		line := ""
		for l := range strings.Lines(string(readme)) {
			if strings.HasPrefix(l, "| "+name) {
				line = l
			}
		}
		if want := hex.EncodeToString(sum[:]); !strings.Contains(line, want) {
			t.Errorf("%s: embedded bytes have SHA-256 %s, README says %q", name, want, line)
		}
	}
}

// Column sums at 1 nm, a published check on copies of the tables, and the
// maxima of ȳ: 1 at 555 nm (1931) and 0.9999 at 557 nm rounds to 1 (1964).
func TestObservers(t *testing.T) {
	for _, c := range []struct {
		name string
		o    Observer
		sum  [3]float64
		peak int
	}{
		{"1931", Observer1931(), [3]float64{106.8655, 106.8569, 106.8923}, 555},
		{"1964", Observer1964(), [3]float64{116.6485, 116.6619, 116.6740}, 557},
	} {
		for i, column := range [3][]float64{c.o.X[:], c.o.Y[:], c.o.Z[:]} {
			var sum float64
			for _, v := range column {
				sum += v
			}
			if math.Abs(sum-c.sum[i]) > 0.5e-4 {
				t.Errorf("%s: sum of column %d is %.5f, want %.4f", c.name, i, sum, c.sum[i])
			}
		}
		if at := slices.Index(c.o.Y[:], slices.Max(c.o.Y[:])) + ObserverStart; at != c.peak {
			t.Errorf("%s: ȳ peaks at %d nm, want %d", c.name, at, c.peak)
		}
	}
}

// Daylight and incandescent tables are scaled to 100 at 560 nm by definition.
func TestIlluminants(t *testing.T) {
	for _, name := range LampNames() {
		lamp, ok := Illuminant(name)
		if !ok {
			t.Fatalf("%s is listed but has no table", name)
		}
		end := lamp.Start + LampStep*(len(lamp.Values)-1)
		wantStart := 380
		switch name {
		case "A", "D50", "D65":
			if v := lamp.Values[(560-lamp.Start)/LampStep]; v != 100 {
				t.Errorf("%s at 560 nm is %v, want 100", name, v)
			}
			wantStart = 300
		case "C":
			wantStart = 300
		}
		if lamp.Start != wantStart || end != 780 {
			t.Errorf("%s covers %d-%d nm, want %d-780", name, lamp.Start, end, wantStart)
		}
	}
	if _, ok := Illuminant("D93"); ok {
		t.Error("a table for D93 that is not there")
	}
}

func TestCallersOwnTheResult(t *testing.T) {
	lamp, _ := Illuminant("D65")
	lamp.Values[0] = -1
	if again, _ := Illuminant("D65"); again.Values[0] == -1 {
		t.Error("a caller changed the table")
	}
}
