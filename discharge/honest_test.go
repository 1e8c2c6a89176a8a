package discharge

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// shadeOf is a cloth whose level is a logistic function of log dose.
func shadeOf(eta float64) (l, a, b float64) {
	s := 1 / (1 + math.Exp(-eta))
	return 24 + 60*s, -0.5 - 8*s*(1-s), -12 + 4*s - 6*s*(1-s)
}

// gridTrials is a table of lots of three panels at all combinations of levels
// of three columns, the last being time.
func gridTrials(t *testing.T, process string, columns [3]string, levels [3][]float64, eta func(x, y, time float64) float64) *Table {
	var file strings.Builder
	fmt.Fprintf(&file, "lot,role,process,%s,%s,%s,panel,illuminant,observer,L,a,b\n", columns[0], columns[1], columns[2])
	row := func(lot, role, settings string, panel int, eta float64) {
		l, a, b := shadeOf(eta)
		fmt.Fprintf(&file, "%s,%s,%s,%s,%d,D65,10,%.3f,%.3f,%.3f\n", lot, role, process, settings, panel, l, a, b)
	}
	row("base", "base", ",,", 1, -20)
	row("white", "white", ",,", 1, 20)
	n := 0
	for _, x := range levels[0] {
		for _, y := range levels[1] {
			for _, time := range levels[2] {
				n++
				for panel, off := range []float64{-0.02, 0, 0.02} {
					row(fmt.Sprintf("T%d", n), "trial", fmt.Sprintf("%g,%g,%g", x, y, time), panel+1, eta(x, y, time)+off)
				}
			}
		}
	}
	table, err := ReadTable("lots.csv", strings.NewReader(file.String()), nil)
	require.NoError(t, err)
	return table
}

// What is weighed on garment is diluted by more liquor, so an enzyme bath may
// discharge less with it (by definition: g/L = 10 · % on garment / (L/kg)). A
// bath whose dose is concentration × time must be learned as such, and one in
// which liquor helps as that.
func TestLiquorOfALaccaseBathActsAsTheTrialsSay(t *testing.T) {
	for power, says := range map[float64]string{-1: "doubling liquor_ratio multiplies the dose by 0.", 0.5: "doubling liquor_ratio multiplies the dose by 1."} {
		eta := func(strength, liquor, time float64) float64 {
			return math.Log(strength/1.2) + power*math.Log(liquor/8.5) + math.Log(time/30)
		}
		m, err := Fit(gridTrials(t, "laccase-bath", [3]string{"strength_pct", "liquor_ratio", "time_min"},
			[3][]float64{{0.6, 2.4}, {6, 12}, {15, 30, 60}}, eta), nil)
		require.NoError(t, err)
		for _, liquor := range []float64{6, 8, 10, 12} {
			p, err := m.Predict(Settings{"strength_pct": 1.2, "liquor_ratio": liquor, "time_min": 40})
			require.NoError(t, err)
			l, _, _ := shadeOf(eta(1.2, liquor, 40))
			assert.InDelta(t, l, p.Shade.L, 0.5, "power %g, %g L/kg", power, liquor)
		}
		assert.Contains(t, strings.Join(m.Summary().Words, "\n"), says)
	}
}

// Two far levels of moisture say nothing of a best value between them
// (elementary: a parabola needs three points); three do.
func TestTwoLevelsOfAFactorWithABestValueWarn(t *testing.T) {
	eta := func(strength, moisture, time float64) float64 {
		return math.Log(strength/40) - math.Pow((moisture-50)/30, 2) + math.Log(time/10)
	}
	for _, c := range []struct {
		moisture []float64
		warns    bool
	}{{[]float64{25, 75}, true}, {[]float64{45, 55}, false}, {[]float64{25, 50, 75}, false}} {
		m, err := Fit(gridTrials(t, "ozone-gas", [3]string{"strength_gnm3", "moisture_pct", "time_min"},
			[3][]float64{{20, 80}, c.moisture, {6, 12, 24}}, eta), nil)
		require.NoError(t, err)
		warned := strings.Contains(fmt.Sprint(m.Warnings()), "run lots at about 50")
		assert.Equal(t, c.warns, warned, "moisture %v: %v", c.moisture, m.Warnings())
	}
}

// Twenty-four lots that scatter by a tenth of the dose tell the curve well where they
// were run; what lies between two far levels of moisture they leave open, so
// more lots there help more than steadier dosing.
func TestWhatLimitsAccuracyIsAskedBetweenTheLots(t *testing.T) {
	for _, c := range []struct {
		moisture []float64
		says     string
	}{{[]float64{25, 75}, "more lots at new settings between"}, {[]float64{25, 50, 75}, "steadier dosing"}} {
		n := 0
		m, err := Fit(gridTrials(t, "ozone-gas", [3]string{"strength_gnm3", "moisture_pct", "time_min"},
			[3][]float64{{20, 80}, c.moisture, {4, 6, 9, 13, 19, 28}}, func(strength, moisture, time float64) float64 {
				lot := n / 3
				n++
				return math.Log(strength/40) - 0.5*math.Pow((moisture-50)/30, 2) + math.Log(time/10) + 0.1*math.Sin(2.4*float64(lot*lot))*math.Sqrt2
			}), nil)
		require.NoError(t, err)
		assert.Contains(t, fmt.Sprint(m.Summary().Words), c.says, "moisture %v", c.moisture)
	}
}

