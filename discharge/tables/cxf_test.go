package tables

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// flat gives the factors of a flat spectrum from 400 to 700 nm by 10.
func flat(value string) string { return strings.TrimSpace(strings.Repeat(value+" ", 31)) }

// A document as ISO 17972-1 describes CxF3, under any prefix.
const cxfDocument = `<?xml version="1.0" encoding="UTF-8"?>
<CxF xmlns="http://colorexchangeformat.com/CxF3-core">
<FileInformation><Creator>invented data</Creator><Tag Name="lot" Value="not of an object"/></FileInformation>
<Resources>
<ObjectCollection>
<Object ObjectType="Standard" Name="mid blue" Id="1"><CreationDate>2026-11-25</CreationDate>
 <ColorValues>
  <ReflectanceSpectrum ColorSpecification="S" Name="400-700">FACTORS</ReflectanceSpectrum>
  <ColorCIELab ColorSpecification="T"><L>40.5</L><A>-1.5</A><B>-9</B></ColorCIELab>
 </ColorValues>
 <TagCollection><Tag Name="Fabric" Value="alder"/></TagCollection>
</Object>
<Object ObjectType="Light limit" Name="lighter" Id="2">
 <ColorValues>
  <ReflectanceSpectrum ColorSpecification="S">FACTORS</ReflectanceSpectrum>
  <ColorCIELab ColorSpecification="T"><L>44.5</L><A>-1.5</A><B>-9</B></ColorCIELab>
  <ColorSRGB ColorSpecification="U"><R>90</R><G>100</G><B>130</B></ColorSRGB>
 </ColorValues>
</Object>
</ObjectCollection>
<ColorSpecificationCollection>
<ColorSpecification Id="S"><MeasurementSpec><MeasurementType>Spectrum_Reflectance</MeasurementType><WavelengthRange StartWL="400" Increment="10"/></MeasurementSpec></ColorSpecification>
<ColorSpecification Id="T"><TristimulusSpec><Illuminant>D65</Illuminant><Observer>10_Degree</Observer><Method>E308_Table5</Method></TristimulusSpec></ColorSpecification>
</ColorSpecificationCollection>
</Resources>
<CustomResources><x:Private xmlns:x="urn:invented"><x:Object Name="skip me"/></x:Private></CustomResources>
</CxF>
`

func document(edits ...string) string {
	return strings.ReplaceAll(strings.NewReplacer(edits...).Replace(cxfDocument), "FACTORS", flat("0.25"))
}

// prefixed gives every element a prefix, as many programs do.
func prefixed(text string) string {
	text = strings.ReplaceAll(text, "xmlns=", "xmlns:cc=")
	text = strings.NewReplacer("</x:", "</x:", "<x:", "<x:", "<?", "<?", "</", "</cc:", "<", "<cc:").Replace(text)
	return text
}

func TestCxF(t *testing.T) {
	for name, text := range map[string]string{"default": document(), "prefix": prefixed(document()), "mark": "\xef\xbb\xbf" + document()} {
		t.Run(name, func(t *testing.T) {
			s, err := Read("t.cxf", []byte(text), Options{})
			require.NoError(t, err)
			require.Equal(t, "CxF, reflectance spectra", s.Format)
			require.Empty(t, s.Warnings)
			require.Equal(t, []int{8, 15}, s.Lines)
			table, err := discharge.SamplesFromSheet(s, nil)
			require.NoError(t, err)
			require.Equal(t, "mid blue", table.Items[0].ID)
			require.Equal(t, 31, table.Grid.N)
			targets, err := discharge.TargetsFromSheet(s, nil)
			require.NoError(t, err)
			require.Len(t, targets.Items, 1, "object types are roles")
			require.NotNil(t, targets.Items[0].Light)
		})
	}
}

