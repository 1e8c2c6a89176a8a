package study

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/fit"
)

// Lots that follow one log dose and a path exactly: the peer finds them again
// between the levels that it saw.
func TestOneDoseFindsAnExactDose(t *testing.T) {
	shade := func(s discharge.Settings) colorimetry.Lab {
		u := fit.LogLogistic{}.At(0.2 + 1.1*math.Log(s["strength_pct"]/6) + 0.7*math.Log(s["time_min"]/12))
		return colorimetry.Lab{L: 20 + 60*u, A: -3 * u * (1 - u), B: -14 + 18*u*u}
	}
	lot := func(id string, r discharge.Role, s discharge.Settings, c colorimetry.Lab) discharge.Lot {
		return discharge.Lot{ID: id, Role: r, Settings: s, Panels: []discharge.Panel{{ID: "1", Readings: []discharge.Reading{{Lab: c}}}}}
	}
	table := &discharge.Table{Lots: []discharge.Lot{
		lot("base", discharge.Base, nil, colorimetry.Lab{L: 20, B: -14}), lot("white", discharge.White, nil, colorimetry.Lab{L: 80, B: 4}),
	}}
	for _, strength := range []float64{4, 9} {
		for _, minutes := range []float64{5, 9, 16, 28} {
			s := discharge.Settings{"strength_pct": strength, "time_min": minutes}
			table.Lots = append(table.Lots, lot(fmt.Sprint(len(table.Lots)), discharge.Trial, s, shade(s)))
		}
	}
	peer := OneDose(table, []string{"strength_pct", "time_min"}, fit.LogLogistic{}, 0.3)
	for _, s := range []discharge.Settings{{"strength_pct": 6, "time_min": 12}, {"strength_pct": 5, "time_min": 24}, {"strength_pct": 8, "time_min": 7}} {
		assert.Less(t, diff(shade(s), peer(s)), 0.05)
	}
}
