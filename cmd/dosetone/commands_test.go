package main

import (
	"bufio"
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge"
)

// TestExamplesOfHelpTextsRun runs every command line printed in a help text.
func TestExamplesOfHelpTextsRun(t *testing.T) {
	workspace(t)
	n := 0
	// fit comes before those who read its model.
	for _, name := range []string{"demo", "convert", "fit", "predict", "suggest", "plan", "recalibrate", "charge", "assay", "check", "ledger", "template", "man"} {
		cmd := commandNamed(t, name)
		require.NotEmpty(t, cmd.Example, name)
		for line := range strings.Lines(cmd.Example) {
			line = strings.TrimSpace(line)
			args, ok := strings.CutPrefix(line, "dosetone ")
			require.True(t, ok, line)
			r := tool(t, "", strings.Fields(args)...)
			require.Equal(t, exitDone, r.code, "%s: %s", line, r.err)
			require.NotEmpty(t, r.out, line)
			n++
		}
	}
	tree := newRoot(newEnv(context.Background(), nil, nil, nil), discharge.Processes())
	for _, cmd := range tree.Commands() {
		n -= strings.Count(cmd.Example, "dosetone ")
	}
	require.Zero(t, n, "a command's examples are not in the list above")
}

func commandNamed(t *testing.T, name string) *cobra.Command {
	t.Helper()
	e := newEnv(context.Background(), nil, nil, nil)
	cmd, _, err := newRoot(e, discharge.Processes()).Find([]string{name})
	require.NoError(t, err)
	return cmd
}

// TestReadmeCommandsRun runs the command lines of README.md in order, in one
// folder that holds the CSV and JSON files of the repository under their paths.
func TestReadmeCommandsRun(t *testing.T) {
	dir := t.TempDir()
	for _, from := range []string{"examples", "datasets/demo"} {
		copyFiles(t, repository(t), from, dir)
	}
	runDocument(t, "README.md", dir)
}

// The walk-through starts from an empty folder with nothing but its table, the
// page on intervals from an empty folder.
func TestWalkThroughRuns(t *testing.T) {
	const table = "examples/six-lots/invented-six-lots.csv"
	dir := t.TempDir()
	data, err := os.ReadFile(filepath.Join(repository(t), table))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, filepath.Base(table)), data, 0o644))
	runDocument(t, "examples/six-lots/README.md", dir)
	runDocument(t, "examples/reading-intervals.md", t.TempDir())
}

func repository(t *testing.T) string {
	t.Helper()
	wd, err := os.Getwd()
	require.NoError(t, err)
	for dir := wd; ; dir = filepath.Dir(dir) {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		require.NotEqual(t, dir, filepath.Dir(dir), "no go.mod above %s", wd)
	}
}

// runDocument runs the command lines of a document in a folder.
func runDocument(t *testing.T, name, dir string) {
	t.Helper()
	root := repository(t)
	text, err := os.ReadFile(filepath.Join(root, name))
	require.NoError(t, err)
	lines := readmeCommands(string(text))
	require.NotEmpty(t, lines, "%s shows no dosetone command line", name)
	t.Chdir(dir)
	for _, line := range lines {
		runLine(t, line)
	}
	t.Chdir(filepath.Join(root, "cmd", "dosetone"))
}

// readmeCommands returns the command lines of the tool in ```sh blocks, with
// continued lines joined.
func readmeCommands(text string) []string {
	var out []string
	inside := false
	sc := bufio.NewScanner(strings.NewReader(text))
	for sc.Scan() {
		line := strings.TrimSpace(sc.Text())
		if fence, ok := strings.CutPrefix(line, "```"); ok {
			inside = !inside && fence == "sh"
			continue
		}
		if !inside {
			continue
		}
		for strings.HasSuffix(line, `\`) && sc.Scan() {
			line = strings.TrimSuffix(line, `\`) + " " + strings.TrimSpace(sc.Text())
		}
		for _, start := range []string{"dosetone ", "go run ./cmd/dosetone "} {
			if rest, ok := strings.CutPrefix(line, start); ok {
				rest, _, _ = strings.Cut(rest, " #")
				out = append(out, strings.TrimSpace(rest))
			}
		}
	}
	return out
}

func TestReadmeCommands(t *testing.T) {
	got := readmeCommands("```sh\ngo run ./cmd/dosetone demo   # all\ndosetone fit a.csv \\\n  -o m.json\nls\n```\ndosetone no\n```go\ndosetone no\n```\n")
	require.Equal(t, []string{"demo", "fit a.csv  -o m.json"}, got)
}

// runLine executes one line; "> file" is the only shell syntax allowed.
func runLine(t *testing.T, line string) {
	t.Helper()
	line, file, redirected := strings.Cut(line, " > ")
	require.NotContains(t, line, "|", "README test: pipes are not supported")
	require.NotContains(t, line, "$", "README test: variables are not supported")
	args := strings.Fields(line)
	for i, a := range args {
		args[i] = strings.Trim(a, `'"`)
	}
	r := tool(t, "", args...)
	require.Equal(t, exitDone, r.code, "dosetone %s: %s", line, r.err)
	require.NotEmpty(t, r.out, line)
	if redirected {
		require.NoError(t, os.WriteFile(strings.TrimSpace(file), []byte(r.out), 0o644))
	}
}

func copyFiles(t *testing.T, root, from, to string) {
	t.Helper()
	if _, err := os.Stat(filepath.Join(root, from)); os.IsNotExist(err) {
		return
	}
	require.NoError(t, filepath.WalkDir(filepath.Join(root, from), func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Ext(path) != ".csv" && filepath.Ext(path) != ".json" {
			return err
		}
		rel, err := filepath.Rel(root, path)
		if err != nil {
			return err
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		if err := os.MkdirAll(filepath.Join(to, filepath.Dir(rel)), 0o755); err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(to, rel), data, 0o644)
	}))
}
