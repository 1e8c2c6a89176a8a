package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/datasets/published"
	"example.com/dosetone/discharge"
)

// spectrumTable writes one spectrum as a table.
func spectrumTable(id string, start, step int, values []float64) string {
	header, row := []string{"id"}, []string{strconv.Quote(id)}
	for i, v := range values {
		header = append(header, fmt.Sprintf("R%d", start+i*step))
		row = append(row, strconv.FormatFloat(v, 'g', -1, 64))
	}
	return strings.Join(header, ",") + "\n" + strings.Join(row, ",") + "\n"
}

// The published rows of worked_examples.csv (colour-science 0.4.6 test-suite)
// that the E308 procedure of this project answers under D65, and those computed
// with another program: XYZ within 1e-4, Lab within 1e-3.
func TestConvertAgreesWithWorkedExamples(t *testing.T) {
	t.Chdir(t.TempDir())
	n := 0
	for _, w := range published.WorkedExamples() {
		if w.Viewing != "D65/10" && w.Viewing != "D65/2" || w.Lab == nil {
			continue
		}
		require.NoError(t, os.WriteFile("s.csv", []byte(spectrumTable(w.Name, w.Start, w.Step, w.Values)), 0o644))
		got := decode[[]converted](t, ok(t, "convert", "s.csv", "--viewing", w.Viewing, "--format", "json"))
		require.Len(t, got, 1)
		g := got[0]
		require.Equal(t, w.Viewing, g.Viewing)
		near(t, 1e-4, w.Name, g.X, w.XYZ.X, g.Y, w.XYZ.Y, g.Z, w.XYZ.Z)
		near(t, 1e-3, w.Name, g.L, w.Lab.L, g.A, w.Lab.A, g.B, w.Lab.B)
		require.InDelta(t, math.Hypot(w.Lab.A, w.Lab.B), g.C, 2e-3, w.Name)
		n++
	}
	require.Greater(t, n, 10)
}

// Three measured denims of Vrhel et al. (1994), colors computed with an
// independent program.
func TestConvertMeasuredDenims(t *testing.T) {
	t.Chdir(t.TempDir())
	n := 0
	for name, values := range published.DenimSpectra() {
		require.NoError(t, os.WriteFile("s.csv", []byte(spectrumTable(name, 400, 10, values)), 0o644))
		got := decode[[]converted](t, ok(t, "convert", "s.csv", "--viewing", "D65/10,D65/2,A/10", "--format", "json"))
		for _, want := range published.DenimColors() {
			for _, g := range got {
				if want.Sample == name && want.Viewing == g.Viewing {
					near(t, 1e-3, name, g.L, want.Lab.L, g.A, want.Lab.A, g.B, want.Lab.B)
					n++
				}
			}
		}
	}
	require.GreaterOrEqual(t, n, 6)
}

// All 34 pairs of Sharma, Wu, Dalal (2005), to 4 decimals in both orders.
func TestConvertReferenceGivesPublishedCIEDE2000(t *testing.T) {
	t.Chdir(t.TempDir())
	pairs := published.CIEDE2000()
	require.Len(t, pairs, 34)
	for _, p := range pairs {
		table := fmt.Sprintf("id,L,a,b\none,%v,%v,%v\ntwo,%v,%v,%v\n", p.Ref.L, p.Ref.A, p.Ref.B, p.Sample.L, p.Sample.A, p.Sample.B)
		require.NoError(t, os.WriteFile("p.csv", []byte(table), 0o644))
		for _, ref := range []string{"one", "two"} {
			got := decode[[]converted](t, ok(t, "convert", "p.csv", "--viewing", "D65/10", "--reference", ref, "--format", "json"))
			require.Len(t, got, 2)
			for _, g := range got {
				want := p.DE
				if g.ID == ref {
					want = 0
				}
				require.InDelta(t, want, g.Differences["CIEDE2000(1:1:1)"], 0.5e-4, "pair %d from %s", p.N, ref)
			}
		}
	}
}

