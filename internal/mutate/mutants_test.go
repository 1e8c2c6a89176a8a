package main

import (
	"go/parser"
	"go/token"
	"slices"
	"strings"
	"testing"
)

const sample = `package p

import (
	"fmt"
	"math"
)

const limit = 2

type t struct{ x float64 }

func (t) f(a float64, _ int, rest ...int) (y float64, err error) {
	if a < 0 && len(rest) > 0 {
		return 0, fmt.Errorf("negative: %g of %d", -a, 3)
	}
	y = a*1.5 - math.Sin(-a)
	y += math.Inf(-1)
	return
}
`

// Each kind of slip is found, none inside a message, and the file with the
// copies still parses, the original switching to them.
func TestMutants(t *testing.T) {
	list, fset, err := find("p.go", []byte(sample), nil)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for i, m := range list {
		m.id = i + 1
		got = append(got, m.is)
	}
	for _, want := range []string{"const limit = 3", "if a <= 0 && len(rest) > 0 {", "if a >= 0 && len(rest) > 0 {", "if a < 0 || len(rest) > 0 {",
		"y = a/1.5 - math.Sin(-a)", "y = a*1.5 + math.Sin(-a)", "y = a*1.5 - math.Cos(-a)", "y = a*1.5 - math.Sin(a)", "y = a*(1.5*1.01) - math.Sin(-a)",
		"y -= math.Inf(-1)", "_ = 0", "y += math.Inf(1)"} {
		if !slices.Contains(got, want) {
			t.Errorf("no mutant %q among %q", want, got)
		}
	}
	for _, m := range list {
		if strings.Contains(m.was, "Errorf") && !strings.Contains(m.is, `-a, 3)`) {
			t.Errorf("a message was changed: %s", m.is)
		}
	}
	text, lines := schema([]byte(sample), fset, list)
	if _, err := parser.ParseFile(token.NewFileSet(), "p.go", text, 0); err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	if !strings.Contains(string(text), "return unnamed1.f_mutant") || !strings.Contains(string(text), "rest...)") {
		t.Errorf("the original does not switch to its copies:\n%s", text)
	}
	if n := strings.Count(string(text), "\n"); len(lines) != n+1 {
		t.Errorf("%d lines, %d owners", n, len(lines))
	}
}
