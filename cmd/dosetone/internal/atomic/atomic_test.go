package atomic

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestWriteFileReplacesWhole(t *testing.T) {
	name := filepath.Join(t.TempDir(), "model.json")
	require.NoError(t, WriteFile(name, []byte("first, and longer"), 0o644))
	require.NoError(t, WriteFile(name, []byte("second"), 0o644))
	got, err := os.ReadFile(name)
	require.NoError(t, err)
	require.Equal(t, "second", string(got))
	onlyFile(t, filepath.Dir(name), "model.json")
}

func TestWriteFileLeavesNothingBehindOnFailure(t *testing.T) {
	dir := t.TempDir()
	taken := filepath.Join(dir, "taken") // a folder cannot be replaced by a file
	require.NoError(t, os.MkdirAll(filepath.Join(taken, "sub"), 0o755))
	require.Error(t, WriteFile(taken, []byte("x"), 0o644))
	onlyFile(t, dir, "taken")
	require.Error(t, WriteFile(filepath.Join(dir, "missing", "x"), []byte("x"), 0o644))
}

func onlyFile(t *testing.T, dir, name string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, entries, 1)
	require.Equal(t, name, entries[0].Name())
}

// /dev/full takes nothing and says so; as root, a rename would have put a file
// in its place.
func TestWriteFileNeverReplacesADevice(t *testing.T) {
	info, err := os.Stat("/dev/full")
	if err != nil || info.Mode()&os.ModeCharDevice == 0 {
		t.Skip("no /dev/full here")
	}
	link := filepath.Join(t.TempDir(), "link")
	require.NoError(t, os.Symlink("/dev/full", link))
	for _, name := range []string{"/dev/full", link} {
		require.ErrorContains(t, WriteFile(name, []byte("x"), 0o644), "no space left")
	}
	after, err := os.Stat("/dev/full")
	require.NoError(t, err)
	require.Equal(t, info.Mode(), after.Mode())
	require.NoError(t, WriteFile(os.DevNull, []byte("x"), 0o644))
	// A folder in which not even root may write.
	require.Error(t, WriteFile("/proc/dosetone", []byte("x"), 0o644))
}
