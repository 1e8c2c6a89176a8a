package laundry

import (
	"fmt"
	"math"
	"slices"
)

// Factor is one column of the settings of a process.
type Factor struct {
	Column string  // file column, ending in its unit
	Lo, Hi float64 // region in which trials are run (common practice, no source)
	Ref    float64 // center of the region, or the usual value of a factor that is only recorded
	// Drift is the lot-to-lot standard deviation of the true value around what
	// was dialed, as a share of Ref. Drifting factors are measured, so the
	// file shows the true value, rounded to Step.
	Drift float64
	Step  float64 // resolution of what is dialed or logged
	// Recorded marks a factor that nobody varies on purpose: Lo = Hi = Ref.
	Recorded bool
}

// process tells how the settings of one process reach the cloth.
type process struct {
	id      string
	factors []Factor
	carrier bool // solids that touch the garment
	gas     bool // oxidizer is fed all the time, not charged once
	cast    float64
	castNM  float64 // decay length of the residual cast over wavelength
}

func varied(column string, lo, hi, step float64) Factor {
	return Factor{Column: column, Lo: lo, Hi: hi, Ref: math.Sqrt(lo * hi), Step: step}
}

// widen moves the ends of the region wide times as far from its center, in
// logarithms.
func (p *process) widen(wide float64) {
	for i := range p.factors {
		f := &p.factors[i]
		if f.Recorded || f.Column == "temp_c" || f.Column == "moisture_pct" {
			continue
		}
		lo, hi := f.Ref*math.Pow(f.Lo/f.Ref, wide), f.Ref*math.Pow(f.Hi/f.Ref, wide)
		*f = varied(f.Column, max(round(lo, f.Step), f.Step), round(hi, f.Step), f.Step)
	}
}

func recorded(column string, ref, drift, step float64) Factor {
	return Factor{Column: column, Lo: ref, Hi: ref, Ref: ref, Drift: drift, Step: step, Recorded: true}
}

// processes is the table of what can be simulated. Ranges lie inside common
// practice (no source); casts and drifts are invented.
func processes() []process {
	temp := func(lo, hi float64) Factor {
		return Factor{Column: "temp_c", Lo: lo, Hi: hi, Ref: (lo + hi) / 2, Drift: 0.02, Step: 0.5}
	}
	return []process{
		{
			id: "permanganate-stone", carrier: true, cast: 1, castNM: 140,
			factors: []Factor{varied("strength_gpl", 12, 40, 1), varied("ratio", 0.7, 2, 0.1),
				varied("time_min", 6, 24, 1), recorded("rpm", 30, 0.035, 0.5), recorded("moisture_pct", 40, 0.1, 1)},
		}, {
			id: "permanganate-powder", carrier: true, cast: 1, castNM: 140,
			factors: []Factor{varied("strength_pct", 1.2, 4, 0.1), varied("ratio", 0.3, 0.6, 0.05),
				varied("time_min", 8, 26, 1), recorded("rpm", 32, 0.035, 0.5), recorded("moisture_pct", 35, 0.1, 1)},
		}, {
			id: "permanganate-pellet", carrier: true, cast: 1, castNM: 140,
			factors: []Factor{varied("strength_pct", 4, 10, 0.5), varied("ratio", 1, 2, 0.1),
				varied("time_min", 6, 24, 1), recorded("rpm", 32, 0.035, 0.5), recorded("moisture_pct", 35, 0.1, 1)},
		}, {
			id: "permanganate-spray", cast: 1.2, castNM: 140,
			factors: []Factor{varied("strength_gpl", 8, 35, 1), varied("add_on_gsm", 40, 120, 5),
				varied("time_min", 4, 18, 1)},
		}, {
			id: "hypochlorite-bath", cast: 0.3, castNM: 45,
			factors: []Factor{varied("strength_gpl", 2.5, 8, 0.1), varied("liquor_ratio", 6, 12, 1),
				varied("time_min", 6, 30, 1), temp(35, 55), recorded("ph", 10.5, 0.015, 0.1)},
		}, {
			id: "laccase-bath", cast: 0.5, castNM: 200,
			factors: []Factor{varied("strength_pct", 0.6, 2.5, 0.1), varied("liquor_ratio", 6, 12, 1),
				varied("time_min", 15, 60, 5), temp(48, 62), recorded("ph", 5.5, 0.02, 0.1)},
		}, {
			id: "ozone-gas", gas: true, cast: 0.15, castNM: 60,
			factors: []Factor{varied("strength_gnm3", 25, 80, 5), varied("moisture_pct", 38, 62, 1),
				varied("time_min", 6, 28, 1), recorded("rpm", 28, 0.035, 0.5)},
		},
	}
}

// Processes lists the ids of the processes that can be simulated.
func Processes() []string {
	var ids []string
	for _, p := range processes() {
		ids = append(ids, p.id)
	}
	return ids
}

// Factors returns the columns of the laundry's process in file order, with the
// region of its trials.
func (l *Laundry) Factors() []Factor { return l.process.factors }

