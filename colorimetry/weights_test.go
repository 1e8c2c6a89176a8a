package colorimetry

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The grid on which E2022 interpolates covers 360-780 nm and not one interval
// more: its last interval is the quadratic one.
func TestWidenedGridJustCovers(t *testing.T) {
	for _, step := range []int{1, 2, 5, 10, 20} {
		for start := minWavelength; start <= mustCoverFrom; start++ {
			for _, end := range []int{700, 701, 730, 780, 830} {
				g := Grid{start, step, (end-start)/step + 1}
				if g.Check() != nil {
					continue
				}
				w := g.widened()
				require.Equal(t, step, w.Step, g)
				require.Zero(t, (w.Start-g.Start)%step, g)
				require.True(t, w.Start <= integrationStart && w.Start+step > integrationStart, "%v %v", g, w)
				require.True(t, w.End() >= integrationEnd && w.End()-step < integrationEnd, "%v %v", g, w)
			}
		}
	}
}

// A spectrum that is 1 at one wavelength and 0 elsewhere has that wavelength's
// weight, also at the odd end of the sum.
func TestEachWeightCountsOnce(t *testing.T) {
	for _, g := range []Grid{{400, 10, 31}, {400, 20, 16}, {390, 10, 32}} {
		w, err := NewWeights(Viewing{F2, TenDegree}, g)
		require.NoError(t, err)
		r := make([]float64, g.N)
		for i := range r {
			r[i] = 1
			assert.Equal(t, w.At(i), w.XYZ(r), "%v at %d", g, i)
			r[i] = 0
		}
		for _, bad := range []func(){
			func() { w.XYZ(r[1:]) },
			func() { w.Lab(append(r, 0)) },
			func() { w.LabRows(make([]Lab, 2), r) },
		} {
			assert.Panics(t, bad)
		}
	}
	assert.Panics(t, func() { Viewing{}.White() })
	assert.Panics(t, func() { lampAt1nm(0) })
	// A longer table of weights than values would be read past its end quietly.
	w, err := NewWeights(Viewing{D65, TwoDegree}, Grid{400, 10, 31})
	require.NoError(t, err)
	assert.PanicsWithValue(t, "colorimetry: 30 reflectance values for weights on 400-700/10 (31 values)", func() { w.XYZ(make([]float64, 30)) })
	assert.PanicsWithValue(t, "colorimetry: 30 reflectance values for weights on 400-700/10 (31 values)", func() { w.Lab(make([]float64, 30)) })
}

// Illuminant A in the CIE's table: 100 at 560 nm, 9.79510 at 380, 241.675 at
// 780 (CIE 15, from memory).
func TestIlluminantATable(t *testing.T) {
	assert.InDelta(t, 100, illuminantA(560), 1e-12)
	assert.InDelta(t, 9.79510, illuminantA(380), 1e-5)
	assert.InDelta(t, 241.675, illuminantA(780), 1e-3)
}

// A straight line is met at every nanometer by quadratics and cubics, also on
// grids whose start is no multiple of half their step.
func TestLinesStayLines(t *testing.T) {
	for _, g := range []Grid{{362, 5, 70}, {363, 10, 36}, {361, 20, 20}} {
		values := make([]float64, g.N)
		for i := range values {
			values[i] = float64(g.Wavelength(i)) / 1000
		}
		s, err := NewSpectrum(g, values)
		require.NoError(t, err)
		fine, err := s.Resample(Grid{370, 1, 332})
		require.NoError(t, err)
		for i, v := range fine.Values {
			require.InDelta(t, float64(370+i)/1000, v, 1e-13, "%v at %d nm", g, 370+i)
		}
	}
}

// The observer's z is 0 at the long end, so that no spectrum shows the last odd
// product of Z: by hand.
func TestDotProductsByHand(t *testing.T) {
	x, y, z := dot3([]float64{1, 2, 3}, []float64{4, 5, 6}, []float64{7, 8, 9}, []float64{1, 10, 100})
	assert.Equal(t, [3]float64{321, 654, 987}, [3]float64{x, y, z})
	x, y, z = dot3([]float64{1, 2}, []float64{4, 5}, []float64{7, 8}, []float64{1, 10})
	assert.Equal(t, [3]float64{21, 54, 87}, [3]float64{x, y, z})
}
