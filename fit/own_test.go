package fit

import (
	"math/rand/v2"
	"reflect"
	"testing"
)

// A result does not change when the caller reuses what it was made from.
func TestResultOwnsItsInput(t *testing.T) {
	rng := rand.New(rand.NewPCG(51, 0))
	data := make([]Observation, 20)
	sd := make(KnownSD, len(data))
	for i := range data {
		x := float64(i + 1)
		data[i] = Observation{X: []float64{x}, Y: 2 + 3*x + 0.3*rng.NormFloat64(), Group: string(rune('a' + i/4))}
		sd[i] = 0.3
	}
	terms := []VarianceTerm{{Name: "group", Share: ByGroup}, {Name: "reading"}}
	for name, w := range map[string]Weights{"equal": nil, "known": sd, "variance": VarianceFunction{Terms: terms}} {
		opt := &FitOptions{Start: []float64{0, 0, 0}, Fixed: map[string]float64{"b2": 0.001}, Bounds: map[string][2]float64{"b1": {0, 5}},
			Priors: map[string]Prior{"b0": {2, 1}}, Shrunk: []string{"b1"}}
		r, err := Regress(Polynomial(2), data, w, opt)
		if err != nil {
			t.Fatal(name, err)
		}
		type answers struct {
			Out     *LeaveOut
			Profile Interval
			Spread  []float64
		}
		ask := func() (a answers) {
			var err error
			if a.Out, err = r.LeaveOneOut(); err != nil {
				t.Fatal(name, err)
			}
			if a.Profile, err = r.Profile(1, 0.95); err != nil {
				t.Fatal(name, err)
			}
			b, err := r.Bootstrap(Parametric, 5, rand.New(rand.NewPCG(1, 1)))
			if err != nil {
				t.Fatal(name, err)
			}
			a.Spread = b.SE()
			return a
		}
		before := ask()
		y, x, group, keepSD, keepTerms := data[0].Y, data[1].X[0], data[2].Group, append(KnownSD(nil), sd...), append([]VarianceTerm(nil), terms...)
		data[0].Y, data[1].X[0], data[2].Group = 500, -7, "z"
		opt.Fixed["b2"], opt.Bounds["b1"], opt.Priors["b0"], opt.Shrunk[0] = 9, [2]float64{2.9, 2.91}, Prior{7, 0.1}, "b0"
		for i := range sd {
			sd[i] = 5
		}
		terms[0].Share = Each
		if after := ask(); !reflect.DeepEqual(before, after) {
			t.Errorf("%s: the answers moved with the caller's data from %+v to %+v", name, before, after)
		}
		data[0].Y, data[1].X[0], data[2].Group = y, x, group
		copy(sd, keepSD)
		copy(terms, keepTerms)
	}
}
