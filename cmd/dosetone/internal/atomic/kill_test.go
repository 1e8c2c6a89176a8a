package atomic

import (
	"bufio"
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// version is one whole file of about the size of a model.
func version(n int) []byte {
	return append(bytes.Repeat([]byte(fmt.Sprintf("%08d\n", n)), 10000), "end\n"...)
}

// writeUntilKilled rewrites a model and adds lines to a ledger without end. A
// line is told on stdout once it counts as written.
func writeUntilKilled(dir string, child int) {
	model, ledger := filepath.Join(dir, "model.json"), filepath.Join(dir, "ledger.csv")
	must := func(err error) {
		if err != nil {
			fmt.Println("error:", err)
			os.Exit(1)
		}
	}
	for i := 0; ; i++ {
		must(WriteFile(model, version(1000*child+i), 0o644))
		unlock, err := Lock(ledger, 5*time.Second)
		must(err)
		old, err := os.ReadFile(ledger)
		must(err)
		line := fmt.Sprintf("lot-%d-%d,accept\n", child, i)
		must(WriteFile(ledger, append(old, line...), 0o644))
		must(unlock())
		fmt.Print(line)
	}
}

// A program killed at any moment leaves the old or the new file, never a part;
// a ledger keeps every line that was told as written, once; and the lock of
// the dead does not stop the living. DOSETONE_KILLS=500 for the long run.
func TestKilledWritersLeaveWholeFiles(t *testing.T) {
	if dir := os.Getenv("DOSETONE_KILL_DIR"); dir != "" {
		child, _ := strconv.Atoi(os.Getenv("DOSETONE_KILL_CHILD"))
		writeUntilKilled(dir, child)
	}
	if runtime.GOOS == "windows" {
		t.Skip("locks of killed programs stay there")
	}
	kills := 30
	if n, err := strconv.Atoi(os.Getenv("DOSETONE_KILLS")); err == nil {
		kills = n
	}
	dir := t.TempDir()
	model, ledger := filepath.Join(dir, "model.json"), filepath.Join(dir, "ledger.csv")
	require.NoError(t, os.WriteFile(ledger, nil, 0o644))
	require.NoError(t, WriteFile(model, version(0), 0o644))
	r := rand.New(rand.NewPCG(500, 9))
	told := 0
	for child := 1; child <= kills; child++ {
		c := exec.Command(os.Args[0], "-test.run=^TestKilledWritersLeaveWholeFiles$")
		c.Env = append(os.Environ(), "DOSETONE_KILL_DIR="+dir, "DOSETONE_KILL_CHILD="+strconv.Itoa(child))
		out, err := c.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, c.Start())
		lines := bufio.NewScanner(out)
		require.True(t, lines.Scan(), "the child wrote nothing")
		first := lines.Text()
		delay := time.Duration(r.IntN(20000)) * time.Microsecond
		timer := time.AfterFunc(delay, func() { _ = c.Process.Kill() })
		acknowledged := []string{first}
		for lines.Scan() {
			acknowledged = append(acknowledged, lines.Text())
		}
		_ = c.Wait()
		timer.Stop()

		data, err := os.ReadFile(model)
		require.NoError(t, err)
		n, err := strconv.Atoi(string(data[:8]))
		require.NoError(t, err)
		require.Equal(t, version(n), data, "child %d: half a model", child)
		text, err := os.ReadFile(ledger)
		require.NoError(t, err)
		require.True(t, len(text) == 0 || text[len(text)-1] == '\n', "child %d: half a line", child)
		seen := map[string]bool{}
		for _, line := range strings.Split(strings.TrimSuffix(string(text), "\n"), "\n") {
			require.False(t, seen[line], "child %d: %s stands twice", child, line)
			require.True(t, strings.HasPrefix(line, "lot-") && strings.HasSuffix(line, ",accept"), "child %d: %q", child, line)
			seen[line] = true
		}
		for _, line := range acknowledged {
			if strings.HasSuffix(line, ",accept") { // the last may be cut by the kill
				require.True(t, seen[line], "child %d: %s was told as written and is lost", child, line)
				told++
			}
		}
	}
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	litter := 0
	for _, e := range entries {
		if strings.HasSuffix(e.Name(), ".tmp") {
			litter++
			old := time.Now().Add(-2 * time.Hour)
			require.NoError(t, os.Chtimes(filepath.Join(dir, e.Name()), old, old))
		}
	}
	t.Logf("%d kills, %d lines written; %d hidden temporary files left", kills, told, litter)
	// The next writer sweeps up what is old.
	require.NoError(t, WriteFile(model, version(1), 0o644))
	require.NoError(t, WriteFile(ledger, nil, 0o644))
	entries, err = os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		require.False(t, strings.HasSuffix(e.Name(), ".tmp"), e.Name())
	}
}
