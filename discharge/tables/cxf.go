package tables

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"example.com/dosetone/discharge"
)

// cxfNamespace is that of CxF3 [2], whatever prefix a file gives it.
const cxfNamespace = "http://colorexchangeformat.com/CxF3-core"

// cxfObject is one sample: its names, its tags and what was measured.
type cxfObject struct {
	name, id, objectType string
	line                 int
	tags                 [][2]string // name and value, in file order
	values               []cxfValue
}

// cxfValue is one spectrum or color of an object.
type cxfValue struct {
	kind    discharge.ReadingKind
	spec    string // Id of its color specification
	line    int
	start   string      // StartWL of the spectrum itself, "" when not given
	numbers []string    // values as written
	points  [][2]string // of a CustomSpectrum: wavelength and value
}

// cxfSpec is what a ColorSpecification says.
type cxfSpec struct {
	illuminant, observer string
	condition            discharge.Condition
	measures             string // MeasurementType
	start, increment     string
	line                 int
}

// cxfReader gathers a document.
type cxfReader struct {
	name    string
	x       *xmlReader
	objects []cxfObject
	specs   map[string]cxfSpec
	numbers int // read so far
}

// readCxF reads a CxF3 file: reflectance spectra, else CIELAB, XYZ or sRGB, of
// every object. The object's name is the id; tags named as our columns are
// these columns; an object type that is one of our roles is the role.
func readCxF(name string, data []byte, opt Options) (*discharge.Sheet, error) {
	r := &cxfReader{name: name, x: newXMLReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")))), specs: map[string]cxfSpec{}}
	if err := r.document(); err != nil {
		var placed *discharge.RowError
		if errors.As(err, &placed) {
			return nil, err
		}
		return nil, fault(name, r.x.line(), "", "", err)
	}
	return r.sheet(opt)
}

func (r *cxfReader) fault(line int, column, value string, err error) error {
	return fault(r.name, line, column, value, err)
}

// document reads the root and everything that matters in it.
func (r *cxfReader) document() error {
	root := false
	for {
		t, err := r.x.next()
		if err == io.EOF {
			if !root {
				return errors.New("the XML has no element")
			}
			return nil
		}
		if err != nil {
			return err
		}
		e, ok := t.(xml.StartElement)
		if !ok {
			continue
		}
		if !root {
			root = true
			if err := isCxF(e); err != nil {
				return err
			}
			continue
		}
		if e.Name.Space != cxfNamespace || e.Name.Local == "CustomResources" || e.Name.Local == "FileInformation" {
			if err := r.x.skip(); err != nil {
				return err
			}
			continue
		}
		switch e.Name.Local {
		case "Object":
			err = r.object(e)
		case "ColorSpecification":
			err = r.specification(e)
		}
		if err != nil {
			return err
		}
	}
}

// isCxF says what another XML file is.
func isCxF(e xml.StartElement) error {
	switch {
	case e.Name.Local == "CxF" && e.Name.Space == cxfNamespace:
		return nil
	case strings.EqualFold(e.Name.Local, "CxF"):
		return fmt.Errorf("the file is CxF of another version (namespace %q); want CxF3, %s: export it as CxF3", clip(e.Name.Space), cxfNamespace)
	case strings.EqualFold(e.Name.Local, "html") || strings.EqualFold(e.Name.Local, "table"):
		return errors.New("the file is a web page (HTML), whatever its ending; open it in a spreadsheet program and save it as .xlsx or \"CSV UTF-8\"")
	case e.Name.Local == "Workbook":
		return errors.New("the file is an XML spreadsheet of 2003; save it as .xlsx or \"CSV UTF-8\"")
	}
	return fmt.Errorf("the file is XML with the root element %s; of XML files only CxF3 is read", clip(e.Name.Local))
}

// object reads one Object.
func (r *cxfReader) object(e xml.StartElement) error {
	if len(r.objects) == discharge.MaxRows {
		return fmt.Errorf("more than %d objects: split the file", discharge.MaxRows)
	}
	o := cxfObject{name: attr(e, "Name"), id: attr(e, "Id"), objectType: attr(e, "ObjectType"), line: r.x.line()}
	err := r.x.inside(func(e xml.StartElement) error {
		switch {
		case e.Name.Space != cxfNamespace:
			return r.x.skip()
		case e.Name.Local == "Tag":
			if len(o.tags) == discharge.MaxColumns {
				return fmt.Errorf("more than %d tags in one object", discharge.MaxColumns)
			}
			o.tags = append(o.tags, [2]string{attr(e, "Name"), attr(e, "Value")})
		case e.Name.Local == "ReflectanceSpectrum":
			return r.spectrum(&o, e)
		case e.Name.Local == "CustomSpectrum":
			return r.custom(&o, e)
		case e.Name.Local == "ColorCIELab":
			return r.color(&o, e, discharge.LabKind, "L", "A", "B")
		case e.Name.Local == "ColorCIEXYZ":
			return r.color(&o, e, discharge.XYZKind, "X", "Y", "Z")
		case e.Name.Local == "ColorSRGB":
			return r.color(&o, e, discharge.Swatch, "R", "G", "B")
		}
		return nil
	})
	if err != nil {
		return err
	}
	r.objects = append(r.objects, o)
	return nil
}

func (r *cxfReader) count(n int) error {
	if r.numbers += n; r.numbers > maxCells {
		return fmt.Errorf("more than %d values: split the file", maxCells)
	}
	return nil
}

// spectrum reads the blank-separated factors of a ReflectanceSpectrum.
func (r *cxfReader) spectrum(o *cxfObject, e xml.StartElement) error {
	v := cxfValue{kind: discharge.Spectral, spec: attr(e, "ColorSpecification"), start: attr(e, "StartWL"), line: r.x.line()}
	text, err := r.x.text()
	if err != nil {
		return err
	}
	v.numbers = strings.Fields(text)
	if len(v.numbers) == 0 {
		return r.fault(v.line, "ReflectanceSpectrum", "", fmt.Errorf("the spectrum of object %q is empty", clip(o.name)))
	}
	if len(v.numbers) > discharge.MaxColumns {
		return r.fault(v.line, "ReflectanceSpectrum", "", fmt.Errorf("the spectrum has %d values; at most %d are read", len(v.numbers), discharge.MaxColumns))
	}
	o.values = append(o.values, v)
	return r.count(len(v.numbers))
}

// custom reads a CustomSpectrum: points that each state their wavelength.
func (r *cxfReader) custom(o *cxfObject, e xml.StartElement) error {
	v := cxfValue{kind: discharge.Spectral, spec: attr(e, "ColorSpecification"), line: r.x.line()}
	err := r.x.inside(func(p xml.StartElement) (err error) {
		if attr(p, "WL") == "" {
			return nil
		}
		value := attr(p, "Value")
		if value == "" {
			if value, err = r.x.text(); err != nil {
				return err
			}
		}
		if len(v.points) == discharge.MaxColumns {
			return r.fault(v.line, "CustomSpectrum", "", fmt.Errorf("the spectrum has more than %d points", discharge.MaxColumns))
		}
		v.points = append(v.points, [2]string{attr(p, "WL"), strings.TrimSpace(value)})
		return nil
	})
	if err != nil {
		return err
	}
	if len(v.points) > 0 {
		o.values = append(o.values, v)
	}
	return r.count(len(v.points))
}

// color reads three numbers, which stand in elements or in attributes.
func (r *cxfReader) color(o *cxfObject, e xml.StartElement, kind discharge.ReadingKind, names ...string) error {
	v := cxfValue{kind: kind, spec: attr(e, "ColorSpecification"), line: r.x.line(), numbers: make([]string, len(names))}
	for i, n := range names {
		v.numbers[i] = strings.TrimSpace(attr(e, n))
	}
	err := r.x.inside(func(c xml.StartElement) error {
		text, err := r.x.text()
		if err != nil {
			return err
		}
		for i, n := range names {
			if c.Name.Local == n && c.Name.Space == cxfNamespace {
				v.numbers[i] = strings.TrimSpace(text)
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	for i, n := range names {
		if v.numbers[i] == "" {
			return r.fault(v.line, e.Name.Local, "", fmt.Errorf("the color of object %q lacks %s", clip(o.name), n))
		}
	}
	o.values = append(o.values, v)
	return r.count(len(names))
}

// specification reads what colors and spectra refer to.
func (r *cxfReader) specification(e xml.StartElement) error {
	id, s := attr(e, "Id"), cxfSpec{line: r.x.line()}
	said := map[string]string{} // of the measurement, by element
	err := r.x.inside(func(c xml.StartElement) error {
		if c.Name.Space != cxfNamespace {
			return r.x.skip()
		}
		var into *string
		switch c.Name.Local {
		case "Illuminant":
			into = &s.illuminant
		case "Observer":
			into = &s.observer
		case "MeasurementType":
			into = &s.measures
		case "WavelengthRange":
			s.start, s.increment = attr(c, "StartWL"), attr(c, "Increment")
		default:
			if !isMeasurement(c.Name.Local) {
				return nil
			}
			said[c.Name.Local] = ""
			if strings.HasPrefix(c.Name.Local, "Sphere") {
				return nil // what it says is inside
			}
			text, err := r.x.text()
			said[c.Name.Local] = strings.TrimSpace(text)
			return err
		}
		if into != nil {
			text, err := r.x.text()
			if err != nil {
				return err
			}
			*into = strings.TrimSpace(text)
		}
		return nil
	})
	if err != nil {
		return err
	}
	s.condition = conditionOf(said).With(discharge.ParseCondition(id))
	if _, twice := r.specs[id]; twice {
		return r.fault(s.line, "ColorSpecification", id, errors.New("a second specification has the same Id"))
	}
	if len(r.specs) == 10_000 {
		return errors.New("more than 10000 color specifications")
	}
	r.specs[id] = s
	return nil
}

// isMeasurement knows the elements that say how was measured. Their names are
// from memory of files in use.
func isMeasurement(name string) bool {
	return strings.HasPrefix(name, "Sphere") || strings.HasPrefix(name, "Specular") ||
		slices.Contains([]string{"MeasurementCondition", "DeviceIllumination", "DeviceFilter", "IlluminationAngle", "MeasurementAngle"}, name)
}

// conditionOf reads what elements say; where they contradict each other, nothing.
func conditionOf(said map[string]string) discharge.Condition {
	var words []string
	for _, name := range slices.Sorted(maps.Keys(said)) {
		switch text := said[name]; {
		case strings.HasPrefix(name, "Sphere"):
			words = append(words, "sphere")
		case strings.HasPrefix(name, "Specular"):
			words = append(words, "specular "+text)
		case strings.HasSuffix(name, "Angle"):
		default:
			words = append(words, text)
		}
	}
	if angles := said["IlluminationAngle"] + "/" + said["MeasurementAngle"]; len(angles) > 1 {
		words = append(words, angles)
	}
	return discharge.ParseCondition(strings.Join(words, " "))
}

// wavelengths gives the whole nanometers of a spectrum. What is stated nowhere
// is an error and not a guess.
func (r *cxfReader) wavelengths(o *cxfObject, v *cxfValue) ([]int, error) {
	bad := func(format string, args ...any) error {
		return r.fault(v.line, "ReflectanceSpectrum", "", fmt.Errorf("object %q: "+format, append([]any{clip(o.name)}, args...)...))
	}
	if v.points != nil {
		nms := make([]int, len(v.points))
		for i, p := range v.points {
			nm, err := strconv.ParseFloat(p[0], 64)
			if err != nil || nm != float64(int(nm)) {
				return nil, bad("the wavelength %q of a custom spectrum is not in whole nanometers; give it at steps of 1, 2, 5, 10 or 20 nm", p[0])
			}
			nms[i] = int(nm)
		}
		return nms, nil
	}
	spec, known := r.specs[v.spec]
	start, increment := v.start, spec.increment
	if start == "" {
		start = spec.start
	}
	if start == "" || increment == "" {
		missing := "start (StartWL)"
		if start != "" {
			missing = "step (Increment)"
		}
		where := fmt.Sprintf("neither the spectrum nor its color specification %q states its %s", v.spec, missing)
		if !known {
			where = fmt.Sprintf("the %s is not stated: there is no color specification %q in the file", missing, v.spec)
		}
		return nil, bad("%s; the wavelengths are not guessed: export it with them", where)
	}
	from, err1 := strconv.ParseFloat(start, 64)
	step, err2 := strconv.ParseFloat(increment, 64)
	if err1 != nil || err2 != nil || from != float64(int(from)) || step != float64(int(step)) || step < 1 || from < 100 || from > 9999 || step > 1000 {
		return nil, bad("start %q and step %q of the wavelengths must be whole nanometers", start, increment)
	}
	nms := make([]int, len(v.numbers))
	for i := range nms {
		nms[i] = int(from) + i*int(step)
	}
	return nms, nil
}
