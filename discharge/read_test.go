package discharge

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.com/dosetone/colorimetry"
)

func readLots(t *testing.T, text string, opt *ReadOptions) *Table {
	t.Helper()
	table, err := ReadTable("lots.csv", strings.NewReader(text), opt)
	require.NoError(t, err)
	return table
}

func TestReadTable(t *testing.T) {
	table := readLots(t, labTable, nil)
	assert.Equal(t, LabKind, table.Kind)
	assert.Equal(t, "D65/10", table.Viewing.String())
	require.Len(t, table.Lots, 5)
	assert.Equal(t, Lot{ID: "T1", Role: Trial, Process: "permanganate-pellet",
		Settings: Settings{"strength_pct": 2, "ratio": 0.3, "time_min": 8}, Row: 5,
		Panels: []Panel{
			{ID: "1", Readings: []Reading{{Position: "thigh", Lab: colorimetry.Lab{L: 38.2, A: -2, B: -17.5}, Row: 5}}},
			{ID: "2", Readings: []Reading{{Position: "thigh", Lab: colorimetry.Lab{L: 39, A: -2.1, B: -17.6}, Row: 6}}},
		}}, table.Lots[3])
	assert.Equal(t, White, table.Lots[2].Role)
	assert.Nil(t, table.Lots[2].Settings)
	assert.Empty(t, table.Lots[2].Process)
}

// What a lot has may stand in one of its rows; a trial lot may bring its own
// base; stage and state are stored short; a tensile loss belongs to a panel.
func TestReadTableMergesRows(t *testing.T) {
	table := readLots(t, `Lot, ROLE ,strength_pct,ratio,time_min,fabric,panel,stage,state,tensile_loss_pct,L*,A*,b*
T1,base,,,,,1,,,,22,0,-11
T1,trial,,,,,1,finished,dry,,38,-2,-17
T1,Trial,4,0.3,8,twill,1,Discharged,DAMP,12.5,35,-2,-18
T1,trial,,0.3,,,2,,,,39,-2,-17
`, &ReadOptions{Process: "permanganate-pellet", Viewing: colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}})
	assert.Empty(t, table.Warnings)
	require.Len(t, table.Lots, 2)
	lot := table.Lots[1]
	assert.Equal(t, Settings{"strength_pct": 4, "ratio": 0.3, "time_min": 8}, lot.Settings)
	assert.Equal(t, "twill", lot.Fabric)
	assert.Equal(t, "permanganate-pellet", lot.Process)
	require.Len(t, lot.Panels, 2)
	assert.Equal(t, 12.5, *lot.Panels[0].TensileLossPct)
	assert.Nil(t, lot.Panels[1].TensileLossPct)
	assert.Equal(t, Reading{Lab: colorimetry.Lab{L: 38, A: -2, B: -17}, Row: 3}, lot.Panels[0].Readings[0])
	assert.Equal(t, "discharged", lot.Panels[0].Readings[1].Stage)
	assert.Equal(t, "damp", lot.Panels[0].Readings[1].State)
}

// Readings whose color is known from the definitions: the perfect diffuser is
// L* 100, a* = b* = 0; sRGB white and black likewise; the white of D65/10 as
// printed in ASTM E308 is 94.811, 100, 107.304; and half-way values from the
// CIELAB formula: Y = 18.42 is L* 50.0 (CIE 15:2018 eq. 8.3: 116·0.1842^(1/3) − 16).
func TestReadTableColors(t *testing.T) {
	white := "lot,role" + gridHeader(360, 780, 5) + "\nS,standard" + strings.Repeat(",1", 85) + "\n"
	for _, c := range []struct {
		text string
		view string
		lab  colorimetry.Lab
		tol  float64
	}{
		{white, "D65/10", colorimetry.Lab{L: 100}, 1e-9},
		{"lot,role,unit" + gridHeader(400, 700, 10) + "\nS,standard,percent" + strings.Repeat(",100", 31) + "\n", "D65/10", colorimetry.Lab{L: 100}, 1e-9},
		{"lot,role,unit" + gridHeader(400, 700, 1) + "\nS,standard,%" + strings.Repeat(",18.42", 301) + "\n", "D65/10", colorimetry.Lab{L: 50}, 0.005},
		{"lot,role,illuminant,observer" + gridHeader(400, 700, 20) + "\nS,standard,A,2" + strings.Repeat(",0.1842", 16) + "\n", "A/2", colorimetry.Lab{L: 50}, 0.005},
		{"lot,role,red,green,blue\nS,standard,255,255,255\n", "D65/2", colorimetry.Lab{L: 100}, 1e-9},
		{"lot,role,red,green,blue\nS,standard,0,0,0\n", "D65/2", colorimetry.Lab{}, 1e-9},
		{"lot,role,X,Y,Z,illuminant,observer\nS,standard,94.811,100,107.304,D65,10\n", "D65/10", colorimetry.Lab{L: 100}, 0.01},
		{"lot,role,X,Y,Z,illuminant,observer\nS,standard,17.464,18.42,19.765,d65,10°\n", "D65/10", colorimetry.Lab{L: 50}, 0.01},
	} {
		table := readLots(t, c.text, nil)
		got := table.Lots[0].Panels[0].Readings[0]
		assert.Equal(t, c.view, table.Viewing.String())
		for _, d := range []float64{got.Lab.L - c.lab.L, got.Lab.A - c.lab.A, got.Lab.B - c.lab.B} {
			assert.LessOrEqual(t, math.Abs(d), c.tol, "%+v", got.Lab)
		}
		assert.Len(t, got.Spectrum, table.Grid.N)
	}
}

