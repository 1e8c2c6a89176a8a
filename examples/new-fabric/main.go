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
	"math/rand/v2"
	"os"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/laundry"
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
	home, err := laundry.Demo()
	if err != nil {
		return err
	}
	data, err := newLots(home.NewFabric(rand.New(rand.NewPCG(1, 3))))
	if err != nil {
		return err
	}
	lots, err := discharge.ReadTable("new-fabric.csv", bytes.NewReader(data), nil)
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

// newLots is the table of what was run on the new fabric: its base and white,
// and two lots, one at a lower and one at a higher dose.
func newLots(l *laundry.Laundry) ([]byte, error) {
	rng := rand.New(rand.NewPCG(7, 7))
	o := laundry.RunOptions{NoHotSpots: true}
	lots := []laundry.Lot{l.Base(rng, o), l.White(rng, o)}
	lots[0].ID, lots[1].ID = "BASE", "WHITE"
	for i, s := range [][3]float64{{5, 1.2, 9}, {8, 1.6, 15}} {
		lot := l.Run(map[string]float64{"strength_pct": s[0], "ratio": s[1], "time_min": s[2]}, rng, o)
		lot.ID = fmt.Sprintf("N%d", i+1)
		lots = append(lots, lot)
	}
	var b bytes.Buffer
	err := laundry.Table(&b, laundry.TableOptions{Comment: "invented data: no real laundry, a simulated fabric"}, lots...)
	return b.Bytes(), err
}
