package discharge

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// A doseFactor turns one column of the settings into a centered regressor of
// the log dose η. Products and powers of settings become sums of regressors,
// so a change of unit moves only the center.
type doseFactor struct {
	Column    string
	Transform Transform
	Scale     float64 // of a Linear factor: what matters about as much as an e-fold of others
	Center    float64 // of the transformed trial settings
	Lo, Hi    float64 // trial range, transformed and centered
	From, To  float64 // trial range as set, free of the rounding of transforming and back
	Needed    bool    // settings must name it; a missing other one stands at its center
	Raises    bool    // more of it never discharges less
	Monotone  bool    // one way all along, up or down
	Heats     bool    // a temperature: heat spends the oxidizer sooner; earlier files say so by Raises
	Primary   bool    // takes part in second-order terms; others enter linearly
	// Drift is how far the trials of a factor that nobody chose lie from Center, root mean
	// square; 0 in files of earlier versions.
	Drift float64
}

// newDoseFactor is what a process says of a factor that is set between the ends of
// r; between sets its range. A linear one is scaled to half its typical range, or to
// half of r where practice knows none.
func newDoseFactor(f Factor, r Range) doseFactor {
	d := doseFactor{Column: f.Column, Transform: f.Transform, Scale: 1, Needed: !f.Optional, Raises: f.Increases, Monotone: f.Monotone, Heats: f.Transform == InverseKelvin}
	if f.Transform != Linear {
		return d
	}
	if f.Typical.Known() {
		r = f.Typical
	}
	if r.Hi > r.Lo {
		d.Scale = (r.Hi - r.Lo) / 2
	}
	return d
}

// arrhenius is the activation energy, in kelvin (Ea/R), to which 1/T is scaled
// so that its coefficient is of order one: 40 kJ/mol, the middle of the
// 27-50 kJ/mol met in dye + hypochlorite work (Nadupalli et al., S. Afr. J.
// Chem. 68 (2015), abstract; common practice for cloth).
const arrhenius = 40e3 / 8.314462618

func (f *doseFactor) raw(v float64) float64 {
	switch f.Transform {
	case Log:
		return math.Log(v)
	case InverseKelvin:
		return -arrhenius / (v + 273.15)
	}
	return v / f.Scale
}

// value is the inverse of raw and centering.
func (f *doseFactor) value(x float64) float64 {
	x += f.Center
	switch f.Transform {
	case Log:
		return math.Exp(x)
	case InverseKelvin:
		return -arrhenius/x - 273.15
	}
	return x * f.Scale
}

func (f *doseFactor) x(v float64) float64 { return min(max(f.raw(v)-f.Center, -farOut), farOut) }

// farOut bounds what a factor counts, so that dose and its variance stay
// numbers: no log of a number is as far, and no trials are.
const farOut = 1500

// isHeat tells a temperature; files that do not say Heats say it by Raises.
func (f *doseFactor) isHeat() bool { return f.Heats || f.Raises && f.Transform == InverseKelvin }

// oneWay tells that dose only rises or only falls with the factor: one without a best
// value. Heat may have one, since it spends the oxidizer sooner.
func (f *doseFactor) oneWay() bool { return (f.Raises || f.Monotone) && !f.isHeat() }

// values holds the settings of the factors of a model, in their order. A factor that
// the settings do not name stands at the middle of the trials; one that nobody
// chose, at adrift: it varies about there as it did in the trials. Behind them
// stands untried.
type values [maxFactors + 1]float64

// untried is the place in values of how far factors that never varied in the trials lie from
// where they stood, squared, in units of extrapolationSD.
const untried = maxFactors

// adrift is the value of a factor that varies as it did in the trials.
func adrift() float64 { return math.NaN() }

// drifts tells adrift from values.
func drifts(v float64) bool { return math.IsNaN(v) }

// at returns v in the centered coordinates of the basis.
func (b *doseBasis) at(v *values) (x values) {
	for j := range b.factors {
		if !drifts(v[j]) {
			x[j] = b.factors[j].x(v[j])
		}
	}
	x[untried] = v[untried]
	if b.clock != (clock{}) {
		k := b.soaking(&x)
		b.wind(&x, v, &k)
	}
	return x
}

// soak is what clocks share at some settings: charge and heat, and the minutes
// left after spreading under the last of them.
type soak struct {
	charge, heat             float64
	lag, spread, early, left float64
	known                    bool
}

// soaking is the soak of settings whose coordinates but time are x.
func (b *doseBasis) soaking(x *values) (k soak) {
	k.charge = b.charge(x)
	for j := range b.primary {
		if f := &b.factors[j]; f.isHeat() {
			k.heat += x[j]
		}
	}
	return k
}

