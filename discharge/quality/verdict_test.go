package quality_test

import (
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/published"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
	"example.com/dosetone/internal/laundry"
)

// Of lots given 90 % to pass, 87-93 % must do (the bound). The lots
// have doses anywhere within three lot scatters of the standard, the buyers
// tolerances from 0.6 to 3.2 lot scatters.
func TestVerdictProbabilityIsCalibrated(t *testing.T) {
	kinds, processes, lots, seeds := []laundry.Kind{laundry.PowerLaw, laundry.Mixed}, []string{"permanganate-pellet"}, 80, 1
	if full() {
		kinds, processes, lots, seeds = laundry.Kinds(), []string{"permanganate-pellet", "ozone-gas"}, 150, 2
	}
	var bins [10]bin
	var ninety bin
	for _, kind := range kinds {
		for _, process := range processes {
			for seed := range seeds {
				r := newRoom(t, kind, process, uint64(seed)+11)
				for range lots {
					mean, lot := r.trueLot(r.somewhere(t))
					for range 3 {
						tolerance := r.scatter * (0.6 + 2.6*r.rng.Float64())
						p := r.judge(t, lot, nil, tolerance).Verdict.Probability
						pass := de(r.standard.Lab, mean) <= tolerance
						bins[min(int(10*p), 9)].add(p, pass)
						if p >= 0.8 && p < 0.97 {
							ninety.add(p, pass)
						}
					}
				}
			}
		}
	}
	for i, b := range bins {
		t.Logf("given %.1f-%.1f: %4.0f lots, %.1f %% on average, %.1f %% passed", float64(i)/10, float64(i+1)/10, b.n, 100*b.said/max(b.n, 1), 100*b.passed/max(b.n, 1))
	}
	said, was := ninety.said/ninety.n, ninety.passed/ninety.n
	chance := math.Sqrt(said * (1 - said) / ninety.n)
	t.Logf("given 80-97 %%: %.0f lots, %.1f %% on average, %.1f %% ± %.1f %% passed", ninety.n, 100*said, 100*was, 100*chance)
	bound := 0.03
	if !full() {
		bound = 3 * chance
	}
	require.InDelta(t, said, was, bound)
}

type bin struct{ n, said, passed float64 }

func (b *bin) add(p float64, pass bool) {
	b.n++
	b.said += p
	if pass {
		b.passed++
	}
}

// somewhere is settings whose expected shade lies up to three lot scatters
// from the standard, evenly in log dose.
func (r *room) somewhere(t testing.TB) map[string]float64 {
	t.Helper()
	if r.ends[0] == nil {
		var ok bool
		for i, lighter := range []bool{false, true} {
			if r.ends[i], ok = r.at(3*r.scatter, lighter); !ok {
				r.ends[i] = r.settings
			}
		}
	}
	u := 2*r.rng.Float64() - 1
	end := r.ends[0]
	if u > 0 {
		end = r.ends[1]
	}
	s := maps.Clone(r.settings)
	for c := range s {
		s[c] *= math.Pow(end[c]/s[c], math.Abs(u))
	}
	return s
}

func labTable(lots ...discharge.Lot) *discharge.Table {
	return &discharge.Table{Name: "t", Kind: discharge.LabKind, Viewing: d65(), Lots: lots}
}

func d65() colorimetry.Viewing {
	return colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}
}

// labLot makes a lot of panels with one reading each.
func labLot(id string, labs ...colorimetry.Lab) discharge.Lot {
	l := discharge.Lot{ID: id, Role: discharge.Production}
	for i, c := range labs {
		l.Panels = append(l.Panels, discharge.Panel{ID: string(rune('a' + i)), Readings: []discharge.Reading{{Lab: c}}})
	}
	return l
}

func target(c colorimetry.Lab) discharge.Target {
	return discharge.Target{ID: "S", Viewing: d65(), Lab: c}
}

