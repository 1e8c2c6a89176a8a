package capped

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"

	"example.com/dosetone/colorimetry"
)

// Difficulty, fixed by models that are not ours.
const (
	regionWidth  = 1.6   // of the trial region, in logarithms
	regionSpread = 0.2   // sd of ln of it
	lotScatter   = 0.058 // median sd of ln dose between lots
	margin       = 0.4   // median of cap over dose at the center, less 1
	highestOrder = 1.4   // of the kinetics
	bending      = 1.3   // saturation with strength, decay of enzyme
)

// Bands is the number of wavelengths, 400 to 700 nm by 10.
const Bands = 31

// Grid is that of all spectra.
func Grid() colorimetry.Grid { return colorimetry.Grid{Start: 400, Step: 10, N: Bands} }

type spectrum [Bands]float64

// Groups lists the kinds of process: permanganate on stones, powder or pellets
// as it is drawn, hypochlorite, laccase and ozone.
func Groups() []string { return []string{"permanganate", "hypochlorite", "laccase", "ozone"} }

// settings are strength, the second factor and time.
type settings [3]float64

// Laundry is one machine room with one fabric. It does not change after [New].
type Laundry struct {
	Seed    uint64
	Group   string
	Process string

	columns     [3]string
	lo, hi, mid settings

	// The dose: rate, exponents of strength, second factor and time, saturation
	// with strength, life of the enzyme and the power by which strength shortens
	// it, best moisture and its width in ln.
	rate, alpha, beta, gamma, saturates, life, wears, best, width float64
	// Its cap at the center, the sharpness of the knee, and the powers of second
	// factor and time in it.
	cap, sharp, capSecond, capTime float64

	order, slow, core        float64 // kinetics; rate and dye of the core against the ring
	open, opens, openPower   float64 // share of core in the face, before and by attack
	dye, cloth               float64 // K/S of the base's dye and of undyed cloth
	dyeBand, clothBand, cast spectrum
	brown, loose, products   float64 // K/S of casts

	sdLot, sdPanel, hotShare, hot, sdCast, sdLab, rough float64
	weights                                             *colorimetry.Weights
}

func uniform(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// between draws log-uniformly.
func between(r *rand.Rand, lo, hi float64) float64 {
	return math.Exp(uniform(r, math.Log(lo), math.Log(hi)))
}

// significant rounds to four digits.
func significant(x float64) float64 {
	v, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 4, 64), 64)
	if err != nil {
		panic(err) // never, of what FormatFloat wrote
	}
	return v
}

// New draws a laundry of a group of [Groups].
func New(group string, seed uint64) (*Laundry, error) {
	if !slices.Contains(Groups(), group) {
		return nil, fmt.Errorf("capped: no group %q", group)
	}
	w, err := colorimetry.NewWeights(colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}, Grid())
	if err != nil {
		return nil, err
	}
	r := rand.New(rand.NewPCG(seed, 77))
	l := &Laundry{Seed: seed, Group: group, weights: w}
	over := 1 + margin*math.Exp(0.7*r.NormFloat64())
	l.drawProcess(r)
	l.drawRegion(r)
	l.drawFabric(r)
	level := uniform(r, 0.38, 0.58)
	l.scale(over, level)
	l.sdLot = lotScatter * math.Exp(0.35*r.NormFloat64())
	l.sdPanel = l.sdLot * uniform(r, 0.5, 1.2)
	l.hot, l.hotShare = 0.3, uniform(r, 0.005, 0.02)
	if group == "permanganate" {
		l.hotShare *= 3
	}
	l.sdCast, l.sdLab = uniform(r, 0.2, 0.5), uniform(r, 0.1, 0.25)
	l.rough = uniform(r, 0.01, 0.025)
	return l, nil
}

