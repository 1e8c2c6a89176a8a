package fit

import "fmt"

// A Criterion says what a design should make small. The set is closed: D, C
// and I.
type Criterion interface {
	// check reports what does not go with designs of ns scenarios of p
	// parameters.
	check(ns, p int) error
	// weight returns B of the criterion tr(M⁻¹B) for a scenario, or nil for
	// the determinant.
	weight(scenario, p int) []float64
}

// D is the volume of the confidence ellipsoid of all parameters: D-optimal.
type D struct{}

// C is the variance of one combination of the parameters, the same in every
// scenario or one for each: c-optimal. An effective dose with its gradient is a
// C.
type C [][]float64

// I is the variance of the fitted mean, averaged over settings that matter:
// I-optimal.
type I []Candidate

func (D) check(_, _ int) error { return nil }

func (c C) check(ns, p int) error {
	if len(c) != 1 && len(c) != ns {
		return fmt.Errorf("fit: %w: criterion C has %d combinations for %d scenarios (give one, or one each)", ErrBadInput, len(c), ns)
	}
	for _, v := range c {
		if len(v) != p {
			return fmt.Errorf("fit: %w: criterion C combines %d parameters, candidates have %d", ErrBadInput, len(v), p)
		}
	}
	return nil
}

func (c I) check(ns, p int) error {
	if len(c) == 0 {
		return fmt.Errorf("fit: %w: criterion I has no settings", ErrBadInput)
	}
	return checkCandidates("setting of criterion I", c, ns, p)
}

func (D) weight(_, _ int) []float64 { return nil }

func (c C) weight(scenario, p int) []float64 {
	v := c[min(scenario, len(c)-1)]
	b := make([]float64, p*p)
	for i := range v {
		for j := range v {
			b[i*p+j] = v[i] * v[j]
		}
	}
	return b
}

func (c I) weight(scenario, p int) []float64 {
	b := make([]float64, p*p)
	for _, q := range c {
		g := q.G[scenario]
		for i := range g {
			for j := range g {
				b[i*p+j] += g[i] * g[j] / float64(len(c))
			}
		}
	}
	return b
}
