package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/tables"
)

// env is the world of one command line.
type env struct {
	ctx      context.Context
	stdin    io.Reader
	stdout   io.Writer
	stderr   io.Writer
	files    storage
	swatches bool // the terminal shows colors, and may

	format  format
	quiet   bool
	tables  tableFlags
	results resultFlags

	out       bytes.Buffer // results, written to stdout when the work is done
	warned    map[string]bool
	stdinUsed bool
	named     []namedFile // files on the command line
	// part says that the command line is one of several whose output is read
	// together, as in demo: cautions then come once, at the end.
	part bool
}

func newEnv(ctx context.Context, stdin io.Reader, stdout, stderr io.Writer) *env {
	return &env{ctx: ctx, stdin: stdin, stdout: stdout, stderr: stderr, files: disk{}, swatches: trueColor(stdout),
		format: formatText, warned: map[string]bool{}}
}

// trueColor reports whether w is a terminal that shows 24-bit color and the
// user did not ask for none (no-color.org).
func trueColor(w io.Writer) bool {
	if !isTerminal(w) || os.Getenv("NO_COLOR") != "" {
		return false
	}
	c := os.Getenv("COLORTERM")
	return c == "truecolor" || c == "24bit" || strings.HasSuffix(os.Getenv("TERM"), "-direct")
}

// swatch is a block in the color of a shade, or "" where it cannot be shown.
// The shade is shown as if the screen's white were that of its viewing.
func (e *env) swatch(c colorimetry.Lab) string {
	if !e.swatches {
		return ""
	}
	rgb, _ := colorimetry.LabToSRGB(c)
	q := rgb.Quantize()
	return fmt.Sprintf("\x1b[48;2;%d;%d;%dm    \x1b[0m", q.R, q.G, q.B)
}

// swatchText is what swatch writes.
const swatchText = `\x1b\[48;2;[0-9]+;[0-9]+;[0-9]+m    \x1b\[0m`

// visible is text as a terminal may get it: names from files give it no orders.
func (e *env) visible(text []byte) []byte {
	if !e.swatches {
		return report.Visible(text)
	}
	var out []byte
	from := 0
	for _, at := range regexp.MustCompile(swatchText).FindAllIndex(text, -1) {
		out = append(append(out, report.Visible(text[from:at[0]])...), text[at[0]:at[1]]...)
		from = at[1]
	}
	return append(out, report.Visible(text[from:])...)
}

// warn writes a warning once.
func (e *env) warn(format string, args ...any) {
	s := fmt.Sprintf(format, args...)
	if e.quiet || e.warned[s] {
		return
	}
	e.warned[s] = true
	fmt.Fprintf(e.stderr, "warning: %s\n", report.Visible([]byte(s)))
}

// warnFraction doubts a flag in percent whose value would rather be a fraction.
func (e *env) warnFraction(flag string, n number) {
	if doubt := fractionDoubt(flag, n); doubt != "" {
		e.warn("%s", doubt)
	}
}

// refuseFraction refuses a fraction in a flag in percent of what is never as weak as
// one percent, so that nobody weighs a hundred times too much.
func refuseFraction(flag string, n number) error {
	if n.set && n.value > 0 && n.value <= 1 {
		return usage("--%s is in percent: %s %% is less than any that is sold or measured; for the fraction %[2]s give --%[1]s %[3]s", flag, report.Exact(n.value), report.Short(100*n.value, 6))
	}
	return nil
}

// fractionDoubt is what to say of a flag in percent whose value would rather be a
// fraction; "" otherwise.
func fractionDoubt(flag string, n number) string {
	if n.set && n.value > 0 && n.value <= 1 {
		return fmt.Sprintf("--%s is in percent: %s is taken as %[2]s %%; if the fraction was meant, give --%[1]s %[3]s", flag, report.Exact(n.value), report.Short(100*n.value, 6))
	}
	return ""
}

// sayCommas says what was taken for numbers with a decimal comma: in the flags
// that are lists a comma separates, and 1,000 may have been meant as a thousand.
func (e *env) sayCommas(cmd *cobra.Command) {
	cmd.Flags().Visit(func(f *pflag.Flag) {
		if n, ok := f.Value.(interface{ itself() *number }); ok && n.itself().comma != "" {
			e.warn("--%s %s is taken as %s", f.Name, n.itself().comma, report.Exact(n.itself().value))
		}
	})
}