func TestVerdictWithoutModel(t *testing.T) {
	std := colorimetry.Lab{L: 48, A: -2.6, B: -9}
	judge := func(opt quality.Options, labs ...colorimetry.Lab) *quality.Report {
		lot := labLot("P", labs...)
		r, err := quality.Judge(labTable(lot), lot, target(std), &opt)
		require.NoError(t, err)
		return r
	}
	near := []colorimetry.Lab{{L: 48.2, A: -2.6, B: -9.1}, {L: 47.8, A: -2.5, B: -8.9}, {L: 48.1, A: -2.7, B: -9}, {L: 48, A: -2.6, B: -9.2}}
	require.Equal(t, quality.Accept, judge(quality.Options{}, near...).Verdict.Decision)
	require.Empty(t, judge(quality.Options{}, near...).Causes)
	far := make([]colorimetry.Lab, len(near))
	edge := make([]colorimetry.Lab, len(near))
	for i, c := range near {
		far[i], edge[i] = c, c
		far[i].L -= 5
		edge[i].L -= 1.5 // about 1.5 ΔE00: S_L is 1.00 at L* 48
	}
	r := judge(quality.Options{}, far...)
	require.Equal(t, quality.Reject, r.Verdict.Decision)
	require.Equal(t, quality.CannotTell, r.Causes[0].Fault)
	require.Contains(t, r.Causes[0].Evidence, "darker")
	require.Nil(t, r.Split)
	require.Equal(t, quality.MeasureMore, judge(quality.Options{}, edge...).Verdict.Decision)
	// The same lot under a wide and a narrow tolerance.
	require.Equal(t, quality.Accept, judge(quality.Options{Tolerance: 3}, edge...).Verdict.Decision)
	require.Equal(t, quality.Reject, judge(quality.Options{Tolerance: 0.4}, edge...).Verdict.Decision)
	// More panels settle what one cannot.
	one := judge(quality.Options{Tolerance: 1.2}, near[0])
	require.Equal(t, quality.MeasureMore, one.Verdict.Decision)
	require.Positive(t, one.Verdict.MorePanels)
	require.Equal(t, quality.Accept, one.Verdict.SettlesWith)
	require.NotEmpty(t, one.Notes)
	// Uneven garments: the mean passes, the share does not.
	wild := []colorimetry.Lab{{L: 52, A: -2.6, B: -9}, {L: 44, A: -2.6, B: -9}, {L: 51, A: -2.6, B: -9}, {L: 45, A: -2.6, B: -9}, {L: 52, A: -2.6, B: -9}, {L: 44, A: -2.6, B: -9}}
	v := judge(quality.Options{Share: 0.9}, wild...).Verdict
	require.Equal(t, quality.Reject, v.Decision)
	require.Less(t, v.ShareHi, 0.7)
	require.False(t, v.Variables.Passes)
}

// With limits approved, what lies between standard and limit is inside.
func TestLimitsWidenWhatIsAccepted(t *testing.T) {
	std := colorimetry.Lab{L: 48, A: -2.6, B: -9}
	light, dark := colorimetry.Lab{L: 52, A: -2.8, B: -8}, colorimetry.Lab{L: 45, A: -2.4, B: -9.6}
	tg := target(std)
	tg.Light, tg.Dark = &light, &dark
	lot := labLot("P", colorimetry.Lab{L: 51.6, A: -2.75, B: -8.1}, colorimetry.Lab{L: 51.4, A: -2.8, B: -8.2}, colorimetry.Lab{L: 51.7, A: -2.7, B: -8.0}, colorimetry.Lab{L: 51.5, A: -2.8, B: -8.1})
	r, err := quality.Judge(labTable(lot), lot, tg, &quality.Options{Tolerance: 1})
	require.NoError(t, err)
	require.Equal(t, quality.Accept, r.Verdict.Decision)
	require.Greater(t, r.DeltaE, 3.0)
	require.Less(t, r.Decisive, 0.3)
	require.Empty(t, r.BeyondLimit)
	beyond := labLot("P", colorimetry.Lab{L: 52.5, A: -2.82, B: -7.9}, colorimetry.Lab{L: 52.6, A: -2.82, B: -7.9}, colorimetry.Lab{L: 52.55, A: -2.82, B: -7.9}, colorimetry.Lab{L: 52.5, A: -2.82, B: -7.9})
	r, err = quality.Judge(labTable(beyond), beyond, tg, &quality.Options{Tolerance: 1.5})
	require.NoError(t, err)
	require.Equal(t, quality.Accept, r.Verdict.Decision)
	require.Equal(t, "light limit", r.BeyondLimit)
	require.Contains(t, strings.Join(r.Notes, "; "), "beyond the light limit and passes because the tolerance counts from limits, too")
	r, err = quality.Judge(labTable(lot), lot, target(std), &quality.Options{Tolerance: 1})
	require.NoError(t, err)
	require.Equal(t, quality.Reject, r.Verdict.Decision)
}

