// Package drum is an invented garment laundry: a drum in which cloth
// meets its oxidizer by random contacts, baths and gas that are used up, and a
// cloth whose shade is the mean over a distribution of doses. No real laundry,
// fabric or product stands behind it.
package drum

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"example.com/dosetone/colorimetry"
)

// Global constants, set once by the peers' figures and frozen.
const (
	widthScale     = 1.37 // on the logarithmic width of the region
	secondScale    = 0.5  // on that of the second factor, besides
	scatterScale   = 0.85 // on all scatter in dose
	depletionScale = 0.95 // on consumption and decay of the oxidizer
	curvatureScale = 1.3  // on saturation, delay and other bends
	variety        = 0.4  // on the logarithmic range of depletion and bends
	orderScale     = 0.6  // on the order of attack in the dye above the first
	levelScale     = 0.9  // on the lightness level at the center
	colorScale     = 2.0  // on casts and back-staining
)

// A Laundry is one machine room with one fabric.
type Laundry struct {
	process  string
	columns  []string
	lo, hi   [3]float64 // region, in the order of columns
	center   [3]float64
	kinetics kinetics
	rate     float64 // dye attack per unit of exposure
	cloth    cloth
	scatter  scatter
	weights  *colorimetry.Weights
}

// Groups lists the groups of processes.
func Groups() []string { return []string{"permanganate", "hypochlorite", "laccase", "ozone"} }

// New draws a laundry. The same group and seed give the same laundry.
func New(group string, seed uint64) (*Laundry, error) {
	salt := uint64(0xf0f0)
	for _, c := range group {
		salt = salt*31 + uint64(c)
	}
	d := draw{rand.New(rand.NewPCG(seed, salt))}
	l := &Laundry{}
	deepest := 0.6 // lightness level at the center, at most
	switch group {
	case "permanganate":
		l.process = "permanganate-" + []string{"stone", "powder", "pellet"}[d.IntN(3)]
		l.kinetics = newDrum(d)
	case "hypochlorite":
		l.process = "hypochlorite-bath"
		l.kinetics = newBath(d)
	case "laccase":
		l.process, deepest = "laccase-bath", 0.5
		l.kinetics = newEnzyme(d)
	case "ozone":
		l.process = "ozone-gas"
		l.kinetics = newGas(d)
	default:
		return nil, fmt.Errorf("drum: no group %q", group)
	}
	l.drawRegion(d)
	l.cloth = newCloth(d, group)
	l.scatter = newScatter(d)
	w, err := colorimetry.NewWeights(
		colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}, grid())
	if err != nil {
		return nil, err
	}
	l.weights = w
	level := d.in(0.32, deepest) * levelScale
	for range 8 {
		l.calibrate(level)
		if l.monotone() {
			break
		}
		l.cloth.calmCasts()
	}
	return l, nil
}

// usual are the columns of a process and the ranges met in practice (common
// practice, no source).
func usual(process string) (columns []string, ranges [3][2]float64) {
	switch process {
	case "permanganate-stone":
		return []string{"strength_gpl", "ratio", "time_min"}, [3][2]float64{{1.5, 50}, {0.3, 2.5}, {1.5, 30}}
	case "permanganate-powder":
		return []string{"strength_pct", "ratio", "time_min"}, [3][2]float64{{0.5, 10}, {0.05, 0.6}, {5, 30}}
	case "permanganate-pellet":
		return []string{"strength_pct", "ratio", "time_min"}, [3][2]float64{{0.5, 12}, {0.05, 2.5}, {3, 40}}
	case "hypochlorite-bath":
		return []string{"strength_gpl", "liquor_ratio", "time_min"}, [3][2]float64{{0.3, 12}, {4, 20}, {3, 60}}
	case "laccase-bath":
		return []string{"strength_pct", "liquor_ratio", "time_min"}, [3][2]float64{{0.1, 5}, {4, 20}, {10, 60}}
	}
	return []string{"strength_gnm3", "moisture_pct", "time_min"}, [3][2]float64{{5, 120}, {20, 80}, {3, 50}}
}

// drawRegion places the laundry's own region within the usual ranges.
func (l *Laundry) drawRegion(d draw) {
	width := [3]float64{d.in(0.9, 1.7), d.in(0.5, 1.0) * secondScale, d.in(1.1, 1.8)}
	columns, ranges := usual(l.process)
	l.columns = columns
	for i, r := range ranges {
		lo, hi := math.Log(r[0]), math.Log(r[1])
		w := min(width[i]*widthScale, hi-lo)
		at := d.in(lo, hi-w)
		l.lo[i], l.hi[i] = math.Exp(at), math.Exp(at+w)
		l.center[i] = math.Exp(at + w/2)
	}
}

