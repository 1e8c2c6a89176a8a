package fit

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// Of several unknown names the first in the alphabet is the one named, each
// time.
func TestUnknownNamesAreNamedInOrder(t *testing.T) {
	data := scattered(rand.New(rand.NewPCG(52, 0)), 10, 0)
	for what, opt := range map[string]*FitOptions{
		"bounds":      {Bounds: map[string][2]float64{"x": {1, 4}, "y": {1, 2}, "w": {1, 3}, "b1": {0, 9}, "z": {0, 1}}},
		"prior":       {Priors: map[string]Prior{"x": {1, 4}, "y": {1, 2}, "w": {1, 3}, "b1": {0, 9}, "z": {0, 1}}},
		"fixed value": {Fixed: map[string]float64{"x": 1, "y": 1, "w": 2, "b1": 1, "z": math.NaN()}},
	} {
		for range 50 {
			_, err := Regress(Polynomial(1), data, nil, opt)
			if err == nil || !strings.Contains(err.Error(), what+" of unknown parameter \"w\"") {
				t.Fatalf("%s: %v", what, err)
			}
		}
	}
}

// A parameter that is shrunk twice would have two priors and count as two
// observations.
func TestShrunkTwiceIsAnError(t *testing.T) {
	data := scattered(rand.New(rand.NewPCG(53, 0)), 10, 0)
	if r, err := Regress(Polynomial(1), data, nil, &FitOptions{Shrunk: []string{"b1", "b1"}}); r != nil || err == nil || !strings.Contains(err.Error(), `"b1"`) {
		t.Errorf("%v", err)
	}
}
