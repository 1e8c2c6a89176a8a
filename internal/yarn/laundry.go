package yarn

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"example.com/dosetone/colorimetry"
)

// A Laundry is one simulated machine room with one fabric. It does not change
// after [New] and may be used from several goroutines.
type Laundry struct {
	Process string
	Seed    uint64

	process     process
	factors     []Factor
	middle      point // geometric, of the trial region
	equalRatios bool  // the times of a ladder; otherwise they have equal steps
	features    []string
	cloth       cloth
	kinetics    kinetics
	transfer    transfer
	casts       casts
	scatter     scatter

	weights     *colorimetry.Weights // D65/10
	base, white colorimetry.Lab
}

// New draws the laundry of a seed for a process of [Processes]. The draw is
// repeated until it looks like denim and its trials are worth running: base L*
// 20 to 28, white L* 80 to 90, the middle of the region 40 to 58 % of the way
// from base to white in L*, its darkest corner at most 20 % and its lightest 80
// to 98.5 %.
func New(processID string, seed uint64) (*Laundry, error) {
	p, err := lookup(processID)
	if err != nil {
		return nil, err
	}
	w, err := colorimetry.NewWeights(colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}, Grid())
	if err != nil {
		return nil, err
	}
	for try := range uint64(400) { // one draw in two or three is accepted
		src := source{Rand: rand.New(rand.NewPCG(seed, 77+try))}
		l := &Laundry{Process: p.id, Seed: seed, process: p, weights: w}
		l.draw(&src)
		if l.darken(src.uniform(20, 28)) && l.calibrate(src.uniform(0.40, 0.58)) && l.useful() {
			return l, nil
		}
	}
	return nil, fmt.Errorf("yarn: no draw of seed %d gave a plausible laundry of %s", seed, p.id)
}

// Features names what makes this laundry differ from the plainest one, such as
// "slow-diffusion" or "depletion", in the order in which it was drawn.
func (l *Laundry) Features() []string { return slices.Clone(l.features) }

// Factors lists the columns of the settings with the trial region.
func (l *Laundry) Factors() []Factor { return slices.Clone(l.factors) }

// darken sets the dye content that gives the base its lightness. It reports
// whether there is one and whether the white is plausible, too.
func (l *Laundry) darken(lightness float64) bool {
	const most = 60 // K/S of a mean layer, far beyond real denim
	l.cloth.depth = bisect(0.3, most, func(depth float64) bool {
		l.cloth.depth = depth
		return l.lab(base, nil).L > lightness
	})
	if l.cloth.depth > 0.92*most {
		return false
	}
	l.base, l.white = l.lab(base, nil), l.lab(white, nil)
	return 80 <= l.white.L && l.white.L <= 90
}

// calibrate sets the rate that brings the middle of the region to a level. It
// reports whether there is one.
func (l *Laundry) calibrate(level float64) bool {
	t := l.middle[minutes]
	l.kinetics.rate = bisect(1e-3/t, 300/t, func(rate float64) bool {
		l.kinetics.rate = rate
		return l.level(l.middle) < level
	})
	return math.Abs(l.level(l.middle)-level) <= 0.02
}

// bisect returns where between lo and hi, both positive, short turns from true
// to false.
func bisect(lo, hi float64, short func(float64) bool) (x float64) {
	for range 40 { // 12 digits
		x = math.Sqrt(lo * hi)
		if short(x) {
			lo = x
		} else {
			hi = x
		}
	}
	return x
}

// useful reports whether the corners of the region reach from near the base to
// near the white without lying on either.
func (l *Laundry) useful() bool {
	least, most := math.Inf(1), math.Inf(-1)
	f := l.factors[minutes]
	for c := range l.corners() {
		for _, t := range [2]float64{f.Lo, f.Hi} {
			v := l.level(l.corner(c, t))
			least, most = min(least, v), max(most, v)
		}
	}
	return 0.005 <= least && least <= 0.20 && 0.80 <= most && most <= 0.985
}

// level is the share of the way from base to white in L*.
func (l *Laundry) level(x point) float64 {
	return (l.lab(trial, x).L - l.base.L) / (l.white.L - l.base.L)
}

// lab is the shade without any scatter.
func (l *Laundry) lab(r role, x point) colorimetry.Lab {
	s := l.spectrum(r, x, calm())
	return l.weights.Lab(s[:])
}

// Expected returns the shade at these settings without scatter, D65/10. A
// factor that is not given is at the middle of the trial region.
func (l *Laundry) Expected(settings map[string]float64) colorimetry.Lab {
	return l.lab(trial, l.at(settings))
}
