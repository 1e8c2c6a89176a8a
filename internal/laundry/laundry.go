package laundry

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"example.com/dosetone/colorimetry"
)

// A Laundry is one simulated machine room with one fabric. It does not change
// after [New] and may be used from several goroutines.
type Laundry struct {
	Kind    Kind
	Process string
	Fabric  string
	Machine string

	process  process
	form     Kind // of the cloth: PowerLaw, RingDyed, Contact or Decay
	transfer transfer
	supply   supply
	cloth    cloth
	fabric   fabric
	scatter  scatter
	wear     wear
	tensile  tensile

	weights *colorimetry.Weights // D65/10, in which draws are accepted
}

// fabric holds what the eye sees besides the dye's fate.
type fabric struct {
	colorants
	depth       float64 // K/S of the base at the dye's maximum
	sulfur      float64 // K/S of the sulfur bottom, 0 for none
	sulfurRate  float64 // of its removal, relative to the dye's
	yellow      float64 // K/S at 400 nm of all products
	yellowPower float64 // of the removed share
	yellowRate  float64 // of their own removal
	stain       float64 // K/S at the dye's maximum of loose dye at its worst
	cast        float64 // K/S at 400 nm after a good neutralization
	weftShare   float64 // of the face, before wear
	gloss       float64 // surface reflection
	respond     float64 // reactivity, factor on the rate
}

// wear is mechanical fading, which a blank shows too.
type wear struct {
	rub  float64 // ln of dye lost in a run of reference time
	open float64 // share of the face in which weft appears, same run
}

// tensile gives the loss in %: base + slope·u for the effect u = dose^power,
// steeper beyond about 20 %. The dose counts relative to that at the center.
type tensile struct {
	base, slope, power float64
	center             float64 // dose at the center of the region
	sdLot, sdPanel     float64 // percentage points and share mixed, see Run
}

// level is one layer of scatter: standard deviations of the disturbances.
type level struct {
	dose, depth, yellow, stain, cast, weft float64
}

type scatter struct {
	lot, panel, position level
	hotSpot              float64 // share of panels
	noise                noise
}

// noise of the instrument: smooth errors that all bands share, and white ones.
type noise struct {
	gain, tilt, zero, white float64
}

var errNoDraw = errors.New("laundry: no draw gave a plausible denim")

// New draws a laundry of the given physics for a process of [Processes].
// The draw is repeated until base, white, path and scatter lie in the
// magnitudes of real denim (orientation only, from memory): base L* 17-27,
// b* -16 to -8; white L* 70-88, a* -2 to 1, b* 0 to 9, all D65/10.
func New(kind Kind, processID string, rng *rand.Rand) (*Laundry, error) {
	return NewScaled(kind, processID, Scale{}, rng)
}

// Scale makes laundries that are easier or harder to learn from. Zero means 1.
type Scale struct {
	Region   float64 // how far the trial region reaches from its center, in logarithms; temperature and moisture stay
	Oxidizer float64 // oxidizer charged or fed, where it may run short
}

// NewScaled is [New] at a scale.
func NewScaled(kind Kind, processID string, scale Scale, rng *rand.Rand) (*Laundry, error) {
	p, err := lookup(processID)
	if err != nil {
		return nil, err
	}
	if wide := cmp.Or(scale.Region, 1); wide != 1 {
		p.widen(wide)
	}
	return newLaundry(kind, p, rng, cmp.Or(scale.Oxidizer, 1), false)
}

// newLaundry is NewScaled; plain keeps every balance to odeSteps and the cloth
// as coarse as the demo's.
func newLaundry(kind Kind, p process, rng *rand.Rand, oxidizer float64, plain bool) (*Laundry, error) {
	if kind < PowerLaw || kind > Mixed {
		return nil, fmt.Errorf("laundry: no kind %d", int(kind))
	}
	w, err := colorimetry.NewWeights(colorimetry.Viewing{Illuminant: colorimetry.D65, Observer: colorimetry.TenDegree}, Grid())
	if err != nil {
		return nil, err
	}
	for range 2000 {
		l := draw(kind, p, plain, rng)
		l.weights = w
		l.supply.capacity *= oxidizer
		l.supply.feed *= oxidizer
		center := uniform(rng, 0.38, 0.58)
		if l.plausibleEnds() && l.calibrate(center) && l.plausiblePath() {
			return l, nil
		}
	}
	return nil, fmt.Errorf("%w: %v, %s", errNoDraw, kind, p.id)
}

func uniform(rng *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }

// between draws log-uniformly.
func between(rng *rand.Rand, lo, hi float64) float64 {
	return math.Exp(uniform(rng, math.Log(lo), math.Log(hi)))
}

