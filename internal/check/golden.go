package check

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// Golden compares a text with the file testdata/name, by the rules of
// textDifference. With update it writes the file instead: then read the diff.
func Golden(t *testing.T, name, got string, update bool) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if update {
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v (run with -update to create it)", err)
	}
	if d := textDifference(got, string(want)); d != "" {
		t.Errorf("%s: %s (run with -update, then read the diff)\ngot:\n%s", path, d, got)
	}
}

// textDifference says where two texts differ, or returns "". Spacing does not
// count, and decimal numbers may differ by two units of their last digit: other
// processors fuse multiplication and addition and so round elsewhere.
func textDifference(got, want string) string {
	g, w := strings.Fields(got), strings.Fields(want)
	for i := range min(len(g), len(w)) {
		if !sameWord(g[i], w[i]) {
			return fmt.Sprintf("word %d is %q, want %q", i+1, g[i], w[i])
		}
	}
	if len(g) != len(w) {
		return fmt.Sprintf("%d words, want %d", len(g), len(w))
	}
	return ""
}

func sameWord(got, want string) bool {
	if got == want {
		return true
	}
	number := regexp.MustCompile(`-?\d+\.\d+`)
	if number.ReplaceAllString(got, "#") != number.ReplaceAllString(want, "#") {
		return false
	}
	g, w := number.FindAllString(got, -1), number.FindAllString(want, -1)
	for i := range g {
		decimals := len(w[i]) - strings.IndexByte(w[i], '.') - 1
		if len(g[i])-strings.IndexByte(g[i], '.')-1 != decimals {
			return false
		}
		a, err1 := strconv.ParseFloat(g[i], 64)
		b, err2 := strconv.ParseFloat(w[i], 64)
		if err1 != nil || err2 != nil || math.Abs(a-b) > 2.5*math.Pow10(-decimals) {
			return false
		}
	}
	return true
}
