package dosetone_test

import (
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const module = "example.com/dosetone/"

// Which packages of this module each library package may depend on, directly
// or not. A package that is not listed is under cmd, examples or internal and
// free to import what it needs.
func allowed() map[string][]string {
	color := []string{"datasets/cie"}
	shade := []string{"datasets/cie", "colorimetry", "fit", "internal/golden", "internal/mat3", "internal/quantile"}
	domain := append([]string{"discharge"}, shade...)
	simulator := append([]string{"colorimetry", "internal/trialtable"}, color...)
	return map[string][]string{
		"datasets/cie":       {},
		"datasets/published": {},
		"datasets/demo":      {},
		"colorimetry":        color,
		"fit":                {"internal/golden", "internal/quantile"},
		"discharge":          shade,
		"discharge/chem":     domain,
		"discharge/charge":   append([]string{"discharge/chem"}, domain...),
		"discharge/quality":  domain,
		"discharge/tables":   domain,
		"internal/capped":    simulator,
		"internal/drum":      simulator,
		"internal/film":      simulator,
		"internal/shells":    simulator,
		"internal/surface":   simulator,
		"internal/tank":      simulator,
		"internal/yarn":      simulator,
	}
}

// Third parties that each library package may use, itself or through others.
func thirdParties() map[string][]string {
	color := []string{"github.com/lucasb-eyer/go-colorful", "gonum.org/v1/gonum"}
	return map[string][]string{
		"datasets/cie":       {},
		"datasets/published": {},
		"datasets/demo":      {},
		"colorimetry":        color,
		"fit":                {"gonum.org/v1/gonum"},
		"discharge":          color,
		"discharge/chem":     color,
		"discharge/charge":   color,
		"discharge/quality":  color,
		"discharge/tables":   color,
		"internal/capped":    color,
		"internal/drum":      color,
		"internal/film":      color,
		"internal/shells":    color,
		"internal/surface":   color,
		"internal/tank":      color,
		"internal/yarn":      color,
	}
}

func list(t *testing.T, args ...string) []string {
	t.Helper()
	out, err := exec.Command("go", append([]string{"list"}, args...)...).Output()
	require.NoError(t, err)
	return strings.Fields(string(out))
}

// Imports point one way: data → colorimetry → discharge → cmd, fit → discharge.
func TestImportsPointOneWay(t *testing.T) {
	parties := thirdParties()
	exists := map[string]bool{}
	for _, p := range list(t, "./...") {
		exists[strings.TrimPrefix(p, module)] = true
	}
	for pkg, may := range allowed() {
		if !exists[pkg] {
			continue
		}
		for _, dep := range list(t, "-deps", "./"+pkg) {
			if own, ok := strings.CutPrefix(dep, module); ok {
				if own != pkg {
					assert.Contains(t, may, own, "%s must not depend on %s", pkg, own)
				}
				continue
			}
			first, _, _ := strings.Cut(dep, "/")
			if !strings.Contains(first, ".") || strings.HasPrefix(dep, "golang.org/x/") && strings.HasPrefix(dep, "vendor/") {
				continue // the standard library
			}
			ok := false
			for _, party := range parties[pkg] {
				ok = ok || strings.HasPrefix(dep, party)
			}
			assert.True(t, ok, "%s must not depend on %s", pkg, dep)
		}
	}
	for _, p := range list(t, "./...") {
		own := strings.TrimPrefix(p, module)
		if _, listed := allowed()[own]; listed || strings.HasPrefix(own, "cmd/") || strings.HasPrefix(own, "examples") || strings.HasPrefix(own, "internal/") || own == "bench" || strings.HasPrefix(own, "bench/") || own == "datasets/demo/generate" || p == strings.TrimSuffix(module, "/") {
			continue
		}
		t.Errorf("package %s has no rule: add it to allowed and thirdParties", own)
	}
}

// Programs that people copy must build outside this module.
func TestExamplesImportNothingInternal(t *testing.T) {
	imports := list(t, "-f", `{{join .Imports "\n"}}`, "./examples/...")
	require.NotEmpty(t, imports)
	for _, p := range imports {
		assert.False(t, strings.HasPrefix(p, module) && strings.Contains(p, "internal/"), "an example imports %s", p)
	}
}
