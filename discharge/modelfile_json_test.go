package discharge_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge"
)

// A model in JSON is its file, by value and by pointer, and predicts the same when read back.
func TestModelInJSON(t *testing.T) {
	m, err := discharge.Fit(demoTable(t), nil)
	require.NoError(t, err)
	var file, plain bytes.Buffer
	require.NoError(t, m.Save(&file, ""))
	require.NoError(t, json.Compact(&plain, file.Bytes()))
	type row struct {
		Name  string
		Model *discharge.Model
	}
	for _, v := range []any{m, *m} {
		data, err := json.Marshal(v)
		require.NoError(t, err)
		require.JSONEq(t, plain.String(), string(data))
	}
	data, err := json.Marshal(row{"pellets", m})
	require.NoError(t, err)
	var back row
	require.NoError(t, json.Unmarshal(data, &back))
	s := discharge.Settings{"strength_pct": 6.5, "ratio": 1.4, "time_min": 12}
	want, err := m.Predict(s)
	require.NoError(t, err)
	got, err := back.Model.Predict(s)
	require.NoError(t, err)
	require.Equal(t, want, got)

	require.ErrorIs(t, json.Unmarshal([]byte(`{"Name":"x","Model":{}}`), &back), discharge.ErrModelFile)
	_, err = json.Marshal(new(discharge.Model))
	require.Error(t, err, "it had been {}")
	require.Error(t, new(discharge.Model).Save(&bytes.Buffer{}, ""))
}

// What Save writes, Load reads: a model that it would refuse is not written.
func TestSaveWritesWhatLoadReads(t *testing.T) {
	x := builtTable(t)
	darkest := 100.0
	for _, l := range x.ByRole(discharge.Trial) {
		for _, r := range l.Readings() {
			darkest = min(darkest, r.Lab.L)
		}
	}
	for i := range x.Lots { // no base was read, and the darkest panel less 2 stands in
		for j := range x.Lots[i].Panels {
			for k := range x.Lots[i].Panels[j].Readings {
				x.Lots[i].Panels[j].Readings[k].Lab.L = max(x.Lots[i].Panels[j].Readings[k].Lab.L-darkest, 0) + 0.5
			}
		}
	}
	kept := x.Lots[:0]
	for _, l := range x.Lots {
		if l.Role == discharge.Trial || l.Role == discharge.White {
			kept = append(kept, l)
		}
	}
	x.Lots = kept
	m, err := discharge.Fit(x, nil)
	require.NoError(t, err)
	var b bytes.Buffer
	err = m.Save(&b, "test")
	require.ErrorIs(t, err, discharge.ErrModelFile)
	require.Zero(t, b.Len())
}

// A process made in Go is held to what ReadProcess lets in before anything is learned.
func TestFitChecksOwnProcess(t *testing.T) {
	for name, change := range map[string]func(p *discharge.Process){
		"transform":    func(p *discharge.Process) { p.Factors[0].Transform = "bogus" },
		"no transform": func(p *discharge.Process) { p.Factors[0].Transform = "" },
		"twice":        func(p *discharge.Process) { p.Factors = append(p.Factors, p.Factors[0]) },
		"column":       func(p *discharge.Process) { p.Factors[0].Column = "lot" },
		"no factors":   func(p *discharge.Process) { p.Factors = nil },
		"active":       func(p *discharge.Process) { p.Active.Times = []string{"nothing"} },
	} {
		p, err := discharge.LookupProcess("permanganate-pellet")
		require.NoError(t, err)
		p.ID = "ours"
		x := builtTable(t)
		for i := range x.Lots {
			x.Lots[i].Process = "ours"
		}
		_, err = discharge.Fit(x, &discharge.FitOptions{Process: p})
		require.NoError(t, err, name)
		change(&p)
		_, err = discharge.Fit(x, &discharge.FitOptions{Process: p})
		require.Error(t, err, name)
		require.False(t, errors.Is(err, discharge.ErrTooFewLots), name)
	}
}

// What Process returns, and what Fit was given, may be changed: the model does not.
func TestProcessOfAModelIsACopy(t *testing.T) {
	p, err := discharge.LookupProcess("permanganate-pellet")
	require.NoError(t, err)
	p.ID = "ours"
	x := builtTable(t)
	for i := range x.Lots {
		x.Lots[i].Process = "ours"
	}
	m, err := discharge.Fit(x, &discharge.FitOptions{Process: p})
	require.NoError(t, err)
	want := m.Process()
	for _, mine := range []discharge.Process{p, m.Process()} {
		mine.Factors[0].Column, mine.Practice[0], mine.Cautions[0].Text = "hack", "hack", "hack"
		mine.Active.Times[0], mine.Active.Over = "hack", append(mine.Active.Over[:0], "hack")
	}
	require.Equal(t, want, m.Process())
}

// A process written by encoding/json is read back whole by it.
func TestProcessInJSON(t *testing.T) {
	for _, want := range discharge.Processes() {
		data, err := json.Marshal(want)
		require.NoError(t, err)
		var got discharge.Process
		require.NoError(t, json.Unmarshal(data, &got))
		require.Equal(t, want, got)
	}
}
