//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package atomic

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
)

// tryLock returns nil when another program holds the lock. The system frees
// the lock of a program that ends in whatever way.
func tryLock(lock string) (unlock func() error, err error) {
	f, err := os.OpenFile(lock, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, err
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		if errors.Is(err, syscall.EWOULDBLOCK) || errors.Is(err, syscall.EINTR) {
			return nil, nil
		}
		return nil, &fs.PathError{Op: "lock", Path: lock, Err: err}
	}
	// The holder before may have deleted this very file between our open and
	// our lock: then another may hold one of the same name.
	own, err := f.Stat()
	if err == nil {
		var now os.FileInfo
		if now, err = os.Stat(lock); errors.Is(err, fs.ErrNotExist) || err == nil && !os.SameFile(own, now) {
			return nil, f.Close()
		}
	}
	if err == nil {
		err = f.Truncate(0)
	}
	if err == nil {
		err = note(f)
	}
	if err != nil {
		return nil, errors.Join(err, os.Remove(lock), f.Close())
	}
	return func() error { return errors.Join(os.Remove(lock), f.Close()) }, nil
}

// inUse says what to do when the lock cannot be had.
func inUse(string) string { return ": wait until that run has ended" }
