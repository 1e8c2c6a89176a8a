// Package bench holds benchmarks against peers. Each one times both sides in
// turn within one run, so that load and clock of the machine hit both alike,
// and reports the medians:
//
//	go test -run '^$' -bench Color -benchtime 30x ./bench
//
// Metrics: ours-ns and peer-ns per item, and ours/peer. Nothing here asserts a
// time. color_baseline.txt keeps a run.
package bench

import (
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/lucasb-eyer/go-colorful"

	"example.com/dosetone/colorimetry"
)

// compare runs ours and peer in turn; both handle the same number of items.
func compare(b *testing.B, items int, ours, peer func()) {
	b.Helper()
	var o, p, ratio []float64
	for b.Loop() {
		start := time.Now()
		ours()
		middle := time.Now()
		peer()
		end := time.Now()
		to, tp := float64(middle.Sub(start)), float64(end.Sub(middle))
		o, p, ratio = append(o, to), append(p, tp), append(ratio, to/tp)
	}
	b.ReportMetric(median(o)/float64(items), "ours-ns")
	b.ReportMetric(median(p)/float64(items), "peer-ns")
	b.ReportMetric(median(ratio), "ours/peer")
	b.ReportMetric(0, "ns/op") // both together: says nothing
}

func median(x []float64) float64 {
	slices.Sort(x)
	return x[len(x)/2]
}

// pairs are colors as in quality control: anywhere in the space of surface
// colors, samples some units from their standard.
func pairs(n int) (refs, samples []colorimetry.Lab) {
	r := rand.New(rand.NewPCG(1, 2))
	for range n {
		ref := colorimetry.Lab{L: 10 + 80*r.Float64(), A: 30 * r.NormFloat64(), B: 30 * r.NormFloat64()}
		refs = append(refs, ref)
		samples = append(samples, colorimetry.Lab{L: ref.L + 2*r.NormFloat64(), A: ref.A + 2*r.NormFloat64(), B: ref.B + 2*r.NormFloat64()})
	}
	return refs, samples
}

// colorfuls makes the peer's ready colors; out-of-gamut ones are clipped.
func colorfuls(labs []colorimetry.Lab) []colorful.Color {
	out := make([]colorful.Color, len(labs))
	for i, c := range labs {
		s, _ := colorimetry.LabToSRGB(c)
		out[i] = colorful.Color{R: s.R, G: s.G, B: s.B}
	}
	return out
}

// textbook is CIEDE2000 as printed; Parts evaluates it so.
func textbook(ref, sample colorimetry.Lab) float64 {
	return colorimetry.CIEDE2000{}.Parts(ref, sample).Total
}

// comparePairs compares a way to fill dst with the differences of pairs with both peers.
func comparePairs(b *testing.B, dst []float64, refs, samples []colorimetry.Lab, ours func()) {
	b.Run("peer=colorful", func(b *testing.B) {
		x, y := colorfuls(refs), colorfuls(samples)
		compare(b, len(dst), ours, func() {
			for i := range dst {
				dst[i] = x[i].DistanceCIEDE2000(y[i])
			}
		})
	})
	b.Run("peer=textbook", func(b *testing.B) {
		compare(b, len(dst), ours, func() {
			for i := range dst {
				dst[i] = textbook(refs[i], samples[i])
			}
		})
	})
}

func BenchmarkColorPairs(b *testing.B) {
	const n = 1_000_000
	refs, samples := pairs(n)
	dst := make([]float64, n)
	ours := func() { colorimetry.CIEDE2000{}.DiffPairs(dst, refs, samples) }
	comparePairs(b, dst, refs, samples, ours)
}

func BenchmarkColorOneAgainstMany(b *testing.B) {
	const n = 100_000
	_, samples := pairs(n)
	ref := colorimetry.Lab{L: 35, A: -1.5, B: -18}
	dst := make([]float64, n)
	compare(b, n,
		func() { colorimetry.CIEDE2000{}.DiffMany(dst, ref, samples) },
		func() {
			for i := range dst {
				dst[i] = textbook(ref, samples[i])
			}
		})
}

func BenchmarkColorSingle(b *testing.B) {
	const n = 100_000
	refs, samples := pairs(n)
	dst := make([]float64, n)
	ours := func() {
		f := colorimetry.CIEDE2000{}
		for i := range dst {
			dst[i] = f.Diff(refs[i], samples[i])
		}
	}
	comparePairs(b, dst, refs, samples, ours)
}