// One-sided tolerance factors of R (noncentral t), in published/stat.
func TestVariablesUseThePublishedFactor(t *testing.T) {
	columns, err := published.StatColumns("tolerance_factors.csv", "n", "coverage", "confidence", "k_one_sided")
	require.NoError(t, err)
	done := 0
	for i := range columns[0] {
		n := int(columns[0][i])
		if done > 3 || n > 10 || columns[2][i] < 0.9 {
			continue
		}
		var labs []colorimetry.Lab
		for k := range n {
			labs = append(labs, colorimetry.Lab{L: 48 + 0.1*float64(k), A: -2.6, B: -9})
		}
		lot := labLot("P", labs...)
		r, err := quality.Judge(labTable(lot), lot, target(labs[0]), &quality.Options{Share: columns[1][i], Confidence: columns[2][i]})
		require.NoError(t, err)
		require.InEpsilon(t, columns[3][i], r.Verdict.Variables.K, 1e-6)
		done++
	}
	require.Greater(t, done, 3)
}

func TestJudgeRefuses(t *testing.T) {
	std := colorimetry.Lab{L: 48, A: -2.6, B: -9}
	lot := labLot("P", std)
	spectral := func(values []float64, v colorimetry.Viewing) discharge.Target {
		return discharge.Target{ID: "S", Viewing: v, Lab: std, Spectrum: values, Grid: colorimetry.Grid{Start: 400, Step: 10, N: 31}}
	}
	for name, c := range map[string]struct {
		lot discharge.Lot
		std discharge.Target
		opt quality.Options
	}{
		"tolerance":       {lot, target(std), quality.Options{Tolerance: -1}},
		"confidence":      {lot, target(std), quality.Options{Confidence: 0.4}},
		"share":           {lot, target(std), quality.Options{Share: 1}},
		"viewing":         {lot, discharge.Target{ID: "S", Viewing: colorimetry.Viewing{Illuminant: colorimetry.A, Observer: colorimetry.TenDegree}, Lab: std}, quality.Options{}},
		"empty":           {labLot("P"), target(std), quality.Options{}},
		"NaN":             {labLot("P", colorimetry.Lab{L: math.NaN()}), target(std), quality.Options{}},
		"NaN standard":    {lot, target(colorimetry.Lab{L: math.NaN()}), quality.Options{}},
		"factor NaN":      {lot, target(std), quality.Options{Difference: colorimetry.CIE94{KL: math.NaN()}}},
		"factor below 0":  {lot, target(std), quality.Options{Difference: colorimetry.CMC{L: -3}}},
		"factor infinite": {lot, target(std), quality.Options{Difference: colorimetry.CIEDE2000{KH: math.Inf(1)}}},
		"short spectrum":  {lot, spectral(make([]float64, 5), target(std).Viewing), quality.Options{}},
		"short spectrum under another lamp": {lot, spectral(make([]float64, 5), colorimetry.Viewing{Illuminant: colorimetry.A, Observer: colorimetry.TenDegree}),
			quality.Options{}},
		"NaN spectrum": {lot, spectral(slices.Repeat([]float64{math.NaN()}, 31), target(std).Viewing), quality.Options{}},
		"swapped limits": {lot, discharge.Target{ID: "S", Viewing: target(std).Viewing, Lab: std,
			Light: &colorimetry.Lab{L: 47, A: -2.6, B: -9}, Dark: &colorimetry.Lab{L: 49, A: -2.6, B: -9}}, quality.Options{}},
	} {
		_, err := quality.Judge(labTable(c.lot), c.lot, c.std, &c.opt)
		require.Error(t, err, name)
	}
	short := labLot("P", std)
	short.Panels[0].Readings[0].Spectrum = make([]float64, 5)
	table := labTable(short)
	table.Kind, table.Grid = discharge.Spectral, colorimetry.Grid{Start: 400, Step: 10, N: 31}
	_, err := quality.Judge(table, short, spectral(make([]float64, 31), table.Viewing), nil)
	require.ErrorContains(t, err, "31 reflectance values, have 5")
}

