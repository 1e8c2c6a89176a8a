package tables

import (
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// sheet makes a row of every reading: of the kind that all objects have, the
// richest first.
func (r *cxfReader) sheet(opt Options) (*discharge.Sheet, error) {
	part := opt.Part
	if len(r.objects) == 0 {
		return nil, r.fault(0, "", "", errors.New("the CxF file has no objects: there is nothing measured in it"))
	}
	if part != "" {
		if _, ok := r.specs[part]; !ok {
			return nil, r.fault(0, "", "", fmt.Errorf("the file has no color specification %q; it has %s", clip(part), quoted(slices.Sorted(maps.Keys(r.specs)))))
		}
	}
	kind, note, err := r.kind(part)
	if err != nil {
		return nil, err
	}
	take, said, err := r.choose(kind, opt)
	if err != nil {
		return nil, err
	}
	s := &discharge.Sheet{Name: r.name, Format: "CxF, " + kindWord(kind), HeaderLine: 1}
	if note != nil {
		s.Warnings = append(s.Warnings, note)
	}
	b := &cxfRows{cxfReader: r, Sheet: s, kind: kind, column: map[string]int{}}
	b.col("id")
	var without []string // objects that have nothing of what is taken
	for i := range r.objects {
		o := &r.objects[i]
		values := o.of(kind, take)
		if len(values) == 0 {
			without = append(without, o.name)
		}
		for n := range values {
			if err := b.add(o, &values[n]); err != nil {
				return nil, err
			}
		}
	}
	if said != nil {
		s.Warnings = append(s.Warnings, said)
	}
	if len(without) > 0 {
		s.Warnings = append(s.Warnings, r.fault(0, "", "", fmt.Errorf("objects that were not measured so are left out: %s", quoted(without))))
	}
	if err := b.conditions(); err != nil {
		return nil, err
	}
	return s, b.viewing()
}

// choose returns which color specifications are read, and a word on what is kept
// aside. An object that was measured under several cannot be compared with others
// before one is chosen: the one asked for, or the one of the measurement condition
// asked for, or the first object's first that all of them have.
func (r *cxfReader) choose(kind discharge.ReadingKind, opt Options) (take func(spec string) bool, said, err error) {
	if opt.Part != "" {
		return func(spec string) bool { return spec == opt.Part }, nil, nil
	}
	fits := func(spec string) bool { return !r.specs[spec].condition.Conflicts(opt.Condition) }
	var all, common []string
	var apart error // an object that shares no specification with those before it
	met, several := map[string]bool{}, false
	for i := range r.objects {
		o := &r.objects[i]
		mine := map[string]bool{}
		var have []string
		for _, id := range o.specs(kind) {
			if !met[id] {
				met[id] = true
				all = append(all, id)
			}
			if fits(id) {
				mine[id] = true
				have = append(have, id)
			}
		}
		several = several || len(have) > 1
		switch {
		case len(have) == 0 || apart != nil: // nothing of the condition asked for: it is left out
		case common == nil:
			common = have
		default:
			shared := slices.DeleteFunc(slices.Clone(common), func(id string) bool { return !mine[id] })
			if len(shared) == 0 {
				apart = r.fault(o.line, "ColorSpecification", "", fmt.Errorf("object %q was measured under %s, those before it under %s: no specification is common to all, and readings of several cannot be compared; choose one with --sheet, or a measurement condition with --condition",
					clip(o.name), quoted(have), quoted(common)))
			}
			common = shared
		}
	}
	if common == nil && apart == nil {
		return nil, nil, r.fault(0, "ColorSpecification", "", fmt.Errorf("no reading is of the measurement condition %s; the file has color specifications %s", opt.Condition, quoted(all)))
	}
	if several && apart != nil {
		return nil, nil, apart
	}
	take = fits
	if several {
		spec := common[max(0, slices.IndexFunc(common, func(id string) bool { return opt.Condition != "" && r.specs[id].condition != "" }))]
		take = func(id string) bool { return id == spec }
	}
	read := slices.DeleteFunc(slices.Clone(all), func(id string) bool { return !take(id) })
	if len(read) < len(all) && len(read) > 0 {
		aside := slices.DeleteFunc(all, take)
		said = r.fault(0, "ColorSpecification", "", fmt.Errorf("readings under %s were taken, those under %s kept aside: ask for one with --sheet, or for a measurement condition with --condition", quoted(read), quoted(aside)))
	}
	return take, said, nil
}

// specs are the color specifications under which an object has values of a kind.
func (o *cxfObject) specs(kind discharge.ReadingKind) []string {
	var out []string
	met := map[string]bool{}
	for _, v := range o.values {
		if v.kind == kind && !met[v.spec] {
			met[v.spec] = true
			out = append(out, v.spec)
		}
	}
	return out
}

func kindWord(k discharge.ReadingKind) string {
	return map[discharge.ReadingKind]string{discharge.Spectral: "reflectance spectra", discharge.LabKind: "CIELAB", discharge.XYZKind: "XYZ", discharge.Swatch: "sRGB"}[k]
}

// of returns the values of a kind under the specifications that take accepts.
func (o *cxfObject) of(kind discharge.ReadingKind, take func(spec string) bool) []cxfValue {
	var values []cxfValue
	for _, v := range o.values {
		if v.kind == kind && take(v.spec) {
			values = append(values, v)
		}
	}
	return values
}

// kind chooses the richest kind of reading that every object has.
func (r *cxfReader) kind(part string) (discharge.ReadingKind, error, error) {
	asked := func(spec string) bool { return part == "" || spec == part }
	kinds := []discharge.ReadingKind{discharge.Spectral, discharge.LabKind, discharge.XYZKind, discharge.Swatch}
	var some []discharge.ReadingKind
	var lacking [2]*cxfObject // one that lacks the first kind of some, and any
	for _, k := range kinds {
		have := 0
		var without *cxfObject
		for i := range r.objects {
			if len(r.objects[i].of(k, asked)) > 0 {
				have++
			} else if without == nil {
				without = &r.objects[i]
			}
		}
		if without == nil {
			var note error
			if len(some) > 0 {
				note = r.fault(lacking[0].line, "", lacking[0].name, fmt.Errorf("this object has no %s, which others have: all were read as %s", kindWord(some[0]), kindWord(k)))
			}
			return k, note, nil
		}
		if have > 0 {
			if some = append(some, k); len(some) == 1 {
				lacking[0] = without
			}
		}
		lacking[1] = without
	}
	where := ""
	if part != "" {
		where = fmt.Sprintf(" under the color specification %q", clip(part))
	}
	if len(some) == 0 {
		return "", nil, r.fault(lacking[1].line, "", lacking[1].name, fmt.Errorf("the objects hold no reflectance spectrum, CIELAB, XYZ or sRGB%s", where))
	}
	return "", nil, r.fault(lacking[0].line, "", lacking[0].name, fmt.Errorf("this object has no %s%s, which others have, and no other kind of color is common to all; delete it or export it again", kindWord(some[0]), where))
}

// cxfRows builds the rows of a sheet.
type cxfRows struct {
	*cxfReader
	*discharge.Sheet
	kind   discharge.ReadingKind
	column map[string]int // header in lower case → index; X and Y apart from x, y
	specs  []string       // of each row
	names  []string       // of each row's object
	nms    []int
}

func (b *cxfRows) col(name string) int {
	key := strings.ToLower(name)
	j, ok := b.column[key]
	if !ok {
		j = len(b.Header)
		b.column[key] = j
		b.Header = append(b.Header, name)
	}
	return j
}

// add appends one reading of an object.
func (b *cxfRows) add(o *cxfObject, v *cxfValue) error {
	fields := [][2]string{}
	if name := strings.TrimSpace(o.name); name != "" {
		fields = append(fields, [2]string{"id", name})
	} else {
		fields = append(fields, [2]string{"id", o.id})
	}
	for _, tag := range o.tags {
		if strings.TrimSpace(tag[0]) != "" {
			fields = append(fields, [2]string{strings.TrimSpace(tag[0]), tag[1]})
		}
	}
	role := discharge.Role(strings.NewReplacer(" ", "_", "-", "_").Replace(strings.ToLower(strings.TrimSpace(o.objectType))))
	tagged := slices.ContainsFunc(o.tags, func(t [2]string) bool { return strings.EqualFold(strings.TrimSpace(t[0]), "role") })
	if role.Known() && !tagged {
		fields = append(fields, [2]string{"role", string(role)})
	}
	colors, err := b.colors(o, v)
	if err != nil {
		return err
	}
	fields = append(fields, colors...)
	var row []string
	seen := map[int]bool{}
	for _, f := range fields {
		j := b.col(f[0])
		if len(b.Header) > discharge.MaxColumns {
			return b.at(o.line, fmt.Errorf("more than %d columns: the tags of the objects have too many names", discharge.MaxColumns))
		}
		if seen[j] {
			return b.fault(o.line, f[0], f[1], fmt.Errorf("object %q gives it twice", clip(o.name)))
		}
		seen[j] = true
		for len(row) <= j {
			row = append(row, "")
		}
		row[j] = f[1]
	}
	if len(b.Rows) == discharge.MaxRows || len(b.Rows)*len(b.Header) > maxCells {
		return b.at(o.line, fmt.Errorf("more than %d readings or %d values: split the file", discharge.MaxRows, maxCells))
	}
	b.Rows, b.Lines = append(b.Rows, row), append(b.Lines, v.line)
	b.specs, b.names = append(b.specs, v.spec), append(b.names, o.name)
	return nil
}

func (r *cxfReader) at(line int, err error) error { return r.fault(line, "", "", err) }

// colors names the numbers of a reading as our columns.
func (b *cxfRows) colors(o *cxfObject, v *cxfValue) ([][2]string, error) {
	var out [][2]string
	switch b.kind {
	case discharge.LabKind:
		for i, c := range []string{"L", "a", "b"} {
			out = append(out, [2]string{c, v.numbers[i]})
		}
		return out, nil
	case discharge.XYZKind:
		for i, c := range []string{"X", "Y", "Z"} {
			out = append(out, [2]string{c, v.numbers[i]})
		}
		return out, nil
	case discharge.Swatch:
		for i, c := range []string{"red", "green", "blue"} {
			out = append(out, [2]string{c, v.numbers[i]})
		}
		return out, nil
	}
	if m := b.cxfReader.specs[v.spec].measures; m != "" && !strings.Contains(strings.ToLower(m), "reflectance") {
		return nil, b.fault(v.line, "MeasurementType", m, fmt.Errorf("object %q: want reflectance", clip(o.name)))
	}
	nms, err := b.wavelengths(o, v)
	if err != nil {
		return nil, err
	}
	if b.nms == nil {
		b.nms = nms
	}
	if !slices.Equal(nms, b.nms) {
		return nil, b.fault(v.line, "ReflectanceSpectrum", "", fmt.Errorf("object %q has %d bands from %d nm, the first object %d from %d nm: all spectra of a file need the same wavelengths",
			clip(o.name), len(nms), nms[0], len(b.nms), b.nms[0]))
	}
	for i, nm := range nms {
		value := ""
		if v.points != nil {
			value = v.points[i][1]
		} else {
			value = v.numbers[i]
		}
		out = append(out, [2]string{"R" + strconv.Itoa(nm), value})
	}
	return out, nil
}

// conditions adds what the specifications of the rows say of the measurement, in
// a column that tags may have made.
func (b *cxfRows) conditions() error {
	stated := make([]discharge.Condition, len(b.Rows))
	for i, id := range b.specs {
		stated[i] = b.cxfReader.specs[id].condition
	}
	if !slices.ContainsFunc(stated, func(c discharge.Condition) bool { return c != "" }) {
		return nil
	}
	j := b.col("condition")
	parsed := map[string]discharge.Condition{} // most rows say the same
	for i, c := range stated {
		for len(b.Rows[i]) <= j {
			b.Rows[i] = append(b.Rows[i], "")
		}
		cell := &b.Rows[i][j]
		tag, met := parsed[*cell]
		if !met {
			tag = discharge.ParseCondition(*cell)
			parsed[*cell] = tag
		}
		if tag.Conflicts(c) {
			return b.fault(b.Lines[i], "condition", *cell, fmt.Errorf("object %q has this tag, but its color specification says %s: correct one of them", clip(b.names[i]), c))
		}
		if c = c.With(tag); c != "" {
			*cell = string(c)
		}
	}
	return nil
}

// viewing adds illuminant and observer when the specifications of all rows
// state them. Spectra do without; sRGB is D65/2 by definition.
func (b *cxfRows) viewing() error {
	_, lamp := b.column["illuminant"]
	_, field := b.column["observer"]
	if lamp && field || b.kind == discharge.Swatch {
		return nil // tags say it
	}
	cells := make([][2]string, len(b.Rows))
	known, unknown := 0, -1
	for i, id := range b.specs {
		spec := b.cxfReader.specs[id]
		if spec.illuminant == "" || spec.observer == "" {
			unknown = i
			continue
		}
		illuminant, err := colorimetry.ParseIlluminant(spec.illuminant)
		var observer colorimetry.Observer
		if err == nil {
			observer, err = parseObserver(spec.observer)
		}
		if err != nil {
			if b.kind == discharge.Spectral {
				unknown = i
				continue
			}
			return b.fault(spec.line, "TristimulusSpec", spec.illuminant+"/"+spec.observer, err)
		}
		cells[i] = [2]string{illuminant.String(), observer.String()}
		known++
	}
	switch {
	case unknown < 0:
		for c, name := range []string{"illuminant", "observer"} {
			j := b.col(name)
			for i := range b.Rows {
				for len(b.Rows[i]) <= j {
					b.Rows[i] = append(b.Rows[i], "")
				}
				cell := &b.Rows[i][j]
				if tag := strings.TrimSpace(*cell); tag != "" && !sameViewing(tag, cells[i][c]) {
					return b.fault(b.Lines[i], name, tag, fmt.Errorf("object %q has this tag, but its color specification says %s: correct one of them", clip(b.names[i]), cells[i][c]))
				}
				*cell = cells[i][c]
			}
		}
	case b.kind == discharge.Spectral:
	case known > 0:
		return b.fault(b.Lines[unknown], "ColorSpecification", b.specs[unknown], fmt.Errorf("object %q refers to no known viewing (TristimulusSpec), while others do; colors of unknown viewing cannot be mixed with them", clip(b.names[unknown])))
	}
	return nil
}

// parseObserver reads also what specifications write: 10_Degree.
func parseObserver(s string) (colorimetry.Observer, error) {
	return colorimetry.ParseObserver(regexp.MustCompile(`(?i)[ _-]*deg(ree)?s?$`).ReplaceAllString(s, ""))
}

// sameViewing reports whether a tag is another way to write an illuminant or observer.
func sameViewing(tag, want string) bool {
	if illuminant, err := colorimetry.ParseIlluminant(tag); err == nil {
		return illuminant.String() == want
	}
	observer, err := parseObserver(tag)
	return err == nil && observer.String() == want
}
