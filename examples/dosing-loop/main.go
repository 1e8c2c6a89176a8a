// Command dosing-loop asks, each time a sample comes out of the drum and is
// read, how many minutes the lot still needs: the model says what the settings
// give on average, the readings say how this lot differs, and the two are
// weighed by how well each is known.
//
//	go run ./examples/dosing-loop
//
// The laundry, its trials and its readings are invented (a simulation). Samples
// must be rinsed, neutralized and dried before they are read, as those of the
// trials were: a damp sample looks darker.
package main

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/laundry"
)

func main() {
	if err := run(os.Stdout, 5); err != nil {
		fmt.Fprintln(os.Stderr, "dosing-loop:", err)
		os.Exit(1)
	}
}

// run doses one simulated lot of the invented laundry.
func run(w io.Writer, seed uint64) error {
	table, err := discharge.ReadTable(demo.PelletTrialsFile, bytes.NewReader(demo.PelletTrials()), nil)
	if err != nil {
		return err
	}
	model, err := discharge.Fit(table, nil)
	if err != nil {
		return err
	}
	settings := discharge.Settings{"strength_pct": 6.5, "ratio": 1.3}
	target := colorimetry.Lab{L: 48, A: -2.65, B: -9.3}
	lot, err := simulate(settings, seed)
	if err != nil {
		return err
	}
	fmt.Fprintln(w, "invented lot, no real laundry; target L* 48.0")
	loop, err := newLoop(model, settings, target)
	if err != nil {
		return err
	}
	minutes := loop.firstSample()
	for {
		seen := lot.read(minutes)
		left, sd, err := loop.left(minutes, seen)
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "after %4.1f min: L* %.1f, dose %+.0f %% ± %.0f %% of usual; %.1f min left\n", minutes, seen.L, 100*math.Expm1(loop.shift), 100*sd, left)
		if left < 0.5 {
			fmt.Fprintf(w, "unload now, at %.1f min\n", minutes)
			return nil
		}
		minutes += math.Max(left/2, 0.5) // half way: too much cannot be undone
	}
}

// loop is what is known of one lot while it runs.
type loop struct {
	model    *discharge.Model
	settings discharge.Settings
	level    float64 // of the target
	usual    float64 // minutes that lots at these settings need on average

	shift, weight float64 // ln dose of this lot over the usual, and 1/variance
}

func newLoop(m *discharge.Model, s discharge.Settings, target colorimetry.Lab) (*loop, error) {
	l := &loop{model: m, settings: s, level: m.NearestLevel(target)}
	var ok bool
	var err error
	l.usual, _, ok, err = m.TimeFor(s, l.level)
	if err == nil && !ok {
		err = fmt.Errorf("no time at these settings reaches L* %.1f", target.L)
	}
	return l, err
}

// firstSample is when to look for the first time: half of the usual.
func (l *loop) firstSample() float64 { return l.usual / 2 }

// left returns the minutes that remain once a sample read after minutes is
// taken into account, and the standard deviation of the lot's ln dose.
func (l *loop) left(minutes float64, seen colorimetry.Lab) (left, sd float64, err error) {
	s := l.settings.Clone()
	s["time_min"] = minutes
	level := l.model.NearestLevel(seen)
	r, err := l.model.DoseResidual(s, level)
	if err != nil {
		return 0, 0, err
	}
	if l.weight == 0 { // before any reading: lots differ by so much, about 0
		l.weight = 1 / (r.SDModel*r.SDModel + r.SDLots*r.SDLots)
	} else { // the curve may be off by another share at another time
		l.weight = 1 / (1/l.weight + r.SDModel*r.SDModel)
	}
	// A sample of one panel differs from its lot; in ln dose that is the panels'
	// scatter over the slope of the path.
	tangent, slope := l.model.Tangent(level), l.model.Slope(level)
	span := tangent[0] * slope // L* per ln dose
	noise := l.model.ScatterAt(level).Panel[0][0] / (span * span)
	l.shift = (l.weight*l.shift + r.LnDose/noise) / (l.weight + 1/noise)
	l.weight += 1 / noise
	// The lot reaches the target when the usual lot reaches the level that lies
	// shift below it in dose.
	lo, hi := 0.0, 1.0
	for range 50 {
		mid := (lo + hi) / 2
		if l.model.DoseBetween(mid, l.level) > l.shift {
			lo = mid
		} else {
			hi = mid
		}
	}
	end, _, ok, err := l.model.TimeFor(l.settings, (lo+hi)/2)
	if err != nil || !ok {
		return 0, 0, fmt.Errorf("the lot cannot reach the target in any tested time (%w)", err)
	}
	return end - minutes, 1 / math.Sqrt(l.weight), nil
}

// simulated is one lot of the simulation, which can be looked at at any minute.
type simulated struct {
	laundry  *laundry.Laundry
	settings discharge.Settings
	seed     uint64
	weights  *colorimetry.Weights
	sample   int
}

func simulate(s discharge.Settings, seed uint64) (*simulated, error) {
	l, err := laundry.Demo()
	if err != nil {
		return nil, err
	}
	w, err := colorimetry.NewWeights(colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}, laundry.Grid())
	return &simulated{laundry: l, settings: s, seed: seed, weights: w}, err
}

// lot is the whole lot if it were unloaded after minutes. The same seed gives
// the same lot, with the same luck in dosing, at every time.
func (x *simulated) lot(minutes float64) laundry.Lot {
	s := x.settings.Clone()
	s["time_min"] = minutes
	return x.laundry.Run(s, rand.New(rand.NewPCG(x.seed, 9)), laundry.RunOptions{NoHotSpots: true})
}

// read is a sample: one of the lot's panels, another one each time.
func (x *simulated) read(minutes float64) colorimetry.Lab {
	lot := x.lot(minutes)
	x.sample = (x.sample + 1) % len(lot.Readings)
	return x.weights.Lab(lot.Readings[x.sample].R)
}
