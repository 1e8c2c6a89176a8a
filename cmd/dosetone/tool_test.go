package main

import (
	"bytes"
	"context"
	"encoding/json"
	"image"
	imagecolor "image/color"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
)

// result is what one command line gave.
type result struct {
	out, err string
	code     int
}

// tool runs a command line in this process.
func tool(t *testing.T, stdin string, args ...string) result {
	t.Helper()
	var out, errs bytes.Buffer
	code := run(context.Background(), args, strings.NewReader(stdin), &out, &errs)
	return result{out.String(), errs.String(), code}
}

// ok runs a command line that must succeed and returns its results.
func ok(t *testing.T, args ...string) string {
	t.Helper()
	r := tool(t, "", args...)
	require.Equal(t, exitDone, r.code, "%v: %s", args, r.err)
	return r.out
}

// decode reads JSON into generic values and fails on anything but one value.
func decode[T any](t *testing.T, text string) T {
	t.Helper()
	var v T
	require.NoError(t, json.Unmarshal([]byte(text), &v), text)
	return v
}

// workspace makes a folder with files named as in the help texts and goes
// there. The data are the invented demo's.
func workspace(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	write := func(name string, data []byte) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), data, 0o644))
	}
	write("trials.csv", demo.PelletTrials())
	write("standard.csv", demo.PelletStandard())
	write("settings.csv", []byte("id,strength_pct,ratio,time_min\none,6,1.3,14\ntwo,9,1.8,20\n"))
	write("lots.csv", labLots())
	write("lot.csv", productionOf("P101"))
	write("first.csv", productionOf("P101"))
	write("production.csv", demo.PelletProduction())
	for name, data := range labExports(t) {
		write(name, data)
	}
	var b bytes.Buffer
	im := image.NewNRGBA(image.Rect(0, 0, 240, 120))
	for i := range im.Pix {
		im.Pix[i] = 255
	}
	for x := range 240 {
		for y := range 120 {
			im.Set(x, y, imagecolor.NRGBA{R: 70, G: 90, B: 125, A: 255})
		}
	}
	require.NoError(t, png.Encode(&b, im))
	write("swatch.png", b.Bytes())
	photo, chart := inventedPhoto(t, knownXYZ)
	write("photo.png", photo)
	write("chart.csv", chart)
	t.Chdir(dir)
	return dir
}

// labLots is a table without process column and viewing.
func labLots() []byte {
	return []byte(`# invented data: no real laundry
lot,role,strength_pct,ratio,time_min,panel,L,a,b
BASE,base,,,,1,19.5,0.4,-8.9
WHITE,white,,,,1,84.0,-1.5,5.5
L1,trial,4,1,8,1,27.8,-1.0,-11.6
L2,trial,4,2,12,1,38.2,-2.1,-11.2
L3,trial,8,1,12,1,39.4,-2.2,-11.1
L4,trial,8,2,8,1,43.7,-2.4,-10.2
L5,trial,6,1.4,16,1,46.1,-2.5,-9.6
L6,trial,8,2,18,1,55.4,-2.6,-6.4
`)
}

