package atomic

import (
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Twenty writers that each read, add a byte and write lose nothing.
func TestLockLetsOneInAtATime(t *testing.T) {
	name := filepath.Join(t.TempDir(), "ledger.csv")
	require.NoError(t, os.WriteFile(name, nil, 0o644))
	var all sync.WaitGroup
	for range 20 {
		all.Go(func() {
			unlock, err := Lock(name, 20*time.Second)
			if !assertNoError(t, err) {
				return
			}
			data, err := os.ReadFile(name)
			assertNoError(t, err)
			assertNoError(t, WriteFile(name, append(data, 'x'), 0o644))
			assertNoError(t, unlock())
		})
	}
	all.Wait()
	data, err := os.ReadFile(name)
	require.NoError(t, err)
	require.Len(t, data, 20)
	onlyFile(t, filepath.Dir(name), "ledger.csv")
}

func assertNoError(t *testing.T, err error) bool {
	t.Helper()
	if err != nil {
		t.Error(err)
	}
	return err == nil
}

// A lock that a killed program left is taken over; one that is held is not.
func TestLockLeftBehindIsTakenOver(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("locks of killed programs stay there")
	}
	name := filepath.Join(t.TempDir(), "ledger.csv")
	require.NoError(t, os.WriteFile(name+".lock", []byte("held by process 999999999, long dead\n"), 0o644))
	unlock, err := Lock(name, time.Millisecond)
	require.NoError(t, err)
	_, err = Lock(name, 30*time.Millisecond)
	require.ErrorContains(t, err, name+" is in use by another run")
	require.NoError(t, unlock())
	_, err = os.Stat(name + ".lock")
	require.ErrorIs(t, err, os.ErrNotExist)
	_, err = Lock(filepath.Join(t.TempDir(), "no", "folder"), time.Millisecond)
	require.ErrorIs(t, err, os.ErrNotExist)
}