func lookup(id string) (process, error) {
	all := processes()
	i := slices.IndexFunc(all, func(p process) bool { return p.id == id })
	if i < 0 {
		return process{}, fmt.Errorf("laundry: no process %q; known are %q", id, Processes())
	}
	return all[i], nil
}

// transfer holds the drawn numbers by which one laundry's machine and process
// turn settings into conditions at the cloth.
type transfer struct {
	coverHalf float64 // carrier:garment ratio, relative to Ref, at which half the full contact is reached
	rpmPower  float64 // of the contact rate
	wetPower  float64 // of garment moisture on a carrier process
	liquor    float64 // power of liquor ratio or add-on on contact
	machine   float64 // factor of this machine on contact

	hypoShare float64 // k(HOCl)/k(OCl⁻) at the reference temperature
	eaHOCl    float64 // J/mol
	eaOCl     float64 // J/mol
	ea        float64 // J/mol of the other processes
	eaLoss    float64 // J/mol of the loss of activity

	wetBest, wetWidth float64 // moisture optimum of ozone, %
	phBest, phWidth   float64 // laccase
}

// conditions are what the cloth meets, each relative to the center of the region.
type conditions struct {
	c     float64 // oxidizer concentration
	q     float64 // oxidizer charged per kg of garment
	touch float64 // rate at which oxidizer and cloth meet
	hits  float64 // number of contacts per minute
	rate  float64 // temperature, pH and moisture on the rate constant
	loss  float64 // temperature on the loss of activity
	t     float64 // min
}

const gasConstant = 8.314462618 // J/(mol K)

func arrhenius(ea, tempC, refC float64) float64 {
	return math.Exp(-ea / gasConstant * (1/(tempC+273.15) - 1/(refC+273.15)))
}

// at turns settings into conditions. A factor that s does not name stands at Ref.
func (l *Laundry) at(s map[string]float64) conditions {
	x := &l.transfer
	get := func(column string) (v, ref float64) {
		for i := range l.process.factors {
			if f := &l.process.factors[i]; f.Column == column {
				if v, ok := s[column]; ok {
					return v, f.Ref
				}
				return f.Ref, f.Ref
			}
		}
		return 1, 1
	}
	rel := func(column string) float64 { v, ref := get(column); return v / ref }

	k := conditions{c: 1, q: 1, touch: x.machine, hits: x.machine, rate: 1, loss: 1}
	k.t, _ = get("time_min")
	for i := range l.process.factors {
		if f := &l.process.factors[i]; len(f.Column) > 9 && f.Column[:9] == "strength_" {
			k.c = rel(f.Column)
		}
	}
	switch {
	case l.process.carrier:
		r := rel("ratio")
		cover := r * (1 + x.coverHalf) / (r + x.coverHalf)
		move := math.Pow(rel("rpm"), x.rpmPower)
		k.q = k.c * r
		k.hits *= cover * move
		k.touch *= cover * move * math.Pow(rel("moisture_pct"), x.wetPower)
	case l.process.id == "permanganate-spray":
		r := rel("add_on_gsm")
		k.q = k.c * r
		k.touch *= math.Pow(r, x.liquor)
		k.hits *= r
	case l.process.id == "hypochlorite-bath":
		r := rel("liquor_ratio")
		k.q = k.c * r
		k.touch *= math.Pow(r, 0.4*x.liquor)
		k.hits *= math.Pow(r, 0.4*x.liquor)
		temp, refT := get("temp_c")
		ph, refPH := get("ph")
		k.rate = x.hypochlorite(temp, ph) / x.hypochlorite(refT, refPH)
		k.loss = arrhenius(x.eaLoss, temp, refT)
	case l.process.id == "laccase-bath":
		r := rel("liquor_ratio")
		k.q = k.c // charged on the weight of garment
		k.c /= r  // and diluted by the bath
		k.touch *= math.Pow(r, 0.4+0.6*x.liquor)
		k.hits *= r
		temp, refT := get("temp_c")
		ph, refPH := get("ph")
		bell := func(ph float64) float64 { u := (ph - x.phBest) / x.phWidth; return math.Exp(-u * u / 2) }
		k.rate = arrhenius(x.ea, temp, refT) * bell(ph) / bell(refPH)
		k.loss = arrhenius(x.eaLoss, temp, refT)
	case l.process.gas:
		wet, ref := get("moisture_pct")
		move := math.Pow(rel("rpm"), x.rpmPower)
		k.touch *= move
		k.hits *= move
		k.rate = x.moisture(wet) / x.moisture(ref)
	}
	return k
}

// hypochlorite is the two-path rate of [3], up to a factor.
func (x *transfer) hypochlorite(tempC, ph float64) float64 {
	const pKa = 7.54 // [3]
	hocl := 1 / (1 + math.Pow(10, ph-pKa))
	return x.hypoShare*hocl*arrhenius(x.eaHOCl, tempC, 45) + (1-hocl)*arrhenius(x.eaOCl, tempC, 45)
}

// moisture has its optimum inside 50-60 % [4]: gas needs a water film to
// dissolve in, and a thick film keeps it out.
func (x *transfer) moisture(pct float64) float64 {
	u := (pct - x.wetBest) / x.wetWidth
	return 1 / (1 + u*u)
}
