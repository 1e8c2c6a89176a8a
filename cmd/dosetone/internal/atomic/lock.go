package atomic

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"
)

// Lock takes the lock on name, a file beside it with ".lock" behind its name,
// and returns the function that gives it back. It waits for another holder up
// to the given time. A lock left behind by a program that was killed stays: the
// error says which file to delete.
func Lock(name string, wait time.Duration) (unlock func() error, err error) {
	lock := name + ".lock"
	deadline := time.Now().Add(wait)
	for {
		f, err := os.OpenFile(lock, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		switch {
		case err == nil:
			_, err = fmt.Fprintf(f, "held by process %d\n", os.Getpid())
			if cerr := f.Close(); err == nil {
				err = cerr
			}
			if err != nil {
				return nil, errors.Join(err, os.Remove(lock))
			}
			return func() error { return os.Remove(lock) }, nil
		case !errors.Is(err, fs.ErrExist):
			return nil, err
		case time.Now().After(deadline):
			return nil, fmt.Errorf("%s is in use by another run; if none is running, delete %s", name, lock)
		}
		time.Sleep(20 * time.Millisecond)
	}
}
