package tables

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// A file as ISO 28178 describes it: private keywords, comments, quotes with
// blanks and doubled quotes, sets over several lines.
const cgatsLab = `CGATS.17
ORIGINATOR "invented data: no real laundry"
KEYWORD "OUR_NOTE"
OUR_NOTE "kept and ignored"   # a comment
ILLUMINATION_NAME "D65"
OBSERVER_ANGLE 10
NUMBER_OF_FIELDS 5
BEGIN_DATA_FORMAT
SAMPLE_ID SAMPLE_NAME
LAB_L LAB_A LAB_B
END_DATA_FORMAT
NUMBER_OF_SETS 3
BEGIN_DATA
1 "blue ""deep"" one" 40 -1 -9
2
  "two" 41
  -1.5 -9.5  # wrapped
3 three 42.25 -2 -1e1
END_DATA
`

func TestCGATS(t *testing.T) {
	for name, text := range map[string]string{"LF": cgatsLab, "CRLF": strings.ReplaceAll(cgatsLab, "\n", "\r\n"), "CR": strings.ReplaceAll(cgatsLab, "\n", "\r"),
		"tabs": strings.ReplaceAll(cgatsLab, " ", "\t"), "mark": "\xef\xbb\xbf" + cgatsLab} {
		t.Run(name, func(t *testing.T) {
			s, err := Read("t.txt", []byte(text), Options{})
			require.NoError(t, err)
			require.Equal(t, "CGATS text", s.Format)
			require.Empty(t, s.Warnings)
			require.Equal(t, []int{14, 15, 18}, s.Lines)
			samples, err := discharge.SamplesFromSheet(s, nil)
			require.NoError(t, err)
			require.Equal(t, colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}, samples.Viewing)
			require.Equal(t, colorimetry.Lab{L: 41, A: -1.5, B: -9.5}, samples.Items[1].Lab)
			require.Equal(t, colorimetry.Lab{L: 42.25, A: -2, B: -10}, samples.Items[2].Lab)
			require.Equal(t, strings.NewReplacer(" ", map[bool]string{true: "\t", false: " "}[name == "tabs"]).Replace(`blue "deep" one`), samples.Items[0].ID)
		})
	}
}

// spectral makes a file of one flat spectrum of that value, 400-700/100 nm in
// fields of that name, with more keyword lines.
func spectral(fields func(nm string) string, value, keywords string) string {
	var f, v []string
	for _, nm := range []string{"380", "390", "400", "410", "420", "430", "440", "450", "460", "470", "480", "490", "500", "510", "520", "530", "540", "550", "560", "570", "580", "590",
		"600", "610", "620", "630", "640", "650", "660", "670", "680", "690", "700"} {
		f = append(f, fields(nm))
		v = append(v, strings.ReplaceAll(value, "NM", nm))
	}
	return "CGATS.17\n" + keywords + "BEGIN_DATA_FORMAT\nSAMPLE_ID " + strings.Join(f, " ") + "\nEND_DATA_FORMAT\nBEGIN_DATA\n1 " + strings.Join(v, " ") + "\nEND_DATA\n"
}