func gridHeader(from, to, step int) string {
	var b strings.Builder
	for nm := from; nm <= to; nm += step {
		fmt.Fprintf(&b, ",R%d", nm)
	}
	return b.String()
}

func TestReadTableOwnProcess(t *testing.T) {
	own, err := ReadProcess("own.json", strings.NewReader(ownProcess))
	require.NoError(t, err)
	text := strings.ReplaceAll(labTable, "permanganate-pellet", "pellet-small-drum")
	text = strings.ReplaceAll(strings.Replace(text, "position", "load_kg", 1), "thigh", "20")
	table := readLots(t, text, &ReadOptions{Processes: []Process{own}})
	assert.Equal(t, 20.0, table.Lots[3].Settings["load_kg"])
	_, err = ReadTable("lots.csv", strings.NewReader(text), nil)
	assert.ErrorIs(t, err, ErrWrongProcess)
}

// One table, written in every dialect, is the same table.
func TestDialectsAgree(t *testing.T) {
	semicolon := func(s string) string { return strings.ReplaceAll(s, ",", ";") }
	tab := func(s string) string { return strings.ReplaceAll(s, ",", "\t") }
	comma := func(s string) string { return strings.ReplaceAll(s, ".", ",") }
	quote := func(s string) string {
		var b strings.Builder
		for line := range strings.Lines(s) {
			line = strings.TrimSuffix(line, "\n")
			b.WriteString(`"` + strings.ReplaceAll(line, ",", `","`) + "\"\n")
		}
		return b.String()
	}
	dialects := map[string]func(string) string{
		"semicolon":               semicolon,
		"semicolon decimal comma": func(s string) string { return comma(semicolon(s)) },
		"tab":                     tab,
		"tab decimal comma":       func(s string) string { return comma(tab(s)) },
		"byte order mark":         func(s string) string { return "\ufeff" + s },
		"CRLF":                    func(s string) string { return strings.ReplaceAll(s, "\n", "\r\n") },
		"CR":                      func(s string) string { return strings.ReplaceAll(s, "\n", "\r") },
		"quoted":                  quote,
		"upper case":              func(s string) string { h, rest, _ := strings.Cut(s, "\n"); return strings.ToUpper(h) + "\n" + rest },
		"blanks":                  func(s string) string { return strings.ReplaceAll(s, ",", " , ") },
		"blank rows": func(s string) string {
			return s + "\n \n" + strings.Repeat(",", strings.Count(s[:strings.Index(s, "\n")], ",")) + "\n\n"
		},
		"no last line end": func(s string) string { return strings.TrimSuffix(s, "\n") },
		"empty columns": func(s string) string {
			h, rest, _ := strings.Cut(s, "\n")
			return h + ",,\n" + strings.ReplaceAll(rest, "\n", ",,\n")
		},
		"all of a spreadsheet": func(s string) string {
			return "\ufeff" + strings.ReplaceAll(comma(semicolon(s)), "\n", "\r\n")
		},
	}
	rapid.Check(t, func(rt *rapid.T) {
		text := drawTable(rt)
		want, err := ReadTable("lots.csv", strings.NewReader(text), nil)
		if err != nil {
			rt.Fatalf("%v in\n%s", err, text)
		}
		if len(want.Warnings) > 0 {
			rt.Fatalf("%v in\n%s", want.Warnings, text)
		}
		for name, f := range dialects {
			got, err := ReadTable("lots.csv", strings.NewReader(f(text)), nil)
			if err != nil {
				rt.Fatalf("%s: %v", name, err)
			}
			if name == "no last line end" { // the last value may look cut off
				got.Warnings = nil
			}
			if !assert.ObjectsAreEqual(want, got) {
				rt.Fatalf("%s: got\n%+v\nwant\n%+v", name, got, want)
			}
		}
		// Comments move the lines and nothing else.
		moved, err := ReadTable("lots.csv", strings.NewReader("# invented\n\n"+text), nil)
		if err != nil {
			rt.Fatal(err)
		}
		if moved.Lots[0].Row != want.Lots[0].Row+2 {
			rt.Fatalf("line %d, want %d", moved.Lots[0].Row, want.Lots[0].Row+2)
		}
	})
}

