package laundry

import (
	"math"

	"example.com/dosetone/colorimetry"
)

// Bands is the number of wavelengths of every spectrum: 400-700 nm in steps of 10.
const Bands = 31

// Grid returns the wavelengths of every spectrum.
func Grid() colorimetry.Grid { return colorimetry.Grid{Start: 400, Step: 10, N: Bands} }

type bands = [Bands]float64

func overBands(f func(nm float64) float64) (b bands) {
	for i := range b {
		b[i] = f(400 + 10*float64(i))
	}
	return b
}

func gauss(nm, center, sd float64) float64 {
	u := (nm - center) / sd
	return math.Exp(-u * u / 2)
}

// colorants are the K/S shapes of one fabric. Dye is scaled to 1 at its
// maximum; the others to 1 where the comment says.
type colorants struct {
	dye    bands // indigo: maximum near 660 nm [2], shoulder near 610, low in the blue
	sulfur bands // flat, 1 near 630 nm
	yellow bands // isatin-like products: 1 at 400 nm, gone by 550
	cast   bands // 1 at 400 nm: MnO2 is broad and brown
	warp   bands // cotton without dye, absolute
	weft   bands // undyed weft, absolute
}

// indigo is a sum of broad bands whose shape was set by eye after measured
// denim (reflectances of blue jeans in open spectral data sets); shift moves
// the maximum in nm, red weakens the blue-green flank so that the shade turns
// redder.
func indigo(shift, red float64) bands {
	b := overBands(func(nm float64) float64 {
		nm -= shift
		return 0.55*gauss(nm, 664, 26) + 0.62*gauss(nm, 612, 48) + 0.34*(1+red)*gauss(nm, 530, 62) +
			0.22*math.Exp(-(nm-380)/60) + 0.07
	})
	peak := 0.0
	for _, v := range b {
		peak = max(peak, v)
	}
	for i := range b {
		b[i] /= peak
	}
	return b
}

func sulfurBlack() bands {
	return overBands(func(nm float64) float64 { return 0.55 + 0.45*gauss(nm, 630, 110) })
}

func isatin(center, width float64) bands {
	b := overBands(func(nm float64) float64 { return gauss(nm, center, width) })
	first := b[0]
	for i := range b {
		b[i] /= first
	}
	return b
}

// falling is exp decay from 1 at 400 nm on a flat share.
func falling(length, flat float64) bands {
	return overBands(func(nm float64) float64 { return flat + (1-flat)*math.Exp(-(nm-400)/length) })
}

// kubelkaMunk returns the reflectance of a thick layer of K/S = q [1].
func kubelkaMunk(q float64) float64 { return 1 + q - math.Sqrt(q*q+2*q) }
