package main

import (
	"fmt"
	"math"
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
)

// What texts and pages are worded with.

// names joins a list as people do.
func names(list []string) string {
	if len(list) < 2 {
		return strings.Join(list, "")
	}
	return strings.Join(list[:len(list)-1], ", ") + " and " + list[len(list)-1]
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

func counted(n int) string {
	if n < 10 {
		return []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"}[n]
	}
	return fmt.Sprint(n)
}

// signed writes a difference with its sign.
func signed(v float64, d int) string {
	s := report.Fixed(v, d)
	if strings.HasPrefix(s, "-") || report.Fixed(0, d) == s {
		return minus(s)
	}
	return "+" + s
}

// minus makes a true minus sign of a hyphen.
func minus(s string) string { return strings.Replace(s, "-", "−", 1) }

// sentence begins with a capital and ends with a stop.
func sentence(s string) string {
	if s == "" {
		return s
	}
	s = capital(s)
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}

// capital is s with a capital first letter.
func capital(s string) string {
	r := []rune(s)
	return strings.ToUpper(string(r[:1])) + string(r[1:])
}

func sentences(list []string) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = sentence(s)
	}
	return out
}

// worded writes columns of the process in a list as the page names them.
func worded(p discharge.Process, list []string) []string {
	var pairs []string
	for _, f := range p.Factors {
		pairs = append(pairs, f.Column, strings.ReplaceAll(f.Name(), "-", " "))
	}
	names := strings.NewReplacer(pairs...)
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = names.Replace(s)
	}
	return out
}

// apart says how a shade differs from the target, where it can be seen.
func apart(target, c shadeJSON) string {
	var parts []string
	add := func(d float64, up, down string) {
		if math.Abs(d) >= 0.15 {
			word := up
			if d < 0 {
				word = down
			}
			parts = append(parts, fmt.Sprintf("%.1f %s", math.Abs(d), word))
		}
	}
	add(c.L-target.L, "lighter", "darker")
	add(c.A-target.A, "redder", "greener")
	add(c.B-target.B, "yellower", "bluer")
	return names(parts)
}

// tenths writes a number as people dial it.
func tenths(v float64) string { return strings.TrimSuffix(report.Fixed(v, 1), ".0") }

func withUnit(v float64, unit string) string {
	if unit == "" {
		return tenths(v)
	}
	return tenths(v) + " " + unit
}
