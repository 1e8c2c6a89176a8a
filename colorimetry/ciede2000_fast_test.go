package colorimetry

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync/atomic"
	"testing"
)

// agree reports whether the fast result stands for the plain one: within 1e-9,
// or the same when neither is finite.
func agree(fast, plain float64) bool {
	return math.Abs(fast-plain) <= 1e-9 || fast == plain || math.IsNaN(fast) && math.IsNaN(plain)
}

func checkFast(t *testing.T, f CIEDE2000, ref, sample Lab) {
	t.Helper()
	plain := f.Parts(ref, sample).Total
	var bulk, many [1]float64
	f.DiffPairs(bulk[:], []Lab{ref}, []Lab{sample})
	f.DiffMany(many[:], ref, []Lab{sample})
	for i, got := range []float64{f.Diff(ref, sample), bulk[0], many[0]} {
		if !agree(got, plain) {
			t.Fatalf("%s %v %v: form %d gives %.17g, plain %.17g, off by %.2g", f, ref, sample, i, got, plain, got-plain)
		}
	}
}

// The fast forms on any finite input. `go test -fuzz FuzzCIEDE2000` searches on.
func FuzzCIEDE2000(f *testing.F) {
	f.Add(50.0, 2.49, -0.001, 50.0, -2.49, 0.001) // exactly 180° apart
	f.Add(50.0, -0.001, 2.49, 50.0, 0.001, -2.49)
	f.Add(50.0, 10.0, 1e-12, 50.0, 12.0, -1e-12) // mean hue at 0°
	f.Add(50.0, 0.0, 0.0, 40.0, 0.0, 0.0)
	f.Add(50.0, 0.0, 0.0, 40.0, 3.0, -20.0)
	f.Add(-1e5, 1e5, -1e5, 1e5, 1e5, 1e5)
	f.Add(1e300, 1e-300, 1e300, -1e300, 5.0, 1e-320)
	f.Add(50.0, 1e-160, 0.0, 50.0, 0.0, 1e-160)
	f.Fuzz(func(t *testing.T, l1, a1, b1, l2, a2, b2 float64) {
		for _, v := range []float64{l1, a1, b1, l2, a2, b2} {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Skip()
			}
		}
		checkFast(t, CIEDE2000{}, Lab{l1, a1, b1}, Lab{l2, a2, b2})
		checkFast(t, CIEDE2000{2, 1, 1}, Lab{l1, a1, b1}, Lab{l2, a2, b2})
	})
}

// The places where the formula is hard, approached at every distance: opposite
// hues, mean hue at 0°, 90°, 180°, 270° and 275°, neutral colors.
func TestFastAtTheHardPlaces(t *testing.T) {
	r := rand.New(rand.NewPCG(180, 275))
	for range 20000 {
		c1, c2 := math.Exp(8*r.Float64()-4), math.Exp(8*r.Float64()-4)
		h := []float64{0, 45, 90, 180, 270, 275, 359.9999, 360 * r.Float64()}[r.IntN(8)]
		half := []float64{0, 90, 90, 45, 90 * r.Float64()}[r.IntN(5)]
		off := func() float64 { return []float64{0, 1, -1}[r.IntN(3)] * math.Pow(10, -16*r.Float64()) }
		ref := LCh{100 * r.Float64(), c1, h + half + off()}.Lab()
		sample := LCh{100 * r.Float64(), c2, h - half + off()}.Lab()
		switch r.IntN(6) {
		case 0:
			sample.A = -ref.A * float64(r.IntN(4)) // exactly opposite or neutral
			sample.B = -ref.B * float64(r.IntN(2))
		case 1:
			sample.A, sample.B = ref.A, -ref.B // mean exactly 0° or 180°
		}
		checkFast(t, CIEDE2000{}, ref, sample)
	}
}