func (l *Laundry) drawProcess(r *rand.Rand) {
	l.gamma, l.alpha, l.beta = uniform(r, 0.5, 1), uniform(r, 0.7, 1.2), uniform(r, 0.6, 1.1)
	l.life, l.saturates = math.Inf(1), math.Inf(1)
	l.sharp, l.capSecond = uniform(r, 2, 6), 1
	switch l.Group {
	case "permanganate":
		l.alpha, l.beta = uniform(r, 0.3, 1), uniform(r, 0.1, 0.7)
		switch r.IntN(3) {
		case 0:
			l.Process, l.columns = "permanganate-stone", [3]string{"strength_gpl", "ratio", "time_min"}
			l.mid = settings{between(r, 8, 20), between(r, 0.8, 1.4), between(r, 8, 13)}
		case 1:
			l.Process, l.columns = "permanganate-powder", [3]string{"strength_pct", "ratio", "time_min"}
			l.mid = settings{between(r, 2, 4), between(r, 0.2, 0.35), between(r, 11, 16)}
		default:
			l.Process, l.columns = "permanganate-pellet", [3]string{"strength_pct", "ratio", "time_min"}
			l.mid = settings{between(r, 3, 6), between(r, 0.5, 1.4), between(r, 10, 18)}
		}
	case "hypochlorite":
		l.Process, l.columns = "hypochlorite-bath", [3]string{"strength_gpl", "liquor_ratio", "time_min"}
		l.mid = settings{between(r, 1.5, 4), between(r, 8, 12), between(r, 12, 24)}
		l.beta = uniform(r, 0, 0.2)
	case "laccase":
		l.Process, l.columns = "laccase-bath", [3]string{"strength_pct", "liquor_ratio", "time_min"}
		l.mid = settings{between(r, 0.6, 1.5), between(r, 7, 12), between(r, 22, 32)}
		l.capSecond = 0 // dosed on weight of garment
		l.wears = uniform(r, 0.1, 0.3)
		l.alpha, l.beta = uniform(r, 0.7, 1.1), -uniform(r, 0.2, 0.5)
		l.life, l.saturates = uniform(r, 0.7, 2.5)/bending, uniform(r, 1.5, 5)/bending
	case "ozone":
		l.Process, l.columns = "ozone-gas", [3]string{"strength_gnm3", "moisture_pct", "time_min"}
		l.mid = settings{between(r, 25, 50), between(r, 36, 50), between(r, 9, 20)}
		l.beta, l.saturates = 0, uniform(r, 1.5, 5)/bending
		l.capSecond, l.capTime = 0, 1 // what the gas brings in time
		l.best, l.width = math.Exp(uniform(r, -0.2, 0.6)), uniform(r, 0.7, 1.3)
	}
}

func (l *Laundry) drawRegion(r *rand.Rand) {
	wide := math.Exp(regionSpread * r.NormFloat64())
	for i, w := range [3]float64{uniform(r, 0.8, 1.2), uniform(r, 0.5, 0.8), uniform(r, 1.1, 1.6)} {
		if i == 1 && l.Group == "ozone" {
			w /= regionWidth * wide // moisture cannot be set in a wider range
		}
		half := math.Exp(w * regionWidth * wide / 2)
		l.lo[i], l.hi[i] = significant(l.mid[i]/half), significant(l.mid[i]*half)
	}
}

func (l *Laundry) drawFabric(r *rand.Rand) {
	peak, left, right, flat := uniform(r, 612, 632), uniform(r, 58, 74), uniform(r, 36, 46), uniform(r, 0.18, 0.32)
	violet := uniform(r, 0.15, 0.35)
	falls := uniform(rand.New(rand.NewPCG(l.Seed, 5)), 50, 90)
	for i := range l.dyeBand {
		x := float64(Grid().Wavelength(i))
		bell := func(at, sd float64) float64 { return math.Exp(-(x - at) * (x - at) / (2 * sd * sd)) }
		sd := left
		if x > peak {
			sd = right
		}
		l.dyeBand[i] = bell(peak, sd) + 0.3*bell(peak-58, 32) + flat + violet*bell(385, 45)
		l.clothBand[i] = 0.3 + math.Exp(-(x-400)/falls)
		l.cast[i] = math.Exp(-(x - 400) / 95)
	}
	l.order, l.slow, l.openPower, l.core = uniform(r, 1.03, highestOrder), uniform(r, 0.25, 0.8), uniform(r, 1, 3), uniform(r, 0.15, 0.9)
	l.open, l.opens = uniform(r, 0.002, 0.01), uniform(r, 0.08, 0.4)
	if l.Group == "permanganate" {
		l.brown = uniform(r, 0.002, 0.010)
	} else {
		l.brown = uniform(r, 0, 0.003)
	}
	l.loose, l.products = uniform(r, 0.004, 0.02), uniform(r, 0, 0.02)
	if l.Group == "laccase" {
		l.loose *= 2
	}
	base, white := uniform(r, 20.5, 31.5), uniform(r, 80.5, 91)
	l.cloth = root(1e-4, 1, func(k float64) bool { l.cloth = k; return l.shade(math.Inf(1), casts{}).L < white })
	l.dye = root(0.5, 200, func(k float64) bool { l.dye = k; return l.shade(0, casts{}).L < base })
}

// scale sets cap and rate so that the center of the region reaches a level, with
// the cap over times that dose.
func (l *Laundry) scale(over, level float64) {
	dark, light := l.shade(0, casts{}).L, l.shade(math.Inf(1), casts{}).L
	center := math.Exp(root(-6, 8, func(e float64) bool { return (l.shade(math.Exp(e), casts{}).L-dark)/(light-dark) > level }))
	l.cap = center * over
	l.rate = 1
	free := math.Pow(math.Pow(center, -l.sharp)-math.Pow(l.cap, -l.sharp), -1/l.sharp)
	l.rate = free / l.uncapped(l.mid)
}

// root is where above turns true between lo and hi.
func root(lo, hi float64, above func(x float64) bool) float64 {
	for range 60 {
		mid := (lo + hi) / 2
		if above(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return lo
}
