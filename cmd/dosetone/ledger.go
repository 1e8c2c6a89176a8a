package main

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge/quality"
)

func newLedger(e *env) *cobra.Command {
	var since, until string
	cmd := &cobra.Command{
		Use:     "ledger FILE",
		GroupID: "floor",
		Short:   "Sum up a ledger: what passed, what did not and why, and drift",
		Long: `Sums up the ledger that check keeps: how many lots were accepted, rejected or are
still to be measured more, by process, fabric, machine and standard; the causes of
those that were not accepted at first; how their dose was to what the settings
promised; and what the charts of drift say at the end. The file is not changed.`,
		Example: `  dosetone ledger ledger.csv
  dosetone ledger ledger.csv --since 2026-11-01 --format csv`,
		Args: cobra.ExactArgs(1),
		RunE: e.work(func(_ *cobra.Command, args []string) error { return e.ledger(args[0], since, until) }),
	}
	cmd.Flags().StringVar(&since, "since", "", "first day to count, such as 2026-11-01 (UTC, as the ledger)")
	cmd.Flags().StringVar(&until, "until", "", "last day to count")
	return cmd
}

// ledgerJSON is the summary in JSON.
type ledgerJSON struct {
	tallyJSON
	From   string            `json:"from"` // when the first lot was judged, and the last; "" of none
	To     string            `json:"to"`
	Open   []string          `json:"open_lots"`
	Causes []causeTallyJSON  `json:"causes"` // of lots not accepted at first
	Groups []ledgerGroupJSON `json:"groups"`
	Drift  []ledgerDriftJSON `json:"drift"` // of each model, in the order of first mention
}

// ledgerDriftJSON is what the charts say of the lots that were judged with one model.
type ledgerDriftJSON struct {
	Model    string   `json:"model"` // digest
	Fabrics  []string `json:"fabrics"`
	Machines []string `json:"machines"`
	*driftJSON
}

type tallyJSON struct {
	Lots     int `json:"lots"`
	Accepted int `json:"accepted"`
	Rejected int `json:"rejected"`
	Open     int `json:"open"`
	Rescued  int `json:"rescued"` // accepted after another pass
}

type causeTallyJSON struct {
	Cause string   `json:"cause"`
	Lots  []string `json:"lots"`
}

type ledgerGroupJSON struct {
	Process  string `json:"process"`
	Fabric   string `json:"fabric"`
	Machine  string `json:"machine"`
	Standard string `json:"standard"`
	tallyJSON
	Tolerances   []float64 `json:"tolerances"`
	MedianDeltaE float64   `json:"median_delta_e"` // from the nearest approved shade
	HighDeltaE   float64   `json:"delta_e_90"`
	DosePct      *float64  `json:"dose_pct"` // mean over what the settings promised; null of no lot
	DoseSDPct    *float64  `json:"dose_sd_pct"`
}

func (e *env) ledger(name, since, until string) error {
	from, err := day("since", since)
	if err != nil {
		return err
	}
	before, err := day("until", until)
	if err != nil {
		return err
	}
	if !before.IsZero() {
		before = before.AddDate(0, 0, 1)
		if !from.Before(before) {
			return usage("--until lies before --since")
		}
	}
	data, err := e.read(name)
	if err != nil {
		return err
	}
	all, err := quality.ReadLedger(shown(name), bytes.NewReader(data))
	if err != nil {
		return err
	}
	e.warnAll(all.Warnings)
	l, err := all.During(from, before)
	if err != nil {
		return fmt.Errorf("%s: %w", shown(name), err)
	}
	if len(l.Entries) == 0 {
		return fmt.Errorf("%s: no lot was judged in that time; the ledger has %d", shown(name), len(all.Entries))
	}
	s := l.Summarize()
	drift, err := drifts(all, l, before)
	if err != nil {
		return err
	}
	r := newLedgerJSON(s, drift)
	switch e.format {
	case formatJSON:
		return report.JSON(&e.out, r)
	case formatCSV:
		return e.rows(r.rows())
	}
	e.ledgerText(shown(name), r)
	return nil
}

// doseRise is ln of a factor of dose as a rise in percent.
func doseRise(ln float64) *float64 {
	pct := 100 * math.Expm1(ln)
	return &pct
}

// day reads a date, the zero time of none.
func day(flag, text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return t, usage("--%s %q: want a day such as 2026-11-28", flag, text)
	}
	return t, nil
}

// drifts is what the charts say of the lots of each model that those counted were judged with.
// They look back beyond the days that are counted.
func drifts(all, counted *quality.Ledger, before time.Time) ([]ledgerDriftJSON, error) {
	past, err := all.During(time.Time{}, before)
	if err != nil {
		return nil, err
	}
	list := []ledgerDriftJSON{}
	for _, e := range counted.Entries {
		i := slices.IndexFunc(list, func(d ledgerDriftJSON) bool { return d.Model == e.Model })
		if i < 0 {
			if e.Model == "" {
				continue
			}
			trend, err := past.Monitor(e.Model)
			if err != nil {
				return nil, err
			}
			i = len(list)
			list = append(list, ledgerDriftJSON{Model: e.Model, Fabrics: []string{}, Machines: []string{}, driftJSON: newDriftJSON(trend)})
		}
		d := &list[i]
		for _, x := range []struct {
			name string
			to   *[]string
		}{{e.Fabric, &d.Fabrics}, {e.Machine, &d.Machines}} {
			if x.name != "" && !slices.Contains(*x.to, x.name) {
				*x.to = append(*x.to, x.name)
			}
		}
	}
	return list, nil
}

