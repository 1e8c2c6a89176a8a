package quality_test

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/discharge/quality"
	"example.com/dosetone/internal/laundry"
	"example.com/dosetone/internal/study"
)

// The lots here come from simulated laundries whose physics the model does not
// share (package laundry). The truth of every lot is known: what is expected of
// a cause is set by the simulation, never by the code under test.

// room is a laundry with a model of it and a standard that it can reach.
type room struct {
	*study.Scene
	model    *discharge.Model
	table    *discharge.Table
	settings map[string]float64
	standard discharge.Target
	scatter  float64 // ΔE00, root mean square of lot means about the expected shade
	base     float64 // the same of bases
	bases    *quality.BaseHistory
	rng      *rand.Rand
	ends     [2]map[string]float64 // see somewhere
}

func newRoom(t testing.TB, kind laundry.Kind, process string, seed uint64) *room {
	t.Helper()
	sc, err := study.NewScene(kind, process, seed)
	require.NoError(t, err)
	r := &room{Scene: sc, rng: rand.New(rand.NewPCG(seed, 77))}
	r.table = sc.Table(sc.Ladder(16), -1)
	r.model, err = discharge.Fit(r.table, nil)
	require.NoError(t, err)
	// A standard in the middle of the way, where buyers want shades.
	for {
		r.settings = sc.Random(r.rng)
		p, err := r.model.Predict(discharge.Settings(r.settings))
		require.NoError(t, err)
		if p.Level > 0.3 && p.Level < 0.65 {
			break
		}
	}
	spectrum, lab := sc.Laundry.Expected(r.settings, sc.Weights)
	r.standard = discharge.Target{ID: "STD", Viewing: sc.Viewing, Lab: lab, Spectrum: spectrum, Grid: laundry.Grid()}
	var ss float64
	const n = 40
	for range n {
		d := de(lab, sc.Laundry.Run(r.settings, r.rng, laundry.RunOptions{NoHotSpots: true}).MeanLab(sc.Weights))
		ss += d * d / n
	}
	r.scatter = math.Sqrt(ss)
	mean := r.baseOf(sc.Laundry, 20)
	ss = 0
	for range n {
		d := de(mean, sc.Laundry.Base(r.rng, laundry.RunOptions{}).MeanLab(sc.Weights))
		ss += d * d / n
	}
	r.base = math.Sqrt(ss)
	// What the laundry has read of its bases so far: 12 loads of 2 panels.
	history := &discharge.Table{Name: "bases", Kind: discharge.Spectral, Viewing: sc.Viewing, Grid: laundry.Grid()}
	for i := range 12 {
		history.Lots = append(history.Lots, sc.Lot(fmt.Sprint(i), discharge.Base, sc.Laundry.Base(r.rng, laundry.RunOptions{Panels: 2})))
	}
	r.bases, err = quality.LearnBase(history)
	require.NoError(t, err)
	return r
}

func de(a, b colorimetry.Lab) float64 { return colorimetry.CIEDE2000{}.Diff(a, b) }

func (r *room) baseOf(l *laundry.Laundry, n int) (m colorimetry.Lab) {
	for range n {
		c := l.Base(r.rng, laundry.RunOptions{}).MeanLab(r.Weights)
		m.L += c.L / float64(n)
		m.A += c.A / float64(n)
		m.B += c.B / float64(n)
	}
	return m
}

// at scales the dose by the time, or by the strength where time runs out, so
// that the expected shade lies want ΔE00 from the standard; ok is false when
// the laundry cannot.
func (r *room) at(want float64, lighter bool) (map[string]float64, bool) {
	for _, column := range []string{"time_min", r.strength()} {
		try := func(f float64) (map[string]float64, float64) {
			s := maps.Clone(r.settings)
			s[column] *= f
			lab := r.Laundry.ExpectedLab(s)
			d := de(r.standard.Lab, lab)
			if (lab.L > r.standard.Lab.L) != lighter {
				d = -d
			}
			return s, d
		}
		lo, hi := 0.0, math.Log(6)
		sign := -1.0
		if lighter {
			sign = 1
		}
		if _, d := try(math.Exp(sign * hi)); d < want {
			continue
		}
		for range 18 {
			mid := (lo + hi) / 2
			if _, d := try(math.Exp(sign * mid)); d < want {
				lo = mid
			} else {
				hi = mid
			}
		}
		s, _ := try(math.Exp(sign * hi))
		return s, true
	}
	return nil, false
}

