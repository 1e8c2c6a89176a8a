package fit

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"example.com/dosetone/datasets/published"
	"example.com/dosetone/internal/check"
)

func newStRD(p published.StRD) *strdProblem {
	s := &strdProblem{model: strdModels[p.Name], x: p.X, y: append([]float64(nil), p.Y...), n: len(p.Certified)}
	s.g = make([]float64, s.n)
	if p.Name == "Nelson" {
		for i, y := range s.y {
			s.y[i] = math.Log(y)
		}
	}
	return s
}

// TestStRD fits all NIST problems from both starts with default settings and
// prints the score table with -v.
func TestStRD(t *testing.T) {
	all, err := published.AllStRD()
	if err != nil {
		t.Fatal(err)
	}
	var table strings.Builder
	fmt.Fprintf(&table, "%-9s %-8s start  digits: par    sd   rss  Jacobians\n", "problem", "level")
	for _, p := range all {
		for start := range p.Start {
			sol, err := Solve(newStRD(p), p.Start[start], nil)
			if err != nil {
				t.Errorf("%s start %d: %v", p.Name, start+1, err)
				if sol == nil {
					continue
				}
			}
			par, sd := 17.0, 17.0
			for j, want := range p.Certified {
				par = math.Min(par, check.Digits(sol.P[j], want))
			}
			cov := sol.Factorization().Inverse()
			s2 := sol.RSS / float64(len(p.Y)-len(p.Certified))
			for j, want := range p.SD {
				if cov == nil {
					sd = 0
					break
				}
				n := len(p.SD)
				sd = math.Min(sd, check.Digits(math.Sqrt(s2*cov[j*n+j]), want))
			}
			rss := check.Digits(sol.RSS, p.RSS)
			fmt.Fprintf(&table, "%-9s %-8s %d         %6.1f%6.1f%6.1f  %4d %4d  %s %g\n", p.Name, p.Level, start+1, par, sd, rss, sol.Iter, sol.Evals, sol.Reason, sol.Precision)
		}
	}
	t.Log("\n" + table.String())
}
