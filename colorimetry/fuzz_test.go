package colorimetry

import (
	"math"
	"testing"
)

// FuzzConversions sends any three numbers through every conversion and back.
// Nothing panics; ordinary colors come back as they went.
func FuzzConversions(f *testing.F) {
	for _, s := range [][3]float64{{50, -2.6, -9}, {0, 0, 0}, {100, 0, 0}, {-1, 300, -300}, {math.NaN(), math.Inf(1), math.Inf(-1)}, {1e308, -1e308, 5e-324}, {8, 0, 0}} {
		f.Add(s[0], s[1], s[2], uint8(3))
	}
	f.Fuzz(func(t *testing.T, l, a, b float64, view uint8) {
		lamps := Illuminants()
		v := Viewing{lamps[int(view)%len(lamps)], Observer(1 + view%2)}
		lab := Lab{l, a, b}
		xyz := lab.XYZ(v.White())
		back := xyz.Lab(v.White())
		polar := lab.LCh().Lab()
		rgb, _ := LabToSRGB(lab)
		q := rgb.Quantize()
		_ = SRGBToLab(rgb)
		_ = q.R
		_ = KS(l)
		_ = FromKS(a)
		if !(l >= 0 && l <= 150 && math.Abs(a) <= 200 && math.Abs(b) <= 200) {
			return
		}
		near := func(what string, x, y Lab) {
			if !(math.Abs(x.L-y.L) < 1e-9 && math.Abs(x.A-y.A) < 1e-9 && math.Abs(x.B-y.B) < 1e-9) {
				t.Fatalf("%s: %v comes back as %v", what, x, y)
			}
		}
		near("XYZ under "+v.String(), lab, back)
		near("LCh", lab, polar)
		for _, c := range []float64{rgb.R, rgb.G, rgb.B} {
			if math.IsNaN(c) || math.IsInf(c, 0) {
				t.Fatalf("sRGB of %v is %v", lab, rgb)
			}
		}
		if r := math.Abs(a) / 201; r >= 1e-4 { // below it KS stands still
			if got := FromKS(KS(r)); math.Abs(got-r) > 1e-9 {
				t.Fatalf("K/S of %g comes back as %g", r, got)
			}
		}
	})
}

// FuzzDifferences holds every formula to what all have in common: zero for
// equal colors, never negative or NaN for ordinary ones.
func FuzzDifferences(f *testing.F) {
	f.Add(50., 2.6772, -79.7751, 50., 0., -82.7485)
	f.Add(0., 0., 0., 100., 0., 0.)
	f.Add(math.NaN(), 1., 2., math.Inf(1), 4., -1e308)
	f.Fuzz(func(t *testing.T, l1, a1, b1, l2, a2, b2 float64) {
		x, y := Lab{l1, a1, b1}, Lab{l2, a2, b2}
		ordinary := true
		for _, v := range []float64{l1, l2} {
			ordinary = ordinary && v >= 0 && v <= 150
		}
		for _, v := range []float64{a1, b1, a2, b2} {
			ordinary = ordinary && math.Abs(v) <= 300
		}
		for _, d := range []Difference{CIE76{}, CIE94{}, CMC{}, CIEDE2000{}, CIEDE2000{2, 1, 1}} {
			e, same := d.Diff(x, y), d.Diff(x, x)
			if ordinary && (!(e >= 0 && e < 2000) || same != 0) {
				t.Fatalf("%s: %v and %v differ by %v, the first and itself by %v", d, x, y, e, same)
			}
		}
	})
}
