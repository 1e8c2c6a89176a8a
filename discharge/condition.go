package discharge

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// Condition is how readings were measured, as far as it is stated; "" states
// nothing. It holds at most one word of light and one of geometry, in this order
// and separated by a blank, such as "SCE" or "M1 45/0":
//
//   - M0, M1, M2, M3 are the conditions of ISO 13655: lamp light, light like D50,
//     without ultraviolet, polarized.
//   - SCI and SCE are a sphere with the specular component included or excluded
//     (di:8° and de:8° of CIE 15), sphere one of which that is not said, and 45/0
//     light and view at 45° and 0° of each other, either way round.
//
// Readings of two conditions differ on the same cloth, so they are never averaged
// or compared ([ErrCondition]); where one side states nothing, nothing is checked.
type Condition string

// ParseCondition finds the words of a [Condition] in a text such as "di:8°",
// "specular excluded" or "MeasurementCondition=M1". What is no such word, and
// words that contradict each other, state nothing.
func ParseCondition(text string) Condition { return newConditionReader().parse(text) }

// sphere is a geometry that SCI and SCE complete.
const sphere = "sphere"

// parts are the words of light and of geometry; what is no such word is "".
func (c Condition) parts() (light, geometry string) {
	for w := range strings.FieldsSeq(string(c)) {
		switch w {
		case "M0", "M1", "M2", "M3":
			light = w
		case "SCI", "SCE", "45/0", sphere:
			geometry = w
		}
	}
	return light, geometry
}

// Conflicts reports whether both state a light or a geometry, and not the same.
func (c Condition) Conflicts(d Condition) bool {
	light, geometry := c.parts()
	light2, geometry2 := d.parts()
	if light != "" && light2 != "" && light != light2 {
		return true
	}
	if geometry == "" || geometry2 == "" || geometry == geometry2 {
		return false
	}
	return geometry != sphere && geometry2 != sphere || geometry == "45/0" || geometry2 == "45/0"
}

// With returns what both state together; where they conflict, c holds.
func (c Condition) With(d Condition) Condition {
	light, geometry := c.parts()
	light2, geometry2 := d.parts()
	if light == "" {
		light = light2
	}
	if geometry == "" || geometry == sphere && (geometry2 == "SCI" || geometry2 == "SCE") {
		geometry = geometry2
	}
	return Condition(strings.TrimSpace(light + " " + geometry))
}

// conditionReader parses texts, most of which it has met before.
type conditionReader struct {
	words []conditionWord
	plain *strings.Replacer
	known map[string]Condition
}

type conditionWord struct {
	word string
	is   *regexp.Regexp
}

func newConditionReader() *conditionReader {
	r := &conditionReader{known: map[string]Condition{}, plain: strings.NewReplacer("°", "", "_", " ", "=", " ", ",", " ", ";", " ", "\t", " ")}
	for _, w := range [][2]string{
		{"M0", `\bm0\b`}, {"M1", `\bm1\b`}, {"M2", `\bm2\b|\buv[ -]?(cut|exclu\w*)\b|\bno ?uv\b`}, {"M3", `\bm3\b`},
		{"SCI", `\bsci\b|\bspecular( component)? includ|\bdi:8\b|\b8:di\b`},
		{"SCE", `\bsce\b|\bspecular( component)? exclud|\bde:8\b|\b8:de\b`},
		{"45/0", `\b45[acx]?[/:]0\b|\b0[/:]45[acx]?\b`},
		{sphere, `\bd[/:][08]\b|\b[08][/:]d\b|\bsphere`},
	} {
		r.words = append(r.words, conditionWord{w[0], regexp.MustCompile(w[1])})
	}
	return r
}