// Metameric pairs of published/color/metamerism.csv, indices computed with an
// independent program under D65/10 and a test light.
func TestConvertMetamerism(t *testing.T) {
	t.Chdir(t.TempDir())
	n := 0
	for _, p := range published.MetamericPairs() {
		require.NoError(t, os.WriteFile("std.csv", []byte(spectrumTable("std", 400, 10, p.Standard)), 0o644))
		require.NoError(t, os.WriteFile("smp.csv", []byte(spectrumTable("smp", 400, 10, p.Sample)), 0o644))
		got := decode[[]converted](t, ok(t, "convert", "smp.csv", "--reference", "std.csv", "--viewing", "D65/10,"+p.Test+"/10", "--index", "metamerism", "--format", "json"))
		require.Len(t, got, 2)
		require.Nil(t, got[0].Indices["metamerism"], "there is none for the reference light itself")
		require.InDelta(t, p.Multiplicative, *got[1].Indices["metamerism"], 5e-3, "%s %s", p.Name, p.Test)
		n++
	}
	require.Positive(t, n)
}

func TestConvertKeysAndForms(t *testing.T) {
	workspace(t)
	text := ok(t, "convert", "trials.csv", "--viewing", "D65/10,A/10", "--format", "json")
	rows := decode[[]map[string]any](t, text)
	for _, r := range rows {
		for _, k := range []string{"id", "viewing"} {
			require.IsType(t, "", r[k], k)
		}
		for _, k := range []string{"X", "Y", "Z", "L", "a", "b", "C", "h"} {
			require.IsType(t, 0.0, r[k], k)
		}
		require.Len(t, r, 10)
	}
	require.Equal(t, "BASE/1/1", rows[0]["id"])
	require.Equal(t, "D65/10", rows[0]["viewing"])
	require.Equal(t, "A/10", rows[1]["viewing"])

	table, err := csv.NewReader(strings.NewReader(ok(t, "convert", "trials.csv", "--viewing", "D65/10,A/10", "--format", "csv"))).ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"id", "viewing", "X", "Y", "Z", "L", "a", "b", "C", "h"}, table[0])
	require.Len(t, table, len(rows)+1)
	for i, r := range rows {
		l, err := strconv.ParseFloat(table[i+1][5], 64)
		require.NoError(t, err)
		require.Equal(t, r["L"], l, "CSV has full precision")
	}
	require.Contains(t, ok(t, "convert", "trials.csv"), "BASE/1/1")
}

// A percent file, told so, gives what the factor file gives.
func TestConvertPercent(t *testing.T) {
	t.Chdir(t.TempDir())
	for name, values := range published.DenimSpectra() {
		percent := make([]float64, len(values))
		for i, v := range values {
			percent[i] = 100 * v
		}
		require.NoError(t, os.WriteFile("f.csv", []byte(spectrumTable(name, 400, 10, values)), 0o644))
		require.NoError(t, os.WriteFile("p.csv", []byte(spectrumTable(name, 400, 10, percent)), 0o644))
		f := decode[[]converted](t, ok(t, "convert", "f.csv", "--format", "json"))[0]
		p := decode[[]converted](t, ok(t, "convert", "p.csv", "--reflectance", "percent", "--format", "json"))[0]
		near(t, 1e-9, name, p.L, f.L, p.A, f.A, p.B, f.B)
		r := tool(t, "", "convert", "p.csv")
		require.Equal(t, exitFailed, r.code, "percent is never guessed")
		require.Contains(t, r.err, "--reflectance percent")
	}
}

// A uniform image has the Lab of its sRGB code, no spread, and says that it is
// not calibrated.
func TestConvertImage(t *testing.T) {
	workspace(t)
	got := decode[[]converted](t, ok(t, "convert", "swatch.png", "--region", "10,10,200,100", "--format", "json"))
	require.Len(t, got, 1)
	require.NoError(t, os.WriteFile("code.csv", []byte("id,red,green,blue\nx,70,90,125\n"), 0o644))
	want := decode[[]converted](t, ok(t, "convert", "code.csv", "--format", "json"))[0]
	near(t, 1e-9, "image", got[0].L, want.L, got[0].A, want.A, got[0].B, want.B)
	require.Equal(t, "D65/2", got[0].Viewing)
	require.Equal(t, [4]int{10, 10, 200, 100}, got[0].Swatch.Region)
	require.Equal(t, 20000, got[0].Swatch.Pixels)
	require.InDelta(t, 0, got[0].Swatch.SDL, 1e-6)
	require.False(t, got[0].Swatch.Calibrated)
	require.Contains(t, ok(t, "convert", "swatch.png"), "calibration")
}

