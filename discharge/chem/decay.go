package chem

import (
	"fmt"
	"math"
	"time"
)

// Assayed is one assay of a store at some age.
type Assayed struct {
	Age      time.Duration
	Strength float64 // any unit, the same for all
	SE       float64 // 0: not known, all assays weigh the same
}

// Order of a decay in the strength: 1 for a constant share lost per day, 2 for
// hypochlorite left to itself (3 OCl⁻ → ClO3⁻ + 2 Cl⁻), whose share lost falls
// with its strength.
type Order int

// Decay is the fall of a store's strength fitted to assays.
type Decay struct {
	Assays []Assayed
	Fits   []DecayFit // both orders, the better first; with two assays both fit exactly
	// OrderKnown is false where the assays cannot tell the orders apart.
	OrderKnown bool
	Warnings   []string
}

// DecayFit is one order.
type DecayFit struct {
	Order Order
	Start float64    // strength at age 0
	Rate  float64    // per day for order 1; per day and unit of strength for order 2
	RMS   float64    // of the relative residuals
	y0    float64    // Start as straightened
	cov   [3]float64 // variance at the mean age, of the rate, and the mean age
}

const day = 24 * time.Hour

// FitDecay fits both orders to at least two assays of different age by weighted
// least squares on ln C (order 1) and 1/C (order 2), which are straight in age.
func FitDecay(assays []Assayed) (Decay, error) {
	if len(assays) < 2 {
		return Decay{}, fmt.Errorf("%w: %d assays; it takes at least two of different age. Until then assay just before use", ErrNoDecay, len(assays))
	}
	known := true
	for i, a := range assays {
		if !(a.Strength > 0) || math.IsInf(a.Strength, 0) || a.Age < 0 || !(a.SE >= 0) || math.IsInf(a.SE, 0) {
			return Decay{}, fmt.Errorf("%w: assay %d has strength %g at age %v; want strength above 0 and age of 0 or more", ErrNoDecay, i+1, a.Strength, a.Age)
		}
		known = known && a.SE > 0
	}
	d := Decay{Assays: append([]Assayed(nil), assays...)}
	for _, o := range []Order{1, 2} {
		f, err := fitOrder(assays, o, known)
		if err != nil {
			return Decay{}, err
		}
		d.Fits = append(d.Fits, f)
	}
	if d.Fits[1].RMS < d.Fits[0].RMS && len(assays) > 2 {
		d.Fits[0], d.Fits[1] = d.Fits[1], d.Fits[0]
	}
	a, b := d.Fits[0].RMS, d.Fits[1].RMS
	// The worse fit must be clearly worse than both the better one and the
	// scatter of a careful titration before the order is called known.
	d.OrderKnown = len(assays) > 2 && b > 2*a && b > 0.005
	if !d.OrderKnown {
		d.Warnings = append(d.Warnings, "the assays cannot tell whether the loss is first or second order: both are shown; assay again later to decide")
	}
	if d.Fits[0].Rate < 0 {
		d.Warnings = append(d.Warnings, "the strength seems to rise with age: a mistaken assay, or water lost; do not extrapolate")
	}
	if len(assays) > 2 && a > 0.03 {
		d.Warnings = append(d.Warnings, fmt.Sprintf("neither order fits (%.0f %% scatter): the store was topped up, warmed, or an assay is wrong", 100*a))
	}
	return d, nil
}

func (o Order) straight(c float64) float64 {
	if o == 2 {
		return 1 / c
	}
	return -math.Log(c)
}

