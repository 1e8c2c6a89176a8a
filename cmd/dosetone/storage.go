package main

import (
	"bytes"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/atomic"
)

// storage is where files are: the disk, or the memory in which demo works.
type storage interface {
	open(name string) (io.ReadCloser, error)
	write(name string, data []byte) error
	same(a, b string) bool // whether two names are of one file
}

type disk struct{}

func (disk) open(name string) (io.ReadCloser, error) {
	if info, err := os.Stat(name); err == nil && info.IsDir() {
		return nil, fmt.Errorf("%s is a folder: name a file in it", shown(name))
	}
	return os.Open(name)
}

func (disk) write(name string, data []byte) error { return atomic.WriteFile(name, data, 0o644) }

// same reports whether two names are of one file, through links, too. What is no
// file, such as /dev/null, may be named as often as one likes.
func (disk) same(a, b string) bool {
	x, errX := os.Stat(a)
	y, errY := os.Stat(b)
	if errX != nil || errY != nil {
		return errX != nil && errY != nil && resolved(a) == resolved(b)
	}
	return os.SameFile(x, y) && (x.Mode().IsRegular() || x.IsDir())
}

// resolved is the full name of a file that need not be there yet.
func resolved(name string) string {
	full, err := filepath.Abs(name)
	if err != nil {
		return filepath.Clean(name)
	}
	if dir, err := filepath.EvalSymlinks(filepath.Dir(full)); err == nil {
		return filepath.Join(dir, filepath.Base(full))
	}
	return full
}

// memory holds files by name.
type memory map[string][]byte

func (m memory) open(name string) (io.ReadCloser, error) {
	data, ok := m[name]
	if !ok {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	return io.NopCloser(bytes.NewReader(data)), nil
}

func (m memory) write(name string, data []byte) error {
	m[name] = slices.Clone(data)
	return nil
}

func (m memory) same(a, b string) bool { return filepath.Clean(a) == filepath.Clean(b) }

// save writes every file into a folder, which is made if need be. Files that are
// there with other content are somebody's: without overwrite they are an error,
// and nothing is written.
func (m memory) save(dir string, overwrite bool) ([]string, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	names := slices.Sorted(maps.Keys(m))
	var others []string
	for _, name := range names {
		if data, err := os.ReadFile(filepath.Join(dir, name)); err == nil && !bytes.Equal(data, m[name]) {
			others = append(others, name)
		}
	}
	if len(others) > 0 && !overwrite {
		return nil, usage("%s has files of other content under the names that are to be written: %s; name another folder, or replace them with --overwrite",
			filepath.Clean(dir), strings.Join(others, ", "))
	}
	for _, name := range names {
		if err := (disk{}).write(filepath.Join(dir, name), m[name]); err != nil {
			return nil, err
		}
	}
	return names, nil
}
