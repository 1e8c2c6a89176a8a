//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package atomic

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

// A new file is as open as the umask lets it be, an old one as open as it was.
func TestWriteFileKeepsPermissions(t *testing.T) {
	mode := func(name string) os.FileMode {
		info, err := os.Stat(name)
		require.NoError(t, err)
		return info.Mode().Perm()
	}
	before := syscall.Umask(0o022)
	defer syscall.Umask(before)
	for umask, want := range map[int]os.FileMode{0o022: 0o644, 0o077: 0o600, 0o002: 0o644} {
		syscall.Umask(umask)
		name := filepath.Join(t.TempDir(), "model.json")
		require.NoError(t, WriteFile(name, []byte("x"), 0o644))
		require.Equal(t, want, mode(name), "umask %o", umask)
		for _, own := range []os.FileMode{0o600, 0o640, 0o664} {
			require.NoError(t, os.Chmod(name, own))
			require.NoError(t, WriteFile(name, []byte("y"), 0o644))
			require.Equal(t, own, mode(name), "umask %o", umask)
		}
	}
}
