package yarn

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"example.com/dosetone/colorimetry"
)

// Two layers of one yarn make a layer of twice the thickness, and a very thick
// one hides its ground.
func TestLayersCompose(t *testing.T) {
	for _, ks := range []float64{1e-3, 0.03, 1, 40} {
		for _, ground := range []float64{0, 0.3, 0.95} {
			for _, power := range []float64{0.1, 0.7, 3} {
				twice := onGround(ks, power, onGround(ks, power, ground))
				assert.InDelta(t, onGround(ks, 2*power, ground), twice, 1e-9, "K/S %g, S·X %g, ground %g", ks, power, ground)
			}
			assert.InDelta(t, colorimetry.FromKS(ks), onGround(ks, 1e4, ground), 1e-9, "K/S %g, ground %g", ks, ground)
		}
	}
}

func TestSolve(t *testing.T) {
	diagonal, right := layers{3, 4, 5, 4, 3, 2}, layers{1, -2, 3, 0, 5, 6}
	const beside = 0.9
	x := solve(diagonal, beside, right)
	for i := range x {
		got := diagonal[i] * x[i]
		if i > 0 {
			got -= beside * x[i-1]
		}
		if i+1 < len(x) {
			got -= beside * x[i+1]
		}
		assert.Less(t, math.Abs(got-right[i]), 1e-12, "row %d", i)
	}
}