// A lot of another process than the model's has settings that the model cannot place.
func TestJudgeRefusesAnotherProcess(t *testing.T) {
	r := newRoom(t, laundry.PowerLaw, "permanganate-pellet", 3)
	lot, _ := r.run(r.Laundry, r.settings, laundry.RunOptions{})
	lot.Process, lot.Settings = "hypochlorite-bath", discharge.Settings{"strength_gpl": 3, "liquor_ratio": 8, "time_min": 10}
	_, err := quality.Judge(r.table, lot, r.standard, &quality.Options{Model: r.model})
	require.ErrorIs(t, err, discharge.ErrWrongProcess)
	require.ErrorContains(t, err, "the model of permanganate-pellet")
}

// Lot, standard and model are compared only if none states another condition.
func TestJudgeComparesConditions(t *testing.T) {
	std := colorimetry.Lab{L: 48, A: -2.6, B: -9}
	lot := labLot("P", std)
	for _, c := range []struct {
		lot, standard discharge.Condition
		refused       bool
	}{{"", "", false}, {"SCE", "", false}, {"", "SCI", false}, {"SCE", "SCE", false}, {"SCE", "M1", false}, {"SCE", "SCI", true}} {
		table, s := labTable(lot), target(std)
		table.Condition, s.Condition = c.lot, c.standard
		_, err := quality.Judge(table, lot, s, nil)
		if c.refused {
			require.ErrorIs(t, err, quality.ErrCondition)
		} else {
			require.NoError(t, err)
		}
	}
	sci, sce := labTable(labLot("A", std)), labTable(labLot("B", std))
	sci.Condition, sce.Condition = "SCI", "SCE"
	_, err := quality.LearnStages(sci, labTable(lot), sce)
	require.ErrorIs(t, err, quality.ErrCondition)
	_, err = quality.LearnBase(sci, labTable(lot), sce)
	require.ErrorIs(t, err, quality.ErrCondition)
}

func TestJudgeIsDeterministicAndLeavesItsInputAlone(t *testing.T) {
	r := newRoom(t, laundry.PowerLaw, "permanganate-pellet", 3)
	lot, base := r.run(r.Laundry, r.settings, laundry.RunOptions{})
	copyOf := r.Lot("P", discharge.Production, laundry.Lot{})
	copyOf.Settings = lot.Settings.Clone()
	for _, p := range lot.Panels {
		q := discharge.Panel{ID: p.ID}
		for _, x := range p.Readings {
			x.Spectrum = append([]float64(nil), x.Spectrum...)
			q.Readings = append(q.Readings, x)
		}
		copyOf.Panels = append(copyOf.Panels, q)
	}
	first, second := r.judge(t, lot, base, 1), r.judge(t, lot, base, 1)
	require.Equal(t, first, second)
	require.Equal(t, copyOf.Panels, lot.Panels)
	require.Equal(t, copyOf.Settings, lot.Settings)
}

