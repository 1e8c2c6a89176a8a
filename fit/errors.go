package fit

import "errors"

// Sentinel errors. Returned errors wrap them with what was found and what to
// do; test with errors.Is.
var (
	// ErrNotConverged comes with a result: the iteration stopped before the
	// minimum and the values are the best seen.
	ErrNotConverged = errors.New("not converged")
	// ErrNonFinite means that NaN or an infinity was met where a number is needed.
	ErrNonFinite = errors.New("not a finite number")
	// ErrTooFewData means that there are fewer observations than free parameters.
	ErrTooFewData = errors.New("too few observations")
	// ErrScale means that the numbers are so large or small that their squares
	// leave the range of float64.
	ErrScale = errors.New("values out of range: rescale the data")
	// ErrNotIdentified means that the data cannot tell some parameters apart.
	ErrNotIdentified = errors.New("parameters not identified by the data")
	// ErrBadInput means options, bounds or data that contradict each other. It comes
	// with a result where the derivatives of a model contradict its values.
	ErrBadInput = errors.New("bad input")
)