func TestCxFColors(t *testing.T) {
	for _, c := range []struct {
		name, text, format string
		want               colorimetry.Lab
		viewing            string
	}{
		{"Lab", document("<ReflectanceSpectrum", "<EmissiveSpectrum", "</ReflectanceSpectrum", "</EmissiveSpectrum"), "CxF, CIELAB", colorimetry.Lab{L: 40.5, A: -1.5, B: -9}, "D65/10"},
		{"spectrum of one only", document(`<ReflectanceSpectrum ColorSpecification="S" Name="400-700">FACTORS</ReflectanceSpectrum>`, ""), "CxF, CIELAB", colorimetry.Lab{L: 40.5, A: -1.5, B: -9}, "D65/10"},
		// An equal-energy object of Y 100 under D65/10 has L* 100 and its white's X and Z (ISO/CIE 11664-4).
		{"XYZ", document("ReflectanceSpectrum", "TransmittanceSpectrum", "<ColorCIELab", "<ColorCIEXYZ", "</ColorCIELab", "</ColorCIEXYZ", "<L>40.5</L><A>-1.5</A><B>-9</B>", "<X>94.811</X><Y>100</Y><Z>107.304</Z>",
			"<L>44.5</L><A>-1.5</A><B>-9</B>", "<X>1</X><Y>1</Y><Z>1</Z>"), "CxF, XYZ", colorimetry.Lab{L: 100}, "D65/10"},
		{"attributes", document("ReflectanceSpectrum", "Other", "<L>40.5</L><A>-1.5</A><B>-9</B>", "", `<ColorCIELab ColorSpecification="T"></ColorCIELab>`, `<ColorCIELab L="40.5" A="-1.5" B="-9" ColorSpecification="T"/>`), "", colorimetry.Lab{}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := Read("t.cxf", []byte(c.text), Options{})
			if c.format == "" {
				require.ErrorContains(t, err, "lacks L")
				return
			}
			require.NoError(t, err)
			require.Equal(t, c.format, s.Format)
			samples, err := discharge.SamplesFromSheet(s, nil)
			require.NoError(t, err)
			require.Equal(t, c.viewing, samples.Viewing.String())
			require.InDelta(t, c.want.L, samples.Items[0].Lab.L, 1e-3)
			require.InDelta(t, c.want.A, samples.Items[0].Lab.A, 2e-3)
			require.InDelta(t, c.want.B, samples.Items[0].Lab.B, 2e-3)
		})
	}
	// One color in attributes, and sRGB, which is D65/2 by definition.
	object := func(values string) string {
		return `<CxF xmlns="http://colorexchangeformat.com/CxF3-core"><Resources><ObjectCollection><Object Name="n" Id="1"><ColorValues>` + values + `</ColorValues></Object></ObjectCollection></Resources></CxF>`
	}
	s, err := Read("t.cxf", []byte(object(`<ColorCIELab L="40.5" A="-1.5" B="-9"/>`)), Options{})
	require.NoError(t, err)
	require.Equal(t, [][]string{{"n", "40.5", "-1.5", "-9"}}, s.Rows)
	_, err = discharge.SamplesFromSheet(s, nil)
	require.ErrorContains(t, err, "--viewing", "no specification: the viewing is not known")
	_, err = discharge.SamplesFromSheet(s, &discharge.ReadOptions{Viewing: d65()})
	require.NoError(t, err)
	s, err = Read("t.cxf", []byte(object(`<ColorSRGB><R>255</R><G>255</G><B>255</B></ColorSRGB>`)), Options{})
	require.NoError(t, err)
	samples, err := discharge.SamplesFromSheet(s, nil)
	require.NoError(t, err)
	require.InDelta(t, 100, samples.Items[0].Lab.L, 1e-3)
	s, err = Read("t.cxf", []byte(object(`<CustomSpectrum>`+points(10)+`</CustomSpectrum>`)), Options{})
	require.NoError(t, err)
	samples, err = discharge.SamplesFromSheet(s, nil)
	require.NoError(t, err)
	require.Equal(t, 0.25, samples.Items[0].Spectrum[7])
	s, err = Read("t.cxf", []byte(object(`<CustomSpectrum>`+points(7)+`</CustomSpectrum>`)), Options{})
	require.NoError(t, err)
	_, err = discharge.SamplesFromSheet(s, nil)
	require.ErrorContains(t, err, "R400")
}

func points(step int) string {
	var b strings.Builder
	for nm := 400; nm <= 700; nm += step {
		fmt.Fprintf(&b, `<Point WL="%d">0.25</Point>`, nm)
	}
	return b.String()
}

