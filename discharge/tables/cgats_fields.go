package tables

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// The fields of ISO 28178 that are columns of ours. RGB_R, RGB_G, RGB_B are
// none: they are values of a device, not sRGB.
func cgatsColumns() map[string]string {
	return map[string]string{
		"LAB_L": "L", "LAB_A": "a", "LAB_B": "b",
		"XYZ_X": "X", "XYZ_Y": "Y", "XYZ_Z": "Z",
		"MEASUREMENT_CONDITION": "condition",
	}
}

// bandNames are the names of a band's field: SPECTRAL_NM400 and others met in
// files. PCT and DEC state the scale: percent or decimal factor.
const bandNames = `^(?i:(SPECTRAL_NM|SPECTRAL_PCT|SPECTRAL_DEC|SPECTRAL|SPEC|NM|R)_?(\d{3,4}))$`

// hasReadings reports whether a table has the fields of a reading.
func (t *cgatsTable) hasReadings() bool {
	band := regexp.MustCompile(bandNames)
	columns := cgatsColumns()
	return slices.ContainsFunc(t.fields, func(f string) bool {
		u := strings.ToUpper(f)
		return band.MatchString(f) || columns[u] != "" && columns[u] != "condition" || u == "SPECTRAL_NM" || slices.Contains([]string{"L", "X", "RED"}, u)
	})
}

// sheet names the columns of a table as ours are.
func (t cgatsTable) sheet(name string) (*discharge.Sheet, error) {
	t, err := t.pairs(name)
	if err != nil {
		return nil, err
	}
	// Blanks and tabs separate the values, so that a comma in a number is a decimal one.
	s := &discharge.Sheet{Name: name, HeaderLine: t.line, Rows: t.sets, Lines: t.lines, DecimalComma: true}
	band := regexp.MustCompile(bandNames)
	columns := cgatsColumns()
	id := t.sampleField()
	bands, scales := 0, []string{}
	var nms []int
	say := func(scale string) {
		if !slices.Contains(scales, scale) {
			scales = append(scales, scale)
		}
	}
	for j, f := range t.fields {
		column := f
		if c := columns[strings.ToUpper(f)]; c != "" {
			column = c
		} else if m := band.FindStringSubmatch(f); m != nil {
			column = "R" + m[2]
			bands++
			nm, _ := strconv.Atoi(m[2]) // digits by the pattern
			nms = append(nms, nm)
			switch strings.ToUpper(m[1]) {
			case "SPECTRAL_PCT":
				say("percent")
			case "SPECTRAL_DEC":
				say("factor")
			}
		} else if j == id {
			column = "id"
		}
		s.Header = append(s.Header, column)
	}
	if bands > 0 {
		if err := t.norm(name, say); err != nil {
			return nil, err
		}
		if len(scales) > 1 {
			return nil, fault(name, t.line, "SPECTRAL_NORM", t.keywords["SPECTRAL_NORM"], errors.New("the fields and SPECTRAL_NORM state different scales of reflectance"))
		}
		if len(scales) == 1 && !slices.ContainsFunc(s.Header, func(h string) bool { return strings.EqualFold(h, "unit") }) {
			addColumn(s, "unit", scales[0])
		}
		if n, err := strconv.Atoi(t.keywords["SPECTRAL_BANDS"]); err == nil && n != bands {
			return nil, fault(name, t.at["SPECTRAL_BANDS"], "SPECTRAL_BANDS", t.keywords["SPECTRAL_BANDS"], fmt.Errorf("the table has %d spectral fields", bands))
		}
		if err := t.ends(name, nms); err != nil {
			return nil, err
		}
	}
	t.condition(s)
	return s, t.viewing(s, bands > 0)
}

// sampleField is the field that names the sets: SAMPLE_NAME, else SAMPLE_ID,
// unless the table has an id of ours. Of two, the one that tells them apart.
func (t *cgatsTable) sampleField() int {
	at := func(name string) int {
		return slices.IndexFunc(t.fields, func(f string) bool { return strings.EqualFold(f, name) })
	}
	if at("id") >= 0 {
		return -1
	}
	name := at("SAMPLE_NAME")
	if name >= 0 && !slices.ContainsFunc(t.sets, func(set []string) bool { return set[name] == "" }) {
		return name
	}
	if id := at("SAMPLE_ID"); id >= 0 {
		return id
	}
	return max(name, at("SAMPLEID"), at("SAMPLE_LOC"))
}

// norm reads SPECTRAL_NORM, the value that stands for a reflectance of 1.
func (t *cgatsTable) norm(name string, say func(string)) error {
	text, ok := t.keywords["SPECTRAL_NORM"]
	if !ok {
		return nil
	}
	switch v, err := strconv.ParseFloat(text, 64); {
	case err == nil && v == 1:
		say("factor")
	case err == nil && v == 100:
		say("percent")
	default:
		return fault(name, t.at["SPECTRAL_NORM"], "SPECTRAL_NORM", text, errors.New("want 1 (reflectance factors) or 100 (percent)"))
	}
	return nil
}

// ends refuses keywords that state another range of wavelengths than the fields.
func (t *cgatsTable) ends(name string, nms []int) error {
	for i, keyword := range []string{"SPECTRAL_START_NM", "SPECTRAL_END_NM"} {
		nm := []int{slices.Min(nms), slices.Max(nms)}[i]
		if v, err := strconv.ParseFloat(t.keywords[keyword], 64); err == nil && v != float64(nm) {
			return fault(name, t.at[keyword], keyword, t.keywords[keyword], fmt.Errorf("the spectral fields say %d nm: correct one of them", nm))
		}
	}
	return nil
}

