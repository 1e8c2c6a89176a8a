// Package atomic writes files whole or not at all.
package atomic

import (
	"os"
	"path/filepath"
)

// WriteFile writes data to name: into a temporary file beside it, synced and
// then renamed, so that a reader, a full disk or a power cut finds either the
// old file or the new one. It follows no symbolic link: the name is replaced.
func WriteFile(name string, data []byte, perm os.FileMode) (err error) {
	dir := filepath.Dir(name)
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
