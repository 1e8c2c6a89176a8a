package main

import (
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
)

func TestVersionNamesTheBuild(t *testing.T) {
	info := &debug.BuildInfo{GoVersion: "go1.26.8", Main: debug.Module{Version: "v1.2.3"}, Settings: []debug.BuildSetting{
		{Key: "GOOS", Value: "linux"}, {Key: "GOARCH", Value: "arm64"},
		{Key: "vcs.revision", Value: "0123456789abcdef"}, {Key: "vcs.modified", Value: "true"},
	}}
	require.Equal(t, "v1.2.3 revision 0123456789ab with changes go1.26.8 linux/arm64", describe(info))
	require.Equal(t, "(devel) go1.26.8", describe(&debug.BuildInfo{GoVersion: "go1.26.8"}))
}

// What the shell offers, asked as the completion scripts ask.
func TestCompletion(t *testing.T) {
	workspace(t)
	for args, want := range map[string][]string{
		"plan perm":             {"permanganate-pellet\t", "permanganate-stone\t"},
		"plan model.j":          {"json", ":8"},
		"predict ":              {"json", ":8"},
		"fit ":                  {"csv", "xlsx", ":8"},
		"fit trials.csv ":       {":4"},
		"fit --process hypo":    {"hypochlorite-bath"},
		"fit --viewing D65":     {"D65/10", "D65/2"},
		"fit --format ":         {"text", "json", "csv"},
		"suggest m.json --stre": {"--strengths"},
		"assay chlor":           {"chlorine-iodometry\t"},
		"sug":                   {"suggest\t"},
		"man ":                  {":16"},
	} {
		before, typed, _ := cutLast(args)
		r := tool(t, "", append(append([]string{"__complete"}, strings.Fields(before)...), typed)...)
		require.Equal(t, exitDone, r.code, r.err)
		for _, w := range want {
			assert.Contains(t, r.out, w, args)
		}
	}
	for _, shell := range []string{"bash", "zsh", "fish", "powershell"} {
		require.Contains(t, ok(t, "completion", shell), "dosetone", shell)
	}
}

func cutLast(s string) (before, last string, found bool) {
	i := strings.LastIndexByte(s, ' ')
	return s[:max(i, 0)], s[i+1:], i >= 0
}

// Every command has a manual page with its flags, and no line of text is taken
// for a request of roff.
func TestManualPages(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "man1")
	ok(t, "man", dir)
	tree := commandNamed(t, "fit").Root()
	for _, cmd := range tree.Commands() {
		if cmd.Name() == "help" || cmd.Hidden {
			continue
		}
		page, err := os.ReadFile(filepath.Join(dir, "dosetone-"+cmd.Name()+".1"))
		require.NoError(t, err)
		text := string(page)
		for _, section := range []string{".TH DOSETONE", ".SH NAME", ".SH SYNOPSIS", ".SH DESCRIPTION", ".SH EXIT STATUS"} {
			require.Contains(t, text, section, cmd.Name())
		}
		if cmd.Example != "" {
			require.Contains(t, text, ".SH EXAMPLES\n.nf\n")
		}
		for line := range strings.Lines(text) {
			if line[0] == '.' {
				request, _, _ := strings.Cut(strings.TrimSpace(line[1:]), " ")
				require.Contains(t, []string{"TH", "SH", "PP", "TP", "B", "nf", "fi"}, request, line)
			}
			require.Less(t, strings.IndexFunc(line, func(r rune) bool { return r > 126 }), 0, line)
		}
	}
	page, err := os.ReadFile(filepath.Join(dir, "dosetone-fit.1"))
	require.NoError(t, err)
	require.Contains(t, string(page), `\fB\-o, \-\-output\fR \fIstring\fR`)
	require.Equal(t, `\&.a\-b\e\[u0394]`, roff(`.a-b\Δ`))
}

// never is an input that nothing ever comes from.
type never struct{ wait chan struct{} }

func (n never) Read([]byte) (int, error) { <-n.wait; return 0, io.EOF }

