package discharge

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
)

// cloths of the trials below: base and white.
var (
	oneCloth   = [2]colorimetry.Lab{{L: 18, A: -1, B: -9}, {L: 82, A: -1, B: 5}}
	otherCloth = [2]colorimetry.Lab{{L: 26, A: 1, B: -14}, {L: 84, A: 0, B: 2}}
)

// exactShade is that of first-order fading, 1 - exp(-dose), with shades in proportion
// between base and white: a closed form that no code of this package has a part in.
func exactShade(cloth [2]colorimetry.Lab, s Settings, factor float64) colorimetry.Lab {
	dose := factor * 0.02 * math.Pow(s["strength_pct"], 0.8) * math.Pow(s["ratio"], 0.6) * math.Pow(s["time_min"], 0.9)
	level := 1 - math.Exp(-dose)
	at := func(base, white float64) float64 { return base + level*(white-base) }
	return colorimetry.Lab{L: at(cloth[0].L, cloth[1].L), A: at(cloth[0].A, cloth[1].A), B: at(cloth[0].B, cloth[1].B)}
}

// run is where a lot of the trials below ran, and by how much the dose differs there.
type run struct {
	fabric, machine string
	cloth           [2]colorimetry.Lab
	factor          float64
}

// severalRuns is a table of sixteen lots that take turns in where they run, and base and
// white of each fabric.
func severalRuns(t *testing.T, runs ...run) *Table {
	t.Helper()
	rng := rand.New(rand.NewPCG(8, 8))
	var b strings.Builder
	b.WriteString("lot,role,process,fabric,machine,strength_pct,ratio,time_min,panel,illuminant,observer,L,a,b\n")
	row := func(lot, role string, r run, set string, shade colorimetry.Lab) {
		for panel := range 2 {
			fmt.Fprintf(&b, "%s,%s,permanganate-pellet,%s,%s,%s,%d,D65,10,%.4f,%.4f,%.4f\n", lot, role, r.fabric, r.machine, set, panel+1,
				shade.L+0.1*rng.NormFloat64(), shade.A+0.03*rng.NormFloat64(), shade.B+0.03*rng.NormFloat64())
		}
	}
	var fabrics []string
	for i, r := range runs {
		if !slices.Contains(fabrics, r.fabric) {
			fabrics = append(fabrics, r.fabric)
			row(fmt.Sprintf("BASE%d", i), "base", r, ",,", r.cloth[0])
			row(fmt.Sprintf("WHITE%d", i), "white", r, ",,", r.cloth[1])
		}
	}
	design := rng.Perm(16)
	for i := range 16 {
		k := design[i]
		s := Settings{"strength_pct": []float64{4, 10}[k%2], "ratio": []float64{1, 2}[k/2%2], "time_min": []float64{8, 12, 17, 24}[k/4]}
		r := runs[i%len(runs)]
		shade := exactShade(r.cloth, s, r.factor*math.Exp(0.03*rng.NormFloat64()))
		row(fmt.Sprintf("T%02d", i), "trial", r, fmt.Sprintf("%g,%g,%g", s["strength_pct"], s["ratio"], s["time_min"]), shade)
	}
	table, err := ReadTable("runs.csv", strings.NewReader(b.String()), nil)
	require.NoError(t, err)
	return table
}

// farthest is the largest ΔE00 of m from the closed form inside the trials.
func farthestOff(t *testing.T, m *Model, r run) (most float64) {
	t.Helper()
	for _, strength := range []float64{4, 6, 10} {
		for _, ratio := range []float64{1, 1.5, 2} {
			for _, minutes := range []float64{8, 14, 24} {
				s := Settings{"strength_pct": strength, "ratio": ratio, "time_min": minutes}
				p, err := m.Predict(s)
				require.NoError(t, err)
				most = max(most, colorimetry.CIEDE2000{}.Diff(exactShade(r.cloth, s, r.factor), p.Shade))
			}
		}
	}
	return most
}

// assertMinutes holds what is said of another machine or fabric against the closed form, in
// which a factor on the dose is one of factor^(1/0.9) on the minutes.
func assertMinutes(t *testing.T, m *Model, o Other, factor float64) {
	t.Helper()
	x := m.Minutes(o.Shift, o.ShiftSD)
	sd := math.Log(x[2]/x[0]) / (2 * 1.96)
	assert.InDelta(t, math.Log(factor)/0.9, math.Log(x[1]), 2.6*sd, "%s: %.3f", o.name(), x) // 99 %
	assert.Less(t, sd, 0.1)
	s := m.Strength(o.Shift, o.ShiftSD)
	assert.InDelta(t, math.Log(factor)/0.8, math.Log(s[1]), 2.6*math.Log(s[2]/s[0])/(2*1.96), "%s: %.3f", o.name(), s)
}