// wind replaces the time coordinate of x by what the clock counts.
func (b *doseBasis) wind(x, v *values, k *soak) {
	c := &b.clock
	if !k.known || k.lag != c.Lag || k.spread != c.Spread || k.early != c.Early {
		k.lag, k.spread, k.early, k.known = c.Lag, c.Spread, c.Early, true
		k.left = c.soaked(v[b.time], k.charge, k.heat)
	}
	x[b.time] = c.lived(k.left, k.charge, k.heat) - b.factors[b.time].Center
}

// charge is the logarithm of the oxidizer charged at x, relative to the middle
// of the trials: more of every raising factor on a log scale, but time, is
// more oxidizer per garment.
func (b *doseBasis) charge(x *values) (sum float64) {
	for j := range b.primary {
		if f := &b.factors[j]; f.Raises && j != b.time && f.Transform == Log {
			sum += x[j]
		}
	}
	return sum
}

// clock says how the minutes of a load count. The zero clock counts them all.
type clock struct {
	// Lag is the time before anything happens. Fits of today use Spread in its
	// place; it serves model files of schema 1.
	Lag float64 `json:"lag_min"`
	// Life is the time in which the oxidizer is spent to 1/e; 0: never.
	Life float64 `json:"life_min"`
	// Charge is the power of the oxidizer charged by which its life grows. Fits
	// of today have a balance of oxidizer and dye in its place (supply.go); it
	// serves earlier model files, as Early does.
	Charge float64 `json:"charge_power"`
	// Spread is the time constant with which the oxidizer reaches the dye:
	// spreading, wetting out, heating up, taken by size first.
	Spread float64 `json:"spread_min,omitempty"`
	// Early is the power of charge and heat by which Spread shortens.
	Early float64 `json:"early_power,omitempty"`
	// Heat is the activation energy of what ends the life, in units of arrhenius.
	Heat float64 `json:"heat_power,omitempty"`
}

// soaked is how many of t minutes are left after the oxidizer has spread, when
// charge is the logarithm of the oxidizer charged and heat the Arrhenius term
// of the bath, both relative to the middle of the trials.
func (c *clock) soaked(t, charge, heat float64) float64 {
	if c.Lag > 0 {
		t = max(t-c.Lag, 1e-3*t)
	}
	if c.Spread > 0 {
		spread := c.Spread
		if c.Early != 0 {
			spread *= math.Exp(-c.Early * (charge + heat))
		}
		t -= counted(t, spread)
	}
	return t
}

// lived is the logarithm of the effective minutes among t that are soaked.
func (c *clock) lived(t, charge, heat float64) float64 {
	if c.Life > 0 {
		life := c.Life
		if by := c.Charge*charge - c.Heat*heat; by != 0 {
			life *= math.Exp(by)
		}
		t = counted(t, life)
	}
	return math.Log(max(t, leastMinutes))
}

// leastMinutes bounds the effective minutes from below, which are rounded to
// none, or less, where the time is nothing against that of spreading.
const leastMinutes = 1e-12

// counted is the integral of exp(-u/tau) over t minutes.
func counted(t, tau float64) float64 {
	if math.IsInf(tau, 1) {
		return t
	}
	return tau * spent(t/tau)
}

// spent is 1 - exp(-x) for x >= 0, to 15 digits.
func spent(x float64) float64 {
	if x > 0.1 {
		return 1 - math.Exp(-x) // at most one digit cancels, in half the time of Expm1
	}
	return -math.Expm1(-x)
}

// clocks lists the ways in which time may count, for trials that ran from lo
// to hi minutes: after the oxidizer has spread, for good or until it has died
// away, slowly or fast (with about twice the activation energy of fading:
// 60-120 kJ/mol against 27-50, orientation from memory). No start is sharp, and
// trials are hardly run shorter than the start takes; the second-order term of
// time makes up for slower ones.
func clocks(lo, hi float64) []clock {
	spread := 0.15 * lo
	return []clock{{Spread: spread}, {Spread: spread, Life: hi, Heat: 2}, {Spread: spread, Life: hi / 2.5, Heat: 2}}
}

// values reads settings.
func (b *doseBasis) values(s Settings) (v values) {
	for j := range b.factors {
		f := &b.factors[j]
		u, ok := s[f.Column]
		if !ok {
			u = b.unnamed(j)
		}
		v[j] = u
	}
	return v
}

// unnamed is the value of factor j in settings that do not name it.
func (b *doseBasis) unnamed(j int) float64 {
	if j >= b.primary {
		return adrift()
	}
	return b.middle[j]
}

// between sets center and range. The center is the middle of the range, not
// the mean: the same for any order or repetition of lots.
func (f *doseFactor) between(lo, hi float64) {
	f.Center = (lo + hi) / 2
	f.Lo, f.Hi = lo-f.Center, hi-f.Center
}