// Ctrl-C ends reading a pipe, a fit, a plan and a suggestion, and leaves no file.
func TestInterruptEndsWorkSoon(t *testing.T) {
	dir := workspace(t)
	ok(t, "fit", "trials.csv", "-o", "model.json")
	before, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, line := range []string{
		"fit - -o new.json",
		"fit trials.csv -o new.json",
		"plan permanganate-stone --lots 60 --min-ph 3 --max-ph 6 --min-moisture 10 --max-moisture 70",
		"demo --out new",
	} {
		ctx, cancel := context.WithCancel(t.Context())
		var out, errs bytes.Buffer
		code := make(chan int, 1)
		wait := make(chan struct{})
		go func() { code <- run(ctx, strings.Fields(line), never{wait}, &out, &errs) }()
		time.Sleep(30 * time.Millisecond)
		cancel()
		select {
		case c := <-code:
			require.Equal(t, exitFailed, c, line)
			require.Contains(t, errs.String(), "interrupted; nothing was written", line)
			require.Empty(t, out.String(), line)
		case <-time.After(20 * time.Second):
			t.Fatal("goes on after an interrupt: ", line)
		}
		close(wait)
		after, err := os.ReadDir(dir)
		require.NoError(t, err)
		require.Equal(t, len(before), len(after), "%s left a file behind", line)
	}
}

// The four exit codes are what scripts rely on.
func TestExitCodesAreStable(t *testing.T) {
	workspace(t)
	require.Equal(t, []int{0, 1, 2, 3}, []int{exitDone, exitFailed, exitUsage, exitOutside})
	require.NoError(t, os.WriteFile("dark.csv", []byte("id,illuminant,observer,L,a,b\nfar,D65,10,20,0,-5\n"), 0o644))
	for line, code := range map[string]int{
		"fit trials.csv -o model.json --quiet":             exitDone,
		"fit missing.csv":                                  exitFailed,
		"fit trials.csv --nosuchflag":                      exitUsage,
		"check lot.csv --standard dark.csv --tolerance 1":  exitOutside,
		"check lot.csv --standard standard.csv --format x": exitUsage,
	} {
		r := tool(t, "", strings.Fields(line)...)
		require.Equal(t, code, r.code, "%s: %s", line, r.err)
	}
}

func TestQuietHoldsBackWarningsOnly(t *testing.T) {
	workspace(t)
	loud := tool(t, "", "fit", "trials.csv")
	quiet := tool(t, "", "fit", "trials.csv", "--quiet")
	require.Contains(t, loud.err, "warning: no model was written")
	require.Empty(t, quiet.err)
	require.Equal(t, loud.out, quiet.out)
	require.Contains(t, tool(t, "", "fit", "missing.csv", "--quiet").err, "no such file", "errors are told all the same")
}

func TestDecimalCommaOnTheCommandLine(t *testing.T) {
	workspace(t)
	require.NoError(t, os.WriteFile("trials.csv", demo.PelletTrials(), 0o644))
	ok(t, "fit", "trials.csv", "-o", "model.json", "--quiet")
	require.Equal(t, ok(t, "predict", "model.json", "--strength", "6.5", "--ratio", "1.4", "--time", "12.5"),
		ok(t, "predict", "model.json", "--strength", "6,5", "--ratio", "1,4", "--time", "12,5"))
	// What was taken is said, since commas separate in lists and in thousands.
	r := tool(t, "", strings.Fields("predict model.json --strength 6,5 --ratio 1.4 --time 1,200")...)
	require.Equal(t, exitDone, r.code, r.err)
	require.Contains(t, r.err, "warning: --strength 6,5 is taken as 6.5\n")
	require.Contains(t, r.err, "warning: --time 1,200 is taken as 1.2\n")
	require.NotContains(t, r.err, "--ratio")
	require.Equal(t, ok(t, "suggest", "model.json", "--lab", "48.5,-2.6,-9.5", "--strengths", "4,6.5"),
		ok(t, "suggest", "model.json", "--lab", "48,5;-2,6;-9,5", "--strengths", "4;6,5"))
}