func TestExitCodesAndMessages(t *testing.T) {
	workspace(t)
	require.NoError(t, os.WriteFile("notmodel.json", []byte("{}"), 0o644))
	require.NoError(t, os.WriteFile("oneline.csv", []byte("lot,role\n"), 0o644))
	ok(t, "fit", "lots.csv", "-o", "model.json", "--process", "permanganate-pellet", "--viewing", "D65/10")
	for _, c := range []struct {
		args string
		code int
		says string // in the message
	}{
		{"frobnicate", exitUsage, "unknown command"},
		{"sugest model.json", exitUsage, "suggest"},
		{"fit", exitUsage, "requires at least 1 arg"},
		{"fit", exitUsage, "use: dosetone fit FILE [MORE ...] -o MODEL.json"},
		{"suggest model.json --lab 40,-2,-11 --max-tme 5", exitUsage, "did you mean --max-time?"},
		{"check lot.csv more.csv", exitUsage, "accepts 1 arg"},
		{"fit trials.csv -o -", exitUsage, "name a file"},
		{"fit trials.csv --format xml", exitUsage, "want text, json, csv or xlsx"},
		{"fit trials.csv --reflectance permille", exitUsage, "want factor"},
		{"fit trials.csv --viewing D66/10", exitUsage, "D66"},
		{"fit missing.csv -o m.json", exitFailed, "missing.csv: there is no such file"},
		{"fit oneline.csv -o m.json", exitFailed, "oneline.csv:1"},
		{"fit lots.csv -o m.json --process permanganate-pellet", exitFailed, "illuminant"},
		{"fit lots.csv -o m.json --viewing D65/10", exitFailed, "process"},
		{"fit lots.csv -o m.json --viewing D65/10 --process permanganate-pelet", exitFailed, `did you mean "permanganate-pellet"?`},
		{"fit lots.csv -o m.json --viewing D65/10 --process hypochlorite-bath", exitFailed, "strength_pct"},
		{"fit lots.csv -o no/such/folder/m.json --viewing D65/10 --process permanganate-pellet", exitFailed, "no such folder"},
		{"predict model.json", exitUsage, "no settings"},
		{"predict model.json --settings settings.csv --time 3", exitUsage, "not both"},
		{"predict missing.json --time 3", exitFailed, "no such file"},
		{"predict notmodel.json --time 3", exitFailed, "notmodel.json"},
		{"predict trials.csv --time 3", exitFailed, "trials become a model by fit"},
		{"fit .", exitFailed, ". is a folder"},
		{"predict model.json --strength 5 --ratio 1", exitUsage, "time_min"},
		{"predict model.json --strength 0 --ratio 1 --time 5", exitUsage, "above 0"},
		{"predict model.json --strength NaN --ratio 1 --time 5", exitUsage, "finite"},
		{"predict model.json --strenght 5", exitUsage, "did you mean --strength?"},
		{"predict model.json --time_min 5", exitUsage, "did you mean --time?"},
		{"predict model.json --strength 5 --liquor-ratio 1 --time 5", exitUsage, "it takes --strength --ratio --time"},
		{"predict model.json --settings lots.csv --settings -", exitFailed, "stdin"},
		{"suggest model.json", exitUsage, "no target"},
		{"suggest model.json --lab 40,1", exitUsage, "three numbers"},
		{"suggest model.json --lab 40,1,x", exitUsage, "finite"},
		{"suggest model.json --lab 40,-2,-11 --target standard.csv", exitUsage, "not both"},
		{"suggest model.json --lab 40,-2,-11 --tolerance 0", exitUsage, "above 0"},
		{"suggest model.json --lab 40,-2,-11 --tolerance=-1", exitUsage, "above 0"},
		{"suggest model.json --lab 40,-2,-11 --count 0", exitUsage, "at least 1"},
		{"suggest model.json --lab 40,-2,-11 --time 5", exitUsage, "--min-time and --max-time"},
		{"suggest model.json --lab 40,-2,-11 --min-time 20 --max-time 10", exitUsage, "above --max-time"},
		{"suggest model.json --lab 40,-2,-11 --min-time 40", exitUsage, "give --max-time too"},
		{"suggest model.json --lab 40,-2,-11 --strengths 0,2", exitUsage, "above 0"},
		{"suggest model.json --lab 40,-2,-11 --strengths 1,2 --min-strength 5", exitUsage, "none lies between"},
		{"suggest model.json --lab 40,-2,-11 --max-liquor-ratio 5", exitUsage, "--max-strength"},
		{"suggest model.json --target settings.csv", exitFailed, "settings.csv"},
		{"convert trials.csv --region 1,1,2,2", exitUsage, "images"},
		{"convert swatch.png --viewing D65/10", exitUsage, "D65/2"},
		{"convert swatch.png --region 1,1", exitUsage, "region"},
		{"convert swatch.png --chart chart.csv", exitUsage, "--region"},
		{"convert trials.csv --chart chart.csv", exitUsage, "images"},
		{"convert lots.csv --viewing D65/10,A/10", exitUsage, "spectra can"},
		{"convert trials.csv --reference NOSUCH", exitFailed, "no such id"},
		{"convert trials.csv --difference nosuch", exitUsage, "nosuch"},
		{"convert trials.csv --index shine", exitUsage, "shine"},
		{"convert trials.csv --index metamerism", exitUsage, "--reference"},
		{"convert settings.csv", exitFailed, "settings.csv"},
		{"convert trials.csv --viewing D65/10,D65/10", exitUsage, "twice"},
		{"demo now", exitUsage, "unknown command"},
	} {
		r := tool(t, "", strings.Fields(c.args)...)
		require.Equal(t, c.code, r.code, "%s: %s", c.args, r.err)
		require.Empty(t, r.out, c.args)
		require.Contains(t, r.err, "dosetone: ", c.args)
		require.Contains(t, r.err, c.says, c.args)
	}
	for _, name := range []string{"m.json", "no"} {
		_, err := os.Stat(name)
		require.ErrorIs(t, err, os.ErrNotExist, "a failed fit must write nothing")
	}
}

