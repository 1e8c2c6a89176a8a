package laundry

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/dosetone/colorimetry"
)

// TestDemoStandardIsReachable: the standard lies near the expected shade of
// its settings, its limits on both sides, and the settings inside the region
// but not on a level of the trials.
func TestDemoStandardIsReachable(t *testing.T) {
	w := daylight(t)
	l, err := Demo()
	if err != nil {
		t.Fatal(err)
	}
	s := DemoStandardSettings()
	for _, f := range l.Factors() {
		if v, ok := s[f.Column]; !f.Recorded && (!ok || v <= f.Lo || v >= f.Hi) {
			t.Errorf("%s = %g is not inside %g..%g", f.Column, v, f.Lo, f.Hi)
		}
	}
	rng := rand.New(rand.NewPCG(1, 1))
	_, at := l.Expected(s, w)
	std := l.Standard(s, 0.015, 8, rng).MeanLab(w)
	if d := deltaE(at, std); d < 0.05 || d > 0.6 {
		t.Errorf("the standard is %.2f ΔE00 from the expected shade of its settings; want a small difference, not none", d)
	}
	if got := l.ExpectedLab(s); got != (colorimetry.Lab{L: at.L, A: at.A, B: at.B}) {
		t.Errorf("ExpectedLab gives %v, Expected %v", got, at)
	}
	bath, err := DemoHypochlorite()
	if err != nil {
		t.Fatal(err)
	}
	cold := bath.ExpectedLab(map[string]float64{"temp_c": 38})
	warm := bath.ExpectedLab(map[string]float64{"temp_c": 52})
	if warm.L < cold.L+1 {
		t.Errorf("the warm bath gives L* %.2f, the cold one %.2f", warm.L, cold.L)
	}
	// The scatter that README.md in datasets/demo states.
	sp := l.LotSpread(s, w, rng, 400, RunOptions{})
	if math.Abs(sp.Median-1.1) > 0.25 {
		t.Errorf("median ΔE00 of a demo lot to the mean is %.2f, documented as about 1.1", sp.Median)
	}
}
