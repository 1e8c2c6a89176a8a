package discharge_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"log"
	"math/rand/v2"
	"strings"
	"sync"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/laundry"
)

// demoTrials reads the demo's table of invented lots.
func demoTrials() *discharge.Table {
	table, err := discharge.ReadTable("trials.csv", bytes.NewReader(demo.PelletTrials()), nil)
	if err != nil {
		log.Fatal(err)
	}
	return table
}

// demoModel is the demo's model.
func demoModel() *discharge.Model {
	model, err := discharge.Fit(demoTrials(), nil)
	if err != nil {
		log.Fatal(err)
	}
	return model
}

// A table is read whole or refused with the place of the fault.
func ExampleReadTable() {
	table := demoTrials()
	fmt.Println(len(table.ByRole(discharge.Trial)), "trial lots,", table.Kind, "under", table.Viewing)

	_, err := discharge.ReadTable("mine.csv", strings.NewReader("lot,role,process,strength_pct,ratio,time_min,illuminant,observer,L,a,b\n"+
		"T1,trial,permanganate-pellet,4,1,x,D65,10,30,-1,-11\n"), nil)
	var fault *discharge.RowError
	if errors.As(err, &fault) {
		fmt.Println("row", fault.Row, "column", fault.Column, "value", fault.Value)
	}
	// Output:
	// 18 trial lots, spectrum under D65/10
	// row 2 column time_min value x
}

// What was learned, and how well lots are predicted that the fit did not see.
func ExampleFit() {
	model, err := discharge.Fit(demoTrials(), nil)
	if err != nil {
		log.Fatal(err)
	}
	s := model.Summary()
	fmt.Printf("%s: half of the lots, each unseen, are met within ΔE00 2: %t\n", s.Process, s.LOOMedian < 2)
	// The demo's laundry is simulated, so the truth is known.
	home, err := laundry.Demo()
	if err != nil {
		log.Fatal(err)
	}
	settings := discharge.Settings{"strength_pct": 7, "ratio": 1.3, "time_min": 13}
	p, err := model.Predict(settings)
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println("expected shade within ΔE00 1 of the truth:", colorimetry.CIEDE2000{}.Diff(home.ExpectedLab(settings), p.Shade) < 1)
	// Output:
	// permanganate-pellet: half of the lots, each unseen, are met within ΔE00 2: true
	// expected shade within ΔE00 1 of the truth: true
}

// A model file is loaded once and then asked by any number of goroutines.
func ExampleLoad() {
	var file bytes.Buffer // what dosetone fit -o model.json writes
	if err := demoModel().Save(&file, "example"); err != nil {
		log.Fatal(err)
	}
	model, err := discharge.Load(&file)
	if err != nil {
		log.Fatal(err)
	}
	lightness := make([]float64, 4)
	var all sync.WaitGroup
	for i := range lightness {
		all.Go(func() {
			p, err := model.Predict(discharge.Settings{"strength_pct": 6.5, "ratio": 1.4, "time_min": float64(8 + 4*i)})
			if err != nil {
				log.Fatal(err)
			}
			lightness[i] = p.Shade.L
		})
	}
	all.Wait()
	fmt.Println("longer is lighter:", lightness[0] < lightness[1] && lightness[1] < lightness[2] && lightness[2] < lightness[3])
	_, err = discharge.Load(strings.NewReader("{}"))
	fmt.Println(errors.Is(err, discharge.ErrModelFile))
	// Output:
	// longer is lighter: true
	// true
}

func ExampleModel_Predict() {
	p, err := demoModel().Predict(discharge.Settings{"strength_pct": 6.5, "ratio": 1.4, "time_min": 12})
	if err != nil {
		log.Fatal(err)
	}
	lo, hi := p.Interval(0, 0.95)
	fmt.Printf("L* %.0f; 95 %% of lots between %.0f and %.0f; tested settings: %t\n", p.Shade.L, lo, hi, !p.Extrapolated)
	// Output:
	// L* 48; 95 % of lots between 43 and 53; tested settings: true
}

// Settings for a shade, with the strengths in store and a drum that is free for
// 20 minutes.
func ExampleModel_Suggest() {
	model := demoModel()
	target := discharge.Target{ID: "mid blue", Viewing: model.Viewing(), Lab: colorimetry.Lab{L: 48, A: -2.6, B: -9}}
	s, err := model.Suggest(target, &discharge.SuggestOptions{
		Tolerance: 2,
		Bounds:    map[string]discharge.Range{"time_min": {Lo: 8, Hi: 20}},
		Available: map[string][]float64{"strength_pct": {4, 6.5, 10}},
	})
	if err != nil {
		log.Fatal(err)
	}
	best := s.List[0]
	fmt.Printf("strength %g %%, within ΔE00 %.0f of the target\n", best.Settings["strength_pct"], best.DeltaE)
	fmt.Println("unload before it is too late:", best.TimeWindowMin[1] > best.Settings["time_min"])
	// Output:
	// strength 6.5 %, within ΔE00 0 of the target
	// unload before it is too late: true
}

