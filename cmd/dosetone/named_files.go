package main

import (
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// fileUse says what commands do with a file that the flag of that name names. The
// ledger of check is read and written on purpose: it is one file named once.
func fileUse(flag string) (named, written bool) {
	switch flag {
	case "bases", "before", "chart", "lot-list", "model", "pairs", "process-file", "reference", "settings", "standard", "target":
		return true, false
	case "figure", "ledger", "output", "report", "results":
		return true, true
	}
	return false, false
}

// namedFile is a file as the command line names it.
type namedFile struct {
	flag, name string // flag is "" for an argument
	written    bool
}

func (f namedFile) String() string { return strings.TrimSpace(f.flag + " " + f.name) }

// namedFiles lists the files on a command line. Arguments count as files that are
// read; the few that are none, such as the name of a process, do no harm.
func namedFiles(cmd *cobra.Command, args []string) []namedFile {
	var list []namedFile
	add := func(f namedFile) {
		if f.name != "" && f.name != "-" {
			list = append(list, f)
		}
	}
	for _, a := range args {
		add(namedFile{name: a})
	}
	cmd.Flags().Visit(func(f *pflag.Flag) {
		named, written := fileUse(f.Name)
		if !named {
			return
		}
		flag := "--" + f.Name
		if f.Shorthand != "" {
			flag = "-" + f.Shorthand
		}
		values := []string{f.Value.String()}
		if several, ok := f.Value.(pflag.SliceValue); ok {
			values = several.GetSlice()
		}
		for _, v := range values {
			if f.Name == "figure" {
				_, v, _ = strings.Cut(v, "=")
			}
			add(namedFile{flag, v, written})
		}
	})
	return list
}

// keepApart refuses a command line that would write over a file which it names
// elsewhere: an input would be lost, and of two outputs the first.
func (e *env) keepApart(cmd *cobra.Command, args []string) error {
	e.named = namedFiles(cmd, args)
	for i, a := range e.named {
		for _, b := range e.named[:i] {
			switch {
			case !a.written && !b.written || !e.files.same(a.name, b.name):
			case a.written && b.written:
				return usage("%s and %s are one file: give each its own name", b, a)
			case a.written:
				return usage("%s would overwrite the input %s: name another file", a, b)
			default:
				return usage("%s would overwrite the input %s: name another file", b, a)
			}
		}
	}
	return nil
}
