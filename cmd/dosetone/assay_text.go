package main

import (
	"math"
	"strconv"
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge/chem"
)

// deserved writes v with the digits that its uncertainty supports: down to the
// second significant one of the half width, or five when none is known.
func deserved(v, half float64) string {
	if !(half > 0) || math.IsInf(half, 0) {
		return report.Short(v, 5)
	}
	// Rounded first, so that 0.0998 counts as 0.10 and not as 0.099.
	half, err := strconv.ParseFloat(strconv.FormatFloat(half, 'e', 1, 64), 64)
	if err != nil {
		return report.Short(v, 5)
	}
	digits := 1 - int(math.Floor(math.Log10(half)))
	if digits < 0 {
		unit := math.Pow(10, float64(-digits))
		return report.Fixed(math.Round(v/unit)*unit, 0)
	}
	return report.Fixed(v, digits)
}

func (e *env) showAssay(k assayKind, r assayResult) error {
	switch e.format {
	case formatJSON:
		return report.JSON(&e.out, r)
	case formatCSV:
		rows := [][]any{{"kind", "quantity", "value", "unit", "se", "lo", "hi", "note"}}
		var lo, hi any
		if r.Interval != nil {
			lo, hi = r.Interval[0], r.Interval[1]
		}
		rows = append(rows, []any{r.Kind, r.Quantity, r.Value, r.Unit, r.SE, lo, hi, strings.Join(r.Warnings, "; ")})
		for _, a := range r.Also {
			rows = append(rows, []any{r.Kind, a.Quantity, a.Value, a.Unit, nil, nil, nil, ""})
		}
		return e.rows(append(rows, []any{r.Kind, "who comes first", nil, "", nil, nil, nil, r.Deference}))
	}
	half := 0.0
	if i := r.Interval; i != nil {
		half = (i[1] - i[0]) / 2
	}
	e.printf("%s: %s %s", r.Quantity, deserved(r.Value, half), r.Unit)
	if i := r.Interval; i != nil {
		text := " (95 %: "
		if r.SE == nil {
			text = " (range: "
		}
		e.printf("%s%s to %s)", text, deserved(i[0], half), deserved(i[1], half))
	}
	e.printf("\n")
	for _, a := range r.Also {
		text := report.Short(a.Value, 3) // of a decay, where two or three assays know no more
		if r.SE != nil && r.Value != 0 {
			text = deserved(a.Value, half*a.Value/r.Value) // the same in another unit, as uncertain in proportion
		}
		e.printf("  %s: %s %s\n", a.Quantity, text, a.Unit)
	}
	if len(r.Sources) > 0 {
		e.printf("  uncertainty, in %% of the value (standard):\n")
		for _, p := range r.Sources {
			e.printf("    %-45s %.2f\n", p.Source, p.Percent)
		}
	}
	e.wrap("use it as: "+r.Use, "  ", "    ")
	e.wrap("how: "+r.Procedure, "  ", "    ")
	if len(k.cautions) > 0 {
		e.wrap("Gloves and goggles, under the hood; acid into water, never water into acid; wastes of different titrations do not go into one container.", "  ! ", "    ")
		for _, l := range chem.Limits(k.cautions...) {
			e.wrap(l.Of+": "+l.Text+" ("+l.Source+")", "  - ", "    ")
		}
	}
	e.wrap(r.Deference, "", "")
	return nil
}
