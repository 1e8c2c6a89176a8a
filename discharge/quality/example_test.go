package quality_test

import (
	"bytes"
	"fmt"
	"log"
	"math"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
)

// Two lots against the buyer's standard. The data are invented: P101 was made
// near the standard, P102 with the brown cast of manganese dioxide that was not
// reduced.
func ExampleJudge() {
	read := func(name string, data []byte) *discharge.Table {
		table, err := discharge.ReadTable(name, bytes.NewReader(data), nil)
		if err != nil {
			log.Fatal(err)
		}
		return table
	}
	model, err := discharge.Fit(read("trials.csv", demo.PelletTrials()), nil)
	if err != nil {
		log.Fatal(err)
	}
	targets, err := discharge.ReadTargets("standard.csv", bytes.NewReader(demo.PelletStandard()), nil)
	if err != nil {
		log.Fatal(err)
	}
	table := read("production.csv", demo.PelletProduction())
	for _, lot := range table.ByRole(discharge.Production) {
		r, err := quality.Judge(table, lot, targets.Items[0], &quality.Options{Tolerance: 1.5, Model: model})
		if err != nil {
			log.Fatal(err)
		}
		fmt.Printf("%s: %s", lot.ID, r.Verdict.Decision)
		if r.Verdict.Decision != quality.Accept && len(r.Causes) > 0 {
			fmt.Printf("; %s", r.Causes[0].Fault)
		}
		fmt.Println()
	}
	// Output:
	// P101: accept
	// P102: reject; brown cast
}

// A ledger finds a drift that no single lot shows: from the eleventh lot on, the dose is
// 10 % below what settings promise, no more than lots scatter.
func ExampleLedger_Monitor() {
	ledger := &quality.Ledger{}
	for i := range 20 {
		residual, sd := 0.0, 0.1
		if i >= 10 {
			residual = math.Log(0.9)
		}
		z := residual / sd
		err := ledger.Add(quality.Entry{Lot: fmt.Sprintf("P%d", i+1), Model: "pellets", Verdict: quality.Accept,
			DeltaE: 1, DoseResidual: &residual, DoseSD: &sd, DoseZ: &z})
		if err != nil {
			log.Fatal(err)
		}
	}
	data, err := ledger.Bytes() // as a CSV file, which ReadLedger reads
	if err != nil {
		log.Fatal(err)
	}
	if ledger, err = quality.ReadLedger("ledger.csv", bytes.NewReader(data)); err != nil {
		log.Fatal(err)
	}
	trend, err := ledger.Monitor("pellets")
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("%d lots, drifted: %t, since %s, dose %+.0f %%\n", trend.Lots, trend.Drifted, trend.Since, trend.DoseShiftPct)
	// Output:
	// 20 lots, drifted: true, since P11, dose -10 %
}