// Lots that differ by half of the dose for no reason in the table: that is not
// how dosing scatters (common practice, no source).
func TestScatterBeyondThatOfDosingIsDoubted(t *testing.T) {
	for _, c := range []struct {
		sd    float64
		warns bool
	}{{0.05, false}, {0.5, true}} {
		n := 0
		m, err := Fit(gridTrials(t, "permanganate-pellet", [3]string{"strength_pct", "ratio", "time_min"},
			[3][]float64{{4, 9}, {1, 2}, {6, 10, 16, 24}}, func(strength, ratio, time float64) float64 {
				// Each lot's panels are asked for one after the other.
				lot := n / 3
				n++
				return math.Log(strength/6) + math.Log(ratio/1.4) + math.Log(time/12) + c.sd*math.Sin(2.4*float64(lot*lot))*math.Sqrt2
			}), nil)
		require.NoError(t, err)
		assert.Equal(t, c.warns, strings.Contains(fmt.Sprint(m.Warnings()), "the model misses something"), "sd %g: %v", c.sd, m.Warnings())
	}
}

// In whole numbers of 0-255 a blank that did nothing equals the base; as Lab to
// three digits it does not.
func TestABlankLikeTheBaseIsNoTwinOnSwatches(t *testing.T) {
	for header, c := range map[string]struct {
		reading string
		twin    bool
	}{"red,green,blue": {"40,50,80", false}, "illuminant,observer,L,a,b": {"D65,10,24.123,-0.512,-12.345", true}} {
		text := "lot,role,process,panel," + header + "\n"
		for _, lot := range []string{"base,base", "blank,blank"} {
			for panel := range 3 {
				text += fmt.Sprintf("%s,permanganate-pellet,%d,%s\n", lot, panel+1, c.reading)
			}
		}
		table, err := ReadTable("lots.csv", strings.NewReader(text), nil)
		require.NoError(t, err)
		assert.Equal(t, c.twin, strings.Contains(fmt.Sprint(table.Warnings), "pasted twice"), "%s: %v", header, table.Warnings)
	}
}

// An enzyme may work best at a middle temperature because heat spends it: a
// hotter bath has fewer minutes that count. Files of earlier versions, whose
// factor does not say so, count them as before.
func TestHeatSpendsWhatTemperatureNeedNotRaise(t *testing.T) {
	minutes := func(heats bool, temp float64) float64 {
		time, bath := doseFactor{Column: timeColumn, Transform: Log, Scale: 1}, doseFactor{Column: "temp_c", Transform: InverseKelvin, Scale: 1, Heats: heats}
		time.between(math.Log(10), math.Log(60))
		bath.between(bath.raw(40), bath.raw(60))
		b := newBasis([]doseFactor{time, bath}, 2)
		b.clock = clock{Life: 10, Heat: 1}
		v := values{60, temp}
		return math.Exp(b.at(&v)[b.time] + time.Center)
	}
	// Long after its life all of it has worked: minutes are the life, which
	// goes with exp(40 kJ/mol / R · (1/T - 1/T0)).
	ratio := math.Exp(40e3 / 8.314462618 * (1/(60+273.15) - 1/(40+273.15)))
	assert.InEpsilon(t, ratio, minutes(true, 60)/minutes(true, 40), 0.03)
	assert.InDelta(t, minutes(false, 60), minutes(false, 40), 1e-9)
}

// Where the difference of two covariances is none, the percentile stays a
// number (the least degrees of freedom of a form of covariances is 1).
func TestDeltaEP95OfADifferenceIsANumber(t *testing.T) {
	got := deltaEP95(&[4]float64{1, 1, 1, 0}, &[3][3]float64{{0, 0.3, 0.3}, {0.3, 1e-3, 0}, {0.3, 0, 1e-3}})
	assert.True(t, finite(got) && got >= 0, "%g", got)
	// One channel alone: the 95 % point of a normal deviate, 1.96.
	assert.InEpsilon(t, 1.96, deltaEP95(&[4]float64{1, 1, 1, 0}, &[3][3]float64{{1}}), 0.0125, "half of what TestChiSquare95 allows the square")
}

// A second plan goes on counting, so that its lots can stand in one file with
// those of the first.
func TestPlansGoOnCounting(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	m.trials[0].ID, m.trials[1].ID = "N01", "N03"
	plan, err := m.Plan(&PlanOptions{Lots: 3, Seed: 1})
	require.NoError(t, err)
	var ids []string
	for _, l := range plan.Lots {
		ids = append(ids, l.ID)
	}
	assert.ElementsMatch(t, []string{"N02", "N04", "N05"}, ids)
}

// The tables that plan writes have its run order, which needs no comment.
func TestTheRunOrderOfAPlanIsNoUnknownColumn(t *testing.T) {
	table, err := ReadTable("lots.csv", strings.NewReader("run,lot,role,process,panel,illuminant,observer,L,a,b\n1,base,base,permanganate-pellet,1,D65,10,24,-0.5,-12\n"), nil)
	require.NoError(t, err)
	assert.Empty(t, table.Warnings)
}
