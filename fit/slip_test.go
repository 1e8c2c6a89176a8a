package fit

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"example.com/dosetone/datasets/published"
)

// The derivatives of the NIST models, worked out by hand, pass from both starts;
// each with a slip of 1 % in one of them does not, and the error names it alone.
func TestSlipsInDerivativesAreNamed(t *testing.T) {
	all, err := published.AllStRD()
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range all {
		s := newStRD(p)
		slip := -1
		m := Func{
			Value: func(b, x []float64) float64 { return s.model(x, b, s.g) },
			Derivative: func(dst, b, x []float64) {
				s.model(x, b, dst)
				if slip >= 0 {
					dst[slip] *= 1.01
				}
			},
		}
		var data []Observation
		for i, y := range s.y {
			data = append(data, Observation{X: s.x[i], Y: y})
		}
		for j := range p.Certified {
			m.Parameters = append(m.Parameters, Param{Name: fmt.Sprintf("b%d", j+1)})
		}
		for start := range p.Start {
			if _, err := Regress(m, data, nil, &FitOptions{Start: p.Start[start]}); err != nil {
				t.Errorf("%s start %d: %v", p.Name, start+1, err)
			}
		}
		for slip = range p.Certified {
			r, err := Regress(m, data, nil, &FitOptions{Start: p.Certified})
			want := fmt.Sprintf("by b%d (off by 0.01 of its size);", slip+1)
			if r == nil || !errors.Is(err, ErrBadInput) || !strings.Contains(err.Error(), want) || strings.Count(err.Error(), "off by") != 1 {
				t.Errorf("%s with a slip in b%d: %v", p.Name, slip+1, err)
			}
		}
	}
}

// A slip by which the fit does not end is told beside that. Parameters that are
// fixed do not matter, nor does a corner of the model, where derivatives of both
// sides are right.
func TestSlipsThatMatter(t *testing.T) {
	_, with, data, start := peak(20, 4)
	turned := with
	turned.Derivative = func(dst, p, x []float64) {
		with.Derivative(dst, p, x)
		dst[1] = -dst[1]
	}
	if _, err := Regress(turned, data, nil, &FitOptions{Start: start}); !errors.Is(err, ErrBadInput) || !strings.Contains(err.Error(), "by center (off by 2 ") {
		t.Errorf("turned sign: %v", err)
	}
	if _, err := Regress(turned, data, nil, &FitOptions{Start: start, Fixed: map[string]float64{"center": 20}}); err != nil {
		t.Errorf("turned sign of what is fixed: %v", err)
	}
	corner := Func{Parameters: []Param{{Name: "slope"}, {Name: "from"}},
		Value: func(p, x []float64) float64 { return p[0] * math.Max(0, x[0]-p[1]) },
		Derivative: func(dst, p, x []float64) {
			dst[0], dst[1] = 0, 0
			if x[0] >= p[1] {
				dst[0], dst[1] = x[0]-p[1], -p[0]
			}
		}}
	var line []Observation
	for i, e := range []float64{0.1, -0.1, 0, 0.1, -0.1, -0.1, 0.1, 0} {
		line = append(line, Observation{X: []float64{float64(i)}, Y: math.Max(0, float64(i)-3) + e})
	}
	if _, err := Regress(corner, line, nil, &FitOptions{Start: []float64{1, 2.5}}); errors.Is(err, ErrBadInput) {
		t.Error(err)
	}
}
