package main

import (
	"bytes"
	"context"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge/quality"
)

// everyOutput are command lines that between them write all that the tool writes.
func everyOutput() []string {
	return []string{
		"fit trials.csv -o model.json --format json --report fit.html",
		"predict model.json --settings settings.csv --format json",
		"suggest model.json --target standard.csv --tolerance 1.5 --format json --report suggest.html",
		"check lot.csv --standard standard.csv --model model.json --format json --report check.html --ledger ledger.csv",
		"convert trials.csv --format json",
		"plan model.json --lab 48,-2.6,-9 --lots 4 --format json",
		"charge model.json --strength 6 --ratio 1.3 --time 14 --mass 50 --neutralizer bisulfite --format json",
	}
}

// The same inputs give the same bytes, whatever the number of processors: JSON,
// model file, reports, ledger.
func TestOutputsAreTheSameBytes(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	var first map[string]string
	for _, procs := range []int{1, 2, 2} {
		runtime.GOMAXPROCS(procs)
		workspace(t)
		got := map[string]string{}
		for _, args := range everyOutput() {
			r := tool(t, "", strings.Fields(args)...)
			require.Equal(t, exitDone, r.code, "%s: %s", args, r.err)
			got[args] = r.out + r.err
		}
		for _, name := range []string{"model.json", "fit.html", "suggest.html", "check.html", "ledger.csv"} {
			data, err := os.ReadFile(name)
			require.NoError(t, err)
			// A ledger holds when a lot was checked.
			got[name] = regexp.MustCompile(`\d{4}-\d\d-\d\dT[\d:]+Z`).ReplaceAllString(string(data), "then")
		}
		if first == nil {
			first = got
			continue
		}
		for name, text := range got {
			require.Equal(t, first[name], text, "%s differs with %d processors", name, procs)
		}
	}
}

// No folder, user or host name of the machine gets into what is written or
// said; only names as they were given.
func TestNothingOfTheMachineLeaks(t *testing.T) {
	workspace(t)
	here, err := os.Getwd()
	require.NoError(t, err)
	secrets := []string{here, filepath.Dir(here), os.TempDir() + "/"}
	if home, err := os.UserHomeDir(); err == nil && len(home) > 3 {
		secrets = append(secrets, home)
	}
	if host, err := os.Hostname(); err == nil && len(host) > 5 {
		secrets = append(secrets, host)
	}
	clean := func(what, text string) {
		for _, s := range secrets {
			require.NotContains(t, text, s, what)
		}
	}
	for _, args := range append(everyOutput(),
		"fit trials.csv", "suggest model.json --lab 48,-2.6,-9", "predict model.json --settings settings.csv --format csv", "demo", "--version",
		"fit missing.csv -o x.json", "fit settings.csv -o x.json", "fit trials.csv -o no/such/folder/x.json", "predict trials.csv --settings settings.csv",
		"check lot.csv --standard standard.csv --ledger no/such/ledger.csv", "convert swatch.png --region 1,1,9999,9999", "fit . -o x.json", "fit trials.csv -o .") {
		r := tool(t, "", strings.Fields(args)...)
		clean(args, r.out+r.err)
	}
	require.NoError(t, filepath.WalkDir(".", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(name)
		clean(name, string(data))
		return err
	}))
}

// A run leaves no goroutine behind.
func TestRunsLeaveNoGoroutine(t *testing.T) {
	workspace(t)
	ok(t, "fit", "trials.csv", "-o", "model.json") // what is made once and kept
	before := runtime.NumGoroutine()
	for _, args := range append(everyOutput(), "fit missing.csv -o x.json", "convert swatch.png") {
		tool(t, "", strings.Fields(args)...)
	}
	for range 100 {
		if runtime.NumGoroutine() <= before {
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Fatalf("%d goroutines before, %d after", before, runtime.NumGoroutine())
}

// The tool killed at random moments, while it adds a lot to a ledger and while it
// writes a model: the old or the new file, and every lot once when the run is
// repeated. DOSETONE_KILLS=500 for the long run.
func TestKilledRunsLoseNothing(t *testing.T) {
	if args := os.Getenv("DOSETONE_RUN"); args != "" {
		os.Exit(run(context.Background(), strings.Fields(args), strings.NewReader(""), os.Stdout, os.Stderr))
	}
	if runtime.GOOS == "windows" {
		t.Skip("locks of killed programs stay there")
	}
	kills := 8
	if n, err := strconv.Atoi(os.Getenv("DOSETONE_KILLS")); err == nil {
		kills = n
	}
	checkWorkspace(t)
	before, err := os.ReadFile("model.json")
	require.NoError(t, err)
	command := func(args string) *exec.Cmd {
		c := exec.Command(os.Args[0], "-test.run=^TestKilledRunsLoseNothing$")
		c.Env = append(os.Environ(), "DOSETONE_RUN="+args)
		return c
	}
	start := time.Now()
	require.NoError(t, command("check lot.csv --standard standard.csv --ledger ledger.csv").Run())
	long := time.Since(start)
	r := rand.New(rand.NewPCG(500, 10))
	lots := map[string]bool{"P101": true}
	killed := 0
	for i := range kills {
		id := fmt.Sprintf("K%d", i)
		require.NoError(t, os.WriteFile(id+".csv", bytes.ReplaceAll(productionOf("P101"), []byte("P101"), []byte(id)), 0o644))
		args := "check " + id + ".csv --standard standard.csv --ledger ledger.csv"
		if i%4 == 3 {
			args = "fit trials.csv -o model.json"
		}
		c := command(args)
		require.NoError(t, c.Start())
		time.Sleep(time.Duration((0.3 + 0.8*r.Float64()) * float64(long)))
		_ = c.Process.Kill()
		if c.Wait() != nil {
			killed++
		}
		data, err := os.ReadFile("model.json")
		require.NoError(t, err)
		require.Equal(t, string(before), string(data), "a fit of the same trials writes the same model")
		read := func() *quality.Ledger {
			data, err := os.ReadFile("ledger.csv")
			require.NoError(t, err)
			l, err := quality.ReadLedger("ledger.csv", bytes.NewReader(data))
			require.NoError(t, err)
			return l
		}
		for known := range lots {
			require.Contains(t, ledgerLots(read()), known)
		}
		if i%4 != 3 {
			require.NoError(t, command(args).Run(), "the run after the kill is not stopped by it")
			lots[id] = true
			require.Len(t, ledgerLots(read()), len(lots))
		}
	}
	t.Logf("%d of %d runs were killed before their end", killed, kills)
}

// ledgerLots are the lots of a ledger; reading refuses doubled ones.
func ledgerLots(l *quality.Ledger) []string {
	var ids []string
	for _, e := range l.Entries {
		ids = append(ids, e.Lot)
	}
	return ids
}
