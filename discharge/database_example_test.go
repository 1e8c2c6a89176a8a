package discharge_test

import (
	"errors"
	"fmt"
	"log"
	"strconv"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
)

// row is one of a laundry's database, with invented values.
type row struct {
	lot, role                string
	strength, ratio, minutes float64
	color                    colorimetry.Lab
}

func rows() []row {
	return []row{
		{"BASE", "base", 0, 0, 0, colorimetry.Lab{L: 18.6, A: -0.3, B: -11.5}},
		{"WHITE", "white", 0, 0, 0, colorimetry.Lab{L: 82.5, A: -1.0, B: 7.1}},
		{"T1", "trial", 4, 1, 10, colorimetry.Lab{L: 29.4, A: -1.3, B: -12.4}},
		{"T2", "trial", 4, 2, 18, colorimetry.Lab{L: 48.1, A: -2.8, B: -9.4}},
		{"T3", "trial", 6, 1.4, 14, colorimetry.Lab{L: 47.7, A: -2.8, B: -8.9}},
		{"T4", "trial", 6, 2, 8, colorimetry.Lab{L: 46.7, A: -2.6, B: -10.1}},
		{"T5", "trial", 8, 1, 18, colorimetry.Lab{L: 50.7, A: -2.7, B: -8.5}},
		{"T6", "trial", 8, 1.4, 10, colorimetry.Lab{L: 48.0, A: -2.5, B: -9.9}},
	}
}

// A table made of the rows of a database, each lot read once. Fit checks it; Check
// tells earlier.
func ExampleTable_Check() {
	table := &discharge.Table{Name: "database", Kind: discharge.LabKind,
		Viewing: colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}}
	for _, r := range rows() {
		lot := discharge.Lot{ID: r.lot, Role: discharge.Role(r.role),
			Panels: []discharge.Panel{{ID: "1", Readings: []discharge.Reading{{Lab: r.color}}}}}
		if lot.Role == discharge.Trial {
			lot.Process = "permanganate-pellet"
			lot.Settings = discharge.Settings{"strength_pct": r.strength, "ratio": r.ratio, "time_min": r.minutes}
		}
		table.Lots = append(table.Lots, lot)
	}
	model, err := discharge.Fit(table, nil)
	if err != nil {
		log.Fatal(err)
	}
	short, err := model.Predict(discharge.Settings{"strength_pct": 6, "ratio": 1.5, "time_min": 9})
	if err != nil {
		log.Fatal(err)
	}
	long, err := model.Predict(discharge.Settings{"strength_pct": 6, "ratio": 1.5, "time_min": 16})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println("longer is lighter:", long.Shade.L > short.Shade.L)

	table.Lots[2].Settings["strength_pct"] = 400 // not percent
	var fault *discharge.RowError
	if errors.As(table.Check(), &fault) {
		fmt.Println(fault.Column, fault.Value)
	}
	// Output:
	// longer is lighter: true
	// strength_pct 400
}

// Rows as text go through the same reader as a file: columns are found by name, units and
// roles are checked, and doubts are told.
func ExampleFromSheet() {
	sheet := &discharge.Sheet{Name: "database", Header: []string{"lot", "role", "process", "strength_pct", "ratio", "time_min", "viewing", "L", "a", "b"}}
	number := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	for _, r := range rows() {
		sheet.Rows = append(sheet.Rows, []string{r.lot, r.role, "permanganate-pellet", number(r.strength), number(r.ratio), number(r.minutes),
			"D65/10", number(r.color.L), number(r.color.A), number(r.color.B)})
	}
	table, err := discharge.FromSheet(sheet, nil)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println(len(table.ByRole(discharge.Trial)), "trial lots under", table.Viewing)

	sheet.Rows[2][5] = "ten"
	_, err = discharge.FromSheet(sheet, nil)
	var fault *discharge.RowError
	if errors.As(err, &fault) {
		fmt.Println("row", fault.Row, "column", fault.Column)
	}
	// Output:
	// 6 trial lots under D65/10
	// row 3 column time_min
}

// What settings of one's own promise for a shade: more minutes at the same strength, and
// which of them comes nearest.
func ExampleModel_Evaluate() {
	model := demoModel()
	target := discharge.Target{ID: "mid blue", Viewing: model.Viewing(), Lab: colorimetry.Lab{L: 48, A: -2.6, B: -9}}
	var list []discharge.Settings
	for _, minutes := range []float64{8, 12, 20} {
		list = append(list, discharge.Settings{"strength_pct": 6.5, "ratio": 1.4, "time_min": minutes})
	}
	judged, err := model.Evaluate(target, 2, list)
	if err != nil {
		log.Fatal(err)
	}
	best := judged[0]
	for _, e := range judged {
		if e.PassProbability > best.PassProbability {
			best = e
		}
	}
	fmt.Printf("%g min pass most often, and come nearest: %t\n", best.Settings["time_min"], best.DeltaE < judged[0].DeltaE && best.DeltaE < judged[2].DeltaE)
	// Output:
	// 12 min pass most often, and come nearest: true
}
