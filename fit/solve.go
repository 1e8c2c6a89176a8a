package fit

import (
	"fmt"
	"math"
)

// A Problem is a sum of squares to be minimized: residuals r(p) in R^m of
// parameters p in R^n. Priors and penalties are further residuals.
type Problem interface {
	// Dims returns the numbers of residuals and parameters.
	Dims() (m, n int)
	// Residuals sets dst (length m) to r(p).
	Residuals(dst, p []float64)
	// Jacobian sets dst (m×n by rows) to ∂r_i/∂p_j.
	Jacobian(dst, p []float64)
}

// A JointProblem computes residuals and Jacobian in one pass, which saves the
// functions that both need; r and jac have the lengths that Problem gives dst.
// The solver prefers it.
type JointProblem interface {
	Problem
	ResidualsJacobian(r, jac, p []float64)
}

// Options of the solver. nil and zero values mean the defaults.
type Options struct {
	// MaxIter bounds the number of Jacobians factored in one run; 0 means 1000. A
	// run that does not end well is repeated with smaller first steps (StepBound),
	// up to four times.
	MaxIter int
	// Tol is the relative error at which parameters count as found; 0 means
	// 1e-12. The iteration stops earlier where rounding error rules.
	Tol float64
	// Lower and Upper bound the parameters, one entry each; nil means no
	// bounds, ±Inf entries leave one side open.
	Lower, Upper []float64
	// Fixed parameters keep their start value; one entry each, nil means none.
	Fixed []bool
	// StepBound is the radius of the first trust region in units of the
	// scaled length of the start; 0 means 100. Where the run from it ends in
	// a flat place, smaller ones are tried.
	StepBound float64

	once bool // no further tries: the start is close already
}

// stepBounds are tried in turn, until one run ends in a proper minimum.
var stepBounds = [...]float64{100, 1, 0.1, 0.01}

// A Solution is the end of an iteration.
type Solution struct {
	P         []float64 // parameters
	Residuals []float64 // r(P)
	RSS       float64   // sum of squared residuals, compensated
	Converged bool
	Reason    string // why the iteration stopped
	Iter      int    // Jacobians factored
	Evals     int    // evaluations of the residuals
	// Free are the indices of the parameters that are neither fixed nor held
	// at a bound.
	Free []int
	// AtBound is −1 (lower), +1 (upper) or 0 for each parameter.
	AtBound []int
	// Rank of the Jacobian's free columns; below len(Free) the data do not
	// identify all parameters.
	Rank int
	// Precision estimates the relative error of P left by the iteration.
	Precision float64

	m, n int
	jac  []float64 // m×n at P
}

// A Solver holds the workspace of Solve. It may be reused, for problems of any
// size, and then does not allocate; it is not safe for concurrent use.
type Solver struct {
	sol          Solution
	pr           Problem
	joint        JointProblem
	m, n         int
	p, pTry      []float64
	r, rTry      []float64
	jac, jacTry  []float64
	rhs          []float64
	best, again  []float64
	lower, upper []float64
	fixed        []bool
	d, s, g      []float64 // scale, step, work, by parameter
	free, active []int
	dq, sc       []float64 // scale by position, power of two by position
	q            qr
	reg          region
	maxIter      int
	tol          float64
	iter, evals  int
	runs         int // from the start with smaller and smaller first steps
	rank         int
	h            []float64 // Broyden's inverse, n×n
	f, fOld, dx  []float64
	w1, w2       []float64
}

// Solve minimizes the sum of squares of pr from start, one finite value per
// parameter; a nil opt means the defaults. The result is nil only
// when the problem could not be started; an error wrapping ErrNotConverged
// comes with the best point found.
//
// The method is Moré's trust-region Gauss-Newton iteration by QR with column
// scaling, bounds by an active set, and Gauss-Newton steps with compensated
// gradients at the end.
func Solve(pr Problem, start []float64, opt *Options) (*Solution, error) {
	var s Solver
	return s.Solve(pr, start, opt)
}

