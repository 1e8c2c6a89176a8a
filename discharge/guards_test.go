package discharge

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/demo"
)

func warned(t *testing.T, text string) string {
	t.Helper()
	table, err := ReadTable("lots.csv", strings.NewReader(text), nil)
	require.NoError(t, err)
	return words(table.Warnings)
}

func words(errs []error) string {
	if err := errors.Join(errs...); err != nil {
		return err.Error()
	}
	return ""
}

// The demo's lots are sound: no doubt may fall on them.
func TestSoundDataIsNotDoubted(t *testing.T) {
	for name, data := range map[string][]byte{demo.PelletTrialsFile: demo.PelletTrials(), demo.HypochloriteTrialFile: demo.HypochloriteTrials(),
		demo.PelletSwatchesFile: demo.PelletSwatches(), demo.PelletProductionFile: demo.PelletProduction(), demo.PelletStandardFile: demo.PelletStandard()} {
		table, err := ReadTable(name, bytes.NewReader(data), nil)
		require.NoError(t, err)
		assert.Empty(t, words(table.Warnings), name)
		w, err := doubtEnds(table)
		require.NoError(t, err)
		assert.Empty(t, w, name)
		assert.Empty(t, doubtMixture(table, site{}, nameOne), name)
	}
}

// Two fabrics or two machines in one table are learned from as one, and that is
// said, with what to do instead, which ends it.
func TestMixedFabricsAndMachinesAreDoubted(t *testing.T) {
	for from, column := range map[string]string{"alder-12oz": "fabric", "drum-3": "machine"} {
		lines := strings.SplitAfter(string(demo.PelletTrials()), "\n")
		for i := range lines {
			if strings.HasPrefix(lines[i], "T1") { // trials from the tenth on
				lines[i] = strings.Replace(lines[i], from, "other", 1)
			}
		}
		table, err := ReadTable("mixed.csv", strings.NewReader(strings.Join(lines, "")), nil)
		require.NoError(t, err)
		m, err := Fit(table, nil)
		require.NoError(t, err)
		all := strings.Join(m.Summary().Warnings, "\n")
		assert.Contains(t, all, fmt.Sprintf("mixed.csv: column %q: value %q: lots of 2 are taken for one", column, from+", other"))
		assert.Contains(t, all, "name the one that the model is for (--"+column+")")
		own := map[string]*FitOptions{"fabric": {Fabric: from}, "machine": {Machine: from}}[column]
		m, err = Fit(table, own)
		require.NoError(t, err)
		assert.NotContains(t, strings.Join(m.Summary().Warnings, "\n"), "taken for one")
	}
}

// Data that can be read but hardly be true: each is doubted, and what the
// message says of how to go on is so.
func TestDoubtfulTablesAreDoubted(t *testing.T) {
	swapped := `lot,role,process,strength_pct,ratio,time_min,panel,illuminant,observer,L,a,b
B,base,permanganate-pellet,,,,1,D65,10,22.1,-11.2,0.4
T1,trial,permanganate-pellet,2,1.3,8,1,D65,10,38.2,-17.5,-2.0
T2,trial,permanganate-pellet,6,1.3,16,1,D65,10,55.7,-14.9,-3.4
`
	assert.Contains(t, warned(t, swapped), "exchange their names")
	assert.Contains(t, warned(t, swapped), "leave it if the cloth is green")
	// Green and yellow once discharged, blue before: nothing to doubt.
	greenish := strings.NewReplacer("22.1,-11.2,0.4", "30.9,-4.7,-8.2", "-17.5,-2.0", "-6.4,-0.4", "-14.9,-3.4", "-6.0,3.1").Replace(swapped)
	assert.NotContains(t, warned(t, greenish), "exchange their names")

	// 13 to 24 minutes as hours, and as seconds.
	demoTrials := string(demo.PelletTrials())
	assert.Contains(t, warned(t, retimed(demoTrials, 1./60)), "usual as hours: multiply by 60")
	assert.Contains(t, warned(t, retimed(demoTrials, 60)), "usual as seconds: divide by 60")
	assert.NotContains(t, warned(t, demoTrials), "usual as")

	// A lot pasted under another name; the same with other settings.
	twin := ""
	for _, line := range strings.SplitAfter(demoTrials, "\n") {
		if strings.HasPrefix(line, "T01,") {
			twin += strings.Replace(line, "T01,", "T99,", 1)
		}
	}
	require.NotEmpty(t, twin)
	assert.Contains(t, warned(t, demoTrials+twin), `every reading equals that of lot "T01"`)
	assert.Contains(t, warned(t, demoTrials+twin), "as are its settings")
	f := strings.Split(strings.SplitN(twin, "\n", 2)[0], ",")
	assert.Contains(t, warned(t, demoTrials+strings.ReplaceAll(twin, strings.Join(f[5:8], ","), "9.5,"+strings.Join(f[6:8], ","))), "its settings differ")

	// A panel read wet, 8 L* darker than the others, and said to be wet.
	damp := "lot,role,process,strength_pct,ratio,time_min,state,panel,illuminant,observer,L,a,b\n"
	for i, l := range []string{"44.0", "44.6", "36.1", "43.8"} {
		damp += fmt.Sprintf("P,production,permanganate-pellet,6,1.3,12,,%d,D65,10,%s,-2.5,-9.5\n", i+1, l)
	}
	assert.Contains(t, warned(t, damp), `lots.csv:4: column "panel": value "3": panel "3" of lot "P" is 7.8 L* darker`)
	assert.Contains(t, warned(t, damp), "state damp")
	assert.Empty(t, warned(t, strings.Replace(damp, ",12,,3", ",12,damp,3", 1)))

	// Lots whose panels differ by up to 9 L* anyhow: one 6 L* darker is one of them.
	uneven := strings.SplitAfter(damp, "\n")[0]
	for k, lot := range [][]string{{"44.0", "48.4", "39.8", "44.4"}, {"51.0", "55.1", "46.3", "50.6"}, {"45.0", "45.4", "38.8", "44.8"}} {
		for i, l := range lot {
			uneven += fmt.Sprintf("P%d,production,permanganate-pellet,6,1.3,12,,%d,D65,10,%s,-2.5,-9.5\n", k, i+1, l)
		}
	}
	assert.Empty(t, warned(t, uneven))

	// The wavelengths of the header a step off, beside the instrument's own L, a, b.
	assert.Contains(t, warned(t, withLab(t, 1)), "a step off")
	assert.NotContains(t, warned(t, withLab(t, 0)), "a step off")

	// Percents divided by 100 twice; a unit column says that the cloth is so dark.
	_, err := ReadTable("lots.csv", strings.NewReader(spectralTable(0.05)), nil)
	assert.ErrorContains(t, err, "divided by 100 twice")
	assert.ErrorContains(t, err, "column unit holding factor")
	_, err = ReadTable("lots.csv", strings.NewReader(strings.ReplaceAll(spectralTable(0.05), "thigh,", "thigh,factor")), nil)
	assert.NoError(t, err)
}

