package laundry

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"example.com/dosetone/colorimetry"
)

func daylight(t testing.TB) *colorimetry.Weights {
	t.Helper()
	w, err := colorimetry.NewWeights(colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}, Grid())
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// each runs f on one laundry per kind and process.
func each(t *testing.T, f func(t *testing.T, l *Laundry, rng *rand.Rand)) {
	for i, id := range Processes() {
		for _, kind := range Kinds() {
			t.Run(id+"/"+kind.String(), func(t *testing.T) {
				rng := rand.New(rand.NewPCG(uint64(1000+i), uint64(kind)))
				l, err := New(kind, id, rng)
				if err != nil {
					t.Fatal(err)
				}
				f(t, l, rng)
			})
		}
	}
}

// TestMagnitudes holds base and white, as read, to the ranges of real denim.
// Source of the ranges: orientation from memory, see New; half a unit is
// given to the scatter of the read lots.
func TestMagnitudes(t *testing.T) {
	w := daylight(t)
	each(t, func(t *testing.T, l *Laundry, rng *rand.Rand) {
		o := RunOptions{Panels: 20}
		var base, white Lot // the readings of some lots: one lot's products and casts scatter
		for range 6 {
			base.Readings = append(base.Readings, l.Base(rng, o).Readings...)
			white.Readings = append(white.Readings, l.White(rng, o).Readings...)
		}
		const slack = 0.7
		in := func(name string, x, lo, hi float64) {
			if x < lo-slack || x > hi+slack {
				t.Errorf("%s %.2f outside %g..%g", name, x, lo, hi)
			}
		}
		b, wh := base.MeanLab(w), white.MeanLab(w)
		in("base L*", b.L, 17, 27)
		in("base b*", b.B, -16, -8)
		in("white L*", wh.L, 70, 88)
		in("white a*", wh.A, -2, 1)
		in("white b*", wh.B, 0, 9)
		sp := l.LotSpread(nil, w, rng, 100, RunOptions{NoHotSpots: true})
		// One standard deviation lies in 0.5-2.5, see New; the median of |z|
		// is 0.67 of it along a line, more when the scatter fills an area.
		if sp.Median < 0.3 || sp.Median > 2.5 {
			t.Errorf("median ΔE00 of a lot to the mean is %.2f", sp.Median)
		}
	})
}

// TestLightnessRises: more strength, more carrier or more time never darkens
// the expected shade inside the region.
func TestLightnessRises(t *testing.T) {
	w := daylight(t)
	each(t, func(t *testing.T, l *Laundry, rng *rand.Rand) {
		for range 6 {
			s := l.RandomSettings(rng)
			_, at := l.Expected(s, w)
			for _, f := range l.process.factors {
				if !isStrength(f.Column) && f.Column != "ratio" && f.Column != "time_min" && f.Column != "add_on_gsm" {
					continue // liquor dilutes an enzyme; moisture and temperature have optima
				}
				v := s[f.Column]
				s[f.Column] = v * 1.1
				_, more := l.Expected(s, w)
				s[f.Column] = v
				if more.L < at.L-1e-6 {
					t.Errorf("L* falls from %.4f to %.4f with 10 %% more %s at %v", at.L, more.L, f.Column, s)
				}
			}
		}
	})
}

// TestBlueFirst: b* falls from the base to a bluest shade and then rises to
// the white, as on real denim (orientation from memory).
func TestBlueFirst(t *testing.T) {
	w := daylight(t)
	each(t, func(t *testing.T, l *Laundry, rng *rand.Rand) {
		path := []colorimetry.Lab{l.lab(l.shade(l.baseState()))}
		lowest := 0
		for i := 0.0; i <= 1; i += 0.1 {
			s := map[string]float64{}
			for _, f := range l.process.factors {
				s[f.Column] = f.Lo + (f.Hi-f.Lo)*i
			}
			_, lab := l.Expected(s, w)
			path = append(path, lab)
			if lab.B < path[lowest].B {
				lowest = len(path) - 1
			}
		}
		if lowest == 0 || path[lowest].B > path[0].B-0.5 {
			t.Errorf("b* does not fall below the base: %v", path)
		}
		if path[len(path)-1].B < path[lowest].B+2 {
			t.Errorf("b* does not rise again: %v", path)
		}
	})
}

// TestExpectedIsTheMeanOfManyLots compares the quadrature with plain drawing.
// With n lots the standard error of the drawn mean is sd/√n, reported beside.
func TestExpectedIsTheMeanOfManyLots(t *testing.T) {
	w := daylight(t)
	rng := rand.New(rand.NewPCG(77, 5))
	n := 3000
	if testing.Short() {
		n = 800
	}
	for _, c := range []struct {
		kind Kind
		id   string
	}{
		{Depletion, "permanganate-pellet"}, {RingDyed, "hypochlorite-bath"},
		{Decay, "laccase-bath"}, {Contact, "ozone-gas"}, {Mixed, "permanganate-stone"},
	} {
		l, err := New(c.kind, c.id, rng)
		if err != nil {
			t.Fatal(err)
		}
		s := l.RandomSettings(rng)
		spectrum, want := l.Expected(s, w)
		got := l.LotSpread(s, w, rng, n, RunOptions{NoHotSpots: true, Panels: 2, Positions: 1})
		de := deltaE(want, got.Mean)
		var se float64
		for i := range 3 {
			se += got.Cov[i][i] / float64(n)
		}
		se = math.Sqrt(se)
		t.Logf("%v %s: ΔE00 %.3f, standard error of the drawn mean %.3f ΔE", c.kind, c.id, de, se)
		if de > 0.05+2.5*se {
			t.Errorf("%v %s at %v: expected %v, %d lots give %v", c.kind, c.id, s, want, n, got.Mean)
		}
		if of := w.Lab(spectrum); math.Abs(of.L-want.L) > 1.5 {
			t.Errorf("spectrum has L* %.2f, the mean is %.2f", of.L, want.L)
		}
	}
}

