package study

import (
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/fit"
	"example.com/dosetone/internal/capped"
	"example.com/dosetone/internal/drum"
	"example.com/dosetone/internal/film"
	"example.com/dosetone/internal/shells"
	"example.com/dosetone/internal/surface"
	"example.com/dosetone/internal/tank"
	"example.com/dosetone/internal/yarn"
)

// otherSize is how much of each of the other simulators is asked.
type otherSize struct {
	seeds    int    // laundries of each process
	from     uint64 // the first seed
	lots     []int  // numbers of trial lots
	settings int    // random settings per laundry
	next     int    // lots at each of them
	suggest  bool   // at every third of them
}

// others is a few laundries that run with the tests or, where DOSETONE_STUDY is
// set, SEEDS of each process from DOSETONE_STUDY_FROM on: 16 from 9000, if these
// do not say.
func others() otherSize {
	if !full() {
		return otherSize{seeds: 6, from: 9000, lots: []int{16}, settings: 8, next: 5}
	}
	return otherSize{
		seeds: env("SEEDS", 16), from: uint64(env("DOSETONE_STUDY_FROM", 9000)),
		lots: []int{12, 16, 24}, settings: 12, next: 40, suggest: true,
	}
}

// TestOtherPhysics judges the model on laundries whose physics neither it nor
// package laundry shares, against a response surface on the same lots. What is
// known before trials is learned from other laundries of the same simulators;
// TestLearnPrior can leave the one that is judged out.
func TestOtherPhysics(t *testing.T) {
	t.Parallel()
	z := others()
	for _, s := range simulators() {
		t.Run(s.name, func(t *testing.T) {
			byLots := map[int]*otherErrors{}
			for _, n := range z.lots {
				byLots[n] = &otherErrors{processes: s.processes, inside: map[string]Count{}}
			}
			seed := z.from // counts on: one seed means much the same laundry in every process
			for _, p := range s.processes {
				for range z.seeds {
					l, err := s.make(p, seed)
					require.NoError(t, err)
					asked := z.questions(l)
					for _, n := range z.lots {
						require.NoError(t, byLots[n].judge(l, n, asked, z.suggest), "%s, seed %d, %d lots", p, seed, n)
					}
					seed++
				}
			}
			for _, n := range z.lots {
				t.Logf("%d lots%s", n, byLots[n])
				byLots[n].hold(t, n)
			}
		})
	}
}

// source draws laundries of one of the other simulators.
type source struct {
	name      string
	processes []string
	make      func(process string, seed uint64) (other, error)
}

// simulators are all seven besides package laundry. Nothing was learned from shells.
func simulators() []source {
	return append(teachers(), source{"shells", shells.Groups(), drawnBy(shells.New)})
}

// teachers are the six from which the model's prior is learned, besides package
// laundry.
func teachers() []source {
	return []source{
		{"yarn", yarn.Processes(), newYarn},
		{"capped", capped.Groups(), drawnBy(capped.New)},
		{"surface", surface.Groups(), drawnBy(surface.New)},
		{"tank", tank.Groups(), drawnBy(tank.New)},
		{"drum", drum.Groups(), drawnBy(drum.New)},
		{"film", film.Groups(), drawnBy(film.New)},
	}
}

// simulator is what the other simulators have in common.
type simulator interface {
	Ladder(lots int) ([]map[string]float64, error)
	RandomSettings(rng *rand.Rand) map[string]float64
	Expected(settings map[string]float64) colorimetry.Lab
	Lot(rng *rand.Rand, settings map[string]float64) colorimetry.Lab
	WriteTrials(w io.Writer, rng *rand.Rand, lots []map[string]float64) error
}

// other is a laundry of one of them.
type other struct {
	simulator
	process string
	seed    uint64
	columns []string
}

func newYarn(process string, seed uint64) (other, error) {
	l, err := yarn.New(process, seed)
	if err != nil {
		return other{}, err
	}
	o := other{simulator: l, process: process, seed: seed}
	for _, f := range l.Factors() {
		o.columns = append(o.columns, f.Column)
	}
	return o, nil
}

// drawnBy adapts a package whose laundries know their columns.
func drawnBy[L interface {
	simulator
	Columns() []string
}](draw func(group string, seed uint64) (L, error)) func(group string, seed uint64) (other, error) {
	return func(group string, seed uint64) (other, error) {
		l, err := draw(group, seed)
		if err != nil {
			return other{}, err
		}
		return other{l, group, seed, l.Columns()}, nil
	}
}

// question is settings whose shade is to be predicted, with what comes of them.
type question struct {
	settings map[string]float64
	truth    colorimetry.Lab
	next     []colorimetry.Lab // means of lots
}

