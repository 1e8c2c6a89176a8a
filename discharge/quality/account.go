package quality

import (
	"math"

	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/golden"
	"example.com/dosetone/internal/mat3"
)

// Accounts of a lot are weighed by Bayes' rule: each is a fabric (that of the trials,
// or another) and a colorant (or none), and costs what is improbable about it, as -2 ln
// of a probability: how far the lot lies from where it puts it, the dose that it
// supposes, the amount of colorant, the base that was read, and how rare such lots are.
// Much of a colorant undone by much of dose is dear twice.

// How often lots are met that have what an account supposes (common practice, no source).
const (
	brownShare  = 0.1  // of permanganate's lots keep manganese dioxide
	yellowShare = 0.05 // of lots have yellow products on them
	stainShare  = 0.03 // of lots have dye that has settled again
	fabricShare = 0.05 // of loads are of another fabric than the books say
	patchyShare = 0.2  // of lots with something on the cloth have it on some garments only
)

// expected is how often a colorant is met, and the standard deviation of its amount
// where there is some: K/S of manganese dioxide and of yellow products at their maximum,
// and the share of the base's dye that settles again (common practice, no source).
func (c colorant) expected() (share, amount float64) {
	switch c {
	case brown:
		return brownShare, 1
	case yellow:
		return yellowShare, 0.3
	}
	return stainShare, 0.03
}

// spectralSD is the root mean square by which ln K/S of good lots departs from
// the path's spectrum, otherSpectralSD that of lots of another fabric, and
// spectralWeight the number of independent departures that a smooth spectrum has (of
// the order met with reflectances of denim; common practice, no source).
const (
	spectralSD      = 0.06
	otherSpectralSD = 0.15
	spectralWeight  = 3
)

// shapeSD is the share of what a colorant does off the path by which that may be in
// error: its spectrum is known by its shape alone (common practice, no source).
const shapeSD = 0.1

// What another fabric does that its base does not show (common practice, no source):
// its lots lie off the path by so much in a* and b*, and take another dose, in ln.
const (
	otherA    = 0.6
	otherB    = 1.2
	otherDose = 0.25
)

// aimedDose is the standard deviation of ln of a lot's dose over that of the standard
// when its settings are not known, and tailDose are the degrees of freedom of Student's
// t that doses follow: upset lots are among them (common practice, no source).
const (
	aimedDose = 0.3
	tailDose  = 4
)

// cloth is the fabric that an account supposes.
type cloth struct {
	other      bool
	shift      mat3.Vec // of its base from that of the path; the lot has what is left of it
	extra      mat3.Mat // scatter about it, besides that of lots of the trials' fabric
	doseSD     float64  // of ln dose, besides that of lots
	spectralSD float64
	cost       float64
}

// cloths are the fabrics that a lot may be of, the trials' first.
func (j *judge) cloths(level float64) []cloth {
	same := cloth{spectralSD: spectralSD}
	other := cloth{other: true, spectralSD: otherSpectralSD, doseSD: otherDose, cost: -2 * math.Log(fabricShare)}
	other.extra[1][1], other.extra[2][2] = otherA*otherA, otherB*otherB
	h := baseOf(&j.opt)
	if base, ok := j.base(); ok {
		other.shift = minus(base, h.Mean)
		same.cost += h.surprise(base)
		other.cost += h.surpriseOther(base)
	} else {
		left := math.Max(1-level, 0)
		other.extra = mat3.Plus(other.extra, mat3.Scaled(otherBase(), left*left))
	}
	return []cloth{same, other}
}

// fitter weighs one account after the other.
type fitter struct {
	judge    *judge
	palette  *palette
	spectrum []float64 // of the lot, nil without
	start    float64   // level of the lot's lightness
	tangent  mat3.Vec  // of the path there
	dose     doseBelief
}