// drawTable writes a sound table of a random kind and size, within common practice.
func drawTable(t *rapid.T) string {
	var b strings.Builder
	kind := rapid.SampledFrom([]ReadingKind{Spectral, LabKind, XYZKind, Swatch}).Draw(t, "kind")
	b.WriteString("lot,role,process,strength_gpl,liquor_ratio,time_min,temp_c,panel,position")
	step := rapid.SampledFrom([]int{10, 20}).Draw(t, "step")
	switch kind {
	case Spectral:
		b.WriteString(gridHeader(380, 720, step))
	case Swatch:
		b.WriteString(",red,green,blue")
	default:
		b.WriteString("," + strings.Join(colorColumns(kind), ",") + ",illuminant,observer")
	}
	b.WriteString("\n")
	for lot := range rapid.IntRange(1, 4).Draw(t, "lots") {
		role := rapid.SampledFrom([]Role{Trial, Production, Base, White}).Draw(t, "role")
		s := rapid.IntRange(10, 110).Draw(t, "strength")
		for panel := range rapid.IntRange(1, 3).Draw(t, "panels") {
			fmt.Fprintf(&b, "L%d,%s,hypochlorite-bath,%d.%d,8,%d,40.5,%d,knee", lot, role, s/10, s%10, 5+lot, panel)
			value := func(lo, hi float64) string {
				return fmt.Sprintf(",%.4f", rapid.Float64Range(lo, hi).Draw(t, "v"))
			}
			// Lots differ by more than their panels, or the table would be doubted.
			n := float64(lot)
			switch kind {
			case Spectral:
				for range (720-380)/step + 1 {
					b.WriteString(value(0.05+0.1*n, 0.06+0.1*n))
				}
			case Swatch:
				b.WriteString(value(40+30*n, 46+30*n) + value(40, 46) + value(50, 60))
			case XYZKind:
				b.WriteString(value(5+5*n, 6+5*n) + value(5+5*n, 6+5*n) + value(2, 40) + ",D65,10")
			default:
				b.WriteString(value(20+10*n, 24+10*n) + value(-4, 3) + value(-20, 0) + ",D65,10")
			}
			b.WriteString("\n")
		}
	}
	return b.String()
}

// A table in percent is the table in factors.
func TestPercentIsAHundredth(t *testing.T) {
	factor := readLots(t, spectralTable(1), nil)
	for _, percent := range []*Table{
		readLots(t, spectralTable(100), &ReadOptions{Percent: true}),
		readLots(t, strings.NewReplacer("thigh,", "thigh,percent").Replace(spectralTable(100)), nil),
	} {
		require.Len(t, percent.Lots, len(factor.Lots))
		for i, lot := range factor.Lots {
			want, got := lot.Panels[0].Readings[0], percent.Lots[i].Panels[0].Readings[0]
			assert.InDeltaSlice(t, want.Spectrum, got.Spectrum, 1e-15)
			assert.InDelta(t, want.Lab.L, got.Lab.L, 1e-12)
		}
	}
}

func TestFromSheetLeavesItsInputAlone(t *testing.T) {
	s, err := ReadCSV("lots.csv", strings.NewReader(" lot ,L,a,b,illuminant,observer\n x ,50,0,0,D65,2\n"))
	require.NoError(t, err)
	before := fmt.Sprintf("%+v", *s)
	_, err = FromSheet(s, nil)
	assert.ErrorContains(t, err, "role")
	_, err = TargetsFromSheet(s, nil)
	assert.NoError(t, err)
	_, err = SamplesFromSheet(s, nil)
	assert.NoError(t, err)
	assert.Equal(t, before, fmt.Sprintf("%+v", *s))
}

// A name that starts with # is no comment in a table that we write.
func TestWriteCSVIsReadAgain(t *testing.T) {
	rows := [][]string{{"#lot", "b"}, {"#12", "# of 3"}, {"#1,5", `#"x"`}, {"a\n#b", " c"}, {"=1", ""}, {"é", "'#"}}
	var b strings.Builder
	require.NoError(t, WriteCSV(&b, rows))
	got, err := ReadCSV("x", strings.NewReader(b.String()))
	require.NoError(t, err)
	assert.Equal(t, rows, append([][]string{got.Header}, got.Rows...))
	assert.Empty(t, got.Warnings)
	assert.Empty(t, got.Skipped)
	got, err = ReadCSV("x", strings.NewReader("# note\na,b\n#1,2\n3,4\n#5,6\n"))
	require.NoError(t, err)
	assert.Equal(t, []int{3, 5}, got.Skipped)
	assert.Len(t, got.Warnings, 1)
}