// retimed multiplies the times of the demo's trials.
func retimed(text string, by float64) string {
	var out strings.Builder
	column := -1
	for _, line := range strings.SplitAfter(text, "\n") {
		cells := strings.Split(line, ",")
		var v float64
		for j, c := range cells {
			if c == "time_min" {
				column = j
			}
		}
		if column > 0 && len(cells) > column {
			if _, err := fmt.Sscanf(cells[column], "%g", &v); err == nil {
				cells[column] = fmt.Sprintf("%.4g", v*by)
			}
		}
		out.WriteString(strings.Join(cells, ","))
	}
	return out.String()
}

// withLab is the demo's standard with L, a, b of the true wavelengths and the
// spectra under a header that is off by steps of 10 nm (370-770 nm wide, so
// that the shifted grid still covers 400-700).
func withLab(t *testing.T, steps int) string {
	t.Helper()
	table, err := ReadTable("s.csv", bytes.NewReader(demo.PelletStandard()), nil)
	require.NoError(t, err)
	var b strings.Builder
	b.WriteString("lot,role,illuminant,observer,L,a,b")
	for nm := 380; nm <= 720; nm += 10 {
		fmt.Fprintf(&b, ",R%d", nm+10*steps)
	}
	b.WriteString("\n")
	for _, lot := range table.Lots {
		for _, r := range lot.Readings() {
			fmt.Fprintf(&b, "%s,%s,D65,10,%.2f,%.2f,%.2f", lot.ID, lot.Role, r.Lab.L, r.Lab.A, r.Lab.B)
			for k := -2; k < len(r.Spectrum)+2; k++ {
				fmt.Fprintf(&b, ",%.5f", r.Spectrum[min(max(k, 0), len(r.Spectrum)-1)])
			}
			b.WriteString("\n")
		}
	}
	return b.String()
}

// ends is a table of six trials between a base and a white of given lightness.
func ends(base, white float64) string {
	text := "lot,role,process,strength_pct,ratio,time_min,panel,illuminant,observer,L,a,b\n" +
		fmt.Sprintf("B,base,permanganate-pellet,,,,1,D65,10,%g,0.4,-9\nW,white,permanganate-pellet,,,,1,D65,10,%g,0.2,3\n", base, white)
	for i := range 6 {
		text += fmt.Sprintf("T%d,trial,permanganate-pellet,%d,%g,%d,1,D65,10,%g,-2,%g\n", i, 4+i%3, 1+0.1*float64(i), 10+i, 30+5*float64(i), -14+float64(i))
	}
	return text
}