// Solve is like the function Solve with a workspace. The result is overwritten
// by the next call.
func (s *Solver) Solve(pr Problem, start []float64, opt *Options) (*Solution, error) {
	if opt == nil {
		opt = &Options{}
	}
	if err := s.prepare(pr, start, opt); err != nil {
		return nil, err
	}
	if len(s.free) == 0 {
		return s.evaluateOnly(start)
	}
	first := opt.StepBound
	if first == 0 {
		first = stepBounds[0]
	}
	// A flat place or too many steps: shorter first steps often stay in the
	// basin of the start.
	bestRSS := math.Inf(1)
	for bound := first; ; {
		ok, err := s.run(start, bound)
		if err != nil {
			return nil, err
		}
		if ok && s.sol.RSS <= bestRSS*(1+1e-9) || opt.once {
			break
		}
		if s.sol.RSS < bestRSS {
			bestRSS = s.sol.RSS
			copy(s.best, s.sol.P)
		}
		if bound <= stepBounds[len(stepBounds)-1] {
			// The last resort is to go on from the best point seen.
			if s.sol.RSS > bestRSS {
				copy(s.again, s.best)
				if _, err := s.run(s.again, bound); err != nil {
					return nil, err
				}
			}
			break
		}
		for _, b := range stepBounds {
			if b < bound {
				bound = b
				break
			}
		}
	}
	if !s.sol.Converged {
		runs := ""
		if s.runs > 1 {
			runs = fmt.Sprintf(" in %d runs", s.runs)
		}
		return &s.sol, fmt.Errorf("fit: %w after %d iterations%s (%s)", ErrNotConverged, s.sol.Iter, runs, s.sol.Reason)
	}
	return &s.sol, nil
}

func (s *Solver) prepare(pr Problem, start []float64, opt *Options) error {
	s.pr = pr
	s.joint, _ = pr.(JointProblem)
	m, n := pr.Dims()
	switch {
	case n < 1 || m < 1:
		return fmt.Errorf("fit: %w: %d residuals of %d parameters", ErrBadInput, m, n)
	case len(start) != n:
		return fmt.Errorf("fit: %w: %d start values for %d parameters", ErrBadInput, len(start), n)
	case opt.Lower != nil && len(opt.Lower) != n, opt.Upper != nil && len(opt.Upper) != n, opt.Fixed != nil && len(opt.Fixed) != n:
		return fmt.Errorf("fit: %w: Lower, Upper and Fixed need %d entries or none", ErrBadInput, n)
	}
	if opt.MaxIter < 0 || !(opt.Tol >= 0) || !(opt.StepBound >= 0) {
		return fmt.Errorf("fit: %w: MaxIter %d, Tol %g, StepBound %g (none may be negative, 0 means the default)", ErrBadInput, opt.MaxIter, opt.Tol, opt.StepBound)
	}
	if m != s.m || n != s.n {
		s.m, s.n = m, n
		for _, v := range []*[]float64{&s.p, &s.pTry, &s.best, &s.again, &s.d, &s.s, &s.g, &s.dq, &s.sc, &s.f, &s.fOld, &s.dx, &s.w1, &s.w2, &s.lower, &s.upper} {
			*v = grow(*v, n)
		}
		s.r, s.rTry, s.rhs = grow(s.r, m), grow(s.rTry, m), grow(s.rhs, m)
		s.jac, s.jacTry = grow(s.jac, m*n), grow(s.jacTry, m*n)
		if cap(s.free) < n {
			s.free, s.active, s.fixed = make([]int, 0, n), make([]int, 0, n), make([]bool, n)
		}
		s.h = grow(s.h, n*n)
		s.q.resize(m, n)
		s.reg.resize(n)
	}
	s.fixed = s.fixed[:n]
	s.free = s.free[:0]
	for j := 0; j < n; j++ {
		lo, hi := math.Inf(-1), math.Inf(1)
		if opt.Lower != nil {
			lo = opt.Lower[j]
		}
		if opt.Upper != nil {
			hi = opt.Upper[j]
		}
		if !(lo <= hi) {
			return fmt.Errorf("fit: %w: parameter %d has bounds [%g, %g]", ErrBadInput, j, lo, hi)
		}
		if math.IsNaN(start[j]) || math.IsInf(start[j], 0) {
			return fmt.Errorf("fit: start of parameter %d: %w", j, ErrNonFinite)
		}
		s.lower[j], s.upper[j] = lo, hi
		s.fixed[j] = opt.Fixed != nil && opt.Fixed[j] || lo == hi
		if !s.fixed[j] {
			s.free = append(s.free, j)
		}
	}
	if m < len(s.free) {
		return fmt.Errorf("fit: %w: %d residuals for %d free parameters", ErrTooFewData, m, len(s.free))
	}
	s.maxIter = opt.MaxIter
	if s.maxIter == 0 {
		s.maxIter = 1000
	}
	s.tol = opt.Tol
	if s.tol == 0 {
		s.tol = 1e-12
	}
	s.iter, s.runs, s.evals = 0, 0, 0
	return nil
}

