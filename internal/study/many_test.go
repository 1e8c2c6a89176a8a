package study

import (
	"bytes"
	"fmt"
	"io"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/laundry"
)

// manyFrom is the first seed of the laundries from which the prior is learned;
// nothing is judged on them.
const manyFrom = 40000

// TestWriteManySettings writes what TestLearnPrior of package discharge learns
// from: trials of simulated laundries at four or five levels of every factor, each
// twice, in files SIMULATOR_PROCESS_NUMBER.csv in the directory DOSETONE_PRIOR.
func TestWriteManySettings(t *testing.T) {
	dir := os.Getenv("DOSETONE_PRIOR")
	if dir == "" {
		t.Skip("DOSETONE_PRIOR is not set")
	}
	write := func(name string, f func(w io.Writer) error) {
		var b bytes.Buffer
		require.NoError(t, f(&b), name)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name+".csv"), b.Bytes(), 0o644))
	}
	for _, s := range teachers() {
		seed := uint64(manyFrom)
		for _, p := range s.processes {
			for range 50 {
				l, err := s.make(p, seed)
				require.NoError(t, err)
				ladder, err := l.Ladder(16)
				require.NoError(t, err)
				write(fmt.Sprintf("%s_%s_%d", s.name, p, seed), func(w io.Writer) error {
					return l.WriteTrials(w, rand.New(rand.NewPCG(seed, 777)), manyLevelsTwice(ladder, l.columns))
				})
				seed++
			}
		}
	}
	size := Full(1)
	size.Calm, size.Scale = 0.6, laundry.Scale{Region: 1.5, Oxidizer: 1}
	for _, p := range size.Processes {
		for _, k := range size.Kinds {
			for i := range 7 {
				s, err := size.scene(k, p, manyFrom+uint64(i))
				require.NoError(t, err)
				var columns []string
				for _, f := range s.Laundry.Factors() {
					if !f.Recorded {
						columns = append(columns, f.Column)
					}
				}
				lots := []laundry.Lot{s.Laundry.Base(s.rng, laundry.RunOptions{}), s.Laundry.White(s.rng, laundry.RunOptions{})}
				lots[0].ID, lots[1].ID = "BASE", "WHITE"
				for i, settings := range manyLevelsTwice(s.Ladder(16), columns) {
					lot := s.Laundry.Run(settings, s.rng, laundry.RunOptions{NoHotSpots: true})
					lot.ID = fmt.Sprint("T", i+1)
					lots = append(lots, lot)
				}
				write(fmt.Sprintf("package_%s_%v-%d", p, k, manyFrom+i), func(w io.Writer) error {
					return laundry.Table(w, laundry.TableOptions{}, lots...)
				})
			}
		}
	}
}

// spanned is from where to where a design goes in a column.
func spanned(design []map[string]float64, column string) discharge.Range {
	r := discharge.Range{Lo: math.Inf(1), Hi: math.Inf(-1)}
	for _, d := range design {
		r.Lo, r.Hi = math.Min(r.Lo, d[column]), math.Max(r.Hi, d[column])
	}
	return r
}

// manyLevelsTwice is the grid of five levels, even in logarithms, of each column
// between the ends of a design, run twice; of four columns or more, four levels.
func manyLevelsTwice(design []map[string]float64, columns []string) []map[string]float64 {
	levels := 5
	if len(columns) > 3 {
		levels = 4
	}
	grid := []map[string]float64{{}}
	for _, c := range columns {
		r := spanned(design, c)
		var wider []map[string]float64
		for _, g := range grid {
			for i := range levels {
				s := map[string]float64{c: r.Lo * math.Pow(r.Hi/r.Lo, float64(i)/float64(levels-1))}
				maps.Copy(s, g)
				wider = append(wider, s)
			}
		}
		grid = wider
	}
	return append(grid, grid...)
}
