package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
)

// An output that would destroy a file which the command line names elsewhere is
// refused before any work, and every file stays as it was.
func TestOutputsNeverOverwriteWhatIsNamed(t *testing.T) {
	dir := workspace(t)
	ok(t, "fit", "trials.csv", "-o", "model.json", "--quiet")
	require.NoError(t, os.WriteFile("lots2.csv", labLots(), 0o644))
	require.NoError(t, os.WriteFile("pairs.csv", demo.PelletTrials(), 0o644))
	require.NoError(t, os.WriteFile("own.json", []byte("{}"), 0o644))
	require.NoError(t, os.Mkdir("sub", 0o755))
	require.NoError(t, os.Link("trials.csv", "hard.csv"))
	if err := os.Symlink("trials.csv", "soft.csv"); err != nil {
		t.Skip("no symbolic links here:", err)
	}
	require.NoError(t, os.Symlink("sub", "subway"))
	before := contents(t, dir)
	const overwrites, both = "would overwrite the input", "are one file: give each its own name"
	for _, c := range []struct{ args, says string }{
		{"fit trials.csv -o trials.csv", "-o trials.csv " + overwrites + " trials.csv: name another file"},
		{"fit trials.csv -o ./trials.csv", overwrites},
		{"fit trials.csv -o sub/../trials.csv", overwrites},
		{"fit trials.csv -o " + filepath.Join(dir, "trials.csv"), overwrites},
		{"fit trials.csv -o hard.csv", overwrites},
		{"fit trials.csv -o soft.csv", overwrites},
		{"fit soft.csv -o trials.csv", overwrites},
		{"fit trials.csv -o t.json --results trials.csv", overwrites},
		{"fit trials.csv -o t.json --report trials.csv", overwrites},
		{"fit trials.csv -o t.json --figure strip=t.svg --figure path-lb=./t.svg", both},
		{"fit trials.csv -o t.json --results t.json", both},
		{"fit trials.csv -o sub/t.json --results subway/t.json", both},
		{"fit trials.csv --lot-list lots.csv -o lots.csv", "-o lots.csv " + overwrites + " --lot-list lots.csv"},
		{"fit trials.csv --process-file own.json -o own.json", overwrites},
		{"fit missing.csv -o missing.csv", overwrites},
		{"convert trials.csv --results trials.csv", overwrites},
		{"convert trials.csv --reference standard.csv --results standard.csv", overwrites},
		{"convert photo.png --region 10,100,200,90 --chart chart.csv --results chart.csv", overwrites},
		{"predict model.json --settings settings.csv --results settings.csv", overwrites},
		{"predict model.json --settings settings.csv --results model.json", overwrites},
		{"recalibrate model.json lots.csv -o lots.csv", overwrites},
		{"recalibrate model.json lots.csv -o model.json", overwrites},
		{"suggest model.json --target standard.csv --results standard.csv", overwrites},
		{"suggest model.json --lab 50,-2,-8 --results model.json", overwrites},
		{"suggest model.json --lab 50,-2,-8 --report model.json", overwrites},
		{"suggest model.json --lab 50,-2,-8 --report p.svg --figure pass=p.svg", both},
		{"plan model.json --target standard.csv --results standard.csv", overwrites},
		{"charge model.json --strength 6 --ratio 1.3 --time 14 --mass 50 --report model.json", overwrites},
		{"check lot.csv --standard standard.csv --results lot.csv", overwrites},
		{"check lot.csv --standard standard.csv --results standard.csv", overwrites},
		{"check lot.csv --standard standard.csv --model model.json --results model.json", overwrites},
		{"check lot.csv --standard standard.csv --pairs pairs.csv --results pairs.csv", overwrites},
		{"check lot.csv --standard standard.csv --bases pairs.csv --results pairs.csv", overwrites},
		{"check lot.csv --standard standard.csv --ledger lot.csv", "--ledger lot.csv " + overwrites},
		{"check lot.csv --standard standard.csv --ledger l.csv --results l.csv", both},
		{"check lot.csv --bands-only --report lot.csv", overwrites},
		{"template --process-file own.json -o x.csv --results x.csv", both},
	} {
		r := tool(t, "", strings.Fields(c.args)...)
		require.Equal(t, exitUsage, r.code, "%s: %s", c.args, r.err)
		require.Contains(t, r.err, c.says, c.args)
		require.Empty(t, r.out, c.args)
		require.Equal(t, before, contents(t, dir), c.args)
	}
}