// Pictures in formats that are not read are told by their first bytes, as file(1)
// knows them (from memory), whatever they are called.
func TestConvertNamesOtherPictures(t *testing.T) {
	t.Chdir(t.TempDir())
	for start, format := range map[string]string{
		"\x00\x00\x00\x18ftypheic": "HEIC", "\x00\x00\x00\x1cftypmif1": "HEIC", "\x00\x00\x00\x20ftypavif": "AVIF",
		"II*\x00": "TIFF", "MM\x00*": "TIFF", "RIFF\x10\x00\x00\x00WEBP": "WebP", "GIF89a": "GIF",
	} {
		require.NoError(t, os.WriteFile("x.jpg", []byte(start+"\x00\x00\x00\x00"), 0o644))
		r := tool(t, "", "convert", "x.jpg")
		require.Equal(t, exitFailed, r.code)
		require.Contains(t, r.err, "x.jpg: the file is a "+format)
		require.Contains(t, r.err, "export it as JPEG or PNG")
	}
	require.NoError(t, os.WriteFile("riff.csv", []byte("RIFF,L,a,b\nx,1,2,3\n"), 0o644))
	require.NotContains(t, tool(t, "", "convert", "riff.csv").err, "picture")
}

// Whiteness of the perfect diffuser is 100 and its tint 0 by definition (CIE 15).
func TestConvertIndices(t *testing.T) {
	t.Chdir(t.TempDir())
	perfect := make([]float64, 31)
	for i := range perfect {
		perfect[i] = 1
	}
	require.NoError(t, os.WriteFile("w.csv", []byte(spectrumTable("w", 400, 10, perfect)), 0o644))
	got := decode[[]converted](t, ok(t, "convert", "w.csv", "--index", "whiteness,yellowness,ks", "--format", "json"))[0]
	// The formulas hold the white's chromaticity to 4 decimals: half a unit of
	// the last times (800 + 1700) and (900 + 650).
	require.InDelta(t, 100, *got.Indices["whiteness_cie"], 0.125)
	require.InDelta(t, 0, *got.Indices["tint_cie"], 0.078)
	require.InDelta(t, 0, *got.Indices["ks_peak"], 1e-12)
	require.InDelta(t, 0, *got.Indices["yellowness_e313"], 0.1, "E313 coefficients are rounded to 4 decimals")
	r := tool(t, "", "convert", "w.csv", "--viewing", "A/10", "--index", "whiteness", "--format", "json")
	require.Equal(t, exitDone, r.code)
	require.Nil(t, decode[[]converted](t, r.out)[0].Indices["whiteness_cie"])
	require.Contains(t, r.err, "warning: whiteness under A/10")
	require.NotContains(t, tool(t, "", "convert", "w.csv", "--viewing", "A/10", "--index", "whiteness", "--quiet").err, "warning")
}

// One band of 0.0000 has no K/S, and no other number stands for it; of a flat 0.5
// it is (1 - 0.5)²/(2·0.5) = 0.25.
func TestConvertKSWithoutBound(t *testing.T) {
	t.Chdir(t.TempDir())
	half := make([]float64, 31)
	for i := range half {
		half[i] = 0.5
	}
	text := spectrumTable("half", 400, 10, half)
	half[26] = 0
	row := strings.Split(strings.TrimSpace(spectrumTable("zero", 400, 10, half)), "\n")[1]
	require.NoError(t, os.WriteFile("k.csv", []byte(text+row+"\n"), 0o644))
	r := tool(t, "", "convert", "k.csv", "--index", "ks", "--format", "json")
	require.Equal(t, exitDone, r.code, r.err)
	require.Contains(t, r.err, "ks under D65/10: zero: K/S at 660 nm has no bound")
	got := decode[[]converted](t, r.out)
	near(t, 1e-12, "half", *got[0].Indices["ks_peak"], 0.25, *got[0].Indices["ks_weighted"], 0.25)
	for _, k := range []string{"ks_peak", "ks_peak_nm", "ks_weighted"} {
		require.Contains(t, got[1].Indices, k)
		require.Nil(t, got[1].Indices[k], k)
	}
}