func (r *room) strength() string {
	p, _ := discharge.LookupProcess(r.Process)
	f, _ := p.Strength()
	return f.Column
}

// run makes a lot at settings, but says that it ran at the room's.
func (r *room) run(l *laundry.Laundry, settings map[string]float64, o laundry.RunOptions) (lot discharge.Lot, base []discharge.Lot) {
	o.BasePanels = 2
	raw := l.Run(settings, r.rng, o)
	lot = r.Lot("P", discharge.Production, raw)
	for c := range lot.Settings {
		if v, ok := r.settings[c]; ok {
			lot.Settings[c] = v
		}
	}
	b := raw
	b.Readings = raw.BaseReadings
	return lot, []discharge.Lot{r.Lot("P", discharge.Base, b)}
}

func (r *room) judge(t testing.TB, lot discharge.Lot, base []discharge.Lot, tolerance float64) *quality.Report {
	t.Helper()
	rep, err := quality.Judge(r.table, lot, r.standard, &quality.Options{Model: r.model, Base: base, Bases: r.bases, Tolerance: tolerance})
	require.NoError(t, err)
	return rep
}

// addCast puts a residue on the cloth of every reading: K/S falling from q at
// 400 nm, with the scale of wavelength of the laundry's own kind.
func (r *room) addCast(lot discharge.Lot, q float64, shape func(nm float64) float64) discharge.Lot {
	for i := range lot.Panels {
		for k := range lot.Panels[i].Readings {
			x := &lot.Panels[i].Readings[k]
			s := make([]float64, len(x.Spectrum))
			for n, v := range x.Spectrum {
				s[n] = colorimetry.FromKS(colorimetry.KS(v) + q*shape(float64(laundry.Grid().Wavelength(n))))
			}
			x.Spectrum, x.Lab = s, r.Weights.Lab(s)
		}
	}
	return lot
}

