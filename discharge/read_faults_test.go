package discharge

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"example.com/dosetone/colorimetry"
)

// A small sound table in Lab; the cases below spoil one thing each.
const labTable = `lot,role,process,strength_pct,ratio,time_min,panel,position,illuminant,observer,L,a,b
B,base,permanganate-pellet,,,,1,thigh,D65,10,22.1,0.4,-11.2
K,blank,permanganate-pellet,0,0.3,12,1,thigh,D65,10,24.0,0.2,-12.1
W,white,,,,,1,thigh,D65,10,82.5,-0.6,4.1
T1,trial,permanganate-pellet,2,0.3,8,1,thigh,D65,10,38.2,-2.0,-17.5
T1,trial,permanganate-pellet,2,0.3,8,2,thigh,D65,10,39.0,-2.1,-17.6
T2,trial,permanganate-pellet,6,0.3,16,1,thigh,D65,10,55.7,-3.4,-14.9
`

// spectralTable is sound as well: 400-700/20 nm.
func spectralTable(scale float64) string {
	var b strings.Builder
	b.WriteString("lot,role,process,strength_pct,ratio,time_min,panel,position,unit")
	for nm := 400; nm <= 700; nm += 20 {
		fmt.Fprintf(&b, ",R%d", nm)
	}
	b.WriteString("\n")
	for i, head := range []string{"B,base,,,,,1,thigh,", "T1,trial,permanganate-pellet,2,0.3,8,1,thigh,", "T2,trial,permanganate-pellet,6,0.3,16,1,thigh,"} {
		b.WriteString(head)
		for k := range 16 {
			fmt.Fprintf(&b, ",%.5g", scale*(0.03+0.1*float64(i)+0.002*float64(k)))
		}
		b.WriteString("\n")
	}
	return b.String()
}

// bands writes a line per wavelength.
func bands(line string, from, to, step int) string {
	var b strings.Builder
	for nm := from; nm <= to; nm += step {
		fmt.Fprintf(&b, line, nm)
	}
	return b.String()
}

func spoil(text, old, replacement string) string {
	if !strings.Contains(text, old) {
		panic("the case edits nothing: " + old)
	}
	return strings.Replace(text, old, replacement, 1)
}

func TestSoundTablesHaveNoWarning(t *testing.T) {
	for _, text := range []string{labTable, spectralTable(1)} {
		table, err := ReadTable("lots.csv", strings.NewReader(text), nil)
		assert.NoError(t, err)
		assert.Empty(t, table.Warnings)
		assert.Empty(t, table.Ignored)
	}
}