func draw(kind Kind, p process, plain bool, rng *rand.Rand) *Laundry {
	l := &Laundry{Kind: kind, Process: p.id, Fabric: "fabric-1", Machine: "machine-1", process: p, form: PowerLaw}
	l.transfer = transfer{
		coverHalf: between(rng, 0.3, 3), rpmPower: uniform(rng, 0.4, 1), wetPower: uniform(rng, 0.1, 0.5),
		liquor: uniform(rng, 0.3, 0.8), machine: 1,
		hypoShare: 22.2 / 1.2, eaHOCl: 26.8e3, eaOCl: 35.5e3, // [3]
		ea: uniform(rng, 25e3, 45e3), eaLoss: uniform(rng, 60e3, 120e3),
		wetBest: uniform(rng, 50, 60), wetWidth: uniform(rng, 18, 35), // [4]
		phBest: uniform(rng, 5, 6), phWidth: uniform(rng, 0.8, 1.5),
	}
	mild := 1.0
	switch kind {
	case RingDyed, Contact, Decay:
		l.form = kind
	case Mixed:
		mild = 0.5
		l.form = RingDyed
		if rng.IntN(2) == 0 {
			l.form = Contact
		}
	}
	if kind == Contact {
		l.transfer.coverHalf = between(rng, 0.2, 1)
		l.transfer.rpmPower = uniform(rng, 0.8, 1.3)
	}
	l.supply = drawSupply(p, mild, rng)
	l.supply.plain = plain
	if p.id == "hypochlorite-bath" {
		l.supply.inactive *= 0.4 // a bath keeps most of its chlorine over half an hour
	}
	div := fine()
	if plain {
		div = coarse()
	}
	l.cloth = drawCloth(l.form, div, rng)
	l.supply.order = uniform(rng, 1, 1.8)
	l.fabric = drawFabric(p, rng)
	l.wear = wear{rub: uniform(rng, 0.01, 0.06), open: uniform(rng, 0.002, 0.015)}
	l.tensile = tensile{
		base: uniform(rng, 1, 4), slope: uniform(rng, 8, 16), power: uniform(rng, 0.5, 1.1), // [8] for the order of magnitude
		sdLot: uniform(rng, 0.5, 1.2), sdPanel: uniform(rng, 0.8, 2),
	}
	l.scatter = drawScatter(rng)
	return l
}

func drawSupply(p process, mild float64, rng *rand.Rand) supply {
	var refT float64
	for _, f := range p.factors {
		if f.Column == "time_min" {
			refT = f.Ref
		}
	}
	return supply{
		k: 1 / refT, n: uniform(rng, 0.6, 1.1), refT: refT, lag: refT * uniform(rng, 0.02, 0.3),
		hits0:    between(rng, 4, 30),
		capacity: between(rng, 0.85, 2.2) / math.Sqrt(mild), size: uniform(rng, 0.1, 0.8) * mild,
		sizeRate: between(rng, 0.3, 3), selfLoss: between(rng, 0.1, 1.5) * mild,
		feed:    between(rng, 0.2, 2) / mild,
		release: between(rng, 0.8, 6), dry: between(rng, 0.5, 5),
		langmuir: between(rng, 0.2, 2), inactive: between(rng, 0.2, 2), auto: uniform(rng, 0, 0.8),
		weighSens: uniform(rng, 0.2, 0.5),
	}
}

func drawCloth(form Kind, div division, rng *rand.Rand) cloth {
	spread := uniform(rng, 0.1, 0.5) // of the ease of attack, ln
	if form == RingDyed || form == Decay {
		spread += 0.35 // forms that end at once in one element
	}
	return cloth{
		shells:   div.shells,
		elements: div.elements(uniform(rng, 0.15, 0.45), spread, uniform(rng, 0, 0.6)),
		order:    uniform(rng, 1.05, 2),  // [6]
		half:     between(rng, 0.1, 1.5), // [7]
		floor:    between(rng, 0.0005, 0.008),
		ring:     uniform(rng, 0.15, 0.4), optics: uniform(rng, 0.25, 0.6),
		slow: between(rng, 0.3, 4), blur: uniform(rng, 0.05, 0.12),
	}
}

func drawFabric(p process, rng *rand.Rand) fabric {
	f := fabric{
		colorants: colorants{
			dye: indigo(uniform(rng, -3, 3), uniform(rng, -0.35, 0.2)), sulfur: sulfurBlack(),
			yellow: isatin(uniform(rng, 380, 425), uniform(rng, 40, 65)),
			cast:   falling(p.castNM*uniform(rng, 0.85, 1.2), 0.1),
		},
		depth:      between(rng, 18, 50),
		yellow:     between(rng, 0.1, 0.9),
		stain:      between(rng, 0.05, 0.6),
		cast:       p.cast * between(rng, 0.006, 0.04),
		weftShare:  between(rng, 0.002, 0.012),
		gloss:      uniform(rng, 0.003, 0.009),
		sulfurRate: between(rng, 0.1, 0.6), yellowPower: uniform(rng, 0.8, 1.6), yellowRate: between(rng, 0.02, 0.3),
		respond: 1,
	}
	f.warp, f.weft = cotton(rng), cotton(rng)
	if rng.Float64() < 0.35 {
		f.sulfur = f.depth * uniform(rng, 0.04, 0.2)
	}
	return f
}

