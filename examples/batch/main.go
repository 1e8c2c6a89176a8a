// Command batch predicts every row of a settings table with a model file and
// writes a table of shades: rows in, rows out, nothing kept in memory.
//
//	go run ./examples/batch model.json < settings.csv > shades.csv
//
// The columns are named as in the trial table: strength_pct, ratio, time_min.
package main

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"

	"example.com/dosetone/discharge"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "batch: want one argument, the model file; settings come from standard input")
		os.Exit(2)
	}
	f, err := os.Open(os.Args[1])
	if err == nil {
		err = run(f, bufio.NewReader(os.Stdin), os.Stdout)
		f.Close()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "batch:", err)
		os.Exit(1)
	}
}

func run(modelFile, settings io.Reader, w io.Writer) error {
	model, err := discharge.Load(modelFile)
	if err != nil {
		return err
	}
	in := csv.NewReader(settings)
	in.Comment = '#'
	in.ReuseRecord = true
	record, err := in.Read()
	if err != nil {
		return fmt.Errorf("header of the settings: %w", err)
	}
	columns := append([]string(nil), record...)
	for _, c := range columns {
		if _, ok := model.Process().Factor(c); !ok {
			return fmt.Errorf("column %q is no factor of %s", c, model.Process().ID)
		}
	}
	out := csv.NewWriter(w)
	header := append(append([]string(nil), columns...), "L", "a", "b", "delta_e_p95", "extrapolated")
	if err := out.Write(header); err != nil {
		return err
	}
	s := discharge.Settings{}
	for {
		record, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		line, _ := in.FieldPos(0)
		for i, c := range columns {
			if s[c], err = strconv.ParseFloat(record[i], 64); err != nil {
				return fmt.Errorf("line %d, column %s: %w", line, c, err)
			}
		}
		p, err := model.Predict(s)
		if err != nil {
			return fmt.Errorf("line %d: %w", line, err)
		}
		row := append([]string(nil), record...)
		for _, v := range []float64{p.Shade.L, p.Shade.A, p.Shade.B, p.DeltaEP95} {
			row = append(row, strconv.FormatFloat(v, 'f', 2, 64))
		}
		if err := out.Write(append(row, strconv.FormatBool(p.Extrapolated))); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}
