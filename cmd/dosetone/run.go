package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
)

// Exit codes.
const (
	exitDone    = 0
	exitFailed  = 1
	exitUsage   = 2
	exitOutside = 3 // check rejected a lot
)

// exitWords say what the exit codes mean.
const exitWords = `Exit codes: 0 done, 1 failed (a file, the data, or interrupted), 2 wrong use,
3 check rejected a lot. Results go to standard output, all else to standard error.`

// run executes one command line and returns the exit code: results go to
// stdout, warnings and errors to stderr.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	return newEnv(ctx, stdin, stdout, stderr).runOn(args)
}

// runOn is run in a world of its own.
func (e *env) runOn(args []string) int {
	err := e.execute(args)
	if err == nil {
		return exitDone
	}
	fmt.Fprintf(e.stderr, "dosetone: %s\n", report.Visible([]byte(err.Error())))
	var failed *failure
	var outside *errOutside
	switch {
	case errors.As(err, &outside):
		return exitOutside
	case errors.As(err, &failed):
		return exitFailed
	}
	return exitUsage
}

// failure marks an error of the work itself. Every other error that reaches
// run is wrong use: cobra's own about commands, arguments and flags, and ours
// made by usage.
type failure struct{ error }

func (f *failure) Unwrap() error { return f.error }

// usageError marks an error of use where work would count it as failure.
type usageError struct{ error }

func (u usageError) Unwrap() error { return u.error }

func usage(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// work wraps what a command does, so that its errors count as failures unless
// they say that the use was wrong.
func (e *env) work(do func(cmd *cobra.Command, args []string) error) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, args []string) error {
		err := e.ctx.Err()
		if err == nil {
			err = e.openResults(cmd)
		}
		if err == nil {
			err = e.keepApart(cmd, args)
		}
		e.sayCommas(cmd)
		if err == nil {
			done := func() {}
			if isTerminal(e.stderr) && !e.quiet {
				s := &statusLine{w: e.stderr}
				e.stderr = s
				done = progress(s, cmd.CommandPath(), patience)
			}
			err = do(cmd, args)
			done()
		}
		if err == nil {
			if err = e.flush(); err == nil {
				return nil
			}
		}
		var outside *errOutside
		if errors.As(err, &outside) { // a result, not a failure of the work
			if ferr := e.flush(); ferr != nil {
				return &failure{ferr}
			}
			return outside
		}
		if errors.Is(err, context.Canceled) {
			err = errors.New("interrupted; nothing was written")
		}
		var u usageError
		if errors.As(err, &u) {
			return err
		}
		return &failure{err}
	}
}

// execute builds the command tree and runs it. The factors of the built-in
// processes are flags of predict and suggest; when a flag is not known, a model or
// process file among the arguments may be of a process of the user's own, whose
// factors then are flags too.
func (e *env) execute(args []string) error {
	err := e.tree(args, discharge.Processes()).ExecuteContext(e.ctx)
	var unknown *pflag.NotExistError
	if errors.As(err, &unknown) {
		if own, ok := e.processNamed(args); ok {
			err = e.tree(args, append(discharge.Processes(), own)).ExecuteContext(e.ctx)
		}
	}
	return err
}

func (e *env) tree(args []string, processes []discharge.Process) *cobra.Command {
	root := newRoot(e, processes)
	root.SetArgs(args)
	root.SetIn(e.stdin)
	root.SetOut(e.stdout)
	root.SetErr(e.stderr)
	return root
}

// processNamed looks for a process that is not built in among args: a model of one, or its
// file.
func (e *env) processNamed(args []string) (discharge.Process, bool) {
	for _, a := range args {
		a = strings.TrimPrefix(a, "--process-file=")
		if len(a) == 0 || a[0] == '-' {
			continue
		}
		if p, err := e.readProcess(a); err == nil {
			return *p, true
		}
		if m, err := e.model(a); err == nil && !builtIn(m.Process()) {
			return m.Process(), true
		}
	}
	return discharge.Process{}, false
}

// version names the build: the module's version, the revision it was built from
// and whether files were changed since, the compiler and the platform.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	return describe(info)
}

func describe(info *debug.BuildInfo) string {
	v := cmp.Or(info.Main.Version, "(devel)")
	set := map[string]string{}
	for _, s := range info.Settings {
		set[s.Key] = s.Value
	}
	if r := set["vcs.revision"]; r != "" {
		v += " revision " + r[:min(len(r), 12)]
		if set["vcs.modified"] == "true" {
			v += " with changes"
		}
	}
	v += " " + info.GoVersion
	if set["GOOS"] != "" {
		v += " " + set["GOOS"] + "/" + set["GOARCH"]
	}
	return v
}