// condition adds the column condition where the sets have none and keywords state
// how was measured. The names of the keywords are from memory of files in use.
func (t *cgatsTable) condition(s *discharge.Sheet) {
	if slices.ContainsFunc(s.Header, func(h string) bool { return strings.EqualFold(h, "condition") }) {
		return
	}
	var all discharge.Condition
	for _, k := range []string{"MEASUREMENT_CONDITION", "MEASUREMENT_SOURCE", "MEASUREMENT_GEOMETRY", "FILTER"} {
		c := discharge.ParseCondition(t.keywords[k])
		if c.Conflicts(all) {
			s.Warnings = append(s.Warnings, fault(s.Name, t.at[k], k, t.keywords[k], fmt.Errorf("other keywords state the measurement condition %s, which holds", all)))
		}
		all = all.With(c)
	}
	if all != "" {
		addColumn(s, "condition", string(all))
	}
}

// pairs turns fields SPECTRAL_NM SPECTRAL_PCT SPECTRAL_NM SPECTRAL_PCT …, whose
// wavelengths stand in the sets, into one field per wavelength.
func (t cgatsTable) pairs(name string) (cgatsTable, error) {
	type pair struct{ nm, value int }
	var found []pair
	taken := make([]bool, len(t.fields))
	for j := 0; j+1 < len(t.fields); j++ {
		value := strings.ToUpper(t.fields[j+1])
		if strings.EqualFold(t.fields[j], "SPECTRAL_NM") && (value == "SPECTRAL_PCT" || value == "SPECTRAL_DEC") {
			found = append(found, pair{j, j + 1})
			taken[j], taken[j+1] = true, true
			j++
		}
	}
	if len(found) == 0 || len(t.sets) == 0 {
		return t, nil
	}
	out := t
	out.fields, out.sets = nil, nil
	for j, f := range t.fields {
		if !taken[j] {
			out.fields = append(out.fields, f)
		}
	}
	for _, p := range found {
		nm, err := strconv.ParseFloat(t.sets[0][p.nm], 64)
		if err != nil || nm != float64(int(nm)) || nm < 100 || nm > 9999 {
			return t, fault(name, t.lines[0], "SPECTRAL_NM", t.sets[0][p.nm], errors.New("want a wavelength in whole nanometers"))
		}
		out.fields = append(out.fields, fmt.Sprintf("%s%d", t.fields[p.value], int(nm)))
	}
	for i, set := range t.sets {
		var row []string
		for j, v := range set {
			if !taken[j] {
				row = append(row, v)
			}
		}
		for _, p := range found {
			if set[p.nm] != t.sets[0][p.nm] {
				return t, fault(name, t.lines[i], "SPECTRAL_NM", set[p.nm], fmt.Errorf("the first set has %s here; all spectra of a table need the same wavelengths", t.sets[0][p.nm]))
			}
			row = append(row, set[p.value])
		}
		out.sets = append(out.sets, row)
	}
	return out, nil
}

// viewing adds the columns illuminant and observer that keywords state. For
// spectra they bind nobody, so that names not known here are only told.
func (t *cgatsTable) viewing(s *discharge.Sheet, spectral bool) error {
	has := func(c string) bool {
		return slices.ContainsFunc(s.Header, func(h string) bool { return strings.EqualFold(h, c) })
	}
	if has("illuminant") || has("observer") || has("red") && !has("L") && !has("X") {
		return nil
	}
	illuminant, err := t.keyword(s.Name, "ILLUMINATION_NAME", "WEIGHTING_FUNCTION ILLUMINANT", func(v string) (string, error) {
		i, err := colorimetry.ParseIlluminant(v)
		return i.String(), err
	})
	if err == nil {
		var observer string
		observer, err = t.keyword(s.Name, "OBSERVER_ANGLE", "WEIGHTING_FUNCTION OBSERVER", func(v string) (string, error) {
			v = strings.TrimSpace(regexp.MustCompile(`(?i)[ _-]*deg(ree)?s?\.?$`).ReplaceAllString(v, ""))
			o, err := colorimetry.ParseObserver(v)
			return o.String(), err
		})
		if err == nil && illuminant != "" && observer != "" {
			addColumn(s, "illuminant", illuminant)
			addColumn(s, "observer", observer)
			return nil
		}
	}
	if err != nil && !spectral {
		return err
	}
	if err != nil {
		s.Warnings = append(s.Warnings, err)
		return nil
	}
	return nil
}

// keyword returns what two keywords state alike, in our spelling. The name
// WEIGHTING_FUNCTION is from memory of files in use.
func (t *cgatsTable) keyword(name, first, second string, parse func(string) (string, error)) (string, error) {
	out := ""
	for _, k := range []string{first, second} {
		text, ok := t.keywords[k]
		if !ok {
			continue
		}
		v, err := parse(text)
		if err != nil {
			return "", fault(name, t.at[k], k, text, err)
		}
		if out != "" && v != out {
			return "", fault(name, t.at[k], k, text, fmt.Errorf("%s says %s", first, out))
		}
		out = v
	}
	return out, nil
}

// addColumn gives every row the same value in a new column.
func addColumn(s *discharge.Sheet, column, value string) {
	s.Header = append(slices.Clone(s.Header), column)
	for i, row := range s.Rows {
		s.Rows[i] = append(slices.Clone(row), value)
	}
}