// A spreadsheet's note of the delimiter is no header, wherever it ends.
func TestNoteOfTheDelimiterIsNoTable(t *testing.T) {
	for _, text := range []string{"sep=,", "sep=;\n", "# note\nsep=\t", "\nsep=,\r\n\n# note"} {
		_, err := ReadCSV("x", strings.NewReader(text))
		require.ErrorContains(t, err, "the file is empty", "%q", text)
	}
	s, err := ReadCSV("x", strings.NewReader("sep=;\n\n# note\na;b\n1;2\n"))
	require.NoError(t, err)
	assert.Equal(t, []string{"a", "b"}, s.Header)
	assert.Equal(t, 4, s.HeaderLine)
}

func TestReadCSVFormat(t *testing.T) {
	for text, want := range map[string]string{
		"a,b\n1,2\n":         "CSV separated by comma",
		"a;b,c;d\n1;2;3\n":   "CSV separated by semicolon",
		"a\tb\n1\t2\n":       "CSV separated by tab",
		"sep=;\na;b\n1;2\n":  "CSV separated by semicolon",
		"\"a,b\";c\n1;2\n":   "CSV separated by semicolon",
		"# note\na;b\n1;2\n": "CSV separated by semicolon",
	} {
		s, err := ReadCSV("x", strings.NewReader(text))
		require.NoError(t, err, text)
		assert.Equal(t, want, s.Format)
		assert.Equal(t, 1+strings.Count(text[:strings.Index(text, "\n1")], "\n"), s.HeaderLine, text)
	}
}

func FuzzReadTable(f *testing.F) {
	for _, text := range []string{labTable, spectralTable(1), spectralTable(100), strings.ReplaceAll(labTable, ",", ";"),
		"\ufeff" + strings.ReplaceAll(strings.ReplaceAll(labTable, ",", "\t"), ".", ","),
		"lot,role,red,green,blue\r\nS,standard,1,2,3\r\n", "# c\nlot;role;X;Y;Z;illuminant;observer\nS;light_limit;1e1;2,5;3;F11;10\n",
		"lot,role\n\"a\nb\",base\n", "sep=;\nlot;role;L;a;b\n"} {
		f.Add([]byte(text), "permanganate-pellet", false)
		f.Add([]byte(text), "", true)
	}
	f.Fuzz(func(t *testing.T, data []byte, process string, percent bool) {
		input := bytes.Clone(data)
		opt := &ReadOptions{Process: process, Percent: percent}
		table, err := ReadTable("f", bytes.NewReader(data), opt)
		if !bytes.Equal(input, data) {
			t.Fatal("the input was changed")
		}
		_, _ = ReadTargets("f", bytes.NewReader(data), opt)
		_, _ = ReadSamples("f", bytes.NewReader(data), opt)
		if err != nil {
			if !strings.HasPrefix(err.Error(), "f:") {
				t.Fatalf("the error does not name the file: %v", err)
			}
			return
		}
		if len(table.Lots) == 0 {
			t.Fatal("no error and no lot")
		}
		all, _ := table.WithProduction()
		for _, x := range []*Table{table, all} {
			if err := x.Check(); err != nil {
				t.Fatalf("Check refuses what was read: %v", err)
			}
		}
		for _, lot := range table.Lots {
			if !lot.Role.Known() || lot.ID == "" || len(lot.Panels) == 0 {
				t.Fatalf("bad lot %+v", lot)
			}
			for c, v := range lot.Settings {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatalf("%s is %v", c, v)
				}
			}
			for _, r := range lot.Readings() {
				for _, v := range append([]float64{r.Lab.L, r.Lab.A, r.Lab.B}, r.Spectrum...) {
					if math.IsNaN(v) || math.IsInf(v, 0) {
						t.Fatalf("line %d holds %v", r.Row, v)
					}
				}
				if len(r.Spectrum) != table.Grid.N {
					t.Fatalf("line %d has %d values for %d wavelengths", r.Row, len(r.Spectrum), table.Grid.N)
				}
			}
		}
		again, err := ReadTable("f", bytes.NewReader(data), opt)
		if err != nil || fmt.Sprintf("%+v", again.Lots) != fmt.Sprintf("%+v", table.Lots) {
			t.Fatalf("a second reading differs: %v", err)
		}
	})
}

// The tables that plan writes have its run order, which needs no comment.
func TestTheRunOrderOfAPlanIsNoUnknownColumn(t *testing.T) {
	table, err := ReadTable("lots.csv", strings.NewReader("run,lot,role,process,panel,illuminant,observer,L,a,b\n1,base,base,permanganate-pellet,1,D65,10,24,-0.5,-12\n"), nil)
	require.NoError(t, err)
	assert.Empty(t, table.Warnings)
}
