package published

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Every file in color/ is listed in its README with the SHA-256 of its bytes.
func TestColorFilesAreThoseOfTheReadme(t *testing.T) {
	readme, err := os.ReadFile("color/README.md")
	if err != nil {
		t.Fatal(err)
	}
	listed := make(map[string]string)
	for line := range strings.Lines(string(readme)) {
		cells := strings.Split(line, "|")
		if len(cells) == 6 && strings.HasSuffix(strings.TrimSpace(cells[1]), ".csv") {
			listed[strings.TrimSpace(cells[1])] = strings.TrimSpace(cells[4])
		}
	}
	files, err := filepath.Glob("color/*.csv")
	if err != nil || len(files) != len(listed) {
		t.Errorf("%d files, %d listed in the README (%v)", len(files), len(listed), err)
	}
	for _, file := range files {
		text, err := colorFiles.ReadFile(filepath.ToSlash(file))
		if err != nil {
			t.Fatal(err)
		}
		sum := sha256.Sum256(text)
		if got := hex.EncodeToString(sum[:]); got != listed[filepath.Base(file)] {
			t.Errorf("%s has SHA-256 %s, README says %q", file, got, listed[filepath.Base(file)])
		}
	}
}

// Row counts: a reader that loses rows would weaken every check built on it.
func TestColorTablesAreWhole(t *testing.T) {
	for _, c := range []struct {
		name      string
		got, want int
	}{
		{"CIEDE2000", len(CIEDE2000()), 34},
		{"E308Tables", len(E308Tables()), 602 + 96 + 16},
		{"E2022Coefficients", len(E2022Coefficients()), 18},
		{"Whites", len(Whites()), 42},
		{"WorkedExamples", len(WorkedExamples()), 175},
		{"DenimColors", len(DenimColors()), 12},
		{"DenimSpectra V156", len(DenimSpectra()["V156"]), 31},
		{"ColorDifferences", len(ColorDifferences()), 227},
		{"LabsOfXYZ", len(LabsOfXYZ()), 21},
		{"Adaptations", len(Adaptations()), 38},
		{"WhitenessValues", len(WhitenessValues()), 25},
		{"SRGBLindbloom", len(SRGBLindbloom()), 15},
		{"SRGB8Values", len(SRGB8Values()), 62},
		{"GrayScaleChangeValues", len(GrayScaleChangeValues()), 8},
		{"GrayScaleStainingValues", len(GrayScaleStainingValues()), 6},
		{"GrayScaleSteps", len(GrayScaleSteps()), 18},
		{"MetamericPairs", len(MetamericPairs()), 24},
	} {
		if c.got != c.want {
			t.Errorf("%s: %d rows, want %d", c.name, c.got, c.want)
		}
	}
}
