// Command mutate asks whether the tests of the core would notice a slip: it
// changes one operator, constant, sign, call or statement at a time and runs
// the tests. A change that they do not notice is a survivor. Survivors are
// listed with the reason in survivors.txt; any other makes the command fail, as
// does an area with less than 90 % noticed.
//
//	go run ./internal/mutate [-area NAME] [-sample N] [-v]
//
// All mutants of a package are compiled at once, as copies of their functions
// behind a switch that an environment variable sets; constants of the package
// are compiled one by one.
package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"
)

const (
	variable = "DOSETONE_MUTANT"
	needed   = 0.90
	memoryKB = 6 << 20 // address space of a test run: a loop that appends must end
)

func main() {
	only := flag.String("area", "", "only areas whose name contains this")
	sample := flag.Int("sample", 1, "take every Nth mutant")
	verbose := flag.Bool("v", false, "print every mutant")
	flag.Parse()
	if err := run(*only, *sample, *verbose, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
		os.Exit(1)
	}
}

func run(only string, sample int, verbose bool, w io.Writer) error {
	reasons, err := readSurvivors("internal/mutate/survivors.txt")
	if err != nil {
		return err
	}
	if sample < 1 {
		return errors.New("-sample must be at least 1")
	}
	var faults []error
	for _, a := range areas() {
		if !strings.Contains(a.name, only) {
			continue
		}
		s, err := a.judge(sample, verbose, w)
		if err != nil {
			return fmt.Errorf("%s: %w", a.name, err)
		}
		share := float64(s.killed) / float64(s.killed+len(s.alive))
		fmt.Fprintf(w, "%-28s %4d mutants, %4d noticed, %3d survive: %.1f %% (%d do not compile)\n", a.name, s.killed+len(s.alive), s.killed, len(s.alive), 100*share, s.invalid)
		if share < needed {
			faults = append(faults, fmt.Errorf("%s: %.1f %% noticed, want %.0f %%", a.name, 100*share, 100*needed))
		}
		for _, m := range s.alive {
			if reasons[m.key()] == "" {
				fmt.Fprintf(w, "survivor without a reason, line %d:\n%s\n", m.line, m.key())
				faults = append(faults, fmt.Errorf("%s: %s has no reason", a.name, m.key()))
			}
		}
		for _, m := range s.dead {
			if reasons[m.key()] != "" {
				fmt.Fprintf(w, "listed as survivor, but noticed: %s\n", m.key())
			}
		}
	}
	if len(faults) > 0 {
		return fmt.Errorf("%d faults, the first: %w", len(faults), faults[0])
	}
	return nil
}

// readSurvivors reads the list: a reason after "# ", then the mutants it holds
// for, one a line.
func readSurvivors(name string) (map[string]string, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	list := map[string]string{}
	reason := ""
	for s := bufio.NewScanner(f); s.Scan(); {
		line := strings.TrimSpace(s.Text())
		switch {
		case line == "" || strings.HasPrefix(line, "//"):
		case strings.HasPrefix(line, "# "):
			reason = strings.TrimPrefix(line, "# ")
		case reason == "":
			return nil, fmt.Errorf("%s: no reason above %q", name, line)
		default:
			list[line] = reason
		}
	}
	return list, nil
}

type score struct {
	killed, invalid int
	alive, dead     []*mutant
}

func (a area) judge(sample int, verbose bool, w io.Writer) (score, error) {
	var s score
	dir, err := os.MkdirTemp("", "mutate")
	if err != nil {
		return s, err
	}
	defer os.RemoveAll(dir)
	all, err := a.mutants(sample)
	if err != nil {
		return s, err
	}
	binary := filepath.Join(dir, "all.test")
	dropped, err := a.build(dir, binary, all)
	if err != nil {
		return s, err
	}
	s.invalid = len(dropped)
	start := time.Now()
	if noticed, err := a.test(binary, 0, time.Minute); err != nil || noticed {
		return s, fmt.Errorf("the tests fail without a mutant (%v)", err)
	}
	limit := 10*time.Since(start) + 5*time.Second
	for _, m := range all {
		if dropped[m] {
			continue
		}
		file := binary
		if m.fun == nil {
			file = filepath.Join(dir, "one.test")
			if bad, err := a.buildConstant(dir, file, m); err != nil {
				return s, err
			} else if bad {
				s.invalid++
				continue
			}
		}
		noticed, err := a.test(file, m.id, limit)
		if err != nil {
			return s, err
		}
		if noticed {
			s.killed++
			s.dead = append(s.dead, m)
		} else {
			s.alive = append(s.alive, m)
		}
		if verbose {
			fmt.Fprintln(w, map[bool]string{true: "noticed ", false: "SURVIVES"}[noticed], m.key())
		}
	}
	return s, nil
}

