// Package sixlots holds the table of the README's walk-through: six invented
// trial lots with base and white, as Lab readings.
package sixlots

import (
	"bytes"
	"encoding/csv"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/laundry"
)

var update = flag.Bool("update", false, "write the table again")

const file = "invented-six-lots.csv"

// The table is what the simulated laundry behind the demo gives, seed 6.
func TestTableIsWhatTheSimulationGives(t *testing.T) {
	got := simulate(t)
	if *update {
		require.NoError(t, os.WriteFile(file, got, 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got))
}

func simulate(t *testing.T) []byte {
	t.Helper()
	rng := rand.New(rand.NewPCG(6, 1))
	l, err := laundry.Demo()
	require.NoError(t, err)
	o := laundry.RunOptions{Panels: 3, Positions: 1, NoHotSpots: true}
	lots := []laundry.Lot{l.Base(rng, o), l.White(rng, o)}
	lots[0].ID, lots[1].ID = "BASE", "WHITE"
	for i, s := range [][3]float64{{4, 1, 10}, {4, 2, 18}, {6, 1.4, 14}, {6, 2, 8}, {8, 1, 18}, {8, 1.4, 10}} {
		lot := l.Run(map[string]float64{"strength_pct": s[0], "ratio": s[1], "time_min": s[2]}, rng, o)
		lot.ID, lot.Role = fmt.Sprintf("T%d", i+1), "trial"
		lots = append(lots, lot)
	}
	var full bytes.Buffer
	require.NoError(t, laundry.Table(&full, laundry.TableOptions{Form: laundry.LabForm}, lots...))
	rows, err := csv.NewReader(&full).ReadAll()
	require.NoError(t, err)
	// Only what a laundry writes down to begin with, in the README's order, and
	// one decimal less than the instrument has.
	columns := []string{"lot", "role", "process", "strength_pct", "ratio", "time_min", "panel", "illuminant", "observer", "L", "a", "b"}
	var b bytes.Buffer
	b.WriteString("# invented data: no real laundry, buyer or product; six trial lots with permanganate pellets, from a simulation\n")
	for i, row := range rows {
		var cells []string
		for _, c := range columns {
			cell := row[slices.Index(rows[0], c)]
			if i > 0 && (c == "L" || c == "a" || c == "b") {
				cell = cell[:len(cell)-1]
			}
			cells = append(cells, cell)
		}
		b.WriteString(strings.Join(cells, ",") + "\n")
	}
	return b.Bytes()
}

// Six lots give a model whose middle is better than a guess: on the simulation
// itself, at settings between the trials.
func TestSixLotsMakeAModel(t *testing.T) {
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	table, err := discharge.ReadTable(file, bytes.NewReader(data), nil)
	require.NoError(t, err)
	require.Empty(t, table.Warnings)
	m, err := discharge.Fit(table, nil)
	require.NoError(t, err)
	l, err := laundry.Demo()
	require.NoError(t, err)
	settings := map[string]float64{"strength_pct": 6, "ratio": 1.5, "time_min": 15}
	p, err := m.Predict(settings)
	require.NoError(t, err)
	de := colorimetry.CIEDE2000{}.Diff(l.ExpectedLab(settings), p.Shade)
	t.Logf("expected %.1f, predicted %.1f: ΔE00 %.2f from the simulation's expected shade; 95 %% of lots within %.1f by the model", l.ExpectedLab(settings), p.Shade, de, p.DeltaEP95)
	require.Less(t, de, p.DeltaEP95, "the truth lies outside what the model calls possible")
}
