package main

import (
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

func newMan(e *env) *cobra.Command {
	var overwrite bool
	cmd := &cobra.Command{
		Use:     "man FOLDER",
		GroupID: "start",
		Short:   "Write the manual pages",
		Long: `Writes one manual page per command, dosetone.1, dosetone-fit.1 and so on, into a
folder, which is made if need be. To read one: man -l FOLDER/dosetone-fit.1`,
		Example: `  dosetone man man1`,
		Args:    cobra.ExactArgs(1),
		RunE: e.work(func(cmd *cobra.Command, args []string) error {
			pages := memory{}
			addPages(pages, cmd.Root())
			names, err := pages.save(args[0], overwrite)
			if err != nil {
				return err
			}
			e.wrap(fmt.Sprintf("Written to %s: %s", filepath.Clean(args[0]), strings.Join(names, ", ")), "", "")
			return nil
		}),
	}
	cmd.Flags().BoolVar(&overwrite, "overwrite", false, "replace files in the folder that have the names of pages and other content, such as those of an earlier version")
	return cmd
}

// addPages adds the page of a command and of those below it.
func addPages(pages memory, cmd *cobra.Command) {
	if cmd.Hidden || cmd.Name() == "help" {
		return
	}
	pages[strings.ReplaceAll(cmd.CommandPath(), " ", "-")+".1"] = []byte(manPage(cmd))
	for _, c := range cmd.Commands() {
		addPages(pages, c)
	}
}

// manPage is the manual page of a command in the man macros of roff (man(7)).
func manPage(cmd *cobra.Command) string {
	var b strings.Builder
	name := strings.ReplaceAll(cmd.CommandPath(), " ", "-")
	fmt.Fprintf(&b, ".TH %s 1 \"\" \"dosetone\" \"User Commands\"\n", roff(strings.ToUpper(name)))
	fmt.Fprintf(&b, ".SH NAME\n%s \\- %s\n", roff(name), roff(cmd.Short))
	fmt.Fprintf(&b, ".SH SYNOPSIS\n.B %s\n", roff(cmd.UseLine()))
	fmt.Fprintf(&b, ".SH DESCRIPTION\n%s\n", strings.ReplaceAll(roff(cmd.Long), "\n\n", "\n.PP\n"))
	list := func(title string, flags *pflag.FlagSet) {
		if !flags.HasAvailableFlags() {
			return
		}
		fmt.Fprintf(&b, ".SH %s\n", title)
		flags.VisitAll(func(f *pflag.Flag) {
			if f.Hidden {
				return
			}
			names := "--" + f.Name
			if f.Shorthand != "" {
				names = "-" + f.Shorthand + ", " + names
			}
			value, use := pflag.UnquoteUsage(f)
			if value != "" {
				value = " \\fI" + roff(value) + "\\fR"
			}
			fmt.Fprintf(&b, ".TP\n\\fB%s\\fR%s\n%s\n", roff(names), value, roff(use))
		})
	}
	list("OPTIONS", cmd.NonInheritedFlags())
	list("GENERAL OPTIONS", cmd.InheritedFlags())
	if cmd.Example != "" {
		fmt.Fprintf(&b, ".SH EXAMPLES\n.nf\n%s\n.fi\n", roff(cmd.Example))
	}
	b.WriteString(".SH EXIT STATUS\n" + roff(exitWords) + "\n")
	var also []string
	if cmd.HasParent() {
		also = append(also, cmd.Parent().CommandPath())
	}
	for _, c := range cmd.Commands() {
		if !c.Hidden {
			also = append(also, strings.ReplaceAll(c.CommandPath(), " ", "-"))
		}
	}
	if len(also) > 0 {
		for i := range also {
			also[i] = "\\fB" + roff(also[i]) + "\\fR(1)"
		}
		fmt.Fprintf(&b, ".SH SEE ALSO\n%s\n", strings.Join(also, ", "))
	}
	return b.String()
}

// roff escapes text: backslashes, hyphens that are to stay ASCII, characters
// outside it, and lines that would start with a control character.
func roff(s string) string {
	var b strings.Builder
	start := true
	for _, r := range strings.TrimRight(s, "\n") {
		if start && (r == '.' || r == '\'') {
			b.WriteString(`\&`)
		}
		start = r == '\n'
		switch {
		case r == '\\':
			b.WriteString(`\e`)
		case r == '-':
			b.WriteString(`\-`)
		case r > 126:
			fmt.Fprintf(&b, `\[u%04X]`, r)
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}
