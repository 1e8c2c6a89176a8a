// Package atomic writes files whole or not at all.
package atomic

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// WriteFile writes data to name: into a temporary file beside it, synced and
// then renamed, so that a reader, a full disk or a power cut finds either the
// old file or the new one. It follows no symbolic link: the name is replaced.
// A program that is killed meanwhile leaves its temporary file; a later write of
// the same name deletes those older than an hour. A device or a pipe, such as
// /dev/stdout or /dev/null, is written to and never replaced.
//
// A file that is there keeps its permissions; a new one gets perm less the umask.
func WriteFile(name string, data []byte, perm os.FileMode) (err error) {
	if info, err := os.Stat(name); err == nil && !info.Mode().IsRegular() && !info.IsDir() {
		return writeThrough(name, data)
	}
	dir := filepath.Dir(name)
	sweep(dir, filepath.Base(name))
	old, lerr := os.Lstat(name)
	there := lerr == nil && old.Mode().IsRegular()
	if there {
		perm = 0o600 // until the file has the old one's: nobody else may read it meanwhile
	}
	f, err := create(dir, filepath.Base(name), perm)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	if _, err = f.Write(data); err == nil && there {
		err = f.Chmod(old.Mode().Perm())
	}
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return err
	}
	if err = os.Rename(f.Name(), name); err != nil {
		return err
	}
	// The rename itself is safe once the folder is synced. Some systems cannot
	// sync a folder; the file is whole there all the same.
	if d, derr := os.Open(dir); derr == nil {
		_ = d.Sync()
		_ = d.Close()
	}
	return nil
}

// create opens a new temporary file for base. os.CreateTemp would make it for
// its owner alone, and what the umask allows could not be known afterwards.
func create(dir, base string, perm os.FileMode) (f *os.File, err error) {
	for n := range 10_000 {
		name := filepath.Join(dir, fmt.Sprintf(".%s.%d-%d.tmp", base, os.Getpid(), n))
		if f, err = os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, perm); !errors.Is(err, fs.ErrExist) {
			break
		}
	}
	return f, err
}

// writeThrough writes to what is no file.
func writeThrough(name string, data []byte) error {
	f, err := os.OpenFile(name, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	return err
}

// sweep deletes temporary files that killed programs left beside base.
func sweep(dir, base string) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return // the write itself will say why
	}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), "."+base+".") || !strings.HasSuffix(e.Name(), ".tmp") {
			continue
		}
		if info, err := e.Info(); err == nil && info.Mode().IsRegular() && time.Since(info.ModTime()) > time.Hour {
			_ = os.Remove(filepath.Join(dir, e.Name()))
		}
	}
}
