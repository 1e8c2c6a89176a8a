package fit

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// FuzzRegress fits random models to random data with random weights, bounds,
// losses and fixed parameters: it returns in finite time with an error or with
// finite estimates inside their bounds and a covariance without NaN.
func FuzzRegress(f *testing.F) {
	for seed := range uint64(48) {
		f.Add(seed, 1.0, 0.0)
	}
	f.Add(uint64(3), 1e300, -1e300)
	f.Add(uint64(4), math.NaN(), math.Inf(1))
	f.Add(uint64(5), 1e-300, 0.0)
	f.Add(uint64(200), 2163.0, -0.3) // relative weights that never settle
	f.Fuzz(func(t *testing.T, seed uint64, scale, offset float64) {
		r := rand.New(rand.NewPCG(seed, 9))
		curves := allCurves()
		c := curves[r.IntN(len(curves))]
		n := 1 + r.IntN(20)
		data := make([]Observation, n)
		sd := make(KnownSD, n)
		for i := range data {
			x := math.Exp(3 * r.NormFloat64())
			switch r.IntN(40) {
			case 0:
				x = 0
			case 1:
				x = []float64{-1, math.NaN(), math.Inf(1), 1e308, 5e-324}[r.IntN(5)]
			}
			data[i] = Observation{X: []float64{x, 1 + r.Float64()}, Y: offset + scale*(20+60*c.At(1.5*math.Log(math.Abs(x)+1e-300))+r.NormFloat64())}
			sd[i] = math.Exp(r.NormFloat64())
		}
		var m Model = Sigmoid{c}
		if r.IntN(3) == 0 {
			mf, err := NewMultiFactor(c, []Factor{{Name: "x", Transform: Ln}, {Name: "z"}}, data)
			if err != nil {
				return
			}
			m = mf
		}
		w := []Weights{Equal{}, Relative{}, sd}[r.IntN(3)]
		// At most 200 rounds of weights with 1000 iterations each take a second or
		// two where nothing fits; under the fuzzer that would pass for a hang.
		opt := &FitOptions{Solver: Options{MaxIter: 100}}
		if r.IntN(4) == 0 {
			opt.Bounds = map[string][2]float64{"zero": {offset - math.Abs(scale), offset + 30*math.Abs(scale)}}
		}
		if r.IntN(4) == 0 {
			opt.Fixed = map[string]float64{"infinite": offset + 80*scale}
		}
		res, err := Regress(m, data, w, opt)
		if err != nil {
			for _, kind := range []error{ErrNotConverged, ErrNonFinite, ErrTooFewData, ErrScale, ErrNotIdentified, ErrBadInput} {
				if errors.Is(err, kind) {
					return
				}
			}
			t.Fatalf("an error of no kind: %v", err)
		}
		if !finite(res.P) || math.IsNaN(res.RSS) || math.IsInf(res.RSS, 0) {
			t.Fatalf("estimates %v, RSS %g", res.P, res.RSS)
		}
		if b, ok := opt.Bounds["zero"]; ok && (res.P[0] < b[0] || res.P[0] > b[1]) {
			t.Fatalf("zero = %g outside %v", res.P[0], b)
		}
		if res.DF > 0 {
			for _, v := range res.Covariance() {
				if math.IsNaN(v) {
					t.Fatalf("covariance %v", res.Covariance())
				}
			}
		}
		_ = res.String()
	})
}