func TestLotsOfAnotherMachineTeachBesides(t *testing.T) {
	one, other := run{"F1", "W1", oneCloth, 1}, run{"F1", "W2", oneCloth, 1.5}
	table := severalRuns(t, one, other)
	for _, c := range []struct {
		own, other run
	}{{one, other}, {other, one}} {
		m, err := Fit(table, &FitOptions{Machine: c.own.machine})
		require.NoError(t, err)
		alone, err := Fit(severalRuns(t, c.own), nil)
		require.NoError(t, err)
		assert.Less(t, farthestOff(t, m, c.own), 1.5*farthestOff(t, alone, c.own), "as sixteen lots of its own")
		require.Len(t, m.Others(), 1)
		o := m.Others()[0]
		assert.Equal(t, c.other.machine, o.Machine)
		assert.Equal(t, 8, o.Lots)
		assertMinutes(t, m, o, c.other.factor/c.own.factor)
		assert.Less(t, o.ShiftSD, 0.1)
		assert.InDelta(t, math.Exp(o.Shift), o.Factor()[1], 1e-12)
		fabric, machine := m.RanOn()
		assert.Equal(t, "F1 "+c.own.machine, fabric+" "+machine)
		assert.Contains(t, strings.Join(m.Summary().Words, "\n"), "on machine "+c.other.machine+" (8 of the lots) the same settings give ")
		for _, d := range m.Diagnostics() {
			assert.Less(t, math.Abs(d.Residual), 2.5, d.ID)
			assert.Len(t, d.Settings, 3, "as the file has them")
		}
	}
	alike, err := Fit(table, nil)
	require.NoError(t, err)
	carried, err := alike.Recalibrate(table, nil)
	require.NoError(t, err)
	assert.Equal(t, "F1,", carried.Recalibration().Fabric+","+carried.Recalibration().Machine, "not the first of several")
	assert.Contains(t, fmt.Sprint(carried.Warnings()), "recalibrate by the lots of one machine alone")
	assert.Greater(t, farthestOff(t, alike, one), 4.0)
	assert.Empty(t, alike.Others())
	for _, l := range table.Lots {
		for c := range l.Settings {
			assert.NotContains(t, c, "\x00", "the table does not change")
		}
	}
}

func TestLotsOfAnotherFabricTeachBesides(t *testing.T) {
	one, other := run{"F1", "W1", oneCloth, 1}, run{"F2", "W1", otherCloth, 0.8}
	m, err := Fit(severalRuns(t, one, other), &FitOptions{Fabric: "F1"})
	require.NoError(t, err)
	alone, err := Fit(severalRuns(t, one), nil)
	require.NoError(t, err)
	assert.Less(t, farthestOff(t, m, one), 1.5*farthestOff(t, alone, one), "as sixteen lots of its own")
	require.Len(t, m.Others(), 1)
	assertMinutes(t, m, m.Others()[0], 0.8)
	base := m.ShadeAt(0)
	assert.InDelta(t, 18, base.L, 0.5, "of its own base")
	alike, err := Fit(severalRuns(t, one, other), nil)
	require.NoError(t, err)
	assert.Greater(t, farthestOff(t, alike, one), 2.5)
}

// Where each fabric ran on a machine of its own they cannot be told apart; where
// they took turns they can.
func TestFabricsAndMachinesAreToldApartWhereTheyCanBe(t *testing.T) {
	both := &FitOptions{Fabric: "F1", Machine: "W1"}
	m, err := Fit(severalRuns(t, run{"F1", "W1", oneCloth, 1}, run{"F2", "W2", otherCloth, 1.2}), both)
	require.NoError(t, err)
	require.Len(t, m.Others(), 1)
	assert.Equal(t, "fabric F2 and machine W2", m.Others()[0].name())
	m, err = Fit(severalRuns(t, run{"F1", "W1", oneCloth, 1}, run{"F2", "W1", otherCloth, 0.7}, run{"F1", "W2", oneCloth, 1.4}, run{"F2", "W2", otherCloth, 0.7 * 1.4}), both)
	require.NoError(t, err)
	require.Len(t, m.Others(), 2)
	for i, factor := range []float64{0.7, 1.4} {
		assertMinutes(t, m, m.Others()[i], factor)
	}
	of := map[string]float64{} // shifts of the lots, which add up
	for _, trial := range m.Trials() {
		of[fmt.Sprintf("%.9f", trial.Shift)] = trial.Shift
	}
	assert.Len(t, of, 4)
	assert.Contains(t, of, fmt.Sprintf("%.9f", m.Others()[0].Shift+m.Others()[1].Shift))

	var b bytes.Buffer
	require.NoError(t, m.Save(&b, "test"))
	loaded, err := Load(&b)
	require.NoError(t, err)
	assert.Equal(t, m.Others(), loaded.Others())
	assert.Equal(t, m.Trials(), loaded.Trials())
	s := Settings{"strength_pct": 6, "ratio": 1.5, "time_min": 14}
	p, err := m.Predict(s)
	require.NoError(t, err)
	q, err := loaded.Predict(s)
	require.NoError(t, err)
	assert.Equal(t, p, q)
}

