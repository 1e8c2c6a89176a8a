package discharge

import (
	"errors"
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
func ParseCondition(text string) Condition {
	if text == "" {
		return "" // the reader takes longer to make than to ask
	}
	return newConditionReader().parse(text)
}

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
	// speaks matches headings of columns about how was measured.
	speaks *regexp.Regexp
}

type conditionWord struct {
	word string
	is   *regexp.Regexp
}

func newConditionReader() *conditionReader {
	r := &conditionReader{known: map[string]Condition{}, speaks: regexp.MustCompile(`(?i)condition|specular|geometry|mode\b|\b(sc[ie]|spin|spex)(_|\b)`), plain: strings.NewReplacer("°", "", "_", " ", "=", " ", ",", " ", ";", " ", "\t", " ")}
	for _, w := range [][2]string{
		{"M0", `\bm0\b`}, {"M1", `\bm1\b`}, {"M2", `\bm2\b|\buv[ -]?(cut|exclu\w*)\b|\bno ?uv\b`}, {"M3", `\bm3\b`},
		{"SCI", `\bsci\b|\bspin\b|\bspecular( component)?:? includ|\bdi:8\b|\b8:di\b`},
		{"SCE", `\bsce\b|\bspex\b|\bspecular( component)?:? exclud|\bde:8\b|\b8:de\b`},
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

// cell is the text of a cell for parse, of a column named heading: a bare "included"
// or "excluded" is of the specular component where the heading does not say of what
// else, such as UV.
func (r *conditionReader) cell(heading, text string) string {
	plain := strings.ToLower(text)
	if (strings.HasPrefix(plain, "includ") || strings.HasPrefix(plain, "exclud")) && r.speaks.MatchString(heading) {
		return "specular " + text
	}
	return text
}

// row is what the cells of a row in columns state together.
func (r *conditionReader) row(header, row []string, columns []int) Condition {
	var texts []string
	for _, j := range columns {
		if j < len(row) {
			texts = append(texts, r.cell(header[j], trimCell(row[j])))
		}
	}
	return r.parse(strings.Join(texts, " "))
}

// columns lists the column condition, if there is one, and those of no known meaning
// that state a condition in every cell that is not empty. M0 to M3 may well number
// machines, so they state one only under a heading that speaks of measuring.
func (r *conditionReader) columns(s *Sheet) []int {
	var out []int
	for j, h := range s.Header {
		h = trimCell(h)
		if strings.EqualFold(h, "condition") {
			out = append(out, j)
			continue
		}
		if h == "" || slices.Contains(plainColumns(), strings.ToLower(h)) {
			continue
		}
		stated := 0
		for _, row := range s.Rows {
			if j >= len(row) || trimCell(row[j]) == "" {
				continue
			}
			c := r.parse(r.cell(h, trimCell(row[j])))
			if _, geometry := c.parts(); c == "" || geometry == "" && !r.speaks.MatchString(h) {
				stated = 0
				break
			}
			stated++
		}
		if stated > 0 {
			out = append(out, j)
		}
	}
	return out
}

// readConditions reads what every row states; nil where no column does.
func (l *layout) readConditions() []Condition {
	r := newConditionReader()
	columns := r.columns(l.Sheet)
	if len(columns) == 0 {
		return nil
	}
	named, ok := l.col["condition"]
	for _, j := range columns {
		if ok && j == named {
			continue
		}
		l.unknown = slices.DeleteFunc(l.unknown, func(k int) bool { return k == j })
		l.warn(l.HeaderLine, l.Header[j], "", errors.New("every cell states a measurement condition, and it is read as such; rename the column to condition"))
	}
	l.conditions = columns
	out := make([]Condition, len(l.Rows))
	unknown, first := 0, 0
	for i, row := range l.Rows {
		out[i] = r.row(l.Header, row, columns)
		if out[i] == "" && ok && row[named] != "" {
			if unknown++; unknown == 1 {
				first = i
			}
		}
	}
	if unknown > 0 {
		l.warnings = append(l.warnings, l.cellFault(first, named, fmt.Errorf("no measurement condition that is known here (M0 to M3, SCI, SCE, sphere, 45/0): it is not compared, in %d rows", unknown)))
	}
	return out
}

// doubtConditions warns of lots that are the mean of readings which may be of several
// conditions: two texts that are not known here, or one stated and none.
func (l *layout) doubtConditions(rows []Condition) {
	text := func(i int) string {
		var cells []string
		for _, j := range l.conditions {
			if l.Rows[i][j] != "" {
				cells = append(cells, l.Rows[i][j])
			}
		}
		return strings.Join(cells, " ")
	}
	first := map[lotKey]int{}
	for i := range rows {
		key := lotKey{l.text(i, "lot"), Role(strings.ToLower(l.text(i, "role")))}
		k, met := first[key]
		if !met {
			first[key] = i
			continue
		}
		a, b := text(k), text(i)
		switch {
		case a == b || rows[k] != "" && rows[i] != "":
			continue
		case a == "" || b == "":
			l.warnings = append(l.warnings, l.cellFault(i, l.conditions[0], fmt.Errorf("lot %q has readings that state a measurement condition (%q) and readings that state none (%s): they are averaged as one; write it in every row, or leave out those that were measured otherwise", key.id, a+b, place(l.Lines[k]))))
		default:
			l.warnings = append(l.warnings, l.cellFault(i, l.conditions[0], fmt.Errorf("lot %q has %q, too (%s), and they are averaged: if these are two measurement conditions, write SCI, SCE, 45/0 or M0 to M3 for them, or keep the rows of one", key.id, clip(a), place(l.Lines[k]))))
		}
		return // one says it of all
	}
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
		j := slices.IndexFunc(l.conditions, func(j int) bool { return l.Rows[k][j] != l.Rows[i][j] })
		return "", l.cellFault(i, l.conditions[j], fmt.Errorf("%w: %s has %s; one table has one: keep the rows of one, or choose it with --condition", ErrCondition, place(l.Lines[k]), rows[k]))
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
	r := newConditionReader()
	columns := r.columns(s)
	j := slices.IndexFunc(s.Header, func(h string) bool { return strings.EqualFold(trimCell(h), "condition") })
	if j < 0 {
		j = len(t.Header)
		t.Header = append(t.Header, "condition")
	}
	var others []string
	left := 0
	for i, row := range s.Rows {
		row = slices.Clone(row)
		for len(row) <= j {
			row = append(row, "")
		}
		stated := r.row(s.Header, row, columns)
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