// account chooses between the fabrics and colorants that may have made the lot.
func (j *judge) account(p *palette, spectrum []float64) *explained {
	m := j.opt.Model
	start := min(max(m.LevelOf(j.even.mean.L), -0.1), 1.1)
	f := &fitter{j, p, spectrum, start, m.Tangent(start), j.doseBelief()}
	e := &explained{off: j.opt.Difference.Diff(m.ShadeAt(m.NearestLevel(j.even.mean)), j.even.mean)}
	best := fitted{total: math.Inf(1)}
	_, read := j.base()
	for _, on := range j.cloths(f.start) {
		none := f.fit(on, noColorant, math.Inf(-1))
		if !on.other {
			e.chi2None = none.chi2
		}
		if none.total < best.total {
			best = none
		}
		if on.other && !read {
			continue // nothing tells its base from a colorant
		}
		for _, c := range j.suspects() {
			a := f.fit(on, c, f.dose.cost(none.level, on.doseSD))
			size := j.opt.Difference.Diff(m.ShadeAt(a.level), moved(m.ShadeAt(a.level), a.tint))
			// A colorant is named for the color that it explains, the spectrum only
			// says which; but one that lies on some garments blurs their mean, and is
			// named for all that is known.
			seen := none.color-a.color > chi2One995 || a.patchy && spectrum != nil && none.total-a.total > chi2Two999
			if !seen || spectrum == nil && size > balanced*e.off {
				continue
			}
			if a.total < best.total {
				best, e.size = a, size
			}
		}
	}
	e.colorant, e.fabric, e.amount, e.effect, e.chi2 = best.colorant, best.on.other, best.amount, best.tint, best.chi2
	if e.colorant == noColorant {
		e.chi2, e.size = e.chi2None, 0
	}
	// Dose is told by lightness alone, what lies on the cloth set aside: a* and b*
	// that fit no level would move it by more than they know of it.
	e.level = m.LevelOf(j.sample.mean.L - e.effect[0])
	e.levelSD = math.Sqrt(j.sample.noise(m, e.level, mat3.Mat{})[0][0]) / m.Tangent(e.level)[0]
	return e
}

// fitted is the best that an account can do.
type fitted struct {
	on       cloth
	colorant colorant
	patchy   bool // it lies on some garments and not on others
	amount   float64
	tint     mat3.Vec // what the colorant does to Lab
	level    float64
	chi2     float64 // distance of the lot's mean
	color    float64 // -2 ln of the probability of the panels' colors
	total    float64 // -2 ln of that of the account, with all that is known
}

// fit finds level and amount.
//
// That a colorant would make the dose come out as promised does not speak for it, as
// doses go wrong as often as rinses do: floor is what the dose costs without one.
func (f *fitter) fit(on cloth, c colorant, floor float64) fitted {
	even := f.at(on, c, mat3.Mat{}, floor)
	if c == noColorant {
		return even
	}
	even.total -= 2 * math.Log(1-patchyShare)
	// A residue that lies on some garments and not on others scatters panels off the
	// path the way that it moves their mean.
	var patchy mat3.Mat
	off := f.off(even.tint)
	for i := range 3 {
		for k := range 3 {
			patchy[i][k] = off[i] * off[k]
		}
	}
	if f.surprise(patchy) >= f.surprise(mat3.Mat{}) {
		return even
	}
	p := f.at(on, c, patchy, floor)
	p.patchy = true
	p.total -= 2 * math.Log(patchyShare)
	if p.total < even.total {
		return p
	}
	return even
}