func newLedgerJSON(s *quality.Summary, drift []ledgerDriftJSON) ledgerJSON {
	r := ledgerJSON{tallyJSON: tallyJSON(s.Tally), From: s.From, To: s.To, Open: append([]string{}, s.OpenLots...), Causes: []causeTallyJSON{}, Groups: []ledgerGroupJSON{}, Drift: drift}
	for _, c := range s.Causes {
		r.Causes = append(r.Causes, causeTallyJSON(c))
	}
	for _, g := range s.Groups {
		x := ledgerGroupJSON{Process: g.Process, Fabric: g.Fabric, Machine: g.Machine, Standard: g.Standard, tallyJSON: tallyJSON(g.Tally),
			Tolerances: append([]float64{}, g.Tolerances...), MedianDeltaE: g.MedianDeltaE, HighDeltaE: g.HighDeltaE}
		if g.Doses > 0 {
			x.DosePct = doseRise(g.MeanDose)
		}
		if g.Doses > 1 {
			x.DoseSDPct = doseRise(g.SDDose)
		}
		r.Groups = append(r.Groups, x)
	}
	return r
}

// rows are the groups as a table.
func (r *ledgerJSON) rows() [][]any {
	out := [][]any{{"process", "fabric", "machine", "standard", "lots", "accepted", "rejected", "open", "rescued", "median_delta_e", "delta_e_90", "dose_pct", "dose_sd_pct"}}
	for _, g := range r.Groups {
		out = append(out, []any{g.Process, g.Fabric, g.Machine, g.Standard, g.Lots, g.Accepted, g.Rejected, g.tallyJSON.Open, g.Rescued, g.MedianDeltaE, g.HighDeltaE, g.DosePct, g.DoseSDPct})
	}
	return out
}

func (e *env) ledgerText(name string, r ledgerJSON) {
	when := ""
	if r.From != "" {
		when = fmt.Sprintf(", judged %.10s to %.10s (UTC)", r.From, r.To)
	}
	e.printf("%s: %d %s%s\n", name, r.Lots, plural(r.Lots, "lot", "lots"), when)
	line := fmt.Sprintf("Accepted %d", r.Accepted)
	if r.Rescued > 0 {
		line += fmt.Sprintf(" (%d of them after another pass)", r.Rescued)
	}
	line += fmt.Sprintf(", rejected %d", r.Rejected)
	if len(r.Open) > 0 {
		line += fmt.Sprintf(", still to be measured more %d: %s", len(r.Open), names(r.Open))
	}
	e.wrap(line+".", "", "")
	t := report.Table{Header: []string{"process", "fabric", "machine", "standard", "lots", "accepted", "rejected", "open", "ΔE median", "90 %", "dose"}, Left: []bool{true, true, true, true}}
	for _, g := range r.Groups {
		dose := ""
		if g.DosePct != nil {
			dose = fmt.Sprintf("%+.0f %%", *g.DosePct)
		}
		if g.DoseSDPct != nil {
			dose += fmt.Sprintf(" ± %.0f", *g.DoseSDPct)
		}
		count := func(n int) string { return fmt.Sprint(n) }
		t.Add(g.Process, g.Fabric, g.Machine, g.Standard, count(g.Lots), count(g.Accepted), count(g.Rejected), count(g.tallyJSON.Open), report.Fixed(g.MedianDeltaE, 2), report.Fixed(g.HighDeltaE, 2), dose)
	}
	e.printf("\n%s", &t)
	e.wrap("ΔE: of lot means from the nearest approved shade. dose: mean over what the settings promised, ± one standard deviation of lots.", "", "")
	for i, c := range r.Causes {
		if i == 0 {
			e.printf("\nNot accepted at first, by the likeliest cause\n")
		}
		cause := c.Cause
		if cause == "" {
			cause = "none named"
		}
		e.wrap(fmt.Sprintf("%s: %d (%s)", cause, len(c.Lots), names(c.Lots)), "  - ", "    ")
	}
	for i, d := range r.Drift {
		if i == 0 {
			e.printf("\nMonitoring\n")
		}
		of := ""
		if len(r.Drift) > 1 {
			of = fmt.Sprintf("lots of %s (model %.8s): ", cmp.Or(names(append(slices.Clone(d.Fabrics), d.Machines...)), "one model"), d.Model)
		}
		for _, w := range d.Words {
			e.wrap(of+w, "  - ", "    ")
		}
	}
}