func TestFabricsAndMachinesThatNobodyRan(t *testing.T) {
	table := severalRuns(t, run{"F1", "W1", oneCloth, 1}, run{"F1", "W2", oneCloth, 1.4})
	_, err := Fit(table, &FitOptions{Machine: "W3"})
	require.ErrorIs(t, err, ErrNoSuchLots)
	assert.ErrorContains(t, err, "no trial lot has machine W3; there are W1, W2")
	for i := range table.Lots {
		table.Lots[i].Fabric = ""
	}
	_, err = Fit(table, &FitOptions{Fabric: "F1"})
	require.ErrorIs(t, err, ErrNoSuchLots)
	assert.ErrorContains(t, err, "fill in column fabric")
	many := table
	for i := range many.Lots {
		many.Lots[i].Machine = fmt.Sprint("M", i)
	}
	_, err = Fit(many, &FitOptions{Machine: "M5"})
	assert.ErrorContains(t, err, "at most can be told apart")
}

// A normal distribution that is told that some of its terms stand still says the same
// of every sum of the others, by the definition of mean and variance of a sum.
func TestTermsThatJoinTheConstant(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	const p, first, n = 7, 2, 2 // constant, two factors, two others, two more
	for range 20 {
		mean := make([]float64, p)
		root := make([]float64, p*p)
		for i := range root {
			root[i] = rng.NormFloat64()
		}
		cov := make([]float64, p*p)
		for i := range p {
			mean[i] = rng.NormFloat64()
			for j := range p {
				for k := range p {
					cov[i*p+j] += root[i*p+k] * root[j*p+k]
				}
			}
		}
		x := values{first: rng.NormFloat64(), first + 1: rng.NormFloat64()}
		less, lessCov := joinConstant(mean, cov, first, n, &x)
		require.Len(t, less, p-n)
		row := []float64{1, rng.NormFloat64(), rng.NormFloat64(), x[first], x[first+1], rng.NormFloat64(), rng.NormFloat64()}
		short := slices.Concat(row[:3], row[5:])
		assert.InDelta(t, dot(row, mean), dot(short, less), 1e-12)
		assert.InDelta(t, quadratic(cov, row, p), quadratic(lessCov, short, p-n), 1e-11)
	}
}

// Models of one table for two machines are two, whose lots a ledger keeps apart; the same
// asked twice is one.
func TestModelsForTwoMachinesHaveDigestsOfTheirOwn(t *testing.T) {
	table := severalRuns(t, run{"F", "W1", oneCloth, 1}, run{"F", "W2", oneCloth, 1.3})
	digest := func(machine string) string {
		m, err := Fit(table, &FitOptions{Machine: machine})
		require.NoError(t, err)
		return m.Digest()
	}
	assert.NotEqual(t, digest("W1"), digest("W2"))
	assert.NotEqual(t, digest("W1"), digest(""))
	assert.Equal(t, digest("W2"), digest("W2"))
}

// A cast on a lot, or a wrong sign, is not learned as the color of the cloth without a word;
// sound lots are not doubted.
func TestRecalibrationDoubtsLotsOffThePath(t *testing.T) {
	m, err := Fit(severalRuns(t, run{"F", "W1", oneCloth, 1}), nil)
	require.NoError(t, err)
	warned := func(fabric string, change func(*colorimetry.Lab)) string {
		table := severalRuns(t, run{fabric, "W2", oneCloth, 1.3})
		trials := table.ByRole(Trial)
		table.Lots = []Lot{trials[5], trials[9]}
		for _, l := range table.Lots {
			for _, p := range l.Panels {
				for k := range p.Readings {
					change(&p.Readings[k].Lab)
				}
			}
		}
		n, err := m.Recalibrate(table, nil)
		require.NoError(t, err)
		var words []string
		for _, w := range n.Warnings() {
			words = append(words, w.Error())
		}
		return strings.Join(words, "\n")
	}
	sound, brown, flipped := func(*colorimetry.Lab) {}, func(c *colorimetry.Lab) { c.B += 5; c.A++ }, func(c *colorimetry.Lab) { c.A, c.B = 60, 60 }
	assert.NotContains(t, warned("F", sound), "off the shade path")
	assert.Contains(t, warned("F", brown), "if a cast is left on it")
	assert.NotContains(t, warned("G", brown), "off the shade path", "fabrics of a mill differ by as much")
	assert.Contains(t, warned("G", flipped), "further than another fabric should")
}