func (s *Solver) eval(r, jac, p []float64) bool {
	s.evals++
	if s.joint != nil {
		s.joint.ResidualsJacobian(r, jac, p)
		return finite(r) && finite(jac)
	}
	s.pr.Residuals(r, p)
	if !finite(r) {
		return false
	}
	s.pr.Jacobian(jac, p)
	return finite(jac)
}

// startAt evaluates the start, moved into the bounds.
func (s *Solver) startAt(start []float64) (float64, error) {
	for j, v := range start {
		if !s.fixed[j] || s.lower[j] == s.upper[j] {
			v = math.Min(math.Max(v, s.lower[j]), s.upper[j])
		}
		s.p[j] = v
	}
	if !s.eval(s.r, s.jac, s.p) {
		for i, v := range s.r {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return 0, fmt.Errorf("fit: residual %d at the start: %w", i, ErrNonFinite)
			}
		}
		return 0, fmt.Errorf("fit: derivatives at the start: %w", ErrNonFinite)
	}
	f := norm2(s.r)
	if f > 1e150 {
		return 0, fmt.Errorf("fit: residuals of size %.3g at the start: %w", f, ErrScale)
	}
	if f != 0 && f < 1e-150 {
		return 0, fmt.Errorf("fit: residuals of size %.3g at the start: %w", f, ErrScale)
	}
	return f, nil
}

func (s *Solver) evaluateOnly(start []float64) (*Solution, error) {
	if _, err := s.startAt(start); err != nil {
		return nil, err
	}
	s.active = s.active[:0]
	s.rank = 0
	s.finish(true, "all parameters are fixed", 0)
	return &s.sol, nil
}

// finish fills the solution.
func (s *Solver) finish(converged bool, reason string, precision float64) bool {
	o := &s.sol
	if len(o.P) != s.n {
		o.P = grow(o.P, s.n)
		if cap(o.AtBound) < s.n {
			o.AtBound = make([]int, s.n)
			o.Free = make([]int, 0, s.n)
		}
		o.AtBound = o.AtBound[:s.n]
	}
	copy(o.P, s.p)
	o.Residuals, o.jac, o.m, o.n = s.r, s.jac, s.m, s.n
	o.RSS = sumSquares(s.r)
	o.Converged, o.Reason, o.Precision = converged, reason, precision
	o.Iter, o.Evals = s.iter, s.evals
	o.Free = append(o.Free[:0], s.active...)
	o.Rank = s.rank
	for j := range o.AtBound {
		switch {
		case s.fixed[j]:
			o.AtBound[j] = 0
		case s.p[j] <= s.lower[j]:
			o.AtBound[j] = -1
		case s.p[j] >= s.upper[j]:
			o.AtBound[j] = 1
		default:
			o.AtBound[j] = 0
		}
	}
	return converged && s.rank == len(s.active)
}