func TestReadTableFaults(t *testing.T) {
	d65 := colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}
	for _, c := range []struct {
		name   string
		text   string
		opt    *ReadOptions
		row    int
		column string
		value  string
		want   string // the remedy
		is     error
	}{
		{name: "empty file", text: "", want: "empty"},
		{name: "only comments", text: "# a\n\n# b\n", want: "empty"},
		{name: "header only", text: "lot,role,L,a,b\n", row: 1, want: "no row below"},
		{name: "header and blank rows", text: "lot,role,L,a,b\n\n,,,,\n", row: 1, want: "no row below"},
		{name: "wrong delimiter", text: strings.ReplaceAll(labTable, ",", "|"), row: 1, value: "lot|role|process|strength_pct|ratio|time…", want: "separate the columns with comma, semicolon or tab"},
		{name: "title above the header", text: "Export of 2026-11-27\n\n" + labTable, row: 1, value: "Export of 2026-11-27", want: "line 3 looks like it: delete the lines above"},
		{name: "title of two cells", text: "Date;2026-11-27\n" + strings.ReplaceAll(labTable, ",", ";"), row: 2, want: "looks like the header: delete the lines above it"},
		{name: "one row per wavelength", text: "id,nm,reflectance\n" + bands("S,%d,0.2\n", 400, 700, 10) + bands("T,%d,0.3\n", 400, 700, 10), row: 1, column: "nm", want: "one row per reading with columns R400"},
		{name: "one column per reading", text: "nm,S,T\n" + bands("%d,0.2,0.3\n", 400, 700, 10), row: 1, column: "nm", want: "read the table with --wide"},
		{name: "headings of an instrument", text: spoil(labTable, "L,a,b", "L*(D65),a*(D65),b*(D65)"), row: 1, want: `rename "L*(D65)" and those beside it to L, a, b`},
		{name: "percent in the headings", text: strings.ReplaceAll(spectralTable(100), ",R", ",R%"), row: 1, want: `rename "R%400" to R400`},
		{name: "UTF-16", text: "\xff\xfel\x00o\x00t\x00", want: "UTF-16"},
		{name: "UTF-16 without mark", text: "l\x00o\x00t\x00", want: "UTF-16"},
		{name: "not UTF-8", text: spoil(labTable, "thigh", "Schl\xfcssel"), row: 2, want: "CSV UTF-8"},
		{name: "spreadsheet", text: "PK\x03\x04rest", want: "save the sheet as"},
		{name: "XML", text: "\n<?xml version=\"1.0\"?>", want: "XML"},
		{name: "truncated last line", text: labTable[:len(labTable)-20], row: 7, value: "D65", want: "cut off"},
		{name: "short row", text: spoil(labTable, "B,base,", "B,"), row: 2, want: "12 fields, the header 13"},
		{name: "open quote", text: spoil(labTable, "55.7", `"55.7`), row: 7, want: "cut off"},
		{name: "decimal comma in a comma file", text: spoil(labTable, "55.7", "55,7"), row: 7, want: "separate the columns with semicolon or tab"},
		{name: "quoted decimal comma in a comma file", text: spoil(labTable, "55.7", `"55,7"`), row: 7, column: "L", value: "55,7", want: "semicolon"},
		{name: "point and comma mixed", text: spoil(strings.ReplaceAll(labTable, ",", ";"), "55.7", "55,7"), row: 7, column: "L", value: "55,7", want: "22.1 in line 2"},
		{name: "thousands", text: spoil(strings.ReplaceAll(labTable, ",", ";"), "55.7", "1.055,7"), row: 7, column: "L", value: "1.055,7", want: "thousands"},

		{name: "no lot", text: spoil(labTable, "lot,", "load,"), row: 1, column: "lot", want: "missing"},
		{name: "misspelled lot", text: spoil(labTable, "lot,", "Lots,"), row: 1, column: "lot", want: `is it "Lots"?`},
		{name: "no role", text: spoil(labTable, "role,", "what,"), row: 1, column: "role", want: "missing"},
		{name: "no strength", text: spoil(labTable, "strength_pct", "dose"), row: 1, column: "strength_pct", want: "every trial of permanganate-pellet needs"},
		{name: "strength without unit", text: spoil(labTable, "strength_pct", "Strength"), row: 1, column: "strength_pct", want: `is it "Strength"? convert it`},
		{name: "no time", text: spoil(labTable, "time_min", "time_sec"), row: 1, column: "time_min", want: `is it "time_sec"?`},
		{name: "no process", text: spoil(labTable, "process", "how"), row: 1, column: "process", want: "missing"},
		{name: "two strengths", text: spoil(labTable, "ratio", "strength_gpl"), row: 1, column: "strength_gpl", want: "stands beside strength_pct"},
		{name: "wrong unit for the process", text: spoil(labTable, "strength_pct", "strength_gpl"), row: 3, column: "strength_gpl", value: "0", want: "takes strength_pct (%)"},
		{name: "wrong ratio for the process", text: spoil(labTable, "ratio", "liquor_ratio"), row: 3, column: "liquor_ratio", value: "0.3", want: "ratio (kg/kg)"},
		{name: "doubled column", text: spoil(labTable, "position", "Panel"), row: 1, column: "Panel", want: "columns 7 and 8"},
		{name: "doubled wavelength", text: spoil(spectralTable(1), "R420", "r400"), row: 1, column: "r400", want: "stands twice"},
		{name: "unnamed column", text: spoil(labTable, "position", ""), row: 1, want: "column 8 has values but no name"},
		{name: "no b", text: spoil(labTable, ",b\n", ",remark\n"), row: 1, column: "b", want: "missing beside L, a"},
		{name: "no readings", text: spoil(labTable, "L,a,b\n", "p,q,r\n"), row: 1, want: "R400 … R700"},
		{name: "R, G, B", text: spoil(labTable, "L,a,b\n", "R,G,B\n"), row: 1, column: "L", want: "red, green, blue"},
		{name: "chromaticity", text: spoil(labTable, "L,a,b\n", "x,y,z\n"), row: 1, want: "capitals"},

		{name: "unknown role", text: spoil(labTable, "T2,trial", "T2,trail"), row: 7, column: "role", value: "trail", want: `did you mean "trial"`},
		{name: "unknown role, not near", text: spoil(labTable, "T2,trial", "T2,sample"), row: 7, column: "role", value: "sample", want: "want one of base, blank"},
		{name: "empty role", text: spoil(labTable, "T2,trial", "T2,"), row: 7, column: "role", want: "empty"},
		{name: "empty lot", text: spoil(labTable, "T2,trial", ",trial"), row: 7, column: "lot", want: "name the lot"},
		{name: "unknown process", text: strings.ReplaceAll(labTable, "permanganate-pellet", "permanganate-pelet"), row: 3, column: "process", value: "permanganate-pelet", want: `did you mean "permanganate-pellet"`, is: ErrWrongProcess},
		{name: "empty process on a trial", text: strings.ReplaceAll(labTable, "permanganate-pellet", ""), row: 5, column: "process", want: "name the process"},
		{name: "mixed processes", text: spoil(labTable, "T2,trial,permanganate-pellet", "T2,trial,permanganate-powder"), row: 7, column: "process", value: "permanganate-powder", want: "split the file", is: ErrWrongProcess},
		{name: "another process asked for", text: labTable, opt: &ReadOptions{Process: "permanganate-powder"}, row: 3, column: "process", value: "permanganate-pellet", want: "permanganate-powder was asked for", is: ErrWrongProcess},
		{name: "unknown process asked for", text: labTable, opt: &ReadOptions{Process: "powder"}, want: "no process", is: ErrWrongProcess},

		{name: "strength 0 on a trial", text: spoil(labTable, "pellet,6,", "pellet,0,"), row: 7, column: "strength_pct", value: "0", want: "write role blank"},
		{name: "strength on a blank", text: spoil(labTable, "pellet,0,", "pellet,1,"), row: 3, column: "strength_pct", value: "1", want: "write role trial"},
		{name: "no strength on a trial", text: spoil(labTable, "pellet,6,", "pellet,,"), row: 7, column: "strength_pct", want: "in any of its rows"},
		{name: "time 0", text: spoil(labTable, "0.3,16", "0.3,0"), row: 7, column: "time_min", value: "0", want: "above 0"},
		{name: "negative ratio", text: spoil(labTable, "0.3,16", "-0.3,16"), row: 7, column: "ratio", value: "-0.3", want: "above 0"},
		{name: "unit in the cell", text: spoil(labTable, "pellet,6,", "pellet,6 %,"), row: 7, column: "strength_pct", value: "6 %", want: "the unit stands in the column name"},
		{name: "strength above 100 %", text: spoil(labTable, "pellet,6,", "pellet,600,"), row: 7, column: "strength_pct", value: "600", want: "100 %"},
		{name: "settings differ in a lot", text: spoil(labTable, "pellet,2,0.3,8,2", "pellet,2,0.3,9,2"), row: 6, column: "time_min", value: "9", want: `lot "T1" has 8 in line 5`},
		{name: "fabric differs in a lot", text: strings.NewReplacer("ratio", "fabric,ratio", ",0.3,", ",twill,0.3,", ",,,,1", ",,,,,1", "2,0.3,8,2", "2,denim,0.3,8,2").Replace(labTable), row: 6, column: "fabric", value: "denim", want: "has twill in line 5"},
		{name: "NaN setting", text: spoil(labTable, "pellet,6,", "pellet,NaN,"), row: 7, column: "strength_pct", value: "NaN", want: "stands for no value"},

		{name: "NaN reading", text: spoil(labTable, "55.7", "nan"), row: 7, column: "L", value: "nan", want: "stands for no value"},
		{name: "infinite reading", text: spoil(labTable, "55.7", "Inf"), row: 7, column: "L", value: "Inf", want: "stands for no value"},
		{name: "overflow", text: spoil(labTable, "55.7", "1e999"), row: 7, column: "L", value: "1e999", want: "too large"},
		{name: "hexadecimal", text: spoil(labTable, "55.7", "0x1p4"), row: 7, column: "L", value: "0x1p4", want: "not a number"},
		{name: "error of a spreadsheet", text: spoil(labTable, "55.7", "#DIV/0!"), row: 7, column: "L", value: "#DIV/0!", want: "stands for no value"},
		{name: "no reading", text: spoil(labTable, "55.7", ""), row: 7, column: "L", want: "empty"},
		{name: "negative lightness", text: spoil(labTable, "55.7", "-55.7"), row: 7, column: "L", value: "-55.7", want: "want 0 to 150"},
		{name: "lightness 0 to 1", text: "lot,role,illuminant,observer,L,a,b\nS,standard,D65,10,0.55,-0.03,-0.14\n", row: 2, column: "L", want: "0 to 100"},
		{name: "tristimulus 0 to 1", text: "lot,role,illuminant,observer,X,Y,Z\nS,standard,D65,10,0.21,0.22,0.3\n", row: 2, column: "Y", want: "white is 100"},
		{name: "sRGB 0 to 1", text: "lot,role,red,green,blue\nS,standard,0.21,0.22,0.3\n", row: 2, column: "red", want: "0 to 255"},
		{name: "sRGB above 255", text: "lot,role,red,green,blue\nS,standard,21,22,300\n", row: 2, column: "blue", value: "300", want: "0 to 255"},
		{name: "sRGB under D65/10", text: "lot,role,red,green,blue\nS,standard,21,22,30\n", opt: &ReadOptions{Viewing: d65}, row: 1, column: "red", want: "sRGB is D65/2", is: ErrViewing},

		{name: "no viewing", text: spoil(labTable, "illuminant,observer", "lamp,angle"), row: 1, column: "illuminant", want: "add columns illuminant and observer"},
		{name: "half a viewing", text: spoil(labTable, "observer", "angle"), row: 1, column: "observer", want: "go together"},
		{name: "viewings differ", text: spoil(labTable, "thigh,D65,10,55.7", "thigh,A,10,55.7"), row: 7, column: "illuminant", value: "A/10", want: "line 2 has D65/10", is: ErrViewing},
		{name: "other viewing asked for", text: labTable, opt: &ReadOptions{Viewing: colorimetry.Viewing{Illuminant: colorimetry.A, Observer: colorimetry.TenDegree}}, row: 2, column: "illuminant", value: "D65/10", want: "A/10 was asked for", is: ErrViewing},
		{name: "unknown illuminant", text: spoil(labTable, "thigh,D65,10,55.7", "thigh,TL84,10,55.7"), row: 7, column: "illuminant", value: "TL84", want: "want one of D65"},

		{name: "negative reflectance", text: spoil(spectralTable(1), "0.13,", "-0.13,"), row: 3, column: "R400", value: "-0.13", want: "black calibration"},
		{name: "percent read as factor", text: spectralTable(100), row: 2, column: "R700", value: "6", want: "--reflectance percent"},
		{name: "percent as factor, very dark", text: spectralTable(60), row: 2, column: "R700", value: "3.6", want: "--reflectance percent"},
		{name: "factor read as percent", text: spectralTable(1), opt: &ReadOptions{Percent: true}, row: 2, column: "R400", want: "say unit factor"},
		{name: "unit against option", text: spoil(spectralTable(100), "thigh,,", "thigh,factor,"), opt: &ReadOptions{Percent: true}, row: 2, column: "R700", value: "6", want: "reflectance is a factor"},
		{name: "unknown unit", text: spoil(spectralTable(1), "thigh,,", "thigh,permille,"), row: 2, column: "unit", value: "permille", want: "factor (0 to 1) or percent"},
		{name: "above 200 %", text: spoil(spectralTable(100), "13,", "1300,"), opt: &ReadOptions{Percent: true}, row: 3, column: "R400", value: "1300", want: "200 %"},
		{name: "gap in a spectrum", text: spoil(spectralTable(1), "0.134,", ","), row: 3, column: "R440", want: "empty"},
		{name: "irregular wavelengths", text: spoil(spectralTable(1), "R420", "R425"), row: 1, column: "R400", want: "not uniform"},
		{name: "falling wavelengths", text: spoil(spectralTable(1), "R420", "R390"), row: 1, column: "R390", want: "must rise"},
		{name: "short range", text: spoil(spectralTable(1), "R700", "note"), row: 1, column: "R400", want: "does not cover"},
		{name: "fraction of a nanometer", text: spoil(spectralTable(1), "R420", "R420.5"), row: 1, column: "R420.5", want: "whole nanometers"},
		{name: "one wavelength", text: "lot,role,R400\nS,standard,0.2\n", row: 1, column: "R400", want: "too few"},

		{name: "unknown stage", text: spoil(labTable, "position", "stage"), row: 2, column: "stage", value: "thigh", want: "discharged"},
		{name: "unknown state", text: strings.ReplaceAll(spoil(labTable, "position", "state"), "thigh", "dmap"), row: 2, column: "state", value: "dmap", want: `did you mean "damp"`},
		{name: "tensile loss", text: strings.ReplaceAll(spoil(labTable, "position", "tensile_loss_pct"), "thigh", "150"), row: 2, column: "tensile_loss_pct", value: "150", want: "-100 to 100"},

		{name: "two tensile losses of a panel", text: strings.NewReplacer("position", "tensile_loss_pct", "8,1,thigh", "8,1,10", "8,2,thigh", "8,1,12", "thigh", "").Replace(labTable), row: 6, column: "tensile_loss_pct", value: "12", want: "a panel has one"},

		{name: "too many columns", text: "lot" + strings.Repeat(",x", MaxColumns) + "\n", row: 1, want: "at most 2000"},
		{name: "too many rows", text: "lot,role\n" + strings.Repeat("a,b\n", MaxRows+1), row: MaxRows + 2, want: "split the file"},
		{name: "too long a cell", text: spoil(labTable, "T2", strings.Repeat("T", MaxCellBytes+1)), row: 7, column: "lot", value: strings.Repeat("T", 40) + "…", want: "at most 1000"},
		{name: "too large a file", text: strings.Repeat("a", MaxFileBytes+1), want: "64 MiB"},
	} {
		t.Run(c.name, func(t *testing.T) {
			table, err := ReadTable("lots.csv", strings.NewReader(c.text), c.opt)
			assert.Nil(t, table)
			var row *RowError
			if !errors.As(err, &row) {
				t.Fatalf("want a RowError, have %v", err)
			}
			assert.Equal(t, "lots.csv", row.File)
			assert.Equal(t, c.row, row.Row, "row in %v", err)
			assert.Equal(t, c.column, row.Column, "column in %v", err)
			if c.value != "" {
				assert.Equal(t, c.value, row.Value, "value in %v", err)
			}
			assert.ErrorContains(t, err, c.want)
			if c.is != nil {
				assert.ErrorIs(t, err, c.is)
			}
		})
	}
}

