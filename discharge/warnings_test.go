package discharge

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
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
				dose := eta(x, y, time)
				for panel, off := range []float64{-0.02, 0, 0.02} {
					row(fmt.Sprintf("T%d", n), "trial", fmt.Sprintf("%g,%g,%g", x, y, time), panel+1, dose+off)
				}
			}
		}
	}
	table, err := ReadTable("lots.csv", strings.NewReader(file.String()), nil)
	require.NoError(t, err)
	return table
}

// lotScatter gives each lot its own deviation of ln dose, of the given sd.
func lotScatter(sd float64) func() float64 {
	lot := -1.0
	return func() float64 {
		lot++
		return sd * math.Sqrt2 * math.Sin(2.4*lot*lot)
	}
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
			[3][]float64{{0.6, 1.2, 2.4}, {6, 12}, {15, 30, 60}}, eta), nil)
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

// Lots whose strength is off by a tenth scatter as dosing does, also where the dose goes by
// the square of strength and the scatter in dose is twice as large; off by four tenths they
// do not.
func TestScatterIsHeldAgainstThatOfDosing(t *testing.T) {
	for strengthOff, unusual := range map[float64]bool{0.1: false, 0.4: true} {
		off := lotScatter(2 * strengthOff)
		eta := func(strength, ratio, time float64) float64 {
			return 2*math.Log(strength/6) + 1.5*math.Log(ratio/1.5) + 2*math.Log(time/12) + off()
		}
		m, err := Fit(gridTrials(t, "permanganate-pellet", [3]string{"strength_pct", "ratio", "time_min"},
			[3][]float64{{4, 6, 9}, {1, 2}, {8, 12, 18}}, eta), nil)
		require.NoError(t, err)
		assert.Greater(t, m.sdLot(), 0.15, "of dose")
		said := strings.Contains(fmt.Sprint(m.Warnings()), "more or less strength would bring them, where dosing usually scatters by 3 to 10 %")
		assert.Equal(t, unusual, said, "%g: %v", strengthOff, m.Warnings())
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
		assert.Equal(t, c.warns, strings.Contains(strings.Join(m.Summary().Words, "\n"), "what lies between two levels: moisture_pct may be best anywhere from 25 to 75"), "moisture %v: %q", c.moisture, m.Summary().Words)
		for _, f := range m.Factors() {
			assert.Equal(t, c.warns && f.Column == "moisture_pct", f.Guessed, "%s, moisture %v", f.Column, c.moisture)
			for v, between := range map[float64]bool{26: false, 50: true, 74: false} {
				assert.Equal(t, f.Guessed && between, f.Guesses(v), "%s %g, moisture %v", f.Column, v, c.moisture)
			}
		}
	}
}

// Twenty-four lots that scatter by a tenth of the dose tell the curve well where they
// were run; what lies between two far levels of moisture they leave open, so
// more lots there help more than steadier dosing. Two levels of strength may hide
// a bend as well as scatter; three do not.
func TestWhatLimitsAccuracyIsAskedBetweenTheLots(t *testing.T) {
	for _, c := range []struct {
		strength, moisture []float64
		says               string
	}{
		{[]float64{20, 80}, []float64{25, 75}, "what lies between two levels: moisture_pct"},
		{[]float64{20, 80}, []float64{25, 50, 75}, "between the two levels of strength_gnm3, which two cannot show"},
		{[]float64{20, 40, 80}, []float64{25, 50, 75}, "steadier dosing"},
	} {
		off := lotScatter(0.1)
		m, err := Fit(gridTrials(t, "ozone-gas", [3]string{"strength_gnm3", "moisture_pct", "time_min"},
			[3][]float64{c.strength, c.moisture, {4, 6, 9, 13, 19, 28}}, func(strength, moisture, time float64) float64 {
				return math.Log(strength/40) - 0.5*math.Pow((moisture-50)/30, 2) + math.Log(time/10) + off()
			}), nil)
		require.NoError(t, err)
		assert.Contains(t, fmt.Sprint(m.Summary().Words), c.says, "strength %v, moisture %v", c.strength, c.moisture)
	}
}

