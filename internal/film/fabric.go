package film

import (
	"math"

	"example.com/dosetone/colorimetry"
)

const (
	bands  = 31 // 400 to 700 nm by 10
	layers = 10 // of the dyed ring, outermost first
)

// grid is that of all spectra.
func grid() colorimetry.Grid { return colorimetry.Grid{Start: 400, Step: 10, N: bands} }

// spectrum holds one value per wavelength of [grid].
type spectrum [bands]float64

// A fabric has ring-dyed warp and a little undyed weft.
type fabric struct {
	profile           [layers]float64 // of indigo over the ring, near 1 at its surface
	total             float64         // of the profile
	depth             float64         // K/S of indigo where profile and spectrum are 1
	thickness         float64         // of the ring, the scattering power S·X
	indigo, sulfur    spectrum        // absorption
	yellow, brown     spectrum
	ground            spectrum // K/S of undyed cotton
	sulfurAmount      float64  // over indigo
	sulfurTop         bool     // the sulfur dye lies over indigo, not under it
	sulfurRate        float64  // of attack, over that on indigo
	weft, stain       float64  // share of the face; indigo on it from the start
	raised, sheltered float64  // share of the face; exposure of the rest
	gloss             float64  // reflected before any dye is met
}

func newFabric(d draw) fabric {
	var f fabric
	reach, steepness := d.in(0.3, 0.9), d.in(1, 2.5)
	for j := range f.profile {
		depth := (float64(j) + 0.5) / layers
		f.profile[j] = math.Exp(-math.Pow(depth/reach, steepness)) + 0.01
		f.total += f.profile[j]
	}
	f.thickness = d.in(2.5, 6)
	f.drawSpectra(d)
	if d.yes(0.3) {
		f.sulfurAmount = d.in(0.1, 0.5)
		f.sulfurTop = d.yes(0.4)
		f.sulfurRate = d.log(0.1, 1.2)
	}
	f.weft, f.stain = d.in(0.01, 0.06), d.in(0.002, 0.015)
	f.raised, f.sheltered = d.in(0.4, 0.75), d.in(0.4, 0.95)
	f.gloss = d.in(0.001, 0.006)
	return f
}

// drawSpectra draws what the colorants and cotton absorb. Indigo has a bell that
// is narrower beyond its peak, a floor, and more toward the ultraviolet.
func (f *fabric) drawSpectra(d draw) {
	peak, before, beyond := d.in(645, 665), d.in(78, 92), d.in(55, 75)
	floor, violet := d.in(0.12, 0.26), d.in(0.05, 0.25)
	slope, yellow, brown := d.in(-0.5, 0.9), d.in(35, 60), d.in(80, 140)
	ecru := d.in(0.006, 0.02)
	for i := range bands {
		nm := float64(grid().Wavelength(i))
		width := before
		if nm > peak {
			width = beyond
		}
		f.indigo[i] = math.Exp(-(nm-peak)*(nm-peak)/2/width/width) + floor + violet*math.Exp(-(nm-400)/25)
		f.sulfur[i] = 0.7 * math.Exp(-slope*(nm-550)/200)
		f.yellow[i] = math.Exp(-(nm - 400) / yellow)
		f.brown[i] = math.Exp(-(nm - 400) / brown)
		f.ground[i] = ecru*math.Exp(-(nm-400)/90) + 0.012
	}
}

// A cell is a part of the face with one history. Dyes are in units of all indigo
// of the ring.
type cell struct {
	indigo, sulfur [layers]float64
	yellow         [layers]float64 // products of indigo
	brown          [layers]float64 // deposit, K/S over that of all indigo
	area           float64         // share of the face
	exposure       float64         // rate of attack over that on raised parts
}

// fresh is the face before treatment, of a panel dyed deeper by a factor: raised
// parts and the rest.
func (f *fabric) fresh(deeper float64) []cell {
	c := cell{area: f.raised, exposure: 1}
	for j, p := range f.profile {
		c.indigo[j] = p * deeper / f.total
		if f.sulfurTop {
			c.sulfur[j] = f.sulfurAmount * p * p / f.total
		} else {
			c.sulfur[j] = f.sulfurAmount * math.Sqrt(p) / f.total
		}
	}
	rest := c
	rest.area, rest.exposure = 1-f.raised, f.sheltered
	return []cell{c, rest}
}

// lost is the indigo that has gone from the face of a panel dyed deeper by a factor,
// in units of all indigo of a panel as it should be.
func lost(face []cell, deeper float64) float64 {
	all := 0.0
	for k := range face {
		left := 0.0
		for _, dye := range face[k].indigo {
			left += dye
		}
		all += face[k].area * math.Max(0, deeper-left)
	}
	return all
}
