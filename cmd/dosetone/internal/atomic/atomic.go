// Package atomic writes files whole or not at all.
package atomic

import (
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
func WriteFile(name string, data []byte, perm os.FileMode) (err error) {
	if info, err := os.Stat(name); err == nil && !info.Mode().IsRegular() && !info.IsDir() {
		return writeThrough(name, data)
	}
	dir := filepath.Dir(name)
	sweep(dir, filepath.Base(name))
	f, err := os.CreateTemp(dir, "."+filepath.Base(name)+".*.tmp")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	if _, err = f.Write(data); err == nil {
		err = f.Chmod(perm)
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
