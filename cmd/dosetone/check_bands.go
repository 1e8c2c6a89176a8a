package main

import (
	"fmt"
	"strings"

	"example.com/dosetone/cmd/dosetone/internal/report"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
)

// bandJSON is one shade band of check --bands-only.
type bandJSON struct {
	Label  string   `json:"label"`
	Lots   []string `json:"lots"`
	Spread float64  `json:"spread"` // ΔE00 of the widest pair
	Exact  bool     `json:"exact"`  // no grouping has fewer bands
}

// bandsOnly groups a table's lots, or its rolls when it has base rows alone.
func (e *env) bandsOnly(name string, f *checkFlags, width float64) error {
	t, err := e.checkTable(name, f, nil)
	if err != nil {
		return err
	}
	lots, err := f.chosen(t)
	if err != nil {
		if lots = t.ByRole(discharge.Base); len(lots) == 0 || len(f.lots) > 0 {
			return err
		}
	}
	var items []quality.Item
	for _, l := range lots {
		panels, _ := discharge.PanelMeans(l)
		if len(panels) == 0 {
			return fmt.Errorf("%s: lot %q has no readings of finished, dry cloth", t.Name, l.ID)
		}
		it := quality.Item{ID: l.ID}
		n := float64(len(panels))
		for _, p := range panels {
			it.Lab.L += p.Lab.L / n
			it.Lab.A += p.Lab.A / n
			it.Lab.B += p.Lab.B / n
		}
		items = append(items, it)
	}
	b, err := quality.Group(items, width)
	if err != nil {
		return fmt.Errorf("%s: %w", t.Name, err)
	}
	if f.report.wanted() {
		if err := e.writeReport(f.report, bandsPage(items, b, t.Viewing.String())); err != nil {
			return err
		}
	}
	list := bandsJSON(b, func(i int) string { return items[i].ID })
	switch e.format {
	case formatJSON:
		return report.JSON(&e.out, list)
	case formatCSV:
		rows := [][]any{{"lot", "shade_band", "spread", "exact"}}
		for _, x := range list {
			for _, id := range x.Lots {
				rows = append(rows, []any{id, x.Label, x.Spread, x.Exact})
			}
		}
		return e.rows(rows)
	}
	e.bandText(list, b)
	return nil
}

// bandsOf groups the lots of the day and writes the labels into the list.
func bandsOf(list []checkResult, width float64) (*quality.Bands, error) {
	items := make([]quality.Item, len(list))
	for i, r := range list {
		items[i] = quality.Item{ID: r.Lot, Lab: r.report.Mean}
	}
	b, err := quality.Group(items, width)
	if err != nil {
		return nil, err
	}
	for _, band := range b.List {
		for _, i := range band.Items {
			list[i].ShadeBand = band.Label
		}
	}
	return b, nil
}

// bandsJSON lists bands with their lots; id names an item.
func bandsJSON(b *quality.Bands, id func(i int) string) []bandJSON {
	list := []bandJSON{}
	for _, band := range b.List {
		x := bandJSON{Label: band.Label, Spread: band.Spread, Exact: b.Exact, Lots: []string{}}
		for _, i := range band.Items {
			x.Lots = append(x.Lots, id(i))
		}
		list = append(list, x)
	}
	return list
}

func (e *env) bandText(list []bandJSON, b *quality.Bands) {
	e.printf("Shade bands, light to dark: any two lots of a band differ by at most ΔE00 %s\n", report.Short(b.Limit, 3))
	for _, x := range list {
		e.wrap(fmt.Sprintf("%s: %s (widest pair %.2f)", x.Label, strings.Join(x.Lots, ", "), x.Spread), "  ", "    ")
	}
	if !b.Exact {
		e.printf("  The search was cut short: at least %d bands are needed, %d were found.\n", b.LowerBound, len(b.List))
	}
}