// A factor above 1 holds for the lamp of its measurement (CIE 15:2018, from
// memory): said once for each other lamp, of samples and of the reference.
func TestConvertFluorescence(t *testing.T) {
	t.Chdir(t.TempDir())
	values := make([]float64, 31)
	for i := range values {
		values[i] = 0.8
	}
	require.NoError(t, os.WriteFile("plain.csv", []byte(spectrumTable("plain", 400, 10, values)), 0o644))
	values[4] = 1.25
	require.NoError(t, os.WriteFile("oba.csv", []byte(spectrumTable("oba", 400, 10, values)), 0o644))
	r := tool(t, "", "convert", "oba.csv", "--viewing", "D65/10,A/10,F11/10")
	require.Equal(t, exitDone, r.code)
	require.Equal(t, 2, strings.Count(r.err, "hold only for the ultraviolet"), r.err)
	require.Contains(t, r.err, "color under A/10: oba: reflectance reaches 1.25 at 440 nm")
	require.NotContains(t, tool(t, "", "convert", "oba.csv").err, "ultraviolet")
	r = tool(t, "", "convert", "plain.csv", "--reference", "oba.csv", "--viewing", "D65/10,A/10")
	require.Equal(t, 1, strings.Count(r.err, "hold only for the ultraviolet"), r.err)
	require.Contains(t, r.err, "reference under A/10: oba")
}

// K/S = (1-R)²/(2R) is 4.05 of R 0.1 and 1.125 of R 0.25: at the reference's peak the
// sample has 1.125/4.05 = 27.78 % of it, wherever its own peak is.
func TestConvertStrength(t *testing.T) {
	t.Chdir(t.TempDir())
	standard, sample := make([]float64, 31), make([]float64, 31)
	for i := range standard {
		standard[i], sample[i] = 0.5, 0.5
	}
	standard[25], sample[25], sample[0] = 0.1, 0.25, 0.05
	require.NoError(t, os.WriteFile("std.csv", []byte(spectrumTable("std", 400, 10, standard)), 0o644))
	require.NoError(t, os.WriteFile("smp.csv", []byte(spectrumTable("smp", 400, 10, sample)), 0o644))
	got := decode[[]converted](t, ok(t, "convert", "smp.csv", "--reference", "std.csv", "--index", "strength", "--format", "json"))[0]
	near(t, 1e-9, "strength", *got.Indices["strength_pct"], 100*1.125/4.05, *got.Indices["strength_nm"], 650)
	require.Equal(t, exitUsage, tool(t, "", "convert", "smp.csv", "--index", "strength").code, "of what?")

	for i := range standard {
		standard[i] = 1
	}
	require.NoError(t, os.WriteFile("std.csv", []byte(spectrumTable("white", 400, 10, standard)), 0o644))
	r := tool(t, "", "convert", "smp.csv", "--reference", "std.csv", "--index", "strength", "--format", "json")
	require.Nil(t, decode[[]converted](t, r.out)[0].Indices["strength_pct"])
	require.Contains(t, r.err, "the reference white: its K/S is 0")
}