// cotton is undyed yarn: yellowish, rather light.
func cotton(rng *rand.Rand) bands {
	level, length := between(rng, 0.03, 0.2), uniform(rng, 80, 220)
	b := falling(length, 0.15)
	for i := range b {
		b[i] *= level
	}
	return b
}

func drawScatter(rng *rand.Rand) scatter {
	lot := level{
		dose: uniform(rng, 0.05, 0.2), depth: uniform(rng, 0.01, 0.05), yellow: uniform(rng, 0.08, 0.3),
		stain: uniform(rng, 0.15, 0.5), cast: uniform(rng, 0.3, 0.7), weft: uniform(rng, 0.05, 0.2),
	}
	scale := func(a, dose float64) level {
		return level{dose, a * lot.depth, a * lot.yellow, a * lot.stain, a * lot.cast, a * lot.weft}
	}
	return scatter{
		lot: lot, panel: scale(0.6, between(rng, 0.03, 0.1)), position: scale(0.4, between(rng, 0.015, 0.05)),
		hotSpot: uniform(rng, 0, 0.04),
		noise:   noise{gain: uniform(rng, 0.001, 0.004), tilt: uniform(rng, 0.001, 0.003), zero: uniform(rng, 5e-5, 3e-4), white: uniform(rng, 1e-4, 4e-4)},
	}
}

// calibrate sets the rate constant so that the center of the region has gone
// the share u of the way from base to white in L*.
func (l *Laundry) calibrate(u float64) bool {
	base, white := l.lab(l.shade(l.baseState())), l.lab(l.shade(l.whiteState()))
	want := base.L + u*(white.L-base.L)
	lo, hi := math.Log(l.supply.k)-6, math.Log(l.supply.k)+6
	at := func(lnk float64) float64 {
		l.supply.k = math.Exp(lnk)
		return l.lab(l.shade(l.state(l.at(nil), disturbance{}))).L
	}
	if at(lo) > want || at(hi) < want {
		return false
	}
	for range 50 {
		mid := (lo + hi) / 2
		if at(mid) < want {
			lo = mid
		} else {
			hi = mid
		}
	}
	l.tensile.center = l.supply.expose(l.Kind, l.at(nil), l.process.gas, 0).dose
	return true
}

func (l *Laundry) lab(r bands) colorimetry.Lab { return l.weights.Lab(r[:]) }

// plausibleEnds accepts bases and whites with the magnitudes of real denim.
func (l *Laundry) plausibleEnds() bool {
	base, white := l.lab(l.shade(l.baseState())), l.lab(l.shade(l.whiteState()))
	in := func(x, lo, hi float64) bool { return lo <= x && x <= hi }
	return in(base.L, 17, 27) && in(base.B, -16, -8) && in(base.A, -2, 3.5) &&
		in(white.L, 70, 88) && in(white.A, -2, 1) && in(white.B, 0, 9)
}

// plausiblePath accepts laundries whose trial region spans a useful part of
// the way, whose shade turns bluer before it turns pale, and whose lots
// scatter by 0.5 to 2.5 ΔE00 (one standard deviation at the center) on a slope
// of at most 24 L* per unit of ln dose.
func (l *Laundry) plausiblePath() bool {
	at := func(s map[string]float64, z float64) colorimetry.Lab {
		return l.lab(l.shade(l.state(l.at(s), disturbance{dose: z})))
	}
	lo, hi := map[string]float64{}, map[string]float64{}
	bluest := 0.0
	for i := range 9 {
		s := map[string]float64{}
		for _, f := range l.process.factors {
			s[f.Column] = f.Lo + (f.Hi-f.Lo)*float64(i)/8
			lo[f.Column], hi[f.Column] = f.Lo, f.Hi
		}
		bluest = min(bluest, at(s, 0).B)
	}
	if at(hi, 0).L-at(lo, 0).L < 25 || bluest > l.lab(l.shade(l.baseState())).B-1 {
		return false
	}
	if de := l.lotScatter(); de < 0.5 || de > 2.5 {
		return false
	}
	return at(nil, 0.5).L-at(nil, -0.5).L < 24
}