// Repeated readings of an object are rows; those under another specification
// are kept aside with a word, or asked for.
func TestCxFSeveralSpectra(t *testing.T) {
	second := `</ReflectanceSpectrum><ReflectanceSpectrum ColorSpecification="S">` + flat("0.26") +
		`</ReflectanceSpectrum><ReflectanceSpectrum ColorSpecification="M1" StartWL="400">` + flat("0.5") + `</ReflectanceSpectrum>`
	text := document("</ReflectanceSpectrum>", second, "<ColorSpecificationCollection>",
		`<ColorSpecificationCollection><ColorSpecification Id="M1"><MeasurementSpec><WavelengthRange Increment="10"/></MeasurementSpec></ColorSpecification>`)
	s, err := Read("t.cxf", []byte(text), Options{})
	require.NoError(t, err)
	require.Len(t, s.Rows, 4)
	require.Contains(t, errors.Join(s.Warnings...).Error(), `readings under "S" were taken, those under "M1" kept aside`)
	s, err = Read("t.cxf", []byte(text), Options{Part: "M1"})
	require.NoError(t, err)
	require.Len(t, s.Rows, 2)
	require.Empty(t, s.Warnings)
	_, err = Read("t.cxf", []byte(text), Options{Part: "M2"})
	require.ErrorContains(t, err, `no color specification "M2"; it has "M1", "S", "T"`)
}

// measured makes a document of objects and the color specifications under which
// each has a spectrum; the factors of SCI lie 0.04 above those of the others.
func measured(objects [][]string, specs string) string {
	var b strings.Builder
	b.WriteString(`<CxF xmlns="` + cxfNamespace + `"><Resources><ObjectCollection>`)
	for i, ids := range objects {
		fmt.Fprintf(&b, "\n<Object Name=\"S%d\" Id=\"%[1]d\"><ColorValues>", i+1)
		for _, id := range ids {
			value := "0.2"
			if strings.HasSuffix(id, "SCI") {
				value = "0.24"
			}
			fmt.Fprintf(&b, `<ReflectanceSpectrum ColorSpecification="%s" StartWL="400">%s</ReflectanceSpectrum>`, id, flat(value))
		}
		b.WriteString(`</ColorValues></Object>`)
	}
	return b.String() + "\n</ObjectCollection><ColorSpecificationCollection>" + specs + "</ColorSpecificationCollection></Resources></CxF>"
}

// spec is a color specification that says this of the measurement.
func spec(id, says string) string {
	return `<ColorSpecification Id="` + id + `"><MeasurementSpec>` + says + `<WavelengthRange Increment="10"/></MeasurementSpec></ColorSpecification>`
}

// Objects are compared, so all of them are read under one color specification,
// whatever the order in which each was measured.
func TestCxFTakesOneSpecificationForAll(t *testing.T) {
	specs := spec("SCE", "") + spec("SCI", "") + spec("1-SCE", "") + spec("2-SCE", "") + spec("1-SCI", "") + spec("2-SCI", "")
	for _, c := range []struct {
		name    string
		objects [][]string
		opt     Options
		want    []string // condition of each row
		says    string   // warning
		err     string
	}{
		{"both in another order", [][]string{{"SCE", "SCI"}, {"SCI", "SCE"}}, Options{}, []string{"SCE", "SCE"}, `readings under "SCE" were taken, those under "SCI" kept aside`, ""},
		{"one has only SCI", [][]string{{"SCE", "SCI"}, {"SCE", "SCI"}, {"SCI"}}, Options{}, []string{"SCI", "SCI", "SCI"}, `readings under "SCI" were taken`, ""},
		{"SCE asked for", [][]string{{"SCI", "SCE"}, {"SCI", "SCE"}, {"SCI"}}, Options{Condition: "SCE"}, []string{"SCE", "SCE"}, `objects that were not measured so are left out: "S3"`, ""},
		{"by id", [][]string{{"SCI", "SCE"}, {"SCI", "SCE"}}, Options{Part: "SCE"}, []string{"SCE", "SCE"}, "", ""},
		{"none in common", [][]string{{"SCE"}, {"SCI", "1-SCI"}}, Options{}, nil, "", `t.cxf:3: column "ColorSpecification": object "S2" was measured under "SCI", "1-SCI", those before it under "SCE"`},
		{"one each", [][]string{{"1-SCE"}, {"2-SCE"}}, Options{}, []string{"SCE", "SCE"}, "", ""},
		{"one each of the condition asked for", [][]string{{"1-SCE", "1-SCI"}, {"2-SCI", "2-SCE"}}, Options{Condition: "SCI"}, []string{"SCI", "SCI"}, `those under "1-SCE", "2-SCE" kept aside`, ""},
		{"one each, unlike", [][]string{{"SCE"}, {"SCI"}}, Options{}, []string{"SCE", "SCI"}, "", ""},
		{"nothing so measured", [][]string{{"SCE"}, {"SCI"}}, Options{Condition: "45/0"}, nil, "", `no reading is of the measurement condition 45/0; the file has color specifications "SCE", "SCI"`},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := Read("t.cxf", []byte(measured(c.objects, specs)), c.opt)
			if c.err != "" {
				require.ErrorContains(t, err, c.err)
				return
			}
			require.NoError(t, err)
			if c.says == "" {
				require.Empty(t, s.Warnings)
			} else {
				require.ErrorContains(t, errors.Join(s.Warnings...), c.says)
			}
			samples, err := discharge.SamplesFromSheet(s, nil)
			require.NoError(t, err)
			var got []string
			for _, item := range samples.Items {
				got = append(got, string(item.Condition))
				want := 0.2
				if item.Condition == "SCI" {
					want = 0.24
				}
				require.Equal(t, want, item.Spectrum[0], "the values of that specification")
			}
			require.Equal(t, c.want, got)
		})
	}
}

