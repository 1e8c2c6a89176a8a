package main

import (
	"bytes"
	"maps"
	"math/rand/v2"

	"example.com/dosetone/datasets/demo"
	"example.com/dosetone/internal/laundry"
)

// Seeds of what is run and read; the laundries have their own in
// internal/laundry. One stream per file, so that a change of one file leaves
// the others as they are.
const (
	seed             = 20260
	trialStream      = 1
	standardStream   = 2
	productionStream = 8
	bathStream       = 4
	fabricStream     = 5
	newLotsStream    = 6
)

// offPath is how far the standard, from another mill, lies off the laundry's
// own shade path (see laundry.Standard).
const offPath = 0.015

// limit is the factor on time that makes the light limit; its inverse makes
// the dark one.
const limit = 1.2

type file struct {
	name string
	data []byte
}

func stream(n uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, n)) }

// scenario returns the files of the demo.
func scenario() ([]file, error) {
	pellet, err := laundry.Demo()
	if err != nil {
		return nil, err
	}
	bath, err := laundry.DemoHypochlorite()
	if err != nil {
		return nil, err
	}
	trials := pelletTrials(pellet, stream(trialStream))
	bathTrials, err := hypochloriteTrials(bath, stream(bathStream))
	if err != nil {
		return nil, err
	}
	const invented = "invented data: no real laundry, buyer or product; made by datasets/demo/generate; "
	var files []file
	for _, f := range []struct {
		name string
		o    laundry.TableOptions
		what string
		lots []laundry.Lot
	}{
		{demo.PelletTrialsFile, laundry.TableOptions{Tensile: true}, "trial lots with permanganate pellets", trials},
		{demo.PelletSwatchesFile, laundry.TableOptions{Form: laundry.Swatches}, "the pellet trials as sRGB swatches", trials},
		{demo.PelletStandardFile, laundry.TableOptions{}, "a buyer's standard with light and dark limit", standards(pellet, stream(standardStream))},
		{demo.PelletProductionFile, laundry.TableOptions{}, "two production lots", production(pellet, stream(productionStream))},
		{demo.PelletNewFabricFile, laundry.TableOptions{}, "two trial lots on another fabric", newFabric(pellet)},
		{demo.HypochloriteTrialFile, laundry.TableOptions{}, "trial lots in a hypochlorite bath", bathTrials},
	} {
		var b bytes.Buffer
		f.o.Comment = invented + f.what
		if err := laundry.Table(&b, f.o, f.lots...); err != nil {
			return nil, err
		}
		files = append(files, file{f.name, b.Bytes()})
	}
	return files, nil
}

// pelletTrials runs 18 lots on three strengths × three ratios × three times in
// equal steps of the logarithm: of the 27 cells the nine whose level numbers
// sum to a multiple of 3 and seven of the nine next ones (a fraction of the
// 3³ factorial in which every pair of levels of two factors occurs; textbook
// practice), and the middle twice again.
func pelletTrials(l *laundry.Laundry, rng *rand.Rand) []laundry.Lot {
	at := func(strength, ratio, min float64) map[string]float64 {
		return map[string]float64{"strength_pct": strength, "ratio": ratio, "time_min": min}
	}
	strengths, ratios, times := [3]float64{4, 6.5, 10}, [3]float64{1, 1.4, 2}, [3]float64{6, 12, 24}
	var plan []map[string]float64
	for _, sum := range []int{0, 1} {
		for i := range 3 {
			for j := range 3 {
				k := (sum - i - j + 6) % 3
				if sum == 1 && i == j && i != 1 {
					continue // the two cells that are left out
				}
				plan = append(plan, at(strengths[i], ratios[j], times[k]))
			}
		}
	}
	plan = append(plan, at(6.5, 1.4, 12), at(6.5, 1.4, 12))
	rng.Shuffle(len(plan), func(i, j int) { plan[i], plan[j] = plan[j], plan[i] })
	return append(ends(l, at(0, 1.4, 12), rng), l.Trials(plan, rng, laundry.RunOptions{})...)
}

func hypochloriteTrials(l *laundry.Laundry, rng *rand.Rand) ([]laundry.Lot, error) {
	plan, err := l.Ladder(12, rng)
	if err != nil {
		return nil, err
	}
	lots := ends(l, map[string]float64{"liquor_ratio": 8, "time_min": 14, "temp_c": 45}, rng)
	return append(lots, l.Trials(plan, rng, laundry.RunOptions{})...), nil
}

// ends reads base, blank and white.
func ends(l *laundry.Laundry, blank map[string]float64, rng *rand.Rand) []laundry.Lot {
	lots := []laundry.Lot{
		l.Base(rng, laundry.RunOptions{}), l.Blank(blank, rng, laundry.RunOptions{}), l.White(rng, laundry.RunOptions{}),
	}
	for i, id := range []string{"BASE", "BLANK", "WHITE"} {
		lots[i].ID = id
	}
	return lots
}

func standards(l *laundry.Laundry, rng *rand.Rand) []laundry.Lot {
	var lots []laundry.Lot
	for _, c := range []struct {
		id, role string
		factor   float64 // on time
	}{{"STD", "standard", 1}, {"STD-LIGHT", "light_limit", limit}, {"STD-DARK", "dark_limit", 1 / limit}} {
		s := maps.Clone(laundry.DemoStandardSettings())
		s["time_min"] *= c.factor
		lot := l.Standard(s, offPath, 4, rng)
		lot.ID, lot.Role = c.id, c.role
		lots = append(lots, lot)
	}
	return lots
}

// production runs one good lot and one that was not neutralized.
func production(l *laundry.Laundry, rng *rand.Rand) []laundry.Lot {
	good := l.Run(laundry.DemoStandardSettings(), rng, laundry.RunOptions{NoHotSpots: true})
	brown := l.Run(laundry.DemoStandardSettings(), rng, laundry.RunOptions{NoHotSpots: true, Upset: laundry.CastUpset})
	good.ID, brown.ID = "P101", "P102"
	good.Role, brown.Role = "production", "production"
	return []laundry.Lot{good, brown}
}

// newFabric runs two lots on another fabric, one at a lower and one at a higher dose, and reads
// its base and white.
func newFabric(l *laundry.Laundry) []laundry.Lot {
	f := l.NewFabric(stream(fabricStream))
	f.Fabric = "cedar-13oz"
	rng, o := stream(newLotsStream), laundry.RunOptions{NoHotSpots: true}
	lots := []laundry.Lot{f.Base(rng, o), f.White(rng, o)}
	for _, s := range [][3]float64{{5, 1.2, 9}, {8, 1.6, 15}} {
		lots = append(lots, f.Run(map[string]float64{"strength_pct": s[0], "ratio": s[1], "time_min": s[2]}, rng, o))
	}
	for i, id := range []string{"BASE", "WHITE", "N1", "N2"} {
		lots[i].ID = id
	}
	return lots
}
