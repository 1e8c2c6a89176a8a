package quantile

import (
	"math"
	"testing"
)

// Quartiles of 1..11 and of 1..4 by definition 7: 3.5, 6, 8.5 and 1.75, 2.5, 3.25 (by
// hand; R's quantile has the same by default, from memory).
func TestQuantile(t *testing.T) {
	eleven := []float64{11, 2, 9, 4, 7, 6, 5, 8, 3, 10, 1}
	four := []float64{4, 1, 3, 2}
	for _, c := range []struct {
		x       []float64
		p, want float64
	}{
		{eleven, 0.25, 3.5}, {eleven, 0.5, 6}, {eleven, 0.75, 8.5}, {eleven, 0, 1}, {eleven, 1, 11},
		{four, 0.25, 1.75}, {four, 0.5, 2.5}, {four, 0.75, 3.25}, {[]float64{7}, 0.9, 7},
	} {
		if got := Of(c.x, c.p); math.Abs(got-c.want) > 1e-15 {
			t.Errorf("%g-quantile of %v is %g, want %g", c.p, c.x, got, c.want)
		}
	}
	if four[0] != 4 {
		t.Error("the input was sorted")
	}
	if !math.IsNaN(Median(nil)) {
		t.Error("nothing has a median")
	}
}