// Lots that differ by half of the dose for no reason in the table: that is not
// how dosing scatters (common practice, no source).
func TestScatterBeyondThatOfDosingIsDoubted(t *testing.T) {
	for _, c := range []struct {
		sd    float64
		warns bool
	}{{0.05, false}, {0.5, true}} {
		off := lotScatter(c.sd)
		m, err := Fit(gridTrials(t, "permanganate-pellet", [3]string{"strength_pct", "ratio", "time_min"},
			[3][]float64{{4, 9}, {1, 2}, {6, 10, 16, 24}}, func(strength, ratio, time float64) float64 {
				return math.Log(strength/6) + math.Log(ratio/1.4) + math.Log(time/12) + off()
			}), nil)
		require.NoError(t, err)
		assert.Equal(t, c.warns, strings.Contains(fmt.Sprint(m.Warnings()), "the model misses something"), "sd %g: %v", c.sd, m.Warnings())
	}
}

// A lot that got a third of its dose is not the curve's fault. It must be named
// where other programs read it, with what was expected: the shade that the
// generator has at those settings.
func TestLotOutOfLineIsWarnedOf(t *testing.T) {
	for _, upset := range []float64{0, math.Log(3)} {
		off := lotScatter(0.05)
		dose := func(strength, ratio, time float64) float64 {
			return 0.9*math.Log(strength/2) + 0.7*math.Log(ratio/1.4) + 0.8*math.Log(time/15)
		}
		m, err := Fit(gridTrials(t, "permanganate-stone", [3]string{"strength_gpl", "ratio", "time_min"},
			[3][]float64{{1, 4}, {1, 2}, {8, 15, 30}}, func(strength, ratio, time float64) float64 {
				eta := dose(strength, ratio, time) + off()
				if strength == 4 && ratio == 1 && time == 15 {
					eta -= upset
				}
				return eta
			}), nil)
		require.NoError(t, err)
		var named []string
		for _, w := range m.Summary().Warnings {
			if strings.Contains(w, "out of line") {
				named = append(named, w)
			}
		}
		if upset == 0 {
			assert.Empty(t, named)
			continue
		}
		require.Len(t, named, 1)
		assert.Contains(t, named[0], `lot "T8"`)
		var was, lo, hi float64
		_, err = fmt.Sscanf(named[0][strings.Index(named[0], "L* "):], "L* %f, where %f to %f", &was, &lo, &hi)
		require.NoError(t, err, named[0])
		l, _, _ := shadeOf(dose(4, 1, 15))
		assert.Less(t, was, lo)
		assert.Less(t, lo, l)
		assert.Less(t, l, hi)
	}
}

// A band that was not read is found, and told once for a file.
func TestBandThatWasNotReadIsWarnedOf(t *testing.T) {
	var file strings.Builder
	file.WriteString("id,unit")
	for nm := 400; nm <= 700; nm += 10 {
		fmt.Fprintf(&file, ",R%d", nm)
	}
	for name, bad := range map[string]string{"A": "10", "B": "0", "C": "45"} {
		fmt.Fprintf(&file, "\n%s,percent", name)
		for nm := 400; nm <= 700; nm += 10 {
			if nm == 560 {
				file.WriteString("," + bad)
			} else {
				file.WriteString(",10")
			}
		}
	}
	s, err := ReadSamples("export.csv", strings.NewReader(file.String()), &ReadOptions{Viewing: colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}})
	require.NoError(t, err)
	require.Len(t, s.Warnings, 1)
	require.ErrorContains(t, s.Warnings[0], `column "R560"`)
	require.ErrorContains(t, s.Warnings[0], "1 more reading)")
}

// Bases that an export does not call so would be averaged into their lot.
func TestReadingsOfOnePanelFarApartAreDoubted(t *testing.T) {
	const file = "lot,role,process,strength_pct,ratio,time_min,panel,position,viewing,L,a,b\nT1,trial,permanganate-pellet,6,1.2,10,1,front,D65/10,45,-2,-9\nT1,trial,permanganate-pellet,6,1.2,10,1,front,D65/10,%s,-1,-10\n"
	for second, doubted := range map[string]bool{"22": true, "44": false, "35": false} {
		table, err := ReadTable("export.csv", strings.NewReader(fmt.Sprintf(file, second)), nil)
		require.NoError(t, err)
		require.Equal(t, doubted, slices.ContainsFunc(table.Warnings, func(w error) bool { return strings.Contains(w.Error(), "role base") }), "%v", table.Warnings)
	}
}