// Names of bands met in files, and the scale from declared words only.
func TestCGATSSpectra(t *testing.T) {
	named := func(start string) func(string) string { return func(nm string) string { return start + nm } }
	for _, c := range []struct {
		name, text string
		percent    bool // said by a flag
		want       float64
		err        string
	}{
		{"factor", spectral(named("SPECTRAL_NM"), "0.25", "SPECTRAL_NORM 1\n"), false, 0.25, ""},
		{"percent", spectral(named("SPECTRAL_NM"), "25", "SPECTRAL_NORM 100.0\n"), false, 0.25, ""},
		{"underscore", spectral(named("SPECTRAL_NM_"), "25", "SPECTRAL_NORM \"100\"\n"), false, 0.25, ""},
		{"SPEC", spectral(named("SPEC_"), "0.25", ""), false, 0.25, ""},
		{"NM_", spectral(named("NM_"), "0.25", ""), false, 0.25, ""},
		{"nm", spectral(named("nm"), "0.25", ""), false, 0.25, ""},
		{"R_", spectral(named("R_"), "0.25", ""), false, 0.25, ""},
		{"PCT", spectral(named("SPECTRAL_PCT"), "25", ""), false, 0.25, ""},
		{"DEC", spectral(named("SPECTRAL_DEC"), "0.25", ""), false, 0.25, ""},
		{"pairs", spectral(func(string) string { return "SPECTRAL_NM SPECTRAL_PCT" }, "NM 25", ""), false, 0.25, ""},
		{"pairs of factors", spectral(func(string) string { return "SPECTRAL_NM SPECTRAL_DEC" }, "NM 0.25", ""), false, 0.25, ""},
		{"unit by flag", spectral(named("SPEC_"), "25", ""), true, 0.25, ""},
		{"no scale", spectral(named("SPEC_"), "25", ""), false, 0, "--reflectance percent"},
		{"two scales", spectral(named("SPECTRAL_PCT"), "25", "SPECTRAL_NORM 1\n"), false, 0, "different scales"},
		{"odd norm", spectral(named("SPEC_"), "25", "SPECTRAL_NORM 30\n"), false, 0, "want 1 (reflectance factors) or 100 (percent)"},
		{"flag against file", spectral(named("SPEC_"), "0.25", "SPECTRAL_NORM 1\n"), true, 0.25, ""},
		{"bands", spectral(named("SPEC_"), "0.25", "SPECTRAL_BANDS 36\n"), false, 0, "33 spectral fields"},
		{"pairs disagree", strings.Replace(spectral(func(string) string { return "SPECTRAL_NM SPECTRAL_PCT" }, "NM 25", ""), "END_DATA\n", "", 1), false, 0, "END_DATA"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := Read("t.txt", []byte(c.text), Options{})
			var got *discharge.Samples
			if err == nil {
				got, err = discharge.SamplesFromSheet(s, &discharge.ReadOptions{Percent: c.percent})
			}
			if c.err != "" {
				require.ErrorContains(t, err, c.err)
				return
			}
			require.NoError(t, err)
			require.Equal(t, 380, got.Grid.Start)
			require.Equal(t, 33, got.Grid.N)
			for _, v := range got.Items[0].Spectrum {
				require.Equal(t, c.want, v)
			}
		})
	}
}

func TestCGATSViewing(t *testing.T) {
	for _, c := range []struct{ keywords, want, err string }{
		{"ILLUMINATION_NAME \"D50\"\nOBSERVER_ANGLE \"2\"\n", "D50/2", ""},
		{"WEIGHTING_FUNCTION \"ILLUMINANT, D50\"\nWEIGHTING_FUNCTION \"OBSERVER, 2 degree\"\n", "D50/2", ""},
		{"ILLUMINATION_NAME D50\nOBSERVER_ANGLE 2\nWEIGHTING_FUNCTION \"OBSERVER, 10 degree\"\n", "", "OBSERVER_ANGLE says 2"},
		{"ILLUMINATION_NAME D93\nOBSERVER_ANGLE 2\n", "", `t.txt:2: column "ILLUMINATION_NAME": value "D93"`},
		{"ILLUMINATION_NAME D50\nOBSERVER_ANGLE 4\n", "", `t.txt:3: column "OBSERVER_ANGLE": value "4"`},
		{"ILLUMINATION_NAME D50\n", "", "--viewing"},
	} {
		s, err := Read("t.txt", []byte("CGATS.17\n"+c.keywords+"BEGIN_DATA_FORMAT\nSAMPLE_ID XYZ_X XYZ_Y XYZ_Z\nEND_DATA_FORMAT\nBEGIN_DATA\n1 20 21 22\nEND_DATA\n"), Options{})
		var got *discharge.Samples
		if err == nil {
			got, err = discharge.SamplesFromSheet(s, nil)
		}
		if c.err != "" {
			require.ErrorContains(t, err, c.err)
			continue
		}
		require.NoError(t, err)
		require.Equal(t, c.want, got.Viewing.String())
	}
}