// contents are the files of a folder with what is in them.
func contents(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	require.NoError(t, filepath.WalkDir(dir, func(name string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(name)
		if err != nil && d.Type()&os.ModeSymlink != 0 { // to a folder
			return nil
		}
		out[name] = string(data)
		return err
	}))
	return out
}

// What is named twice and harms nothing stays possible.
func TestNamingAFileTwiceWithoutHarm(t *testing.T) {
	workspace(t)
	ok(t, "fit", "trials.csv", "-o", "model.json", "--quiet")
	require.NoError(t, os.WriteFile("one.csv", []byte("id,illuminant,observer,L,a,b\none,D65,10,50,-2,-8\n"), 0o644))
	for _, args := range []string{
		"convert one.csv --reference one.csv",
		"check lot.csv --standard standard.csv --model model.json --ledger ledger.csv",
		"check lot.csv --standard standard.csv --model model.json --ledger ledger.csv",
		"fit trials.csv -o /dev/null --report /dev/null",
		"suggest model.json --target standard.csv --results old.csv",
		"suggest model.json --target standard.csv --results old.csv",
	} {
		r := tool(t, "", strings.Fields(args)...)
		require.Equal(t, exitDone, r.code, "%s: %s", args, r.err)
	}
	r := tool(t, string(demo.PelletTrials()), "fit", "-", "-o", "other.json")
	require.Equal(t, exitDone, r.code, r.err)
}

// A flag that takes text either names files, and is known to do so, or is one of
// those below: a new one cannot be forgotten.
func TestEveryFlagThatNamesAFileIsKnown(t *testing.T) {
	plain := []string{"acid", "difference", "fabric", "lot", "machine", "neutralizer", "neutralizer-acid", "price", "process", "readings", "region", "sheet", "since", "soak-temp", "standard-id", "until", "with"}
	folders := []string{"out"}
	seen := map[string]bool{}
	root := commandNamed(t, "fit").Root()
	for _, cmd := range root.Commands() {
		cmd.InheritedFlags() // adds the general ones to those of the command
		cmd.Flags().VisitAll(func(f *pflag.Flag) {
			if !strings.HasPrefix(f.Value.Type(), "string") {
				return
			}
			seen[f.Name] = true
			named, _ := fileUse(f.Name)
			other := slices.Contains(plain, f.Name) || slices.Contains(folders, f.Name)
			assert.True(t, named != other, "%s --%s", cmd.Name(), f.Name)
		})
	}
	require.True(t, seen["figure"] && seen["output"] && seen["results"] && seen["ledger"])
}

// Commands that fill a folder overwrite nothing of other content without being told to.
func TestFoldersAreNotOverwritten(t *testing.T) {
	t.Chdir(t.TempDir())
	for _, c := range []struct{ args, file string }{{"demo --out d", "d/" + demo.PelletStandardFile}, {"man m", "m/dosetone-fit.1"}} {
		args := strings.Fields(c.args)
		ok(t, args...)
		good, err := os.ReadFile(c.file)
		require.NoError(t, err)
		ok(t, args...) // what is there is the same
		require.NoError(t, os.WriteFile(c.file, []byte("mine"), 0o600))
		other := filepath.Join(filepath.Dir(c.file), "also-mine")
		require.NoError(t, os.WriteFile(other, nil, 0o600))
		r := tool(t, "", args...)
		require.Equal(t, exitUsage, r.code)
		require.Contains(t, r.err, filepath.Base(c.file)+";")
		require.Contains(t, r.err, "--overwrite")
		require.NotContains(t, r.err, "also-mine")
		kept, err := os.ReadFile(c.file)
		require.NoError(t, err)
		require.Equal(t, "mine", string(kept))
		ok(t, append(args, "--overwrite")...)
		now, err := os.ReadFile(c.file)
		require.NoError(t, err)
		require.Equal(t, good, now)
		require.FileExists(t, other)
	}
}
