//go:build !(linux || darwin || freebsd || netbsd || openbsd || dragonfly)

package atomic

import (
	"errors"
	"io/fs"
	"os"
)

// tryLock returns nil when the lock file exists.
func tryLock(lock string) (unlock func() error, err error) {
	f, err := os.OpenFile(lock, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	err = note(f)
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return nil, errors.Join(err, os.Remove(lock))
	}
	return func() error { return os.Remove(lock) }, nil
}

// inUse says what to do when the lock cannot be had.
func inUse(lock string) string { return "; if none is running, delete " + lock }