// castOf is the K/S at 400 nm that moves the standard by want ΔE00.
func (r *room) castOf(want float64, shape func(nm float64) float64) float64 {
	lo, hi := 0.0, 5.0
	for range 40 {
		mid := (lo + hi) / 2
		s := make([]float64, len(r.standard.Spectrum))
		for n, v := range r.standard.Spectrum {
			s[n] = colorimetry.FromKS(colorimetry.KS(v) + mid*shape(float64(laundry.Grid().Wavelength(n))))
		}
		if de(r.standard.Lab, r.Weights.Lab(s)) < want {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// confusion counts what was said of lots with a known cause.
type confusion map[string]map[string]int

func (c confusion) add(truth, said string) {
	if c[truth] == nil {
		c[truth] = map[string]int{}
	}
	c[truth][said]++
}

func (c confusion) share(truth string, said ...string) (share float64, n int) {
	hit := 0
	for s, k := range c[truth] {
		n += k
		for _, w := range said {
			if s == w {
				hit += k
			}
		}
	}
	return float64(hit) / float64(max(n, 1)), n
}

const none = "none"

func said(rep *quality.Report) string {
	if len(rep.Causes) == 0 {
		return none
	}
	return string(rep.Causes[0].Fault)
}

// full asks for the long form of the simulations.
func full() bool { return os.Getenv("DOSETONE_FULL") != "" }

// The issue asks for at least 90 % right at three times the lot scatter, of
// lots whose own deviation is that large, and at most 5 % false rejects.
func TestCausesOfSimulatedLots(t *testing.T) {
	seeds, lots := 1, 10
	kinds := []laundry.Kind{laundry.RingDyed, laundry.Mixed}
	processes := []string{"permanganate-pellet", "hypochlorite-bath"}
	if full() {
		seeds, lots, kinds, processes = 3, 20, laundry.Kinds(), study.Processes()
	}
	c := confusion{}
	good, falseRejects := 0, 0
	for _, kind := range kinds {
		for _, process := range processes {
			for seed := range seeds {
				g, f := newRoom(t, kind, process, uint64(seed)+1).confuse(t, lots, c)
				good, falseRejects = good+g, falseRejects+f
			}
		}
	}
	c.print(t)
	t.Logf("false rejects: %d of %d good lots", falseRejects, good)
	require.LessOrEqual(t, float64(falseRejects), 0.05*float64(good))
	for truth, want := range map[string]quality.Fault{
		under3: quality.UnderDischarged, over3: quality.OverDischarged, brown3: quality.BrownCast, brownUpset: quality.BrownCast, fabric3: quality.OtherFabric,
	} {
		share, n := c.share(truth, string(want))
		require.Greater(t, n, 5, truth)
		// In the short form one standard error of chance is allowed for.
		slack := 0.0
		if !full() {
			slack = math.Sqrt(0.09 / float64(n))
		}
		require.GreaterOrEqual(t, share, 0.9-slack, truth)
	}
}

// The causes, as they are made.
const (
	under3     = "under-discharged, lot itself 3x" // true mean 2.5 to 3.5 lot scatters away
	underAim   = "under-discharged, aimed at 3x"   // before the lot's own scatter
	over3      = "over-discharged, lot itself 3x"
	overAim    = "over-discharged, aimed at 3x"
	brown3     = "brown cast of 3x"
	brownUpset = "failed neutralization, at least 3x"
	brownAny   = "failed neutralization, any size"
	fabric3    = "other fabric, base 3x base scatter"
	fabricAny  = "other fabric, any"
	goodLot    = "good lot (true mean inside)"
)

// confuse runs lots with known causes. Returned are the good lots and how many
// of them were rejected.
func (r *room) confuse(t testing.TB, lots int, c confusion) (good, falseRejects int) {
	tolerance := 2 * r.scatter
	trial := func(lot discharge.Lot, base []discharge.Lot, truths ...string) *quality.Report {
		rep := r.judge(t, lot, base, tolerance)
		for _, truth := range truths {
			c.add(truth, said(rep))
		}
		return rep
	}
	quiet := laundry.RunOptions{NoHotSpots: true}
	residue := func(nm float64) float64 { return 0.1 + 0.9*math.Exp(-(nm-400)/140) }
	q := r.castOf(3*r.scatter, residue)
	for lighter, names := range map[bool][2]string{false: {underAim, under3}, true: {overAim, over3}} {
		settings, ok := r.at(3*r.scatter, lighter)
		if !ok {
			continue
		}
		for range lots {
			mean, lot := r.trueLot(settings)
			truths := names[:1]
			if d := de(r.standard.Lab, mean); d > 2.5*r.scatter && d < 3.5*r.scatter {
				truths = names[:]
			}
			trial(lot, nil, truths...)
		}
	}
	for range lots {
		if r.Process != "hypochlorite-bath" && r.Process != "ozone-gas" {
			lot, base := r.run(r.Laundry, r.settings, quiet)
			trial(r.addCast(lot, q, residue), base, brown3)
			lot, size := r.castUpset()
			truths := []string{brownAny}
			if size >= 3*r.scatter {
				truths = append(truths, brownUpset)
			}
			trial(lot, base, truths...)
		}
		fabric := r.Laundry.NewFabric(r.rng)
		truths := []string{fabricAny}
		if de(r.baseOf(r.Laundry, 4), r.baseOf(fabric, 4)) >= 3*r.base {
			truths = append(truths, fabric3)
		}
		lot, base := r.run(fabric, r.settings, quiet)
		trial(lot, base, truths...)
	}
	for range 3 * lots {
		mean, lot := r.trueLot(r.settings)
		if de(r.standard.Lab, mean) > tolerance {
			continue
		}
		good++
		if trial(lot, nil, goodLot).Verdict.Decision == quality.Reject {
			falseRejects++
		}
	}
	return good, falseRejects
}

// castUpset runs a lot that was not neutralized, and tells what the residue
// did to its mean: the same lot is run from the same seed without the upset.
func (r *room) castUpset() (lot discharge.Lot, size float64) {
	seed := r.rng.Uint64()
	run := func(u laundry.Upset) laundry.Lot {
		return r.Laundry.Run(r.settings, rand.New(rand.NewPCG(seed, 1)), laundry.RunOptions{NoHotSpots: true, Panels: 20, Upset: u})
	}
	clean, stained := run(laundry.NoUpset), run(laundry.CastUpset)
	lot = r.Lot("P", discharge.Production, stained)
	maps.Copy(lot.Settings, r.settings)
	lot.Panels = lot.Panels[:4]
	return lot, de(clean.MeanLab(r.Weights), stained.MeanLab(r.Weights))
}

func (c confusion) print(t testing.TB) {
	for _, truth := range slices.Sorted(maps.Keys(c)) {
		total := 0
		for _, n := range c[truth] {
			total += n
		}
		line := fmt.Sprintf("%-36s n %4d:", truth, total)
		for _, s := range slices.Sorted(maps.Keys(c[truth])) {
			line += fmt.Sprintf("  %s %.1f %%", s, 100*float64(c[truth][s])/float64(total))
		}
		t.Log(line)
	}
}

// trueLot runs a lot at settings, which says that it ran at the room's, and
// tells its true mean, of 40 panels. Four of them are judged.
func (r *room) trueLot(settings map[string]float64) (mean colorimetry.Lab, lot discharge.Lot) {
	const many, judged = 40, 4
	lot, _ = r.run(r.Laundry, settings, laundry.RunOptions{NoHotSpots: true, Panels: many})
	for _, p := range lot.Panels {
		for _, x := range p.Readings {
			n := float64(many * len(p.Readings))
			mean.L += x.Lab.L / n
			mean.A += x.Lab.A / n
			mean.B += x.Lab.B / n
		}
	}
	lot.Panels = lot.Panels[:judged]
	return mean, lot
}

// What a load's base is compared with is counted as people count.
func TestBasesAreCounted(t *testing.T) {
	r := newRoom(t, laundry.PowerLaw, "permanganate-pellet", 3)
	lot, _ := r.run(r.Laundry, r.settings, laundry.RunOptions{})
	mean := r.model.ShadeAt(0)
	load := func(id string, role discharge.Role, l float64) discharge.Lot {
		c := mean
		c.L += l
		x := labLot(id, c)
		x.Role = role
		return x
	}
	history := &discharge.Table{Name: "bases", Kind: discharge.LabKind, Viewing: r.Viewing, Lots: []discharge.Lot{load("B", discharge.Base, 0)}}
	one, err := quality.LearnBase(history)
	require.NoError(t, err)
	for want, bases := range map[string]*quality.BaseHistory{"from that of the trials": nil, "from that of the one load known": one, "from that of the 12 loads known": r.bases} {
		rep, err := quality.Judge(r.table, lot, r.standard, &quality.Options{Model: r.model, Bases: bases, Base: []discharge.Lot{load("P", discharge.Base, 12)}})
		require.NoError(t, err)
		require.Equal(t, quality.OtherFabric, rep.Causes[0].Fault)
		require.Contains(t, rep.Causes[0].Evidence, want)
	}
}

// Advice is that of the process: there are no lumps of carrier in a gas.
func TestRemediesAreOfTheProcess(t *testing.T) {
	for process, word := range map[string]string{"ozone-gas": "wet the garments evenly", "laccase-bath": "moving bath", "permanganate-pellet": "lumps of carrier"} {
		r := newRoom(t, laundry.PowerLaw, process, 3)
		lot, _ := r.run(r.Laundry, r.settings, laundry.RunOptions{NoHotSpots: true})
		long := maps.Clone(r.settings)
		long["time_min"] *= 4
		pale, _ := r.run(r.Laundry, long, laundry.RunOptions{NoHotSpots: true})
		lot.Panels[1] = pale.Panels[1]
		rep, err := quality.Judge(r.table, lot, r.standard, &quality.Options{Model: r.model})
		require.NoError(t, err)
		i := slices.IndexFunc(rep.Causes, func(c quality.Cause) bool { return c.Fault == quality.HotSpots })
		require.GreaterOrEqual(t, i, 0, process)
		require.Contains(t, rep.Causes[i].Remedy, word)
	}
}