func fitOrder(assays []Assayed, o Order, known bool) (DecayFit, error) {
	var w, wx, wy, wxx, wxy float64
	weights := make([]float64, len(assays))
	for i, a := range assays {
		// The straightened value has sd SE/C² or SE/C; without SE equal relative
		// errors are taken.
		rel := 1.0
		if known {
			rel = a.SE / a.Strength
		}
		sd := rel
		if o == 2 {
			sd = rel / a.Strength
		}
		weights[i] = 1 / (sd * sd)
		x, y := a.Age.Hours()/24, o.straight(a.Strength)
		w += weights[i]
		wx += weights[i] * x
		wy += weights[i] * y
	}
	mx, my := wx/w, wy/w
	for i, a := range assays {
		x, y := a.Age.Hours()/24-mx, o.straight(a.Strength)-my
		wxx += weights[i] * x * x
		wxy += weights[i] * x * y
	}
	if !(wxx > 0) {
		return DecayFit{}, fmt.Errorf("%w: all assays are of one age; assay again after some days", ErrNoDecay)
	}
	f := DecayFit{Order: o, Rate: wxy / wxx}
	f.y0 = my - f.Rate*mx
	f.Start = o.back(f.y0)
	s2 := 1.0
	if !known {
		s2 = 0
		for i, a := range assays {
			r := o.straight(a.Strength) - my - f.Rate*(a.Age.Hours()/24-mx)
			s2 += weights[i] * r * r
		}
		s2 /= math.Max(float64(len(assays)-2), 1)
	}
	f.cov = [3]float64{s2 / w, s2 / wxx, mx}
	for _, a := range assays {
		r := f.At(a.Age)/a.Strength - 1
		f.RMS += r * r
	}
	f.RMS = math.Sqrt(f.RMS / math.Max(float64(len(assays)-2), 1))
	if !finite(f.Rate, f.Start, f.RMS, f.cov[0], f.cov[1], f.cov[2]) {
		return DecayFit{}, fmt.Errorf("%w: the rate comes out as %g; check the units of the strengths and their errors", ErrNoDecay, f.Rate)
	}
	return f, nil
}

func (o Order) back(y float64) float64 {
	if o == 2 {
		if y <= 0 {
			return 0
		}
		return 1 / y
	}
	return math.Exp(-y)
}

// At returns the expected strength at an age, 0 if the fit has no finite value
// there.
func (f DecayFit) At(age time.Duration) float64 {
	return f.Order.back(f.y0 + f.Rate*age.Hours()/24)
}

// sd is the standard uncertainty of At.
func (f DecayFit) sd(age time.Duration) float64 {
	x := age.Hours()/24 - f.cov[2]
	s := math.Sqrt(f.cov[0] + f.cov[1]*x*x)
	c := f.At(age)
	if f.Order == 2 {
		return s * c * c
	}
	return s * c
}

// HalfLife is the time in which half of the strength at age 0 is lost; 0 if it
// is not falling.
func (f DecayFit) HalfLife() time.Duration {
	if f.Rate <= 0 || f.Start <= 0 {
		return 0
	}
	days := math.Ln2 / f.Rate
	if f.Order == 2 {
		days = 1 / (f.Rate * f.Start)
	}
	if days > 1e5 {
		return 0
	}
	return time.Duration(days * float64(day))
}

// AtUse is the strength at an age with a range that covers the orders that the
// assays leave open, each with twice its standard uncertainty where that is
// known.
type AtUse struct {
	Value, Lo, Hi float64
	// Extrapolated says that the age lies beyond the last assay by more than the
	// assays span.
	Extrapolated bool
	// IntervalKnown is false with two assays of unknown error: then Lo and Hi
	// cover only the choice of the order.
	IntervalKnown bool
}

// At returns the strength at an age. It panics on a decay that [FitDecay] did
// not make.
func (d Decay) At(age time.Duration) AtUse {
	if len(d.Assays) == 0 || len(d.Fits) == 0 {
		panic("chem: At of a Decay without assays or fits: take what FitDecay returns")
	}
	first, last := d.Assays[0].Age, d.Assays[0].Age
	known := true
	for _, a := range d.Assays {
		first, last = min(first, a.Age), max(last, a.Age)
		known = known && a.SE > 0
	}
	u := AtUse{Value: d.Fits[0].At(age), Extrapolated: age > last+(last-first), IntervalKnown: known || len(d.Assays) > 2}
	u.Lo, u.Hi = u.Value, u.Value
	for i, f := range d.Fits {
		if i > 0 && d.OrderKnown {
			break
		}
		c, s := f.At(age), f.sd(age)
		u.Lo, u.Hi = math.Min(u.Lo, math.Max(c-2*s, 0)), math.Max(u.Hi, c+2*s)
	}
	return u
}
