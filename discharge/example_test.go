package discharge_test

import (
	"bytes"
	"fmt"
	"log"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
)

// From trial lots to settings for a target shade.
func Example() {
	table, err := discharge.ReadTable("trials.csv", bytes.NewReader(demo.PelletTrials()), nil)
	if err != nil {
		log.Fatal(err)
	}
	model, err := discharge.Fit(table, nil)
	if err != nil {
		log.Fatal(err)
	}
	p, err := model.Predict(discharge.Settings{"strength_pct": 6.5, "ratio": 1.4, "time_min": 12})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("expected L* %.0f under %s, 95 %% of lots within ΔE00 %.0f\n", p.Shade.L, model.Viewing(), p.DeltaEP95)
	s, err := model.Suggest(discharge.Target{ID: "mid blue", Viewing: model.Viewing(), Lab: colorimetry.Lab{L: 48, A: -2.6, B: -9}}, nil)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println("reachable:", s.Reachable)
	red, err := model.Suggest(discharge.Target{ID: "red", Viewing: model.Viewing(), Lab: colorimetry.Lab{L: 45, A: 40, B: 20}}, nil)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println("red reachable:", red.Reachable)
	// Output:
	// expected L* 48 under D65/10, 95 % of lots within ΔE00 5
	// reachable: true
	// red reachable: false
}
