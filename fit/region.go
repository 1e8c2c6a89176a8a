package fit

import (
	"fmt"
	"math"

	"example.com/dosetone/internal/golden"
)

// RegionKind is the shape of the set of doses that agree with a response.
type RegionKind int

// Kinds of regions.
const (
	Segment      RegionKind = iota // Lo ≤ x ≤ Hi
	HalfLineDown                   // x ≤ Hi: the lower side is not limited
	HalfLineUp                     // x ≥ Lo: the upper side is not limited
	TwoHalfLines                   // x ≤ Lo or x ≥ Hi: the data exclude only what lies between
	WholeLine                      // the data say nothing of the dose
	Nowhere                        // no dose agrees with the response
)

// A Region is an inverse interval: the doses that agree with a response.
// Limits that a kind does not have are ±Inf.
type Region struct {
	Kind   RegionKind
	Lo, Hi float64
	Level  float64
}

// Contains reports whether x lies in the region.
func (r Region) Contains(x float64) bool {
	switch r.Kind {
	case TwoHalfLines:
		return x <= r.Lo || x >= r.Hi
	case Nowhere:
		return false
	}
	return r.Lo <= x && x <= r.Hi
}

// String prints the region.
func (r Region) String() string {
	switch r.Kind {
	case Segment:
		return fmt.Sprintf("%.6g .. %.6g", r.Lo, r.Hi)
	case HalfLineDown:
		return fmt.Sprintf("at most %.6g", r.Hi)
	case HalfLineUp:
		return fmt.Sprintf("at least %.6g", r.Lo)
	case TwoHalfLines:
		return fmt.Sprintf("at most %.6g or at least %.6g", r.Lo, r.Hi)
	case WholeLine:
		return "not limited by the data"
	}
	return "no dose agrees"
}

// region finds where outside(x) ≤ 0 in [Lo, Hi]: a scan in steps of a two-hundredth
// of the range and bisection of the sign changes.
func (v Inverse) region(level float64, outside func(float64) float64) (Region, error) {
	if math.IsInf(v.Lo, 0) || math.IsInf(v.Hi, 0) || !(v.Lo < v.Hi) {
		return Region{}, fmt.Errorf("fit: %w: inverse search range [%g, %g]", ErrBadInput, v.Lo, v.Hi)
	}
	const steps = 200
	var edges []float64
	clamp := func(x float64) float64 {
		f := outside(x)
		if math.IsNaN(f) || math.IsInf(f, 1) {
			return 1e300
		}
		return f
	}
	at := func(k int) float64 { return v.Lo + (v.Hi-v.Lo)*float64(k)/steps }
	first := clamp(v.Lo)
	last := first
	in := last <= 0
	firstIn := in
	best, bestX := last, v.Lo
	for k := 1; k <= steps; k++ {
		x := at(k)
		f := clamp(x)
		if f < best {
			best, bestX = f, x
		}
		if (f <= 0) != in {
			edges = append(edges, bisect(clamp, at(k-1), x))
			in = f <= 0
		}
		last = f
	}
	if len(edges) == 0 && !in {
		// A region narrower than the scan: look around the minimum.
		h := (v.Hi - v.Lo) / steps
		tol := math.Max(1e-12*h, 1e-15*(math.Abs(v.Lo)+math.Abs(v.Hi))) // two places of x at least
		x, f := golden.Section(clamp, math.Max(v.Lo, bestX-h), math.Min(v.Hi, bestX+h), tol)
		if f > 0 {
			return Region{Kind: Nowhere, Lo: math.Inf(1), Hi: math.Inf(-1), Level: level}, nil
		}
		edges = []float64{bisect(clamp, math.Max(v.Lo, bestX-h), x), bisect(clamp, x, math.Min(v.Hi, bestX+h))}
	}
	inf := math.Inf(1)
	switch {
	case len(edges) == 0:
		return Region{Kind: WholeLine, Lo: -inf, Hi: inf, Level: level}, nil
	case len(edges) == 1 && firstIn:
		return Region{Kind: HalfLineDown, Lo: -inf, Hi: edges[0], Level: level}, nil
	case len(edges) == 1:
		return Region{Kind: HalfLineUp, Lo: edges[0], Hi: inf, Level: level}, nil
	case firstIn && in:
		return Region{Kind: TwoHalfLines, Lo: edges[0], Hi: edges[len(edges)-1], Level: level}, nil
	case firstIn:
		return Region{Kind: HalfLineDown, Lo: -inf, Hi: edges[len(edges)-1], Level: level}, nil
	case in:
		return Region{Kind: HalfLineUp, Lo: edges[0], Hi: inf, Level: level}, nil
	}
	return Region{Kind: Segment, Lo: edges[0], Hi: edges[len(edges)-1], Level: level}, nil
}