// Trial lots when there are none yet.
func ExampleFirstPlan() {
	p, err := discharge.LookupProcess("permanganate-pellet")
	if err != nil {
		log.Fatal(err)
	}
	plan, err := discharge.FirstPlan(p, &discharge.PlanOptions{Seed: 1, Bounds: map[string]discharge.Range{
		"strength_pct": {Lo: 4, Hi: 10}, "ratio": {Lo: 1, Hi: 2}, "time_min": {Lo: 6, Hi: 24},
	}})
	if err != nil {
		log.Fatal(err)
	}
	levels := map[float64]bool{}
	for _, s := range plan.Trials() {
		levels[s["time_min"]] = true
	}
	fmt.Println(len(plan.Trials()), "lots; three or more times, so that a bend shows:", len(levels) >= 3)
	// Output:
	// 12 lots; three or more times, so that a bend shows: true
}

// The lots that teach most about one shade.
func ExampleModel_Plan() {
	model := demoModel()
	plan, err := model.Plan(&discharge.PlanOptions{Lots: 4, Seed: 1,
		Target: &discharge.Target{ID: "mid blue", Viewing: model.Viewing(), Lab: colorimetry.Lab{L: 48, A: -2.6, B: -9}}})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println(len(plan.Trials()), "lots; they narrow the interval:", plan.After.L < plan.Before.L)
	// Output:
	// 4 lots; they narrow the interval: true
}

// Two lots on another fabric move the model there.
func ExampleModel_Recalibrate() {
	model := demoModel()
	home, err := laundry.Demo()
	if err != nil {
		log.Fatal(err)
	}
	fabric, rng := home.NewFabric(rand.New(rand.NewPCG(3, 3))), rand.New(rand.NewPCG(7, 7))
	one := fabric.Run(discharge.Settings{"strength_pct": 5, "ratio": 1.2, "time_min": 9}, rng, laundry.RunOptions{})
	two := fabric.Run(discharge.Settings{"strength_pct": 8, "ratio": 1.6, "time_min": 15}, rng, laundry.RunOptions{})
	base, white := fabric.Base(rng, laundry.RunOptions{}), fabric.White(rng, laundry.RunOptions{})
	one.ID, two.ID, base.ID, white.ID = "N1", "N2", "BASE", "WHITE"
	var file bytes.Buffer
	if err := laundry.Table(&file, laundry.TableOptions{Comment: "invented"}, base, white, one, two); err != nil {
		log.Fatal(err)
	}
	table, err := discharge.ReadTable("lots.csv", &file, nil)
	if err != nil {
		log.Fatal(err)
	}
	moved, err := model.Recalibrate(table, nil)
	if err != nil {
		log.Fatal(err)
	}
	settings := discharge.Settings{"strength_pct": 6, "ratio": 1.4, "time_min": 14}
	truth := fabric.ExpectedLab(settings)
	before, err := model.Predict(settings)
	if err != nil {
		log.Fatal(err)
	}
	after, err := moved.Predict(settings)
	if err != nil {
		log.Fatal(err)
	}
	var f colorimetry.CIEDE2000
	fmt.Println("nearer to the simulation's truth:", f.Diff(truth, after.Shade) < f.Diff(truth, before.Shade))
	// Output:
	// nearer to the simulation's truth: true
}

// A settings table of any length, a piece at a time. Pieces may be parsed by
// several goroutines: examples/batch does.
func ExampleNewSettingsStream() {
	model := demoModel()
	stream := discharge.NewSettingsStream("settings.csv", strings.NewReader("id;strength_pct;ratio;time_min\na;6,5;1,4;12\nb;6,5;1,4;16\n"), model.Process())
	for {
		piece, err := stream.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			log.Fatal(err)
		}
		list, err := piece.Parse()
		if err != nil {
			log.Fatal(err)
		}
		for _, row := range list.Items {
			p, err := model.Predict(row.Settings)
			if err != nil {
				log.Fatal(err)
			}
			fmt.Printf("%s: L* %.0f\n", row.ID, p.Shade.L)
		}
	}
	// Output:
	// a: L* 48
	// b: L* 51
}