func (z otherSize) questions(l other) (all []question) {
	rng := rand.New(rand.NewPCG(l.seed, 9))
	for range z.settings {
		q := question{settings: l.RandomSettings(rng)}
		q.truth = l.Expected(q.settings)
		for range z.next {
			q.next = append(q.next, l.Lot(rng, q.settings))
		}
		all = append(all, q)
	}
	return all
}

// otherErrors are those of a number of trial lots, by process and for "all".
type otherErrors struct {
	Table
	processes []string
	inside    map[string]Count // next lots in the nominal 95 % region
}

// Names of errors, after the process.
const (
	ofModel    = ", model"
	ofSurface  = ", log surface"
	ofOneDose  = ", one dose"
	ofFree     = ", suggest free"
	ofStrength = ", suggest strength"
)

// judge fits n trial lots of a laundry and answers questions with them.
func (e *otherErrors) judge(l other, n int, asked []question, suggest bool) error {
	tab, err := otherTrials(l, n)
	if err != nil {
		return err
	}
	m, err := discharge.Fit(tab, nil)
	if err != nil {
		return err
	}
	logSurface, oneDose := Surface(tab, l.columns, true), OneDose(tab, l.columns, fit.LogNormal{}, 0.3)
	for i, q := range asked {
		p, err := m.Predict(q.settings)
		if err != nil {
			return err
		}
		e.note(l.process, ofModel, diff(q.truth, p.Shade))
		e.note(l.process, ofSurface, diff(q.truth, logSurface(q.settings)))
		e.note(l.process, ofOneDose, diff(q.truth, oneDose(q.settings)))
		for _, lot := range q.next {
			e.count(l.process, Inside(&p, lot))
		}
		if suggest && i%3 == 0 {
			if err := e.suggest(l, m, q); err != nil {
				return err
			}
		}
	}
	return nil
}

func otherTrials(l other, n int) (*discharge.Table, error) {
	lots, err := l.Ladder(n)
	if err != nil {
		return nil, err
	}
	return l.run(lots, 100+uint64(n))
}

// run is the table of trial lots, with luck of its own for each stream.
func (l *other) run(lots []map[string]float64, stream uint64) (*discharge.Table, error) {
	var b bytes.Buffer
	if err := l.WriteTrials(&b, rand.New(rand.NewPCG(l.seed, stream)), lots); err != nil {
		return nil, err
	}
	return discharge.ReadTable("simulated", &b, nil)
}

// suggest asks for a shade, free and with all but strength given.
func (e *otherErrors) suggest(l other, m *discharge.Model, q question) error {
	v := colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}
	target := discharge.Target{ID: "target", Viewing: v, Lab: q.truth}
	for _, how := range []struct {
		name string
		opt  *discharge.SuggestOptions
	}{{ofFree, nil}, {ofStrength, allBut("strength_", q.settings)}} {
		r, err := m.Suggest(target, how.opt)
		if err != nil {
			return err
		}
		if len(r.List) > 0 {
			e.note(l.process, how.name, diff(q.truth, l.Expected(r.List[0].Settings)))
		}
	}
	return nil
}

func (e *otherErrors) note(process, what string, de float64) {
	e.add(process+what, de)
	e.add("all"+what, de)
}

func (e *otherErrors) count(process string, hit bool) {
	for _, p := range []string{process, "all"} {
		e.inside[p] = e.inside[p].with(hit)
	}
}

// String is a line per process: median / 95th percentile of errors in ΔE00 and
// their number, and the share of next lots in the region.
func (e *otherErrors) String() string {
	var b strings.Builder
	for _, p := range append(slices.Clone(e.processes), "all") {
		fmt.Fprintf(&b, "\n%-20s", p)
		for _, what := range []string{ofModel, ofOneDose, ofSurface, ofFree, ofStrength} {
			if n := len(e.errors[p+what]); n > 0 {
				fmt.Fprintf(&b, "%s %.2f / %.2f (%d)", what[1:], e.Median(p+what), e.P95(p+what), n)
			}
		}
		fmt.Fprintf(&b, " inside %.1f %% of %d", 100*e.inside[p].Share(), e.inside[p].Of)
	}
	return b.String()
}

// hold asserts what the model must keep on any laundries.
func (e *otherErrors) hold(t *testing.T, lots int) {
	for _, p := range e.processes {
		assert.LessOrEqual(t, e.Median(p+ofModel), e.Median(p+ofSurface), "%s, %d lots", p, lots)
	}
	assert.Less(t, e.Median("all"+ofModel), 0.7*e.Median("all"+ofSurface), "%d lots", lots)
	assert.GreaterOrEqual(t, e.inside["all"].Share(), 0.88, "%d lots", lots)
}