// A flat gray reflects the same at every wavelength: L* = 116 ∛0.2 - 16 = 51.837
// (ISO/CIE 11664-4, Y/Yn = 0.2), a* = b* = 0, in whatever order the bands stand,
// however they are written, and whatever lies beside what an observer sees.
func TestBandsAreTakenAsInstrumentsWriteThem(t *testing.T) {
	gray := func(header string, n int) string { return "id" + header + "\nS" + strings.Repeat(",0.2", n) + "\n" }
	falling := ""
	for nm := 700; nm >= 400; nm -= 10 {
		falling += fmt.Sprintf(",R%d", nm)
	}
	for name, c := range map[string]struct{ text, grid, warning string }{
		"falling":     {gray(falling, 31), "400-700/10", ""},
		"decimals":    {gray(bands(",R%d.00nm", 400, 700, 10), 31), "400-700/10", ""},
		"ultraviolet": {gray(bands(",R%d", 300, 780, 5), 97), "360-780/5", `column "R300": 12 bands outside 360 to 830 nm`},
		"infrared":    {gray(bands(",R%d", 360, 1100, 10), 75), "360-830/10", `column "R840": 27 bands outside 360 to 830 nm`},
	} {
		s, err := ReadSamples("s.csv", strings.NewReader(c.text), nil)
		if assert.NoError(t, err, name) {
			assert.Equal(t, c.grid, s.Grid.String(), name)
			assert.InDelta(t, 51.837, s.Items[0].Lab.L, 2e-3, name)
			assert.InDelta(t, 0, s.Items[0].Lab.A, 1e-2, name)
			if c.warning == "" {
				assert.Empty(t, s.Warnings, name)
			} else {
				assert.ErrorContains(t, errors.Join(s.Warnings...), c.warning, name)
			}
		}
	}
	// Each value belongs to the wavelength above it.
	s, err := ReadSamples("s.csv", strings.NewReader("id"+falling+"\nS,0.7"+strings.Repeat(",0.2", 30)+"\n"), nil)
	if assert.NoError(t, err) {
		assert.Equal(t, 0.7, s.Items[0].Spectrum[30])
	}
}

