package atomic

import (
	"os"
	"path/filepath"
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

func TestLockLeftBehindIsNamed(t *testing.T) {
	name := filepath.Join(t.TempDir(), "ledger.csv")
	require.NoError(t, os.WriteFile(name+".lock", nil, 0o644))
	_, err := Lock(name, time.Millisecond)
	require.ErrorContains(t, err, "delete "+name+".lock")
	_, err = Lock(filepath.Join(t.TempDir(), "no", "folder"), time.Millisecond)
	require.ErrorIs(t, err, os.ErrNotExist)
}