// A lot and standard of one spectrum match under every light; an own cast
// does not.
func TestMetamerism(t *testing.T) {
	r := newRoom(t, laundry.PowerLaw, "permanganate-pellet", 3)
	lot, _ := r.run(r.Laundry, r.settings, laundry.RunOptions{})
	mean, _ := discharge.PanelMeans(lot)
	same := r.standard
	same.Spectrum = make([]float64, len(r.standard.Spectrum))
	for _, p := range mean {
		for i, v := range p.Spectrum {
			same.Spectrum[i] += v / float64(len(mean))
		}
	}
	same.Lab = r.Weights.Lab(same.Spectrum)
	rep, err := quality.Judge(r.table, lot, same, nil)
	require.NoError(t, err)
	require.Len(t, rep.Metamerism, 3)
	for _, m := range rep.Metamerism {
		require.InDelta(t, 0, m.Index, 1e-6)
	}
	// Under the lot's own light the difference is that of the verdict; of readings that all
	// are the standard's spectrum it is nothing under any.
	require.Equal(t, rep.DeltaE, rep.Metamerism[0].DeltaE)
	even := discharge.Lot{ID: "EVEN", Role: discharge.Production, Panels: []discharge.Panel{{ID: "1", Readings: []discharge.Reading{{Spectrum: same.Spectrum, Lab: same.Lab}}}}}
	rep, err = quality.Judge(r.table, even, same, nil)
	require.NoError(t, err)
	for _, m := range rep.Metamerism {
		require.InDelta(t, 0, m.DeltaE, 1e-6)
	}
	brown := r.addCast(lot, 0.4, func(nm float64) float64 { return math.Exp(-(nm - 400) / 140) })
	rep, err = quality.Judge(r.table, brown, same, nil)
	require.NoError(t, err)
	require.Greater(t, rep.Metamerism[1].Index, 0.1) // under A
	// The same pair is judged under a tolerance that it nearly keeps, and is not
	// under one that it misses by far, where no risk is told either.
	for tolerance, judged := range map[float64]bool{1.01 * rep.DeltaE: true, 0.51 * rep.DeltaE: true, 0.49 * rep.DeltaE: false, 0.05 * rep.DeltaE: false} {
		again, err := quality.Judge(r.table, brown, same, &quality.Options{Tolerance: tolerance})
		require.NoError(t, err)
		for i, m := range again.Metamerism {
			require.Equal(t, judged, m.Judged, tolerance)
			require.Equal(t, judged && m.Index > tolerance/2, m.Risk)
			require.InDelta(t, rep.Metamerism[i].Index, m.Index, 0, "the number stays")
		}
	}
}

// Brightened cloth is noted: under other lights its factor above 1 tells little.
func TestMetamerismOfBrightenedCloth(t *testing.T) {
	r := newRoom(t, laundry.PowerLaw, "permanganate-pellet", 3)
	lot, _ := r.run(r.Laundry, r.settings, laundry.RunOptions{})
	plain, err := quality.Judge(r.table, lot, r.standard, nil)
	require.NoError(t, err)
	require.NotContains(t, strings.Join(plain.Notes, "\n"), "ultraviolet")
	bright := r.standard
	bright.Spectrum = slices.Clone(bright.Spectrum)
	bright.Spectrum[4] = 1.1
	rep, err := quality.Judge(r.table, lot, bright, nil)
	require.NoError(t, err)
	require.Regexp(t, `(?m)^standard: reflectance reaches 1\.1 at .* ultraviolet`, strings.Join(rep.Notes, "\n"))
}

func TestUniformity(t *testing.T) {
	lot := discharge.Lot{ID: "P", Role: discharge.Production}
	for i := range 3 {
		p := discharge.Panel{ID: string(rune('a' + i))}
		for _, pos := range []string{"front thigh", "front knee", "back thigh", "back knee"} {
			c := colorimetry.Lab{L: 48 + 0.1*float64(i), A: -2.6, B: -9}
			if pos[:4] == "back" {
				c.L -= 2
			}
			p.Readings = append(p.Readings, discharge.Reading{Position: pos, Lab: c})
		}
		lot.Panels = append(lot.Panels, p)
	}
	r, err := quality.Judge(labTable(lot), lot, target(colorimetry.Lab{L: 47.1, A: -2.6, B: -9}), nil)
	require.NoError(t, err)
	u := r.Uniformity
	require.Len(t, u.Positions, 4)
	require.Len(t, u.Contrasts, 1)
	require.Equal(t, [2]string{"front", "back"}, u.Contrasts[0].Sides)
	require.InDelta(t, 2, u.Contrasts[0].DL, 1e-9)
	require.InDelta(t, 2, u.Contrasts[0].LoHi[0], 1e-9) // the same on every panel
	// ΔL' = 2 at L* near 47: S_L = 1 + 0.015·9/√29 = 1.025.
	require.InDelta(t, 2/1.025, u.Contrasts[0].DeltaE, 0.03)
	require.InDelta(t, u.Contrasts[0].DeltaE, u.WorstDeltaE, 0.05) // another reference shade
}

