package report

import (
	"fmt"
	"math"
	"strconv"
)

// Exact writes v with as many digits as give the same number back.
func Exact(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// Short writes v with at most n significant digits and no exponent where one
// can be avoided: 12.5, 0.35, 1500.
func Short(v float64, n int) string {
	if v == 0 {
		return "0"
	}
	digits := max(0, n-1-int(math.Floor(math.Log10(math.Abs(v)))))
	s := strconv.FormatFloat(v, 'f', min(digits, 12), 64)
	f, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return s
	}
	return strconv.FormatFloat(f, 'f', -1, 64)
}

// PlusMinus writes v ± half with digits that the interval deserves: two
// significant ones of half, three when it starts with 1, at most two decimals.
func PlusMinus(v, half float64) string {
	d := Decimals(half)
	return fmt.Sprintf("%s ± %s", Fixed(v, d), Fixed(half, d))
}

// Decimals is how many decimals a value with that uncertainty deserves.
func Decimals(half float64) int {
	switch {
	case half >= 10:
		return 0
	case half >= 1:
		return 1
	}
	return 2
}

// Fixed writes v with d decimals, and no minus before zero.
func Fixed(v float64, d int) string {
	s := strconv.FormatFloat(v, 'f', d, 64)
	if f, err := strconv.ParseFloat(s, 64); err == nil && f == 0 {
		return strconv.FormatFloat(0, 'f', d, 64)
	}
	return s
}

// Percent writes a probability for people: 71 %, and never 100 % for less.
func Percent(p float64) string {
	switch {
	case p >= 0.995 && p < 1:
		return "> 99 %"
	case p > 0 && p < 0.005:
		return "< 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}