func TestHelpAndVersion(t *testing.T) {
	for _, args := range [][]string{{}, {"--help"}, {"fit", "--help"}, {"help", "suggest"}} {
		require.Contains(t, ok(t, args...), "Usage:", args)
	}
	require.Contains(t, ok(t, "--version"), "dosetone version ")
}

func TestStandardInput(t *testing.T) {
	workspace(t)
	require.Equal(t, exitDone, tool(t, string(demo.PelletTrials()), "fit", "-", "-o", "model.json").code)
	rows := "strength_pct;ratio;time_min\n6,5;1,3;14\n"
	r := tool(t, rows, "predict", "model.json", "--settings", "-", "--format", "json")
	require.Equal(t, exitDone, r.code, r.err)
	got := decode[[]prediction](t, r.out)
	require.InDelta(t, 6.5, got[0].Settings["strength_pct"], 0, "decimal comma")
	r = tool(t, "x", "predict", "-", "--settings", "-")
	require.Equal(t, exitFailed, r.code, "the first use of - is not a model")
}

func TestInterruptedRunWritesNothing(t *testing.T) {
	workspace(t)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var out, errs bytes.Buffer
	code := run(ctx, []string{"fit", "trials.csv", "-o", "model.json"}, strings.NewReader(""), &out, &errs)
	require.Equal(t, exitFailed, code)
	require.Contains(t, errs.String(), "interrupted")
	_, err := os.Stat("model.json")
	require.ErrorIs(t, err, os.ErrNotExist)
}

func TestSwatchesOnlyOnATerminal(t *testing.T) {
	var b bytes.Buffer
	require.False(t, trueColor(&b))
	f, err := os.Create(filepath.Join(t.TempDir(), "file"))
	require.NoError(t, err)
	defer f.Close()
	t.Setenv("COLORTERM", "truecolor")
	require.False(t, trueColor(f), "a file is no terminal")
	e := newEnv(context.Background(), nil, &b, &b)
	require.Empty(t, e.swatch(labValue{}.lab))
	e.swatches = true
	require.Equal(t, "\x1b[48;2;0;0;0m    \x1b[0m", e.swatch(labValue{}.lab))
	terminal, err := os.OpenFile("/dev/ptmx", os.O_RDWR, 0)
	if err != nil {
		t.Skip("no terminal to be had here:", err)
	}
	defer terminal.Close()
	t.Setenv("TERM", "xterm")
	t.Setenv("NO_COLOR", "")
	require.True(t, trueColor(terminal))
	t.Setenv("NO_COLOR", "1")
	require.False(t, trueColor(terminal))
}
