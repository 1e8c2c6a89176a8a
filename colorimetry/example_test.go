package colorimetry_test

import (
	"fmt"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/datasets/published"
)

// From two measured spectra to a color difference, under the store light too.
// The colors are those of published.DenimColors; the differences were confirmed
// with a separate program that evaluates the printed formula.
func Example() {
	grid, err := colorimetry.GridRange(400, 700, 10)
	if err != nil {
		fmt.Println(err)
		return
	}
	denim := published.DenimSpectra()
	viewings, err := colorimetry.ParseViewings("D65/10,F11/10")
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, v := range viewings {
		w, err := colorimetry.NewWeights(v, grid)
		if err != nil {
			fmt.Println(err)
			return
		}
		standard, sample := w.Lab(denim["V046"]), w.Lab(denim["V156"])
		parts := colorimetry.CIEDE2000{}.Parts(standard, sample)
		fmt.Printf("%s: L* %.1f a* %.1f b* %.1f, ΔE00 %.2f (lightness %+.2f, chroma %+.2f, hue %+.2f)\n",
			v, sample.L, sample.A, sample.B, parts.Total, parts.DL, parts.DC, parts.DH)
	}
	// Output:
	// D65/10: L* 33.4 a* -0.0 b* -8.5, ΔE00 4.23 (lightness +0.15, chroma -3.66, hue +1.96)
	// F11/10: L* 32.7 a* -0.2 b* -9.9, ΔE00 4.70 (lightness +0.49, chroma -4.22, hue +1.69)
}

// Pair 1 of Sharma, Wu, Dalal 2005, table 1, prints 2.0425.
func ExampleCIEDE2000() {
	ref := colorimetry.Lab{L: 50, A: 2.6772, B: -79.7751}
	sample := colorimetry.Lab{L: 50, A: 0, B: -82.7485}
	fmt.Printf("%.4f\n", colorimetry.CIEDE2000{}.Diff(ref, sample))
	// Output: 2.0425
}

func ExampleParallel() {
	standard := colorimetry.Lab{L: 35, A: -1.5, B: -18}
	lots := []colorimetry.Lab{{L: 35, A: -1.5, B: -18}, {L: 36, A: -1.5, B: -18}, {L: 35, A: -1.5, B: -17}}
	de := make([]float64, len(lots))
	f := colorimetry.CIEDE2000{KL: 2, KC: 1, KH: 1} // as often used for textiles
	colorimetry.Parallel(len(de), 0, func(lo, hi int) { f.DiffMany(de[lo:hi], standard, lots[lo:hi]) })
	fmt.Printf("%s: %.2f\n", f, de)
	// Output: CIEDE2000(2:1:1): [0.00 0.41 0.54]
}

// K/S is (1-R)²/2R: 0.25 at half reflectance, 4.05 at a tenth; R of it is 1+K/S-√((K/S)²+2K/S).
// Twice the dye is about
// twice the K/S, and has the reflectance that gives it.
func ExampleKS() {
	for _, r := range []float64{0.5, 0.1} {
		fmt.Printf("R %.1f: K/S %.2f, twice the dye R %.4f\n", r, colorimetry.KS(r), colorimetry.FromKS(2*colorimetry.KS(r)))
	}
	// Output:
	// R 0.5: K/S 0.25, twice the dye R 0.3820
	// R 0.1: K/S 4.05, twice the dye R 0.0551
}