func (r *conditionReader) parse(text string) Condition {
	if text == "" {
		return ""
	}
	c, met := r.known[text]
	if met {
		return c
	}
	plain := r.plain.Replace(strings.ToLower(text))
	for _, w := range r.words {
		if !w.is.MatchString(plain) {
			continue
		}
		if c.Conflicts(Condition(w.word)) {
			c = ""
			break
		}
		c = c.With(Condition(w.word))
	}
	r.known[text] = c
	return c
}

// readConditions reads the column condition of every row; nil without it.
func (l *layout) readConditions() []Condition {
	j, ok := l.col["condition"]
	if !ok {
		return nil
	}
	r := newConditionReader()
	out := make([]Condition, len(l.Rows))
	unknown, first := 0, 0
	for i, row := range l.Rows {
		if out[i] = r.parse(row[j]); out[i] == "" && row[j] != "" {
			if unknown++; unknown == 1 {
				first = i
			}
		}
	}
	if unknown > 0 {
		l.warnings = append(l.warnings, l.cellFault(first, j, fmt.Errorf("no measurement condition that is known here (M0 to M3, SCI, SCE, sphere, 45/0): it is not compared, in %d rows", unknown)))
	}
	return out
}

// oneCondition is what all rows state together, or why they cannot be of one table.
func (l *layout) oneCondition(rows []Condition) (Condition, error) {
	var all Condition
	for i, c := range rows {
		if !all.Conflicts(c) {
			all = all.With(c)
			continue
		}
		k := slices.IndexFunc(rows, func(d Condition) bool { return d.Conflicts(c) })
		return "", l.cellFault(i, l.col["condition"], fmt.Errorf("%w: %s has %s; one table has one: keep the rows of one, or choose it with --condition", ErrCondition, place(l.Lines[k]), rows[k]))
	}
	return all, nil
}

// UnderCondition returns the sheet's readings of one measurement condition: rows
// that state another are left out with a warning, and those that state none are
// taken to be of it. No row left is an error. The sheet itself stays as it is.
func (s *Sheet) UnderCondition(c Condition) (*Sheet, error) {
	t := *s
	t.Header, t.Warnings, t.Rows, t.Lines = slices.Clone(s.Header), slices.Clone(s.Warnings), nil, nil
	if s.origin != nil {
		t.origin = &origin{name: s.origin.name, from: s.origin.from}
	}
	j := slices.IndexFunc(s.Header, func(h string) bool { return strings.EqualFold(trimCell(h), "condition") })
	if j < 0 {
		j = len(t.Header)
		t.Header = append(t.Header, "condition")
	}
	r := newConditionReader()
	var others []string
	left := 0
	for i, row := range s.Rows {
		row = slices.Clone(row)
		for len(row) <= j {
			row = append(row, "")
		}
		stated := r.parse(row[j])
		if stated.Conflicts(c) {
			left++
			if !slices.Contains(others, string(stated)) {
				others = append(others, string(stated))
			}
			continue
		}
		row[j] = string(c.With(stated))
		t.Rows, t.Lines = append(t.Rows, row), append(t.Lines, s.Lines[i])
		if s.origin != nil {
			t.origin.lines = append(t.origin.lines, s.origin.lines[i])
		}
	}
	if left == 0 {
		return &t, nil
	}
	slices.Sort(others)
	if len(t.Rows) == 0 {
		return nil, s.fault(0, "condition", string(c), fmt.Errorf("no reading is of this measurement condition; the file has %s", strings.Join(others, ", ")))
	}
	t.Warnings = append(t.Warnings, s.fault(0, "condition", string(c), fmt.Errorf("%d of %d readings are of another measurement condition (%s) and were left out", left, len(s.Rows), strings.Join(others, ", "))))
	return &t, nil
}

// Against returns the error of comparing what was measured under c with others
// under d, an [ErrCondition], or nil.
func (c Condition) Against(what string, d Condition, others string) error {
	if !c.Conflicts(d) {
		return nil
	}
	return fmt.Errorf("%w: %s is measured as %s, %s as %s; measure both alike", ErrCondition, what, c, others, d)
}