// What a specification says of the measurement, in elements or by its Id. The
// names of the elements are from memory of files in use.
func TestCxFCondition(t *testing.T) {
	for _, c := range []struct{ id, says, want string }{
		{"a", "", ""},
		{"M1", "", "M1"},
		{"a", "<MeasurementCondition>M0</MeasurementCondition>", "M0"},
		{"a", "<GeometryChoice><SphereGeometry><Specular>included</Specular></SphereGeometry></GeometryChoice>", "SCI"},
		{"a", "<GeometryChoice><SphereGeometry/></GeometryChoice>", "sphere"},
		{"SCE", "<GeometryChoice><SphereGeometry/></GeometryChoice>", "SCE"},
		{"SCE", "<GeometryChoice><SphereGeometry><Specular>Included</Specular></SphereGeometry></GeometryChoice>", "SCI"}, // an Id is but a name
		{"a", "<GeometryChoice><SingleAngle><IlluminationAngle>45</IlluminationAngle><MeasurementAngle>0</MeasurementAngle></SingleAngle></GeometryChoice><Device><DeviceIllumination>M1_Daylight</DeviceIllumination></Device>", "M1 45/0"},
	} {
		s, err := Read("t.cxf", []byte(measured([][]string{{c.id}}, spec(c.id, c.says))), Options{})
		require.NoError(t, err, c.says)
		samples, err := discharge.SamplesFromSheet(s, nil)
		require.NoError(t, err)
		require.Equal(t, discharge.Condition(c.want), samples.Items[0].Condition, c.id+c.says)
	}
	tagged := strings.Replace(measured([][]string{{"SCE"}}, spec("SCE", "")), "</ColorValues>", `</ColorValues><TagCollection><Tag Name="Condition" Value="SCI"/></TagCollection>`, 1)
	_, err := Read("t.cxf", []byte(tagged), Options{})
	require.ErrorContains(t, err, `column "condition": value "SCI": object "S1" has this tag, but its color specification says SCE`)
	s, err := Read("t.cxf", []byte(strings.Replace(tagged, `"SCI"`, `"M1"`, 1)), Options{})
	require.NoError(t, err)
	require.Contains(t, s.Rows[0], "M1 SCE")
}

