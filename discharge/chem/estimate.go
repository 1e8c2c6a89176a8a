package chem

import (
	"fmt"
	"math"

	"example.com/dosetone/internal/quantile"
)

// Estimate is a measured value with what is known of its error.
type Estimate[T ~float64] struct {
	Value, SE T
	DF        float64 // effective degrees of freedom (GUM [2] G.4.1); +Inf never: capped at 1e6
	Lo, Hi    T       // 95 % interval
	Parts     []Part  // where SE comes from, in percent of the value
	Warnings  []string
}

// Part is one source of uncertainty.
type Part struct {
	Source  string
	Percent float64 // relative standard uncertainty
}

// Tolerances of the equipment: half-widths as marked on it, for a titrant its
// relative half-width. Zero means exact.
type Tolerances struct {
	Burette, Pipette, Flask Volume
	Balance                 Mass
	Titrant                 float64
}

// DefaultTolerances is class A glass (burette 50 mL ± 0.05, pipette 10 mL ± 0.02,
// flask 100 mL ± 0.1 mL; ISO 385, 648 and 1042 from memory), a balance read to
// ± 1 mg and a titrant known to ± 0.3 % (common practice, no source).
func DefaultTolerances() Tolerances {
	return Tolerances{Burette: 0.05 * Milliliter, Pipette: 0.02 * Milliliter, Flask: 0.1 * Milliliter, Balance: Milligram, Titrant: 0.003}
}

// drop is the repeatability taken for a single titre: one drop (common
// practice, no source).
const drop = 0.05 * Milliliter

// maxDF stands for "known exactly" so that no Inf travels.
const maxDF = 1e6

// triangular is the standard uncertainty of a tolerance ± half as CG 4 [3]
// takes it, relative to x.
func triangular(half, x float64) float64 { return half / math.Sqrt(6) / x }

// estimate joins replicate results, which are values of the same thing, with
// relative uncertainties common to all of them.
func estimate[T ~float64](results []float64, single float64, common []Part) Estimate[T] {
	n := float64(len(results))
	mean := 0.0
	for _, r := range results {
		mean += r / n
	}
	repeat, df := single, maxDF
	source := "reading of the single titre, taken as one drop"
	var warnings []string
	if len(results) == 1 {
		warnings = append(warnings, "one titre: its repeatability is assumed, not measured; titrate at least three times")
	} else {
		ss := 0.0
		for _, r := range results {
			ss += (r/mean - 1) * (r/mean - 1)
		}
		repeat, df = math.Sqrt(ss/(n-1)/n), n-1
		source = fmt.Sprintf("repeatability of %d titres", len(results))
		if s := math.Sqrt(ss / (n - 1)); s > 0.01 {
			warnings = append(warnings, fmt.Sprintf("titres scatter by %.1f %% (standard deviation); good work stays within 0.5 %%: look for a missed end point, air in the burette, or settling", 100*s))
		}
	}
	parts := append([]Part{{source, 100 * repeat}}, common...)
	u2 := 0.0
	for i := range parts {
		u2 += parts[i].Percent * parts[i].Percent / 1e4
	}
	u := math.Sqrt(u2)
	eff := float64(maxDF)
	if repeat > 0 && df < maxDF {
		eff = math.Min(df*math.Pow(u/repeat, 4), maxDF) // Welch-Satterthwaite, [2] G.2b
	}
	h := u * mean * quantile.Student(0.975, eff)
	return Estimate[T]{Value: T(mean), SE: T(u * mean), DF: eff, Lo: T(math.Max(mean-h, 0)), Hi: T(mean + h), Parts: parts, Warnings: warnings}
}

// sound refuses an estimate that is no number: then what was given lies so far
// beyond any titration that products of it overflow or vanish.
func sound[T ~float64](e Estimate[T]) (Estimate[T], error) {
	numbers := []float64{float64(e.Value), float64(e.SE), e.DF, float64(e.Lo), float64(e.Hi)}
	for _, p := range e.Parts {
		numbers = append(numbers, p.Percent)
	}
	if !finite(numbers...) || !(e.Value > 0) {
		return Estimate[T]{}, fmt.Errorf("%w: it comes out as %g with a standard uncertainty of %g; check the units of what was given", ErrTitration, float64(e.Value), float64(e.SE))
	}
	return e, nil
}

func finite(x ...float64) bool {
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// Scale returns the estimate times a constant, in the unit that it then has.
func Scale[U, T ~float64](e Estimate[T], k float64) Estimate[U] {
	return Estimate[U]{U(float64(e.Value) * k), U(float64(e.SE) * k), e.DF, U(float64(e.Lo) * k), U(float64(e.Hi) * k), e.Parts, e.Warnings}
}
