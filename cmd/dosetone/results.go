package main

import (
	"cmp"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"example.com/dosetone/cmd/dosetone/internal/report"
)

// format is the form of the results.
type format string

const (
	formatText format = "text"
	formatJSON format = "json"
	formatCSV  format = "csv"
	formatXLSX format = "xlsx" // until openResults
)

func (f *format) String() string { return string(cmp.Or(*f, formatText)) }

func (f *format) Type() string { return "text|json|csv|xlsx" }

func (f *format) Set(s string) error {
	switch v := format(strings.ToLower(s)); v {
	case formatText, formatJSON, formatCSV, formatXLSX:
		*f = v
		return nil
	}
	return errors.New("want text, json, csv or xlsx")
}

// resultFlags say where results go.
type resultFlags struct {
	file     string // "" means standard output
	workbook bool   // tables are written as XLSX
}

// openResults settles format and place of the results before any work is done.
// A file's ending says the format.
func (e *env) openResults(cmd *cobra.Command) error {
	if e.results.file != "" {
		if e.results.file == "-" {
			return usage("--results - is not possible: results go to standard output when no file is named")
		}
		ext := strings.ToLower(filepath.Ext(e.results.file))
		f, ok := map[string]format{".csv": formatCSV, ".json": formatJSON, ".xlsx": formatXLSX, ".txt": formatText}[ext]
		if !ok {
			return usage("--results %s: the ending says the format; want .csv, .xlsx, .json or .txt", e.results.file)
		}
		if cmd.Flags().Changed("format") && f != e.format {
			return usage("--results %s and --format %s contradict each other", e.results.file, string(e.format))
		}
		e.format = f
	}
	if e.format == formatXLSX {
		if e.results.file == "" && isTerminal(e.stdout) {
			return usage("a workbook is not for a terminal: name a file, such as --results results.xlsx")
		}
		e.format, e.results.workbook = formatCSV, true // the same tables
	}
	return nil
}

// rows writes a table of results as CSV, or as the workbook asked for.
func (e *env) rows(rows [][]any) error {
	if e.results.workbook {
		return report.XLSX(&e.out, "results", rows)
	}
	return report.CSV(&e.out, rows)
}

// writeResults writes what flush has to, into the file if one was named.
func (e *env) writeResults() error {
	out := e.out.Bytes()
	if e.format == formatText || e.results.file == "" && isTerminal(e.stdout) {
		out = e.visible(out)
	}
	if e.results.file == "" {
		_, err := e.stdout.Write(out)
		return err
	}
	if err := e.write(e.results.file, out); err != nil {
		return err
	}
	_, err := fmt.Fprintf(e.stdout, "Written to %s\n", e.results.file)
	return err
}
