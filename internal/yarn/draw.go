package yarn

import (
	"math"
	"math/rand/v2"
)

// A source draws numbers and notes the features that were drawn. The order of
// draws is part of what a seed means: figures of earlier studies hold for it.
type source struct {
	*rand.Rand
	features []string
}

func (s *source) uniform(lo, hi float64) float64 { return lo + (hi-lo)*s.Float64() }

// between draws log-uniformly.
func (s *source) between(lo, hi float64) float64 {
	return lo * math.Exp(math.Log(hi/lo)*s.Float64())
}

func (s *source) note(feature string) { s.features = append(s.features, feature) }

// has draws whether a laundry has a feature.
func (s *source) has(probability float64, feature string) bool {
	if s.Float64() >= probability {
		return false
	}
	s.note(feature)
	return true
}

func (l *Laundry) draw(src *source) {
	l.drawRegion(src)
	t := l.middle[minutes]
	l.cloth = drawCloth(src)
	l.kinetics = drawKinetics(t, src)
	switch l.process.form {
	case carrier:
		l.transfer = drawCarrier(src)
	case bath:
		l.transfer = drawBath(src)
	case enzyme:
		l.transfer = drawEnzyme(src)
		l.kinetics.decay = src.uniform(0.1, 0.6) / t
		if l.transfer.heatLoss > 0.11 {
			src.note("enzyme-dies-hot")
		}
	case gas:
		l.transfer = drawGas(l.Seed, t, src)
		if f := l.factors[medium]; l.transfer.bestMoisture > f.Lo*1.1 && l.transfer.bestMoisture < f.Hi/1.1 {
			src.note("moisture-optimum-inside")
		}
	}
	l.casts = l.drawCasts(t, src)
	l.scatter = drawScatter(src)
	l.features = src.features
}

func (l *Laundry) drawRegion(src *source) {
	widths := [3][2]float64{strength: {2.5, 5.5}, medium: {1.7, 3.5}, minutes: {3.5, 11}} // Hi/Lo
	for i, s := range l.process.spans {
		w := math.Sqrt(src.between(widths[i][0], widths[i][1]))
		center := src.between(s.lo*w, s.hi/w)
		l.factors = append(l.factors, Factor{s.column, round(center/w, s.digits), round(center*w, s.digits), s.digits})
	}
	if l.process.form == enzyme {
		center, half := src.uniform(46, 58), src.uniform(4, 8)
		l.factors = append(l.factors, Factor{"temp_c", math.Round(center - half), math.Round(center + half), 1})
	}
	for _, f := range l.factors {
		l.middle = append(l.middle, math.Sqrt(f.Lo*f.Hi))
	}
	l.equalRatios = src.Float64() < 0.6
}

func drawKinetics(t float64, src *source) kinetics {
	k := kinetics{diffusion: src.between(0.4, 15), entry: src.between(0.8, 15), oxidizerOrder: src.uniform(0.7, 1.25), dyeOrder: 1}
	if k.diffusion < 1.2 {
		src.note("slow-diffusion")
	}
	if k.oxidizerOrder < 0.75 {
		src.note("low-order-oxidizer")
	}
	if src.has(0.25, "dye-order>1") {
		k.dyeOrder = src.uniform(1.2, 1.8)
	}
	if src.has(0.2, "slow-dye-share") {
		k.slowShare, k.slowRate = src.uniform(0.08, 0.3), src.uniform(0.12, 0.35)
	}
	k.demand = src.between(0.15, 3)
	if src.has(0.4, "depletion") {
		k.supply = src.between(1.1, 3)
	} else {
		k.supply = src.between(4, 15)
	}
	k.cotton = src.between(0.01, 0.3)
	if src.has(0.4, "self-decay") {
		k.decay = src.uniform(0.25, 0.9) / t
	} else {
		k.decay = src.uniform(0, 0.15) / t
	}
	if src.has(0.3, "wetting-lag") {
		k.wetting = src.uniform(0.1, 0.3) * t
	}
	k.parts = []part{{1, 1}}
	if src.has(0.4, "uneven-attack") {
		// About the three-point Gauss-Hermite rule for a log-normal ease of attack.
		z := 1.2247 * src.uniform(0.25, 0.6)
		k.parts = []part{{math.Exp(-z), 0.3}, {1, 0.4}, {math.Exp(z), 0.3}}
	}
	return k
}

func drawCarrier(src *source) transfer {
	t := transfer{contactPower: src.uniform(0.7, 1.2), contactLimit: math.Inf(1), releaseOrder: 1}
	if src.has(0.5, "contact-saturates") {
		t.contactLimit = src.uniform(0.7, 2.5)
	}
	if src.has(0.3, "carrier-holds-back") {
		t.releaseOrder = src.uniform(1.2, 1.6)
	}
	return t
}

func drawBath(src *source) transfer {
	t := transfer{liquorPower: src.uniform(-0.3, 0.3), pH: src.uniform(9, 11)}
	if src.has(0.4, "pH-falls") {
		t.pHFall = src.uniform(0.4, 1.3)
	}
	return t
}

func drawEnzyme(src *source) transfer {
	return transfer{
		liquorPower: src.uniform(-0.2, 0.2), half: src.between(0.5, 5),
		heatGain: src.uniform(0.025, 0.06), heatLoss: src.uniform(0.05, 0.14), returned: src.uniform(0.3, 0.95),
	}
}

// drawGas draws the optimum of all rates from a stream of its own: it was added
// after the rest, whose draws were to stay.
func drawGas(seed uint64, t float64, src *source) transfer {
	passage := src.between(18, 90)
	g := transfer{passageHalf: passage * src.uniform(0.5, 1.5), passageBest: passage, drying: src.uniform(0, 0.5) / t, feed: src.uniform(3, 15) / t}
	own := source{Rand: rand.New(rand.NewPCG(seed, 4711))}
	g.bestMoisture, g.moisturePower = own.uniform(30, 65), own.between(0.5, 5)
	return g
}

func (l *Laundry) drawCasts(t float64, src *source) casts {
	var c casts
	if l.process.form == carrier {
		c.brown = src.between(0.003, 0.02)
		if src.has(0.35, "brown-cast") {
			c.brown = src.between(0.03, 0.09)
		}
	}
	c.yellow, c.yellowRate = src.uniform(0, 0.02), src.uniform(0.3, 3)
	if src.has(0.2, "yellow-intermediate") {
		c.yellow = src.uniform(0.04, 0.12)
	}
	c.rub, c.stainRate, c.stain = src.uniform(0.01, 0.05)/t, src.uniform(0.2, 3), src.uniform(0, 0.08)
	if src.has(0.3, "back-staining") {
		c.stain = src.uniform(0.25, 0.9)
	}
	return c
}

func drawScatter(src *source) scatter {
	s := scatter{
		lot:     level{dose: src.uniform(0.035, 0.085)},
		panel:   level{dose: src.uniform(0.03, 0.08)},
		sdPlace: src.uniform(0.01, 0.03),
	}
	s.lot.dye, s.panel.dye = src.uniform(0.005, 0.02), src.uniform(0.005, 0.02)
	s.brown, s.stain, s.tilt = src.uniform(0.1, 0.35), src.uniform(0.1, 0.35), src.uniform(0.001, 0.004)
	if src.has(0.4, "hot-spots") {
		s.hotSpot = src.uniform(0.01, 0.04)
	}
	s.upset = src.has(0.1, "upset-lot")
	return s
}
