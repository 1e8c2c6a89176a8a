package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/colorimetry"
)

// The flag values that are not in pflag: numbers that are finite and may have
// a decimal comma, lists of them, and viewings.

// number is a finite number that may be absent.
type number struct {
	set   bool
	value float64
	comma string // as typed with a decimal comma; "" without one
}

func (n *number) String() string {
	if n == nil || !n.set {
		return ""
	}
	return report.Exact(n.value)
}

func (n *number) Type() string { return "number" }

func (n *number) Set(s string) error {
	v, err := parseNumber(strings.Replace(s, ",", ".", 1))
	if err != nil {
		return err
	}
	n.set, n.value, n.comma = true, v, ""
	if strings.Contains(s, ",") {
		n.comma = s
	}
	return nil
}

// itself lets flags that hold a number say what was typed.
func (n *number) itself() *number { return n }

// gramsPerLiter is a strength in g/L, with or without its unit.
type gramsPerLiter struct {
	number
	unit bool // it was typed, so percent is not what was meant
}

func (g *gramsPerLiter) Set(s string) error {
	s = strings.TrimSpace(s)
	if strings.HasSuffix(s, "%") {
		return fmt.Errorf("%q is in percent, which is per volume or per weight; want g/L: trade percent (g per 100 mL) times 10", s)
	}
	value := s
	if n := len(s) - len("g/L"); n > 0 && strings.EqualFold(s[n:], "g/L") {
		value = s[:n]
	}
	g.unit = value != s
	return g.number.Set(value)
}

func parseNumber(s string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is not a finite number", s)
	}
	return v, nil
}

// numbers is a list: "1,2,4"; with semicolons the numbers may have a decimal
// comma: "1,5;2".
type numbers []float64

func (l *numbers) String() string {
	var parts []string
	for _, v := range *l {
		parts = append(parts, report.Exact(v))
	}
	return strings.Join(parts, ",")
}

func (l *numbers) Type() string { return "list" }

func (l *numbers) Set(s string) error {
	separator := ","
	if strings.Contains(s, ";") {
		s, separator = strings.ReplaceAll(s, ",", "."), ";"
	}
	*l = nil
	for part := range strings.SplitSeq(s, separator) {
		v, err := parseNumber(part)
		if err != nil {
			return err
		}
		*l = append(*l, v)
	}
	return nil
}

// labValue is a color "L,a,b".
type labValue struct {
	set bool
	lab colorimetry.Lab
}

func (v *labValue) String() string {
	if v == nil || !v.set {
		return ""
	}
	l := numbers{v.lab.L, v.lab.A, v.lab.B}
	return l.String()
}

func (v *labValue) Type() string { return "L,a,b" }

func (v *labValue) Set(s string) error {
	var l numbers
	if err := l.Set(s); err != nil {
		return err
	}
	if len(l) != 3 {
		return fmt.Errorf("want three numbers L,a,b, have %d", len(l))
	}
	if l[0] < 0 || l[0] > 150 || math.Abs(l[1]) > 200 || math.Abs(l[2]) > 200 {
		return errors.New("want L* from 0 to 150 and a*, b* from -200 to 200")
	}
	v.set, v.lab = true, colorimetry.Lab{L: l[0], A: l[1], B: l[2]}
	return nil
}

// viewings is a list of viewings; the zero value means the file's, or D65/10.
type viewings []colorimetry.Viewing

func (v *viewings) String() string { return listed(*v) }

// listed joins values by commas, as they are typed.
func listed[T fmt.Stringer](values []T) string {
	var parts []string
	for _, v := range values {
		parts = append(parts, v.String())
	}
	return strings.Join(parts, ",")
}

func (v *viewings) Type() string { return "list" }

func (v *viewings) Set(s string) error {
	list, err := colorimetry.ParseViewings(s)
	if err != nil {
		return err
	}
	for i, w := range list {
		if slices.Contains(list[:i], w) {
			return fmt.Errorf("%s is given twice", w)
		}
	}
	*v = list
	return nil
}

// viewing is one viewing.
type viewing struct{ colorimetry.Viewing }

func (v *viewing) String() string {
	if v == nil || v.Viewing == (colorimetry.Viewing{}) {
		return ""
	}
	return v.Viewing.String()
}

func (v *viewing) Type() string { return "illuminant/observer" }

func (v *viewing) Set(s string) error {
	w, err := colorimetry.ParseViewing(s)
	if err == nil {
		v.Viewing = w
	}
	return err
}

// reflectance is the scale of spectra in a file that does not say.
type reflectance bool // percent

func (r *reflectance) String() string {
	if r != nil && *r {
		return "percent"
	}
	return "factor"
}

func (r *reflectance) Type() string { return "factor|percent" }

func (r *reflectance) Set(s string) error {
	switch strings.ToLower(s) {
	case "factor":
		*r = false
	case "percent":
		*r = true
	default:
		return errors.New("want factor (0 to 1) or percent")
	}
	return nil
}
