package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"strings"
	"syscall"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/datasets/demo"
)

// faulty is a storage that spoils what is read from one file, or every write.
type faulty struct {
	memory
	spoil   string
	reader  func(io.Reader) io.Reader
	refuse  error
	written map[string]bool
}

func (f faulty) open(name string) (io.ReadCloser, error) {
	r, err := f.memory.open(name)
	if err != nil || name != f.spoil {
		return r, err
	}
	return io.NopCloser(f.reader(r)), nil
}

func (f faulty) write(name string, data []byte) error {
	if f.refuse != nil {
		return f.refuse
	}
	f.written[name] = true
	return nil // the next case starts from the same files
}

// atStorage runs a command line on a storage.
func atStorage(files storage, args string) result {
	var out, errs bytes.Buffer
	e := newEnv(context.Background(), strings.NewReader(""), &out, &errs)
	e.files = files
	code := e.runOn(strings.Fields(args))
	return result{out.String(), errs.String(), code}
}

// files of the demo in memory, with a model.
func demoFiles(t *testing.T) memory {
	t.Helper()
	m := memory{"trials.csv": demo.PelletTrials(), "standard.csv": demo.PelletStandard(), "lot.csv": productionOf("P101"),
		"settings.csv": []byte("id,strength_pct,ratio,time_min\none,6,1.3,14\ntwo,9,1.8,20\n")}
	require.Equal(t, exitDone, atStorage(m, "fit trials.csv -o model.json").code)
	require.Equal(t, exitDone, atStorage(m, "check lot.csv --standard standard.csv --model model.json --ledger ledger.csv").code)
	require.Contains(t, m, "ledger.csv")
	return m
}

func commandsOnFiles() map[string][]string {
	return map[string][]string{
		"fit trials.csv -o new.json":                                                             {"trials.csv"},
		"predict model.json --settings settings.csv":                                             {"model.json", "settings.csv"},
		"suggest model.json --target standard.csv --tolerance 1.5":                               {"model.json", "standard.csv"},
		"convert lot.csv":                                                                        {"lot.csv"},
		"check lot.csv --standard standard.csv --model model.json --ledger ledger.csv":           {"lot.csv", "standard.csv", "model.json", "ledger.csv"},
		"recalibrate model.json trials.csv -o new.json":                                          {"model.json", "trials.csv"},
		"charge model.json --strength 6 --ratio 1.3 --time 14 --mass 50 --neutralizer bisulfite": {"model.json"},
	}
}

// Short reads change nothing.
func TestShortReadsAreReadOn(t *testing.T) {
	files := demoFiles(t)
	for args, inputs := range commandsOnFiles() {
		want := atStorage(faulty{memory: files, written: map[string]bool{}}, args)
		for _, name := range inputs {
			for _, reader := range []func(io.Reader) io.Reader{iotest.HalfReader, iotest.OneByteReader} {
				got := atStorage(faulty{memory: files, spoil: name, reader: reader, written: map[string]bool{}}, args)
				assert.Equal(t, want, got, "%s with short reads of %s", args, name)
				if testing.Short() || len(files[name]) > 20000 {
					break
				}
			}
		}
	}
}

// A medium that fails at any byte of any input ends every command with one
// error, no result and nothing written: at every byte of the first 40 and the
// last 10, and 20 between; at every byte of small files with DOSETONE_FULL=1.
func TestReadErrorsAtEveryByteEndInOneError(t *testing.T) {
	files := demoFiles(t)
	broken := errors.New("the medium is broken")
	full := os.Getenv("DOSETONE_FULL") != ""
	n := 0
	for args, inputs := range commandsOnFiles() {
		for _, name := range inputs {
			size := len(files[name])
			for at := 0; at <= size; at++ {
				if !(full && size < 20000) && at > 40 && at < size-10 && at%(1+size/20) != 0 {
					continue
				}
				f := faulty{memory: files, spoil: name, written: map[string]bool{},
					reader: func(r io.Reader) io.Reader {
						return io.MultiReader(io.LimitReader(r, int64(at)), iotest.ErrReader(broken))
					}}
				got := atStorage(f, args)
				oneError(t, got, "%s, %s broken at byte %d", args, name, at)
				require.Contains(t, got.err, "the medium is broken")
				require.Empty(t, f.written, "%s, %s broken at byte %d", args, name, at)
				n++
			}
		}
	}
	t.Logf("%d broken inputs", n)
}

func oneError(t *testing.T, r result, format string, args ...any) {
	t.Helper()
	require.Equal(t, exitFailed, r.code, append([]any{format}, args...)...)
	require.Empty(t, r.out, append([]any{format}, args...)...)
	require.Equal(t, 1, strings.Count(r.err, "dosetone: "), append([]any{format}, args...)...)
}

// A folder that cannot be written, a full disk and a failed rename: one error
// that says what, and no result on stdout that someone could take for done.
func TestFailedWritesEndInOneError(t *testing.T) {
	files := demoFiles(t)
	delete(files, "ledger.csv")
	for _, refuse := range []error{
		&fs.PathError{Op: "open", Path: "new.json", Err: syscall.EROFS},
		&fs.PathError{Op: "write", Path: "new.json", Err: syscall.ENOSPC},
		&os.LinkError{Op: "rename", Old: ".new.json.1.tmp", New: "new.json", Err: syscall.EPERM},
		&fs.PathError{Op: "open", Path: "new.json", Err: fs.ErrPermission},
	} {
		for _, args := range []string{
			"fit trials.csv -o new.json",
			"fit trials.csv -o new.json --format json",
			"fit trials.csv -o new.json --report new.html",
			"suggest model.json --target standard.csv --report new.html",
			"recalibrate model.json trials.csv -o new.json",
			"check lot.csv --standard standard.csv --model model.json --ledger ledger.csv",
			"check lot.csv --standard standard.csv --model model.json --ledger ledger.csv --format json",
		} {
			got := atStorage(faulty{memory: files, refuse: refuse, written: map[string]bool{}}, args)
			oneError(t, got, "%s: %v", args, refuse)
			require.Contains(t, got.err, errors.Unwrap(refuse).Error(), args)
		}
	}
}

// A full disk behind stdout is told by the exit code.
func TestFullStdout(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Skip("no /dev/full here")
	}
	defer full.Close()
	workspace(t)
	ok(t, "fit", "trials.csv", "-o", "model.json")
	for _, args := range []string{"predict model.json --settings settings.csv", "convert lots.csv --viewing D65/10 --format json", "demo"} {
		var errs bytes.Buffer
		code := run(context.Background(), strings.Fields(args), strings.NewReader(""), full, &errs)
		require.Equal(t, exitFailed, code, args)
		require.Contains(t, errs.String(), "no space left", args)
	}
	r := tool(t, "", "fit", "trials.csv", "-o", "/dev/full")
	require.Equal(t, exitFailed, r.code)
	require.Contains(t, r.err, "no space left")
	require.Empty(t, r.out)
}
