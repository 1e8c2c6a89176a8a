package main

import (
	"strings"

	"github.com/spf13/cobra"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// What the shell may offer after Tab. Files are offered by their ending, the
// words of a closed list with what they mean.

// complete adds the suggestions to the commands of the tree.
func complete(root *cobra.Command, processes []discharge.Process) {
	for _, cmd := range root.Commands() {
		cmd.ValidArgsFunction = completeArgs(cmd.Name(), processes)
		words := map[string][]cobra.Completion{
			"process":     processWords(processes),
			"reflectance": {"factor", "percent"},
			"viewing":     viewingWords(),
		}
		for name, list := range words {
			if cmd.Flags().Lookup(name) != nil {
				must(cmd.RegisterFlagCompletionFunc(name, cobra.FixedCompletions(list, cobra.ShellCompDirectiveNoFileComp)))
			}
		}
		for name, endings := range map[string][]string{
			"target": tableEndings(), "settings": tableEndings(), "standard": tableEndings(), "lot-list": tableEndings(), "bases": tableEndings(), "chart": tableEndings(), "pairs": tableEndings(),
			"ledger": {"csv"}, "model": {"json"}, "process-file": {"json"}, "output": {"json"}, "report": {"html"},
		} {
			if f := cmd.Flags().Lookup(name); f != nil && f.Value.Type() == "string" {
				if cmd.Name() == "template" && name == "output" {
					endings = []string{"csv", "xlsx"}
				}
				must(cmd.MarkFlagFilename(name, endings...))
			}
		}
	}
	must(root.RegisterFlagCompletionFunc("format", cobra.FixedCompletions([]cobra.Completion{"text", "json", "csv", "xlsx"}, cobra.ShellCompDirectiveNoFileComp)))
}

// must is for errors that only a slip in the code can cause: a flag that is not
// there or registered twice.
func must(err error) {
	if err != nil {
		panic(err)
	}
}

func tableEndings() []string {
	return []string{"csv", "tsv", "txt", "xlsx", "xlsm", "cgats", "it8", "cxf", "xml"}
}

func processWords(processes []discharge.Process) []cobra.Completion {
	var list []cobra.Completion
	for _, p := range processes {
		list = append(list, cobra.CompletionWithDesc(p.ID, p.Title))
	}
	return list
}

func viewingWords() []cobra.Completion {
	var list []cobra.Completion
	for _, i := range colorimetry.Illuminants() {
		for _, o := range []colorimetry.Observer{colorimetry.TenDegree, colorimetry.TwoDegree} {
			list = append(list, colorimetry.Viewing{Illuminant: i, Observer: o}.String())
		}
	}
	return list
}

// completeArgs says what the arguments of a command are.
func completeArgs(command string, processes []discharge.Process) cobra.CompletionFunc {
	models := func() ([]cobra.Completion, cobra.ShellCompDirective) {
		return []cobra.Completion{"json"}, cobra.ShellCompDirectiveFilterFileExt
	}
	return func(_ *cobra.Command, args []string, typed string) ([]cobra.Completion, cobra.ShellCompDirective) {
		switch {
		case command == "man" && len(args) == 0:
			return nil, cobra.ShellCompDirectiveFilterDirs
		case command == "assay" && len(args) == 0:
			var kinds []cobra.Completion
			for _, k := range assayKinds() {
				kinds = append(kinds, cobra.CompletionWithDesc(k.name, k.what))
			}
			return kinds, cobra.ShellCompDirectiveNoFileComp
		case command == "template" && len(args) == 0:
			return processWords(processes), cobra.ShellCompDirectiveNoFileComp
		case (command == "plan" || command == "charge") && len(args) == 0:
			// A process, or a model file: files are offered once no process fits.
			var fit []cobra.Completion
			for _, w := range processWords(processes) {
				if strings.HasPrefix(w, typed) {
					fit = append(fit, w)
				}
			}
			if len(fit) > 0 {
				return fit, cobra.ShellCompDirectiveDefault
			}
			return models()
		case (command == "predict" || command == "suggest" || command == "recalibrate") && len(args) == 0:
			return models()
		case command == "recalibrate" && len(args) == 1, (command == "fit" || command == "check") && len(args) == 0:
			return tableEndings(), cobra.ShellCompDirectiveFilterFileExt
		case command == "convert":
			return append(tableEndings(), "png", "jpg", "jpeg"), cobra.ShellCompDirectiveFilterFileExt
		}
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
}