func (e *env) warnAll(errs []error) {
	for _, err := range errs {
		e.warn("%v", err)
	}
}

// inWords are errors in words, for JSON: never nil.
func inWords(errs []error) []string {
	words := make([]string, len(errs))
	for i, err := range errs {
		words[i] = err.Error()
	}
	return words
}

func (e *env) warnEach(words []string) {
	for _, w := range words {
		e.warn("%s", w)
	}
}

// printf adds to the results.
func (e *env) printf(format string, args ...any) { fmt.Fprintf(&e.out, format, args...) }

// textWidth is the width to which prose is wrapped.
const textWidth = 96

// wrap adds prose to the results; first and rest begin its first line and the others.
func (e *env) wrap(text, first, rest string) {
	e.printf("%s", report.Wrap(text, first, rest, textWidth))
}

// flush writes the results.
func (e *env) flush() error {
	err := e.writeResults()
	e.out.Reset()
	return err
}

// read returns a whole input; "-" is stdin, which can be read once.
func (e *env) read(name string) ([]byte, error) {
	var r io.Reader
	if name == "-" {
		if e.stdinUsed {
			return nil, usage("only one input can be - (standard input)")
		}
		e.stdinUsed = true
		r = e.stdin
	} else {
		f, err := e.files.open(name)
		if err != nil {
			return nil, fileError(err)
		}
		defer f.Close()
		r = f
	}
	return readAll(e.ctx, r)
}

// write saves a file, whole or not at all, and says what to do where its folder is
// missing.
func (e *env) write(name string, data []byte) error {
	err := e.files.write(name, data)
	var p *fs.PathError
	if errors.As(err, &p) && errors.Is(err, fs.ErrNotExist) {
		return errors.New(filepath.Dir(name) + ": there is no such folder; make it first")
	}
	return err
}

// readAll reads everything, or ends with ctx: a pipe may never bring anything.
func readAll(ctx context.Context, r io.Reader) ([]byte, error) {
	type result struct {
		data []byte
		err  error
	}
	done := make(chan result, 1)
	go func() {
		// One byte more than the largest that any reader takes, so that it says so.
		data, err := io.ReadAll(io.LimitReader(r, discharge.MaxFileBytes+1))
		done <- result{data, err}
	}()
	select {
	case r := <-done:
		return r.data, r.err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// fileError says what to do about the usual fault.
func fileError(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) && errors.Is(err, fs.ErrNotExist) {
		return &noFile{p.Path, err}
	}
	return err
}

type noFile struct {
	name string
	error
}

func (n *noFile) Error() string { return n.name + ": there is no such file" }

func (n *noFile) Unwrap() error { return n.error }

// shown is the name of an input in messages.
func shown(name string) string {
	if name == "-" {
		return "stdin"
	}
	return name
}

// sheet reads a table.
func (e *env) sheet(name string) (*discharge.Sheet, error) {
	data, err := e.read(name)
	if err != nil {
		return nil, err
	}
	return e.parse(name, data)
}

// parse makes a sheet of a table's bytes, in any format that package tables reads.
func (e *env) parse(name string, data []byte) (*discharge.Sheet, error) {
	s, err := e.parseAs(name, data, e.tables.wide)
	if err != nil {
		return nil, err
	}
	return e.tables.condition.of(s)
}

// parseAs is parse for a table that may be turned, or never is.
func (e *env) parseAs(name string, data []byte, wide bool) (*discharge.Sheet, error) {
	opt := tables.Options{Wide: wide, Condition: discharge.Condition(e.tables.condition)}
	switch n := len(e.tables.sheets); {
	case n > 0 && tables.HasParts(data):
		opt.Part = e.tables.sheets[min(e.tables.next, n-1)]
		e.tables.next++
	case n > 0:
		e.warn("%s: a CSV file has no sheets; --sheet does not concern it", shown(name))
	}
	return tables.Read(shown(name), data, opt)
}

// model loads a model file.
func (e *env) model(name string) (*discharge.Model, error) {
	data, err := e.read(name)
	if err != nil {
		return nil, err
	}
	return loadModel(name, data)
}

func loadModel(name string, data []byte) (*discharge.Model, error) {
	m, err := discharge.Load(bytes.NewReader(data))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", shown(name), err)
	}
	return m, nil
}
