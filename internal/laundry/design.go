package laundry

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
)

// Ladder returns the settings of a practitioner's first trials, in random run
// order: two strengths × two levels of the second factor × a ladder of times
// in equal ratios. One cell of the grid, drawn, is given up for a replicate of
// another. A temperature alternates between its ends from cell to cell, so
// that it is not confounded with the three others one by one. nLots must be a
// multiple of 4, at least 8: 12, 16 and 24 are usual.
func (l *Laundry) Ladder(nLots int, rng *rand.Rand) ([]map[string]float64, error) {
	if nLots < 8 || nLots%4 != 0 {
		return nil, fmt.Errorf("laundry: a ladder has a multiple of 4 and at least 8 lots, not %d", nLots)
	}
	rungs := nLots / 4
	var lots []map[string]float64
	for i := range 2 {
		for j := range 2 {
			for k := range rungs {
				s := map[string]float64{}
				for n, f := range l.process.factors {
					switch {
					case f.Recorded:
						continue
					case f.Column == "time_min":
						s[f.Column] = round(f.Lo*math.Pow(f.Hi/f.Lo, float64(k)/float64(rungs-1)), f.Step)
					case f.Column == "temp_c":
						s[f.Column] = [2]float64{f.Lo, f.Hi}[(i+j+k)%2]
					case n == 0:
						s[f.Column] = [2]float64{f.Lo, f.Hi}[i]
					default:
						s[f.Column] = [2]float64{f.Lo, f.Hi}[j]
					}
				}
				lots = append(lots, s)
			}
		}
	}
	drop := rng.IntN(nLots)
	keep := rng.IntN(nLots - 1)
	if keep >= drop {
		keep++
	}
	lots[drop] = maps.Clone(lots[keep])
	rng.Shuffle(nLots, func(i, j int) { lots[i], lots[j] = lots[j], lots[i] })
	return lots, nil
}

// RandomSettings draws settings inside the trial region, log-uniformly and
// independently (temperature and moisture uniformly), rounded as dialed.
// Factors that are only recorded are left out.
func (l *Laundry) RandomSettings(rng *rand.Rand) map[string]float64 {
	s := map[string]float64{}
	for _, f := range l.process.factors {
		switch {
		case f.Recorded:
			continue
		case f.Column == "temp_c" || f.Column == "moisture_pct":
			s[f.Column] = uniform(rng, f.Lo, f.Hi)
		default:
			s[f.Column] = between(rng, f.Lo, f.Hi)
		}
		s[f.Column] = min(max(round(s[f.Column], f.Step), f.Lo), f.Hi)
	}
	return s
}

// Trials runs one lot at each of the settings, named T01, T02, …
func (l *Laundry) Trials(settings []map[string]float64, rng *rand.Rand, o RunOptions) []Lot {
	lots := make([]Lot, len(settings))
	for i, s := range settings {
		lots[i] = l.Run(s, rng, o)
		lots[i].ID = fmt.Sprintf("T%02d", i+1)
	}
	return lots
}
