package main

import (
	"fmt"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// Shades and their intervals as results of several commands hold and write them.

type shadeJSON struct {
	L float64 `json:"L"`
	A float64 `json:"a"`
	B float64 `json:"b"`
}

func shadeOf(c colorimetry.Lab) shadeJSON { return shadeJSON(c) }

type intervalJSON struct {
	L [2]float64 `json:"L"`
	A [2]float64 `json:"a"`
	B [2]float64 `json:"b"`
}

// around writes a shade for a table, each coordinate ± half of its interval.
func (i intervalJSON) around(c shadeJSON) (l, a, b string) {
	half := func(r [2]float64) float64 { return (r[1] - r[0]) / 2 }
	return report.PlusMinus(c.L, half(i.L)), report.PlusMinus(c.A, half(i.A)), report.PlusMinus(c.B, half(i.B))
}

func optional(c *colorimetry.Lab) *shadeJSON {
	if c == nil {
		return nil
	}
	s := shadeOf(*c)
	return &s
}

// shadeText writes a shade with two decimals.
func (e *env) shadeText(s shadeJSON) string {
	text := fmt.Sprintf("L* %.2f  a* %s  b* %s", s.L, report.Fixed(s.A, 2), report.Fixed(s.B, 2))
	if block := e.swatch(colorimetry.Lab(s)); block != "" {
		text += "  " + block
	}
	return text
}

// labText writes a shade for people.
func labText(s shadeJSON) string {
	return fmt.Sprintf("L* %.1f  a* %s  b* %s", s.L, minus(report.Fixed(s.A, 1)), minus(report.Fixed(s.B, 1)))
}

func intervalOf(p discharge.Prediction, level float64) intervalJSON {
	var out intervalJSON
	for k, end := range []*[2]float64{&out.L, &out.A, &out.B} {
		end[0], end[1] = p.Interval(k, level)
	}
	return out
}

// tensileJSON is the expected loss of tensile strength of a lot and the interval
// that holds 95 % of lots.
type tensileJSON struct {
	Mean float64 `json:"mean"`
	Lo   float64 `json:"lo"`
	Hi   float64 `json:"hi"`
}

func tensileOf(t discharge.TensileLoss) *tensileJSON {
	if !t.Known {
		return nil
	}
	return &tensileJSON{t.Mean, t.Lo, t.Hi}
}

// cells are its numbers for a CSV row, nothing without tests.
func (t *tensileJSON) cells() []any {
	if t == nil {
		return []any{nil, nil, nil}
	}
	return []any{t.Mean, t.Lo, t.Hi}
}

// text is the expected loss with half the interval, for a table.
func (t *tensileJSON) text() string {
	if t == nil {
		return ""
	}
	return report.PlusMinus(t.Mean, (t.Hi-t.Lo)/2)
}

// heads are the headings of a column that may stay empty, with its unit.
func (t *tensileJSON) heads() (title, unit string) {
	if t == nil {
		return "", ""
	}
	return "tensile loss", "%"
}
