package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
)

// factorFlags are the flags named after the factors of processes, with a
// prefix such as "min-".
type factorFlags struct {
	prefix string
	names  []string // in the order of first mention
	values map[string]*number
}

// registerFactors makes a flag of every factor of the processes.
func registerFactors(cmd *cobra.Command, processes []discharge.Process, prefix, use string, recorded bool) *factorFlags {
	f := &factorFlags{prefix: prefix, values: map[string]*number{}}
	for _, p := range processes {
		for _, factor := range p.Factors {
			name := factor.Name()
			if f.values[name] != nil || cmd.Flags().Lookup(prefix+name) != nil || factor.Transform == discharge.Recorded && !recorded || factor.Measured && prefix != "" {
				continue // what is measured has no bounds, and is of the first pass
			}
			f.values[name] = &number{}
			f.names = append(f.names, name)
			cmd.Flags().Var(f.values[name], prefix+name, use+" "+columnsNamed(processes, name))
		}
	}
	return f
}

// registerStated makes a flag of everything that may be stated of the load at hand: what is
// only recorded, what is measured on it before, and what need not be chosen.
func registerStated(cmd *cobra.Command, processes []discharge.Process) *factorFlags {
	stated := func(f discharge.Factor) bool { return f.Optional }
	return registerFactors(cmd, onlyFactors(processes, stated), "", "as it is for this load:", true)
}

// onlyFactors are processes with some of their factors.
func onlyFactors(processes []discharge.Process, some func(discharge.Factor) bool) (only []discharge.Process) {
	for _, p := range processes {
		p.Factors = slices.DeleteFunc(slices.Clone(p.Factors), func(f discharge.Factor) bool { return !some(f) })
		only = append(only, p)
	}
	return only
}

// columnsNamed lists the columns that share a flag: strength_pct, strength_gpl.
func columnsNamed(processes []discharge.Process, name string) string {
	var columns []string
	for _, p := range processes {
		for _, f := range p.Factors {
			if f.Name() == name && !slices.Contains(columns, f.Column) {
				columns = append(columns, f.Column)
			}
		}
	}
	return strings.Join(columns, ", ")
}

// any reports whether one of the flags was given.
func (f *factorFlags) any() bool {
	return slices.ContainsFunc(f.names, func(n string) bool { return f.values[n].set })
}

// settings returns the values given, by column of the process, checked.
func (f *factorFlags) settings(p discharge.Process) (discharge.Settings, error) {
	s := discharge.Settings{}
	for _, name := range f.names {
		v := f.values[name]
		if !v.set {
			continue
		}
		i := slices.IndexFunc(p.Factors, func(x discharge.Factor) bool { return x.Name() == name })
		if i < 0 {
			return nil, usage("--%s%s: %s has no such factor; it takes %s", f.prefix, name, p.ID, flagNames(p, f.prefix))
		}
		if err := p.Factors[i].Check(v.value); err != nil {
			return nil, usage("--%s%s %v: %w", f.prefix, name, v.value, err)
		}
		s[p.Factors[i].Column] = v.value
	}
	return s, nil
}

// flagNames lists the flags of a process's factors, those that must be given first.
func flagNames(p discharge.Process, prefix string) string {
	var must, may []string
	for _, f := range p.Factors {
		if f.Optional {
			may = append(may, "--"+prefix+f.Name())
		} else {
			must = append(must, "--"+prefix+f.Name())
		}
	}
	text := strings.Join(must, " ")
	if len(may) > 0 {
		text += fmt.Sprintf(" (and %s)", strings.Join(may, " "))
	}
	return text
}

// settingsText writes settings in the process's order: "6 %, 1.3 kg/kg, 13 min".
func settingsText(p discharge.Process, s discharge.Settings) string {
	var parts []string
	for _, f := range p.Factors {
		if v, ok := s[f.Column]; ok {
			part := strings.ReplaceAll(f.Name(), "-", " ") + " " + report.Short(v, 5)
			if f.Measured { // nobody sets it
				part = "with " + part
			}
			if f.Unit != "" {
				part += " " + f.Unit
			}
			parts = append(parts, part)
		}
	}
	return strings.Join(parts, ", ")
}

// usedColumns are the process's factors that occur in any of the settings.
func usedColumns(p discharge.Process, all []discharge.Settings) []discharge.Factor {
	var out []discharge.Factor
	for _, f := range p.Factors {
		if slices.ContainsFunc(all, func(s discharge.Settings) bool { _, ok := s[f.Column]; return ok }) {
			out = append(out, f)
		}
	}
	return out
}

// settingsOf are the settings of every item of a list.
func settingsOf[T any](list []T, of func(T) discharge.Settings) []discharge.Settings {
	out := make([]discharge.Settings, len(list))
	for i, x := range list {
		out[i] = of(x)
	}
	return out
}

// columnNames are the names of factors' columns, for the header of a CSV file.
func columnNames(columns []discharge.Factor) []any {
	out := make([]any, len(columns))
	for i, f := range columns {
		out[i] = f.Column
	}
	return out
}

// settingValues are settings as the cells of a CSV row, nothing where one is not given.
func settingValues(columns []discharge.Factor, s discharge.Settings) []any {
	out := make([]any, len(columns))
	for i, f := range columns {
		if v, ok := s[f.Column]; ok {
			out[i] = v
		}
	}
	return out
}

// columnHeads are factors with their units, for the header of a page's table.
func columnHeads(columns []discharge.Factor) []string {
	out := make([]string, len(columns))
	for i, f := range columns {
		out[i] = f.Name()
		if f.Unit != "" {
			out[i] += ", " + f.Unit
		}
	}
	return out
}

// settingCells are settings as the cells of a row, empty where one is not given.
func settingCells(columns []discharge.Factor, s discharge.Settings, number func(float64) string) []string {
	cells := make([]string, len(columns))
	for i, f := range columns {
		if v, ok := s[f.Column]; ok {
			cells[i] = number(v)
		}
	}
	return cells
}
