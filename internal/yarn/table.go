package yarn

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"

	"example.com/dosetone/internal/trialtable"
)

// WriteTrials runs one lot at each of the settings, T01, T02, …, and writes
// them as a tidy CSV, one row per reading, with the lots BASE, WHITE and BLANK,
// the last without oxidizer in the middle of the region. In a laundry with the
// feature "upset-lot" one of the trials gets 0.7 or 1.3 times its dose.
// Settings without a value for each factor are an error.
func (l *Laundry) WriteTrials(w io.Writer, rng *rand.Rand, lots []map[string]float64) error {
	if len(lots) == 0 {
		return errors.New("yarn: no lots to run")
	}
	for i, s := range lots {
		for _, f := range l.factors {
			if _, ok := s[f.Column]; !ok {
				return fmt.Errorf("yarn: lot %d has no %s", i+1, f.Column)
			}
		}
	}
	var columns []string
	for _, f := range l.factors {
		columns = append(columns, f.Column)
	}
	table := trialtable.New(w, l.Process, columns, Grid())
	add := func(id string, r role, x point, dosed float64) {
		for _, rd := range l.lot(rng, r, x, dosed) {
			table.Add(id, string(r), x, rd.panel, rd.position, rd.spectrum[:])
		}
	}
	add("BASE", base, nil, 1)
	add("WHITE", white, nil, 1)
	add("BLANK", blank, l.idle(), 1)
	upset := -1
	if l.scatter.upset {
		upset = rng.IntN(len(lots))
	}
	for i, s := range lots {
		dosed := 1.0
		if i == upset {
			dosed = [2]float64{0.7, 1.3}[rng.IntN(2)]
		}
		add(fmt.Sprintf("T%02d", i+1), trial, l.at(s), dosed)
	}
	return table.Close()
}

// idle is the middle of the region as it would be dialed, without oxidizer.
func (l *Laundry) idle() (x point) {
	for i, f := range l.factors {
		x = append(x, round(l.middle[i], f.digits))
	}
	x[strength] = 0
	return x
}