// The number is said with its formula, and why there is none, or why it means little.
func TestConvertMetamerismWords(t *testing.T) {
	t.Chdir(t.TempDir())
	p := published.MetamericPairs()[0]
	require.NoError(t, os.WriteFile("std.csv", []byte(spectrumTable("std", 400, 10, p.Standard)), 0o644))
	require.NoError(t, os.WriteFile("smp.csv", []byte(spectrumTable("smp", 400, 10, p.Sample)), 0o644))
	const name = "metamerism index (CIE76, multiplicative), from D65/10"
	args := []string{"convert", "smp.csv", "--reference", "std.csv", "--index", "metamerism"}
	two := append(args, "--viewing", "D65/10,"+p.Test+"/10")
	got := decode[[]converted](t, ok(t, append(two, "--format", "json")...))
	require.Equal(t, map[string]string{"metamerism": name}, got[1].Formulas)
	require.Empty(t, got[0].Formulas)
	require.Contains(t, ok(t, two...), "metamerism: "+name)
	require.Contains(t, ok(t, append(two, "--format", "csv")...), `"`+name+`"`)
	require.Empty(t, tool(t, "", two...).err, "the pair matches under D65/10")
	require.Contains(t, tool(t, "", args...).err, "needs two viewings")

	half := make([]float64, len(p.Sample)) // half the light: far from a match
	for i, v := range p.Sample {
		half[i] = v / 2
	}
	require.NoError(t, os.WriteFile("smp.csv", []byte(spectrumTable("smp", 400, 10, half)), 0o644))
	r := tool(t, "", append(two, "--format", "json")...)
	require.Contains(t, r.err, "the index is meant for a pair that matches there, within 3.0")
	require.NotNil(t, decode[[]converted](t, r.out)[1].Indices["metamerism"], "the number stays")
}

// The mean over the four readings of the standard is its own reference.
func TestConvertReferenceIsTheMeanOfItsReadings(t *testing.T) {
	t.Chdir(t.TempDir())
	require.NoError(t, os.WriteFile("s.csv", demo.PelletStandard(), 0o644))
	got := decode[[]converted](t, ok(t, "convert", "s.csv", "--reference", "STD", "--difference", "CIE76", "--format", "json"))
	sum, n := 0.0, 0.0
	for _, g := range got {
		require.Equal(t, "STD", g.Reference)
		require.NotContains(t, g.Differences, "CIEDE2000(1:1:1)", "only what was asked for")
		if strings.HasPrefix(g.ID, "STD/") {
			sum += g.Differences["dL"]
			n++
		}
	}
	require.Equal(t, 4.0, n)
	require.InDelta(t, 0, sum/n, 1e-3, "the mean is taken in light, which differs little over so small a spread")
}

// The readings of one standard in a file of its own are averaged as check does,
// its limits left aside.
func TestConvertReferenceFileIsTheStandardOfCheck(t *testing.T) {
	t.Chdir(t.TempDir())
	require.NoError(t, os.WriteFile("s.csv", demo.PelletStandard(), 0o644))
	require.NoError(t, os.WriteFile("p.csv", []byte("id,L,a,b,illuminant,observer\nP,48,-2,-9,D65,10\n"), 0o644))
	targets, err := discharge.ReadTargets("s.csv", bytes.NewReader(demo.PelletStandard()), nil)
	require.NoError(t, err)
	want := targets.Items[0].Lab
	got := decode[[]converted](t, ok(t, "convert", "p.csv", "--reference", "s.csv", "--format", "json"))[0]
	require.Equal(t, "STD", got.Reference)
	require.InDelta(t, 48-want.L, got.Differences["dL"], 1e-9)
	require.InDelta(t, -2-want.A, got.Differences["da"], 1e-9)
	require.InDelta(t, -9-want.B, got.Differences["db"], 1e-9)

	// Without roles, rows of one lot are one color, and of several are none.
	require.NoError(t, os.WriteFile("lots.csv", []byte("lot,panel,L,a,b,illuminant,observer\nS,1,47,-2,-9,D65,10\nS,2,49,-2,-9,D65,10\n"), 0o644))
	got = decode[[]converted](t, ok(t, "convert", "p.csv", "--reference", "lots.csv", "--format", "json"))[0]
	require.Equal(t, "S", got.Reference)
	require.InDelta(t, 0, got.Differences["dL"], 0.05, "the mean is taken in light")
	require.NoError(t, os.WriteFile("two.csv", []byte("lot,role,L,a,b,illuminant,observer\nS,standard,47,-2,-9,D65,10\nT,standard,49,-2,-9,D65,10\n"), 0o644))
	r := tool(t, "", "convert", "p.csv", "--reference", "two.csv")
	require.Equal(t, exitFailed, r.code)
	require.Contains(t, r.err, "several colors (S, T, ...)")
}

