package laundry

import (
	"math"
	"math/rand/v2"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/internal/quantile"
)

// gaussHermite9 are nodes and weights of the nine-point rule for the standard
// normal distribution (Abramowitz & Stegun table 25.10, rescaled by √2 and
// 1/√π); a test checks its moments up to order 16.
func gaussHermite9() (x, w [9]float64) {
	half := [5]float64{0, 0.723551018752838, 1.468553289216668, 2.266580584531843, 3.190993201781528}
	mass := [5]float64{0.7202352156060510, 0.4326515590025558, 0.08847452739437657, 0.004943624275536947, 0.00003960697726326438}
	for i := range x {
		j := i - 4
		if j < 0 {
			x[i], w[i] = -half[-j]*math.Sqrt2, mass[-j]/math.Sqrt(math.Pi)
		} else {
			x[i], w[i] = half[j]*math.Sqrt2, mass[j]/math.Sqrt(math.Pi)
		}
	}
	return x, w
}

// Expected returns the spectrum that the mean of very many lots at these
// settings tends to, without upsets and hot spots, and the mean CIELAB under
// the viewing of w (the mean of the readings' Lab, not Lab of the mean
// spectrum). Instead of drawing, it integrates over the scatter: a nine-point
// Gauss-Hermite rule over dose and, for each other disturbance k, the part of
// the third-degree rule [f(+√3σ) + f(-√3σ) - 2f(0)]/6 that it adds. Products
// of different disturbances have mean zero to second order. Against many
// drawn lots the error is below 0.05 ΔE00 (see the tests). w must be made for
// [Grid].
func (l *Laundry) Expected(settings map[string]float64, w *colorimetry.Weights) (spectrum []float64, lab colorimetry.Lab) {
	var mean bands
	add := func(weight float64, d disturbance) {
		r := l.shade(l.state(l.at(l.drifted(settings, d)), d))
		c := w.Lab(r[:])
		for i := range mean {
			mean[i] += weight * r[i]
		}
		lab.L += weight * c.L
		lab.A += weight * c.A
		lab.B += weight * c.B
	}
	sd := l.scatter.total()
	x, weight := gaussHermite9()
	for i := range x {
		add(weight[i], disturbance{dose: sd.dose * x[i]})
	}
	sides := 0
	pair := func(set func(d *disturbance, z float64)) {
		for _, z := range []float64{-math.Sqrt(3), math.Sqrt(3)} {
			var d disturbance
			set(&d, z)
			add(1.0/6, d)
		}
		sides++
	}
	pair(func(d *disturbance, z float64) { d.depth = sd.depth * z })
	pair(func(d *disturbance, z float64) { d.yellow = sd.yellow * z })
	pair(func(d *disturbance, z float64) { d.stain = sd.stain * z })
	pair(func(d *disturbance, z float64) { d.cast = sd.cast * z })
	pair(func(d *disturbance, z float64) { d.weft = sd.weft * z })
	for i, f := range l.process.factors {
		if f.Drift > 0 {
			pair(func(d *disturbance, z float64) { d.drift[i] = z })
		}
	}
	add(-float64(sides)/3, disturbance{})
	return mean[:], lab
}

// total is the scatter of one reading: lot, panel and position together.
func (s *scatter) total() level {
	sum := func(a, b, c float64) float64 { return math.Sqrt(a*a + b*b + c*c) }
	return level{
		dose: sum(s.lot.dose, s.panel.dose, s.position.dose), depth: sum(s.lot.depth, s.panel.depth, s.position.depth),
		yellow: sum(s.lot.yellow, s.panel.yellow, s.position.yellow), stain: sum(s.lot.stain, s.panel.stain, s.position.stain),
		cast: sum(s.lot.cast, s.panel.cast, s.position.cast), weft: sum(s.lot.weft, s.panel.weft, s.position.weft),
	}
}

// Spread is how lot means at one setting scatter.
type Spread struct {
	Mean   colorimetry.Lab
	Cov    [3][3]float64 // of L*, a*, b* of the lot mean
	Median float64       // ΔE00 of a lot mean to Mean
	P95    float64
}

// LotSpread draws n lots at the settings and returns the spread of their means.
func (l *Laundry) LotSpread(settings map[string]float64, w *colorimetry.Weights, rng *rand.Rand, n int, o RunOptions) Spread {
	var s Spread
	means := make([]colorimetry.Lab, n)
	for i := range means {
		means[i] = l.Run(settings, rng, o).MeanLab(w)
		s.Mean.L += means[i].L / float64(n)
		s.Mean.A += means[i].A / float64(n)
		s.Mean.B += means[i].B / float64(n)
	}
	de := make([]float64, n)
	for i, m := range means {
		v := [3]float64{m.L - s.Mean.L, m.A - s.Mean.A, m.B - s.Mean.B}
		for j := range v {
			for k := range v {
				s.Cov[j][k] += v[j] * v[k] / float64(n-1)
			}
		}
		de[i] = deltaE(s.Mean, m)
	}
	s.Median, s.P95 = quantile.Of(de, 0.5), quantile.Of(de, 0.95)
	return s
}

// MeanLab returns the mean of the readings' Lab.
func (l Lot) MeanLab(w *colorimetry.Weights) (m colorimetry.Lab) {
	n := float64(len(l.Readings))
	for _, r := range l.Readings {
		c := w.Lab(r.R)
		m.L += c.L / n
		m.A += c.A / n
		m.B += c.B / n
	}
	return m
}

func deltaE(a, b colorimetry.Lab) float64 { return colorimetry.CIEDE2000{}.Diff(a, b) }
