package fit

import (
	"fmt"
	"math"
	"strings"
)

// checkDerivatives compares the derivatives of a model from outside this package
// with differences of its values at the solution, jac being the former, one row
// for each observation. A slip in a formula leaves estimates near the minimum and
// standard errors wrong, without a trace. One difference in a direction that moves all
// parameters, two evaluations, raises a suspicion; only then each parameter is
// looked at.
func (r *Result) checkDerivatives(t *task, jac []float64) error {
	switch r.Model.(type) {
	case Sigmoid, MultiFactor, Linear:
		return nil
	}
	if t.diff != nil || !finite(jac[:r.N*t.n]) || !r.suspicious(t, jac) {
		return nil
	}
	n := t.n
	by := newDifferences(r.N, n, t.values)
	by.skip = func(j int) bool { return r.Fixed[j] || r.AtBound[j] != 0 }
	by.reach = r.reach
	diff := make([]float64, r.N*n)
	by.jacobian(diff, r.P)
	q, up, down := append([]float64(nil), r.P...), make([]float64, r.N), make([]float64, r.N)
	var wrong []string
	for _, j := range r.free {
		h := math.Max(by.step[j], math.SmallestNonzeroFloat64)
		q[j] = r.P[j] + h
		t.values(up, q)
		q[j] = r.P[j] - h
		t.values(down, q)
		q[j] = r.P[j]
		off, beyond, size := 0.0, 0.0, 0.0
		for i, f := range r.Fitted {
			// At a corner the derivative of either side is right; differences
			// are half way between them.
			corner := math.Abs(up[i]-f+down[i]-f) / (2 * h)
			by := math.Abs(jac[i*n+j] - diff[i*n+j])
			off, beyond = math.Hypot(off, by), math.Hypot(beyond, math.Max(0, by-corner))
			size = math.Hypot(size, diff[i*n+j])
		}
		if beyond > (slip+10*by.rel[j])*size {
			wrong = append(wrong, fmt.Sprintf("%s (off by %.2g of its size)", r.called(j), off/size))
		}
	}
	if wrong == nil {
		return nil
	}
	return fmt.Errorf("fit: %w: derivatives are not those of the model's values: by %s; estimates and standard errors rest on them", ErrBadInput, strings.Join(wrong, ", by "))
}

// slip is how far derivatives may be off, relative to their size: no slip in a
// formula is so small, and standard errors have three digits then.
const slip = 1e-3

// suspicious looks along a direction in which each parameter changes the fitted
// values by as much, a ten-thousandth of what they span.
func (r *Result) suspicious(t *task, jac []float64) bool {
	n := t.n
	mean, span := 0.0, 0.0
	for _, f := range r.Fitted {
		mean += f / float64(r.N)
	}
	for _, f := range r.Fitted {
		span = math.Hypot(span, f-mean)
	}
	if span == 0 {
		span = math.Max(math.Abs(mean), 1)
	}
	up, down := append([]float64(nil), r.P...), append([]float64(nil), r.P...)
	linear := make([]float64, r.N) // what the derivatives promise
	for _, j := range r.free {
		size := 0.0
		for i := range r.N {
			size = math.Hypot(size, jac[i*n+j])
		}
		if size == 0 {
			return true
		}
		h := 1e-4 * span / size
		up[j] += h
		down[j] -= h
		for i := range linear {
			linear[i] += jac[i*n+j] * (up[j] - down[j])
		}
	}
	f, g := make([]float64, r.N), make([]float64, r.N)
	t.values(f, up)
	t.values(g, down)
	off := 0.0
	for i := range f {
		off = math.Hypot(off, f[i]-g[i]-linear[i])
	}
	return !(off <= slip*2e-4*span)
}
