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
func (r *cxfReader) sheet(part string) (*discharge.Sheet, error) {
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
	s := &discharge.Sheet{Name: r.name, Format: "CxF, " + kindWord(kind), HeaderLine: 1}
	if note != nil {
		s.Warnings = append(s.Warnings, note)
	}
	b := &cxfRows{cxfReader: r, Sheet: s, kind: kind, column: map[string]int{}}
	b.col("id")
	aside := 0
	var kept []string
	for i := range r.objects {
		o := &r.objects[i]
		values, left := o.of(kind, part)
		if len(left) > 0 {
			aside++
			for _, spec := range left {
				if !slices.Contains(kept, spec) {
					kept = append(kept, spec)
				}
			}
		}
		for n := range values {
			if err := b.add(o, &values[n]); err != nil {
				return nil, err
			}
		}
	}
	if aside > 0 {
		s.Warnings = append(s.Warnings, r.fault(0, "", "", fmt.Errorf("%d objects were measured under several color specifications; those under %s were kept aside: ask for one with --sheet", aside, quoted(kept))))
	}
	return s, b.viewing()
}

func kindWord(k discharge.ReadingKind) string {
	return map[discharge.ReadingKind]string{discharge.Spectral: "reflectance spectra", discharge.LabKind: "CIELAB", discharge.XYZKind: "XYZ", discharge.Swatch: "sRGB"}[k]
}

// of returns the values of a kind: under the specification asked for, or under
// that of the first. The specifications of the others are returned as well.
func (o *cxfObject) of(kind discharge.ReadingKind, part string) (values []cxfValue, left []string) {
	first := true
	want := part
	for _, v := range o.values {
		if v.kind != kind {
			continue
		}
		if first && part == "" {
			want = v.spec
		}
		first = false
		if v.spec == want {
			values = append(values, v)
		} else if part == "" {
			left = append(left, v.spec)
		}
	}
	return values, left
}

// kind chooses the richest kind of reading that every object has.
func (r *cxfReader) kind(part string) (discharge.ReadingKind, error, error) {
	kinds := []discharge.ReadingKind{discharge.Spectral, discharge.LabKind, discharge.XYZKind, discharge.Swatch}
	var some []discharge.ReadingKind
	var lacking [2]*cxfObject // one that lacks the first kind of some, and any
	for _, k := range kinds {
		have := 0
		var without *cxfObject
		for i := range r.objects {
			if values, _ := r.objects[i].of(k, part); len(values) > 0 {
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