func (a area) mutants(sample int) ([]*mutant, error) {
	var all []*mutant
	for _, f := range a.sources {
		src, err := os.ReadFile(filepath.Join(a.pkg, f.file))
		if err != nil {
			return nil, err
		}
		list, _, err := find(f.file, src, f.funcs)
		if err != nil {
			return nil, err
		}
		all = append(all, list...)
	}
	var kept []*mutant
	for i, m := range all {
		m.id = i + 1
		if i%sample == 0 {
			kept = append(kept, m)
		}
	}
	return kept, nil
}

// build compiles the package's tests with all mutants that compile, and
// returns those that do not.
func (a area) build(dir, binary string, all []*mutant) (map[*mutant]bool, error) {
	dropped := map[*mutant]bool{}
	for range 8 {
		replace := map[string]string{}
		owner := map[string][]*mutant{} // by base name of the file
		for _, f := range a.sources {
			src, err := os.ReadFile(filepath.Join(a.pkg, f.file))
			if err != nil {
				return nil, err
			}
			_, fset, err := find(f.file, src, f.funcs)
			if err != nil {
				return nil, err
			}
			var list []*mutant
			for _, m := range all {
				if m.file == f.file && m.fun != nil && !dropped[m] {
					list = append(list, m)
				}
			}
			// Positions of m.fun belong to another parse of the same bytes; the
			// offsets agree because each file set holds one file.
			text, lines := schema(src, fset, list)
			owner[f.file] = lines
			if err := overlay(replace, dir, filepath.Join(a.pkg, f.file), text); err != nil {
				return nil, err
			}
		}
		pkg := filepath.Base(a.pkg)
		switcher := fmt.Sprintf("package %s\n\nimport (\n\"os\"\n\"strconv\"\n)\n\nvar mutantID = func() int { n, _ := strconv.Atoi(os.Getenv(%q)); return n }()\n", pkg, variable)
		if err := overlay(replace, dir, filepath.Join(a.pkg, "zz_mutant.go"), []byte(switcher)); err != nil {
			return nil, err
		}
		out, err := a.compile(dir, binary, replace)
		if err == nil {
			return dropped, nil
		}
		found := 0
		for _, m := range regexp.MustCompile(`([\w.]+\.go):(\d+):\d+: `).FindAllStringSubmatch(out, -1) {
			line, _ := strconv.Atoi(m[2])
			if lines := owner[m[1]]; line <= len(lines) && lines[line-1] != nil && !dropped[lines[line-1]] {
				dropped[lines[line-1]] = true
				found++
			}
		}
		if found == 0 {
			return nil, fmt.Errorf("does not compile: %s", out)
		}
	}
	return nil, errors.New("does not compile after 8 rounds")
}

func (a area) buildConstant(dir, binary string, m *mutant) (bad bool, err error) {
	name := filepath.Join(a.pkg, m.file)
	src, err := os.ReadFile(name)
	if err != nil {
		return false, err
	}
	replace := map[string]string{}
	if err := overlay(replace, dir, name, []byte(string(src[:m.from])+m.with+string(src[m.to:]))); err != nil {
		return false, err
	}
	out, err := a.compile(dir, binary, replace)
	if err != nil && !strings.Contains(out, m.file) {
		return false, fmt.Errorf("%s: %s", err, out)
	}
	return err != nil, nil
}

// overlay stores text in dir and notes that it stands in for the file name.
func overlay(replace map[string]string, dir, name string, text []byte) error {
	full, err := filepath.Abs(name)
	if err != nil {
		return err
	}
	stand := filepath.Join(dir, filepath.Base(name))
	replace[full] = stand
	return os.WriteFile(stand, text, 0o600)
}

func (a area) compile(dir, binary string, replace map[string]string) (string, error) {
	list, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		return "", err
	}
	file := filepath.Join(dir, "overlay.json")
	if err := os.WriteFile(file, list, 0o600); err != nil {
		return "", err
	}
	out, err := exec.Command("go", "test", "-c", "-vet=off", "-gcflags=-e", "-overlay", file, "-o", binary, "./"+a.pkg).CombinedOutput()
	return string(out), err
}

// test runs the tests with a mutant. A run that does not end is noticed too.
func (a area) test(binary string, id int, limit time.Duration) (noticed bool, err error) {
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	defer cancel()
	args := append([]string{"-c", fmt.Sprintf(`ulimit -v %d; exec "$0" "$@"`, memoryKB), binary, "-test.failfast", "-test.run", a.run}, a.args...)
	c := exec.CommandContext(ctx, "sh", args...)
	c.Dir = a.pkg
	c.Env = append(os.Environ(), variable+"="+strconv.Itoa(id))
	out, err := c.CombinedOutput()
	var exit *exec.ExitError
	switch {
	case err == nil && strings.Contains(string(out), "no tests to run"):
		return false, errors.New("no tests to run")
	case err == nil:
		return false, nil
	case errors.As(err, &exit) || ctx.Err() != nil:
		return true, nil
	}
	return false, err
}
