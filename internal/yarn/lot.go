package yarn

import (
	"math"
	"math/rand/v2"

	"example.com/dosetone/colorimetry"
)

// level is a level of scatter: standard deviations in ln.
type level struct{ dose, dye float64 }

// scatter is between and within lots, standard deviations in ln but for the tilt.
type scatter struct {
	lot, panel   level // a lot's dose scatters in strength and rate alike
	sdPlace      float64
	brown, stain float64 // between lots
	tilt         float64 // of the spectrum from its middle to its ends, relative, between lots
	hotSpot      float64 // share of panels of trials with a position that runs ahead
	upset        bool    // one trial lot has the wrong dose
}

// disturbance is what differs from the run without scatter: factors, and the
// tilt of the spectrum.
type disturbance struct{ strength, rate, dye, brown, stain, tilt float64 }

func calm() disturbance { return disturbance{1, 1, 1, 1, 1, 0} }

type reading struct {
	panel, position int
	spectrum        bands
}

// lot runs and reads 4 panels at 2 positions, dosed by a factor too high.
func (l *Laundry) lot(rng *rand.Rand, r role, x point, dosed float64) (all []reading) {
	const panels, positions = 4, 2
	d := l.scatter.ofLot(rng)
	d.strength *= dosed
	for p := range panels {
		ofPanel := d
		ofPanel.rate *= logNormal(rng, l.scatter.panel.dose)
		ofPanel.dye *= logNormal(rng, l.scatter.panel.dye)
		hot := -1
		if rng.Float64() < l.scatter.hotSpot && r == trial {
			hot = rng.IntN(positions)
		}
		for q := range positions {
			at := ofPanel
			at.rate *= logNormal(rng, l.scatter.sdPlace)
			if q == hot {
				at.rate *= 1.5 + rng.Float64() // up to 2.5 times as fast
			}
			all = append(all, reading{p + 1, q + 1, read(l.spectrum(r, x, at), rng)})
		}
	}
	return all
}

func (s *scatter) ofLot(rng *rand.Rand) disturbance {
	half := s.lot.dose / math.Sqrt2
	return disturbance{
		strength: logNormal(rng, half), rate: logNormal(rng, half), dye: logNormal(rng, s.lot.dye),
		brown: logNormal(rng, s.brown), stain: logNormal(rng, s.stain), tilt: s.tilt * rng.NormFloat64(),
	}
}

// logNormal draws a factor of mean 1.
func logNormal(rng *rand.Rand, sd float64) float64 { return math.Exp(sd*rng.NormFloat64() - sd*sd/2) }

// read adds the errors of an instrument: of its gain, and of each wavelength in
// proportion and in zero (sizes invented).
func read(r bands, rng *rand.Rand) bands {
	gain := 1 + 0.002*rng.NormFloat64()
	for i := range r {
		own, zero := 0.0007*rng.NormFloat64(), 0.0001*rng.NormFloat64()
		r[i] = max(r[i]*(gain+own)+zero, 0.0005)
	}
	return r
}

// Lot returns the mean shade of the next lot at these settings, D65/10, over 4
// panels read at 2 positions each, with all its scatter. A factor that is not
// given is at the middle of the trial region.
func (l *Laundry) Lot(rng *rand.Rand, settings map[string]float64) (mean colorimetry.Lab) {
	all := l.lot(rng, trial, l.at(settings), 1)
	n := float64(len(all))
	for _, r := range all {
		c := l.weights.Lab(r.spectrum[:])
		mean.L += c.L / n
		mean.A += c.A / n
		mean.B += c.B / n
	}
	return mean
}
