package quality_test

import (
	"bytes"
	"fmt"
	"log"

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
