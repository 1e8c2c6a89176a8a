package discharge

import (
	"errors"
	"io"
	"strings"
)

// SettingsRow is one line of a settings file.
type SettingsRow struct {
	ID       string // of the id or lot column, "" without one
	Settings Settings
	Row      int // line in the file
}

// SettingsList are the settings of one file.
type SettingsList struct {
	Items    []SettingsRow // in file order
	Ignored  []string      // columns kept aside because their meaning is not known
	Warnings []error
}

// ReadSettings reads settings of a process, one lot per row: columns named as
// its factors, and id or lot if wanted. Readings and other columns of a trial
// table may be there; of its rows only those with role trial, production or no
// role are taken. Values must be possible for the process; which factors must
// be given depends on the model and is left to it.
func ReadSettings(name string, r io.Reader, p Process) (*SettingsList, error) {
	s, err := ReadCSV(name, r)
	if err != nil {
		return nil, err
	}
	return SettingsFromSheet(s, p)
}

// SettingsFromSheet reads settings from a sheet, as [ReadSettings] does.
func SettingsFromSheet(s *Sheet, p Process) (*SettingsList, error) {
	out, err := settingsFrom(s, p)
	if err == nil && len(out.Items) == 0 {
		return nil, s.fault(0, "", "", errors.New("no row with settings to predict"))
	}
	return out, err
}

// settingsFrom is SettingsFromSheet, but none at all is no fault.
func settingsFrom(s *Sheet, p Process) (*SettingsList, error) {
	l, err := newLayout(s, &ReadOptions{Processes: []Process{p}})
	if err != nil {
		return nil, err
	}
	if err := l.checkColumns(&p, false); err != nil {
		return nil, err
	}
	if len(l.factors) == 0 {
		return nil, l.fault(l.HeaderLine, "", "", errors.New("no settings: want columns "+strings.Join(p.columns(), ", ")))
	}
	columns, factors := make([]int, len(l.factors)), make([]Factor, len(l.factors))
	for k, c := range l.factors {
		columns[k] = l.col[c]
		factors[k], _ = p.Factor(c)
	}
	out := &SettingsList{Items: make([]SettingsRow, 0, len(l.Rows))}
	for i := range l.Rows {
		if role := Role(strings.ToLower(l.text(i, "role"))); role != "" && role != Trial && role != Production {
			continue
		}
		row := SettingsRow{ID: l.text(i, "id"), Settings: Settings{}, Row: l.Lines[i]}
		if row.ID == "" {
			row.ID = l.text(i, "lot")
		}
		for k, j := range columns {
			if l.Rows[i][j] == "" {
				continue
			}
			v, err := l.number(i, j)
			if err != nil {
				return nil, err
			}
			if err := factors[k].Check(v); err != nil {
				return nil, l.cellFault(i, j, err)
			}
			row.Settings[l.factors[k]] = v
		}
		if len(row.Settings) == 0 {
			return nil, l.fault(l.Lines[i], "", "", errors.New("the row has no settings"))
		}
		out.Items = append(out.Items, row)
	}
	l.keepAside()
	out.Ignored, out.Warnings = l.ignored, l.warnings
	return out, nil
}
