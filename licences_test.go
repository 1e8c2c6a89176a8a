package dosetone_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const dependenciesHead = `# Dependencies

Every module that the library, the tool or the tests are built from, with its licence as its own file states it. A test
(` + "`licences_test.go`" + `) makes this list from ` + "`go list -deps`" + ` and the module cache and fails when it differs; after a change:
` + "`DOSETONE_UPDATE=1 go test . -run Licences`" + `. ` + "`go mod verify`" + ` in ` + "`./check`" + ` holds the modules against go.sum.

| module | version | licence | used by |
|---|---|---|---|
`

// Every module that anything here is built from stands in DEPENDENCIES.md with
// its version and a licence that we know.
func TestLicencesAreListed(t *testing.T) {
	modules := func(args ...string) map[string]bool {
		out, err := exec.Command("go", append([]string{"list", "-deps", "-f", "{{with .Module}}{{.Path}} {{.Version}} {{.Dir}}{{end}}"}, args...)...).Output()
		require.NoError(t, err)
		found := map[string]bool{}
		for line := range strings.SplitSeq(string(out), "\n") {
			if line != "" && !strings.HasPrefix(line, strings.TrimSuffix(module, "/")+" ") {
				found[line] = true
			}
		}
		return found
	}
	libraries := modules(".", "./colorimetry", "./fit", "./discharge/...")
	tool := modules("./cmd/dosetone")
	all := modules("-test", "./...")
	require.NotEmpty(t, libraries)
	var rows []string
	for line := range all {
		f := strings.SplitN(line, " ", 3)
		use := "tests"
		switch {
		case libraries[line]:
			use = "library, tool"
		case tool[line]:
			use = "tool"
		}
		rows = append(rows, fmt.Sprintf("| %s | %s | %s | %s |\n", f[0], f[1], licence(t, f[2]), use))
	}
	slices.Sort(rows)
	want := dependenciesHead + strings.Join(rows, "")
	if os.Getenv("DOSETONE_UPDATE") != "" {
		require.NoError(t, os.WriteFile("DEPENDENCIES.md", []byte(want), 0o644))
	}
	have, err := os.ReadFile("DEPENDENCIES.md")
	require.NoError(t, err)
	require.Equal(t, want, string(have), "run with DOSETONE_UPDATE=1, read the diff, and look at any new licence")
}

// licence names the licence of a module by phrases that only it has.
func licence(t *testing.T, dir string) string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*"))
	require.NoError(t, err)
	var names []string
	for _, file := range files {
		base := strings.ToUpper(filepath.Base(file))
		if !strings.HasPrefix(base, "LICENSE") && !strings.HasPrefix(base, "LICENCE") && !strings.HasPrefix(base, "COPYING") {
			continue
		}
		info, err := os.Stat(file)
		require.NoError(t, err)
		if info.IsDir() {
			continue
		}
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		text := strings.Join(strings.Fields(string(data)), " ")
		for _, l := range [][2]string{
			{"Apache License Version 2.0", "Apache-2.0"},
			{"Apache License, Version 2.0", "Apache-2.0"},
			{"Mozilla Public License", "MPL-2.0"},
			{"SIL OPEN FONT LICENSE", "OFL-1.1"},
			{"The FreeType Project LICENSE", "FTL"},
			{"FreeType License", "FTL"},
			{"Neither the name of", "BSD-3-Clause"},
			{"neither the name of", "BSD-3-Clause"},
			{"free of charge, to any person obtaining a copy of this software", "MIT"},
		} {
			if strings.Contains(text, l[0]) && !slices.Contains(names, l[1]) {
				names = append(names, l[1])
			}
		}
	}
	require.NotEmpty(t, names, "no licence found in %s", dir)
	return strings.Join(names, ", ")
}