func BenchmarkColorSpectrum(b *testing.B) {
	const n, bands = 10_000, 31
	v := colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}
	w, err := colorimetry.NewWeights(v, colorimetry.Grid{Start: 400, Step: 10, N: bands})
	if err != nil {
		b.Fatal(err)
	}
	r := rand.New(rand.NewPCG(3, 4))
	rows := make([]float64, n*bands)
	for i := range rows {
		rows[i] = 0.05 + 0.9*r.Float64()
	}
	dst := make([]colorimetry.Lab, n)

	// The peer gets the products lamp times observer in the form textbooks
	// tabulate them: lamp and observer apart.
	var lamp, x, y, z [bands]float64
	for i := range bands {
		c := w.At(i)
		lamp[i] = 100
		x[i], y[i], z[i] = c.X/100, c.Y/100, c.Z/100
	}
	single := func() {
		for i := range dst {
			dst[i] = w.Lab(rows[i*bands : (i+1)*bands])
		}
	}
	printed := func() {
		for i := range dst {
			dst[i] = textbookLab(rows[i*bands:(i+1)*bands], lamp[:], x[:], y[:], z[:])
		}
	}
	white := w.White()
	lean := func() {
		for i := range dst {
			dst[i] = leanLab(rows[i*bands:(i+1)*bands], lamp[:], x[:], y[:], z[:], white)
		}
	}
	b.Run("bulk/peer=textbook", func(b *testing.B) { compare(b, n, func() { w.LabRows(dst, rows) }, printed) })
	b.Run("single/peer=textbook", func(b *testing.B) { compare(b, n, single, printed) })
	b.Run("single/peer=lean", func(b *testing.B) { compare(b, n, single, lean) })
}

// textbookLab is CIE 15 as printed: k, X, Y, Z of the sample and of the white
// by summing lamp times observer, then the cube roots as powers.
func textbookLab(r, lamp, x, y, z []float64) colorimetry.Lab {
	var c, white colorimetry.XYZ
	var sum float64
	for i := range r {
		sum += lamp[i] * y[i]
		c.X += lamp[i] * x[i] * r[i]
		c.Y += lamp[i] * y[i] * r[i]
		c.Z += lamp[i] * z[i] * r[i]
		white.X += lamp[i] * x[i]
		white.Y += lamp[i] * y[i]
		white.Z += lamp[i] * z[i]
	}
	k := 100 / sum
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Pow(t, 1.0/3)
		}
		return 841.0/108*t + 4.0/29
	}
	fx, fy, fz := f(k*c.X/(k*white.X)), f(k*c.Y/(k*white.Y)), f(k*c.Z/(k*white.Z))
	return colorimetry.Lab{L: 116*fy - 16, A: 500 * (fx - fy), B: 200 * (fy - fz)}
}

// leanLab is the same by a programmer in a hurry: the white is known and the
// cube root is the library's.
func leanLab(r, lamp, x, y, z []float64, white colorimetry.XYZ) colorimetry.Lab {
	var c colorimetry.XYZ
	var sum float64
	for i := range r {
		sum += lamp[i] * y[i]
		c.X += lamp[i] * x[i] * r[i]
		c.Y += lamp[i] * y[i] * r[i]
		c.Z += lamp[i] * z[i] * r[i]
	}
	k := 100 / sum
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return 841.0/108*t + 4.0/29
	}
	fx, fy, fz := f(k*c.X/white.X), f(k*c.Y/white.Y), f(k*c.Z/white.Z)
	return colorimetry.Lab{L: 116*fy - 16, A: 500 * (fx - fy), B: 200 * (fy - fz)}
}

func BenchmarkColorSRGB8(b *testing.B) {
	const n = 100_000
	r := rand.New(rand.NewPCG(5, 6))
	src := make([]colorimetry.SRGB8, n)
	for i := range src {
		src[i] = colorimetry.SRGB8{R: uint8(r.IntN(256)), G: uint8(r.IntN(256)), B: uint8(r.IntN(256))}
	}
	dst := make([]colorimetry.Lab, n)
	peer := func() {
		for i, c := range src {
			l, a, bb := colorful.Color{R: float64(c.R) / 255, G: float64(c.G) / 255, B: float64(c.B) / 255}.Lab()
			dst[i] = colorimetry.Lab{L: 100 * l, A: 100 * a, B: 100 * bb}
		}
	}
	b.Run("bulk/peer=colorful", func(b *testing.B) {
		compare(b, n, func() { colorimetry.SRGB8sToLab(dst, src) }, peer)
	})
	b.Run("single/peer=colorful", func(b *testing.B) {
		compare(b, n, func() {
			for i, c := range src {
				dst[i] = colorimetry.SRGB8ToLab(c)
			}
		}, peer)
	})
}

func BenchmarkColorImageMean(b *testing.B) {
	const size = 512
	r := rand.New(rand.NewPCG(7, 8))
	m := image.NewNRGBA(image.Rect(0, 0, size, size))
	for y := range size {
		for x := range size {
			m.SetNRGBA(x, y, color.NRGBA{R: uint8(60 + r.IntN(40)), G: uint8(80 + r.IntN(40)), B: uint8(120 + r.IntN(60)), A: 255})
		}
	}
	compare(b, size*size,
		func() {
			if _, _, err := colorimetry.MeanColor(m, image.Rectangle{}); err != nil {
				b.Fatal(err)
			}
		},
		func() {
			var red, green, blue float64
			for y := range size {
				for x := range size {
					c, _ := colorful.MakeColor(m.At(x, y))
					lr, lg, lb := c.LinearRgb()
					red, green, blue = red+lr, green+lg, blue+lb
				}
			}
			sinkXYZ(colorful.LinearRgb(red/size/size, green/size/size, blue/size/size).Xyz())
		})
}

//go:noinline
func sinkXYZ(x, y, z float64) {}
