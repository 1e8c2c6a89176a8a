// Command batch predicts every row of a settings table with a model file and
// writes a table of shades, on all cores, in order, and in flat memory: a
// million rows take no more than some thousand.
//
//	go run ./examples/batch model.json < settings.csv > shades.csv
//
// The table is any that dosetone predict takes: columns named as in the trial
// table, strength_pct, ratio, time_min, and id or lot if wanted; decimal comma
// with semicolons.
package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime"
	"strconv"
	"strings"

	"example.com/dosetone/discharge"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "batch: want one argument, the model file; settings come from standard input")
		os.Exit(2)
	}
	f, err := os.Open(os.Args[1])
	if err == nil {
		err = run(ctx, f, os.Stdin, os.Stdout, os.Stderr)
		f.Close()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "batch:", err)
		os.Exit(1)
	}
}

// answer is what became of one piece of the table.
type answer struct {
	text     []byte
	warnings []error
	err      error
}

// run hands the pieces of the table to as many goroutines as there are cores
// and writes their answers in the table's order, and warnings once.
func run(ctx context.Context, modelFile, settings io.Reader, w, warnings io.Writer) error {
	model, err := discharge.Load(modelFile)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	// The queue holds places for answers in order; its length bounds how far
	// reading runs ahead of writing.
	queue := make(chan chan answer, 2*runtime.GOMAXPROCS(0))
	go read(ctx, model, settings, queue)
	out := bufio.NewWriterSize(w, 1<<16)
	if _, err := out.WriteString("id," + strings.Join(columns(model), ",") + ",L,a,b,delta_e_p95,extrapolated\n"); err != nil {
		return err
	}
	warned := map[string]bool{}
	for place := range queue {
		a := <-place
		for _, err := range a.warnings {
			if !warned[err.Error()] {
				warned[err.Error()] = true
				fmt.Fprintln(warnings, "warning:", err)
			}
		}
		if a.err != nil {
			return errors.Join(a.err, out.Flush()) // the rows before the fault are whole
		}
		if _, err := out.Write(a.text); err != nil {
			return err
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	return out.Flush()
}

// read cuts the table into pieces and starts the work on each.
func read(ctx context.Context, model *discharge.Model, settings io.Reader, queue chan<- chan answer) {
	defer close(queue)
	stream := discharge.NewSettingsStream("stdin", settings, model.Process())
	for {
		piece, err := stream.Next()
		if err == io.EOF {
			return
		}
		place := make(chan answer, 1)
		select {
		case queue <- place:
		case <-ctx.Done():
			return
		}
		if err != nil {
			place <- answer{err: err}
			return
		}
		go func() { place <- predict(model, piece) }()
	}
}

// columns are the factors that can be given.
func columns(model *discharge.Model) []string {
	var names []string
	for _, f := range model.Factors() {
		names = append(names, f.Column)
	}
	return names
}

// predict answers one piece.
func predict(model *discharge.Model, piece *discharge.SettingsPiece) (a answer) {
	list, err := piece.Parse()
	if err != nil {
		return answer{err: err}
	}
	names := columns(model)
	a.warnings = list.Warnings
	a.text = make([]byte, 0, 64*len(list.Items))
	row := make([]byte, 0, 128)
	for _, r := range list.Items {
		p, err := model.Predict(r.Settings)
		if err != nil {
			a.err = &discharge.RowError{File: "stdin", Row: r.Row, Err: err}
			return a
		}
		row = appendText(row[:0], r.ID)
		for _, c := range names {
			row = append(row, ',')
			if v, ok := r.Settings[c]; ok {
				row = strconv.AppendFloat(row, v, 'g', -1, 64)
			}
		}
		for _, v := range [4]float64{p.Shade.L, p.Shade.A, p.Shade.B, p.DeltaEP95} {
			row = strconv.AppendFloat(append(row, ','), v, 'f', 2, 64)
		}
		row = strconv.AppendBool(append(row, ','), p.Extrapolated)
		a.text = append(append(a.text, row...), '\n')
	}
	return a
}

// appendText writes a cell that came from outside: quoted where need be, and
// with an apostrophe before what a spreadsheet would take for a formula.
func appendText(row []byte, s string) []byte {
	if s == "" {
		return row
	}
	if strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		s = "'" + s
	}
	if s[0] != '#' && !strings.ContainsAny(s, "\",\n\r") {
		return append(row, s...)
	}
	var b strings.Builder
	_ = discharge.WriteCSV(&b, [][]string{{s}}) // a strings.Builder does not fail
	return append(row, strings.TrimSuffix(b.String(), "\n")...)
}
