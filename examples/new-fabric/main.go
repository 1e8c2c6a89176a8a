// Command new-fabric carries a model over to another fabric with two lots run
// on it, and shows what that changes.
//
//	go run ./examples/new-fabric
//
// Laundry, fabrics and lots are invented (a simulation).
package main

import (
	"bytes"
	"fmt"
	"io"
	"os"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
)

func main() {
	if err := run(os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "new-fabric:", err)
		os.Exit(1)
	}
}

func run(w io.Writer) error {
	trials, err := discharge.ReadTable(demo.PelletTrialsFile, bytes.NewReader(demo.PelletTrials()), nil)
	if err != nil {
		return err
	}
	model, err := discharge.Fit(trials, nil)
	if err != nil {
		return err
	}
	lots, err := discharge.ReadTable(demo.PelletNewFabricFile, bytes.NewReader(demo.PelletNewFabric()), nil)
	if err != nil {
		return err
	}
	moved, err := model.Recalibrate(lots, nil)
	if err != nil {
		return err
	}
	f := moved.Recalibration().Factor()
	fmt.Fprintf(w, "invented fabric: the same settings give %.2f times the dose (95 %%: %.2f to %.2f)\n", f[1], f[0], f[2])
	for _, warning := range moved.Warnings()[len(model.Warnings()):] {
		fmt.Fprintln(w, "warning:", warning)
	}
	settings := discharge.Settings{"strength_pct": 6.5, "ratio": 1.4, "time_min": 12}
	for _, m := range []struct {
		name string
		*discharge.Model
	}{{"first fabric", model}, {"new fabric", moved}} {
		p, err := m.Predict(settings)
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%-12s  L* %.1f  a* %.1f  b* %.1f, 95 %% of lots within ΔE00 %.1f\n", m.name, p.Shade.L, p.Shade.A, p.Shade.B, p.DeltaEP95)
	}
	return nil
}
