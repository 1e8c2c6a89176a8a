package check

import (
	"math"
	"testing"
)

func TestDigits(t *testing.T) {
	for _, c := range []struct{ got, want, digits float64 }{
		{1, 1, 17}, {0, 0, 17}, {1.001, 1, 3}, {0.001, 0, 3}, {2, 1, 0}, {math.NaN(), 1, 0}, {math.Inf(1), 1, 0}, {-1, 1, 0},
	} {
		if d := Digits(c.got, c.want); math.Abs(d-c.digits) > 1e-9 {
			t.Errorf("Digits(%g, %g) = %g, want %g", c.got, c.want, d, c.digits)
		}
	}
}
