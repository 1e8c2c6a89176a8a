package atomic

import (
	"fmt"
	"os"
	"time"
)

// Lock takes the lock on name, a file beside it with ".lock" behind its name,
// and returns the function that gives it back. It waits for another holder up
// to the given time.
//
// Where the system has advisory locks (Linux, macOS, BSD), a program that was
// killed holds nothing: the file that it left is taken over. Elsewhere such a
// file stays, and the error says which to delete.
func Lock(name string, wait time.Duration) (unlock func() error, err error) {
	lock := name + ".lock"
	deadline := time.Now().Add(wait)
	for {
		unlock, err := tryLock(lock)
		if err != nil {
			return nil, err
		}
		if unlock != nil {
			return unlock, nil
		}
		if time.Now().After(deadline) {
			return nil, fmt.Errorf("%s is in use by another run%s", name, inUse(lock))
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// note writes whose lock it is, for people who look.
func note(f *os.File) error {
	_, err := fmt.Fprintf(f, "held by process %d\n", os.Getpid())
	return err
}