// at is fit where panels scatter by a covariance on top of the trials'.
func (f *fitter) at(on cloth, c colorant, patchy mat3.Mat, floor float64) fitted {
	noise := mat3.Plus(f.judge.even.noise(f.judge.opt.Model, f.start, patchy), on.extra)
	// distance is that of the lot's mean, and spread ln of the determinant of the
	// covariance that it is counted in.
	distance := func(level, amount float64) (chi2, spread float64) {
		tint := f.tint(level, c, amount)
		v := noise
		if c != noColorant {
			off := f.off(tint)
			s := shapeSD * math.Hypot(off[1], off[2])
			v[1][1] += s * s
			v[2][2] += s * s
		}
		precision := mat3.Inverse(v)
		return f.chi2(&precision, on, level, tint), logDet(v)
	}
	lo, hi := f.start-0.1, f.start+0.5
	if c == noColorant {
		lo, hi = f.start-0.15, f.start+0.15
	}
	color := func(level, amount float64) float64 {
		chi2, spread := distance(level, amount)
		return chi2 + spread
	}
	share, usual := c.expected()
	known := func(level, amount float64) float64 {
		y := color(level, amount) + math.Max(f.dose.cost(level, on.doseSD), floor)
		if amount > 0 {
			// Half normal in the amount, by whose logarithm it is looked for.
			u := amount / usual
			y += u*u - 2*math.Log(u) - math.Log(2/math.Pi)
		}
		if f.spectrum != nil {
			d := f.palette.misfit(f.spectrum, level, c, amount, on.other) / on.spectralSD
			y += spectralWeight * (d*d + 2*math.Log(on.spectralSD))
		}
		return y
	}
	// Lab alone leaves one degree of freedom to tell dose from colorant, so it is
	// asked how much it would take; the spectrum tells them apart.
	asked := known
	if f.spectrum == nil && c != noColorant {
		asked = color
	}
	best := func(amount float64) (level, y float64) {
		return golden.Section(func(s float64) float64 { return asked(s, amount) }, lo, hi, 1e-4)
	}
	a := fitted{on: on, colorant: c}
	if c == noColorant {
		a.level, a.total = best(0)
		// Its distance from the path is that whatever the dose.
		at, y := golden.Section(func(s float64) float64 { return color(s, 0) }, lo, hi, 1e-4)
		a.color = y
		a.chi2, _ = distance(at, 0)
	} else {
		of := func(x float64) float64 {
			_, y := best(usual * math.Exp(x))
			return y
		}
		x, y := golden.Section(of, math.Log(0.01), math.Log(10), 0.03)
		// By Laplace's method the amount is integrated over.
		const h = 0.1
		bend := math.Max((of(x+h)+of(x-h)-2*y)/(h*h), 1e-2)
		a.amount = usual * math.Exp(x)
		a.level, _ = best(a.amount)
		a.tint = f.tint(a.level, c, a.amount)
		a.chi2, _ = distance(a.level, a.amount)
		a.color = color(a.level, a.amount)
		a.total = known(a.level, a.amount) + math.Log(bend/(4*math.Pi)) - 2*math.Log(share)
	}
	a.color += f.surprise(patchy)
	a.total += f.surprise(patchy) + on.cost
	return a
}

// off is the part of a tint that lies off the path, at one lightness.
func (f *fitter) off(tint mat3.Vec) mat3.Vec {
	return mat3.Vec{0, tint[1] - tint[0]*f.tangent[1]/f.tangent[0], tint[2] - tint[0]*f.tangent[2]/f.tangent[0]}
}

// surprise is that of the panels' scatter off the path.
func (f *fitter) surprise(patchy mat3.Mat) float64 {
	return f.judge.even.surprise(f.judge.opt.Model, f.tangent, patchy)
}

func (f *fitter) tint(level float64, c colorant, amount float64) mat3.Vec {
	if c == noColorant {
		return mat3.Vec{}
	}
	return f.palette.tint(level, c, amount)
}

// chi2 is the distance of the lot's mean from a level of the path.
func (f *fitter) chi2(precision *mat3.Mat, on cloth, level float64, tint mat3.Vec) float64 {
	left := math.Max(1-level, 0)
	for i := range tint {
		tint[i] += left * on.shift[i]
	}
	d := minus(f.judge.even.mean, moved(f.judge.opt.Model.ShadeAt(level), tint))
	return mat3.Form(precision, d, d)
}

// doseBelief is what is known of a lot's dose before it is looked at.
type doseBelief struct {
	model *discharge.Model
	level float64 // that it should reach
	sd    float64 // of ln dose
}

// doseBelief rests on the settings, or on the standard, which is aimed at.
func (j *judge) doseBelief() doseBelief {
	m := j.opt.Model
	d := doseBelief{m, m.NearestLevel(j.target.Lab), aimedDose}
	if len(j.lot.Settings) > 0 {
		if r, err := m.DoseResidual(j.lot.Settings, d.level); err == nil && finite(r.ExpectedLevel) {
			d.level, d.sd = r.ExpectedLevel, math.Hypot(r.SDModel, r.SDLots)
		}
	}
	return d
}

// cost is how improbable a level is, with a further scatter of ln dose.
func (d *doseBelief) cost(level, sd float64) float64 {
	scale := math.Max(math.Hypot(d.sd, sd), 0.05)
	z := d.model.DoseBetween(d.level, level) / scale
	if !finite(z) {
		z = 1e3 // on the plateaus
	}
	return (tailDose+1)*math.Log1p(z*z/tailDose) + 2*math.Log(scale)
}

// logDet is ln of the determinant of a covariance.
func logDet(a mat3.Mat) float64 {
	l := mat3.Cholesky(a)
	return 2 * math.Log(l[0][0]*l[1][1]*l[2][2])
}