// about moves the center of a factor that drifted to the mean of its transformed values, where
// lots stand of which it is not known, and sets how far they drift from there.
func (f *doseFactor) about(xs []float64) {
	mean, square := 0.0, 0.0
	for _, x := range xs {
		mean += x / float64(len(xs))
	}
	for _, x := range xs {
		square += (x - mean) * (x - mean) / math.Max(float64(len(xs)-1), 1)
	}
	f.Lo, f.Hi = f.Lo+f.Center-mean, f.Hi+f.Center-mean
	f.Center, f.Drift = mean, math.Sqrt(square)
}

// doseBasis is the list of regressors of η: 1, the factors, and the products
// of the primary factors two by two.
type doseBasis struct {
	factors []doseFactor // primary ones first
	primary int
	clock   clock
	time    int    // index of the time factor, -1 without one
	own     int    // index of the own base of a load, -1 without it
	middle  values // of the trials, for settings that do not name a factor
}

// newBasis is a basis without a clock; primary factors come first.
func newBasis(factors []doseFactor, primary int) doseBasis {
	b := doseBasis{factors: factors, primary: primary}
	b.time, b.own = b.index(timeColumn), b.index(baseColumn)
	for j := range min(len(factors), maxFactors) {
		b.middle[j] = factors[j].value(0)
	}
	return b
}

// timed returns the basis under another clock, with the time factor centered
// on the trials again.
func (b *doseBasis) timed(c clock, trials []values) doseBasis {
	d := doseBasis{factors: slices.Clone(b.factors), primary: b.primary, clock: c, time: b.time, own: b.own}
	if c == (clock{}) {
		return d
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	f := &d.factors[d.time]
	f.Center = 0
	for i := range trials {
		x := d.at(&trials[i])
		lo, hi = math.Min(lo, x[d.time]), math.Max(hi, x[d.time])
	}
	f.between(lo, hi)
	return d
}

// index finds a factor, -1 if it is not among those that vary.
func (b *doseBasis) index(column string) int {
	return slices.IndexFunc(b.factors, func(f doseFactor) bool { return f.Column == column })
}

// maxFactors bounds the factors of one model, what drifts and other fabrics and machines among
// them, and maxPrimary those that were chosen, so that prediction works on arrays of fixed size and
// never allocates.
const maxFactors, maxPrimary = 16, 8

// maxTerms is the longest η row: 1 + factors + products of those that were chosen.
const maxTerms = 1 + maxFactors + maxPrimary*(maxPrimary+1)/2

// maxSize is the most parameters of a candidate.
const maxSize = maxTerms + 2

func (b *doseBasis) terms() int {
	return 1 + len(b.factors) + b.primary*(b.primary+1)/2
}

// beyond returns the squared distance of x from the trials' box.
func (b *doseBasis) beyond(x *values) float64 {
	sum := x[untried]
	for j := range b.factors {
		f := &b.factors[j]
		d := x[j] - min(max(x[j], f.Lo), f.Hi)
		sum += d * d
	}
	if sum < 1e-18 {
		return 0 // rounding of a setting at the very edge
	}
	return sum
}

// farOut names the factors of v that lie outside the trials' range, of those that only drifted
// where they do so by more than their drift.
func (b *doseBasis) farOut(v *values) string {
	var words []string
	x := b.at(v)
	for j := range b.factors {
		f := &b.factors[j]
		if d := x[j] - min(max(x[j], f.Lo), f.Hi); math.Abs(d) > max(1e-9, f.Drift) {
			words = append(words, fmt.Sprintf("%s %.4g where these had %.4g to %.4g", f.Column, v[j], f.From, f.To))
		}
	}
	return strings.Join(words, ", ")
}

// row fills dst with the η row at x. Beyond the trials' box a square goes on
// linearly and a product stays as at the edge: then the slope by a factor is,
// everywhere, one that η has inside the box, so a η that never falls there
// never falls anywhere.
func (b *doseBasis) row(dst []float64, x *values) {
	var c values
	dst[0] = 1
	for j := range b.factors {
		f := &b.factors[j]
		c[j] = min(max(x[j], f.Lo), f.Hi)
		dst[1+j] = x[j]
	}
	n := 1 + len(b.factors)
	for j := range b.primary {
		dst[n] = c[j] * (2*x[j] - c[j])
		n++
		for k := j + 1; k < b.primary; k++ {
			dst[n] = c[j] * c[k]
			n++
		}
	}
}

// slopes fills dst with the row of ∂η/∂x_j at x, a point of the trials' box.
func (b *doseBasis) slopes(dst []float64, x *values, j int) {
	clear(dst)
	dst[1+j] = 1
	n := 1 + len(b.factors)
	for i := range b.primary {
		for k := i; k < b.primary; k++ {
			if i == j {
				dst[n] += x[k]
			}
			if k == j {
				dst[n] += x[i]
			}
			n++
		}
	}
}