// SCE and SCI of one cloth may be listed beside each other, with a word, and are
// never compared.
func TestConvertComparesOneCondition(t *testing.T) {
	t.Chdir(t.TempDir())
	const header = "id,condition,L,a,b,illuminant,observer\n"
	require.NoError(t, os.WriteFile("mixed.csv", []byte(header+"S,SCE,48,-2,-9,D65,10\nS,SCI,53,-2,-8,D65,10\nP,SCE,50,-2,-9,D65,10\n"), 0o644))
	require.NoError(t, os.WriteFile("sci.csv", []byte(header+"S,specular included,53,-2,-8,D65,10\n"), 0o644))
	r := tool(t, "", "convert", "mixed.csv")
	require.Zero(t, r.code)
	require.Contains(t, r.err, `mixed.csv:3: column "condition": value "SCI": measurement conditions differ: readings above have SCE`)
	require.NotContains(t, r.err, "did you mean")
	for _, reference := range []string{"S", "sci.csv"} {
		r = tool(t, "", "convert", "mixed.csv", "--reference", reference)
		require.Equal(t, exitFailed, r.code)
		require.Contains(t, r.err, "measurement conditions differ")
		require.Empty(t, r.out)
	}
	got := decode[[]converted](t, ok(t, "convert", "mixed.csv", "--reference", "S", "--condition", "sce", "--format", "json"))
	require.Len(t, got, 2)
	require.InDelta(t, 2, got[1].Differences["dL"], 1e-9, "50 less 48")
}

// near compares pairs got, want.
func near(t *testing.T, tol float64, name string, v ...float64) {
	t.Helper()
	for i := 0; i < len(v); i += 2 {
		require.InDelta(t, v[i+1], v[i], tol, "%s, number %d", name, i/2)
	}
}

// A neutral color has no hue: what atan2 makes of rounding errors is not shown.
func TestConvertShowsNoHueOfNeutrals(t *testing.T) {
	t.Chdir(t.TempDir())
	table := "id,L,a,b\ngray,50,-0.0004,0.0040\nfaint,50,0,0.0051\n"
	require.NoError(t, os.WriteFile("n.csv", []byte(table), 0o644))
	got := decode[[]converted](t, ok(t, "convert", "n.csv", "--viewing", "D65/10", "--format", "json"))
	require.Zero(t, got[0].H)
	require.InDelta(t, 90, got[1].H, 1e-9)
	text := ok(t, "convert", "n.csv", "--viewing", "D65/10")
	require.Regexp(t, `(?m)^ *gray .* 0\.00 +-$`, text)
	require.Regexp(t, `(?m)^ *faint .* 0\.01 +90\.0$`, text)
}

// The range of whiteness is empty for dark samples; a warning must not print it.
func TestConvertWhitenessOfDarkSamples(t *testing.T) {
	t.Chdir(t.TempDir())
	require.NoError(t, os.WriteFile("w.csv", []byte("id,X,Y,Z\ndark,8,8.08,9\n"), 0o644))
	r := tool(t, "", "convert", "w.csv", "--viewing", "D65/10", "--index", "whiteness")
	require.Equal(t, exitDone, r.code, r.err)
	require.Contains(t, r.err, "dark: too dark for this formula, which is meant for whites: Y is 8.1, and up to 64 no whiteness counts")
	require.NotContains(t, r.err, "< -")
	require.NoError(t, os.WriteFile("w.csv", []byte("id,X,Y,Z\nred,90,80,60\n"), 0o644))
	require.Contains(t, tool(t, "", "convert", "w.csv", "--viewing", "D65/10", "--index", "whiteness").err, "outside 40 < W < 120.0")
}