func TestSameSeedSameLots(t *testing.T) {
	make := func(seed uint64) []Lot {
		rng := rand.New(rand.NewPCG(seed, 3))
		l, err := New(Mixed, "permanganate-pellet", rng)
		if err != nil {
			t.Fatal(err)
		}
		ladder, err := l.Ladder(12, rng)
		if err != nil {
			t.Fatal(err)
		}
		return l.Trials(ladder, rng, RunOptions{BasePanels: 1})
	}
	a, b, c := make(1), make(1), make(2)
	if !reflect.DeepEqual(a, b) {
		t.Error("the same seed gave different lots")
	}
	if reflect.DeepEqual(a, c) {
		t.Error("different seeds gave the same lots")
	}
}

func TestVariants(t *testing.T) {
	w := daylight(t)
	rng := rand.New(rand.NewPCG(5, 5))
	var shifted int
	for range 10 {
		l, err := New(Depletion, "permanganate-pellet", rng)
		if err != nil {
			t.Fatal(err)
		}
		f, m := l.NewFabric(rng), l.NewMachine(rng)
		base := l.lab(l.shade(l.baseState()))
		if m.lab(m.shade(m.baseState())) != base {
			t.Error("another machine changed the base")
		}
		if f.lab(f.shade(f.baseState())) == base || f.Fabric == l.Fabric || m.Machine == l.Machine {
			t.Error("another fabric has the same base or name")
		}
		_, at := l.Expected(nil, w)
		_, on := m.Expected(nil, w)
		if math.Abs(at.L-on.L) > 0.5 {
			shifted++
		}
	}
	if shifted < 6 {
		t.Errorf("only %d of 10 other machines shift the shade by 0.5 L*", shifted)
	}
}

func TestUpsetsHotSpotsAndDamp(t *testing.T) {
	w := daylight(t)
	rng := rand.New(rand.NewPCG(9, 9))
	l, err := New(PowerLaw, "permanganate-pellet", rng)
	if err != nil {
		t.Fatal(err)
	}
	_, good := l.Expected(nil, w)
	o := RunOptions{NoHotSpots: true}
	cast := l.LotSpread(nil, w, rng, 60, RunOptions{NoHotSpots: true, Upset: CastUpset}).Mean
	if cast.B < good.B+1 {
		t.Errorf("brown cast: b* %.2f, clean %.2f", cast.B, good.B)
	}
	dose := l.LotSpread(nil, w, rng, 60, RunOptions{NoHotSpots: true, Upset: DoseUpset})
	clean := l.LotSpread(nil, w, rng, 60, o)
	if dose.Median < 2*clean.Median {
		t.Errorf("upset lots are off by %.2f, clean ones by %.2f", dose.Median, clean.Median)
	}
	damp := l.LotSpread(nil, w, rng, 60, RunOptions{NoHotSpots: true, Damp: true}).Mean
	if damp.L > good.L-2 {
		t.Errorf("damp cloth has L* %.2f, dry %.2f", damp.L, good.L)
	}
	hot, panels := 0, 0
	l.scatter.hotSpot = 0.04
	for range 500 {
		lot := l.Run(nil, rng, RunOptions{})
		hot += len(lot.HotPanels)
		panels += 4
		if l.Run(nil, rng, o).HotPanels != nil {
			t.Fatal("a hot spot in spite of NoHotSpots")
		}
	}
	// Binomial: 2000 panels at 4 % are 80 ± 8.8.
	if hot < 50 || hot > 110 {
		t.Errorf("%d hot panels of %d, want about 80", hot, panels)
	}
	var first, last float64
	for range 40 {
		a := l.Run(map[string]float64{"time_min": 6}, rng, o)
		b := l.Run(map[string]float64{"time_min": 24}, rng, o)
		for p, v := range a.TensileLoss {
			first += v / 160
			last += b.TensileLoss[p] / 160
			if v < 0 || b.TensileLoss[p] > 95 {
				t.Fatalf("tensile loss %g, %g %%", v, b.TensileLoss[p])
			}
		}
	}
	if last < first+2 {
		t.Errorf("tensile loss %.1f %% after 6 min and %.1f %% after 24", first, last)
	}
}

func TestInputsStayUntouched(t *testing.T) {
	w := daylight(t)
	rng := rand.New(rand.NewPCG(8, 8))
	l, err := New(Release, "hypochlorite-bath", rng)
	if err != nil {
		t.Fatal(err)
	}
	s := map[string]float64{"strength_gpl": 4, "time_min": 11.3}
	l.Run(s, rng, RunOptions{})
	l.Blank(s, rng, RunOptions{})
	l.Expected(s, w)
	l.Standard(s, 0.01, 2, rng)
	if want := (map[string]float64{"strength_gpl": 4, "time_min": 11.3}); !reflect.DeepEqual(s, want) {
		t.Errorf("settings became %v", s)
	}
	if b := l.Blank(nil, rng, RunOptions{}); b.Settings["strength_gpl"] != 0 || b.Settings["time_min"] == 0 {
		t.Errorf("a blank has settings %v", b.Settings)
	}
	if _, err := New(Kind(99), "ozone-gas", rng); err == nil {
		t.Error("kind 99 was accepted")
	}
	if _, err := New(Mixed, "sun", rng); err == nil {
		t.Error("an unknown process was accepted")
	}
}