const twoTables = `CGATS.17
ILLUMINATION_NAME D65
OBSERVER_ANGLE 10
BEGIN_DATA_FORMAT
INDEX CMYK_C
END_DATA_FORMAT
BEGIN_DATA
1 2
END_DATA
BEGIN_DATA_FORMAT
SAMPLE_ID LAB_L LAB_A LAB_B
END_DATA_FORMAT
BEGIN_DATA
a 40 -1 -9
END_DATA
NUMBER_OF_SETS 5
BEGIN_DATA
b 41 -1 -9
END_DATA
`

func TestCGATSTables(t *testing.T) {
	s, err := Read("t.txt", []byte(twoTables), Options{})
	require.NoError(t, err)
	require.Equal(t, "CGATS text, table 2 of 3", s.Format)
	require.Len(t, s.Rows, 2, "the table with readings and the one that repeats its fields")
	warnings := errors.Join(s.Warnings...).Error()
	require.Contains(t, warnings, `t.txt:4: table 1 of the file was not read`)
	require.Contains(t, warnings, `t.txt:16: column "NUMBER_OF_SETS": value "5": the table holds 1 sets`)
	s, err = Read("t.txt", []byte(twoTables), Options{Part: "3"})
	require.NoError(t, err)
	require.Equal(t, "b", s.Rows[0][0])
	_, err = Read("t.txt", []byte(twoTables), Options{Part: "4"})
	require.ErrorContains(t, err, "from 1 to 3")
}

// The keywords are those of files in use, from memory.
func TestCGATSCondition(t *testing.T) {
	text := func(keywords, fields, values string) string {
		return "CGATS.17\n" + keywords + "\nBEGIN_DATA_FORMAT\nSAMPLE_ID LAB_L LAB_A LAB_B" + fields + "\nEND_DATA_FORMAT\nBEGIN_DATA\nS 40 -1 -9" + values + "\nEND_DATA\n"
	}
	for _, c := range []struct {
		text, want, warning string
	}{
		{text("", "", ""), "", ""},
		{text(`MEASUREMENT_SOURCE "MeasurementCondition=M1"`, "", ""), "M1", ""},
		{text("MEASUREMENT_GEOMETRY \"45/0\"\nFILTER \"UVcut\"", "", ""), "M2 45/0", ""},
		{text("FILTER none", "", ""), "", ""},
		{text("MEASUREMENT_SOURCE M0", " MEASUREMENT_CONDITION", " M2"), "M2", ""},
		{text("MEASUREMENT_SOURCE M1\nFILTER UVcut", "", ""), "M1", `t.txt:3: column "FILTER": value "UVcut": other keywords state the measurement condition M1`},
	} {
		s, err := Read("t.txt", []byte(c.text), Options{})
		require.NoError(t, err)
		samples, err := discharge.SamplesFromSheet(s, &discharge.ReadOptions{Viewing: d65()})
		require.NoError(t, err, c.text)
		require.Equal(t, discharge.Condition(c.want), samples.Items[0].Condition, c.text)
		if c.warning == "" {
			require.Empty(t, samples.Warnings)
		} else {
			require.ErrorContains(t, errors.Join(samples.Warnings...), c.warning)
		}
	}
}

// Blanks and tabs separate, so a comma is a decimal one; a file has either it or
// the point.
func TestCGATSDecimalComma(t *testing.T) {
	comma := strings.NewReplacer("42.25", "42,25", "-1.5", "-1,5", "-9.5", "-9,5")
	for _, text := range []string{comma.Replace(cgatsLab), strings.ReplaceAll(comma.Replace(cgatsLab), " ", "\t")} {
		s, err := Read("t.txt", []byte(text), Options{})
		require.NoError(t, err)
		samples, err := discharge.SamplesFromSheet(s, nil)
		require.NoError(t, err)
		require.Equal(t, 42.25, samples.Items[2].Lab.L)
	}
	s, err := Read("t.txt", []byte(strings.Replace(cgatsLab, "42.25", "42,25", 1)), Options{})
	require.NoError(t, err)
	_, err = discharge.SamplesFromSheet(s, nil)
	require.ErrorContains(t, err, "write all numbers with a point or all with a comma")
}

