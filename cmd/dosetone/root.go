package main

import (
	"errors"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"example.com/dosetone/discharge"
)

// newRoot builds the whole command tree. The factors of processes become flags.
func newRoot(e *env, processes []discharge.Process) *cobra.Command {
	root := &cobra.Command{
		Use:   "dosetone",
		Short: "From trial lots to the settings that reach a shade",
		Long: `dosetone learns from your own trial lots how the shade of a garment depends on
oxidizer strength, load and time, says how sure it is, and turns a target shade
into settings. Everything runs on this machine.

Start with:  dosetone demo

` + exitWords,
		Version:           version(),
		SilenceErrors:     true,
		SilenceUsage:      true,
		DisableAutoGenTag: true,
	}
	root.PersistentFlags().Var(&e.format, "format", "how results are written: text, json, csv or xlsx")
	root.PersistentFlags().StringVar(&e.results.file, "results", "", "file for the results instead of standard output; its ending (.csv, .xlsx, .json, .txt) says the format")
	root.PersistentFlags().BoolVar(&e.quiet, "quiet", false, "no warnings")
	root.SetFlagErrorFunc(flagError)
	root.AddGroup(
		&cobra.Group{ID: "model", Title: "From trials to settings:"},
		&cobra.Group{ID: "floor", Title: "From settings to the load:"},
		&cobra.Group{ID: "color", Title: "Color:"},
		&cobra.Group{ID: "start", Title: "To start with:"},
	)
	root.AddCommand(newDemo(e), newConvert(e), newFit(e), newPredict(e, processes), newSuggest(e, processes))
	root.AddCommand(newPlan(e, processes), newRecalibrate(e))
	root.AddCommand(newCharge(e, processes), newAssay(e))
	root.AddCommand(newCheck(e, processes), newLedger(e))
	root.AddCommand(newTemplate(e), newMan(e))
	root.SetHelpCommandGroupID("start")
	root.SetCompletionCommandGroupID("start")
	root.SetVersionTemplate("dosetone version {{.Version}}\n")
	complete(root, processes)
	for _, cmd := range root.Commands() {
		sayUse(cmd)
	}
	return root
}

// sayUse adds to the error about a wrong number of arguments what they are.
func sayUse(cmd *cobra.Command) {
	check := cmd.Args
	if check == nil {
		return
	}
	cmd.Args = func(cmd *cobra.Command, args []string) error {
		if err := check(cmd, args); err != nil {
			return usage("%w; use: %s", err, cmd.UseLine())
		}
		return nil
	}
}

// flagError adds the nearest flag to the message about an unknown one.
func flagError(cmd *cobra.Command, err error) error {
	var unknown *pflag.NotExistError
	if !errors.As(err, &unknown) {
		return usageError{err}
	}
	name := unknown.GetSpecifiedName()
	if cmd.Flags().Lookup("min-"+name) != nil {
		return usage("%w; to fix it give --min-%s and --max-%[2]s the same value", err, name)
	}
	if n := nearestFlag(cmd, name); n != "" {
		return usage("%w; did you mean --%s?", err, n)
	}
	return usage("%w; see dosetone %s --help", err, cmd.Name())
}

// nearestFlag compares by cobra's own measure, which works on commands.
func nearestFlag(cmd *cobra.Command, name string) string {
	names := &cobra.Command{}
	cmd.Flags().VisitAll(func(f *pflag.Flag) {
		if !f.Hidden {
			names.AddCommand(&cobra.Command{Use: f.Name, Run: func(*cobra.Command, []string) {}})
		}
	})
	// The column's name with its unit, as in the file, is the likeliest slip.
	for _, s := range []string{strings.ReplaceAll(name, "_", "-"), stem(name)} {
		if cmd.Flags().Lookup(s) != nil {
			return s
		}
	}
	// One slip before two: cobra lists what is near in the order of names.
	for names.SuggestionsMinimumDistance = 1; names.SuggestionsMinimumDistance <= 2; names.SuggestionsMinimumDistance++ {
		if near := names.SuggestionsFor(name); len(near) > 0 {
			return near[0]
		}
	}
	return ""
}

// stem is a column's name without its last word: "time_min" gives "time".
func stem(name string) string {
	name = strings.ReplaceAll(name, "_", "-")
	if i := strings.LastIndexByte(name, '-'); i > 0 {
		return name[:i]
	}
	return name
}