// The coefficients and the table of the fast form against the functions of
// math that they replace.
func TestFastPieces(t *testing.T) {
	table := rotations()
	for i := range 36000 {
		h := float64(i) / 100
		x, y := cosDegrees(h), sinDegrees(h)
		want := 1 - 0.17*cosDegrees(h-30) + 0.24*cosDegrees(2*h) + 0.32*cosDegrees(3*h+6) - 0.20*cosDegrees(4*h-63)
		if got := hueT(x, y); far(got, want, 1e-14*10) {
			t.Fatalf("T at %v° = %v, want %v", h, got, want)
		}
		d := (h - 275) / 25
		cell, u := table.cell(x, y)
		if got, want := cell.at(u), -sinDegrees(60*math.Exp(-d*d)); far(got, want, 1e-13) {
			t.Fatalf("rotation at %v° = %v, want %v", h, got, want)
		}
	}
}

func TestBulkForms(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	f := CIEDE2000{2, 1, 1}
	for _, n := range []int{0, 1, 127, 128, 129, 1000} {
		refs, samples := make([]Lab, n), make([]Lab, n)
		for i := range n {
			refs[i] = Lab{100 * r.Float64(), 60 * r.NormFloat64(), 60 * r.NormFloat64()}
			samples[i] = Lab{100 * r.Float64(), 60 * r.NormFloat64(), 60 * r.NormFloat64()}
		}
		beforeRefs, beforeSamples := slices.Clone(refs), slices.Clone(samples)
		pairs, many, parallel := make([]float64, n), make([]float64, n), make([]float64, n)
		f.DiffPairs(pairs, refs, samples)
		Parallel(n, 3, func(lo, hi int) { f.DiffPairs(parallel[lo:hi], refs[lo:hi], samples[lo:hi]) })
		one := Lab{30, 1, -12}
		f.DiffMany(many, one, samples)
		for i := range n {
			if !agree(pairs[i], f.Diff(refs[i], samples[i])) || !agree(many[i], f.Diff(one, samples[i])) || pairs[i] != parallel[i] {
				t.Fatalf("n %d, item %d: pairs %v, parallel %v, many %v", n, i, pairs[i], parallel[i], many[i])
			}
		}
		if !slices.Equal(refs, beforeRefs) || !slices.Equal(samples, beforeSamples) {
			t.Fatal("inputs were changed")
		}
		for name, call := range map[string]func(){
			"DiffPairs": func() { f.DiffPairs(pairs, refs, samples) },
			"DiffMany":  func() { f.DiffMany(many, one, samples) },
			"Diff":      func() { f.Diff(one, Lab{31, 1, -12}) },
		} {
			if allocs := testing.AllocsPerRun(5, call); allocs != 0 {
				t.Errorf("%s allocates %v times", name, allocs)
			}
		}
	}
}

func TestParallelCoversEverythingOnce(t *testing.T) {
	for _, n := range []int{0, 1, 5, 100} {
		for _, workers := range []int{0, 1, 3, 200} {
			seen := make([]int, n)
			Parallel(n, workers, func(lo, hi int) {
				for i := lo; i < hi; i++ {
					seen[i]++
				}
			})
			for i, k := range seen {
				if k != 1 {
					t.Errorf("n %d, %d workers: item %d seen %d times", n, workers, i, k)
				}
			}
		}
	}
}

// A panic in a part is the caller's to recover, with the value of the first part
// that panicked, once the other parts have ended.
func TestParallelPanicsInTheCaller(t *testing.T) {
	for _, workers := range []int{1, 4} {
		var ended atomic.Int32
		var got any
		func() {
			defer func() { got = recover() }()
			Parallel(8, workers, func(lo, _ int) {
				defer ended.Add(1)
				if lo == 0 || lo == 6 {
					panic(lo)
				}
			})
		}()
		if got != 0 || int(ended.Load()) != workers {
			t.Errorf("%d workers: panic %v, %d parts ended", workers, got, ended.Load())
		}
	}
}