func TestCGATSFaults(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"short set", strings.Replace(cgatsLab, "three 42.25", "three", 1), `t.txt:18: value "3": the set that begins here has 4 values, the format 5 fields`},
		{"long set", strings.Replace(cgatsLab, "three", "three four", 1), "t.txt:18"},
		{"short set before another", "CGATS.17\nBEGIN_DATA_FORMAT\nID L a b\nEND_DATA_FORMAT\nBEGIN_DATA\n1 40 -1 -9\n2 40 -1\n3 40 -1 -9\nEND_DATA\n", `t.txt:7: value "2"`},
		{"open quote", strings.Replace(cgatsLab, `"two"`, `"two`, 1), "t.txt:16: a quote is not closed"},
		{"cut off", cgatsLab[:len(cgatsLab)-10], "END_DATA is missing"},
		{"cut off in the format", cgatsLab[:strings.Index(cgatsLab, "LAB_L")], "END_DATA_FORMAT is missing"},
		{"no format", "CGATS.17\nBEGIN_DATA\n1\nEND_DATA\n", "t.txt:2: BEGIN_DATA_FORMAT"},
		{"end first", "CGATS.17\nEND_DATA\nBEGIN_DATA\n", "without its beginning"},
		{"no number", strings.Replace(cgatsLab, "NUMBER_OF_SETS 3", "NUMBER_OF_SETS x", 1), `t.txt:12: column "NUMBER_OF_SETS"`},
		{"device colors only", "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID RGB_R RGB_G RGB_B\nEND_DATA_FORMAT\nBEGIN_DATA\n1 2 3 4\nEND_DATA\n", "no readings"},
		{"value", strings.Replace(cgatsLab, "42.25", "x", 1), `t.txt:18: column "L": value "x"`},
		{"start", spectral(func(nm string) string { return "SPECTRAL_NM" + nm }, "0.25", "SPECTRAL_START_NM 400\n"), `t.txt:2: column "SPECTRAL_START_NM": value "400": the spectral fields say 380 nm`},
		{"end", spectral(func(nm string) string { return "SPECTRAL_NM" + nm }, "0.25", "SPECTRAL_START_NM 380\nSPECTRAL_END_NM 680\n"), `t.txt:3: column "SPECTRAL_END_NM": value "680": the spectral fields say 700 nm`},
		{"UTF-16", "\xff\xfeC\x00G\x00A\x00T\x00S\x00\n\x00", "CGATS text in UTF-16; export it in UTF-8"},
		{"fields", "CGATS.17\nBEGIN_DATA_FORMAT\n" + strings.Repeat("A ", 3000) + "\nEND_DATA_FORMAT\n", "more than 2000 fields"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := Read("t.txt", []byte(c.text), Options{})
			if err == nil {
				_, err = discharge.SamplesFromSheet(s, nil)
			}
			require.ErrorContains(t, err, c.want)
		})
	}
}

// Tabs leave no doubt: empty cells between them, blanks inside a value.
func TestCGATSTabs(t *testing.T) {
	s, err := Read("t.txt", []byte("CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID\tLOT\tRATIO\tL\nEND_DATA_FORMAT\nBEGIN_DATA\n1\tlot one\t\t40\n2\t\"lot\ttwo\"\t1.5\t41\t\nEND_DATA\n"), Options{})
	require.NoError(t, err)
	require.Equal(t, [][]string{{"1", "lot one", "", "40"}, {"2", "lot\ttwo", "1.5", "41"}}, s.Rows)
	require.Equal(t, []string{"id", "LOT", "RATIO", "L"}, s.Header)
}