// A verdict rests on the panels: settings that were written down wrong may
// change what a lot is blamed for, never whether it passes.
func TestSettingsHaveNoPartInTheVerdict(t *testing.T) {
	r := newRoom(t, laundry.PowerLaw, "permanganate-pellet", 3)
	lot, _ := r.run(r.Laundry, r.settings, laundry.RunOptions{})
	de := r.judge(t, lot, nil, 1).DeltaE
	for _, tolerance := range []float64{0.6 * de, de, 1.4 * de} {
		first := r.judge(t, lot, nil, tolerance)
		require.LessOrEqual(t, first.Verdict.DeltaELo, first.DeltaE)
		require.GreaterOrEqual(t, first.Verdict.DeltaEHi, first.DeltaE)
		for _, factor := range []float64{0.5, 1.3, 2} {
			other := lot
			other.Settings = lot.Settings.Clone()
			other.Settings["time_min"] *= factor
			second := r.judge(t, other, nil, tolerance)
			require.Equal(t, first.Verdict, second.Verdict, "time × %g", factor)
			require.NotEqual(t, first.Split.Residual.LnDose, second.Split.Residual.LnDose)
		}
		other := lot
		other.Settings = nil
		require.Equal(t, first.Verdict, r.judge(t, other, nil, tolerance).Verdict)
	}
}

// Beside the standard nearly all means in question are further off than the
// one that was read; the interval holds that one all the same.
func TestIntervalHoldsTheDifferenceThatWasRead(t *testing.T) {
	std := colorimetry.Lab{L: 48, A: -2.6, B: -9}
	for _, off := range []float64{0, 0.05, 1, 3} {
		c := colorimetry.Lab{L: 48 + off, A: -2.6, B: -9}
		lot := labLot("P", c, c, c, c)
		r, err := quality.Judge(labTable(lot), lot, target(std), nil)
		require.NoError(t, err)
		require.LessOrEqual(t, r.Verdict.DeltaELo, r.DeltaE)
		require.GreaterOrEqual(t, r.Verdict.DeltaEHi, r.DeltaE)
	}
}

// What lies off the path is counted from its nearest shade: no shade of the path is
// nearer to the lot, however a cast is explained.
func TestOffIsTheDistanceFromTheNearestShade(t *testing.T) {
	r := newRoom(t, laundry.PowerLaw, "permanganate-pellet", 3)
	lot, _ := r.run(r.Laundry, r.settings, laundry.RunOptions{})
	for i := range lot.Panels {
		for k := range lot.Panels[i].Readings {
			x := &lot.Panels[i].Readings[k]
			x.Lab.B += 3.5 // yellower, and the same as dark
			x.Spectrum = nil
		}
	}
	table := *r.table
	table.Kind, table.Grid = discharge.LabKind, colorimetry.Grid{}
	rep, err := quality.Judge(&table, lot, r.standard, &quality.Options{Model: r.model})
	require.NoError(t, err)
	require.Greater(t, rep.Split.Off, 1.0, "a cast that is seen")
	var f colorimetry.CIEDE2000
	for level := 0.0; level <= 1; level += 0.01 {
		require.LessOrEqual(t, rep.Split.Off, f.Diff(r.model.ShadeAt(level), rep.Mean)+1e-3, "level %g", level)
	}
}

