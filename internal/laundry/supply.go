package laundry

import "math"

// exposure is what the oxidizer did to the cloth: dose is the time integral of
// its attack, in units in which 1 is of the order of one half-life of dye, and
// hits the mean number of contacts that brought it.
type exposure struct{ dose, hits float64 }

// supply holds the drawn numbers of the oxidizer's side.
type supply struct {
	k     float64 // rate constant per minute at the reference; set by calibration
	n     float64 // order in oxidizer strength
	lag   float64 // min until the oxidizer is spread
	refT  float64 // min, the center of the region
	hits0 float64 // contacts at the center of the region

	capacity  float64 // oxidizer charged at the reference, in units of what all dye would need
	order     float64 // of the dye's demand
	size      float64 // size and cloth that take oxidizer, in the same units
	sizeRate  float64 // relative to the rate on dye
	selfLoss  float64 // share of oxidizer lost per refT
	feed      float64 // gas: feed relative to the uptake at full demand
	release   float64 // refT over the time scale of release
	dry       float64 // refT over the time scale of drying off
	langmuir  float64 // strength, relative to Ref, at which the surface is half full; as 1/x
	inactive  float64 // refT over the life of the active agent
	auto      float64 // share of autocatalysis in the loss
	weighSens float64 // share of the dose scatter that is a scatter of the charge

	plain bool // odeSteps are enough, see demo.go
}

// odeSteps is the number of Runge-Kutta steps of the demo's balances. It is
// part of their definition: expected shades and lots use the same steps.
const odeSteps = 24

// odeTolerance is the error allowed in a step, in the units of the balance.
const odeTolerance = 1e-6

// rk4 integrates y' = f(y) over time t. Each step is taken once whole and once
// in halves, and halved again until both agree: size that takes oxidizer many
// times as fast as dye makes balances that equal steps miss by a third of the
// way from base to white.
func (s *supply) rk4(y [4]float64, t float64, f func([4]float64) [4]float64) [4]float64 {
	if s.plain {
		for range odeSteps {
			y = positive(rk4Step(y, t/odeSteps, f))
		}
		return y
	}
	least := t / (1 << 20)
	h := t / 8
	for left := t; left > 0; {
		h = min(h, left)
		whole, halves := rk4Step(y, h, f), rk4Step(rk4Step(y, h/2, f), h/2, f)
		worst := 0.0
		for i := range y {
			worst = max(worst, math.Abs(whole[i]-halves[i]))
		}
		if worst > odeTolerance && h > least {
			h /= 2
			continue
		}
		y = positive(halves)
		left -= h
		if worst < odeTolerance/20 {
			h *= 2
		}
	}
	return y
}

// positive removes what rounding took below nothing.
func positive(y [4]float64) [4]float64 {
	for i := range y {
		y[i] = max(y[i], 0)
	}
	return y
}

func rk4Step(y [4]float64, h float64, f func([4]float64) [4]float64) [4]float64 {
	axpy := func(a float64, x [4]float64) [4]float64 {
		for i := range x {
			x[i] = y[i] + a*x[i]
		}
		return x
	}
	k1 := f(y)
	k2 := f(axpy(h/2, k1))
	k3 := f(axpy(h/2, k2))
	k4 := f(axpy(h, k3))
	for i := range y {
		y[i] += h / 6 * (k1[i] + 2*k2[i] + 2*k3[i] + k4[i])
	}
	return y
}

// effective is the dwell after the oxidizer has spread.
func (s *supply) effective(t float64) float64 {
	return t - s.lag*(1-math.Exp(-t/s.lag))
}

// expose returns the exposure under conditions c when the rate is off by the
// factor exp(z).
func (s *supply) expose(kind Kind, c conditions, gas bool, z float64) exposure {
	t := s.effective(c.t)
	k := s.k * math.Exp(z*(1-s.weighSens)) * c.touch * c.rate
	conc := c.c * math.Exp(z*s.weighSens)
	charge := c.q * math.Exp(z*s.weighSens)
	e := exposure{hits: s.hits0 * c.hits * t / s.effective(s.refT)}
	switch kind {
	case PowerLaw, RingDyed, Contact:
		e.dose = k * math.Pow(conc, s.n) * t
	case Depletion, Mixed:
		if gas {
			e.dose = s.fed(k, conc, t)
		} else {
			e.dose = s.deplete(k, conc, charge, t)
		}
	case Release:
		e.dose = s.released(k, conc, t)
	case Decay:
		e.dose = s.decayed(k, conc, c.loss, t)
	}
	return e
}

// deplete integrates dye d, oxidizer left o (in units of the dye's demand),
// size left w and dose x. The concentration falls with the oxidizer left.
func (s *supply) deplete(k, conc, charge, t float64) float64 {
	o0 := s.capacity * charge
	loss := s.selfLoss / s.refT
	y := s.rk4([4]float64{1, o0, s.size, 0}, t, func(y [4]float64) [4]float64 {
		left := max(y[1], 0) / o0
		g := k * math.Pow(conc*left, s.n)
		d := max(y[0], 0)
		dye := g * math.Pow(d, s.order)
		size := g * s.sizeRate * max(y[2], 0)
		return [4]float64{-dye, -(dye + size + loss*y[1]), -size, g}
	})
	return y[3]
}

// fed is the balance of a gas that is blown in: the little that the drum holds
// follows the uptake at once.
func (s *supply) fed(k, conc, t float64) float64 {
	y := s.rk4([4]float64{1, s.size, 0, 0}, t, func(y [4]float64) [4]float64 {
		d := math.Pow(max(y[0], 0), s.order)
		w := max(y[1], 0)
		left := s.feed / (s.feed + d + s.sizeRate*w)
		g := k * math.Pow(conc*left, s.n)
		return [4]float64{-g * d, -g * s.sizeRate * w, g, 0}
	})
	return y[2]
}

// released follows the oxidizer from its store (carrier, or liquor outside the
// yarn) into a film on the dye, from which it dries off or drains.
func (s *supply) released(k, conc, t float64) float64 {
	r, dry := s.release/s.refT, s.dry/s.refT
	y := s.rk4([4]float64{1, 0, 0, 0}, t, func(y [4]float64) [4]float64 {
		out := r * y[0] * y[0] // second order: the outer part leaves first
		film := max(y[1], 0)
		return [4]float64{-out, out - dry*film, k * math.Pow(conc*(film+0.02), s.n), 0}
	})
	return y[2]
}

// decayed has a surface that fills with strength and an agent that dies.
func (s *supply) decayed(k, conc, loss, t float64) float64 {
	fill := conc * (1 + s.langmuir) / (1 + s.langmuir*conc)
	kd := s.inactive / s.refT * loss
	y := s.rk4([4]float64{1, 0, 0, 0}, t, func(y [4]float64) [4]float64 {
		a := y[0]
		return [4]float64{-kd * a * (1 - s.auto + s.auto*(1.1-a)*2), k * fill * a, 0, 0}
	})
	return y[1]
}