func TestCxFFaults(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"no start", document(`StartWL="400" `, ""), `t.cxf:8: column "ReflectanceSpectrum": object "mid blue": neither the spectrum nor its color specification "S" states its start`},
		{"no step", document(`Increment="10"`, ""), "step (Increment)"},
		{"no specification", document(`Id="S"`, `Id="Z"`), `there is no color specification "S"`},
		{"broken step", document(`Increment="10"`, `Increment="9.5"`), "whole nanometers"},
		{"empty spectrum", strings.Replace(document(), flat("0.25"), " ", 1), "is empty"},
		{"other length", strings.Replace(document(), flat("0.25"), flat("0.25")+" 0.25", 1), "all spectra of a file need the same wavelengths"},
		{"no number", strings.Replace(document(), "0.25", "0,25", 1), `t.cxf:8: column "R400": value "0,25"`},
		{"lacks b", document("<B>-9</B>", ""), `object "mid blue" lacks B`},
		{"transmittance", document("Spectrum_Reflectance", "Spectrum_Transmittance"), "want reflectance"},
		{"nothing", document("ReflectanceSpectrum", "x", "ColorCIELab", "y", "ColorSRGB", "z"), "hold no reflectance spectrum"},
		{"none in common", document(`<ReflectanceSpectrum ColorSpecification="S" Name="400-700">FACTORS</ReflectanceSpectrum>`, "", `<L>44.5</L><A>-1.5</A><B>-9</B>`, "", `<ColorCIELab ColorSpecification="T"></ColorCIELab>`, ""), "lacks L"},
		{"no objects", document("<Object ", "<Thing ", "</Object>", "</Thing>"), "no objects"},
		{"unknown illuminant", document("ReflectanceSpectrum", "x", "D65", "D93"), `column "TristimulusSpec": value "D93/10_Degree"`},
		{"viewing of one only", document("ReflectanceSpectrum", "x", `"T"><L>44`, `"Q"><L>44`), `t.cxf:16: column "ColorSpecification": value "Q": object "lighter"`},
		{"tag twice", document(`<Tag Name="Fabric" Value="alder"/>`, `<Tag Name="Fabric" Value="alder"/><Tag Name="fabric" Value="b"/>`), "gives it twice"},
		{"specification twice", document(`Id="T"`, `Id="S"`), "the same Id"},
		{"DOCTYPE", document("<CxF", "<!DOCTYPE CxF [<!ENTITY a \"aaaa\">]>\n<CxF"), "DOCTYPE"},
		{"entity", document("mid blue", "&a;"), "broken"},
		{"cut off", document()[:900], "cut off"},
		{"encoding", document("UTF-8", "ISO-8859-1"), "save it as UTF-8"},
		{"deep", document("<Tag ", strings.Repeat("<Tag>", 200)+"<Tag "), "nested more than 100"},
		{"UTF-16", "\xff\xfe<\x00C\x00x\x00F\x00", "t.cxf: the file is XML in UTF-16; export it in UTF-8"},
		{"decimal comma", strings.Replace(document(), flat("0.25"), flat("0,25"), 1), "choose the point"},
		{"namespace", document("CxF3-core", "CxF4-core"), "another version"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := Read("t.cxf", []byte(c.text), Options{})
			if err == nil {
				_, err = discharge.SamplesFromSheet(s, nil)
			}
			require.ErrorContains(t, err, c.want)
			require.ErrorContains(t, err, "t.cxf:")
		})
	}
}

// A tag may say half of the viewing, which the specification says whole.
func TestCxFTagsOfTheViewing(t *testing.T) {
	lab := func(tag string) string { // one object of CIELAB alone
		text := document(`<Tag Name="Fabric" Value="alder"/>`, tag, `<ReflectanceSpectrum ColorSpecification="S" Name="400-700">FACTORS</ReflectanceSpectrum>`, "")
		start := strings.Index(text, `<Object ObjectType="Light limit"`)
		return text[:start] + text[strings.Index(text, "</ObjectCollection>"):]
	}
	for _, tag := range []string{`<Tag Name="observer" Value="10"/>`, `<Tag Name="Observer" Value="10 deg"/>`, `<Tag Name="illuminant" Value="d65"/>`,
		`<Tag Name="illuminant" Value="D65"/><Tag Name="observer" Value="10"/>`, ""} {
		s, err := Read("o.cxf", []byte(lab(tag)), Options{})
		require.NoError(t, err, tag)
		targets, err := discharge.TargetsFromSheet(s, nil)
		require.NoError(t, err, tag)
		require.Equal(t, "D65/10", targets.Items[0].Viewing.String(), tag)
	}
	for _, tag := range []string{`<Tag Name="observer" Value="2"/>`, `<Tag Name="illuminant" Value="A"/>`} {
		_, err := Read("o.cxf", []byte(lab(tag)), Options{})
		require.ErrorContains(t, err, "color specification says", tag)
		var row *discharge.RowError
		require.ErrorAs(t, err, &row)
		require.Positive(t, row.Row)
	}
}