// lotScatter is one standard deviation, in ΔE00, of the mean of a lot of four
// panels at the center: from dose, drifting factors and depth of the base.
func (l *Laundry) lotScatter() float64 {
	var ss float64
	add := func(set func(d *disturbance, z float64)) {
		var ends [2]colorimetry.Lab
		for i, z := range [2]float64{-1, 1} {
			var d disturbance
			set(&d, z)
			ends[i] = l.lab(l.shade(l.state(l.at(l.drifted(nil, d)), d)))
		}
		de := deltaE(ends[0], ends[1]) / 2
		ss += de * de
	}
	lot, panel := l.scatter.lot, l.scatter.panel
	add(func(d *disturbance, z float64) { d.dose = z * math.Hypot(lot.dose, panel.dose/2) })
	add(func(d *disturbance, z float64) { d.depth = z * math.Hypot(lot.depth, panel.depth/2) })
	for i, f := range l.process.factors {
		if f.Drift > 0 {
			add(func(d *disturbance, z float64) { d.drift[i] = z })
		}
	}
	return math.Sqrt(ss)
}

// NewFabric returns the laundry with the next fabric: another base, another
// white, another reactivity (sd 0.25 in ln dose); machine and process stay.
func (l *Laundry) NewFabric(rng *rand.Rand) *Laundry {
	return l.refit("fabric-2", rng, func() fabric {
		f := drawFabric(l.process, rng)
		// Same mill, same neutralization: the colorants' own shapes stay near.
		f.dye, f.cast, f.colorants.cast = l.fabric.dye, l.fabric.cast, l.fabric.colorants.cast
		f.depth = l.fabric.depth
		vary(rng, &f.depth, 0.15)
		return f
	})
}

// NewFabricLot returns the laundry with the next lot of the same fabric: other
// rolls of the same dyer, with another depth (sd 0.15 in ln), another
// reactivity (sd 0.25 in ln dose), a white and by-products that differ a
// little (sd 0.1 to 0.15 in ln); construction, colorants, machine and process
// stay (magnitudes invented).
func (l *Laundry) NewFabricLot(rng *rand.Rand) *Laundry {
	return l.refit("fabric-1b", rng, func() fabric {
		f := l.fabric
		for _, v := range []*float64{&f.depth, &f.sulfur, &f.yellow, &f.stain, &f.weftShare} {
			vary(rng, v, 0.15)
		}
		for _, b := range []*bands{&f.warp, &f.weft} {
			k := 1.0
			vary(rng, &k, 0.1)
			for j := range b {
				b[j] *= k
			}
		}
		return f
	})
}

// refit returns the laundry with a drawn fabric of another reactivity, or,
// where no draw is plausible, with its own of another reactivity.
func (l *Laundry) refit(name string, rng *rand.Rand, draw func() fabric) *Laundry {
	n := *l
	n.Fabric = name
	for range 2000 {
		n.fabric = draw()
		vary(rng, &n.fabric.respond, 0.25)
		if n.plausibleEnds() && n.plausiblePath() {
			return &n
		}
	}
	n.fabric = l.fabric
	vary(rng, &n.fabric.respond, 0.25)
	return &n
}

// vary multiplies v by a log-normal factor.
func vary(rng *rand.Rand, v *float64, sd float64) { *v *= math.Exp(sd * rng.NormFloat64()) }

// Shifted returns the laundry with a fabric that reacts exp(z) times as fast.
func (l *Laundry) Shifted(z float64) *Laundry {
	n := *l
	n.fabric.respond *= math.Exp(z)
	return &n
}

// WithRolls returns the laundry with loads whose garments differ in depth by sd in ln,
// as rolls of cloth do, and no less than its own do.
func (l *Laundry) WithRolls(sd float64) *Laundry {
	n := *l
	n.scatter.lot.depth = math.Max(sd, n.scatter.lot.depth)
	return &n
}

// NewMachine returns the laundry with another machine: contact off by a factor
// (sd 0.2 in ln), another lag and wear; fabric and process stay.
func (l *Laundry) NewMachine(rng *rand.Rand) *Laundry {
	n := *l
	n.Machine = "machine-2"
	n.transfer.machine *= math.Exp(0.2 * rng.NormFloat64())
	n.supply.lag *= between(rng, 0.6, 1.6)
	n.wear.rub *= between(rng, 0.7, 1.4)
	return &n
}

// Calmer returns the laundry with the scatter of its lots, panels and positions
// and the drift of its factors multiplied by f. Hot spots and the instrument
// stay.
func (l *Laundry) Calmer(f float64) *Laundry {
	n := *l
	for _, v := range []*level{&n.scatter.lot, &n.scatter.panel, &n.scatter.position} {
		for _, x := range []*float64{&v.dose, &v.depth, &v.yellow, &v.stain, &v.cast, &v.weft} {
			*x *= f
		}
	}
	n.process.factors = slices.Clone(n.process.factors)
	for i := range n.process.factors {
		n.process.factors[i].Drift *= f
	}
	return &n
}
