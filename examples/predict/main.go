// Command predict asks a model file, in this process, what shade a setting
// gives: what a dosing controller or a production system would do.
//
//	dosetone fit trials.csv -o model.json
//	go run ./examples/predict model.json
package main

import (
	"fmt"
	"io"
	"os"

	"example.com/dosetone/discharge"
)

func main() {
	if err := run(os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "predict:", err)
		os.Exit(1)
	}
}

func run(args []string, w io.Writer) error {
	if len(args) != 1 {
		return fmt.Errorf("want one argument, the model file, have %d", len(args))
	}
	f, err := os.Open(args[0])
	if err != nil {
		return err
	}
	defer f.Close()
	model, err := discharge.Load(f)
	if err != nil {
		return err
	}
	// From here on there is no I/O, and any number of goroutines may ask.
	for minutes := 8.0; minutes <= 20; minutes += 4 {
		p, err := model.Predict(discharge.Settings{"strength_pct": 6.5, "ratio": 1.4, "time_min": minutes})
		if err != nil {
			return err
		}
		lo, hi := p.Interval(0, 0.95)
		fmt.Fprintf(w, "%2.0f min: L* %.1f (95 %% of lots %.1f to %.1f), a* %.1f, b* %.1f\n", minutes, p.Shade.L, lo, hi, p.Shade.A, p.Shade.B)
	}
	return nil
}