// Discharge only lightens: no model of a base above or a white below the trials.
func TestEndsInTheWrongOrderAreNotLearned(t *testing.T) {
	learn := func(text string) (string, error) {
		table, err := ReadTable("lots.csv", strings.NewReader(text), nil)
		require.NoError(t, err)
		m, err := Fit(table, nil)
		if err != nil {
			return "", err
		}
		return words(m.Warnings()), nil
	}
	w, err := learn(ends(20, 80))
	require.NoError(t, err)
	assert.NotContains(t, w, "darker than")
	for _, c := range []struct {
		base, white float64
		says        string
	}{{62, 80, "is lighter (L* 62.0) than every trial"}, {20, 35, "is darker (L* 35.0) than half of the trials"}, {80, 20, "lighter"}} {
		_, err := learn(ends(c.base, c.white))
		var row *RowError
		require.ErrorAs(t, err, &row)
		assert.ErrorContains(t, err, c.says)
		assert.ErrorContains(t, err, "delete its rows")
		assert.NotZero(t, row.Row)
	}
	w, err = learn(ends(20, 50))
	require.NoError(t, err)
	assert.Contains(t, w, "not discharged to the end")
	w, err = learn(ends(33, 80))
	require.NoError(t, err)
	assert.Contains(t, w, `trial "T0" is darker (L* 30.0) than the base`)
	assert.Contains(t, w, "state damp")
	// Overruled as the message says.
	_, err = learn(strings.Replace(ends(62, 80), "B,base,permanganate-pellet,,,,1,D65,10,62,0.4,-9\n", "", 1))
	assert.NoError(t, err)
}

// Guards that stand elsewhere; each names what to do.
func TestOtherGuards(t *testing.T) {
	table, err := ReadTable(demo.PelletTrialsFile, bytes.NewReader(demo.PelletTrials()), nil)
	require.NoError(t, err)
	m, err := Fit(table, nil)
	require.NoError(t, err)

	_, err = ReadSettings("s.csv", strings.NewReader("strength_gpl,ratio,time_min\n6,1.3,12\n"), m.Process())
	assert.ErrorContains(t, err, "convert the values and rename the column", "strength in another unit than the model's")

	hypo, err := ReadTable(demo.HypochloriteTrialFile, bytes.NewReader(demo.HypochloriteTrials()), nil)
	require.NoError(t, err)
	_, err = m.Recalibrate(hypo, nil)
	assert.ErrorIs(t, err, ErrWrongProcess, "a model for another process")

	a := colorimetry.Viewing{Illuminant: colorimetry.A, Observer: colorimetry.TenDegree}
	_, err = m.Suggest(Target{ID: "S", Viewing: a, Lab: colorimetry.Lab{L: 45, A: -2, B: -9}}, nil)
	assert.ErrorIs(t, err, ErrViewing, "a standard under another viewing")
	assert.ErrorContains(t, err, "measure the target as a spectrum or under D65/10")

	// A header off by one step on the usual 400-700 nm cannot pass.
	shifted := string(demo.PelletStandard())
	for nm := 710; nm > 400; nm -= 10 {
		shifted = strings.Replace(shifted, fmt.Sprintf("R%d", nm-10), fmt.Sprintf("R%d", nm), 1)
	}
	_, err = ReadTable("s.csv", strings.NewReader(shifted), nil)
	assert.ErrorContains(t, err, "does not cover 400-700 nm")
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

// A slip of the pen in one lot's setting is named; planned lots, which reach to the ends of
// what is run, are not doubted.
func TestALotThatStandsAloneIsNamed(t *testing.T) {
	head := "lot,role,process,strength_pct,ratio,time_min,panel,illuminant,observer,L,a,b\nB,base,permanganate-pellet,,,,1,D65,10,20,0,-12\nW,white,permanganate-pellet,,,,1,D65,10,80,-1,4\n"
	table := func(minutes ...float64) string {
		text := head
		for i, m := range minutes {
			text += fmt.Sprintf("T%d,trial,permanganate-pellet,%d,1.5,%g,1,D65,10,%d,-2,%d\n", i+1, 4+i%2*4, m, 30+4*i, -12+i)
		}
		return text
	}
	assert.NotContains(t, warned(t, table(10, 12, 15, 20, 30, 45)), "stands alone")
	assert.NotContains(t, warned(t, table(10, 10, 10, 10, 10, 30)), "stands alone", "others do not vary")
	slip := warned(t, table(10, 12, 15, 20, 1200, 30))
	assert.Contains(t, slip, "lots.csv:8: column \"time_min\": value \"1200\"")
	assert.Contains(t, slip, `"T5" stands alone: all others have 10 to 30`)
	assert.Contains(t, warned(t, table(10, 12, 15, 20, 0.25, 30)), `"T5" stands alone`)
	for _, p := range Processes() {
		plan, err := FirstPlan(p, nil)
		require.NoError(t, err)
		var minutes []float64
		for _, l := range plan.Lots {
			if l.Role == Trial {
				minutes = append(minutes, l.Settings[timeColumn])
			}
		}
		assert.NotContains(t, warned(t, table(minutes...)), "stands alone", p.ID)
	}
}