// A lining that was read is to be read again before anything else: one reading far from its
// panel's others, where those of other panels agree. A pale garment is none, nor is a lot
// that is uneven everywhere.
func TestOneReadingThatStandsAloneIsToBeReadAgain(t *testing.T) {
	lot := func(spots ...[2]float64) discharge.Lot {
		l := discharge.Lot{ID: "P", Role: discharge.Production}
		for i, s := range spots {
			p := discharge.Panel{ID: string(rune('a' + i))}
			for k, name := range []string{"front", "back"} {
				p.Readings = append(p.Readings, discharge.Reading{Position: name, Lab: colorimetry.Lab{L: s[k], A: -2.6, B: -9}})
			}
			l.Panels = append(l.Panels, p)
		}
		return l
	}
	standard := discharge.Target{ID: "STD", Viewing: d65(), Lab: colorimetry.Lab{L: 48, A: -2.6, B: -9}}
	for name, c := range map[string]struct {
		lot   discharge.Lot
		panel string
	}{
		"lining":         {lot([2]float64{48, 48.3}, [2]float64{47.8, 48}, [2]float64{48.1, 88}), "c"},
		"dark":           {lot([2]float64{48, 48.3}, [2]float64{30, 48}), "b"},
		"pale garment":   {lot([2]float64{48, 48.3}, [2]float64{47.8, 48}, [2]float64{60, 60.2}), ""},
		"uneven":         {lot([2]float64{48, 51}, [2]float64{47, 50}, [2]float64{46, 51}), ""},
		"one panel only": {lot([2]float64{48, 88}), ""},
	} {
		rep, err := quality.Judge(labTable(c.lot), c.lot, standard, nil)
		require.NoError(t, err)
		if c.panel == "" {
			require.Nil(t, rep.Reread, name)
			continue
		}
		require.NotNil(t, rep.Reread, name)
		require.Equal(t, c.panel, rep.Reread.Panel, name)
		require.Equal(t, map[string]string{"lining": "back", "dark": "front"}[name], rep.Reread.Position, name)
	}
}

// Where limits are final, a lot past one is rejected that the tolerance would pass, and one between
// them passes as before. Panels scatter by next to nothing.
func TestLimitsThatAreFinal(t *testing.T) {
	at := func(l float64) colorimetry.Lab { return colorimetry.Lab{L: l, A: -2.6, B: -9} }
	light, dark := at(50), at(46)
	standard := discharge.Target{ID: "S", Viewing: d65(), Lab: at(48), Light: &light, Dark: &dark}
	judge := func(limit, l, off float64) *quality.Report {
		var labs []colorimetry.Lab
		for i := range 12 {
			labs = append(labs, colorimetry.Lab{L: l + 0.02*float64(i%3-1), A: -2.6, B: -9 + off})
		}
		lot := labLot("P", labs...)
		r, err := quality.Judge(labTable(lot), lot, standard, &quality.Options{LimitTolerance: limit})
		require.NoError(t, err)
		return r
	}
	for _, c := range []struct {
		l, off       float64
		loose, final quality.Decision
	}{
		{48, 0, quality.Accept, quality.Accept},
		{49, 0, quality.Accept, quality.Accept},
		{46.8, 0, quality.Accept, quality.Accept},
		{50.9, 0, quality.Accept, quality.Reject}, // ΔE00 0.9 past the light limit
		{45, 0, quality.Accept, quality.Reject},
		{48, 0.7, quality.Accept, quality.Accept}, // off the way between them
		{48, 3, quality.Reject, quality.Reject},
		{53, 0, quality.Reject, quality.Reject},
	} {
		require.Equal(t, c.loose, judge(0, c.l, c.off).Verdict.Decision, "L* %g", c.l)
		require.Equal(t, c.final, judge(0.1, c.l, c.off).Verdict.Decision, "L* %g, limits final", c.l)
	}
	require.Equal(t, judge(0, 50.9, 0).Decisive, judge(0.1, 50.9, 0).Decisive, "the difference stays what it is")
	lot := labLot("P", at(48))
	for _, bad := range []float64{-1, 2, math.NaN()} {
		_, err := quality.Judge(labTable(lot), lot, standard, &quality.Options{LimitTolerance: bad})
		require.ErrorContains(t, err, "past limits")
	}
}