// calibrate sets the rate so that the center of the region has the given
// lightness level between base and white.
func (l *Laundry) calibrate(level float64) {
	base := l.lab(l.cloth.base())
	white := l.lab(l.cloth.white())
	want := base.L + level*(white.L-base.L)
	lo, hi := math.Log(1e-3), math.Log(1e4)
	for range 40 {
		mid := (lo + hi) / 2
		l.rate = math.Exp(mid)
		if l.expected(l.center).L < want {
			lo = mid
		} else {
			hi = mid
		}
	}
}

// monotone reports whether lightness never falls with strength, time and, for
// carriers, the ratio, on a grid over the region.
func (l *Laundry) monotone() bool {
	const n = 4
	var shade [n][n][n]float64
	at := func(i, k int) float64 { return l.lo[i] * math.Pow(l.hi[i]/l.lo[i], float64(k)/(n-1)) }
	for i := range n {
		for j := range n {
			for k := range n {
				shade[i][j][k] = l.expected([3]float64{at(0, i), at(1, j), at(2, k)}).L
			}
		}
	}
	second := strings.HasPrefix(l.process, "permanganate")
	for i := range n {
		for j := range n {
			for k := range n {
				v := shade[i][j][k]
				if i > 0 && v < shade[i-1][j][k] || k > 0 && v < shade[i][j][k-1] ||
					second && j > 0 && v < shade[i][j-1][k] {
					return false
				}
			}
		}
	}
	return true
}

// Columns names the three factors.
func (l *Laundry) Columns() []string { return append([]string(nil), l.columns...) }

func (l *Laundry) settings(x [3]float64) map[string]float64 {
	s := map[string]float64{}
	for i, c := range l.columns {
		s[c] = x[i]
	}
	return s
}

func (l *Laundry) values(s map[string]float64) (x [3]float64) {
	for i, c := range l.columns {
		x[i] = s[c]
	}
	return x
}

// Ladder is the practitioner's ladder over the region: two strengths, two
// values of the second factor, lots/4 times.
func (l *Laundry) Ladder(lots int) ([]map[string]float64, error) {
	times := lots / 4
	if lots%4 != 0 || times < 2 {
		return nil, fmt.Errorf("a ladder needs a multiple of 4 lots and at least 8, not %d", lots)
	}
	var all []map[string]float64
	for _, strength := range []float64{l.lo[0], l.hi[0]} {
		for _, second := range []float64{l.lo[1], l.hi[1]} {
			for k := range times {
				t := l.lo[2] * math.Pow(l.hi[2]/l.lo[2], float64(k)/float64(times-1))
				all = append(all, l.settings([3]float64{strength, second, t}))
			}
		}
	}
	return all, nil
}

// RandomSettings are uniform in the logarithms over the region.
func (l *Laundry) RandomSettings(rng *rand.Rand) map[string]float64 {
	var x [3]float64
	for i := range x {
		x[i] = l.lo[i] * math.Pow(l.hi[i]/l.lo[i], rng.Float64())
	}
	return l.settings(x)
}

// Expected is the shade of the settings without any scatter.
func (l *Laundry) Expected(settings map[string]float64) colorimetry.Lab {
	return l.expected(l.values(settings))
}

func (l *Laundry) expected(x [3]float64) colorimetry.Lab {
	return l.lab(l.cloth.spectrum(l.exposure(x, calm()), 1))
}

// exposure is what the cloth has gone through at the settings, in units of the
// center, with the luck of a lot.
func (l *Laundry) exposure(x [3]float64, luck luck) exposure {
	u := x[0] / l.center[0] * math.Exp(luck.strength)
	r, t := x[1]/l.center[1], x[2]/l.center[2]
	e := exposure{time: t, cast: math.Exp(luck.cast)}
	if x[0] > 0 {
		l.kinetics.run(run{strength: u, second: r, raw: x[1], time: t, rate: l.rate, cloth: &l.cloth}, &e)
	}
	e.dose *= math.Exp(luck.dose)
	return e
}

func (l *Laundry) lab(values [bands]float64) colorimetry.Lab { return l.weights.Lab(values[:]) }

// draw is a source of randomness with the shapes used here.
type draw struct{ *rand.Rand }

// in is uniform.
func (d draw) in(lo, hi float64) float64 { return lo + (hi-lo)*d.Float64() }

// log is uniform in the logarithm.
func (d draw) log(lo, hi float64) float64 { return lo * math.Pow(hi/lo, d.Float64()) }

// bend is log with the range narrowed by variety.
func (d draw) bend(lo, hi float64) float64 {
	mid, half := math.Sqrt(lo*hi), math.Pow(hi/lo, variety/2)
	return d.log(mid/half, mid*half)
}
