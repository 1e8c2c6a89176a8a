package golden

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestSection(t *testing.T) {
	x, y := Section(func(x float64) float64 { return (x-0.3)*(x-0.3) + 2 }, -1, 4, 1e-7)
	assert.InDelta(t, 0.3, x, 1e-6)
	assert.InDelta(t, 2, y, 1e-12)
	x, _ = Section(math.Cos, 2, 4, 1e-7)
	assert.InDelta(t, math.Pi, x, 1e-6)
}
