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
	"errors"
	"fmt"
	"io"
	"math"
	"os"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/discharge"
)

func main() {
	if err := run(os.Stdout, sample); err != nil {
		fmt.Fprintln(os.Stderr, "dosing-loop:", err)
		os.Exit(1)
	}
}

// run doses one lot of the invented laundry, whose shade after some minutes read tells.
func run(w io.Writer, read func(minutes float64) colorimetry.Lab) error {
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
	fmt.Fprintln(w, "invented lot, no real laundry; target L* 48.0")
	loop, err := newLoop(model, settings, target)
	if err != nil {
		return err
	}
	minutes := loop.firstSample()
	for {
		seen := read(minutes)
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
	if err != nil {
		return 0, 0, err
	}
	if !ok {
		return 0, 0, errors.New("the lot cannot reach the target in any tested time")
	}
	return end - minutes, 1 / math.Sqrt(l.weight), nil
}

// reading is what a sample showed.
type reading struct {
	minutes float64
	shade   colorimetry.Lab
}

// invented are samples of a lot of the simulation, a panel of it every second minute.
func invented() []reading {
	return []reading{
		{4, colorimetry.Lab{L: 32.2, A: -1.7, B: -11.8}}, {6, colorimetry.Lab{L: 35.5, A: -2.0, B: -11.4}}, {8, colorimetry.Lab{L: 39.6, A: -2.3, B: -10.9}},
		{10, colorimetry.Lab{L: 41.4, A: -2.3, B: -10.7}}, {12, colorimetry.Lab{L: 43.9, A: -2.4, B: -10.2}}, {14, colorimetry.Lab{L: 45.3, A: -2.7, B: -9.4}},
		{16, colorimetry.Lab{L: 47.3, A: -2.6, B: -9.2}}, {18, colorimetry.Lab{L: 49.7, A: -2.7, B: -8.8}}, {20, colorimetry.Lab{L: 51.8, A: -2.7, B: -8.4}},
		{22, colorimetry.Lab{L: 51.3, A: -2.7, B: -8.2}}, {24, colorimetry.Lab{L: 53.0, A: -2.7, B: -7.8}},
	}
}

// sample stands in for an instrument: the invented lot after minutes, between its readings
// in proportion.
func sample(minutes float64) colorimetry.Lab {
	list := invented()
	k := 0
	for k < len(list)-2 && list[k+1].minutes < minutes {
		k++
	}
	from, to := list[k].shade, list[k+1].shade
	u := (minutes - list[k].minutes) / (list[k+1].minutes - list[k].minutes)
	return colorimetry.Lab{L: from.L + u*(to.L-from.L), A: from.A + u*(to.A-from.A), B: from.B + u*(to.B-from.B)}
}