func TestReadTableWarnings(t *testing.T) {
	for _, c := range []struct {
		name    string
		text    string
		want    string
		ignored []string
	}{
		{"unknown column", spoil(labTable, "position", "operator"), `kept aside because their meaning is not known: "operator"`, []string{"operator"}},
		{"near miss of an optional column", spoil(labTable, "position", "temp"), `did you mean "temp_c"`, []string{"temp"}},
		{"factor of another process", strings.ReplaceAll(spoil(labTable, "position", "ph"), "thigh", "7"), "no factor of permanganate-pellet", []string{"ph"}},
		{"row copied", spoil(labTable, "T1,trial,permanganate-pellet,2,0.3,8,2,thigh,D65,10,39.0,-2.1,-17.6", "T1,trial,permanganate-pellet,2,0.3,8,1,thigh,D65,10,38.2,-2.0,-17.5"), "equals an earlier one", nil},
		{"no panel column", spoil(labTable, "panel,", "garment,"), "taken as one panel", []string{"garment"}},
		{"unusual strength", spoil(labTable, "pellet,6,", "pellet,60,"), "common practice, no source", nil},
		{"commented row", spoil(labTable, "T2,trial", "# T2,trial"), "start with #", nil},
		{"cut off inside the last value", labTable[:len(labTable)-4], "export it again", nil},
		{"brightened cloth", spoil(spectralTable(1), "0.138", "1.08"), "above 1", nil},
		{"bare wavelengths", strings.ReplaceAll(spectralTable(1), "R", ""), "named by wavelength only", nil},
		{"two kinds of reading", spoil(labTable, "process,", "process,red,"), "kept aside", []string{"red"}},
		{"unit without reflectance", spoil(labTable, "position", "unit"), "not reflectance", []string{"unit"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.name == "two kinds of reading" {
				c.text = strings.NewReplacer("permanganate-pellet", "permanganate-pellet,20", "W,white,", "W,white,,").Replace(c.text)
			}
			table, err := ReadTable("lots.csv", strings.NewReader(c.text), nil)
			if err != nil {
				t.Fatal(err)
			}
			var all []string
			for _, w := range table.Warnings {
				all = append(all, w.Error())
			}
			assert.Contains(t, strings.Join(all, "\n"), c.want)
			assert.Contains(t, strings.Join(all, "\n"), "lots.csv")
			assert.Equal(t, c.ignored, table.Ignored)
		})
	}
}

// Swatches among spectra: the row is not empty, it is of another kind.
func TestMixedKindsOfReadingAreNamed(t *testing.T) {
	lines := strings.Split(strings.TrimSpace(spectralTable(1)), "\n")
	lines[0] += ",red,green,blue"
	for i := 1; i < len(lines); i++ {
		lines[i] += ",,,"
	}
	row := strings.Split(lines[2], ",")
	for j, name := range strings.Split(lines[0], ",") {
		if strings.HasPrefix(name, "R4") || strings.HasPrefix(name, "R5") || strings.HasPrefix(name, "R6") || strings.HasPrefix(name, "R7") {
			row[j] = ""
		}
	}
	row[len(row)-3], row[len(row)-2], row[len(row)-1] = "70", "90", "120"
	lines[2] = strings.Join(row, ",")
	_, err := ReadTable("mixed.csv", strings.NewReader(strings.Join(lines, "\n")), nil)
	assert.ErrorContains(t, err, "mixed.csv:3")
	assert.ErrorContains(t, err, "the row has a color in column red, but a file holds one kind of reading")
}
