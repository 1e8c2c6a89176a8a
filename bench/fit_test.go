// Package bench measures dosetone against peers. Results and how to repeat them
// are in the *_baseline.txt files.
package bench

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"syscall"
	"testing"

	"example.com/dosetone/datasets/published"
	"example.com/dosetone/fit"
)

// ryegrass is the published set of 24 readings (Inderjit et al. 2002) that all
// peers fit too, with one start: zero 8, infinite 1, slope 2, location 2.5.
func ryegrass(b testing.TB) []fit.Observation {
	b.Helper()
	c, err := published.DoseColumns("ryegrass.csv", "conc", "rootl")
	if err != nil {
		b.Fatal(err)
	}
	var d []fit.Observation
	for i := range c[0] {
		d = append(d, fit.Observation{X: []float64{c[0][i]}, Y: c[1][i]})
	}
	return d
}

var fitStart = []float64{8, 1, 2, 2.5}

// logisticProblem is the four-parameter log-logistic as a Problem with log
// doses precomputed, as the C peer has it.
type logisticProblem struct{ lx, y []float64 }

func newLogistic(d []fit.Observation) *logisticProblem {
	p := &logisticProblem{}
	for _, o := range d {
		p.lx = append(p.lx, math.Log(o.X[0]))
		p.y = append(p.y, o.Y)
	}
	return p
}

func (l *logisticProblem) Dims() (int, int) { return len(l.y), 4 }
func (l *logisticProblem) Residuals(r, p []float64) {
	l.ResidualsJacobian(r, make([]float64, 4*len(r)), p)
}
func (l *logisticProblem) Jacobian(j, p []float64) {
	l.ResidualsJacobian(make([]float64, len(l.y)), j, p)
}

func (l *logisticProblem) ResidualsJacobian(r, jac, p []float64) {
	le := math.Log(p[3])
	span := p[1] - p[0]
	for i, lx := range l.lx {
		row := jac[4*i : 4*i+4]
		d := lx - le
		e := 0.0
		if !math.IsInf(lx, -1) {
			e = math.Exp(p[2] * d)
		} else {
			d = 0
		}
		g := 1 / (1 + e)
		f := e * g
		if math.IsInf(e, 1) {
			f, g = 1, 0
		}
		s := span * f * g
		row[0], row[1], row[2], row[3] = g, f, s*d, -s*p[2]/p[3]
		r[i] = p[0]*g + p[1]*f - l.y[i]
	}
}

// BenchmarkFitLogistic is one fit from the fixed start with a reused workspace,
// at the default tolerance (1e-12) and at the peers' (1e-8).
func BenchmarkFitLogistic(b *testing.B) {
	pr := newLogistic(ryegrass(b))
	for _, tol := range []float64{1e-12, 1e-8} {
		b.Run(fmt.Sprintf("tol=%g", tol), func(b *testing.B) {
			var s fit.Solver
			opt := &fit.Options{Tol: tol}
			b.ReportAllocs()
			for b.Loop() {
				if _, err := s.Solve(pr, fitStart, opt); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkRegressLogistic is the whole of Regress: self-start, fit, covariance.
func BenchmarkRegressLogistic(b *testing.B) {
	d := ryegrass(b)
	b.Run("given start", func(b *testing.B) {
		for b.Loop() {
			if _, err := fit.Regress(fit.Sigmoid{Curve: fit.LogLogistic{}}, d, fit.Equal{}, &fit.FitOptions{Start: fitStart}); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("self-start", func(b *testing.B) {
		for b.Loop() {
			if _, err := fit.Regress(fit.Sigmoid{Curve: fit.LogLogistic{}}, d, fit.Equal{}, nil); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// BenchmarkGroupBootstrap is 2000 refits of 5-parameter problems with 96
// readings in 24 groups: two factors, well determined, and one dose with a free
// shape, of which many resamples do not determine the shape.
func BenchmarkGroupBootstrap(b *testing.B) {
	for name, r := range map[string]*fit.Result{"two factors": twoFactorFit(b), "free shape": bootstrapFit(b)} {
		b.Run(name, func(b *testing.B) {
			failed := 0
			for b.Loop() {
				bs, err := r.Bootstrap(fit.Groups, 2000, rand.New(rand.NewPCG(7, 7)))
				if err != nil {
					b.Fatal(err)
				}
				failed = bs.Failed
			}
			b.ReportMetric(float64(failed), "failed/2000")
		})
	}
}

func twoFactorFit(b testing.TB) *fit.Result {
	b.Helper()
	rng := rand.New(rand.NewPCG(1, 8))
	var d []fit.Observation
	for g := range 24 {
		s, tm := math.Exp(0.5*float64(g%6)), math.Exp(1+0.6*float64(g/6))
		lot := 0.1 * rng.NormFloat64()
		for range 4 {
			eta := 0.9*math.Log(s) + 0.8*math.Log(tm) - 2.5 + lot
			d = append(d, fit.Observation{X: []float64{s, tm}, Y: 80 - 60*(fit.LogLogistic{}).At(eta) + rng.NormFloat64(), Group: fmt.Sprint(g)})
		}
	}
	m, err := fit.NewMultiFactor(fit.LogLogistic{}, []fit.Factor{{Name: "strength", Transform: fit.Ln}, {Name: "time", Transform: fit.Ln}}, d)
	if err != nil {
		b.Fatal(err)
	}
	r, err := fit.Regress(m, d, fit.Equal{}, nil)
	if err != nil {
		b.Fatal(err)
	}
	return r
}

func bootstrapFit(b testing.TB) *fit.Result {
	b.Helper()
	rng := rand.New(rand.NewPCG(1, 9))
	m := fit.Sigmoid{Curve: fit.Richards{S: 1}}
	truth := []float64{80, 20, 1.8, 4, 0.8}
	var d []fit.Observation
	for g := range 24 {
		x := math.Exp(-1.5 + 0.2*float64(g))
		lot := rng.NormFloat64()
		for range 4 {
			d = append(d, fit.Observation{X: []float64{x}, Y: m.Eval(truth, []float64{x}) + lot + 0.5*rng.NormFloat64(), Group: fmt.Sprint(g)})
		}
	}
	r, err := fit.Regress(m, d, fit.Equal{}, nil)
	if err != nil {
		b.Fatal(err)
	}
	return r
}

// BenchmarkFitLarge shows how the cost grows with the number of readings.
func BenchmarkFitLarge(b *testing.B) {
	for _, n := range []int{1e3, 1e4, 1e5, 1e6} {
		pr := large(n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			var s fit.Solver
			iters := 0
			for b.Loop() {
				sol, err := s.Solve(pr, []float64{75, 25, 1.5, 6}, nil)
				if err != nil {
					b.Fatal(err)
				}
				iters = sol.Evals
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/reading")
			b.ReportMetric(float64(iters), "evaluations")
		})
	}
}

func large(n int) *logisticProblem {
	rng := rand.New(rand.NewPCG(3, 3))
	m := fit.Sigmoid{Curve: fit.LogLogistic{}}
	truth := []float64{80, 20, 2, 5}
	d := make([]fit.Observation, n)
	for i := range d {
		x := []float64{50 * rng.Float64()}
		d[i] = fit.Observation{X: x, Y: m.Eval(truth, x) + rng.NormFloat64()}
	}
	return newLogistic(d)
}

// TestRefitAllocations: a refit with a reused workspace allocates nothing.
func TestRefitAllocations(t *testing.T) {
	pr := newLogistic(ryegrass(t))
	var s fit.Solver
	opt := &fit.Options{}
	if _, err := s.Solve(pr, fitStart, opt); err != nil {
		t.Fatal(err)
	}
	if a := testing.AllocsPerRun(100, func() {
		if _, err := s.Solve(pr, fitStart, opt); err != nil {
			t.Fatal(err)
		}
	}); a != 0 {
		t.Errorf("%g allocations per refit", a)
	}
}

var peers = flag.Bool("fit.peers", false, "print the CPU time of one fit, for comparison with bench/fit_peers")

// TestFitCPU prints what bench/fit_peers prints for the peers: CPU time of one
// fit, best of 50 rounds, and the estimates.
func TestFitCPU(t *testing.T) {
	if !*peers {
		t.Skip("for comparison with peers: -fit.peers")
	}
	cpu := func() float64 {
		var u syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
			t.Fatal(err)
		}
		return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e3
	}
	d := ryegrass(t)
	pr := newLogistic(d)
	measure := func(name string, reps int, f func() *fit.Solution) {
		best := math.Inf(1)
		var sol *fit.Solution
		for range 50 {
			t0 := cpu()
			for range reps {
				sol = f()
			}
			best = math.Min(best, (cpu()-t0)/float64(reps))
		}
		fmt.Printf("fit %s: %.3f us/fit", name, best)
		if sol != nil {
			fmt.Printf("  %d evaluations, %d factorizations, p = %.15g", sol.Evals, sol.Iter, sol.P)
		}
		fmt.Println()
	}
	for _, tol := range []float64{1e-4, 1e-6, 1e-8, 1e-12} {
		var s fit.Solver
		opt := &fit.Options{Tol: tol}
		measure(fmt.Sprintf("Solver tol=%g", tol), 2000, func() *fit.Solution {
			sol, err := s.Solve(pr, fitStart, opt)
			if err != nil {
				t.Fatal(err)
			}
			return sol
		})
	}
	measure("Regress, given start", 500, func() *fit.Solution {
		if _, err := fit.Regress(fit.Sigmoid{Curve: fit.LogLogistic{}}, d, fit.Equal{}, &fit.FitOptions{Start: fitStart}); err != nil {
			t.Fatal(err)
		}
		return nil
	})
	bootstrap := func(name string, r *fit.Result) {
		best := math.Inf(1)
		failed := 0
		for range 10 {
			t0 := cpu()
			bs, err := r.Bootstrap(fit.Groups, 2000, rand.New(rand.NewPCG(7, 7)))
			if err != nil {
				t.Fatal(err)
			}
			best, failed = math.Min(best, cpu()-t0), bs.Failed
		}
		fmt.Printf("fit bootstrap by group, %s: %.1f ms for 2000 refits, %d failed\n", name, best/1e3, failed)
	}
	bootstrap("two factors", twoFactorFit(t))
	bootstrap("free shape", bootstrapFit(t))
	var lx, ly []float64
	for _, n := range []int{1e3, 1e4, 1e5, 1e6} {
		pr := large(n)
		var s fit.Solver
		best, evals := math.Inf(1), 0
		for round := 0; round < 3+100000/n; round++ {
			t0 := cpu()
			sol, err := s.Solve(pr, []float64{75, 25, 1.5, 6}, nil)
			if err != nil {
				t.Fatal(err)
			}
			best, evals = math.Min(best, cpu()-t0), sol.Evals
		}
		fmt.Printf("fit of %d readings: %.1f us, %.1f ns per reading and evaluation (%d)\n", n, best, best*1e3/float64(n*evals), evals)
		lx, ly = append(lx, math.Log(float64(n))), append(ly, math.Log(best/float64(evals)))
	}
	k := len(lx) - 1
	fmt.Printf("slope of ln time per evaluation on ln n, 1e3 to 1e6: %.3f\n", (ly[k]-ly[0])/(lx[k]-lx[0]))
}
