package fit

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// A Curve is a unit dose-response curve: it rises from 0 to 1 as the log dose
// η goes from −∞ to +∞. All methods are safe in both tails: for every finite
// η, At and Slope are finite, and Inverse is finite for 0 < f < 1.
//
// The set is closed: LogLogistic, Weibull1, Weibull2, LogNormal, FirstOrder,
// OrderM and Richards.
type Curve interface {
	// Name is the family's name, e.g. "log-logistic".
	Name() string
	// At returns F(η), 0 ≤ F ≤ 1.
	At(eta float64) float64
	// Remaining returns 1 − F(η) without cancellation in the upper tail.
	Remaining(eta float64) float64
	// Slope returns dF/dη ≥ 0.
	Slope(eta float64) float64
	// Inverse returns the η at which F is f. It is −∞ at 0, +∞ at 1 (finite
	// for OrderM with M < 1) and NaN outside [0,1].
	Inverse(f float64) float64

	family() family
}

// A ShapedCurve has one shape parameter besides the position and scale of η.
type ShapedCurve interface {
	Curve
	// Shape returns the value of the shape parameter.
	Shape() float64
	// WithShape returns the curve with another value > 0 of the shape parameter.
	WithShape(v float64) ShapedCurve
	// ShapeSlope returns dF/dshape at η.
	ShapeSlope(eta float64) float64
}

// family is the tag that hot loops switch on instead of calling interfaces.
type family uint8

const (
	logLogistic family = iota
	weibull1
	weibull2
	logNormal
	orderM
	richards
)

// LogLogistic is F = 1/(1+e^−η).
type LogLogistic struct{}

// Weibull1 is F = 1 − exp(−e^η), the Weibull distribution function of the
// dose: slow at first, then fast.
type Weibull1 struct{}

// Weibull2 is F = exp(−e^−η), the Fréchet (inverse Weibull) distribution
// function of the dose: fast at first, then slow.
type Weibull2 struct{}

// LogNormal is F = Φ(η), the standard normal distribution function.
type LogNormal struct{}

// FirstOrder is first-order kinetics, 1 − exp(−e^η): the curve of Weibull1,
// named for use with a coefficient of 1 on log time.
type FirstOrder struct{}

// OrderM is kinetics of order M > 0 in the substance removed: the remaining
// fraction is (1 + (M−1) e^η)^(−1/(M−1)). M → 1 is FirstOrder, M = 2 is
// LogLogistic. Below order 1 the reaction ends at e^η = 1/(1−M).
type OrderM struct{ M float64 }

// Richards is the five-parameter log-logistic shape: the remaining fraction is
// (1+e^η)^−S with S > 0. It is OrderM with M = 1 + 1/S, moved along η.
type Richards struct{ S float64 }

func (LogLogistic) Name() string { return "log-logistic" }
func (Weibull1) Name() string    { return "Weibull-1" }
func (Weibull2) Name() string    { return "Weibull-2" }
func (LogNormal) Name() string   { return "log-normal" }
func (FirstOrder) Name() string  { return "first-order" }
func (OrderM) Name() string      { return "order-m" }
func (Richards) Name() string    { return "Richards" }

func (LogLogistic) family() family { return logLogistic }
func (Weibull1) family() family    { return weibull1 }
func (Weibull2) family() family    { return weibull2 }
func (LogNormal) family() family   { return logNormal }
func (FirstOrder) family() family  { return weibull1 }
func (OrderM) family() family      { return orderM }
func (Richards) family() family    { return richards }

func (LogLogistic) At(eta float64) float64 { f, _, _, _ := unit(logLogistic, 0, eta); return f }
func (Weibull1) At(eta float64) float64    { f, _, _, _ := unit(weibull1, 0, eta); return f }
func (Weibull2) At(eta float64) float64    { f, _, _, _ := unit(weibull2, 0, eta); return f }
func (LogNormal) At(eta float64) float64   { f, _, _, _ := unit(logNormal, 0, eta); return f }
func (FirstOrder) At(eta float64) float64  { f, _, _, _ := unit(weibull1, 0, eta); return f }
func (c OrderM) At(eta float64) float64    { f, _, _, _ := unit(orderM, c.M, eta); return f }
func (c Richards) At(eta float64) float64  { f, _, _, _ := unit(richards, c.S, eta); return f }

func (LogLogistic) Remaining(eta float64) float64 { _, g, _, _ := unit(logLogistic, 0, eta); return g }
func (Weibull1) Remaining(eta float64) float64    { _, g, _, _ := unit(weibull1, 0, eta); return g }
func (Weibull2) Remaining(eta float64) float64    { _, g, _, _ := unit(weibull2, 0, eta); return g }
func (LogNormal) Remaining(eta float64) float64   { _, g, _, _ := unit(logNormal, 0, eta); return g }
func (FirstOrder) Remaining(eta float64) float64  { _, g, _, _ := unit(weibull1, 0, eta); return g }
func (c OrderM) Remaining(eta float64) float64    { _, g, _, _ := unit(orderM, c.M, eta); return g }
func (c Richards) Remaining(eta float64) float64  { _, g, _, _ := unit(richards, c.S, eta); return g }

func (LogLogistic) Slope(eta float64) float64 { _, _, s, _ := unit(logLogistic, 0, eta); return s }
func (Weibull1) Slope(eta float64) float64    { _, _, s, _ := unit(weibull1, 0, eta); return s }
func (Weibull2) Slope(eta float64) float64    { _, _, s, _ := unit(weibull2, 0, eta); return s }
func (LogNormal) Slope(eta float64) float64   { _, _, s, _ := unit(logNormal, 0, eta); return s }
func (FirstOrder) Slope(eta float64) float64  { _, _, s, _ := unit(weibull1, 0, eta); return s }
func (c OrderM) Slope(eta float64) float64    { _, _, s, _ := unit(orderM, c.M, eta); return s }
func (c Richards) Slope(eta float64) float64  { _, _, s, _ := unit(richards, c.S, eta); return s }

func (LogLogistic) Inverse(f float64) float64 { return unitInverse(logLogistic, 0, f) }
func (Weibull1) Inverse(f float64) float64    { return unitInverse(weibull1, 0, f) }
func (Weibull2) Inverse(f float64) float64    { return unitInverse(weibull2, 0, f) }
func (LogNormal) Inverse(f float64) float64   { return unitInverse(logNormal, 0, f) }
func (FirstOrder) Inverse(f float64) float64  { return unitInverse(weibull1, 0, f) }
func (c OrderM) Inverse(f float64) float64    { return unitInverse(orderM, c.M, f) }
func (c Richards) Inverse(f float64) float64  { return unitInverse(richards, c.S, f) }

func (c OrderM) Shape() float64                   { return c.M }
func (c Richards) Shape() float64                 { return c.S }
func (OrderM) WithShape(m float64) ShapedCurve    { return OrderM{m} }
func (Richards) WithShape(s float64) ShapedCurve  { return Richards{s} }
func (c OrderM) ShapeSlope(eta float64) float64   { _, _, _, d := unit(orderM, c.M, eta); return d }
func (c Richards) ShapeSlope(eta float64) float64 { _, _, _, d := unit(richards, c.S, eta); return d }

// farEta is where the exponentials of η are no longer formed: exp(709.8)
// overflows, and every curve has reached its limit or its power law by then.
const farEta = 700

// unit returns F, 1 − F, dF/dη and dF/dshape at η.
func unit(fam family, shape, eta float64) (f, g, slope, dshape float64) {
	switch fam {
	case logLogistic:
		e := math.Exp(-math.Abs(eta))
		q := 1 / (1 + e)
		slope = e * q * q
		if eta < 0 {
			return e * q, q, slope, 0
		}
		return q, e * q, slope, 0
	case weibull1:
		if eta > farEta {
			return 1, 0, 0, 0
		}
		u := math.Exp(eta)
		g = math.Exp(-u)
		f = 1 - g
		if g > 0.5 {
			f = -math.Expm1(-u)
		}
		return f, g, u * g, 0
	case weibull2:
		if eta < -farEta {
			return 0, 1, 0, 0
		}
		u := math.Exp(-eta)
		f = math.Exp(-u)
		return f, -math.Expm1(-u), u * f, 0
	case logNormal:
		if f = 0.5 * math.Erfc(-eta/math.Sqrt2); f < 0.5 {
			g = 1 - f
		} else {
			g = 0.5 * math.Erfc(eta/math.Sqrt2)
		}
		return f, g, math.Exp(-0.5*eta*eta) / math.Sqrt(2*math.Pi), 0
	case orderM:
		l, dl, dk := order(shape-1, eta)
		if g = math.Exp(-l); g == 0 {
			return 1, 0, 0, 0
		}
		f = 1 - g
		if g > 0.5 {
			f = -math.Expm1(-l)
		}
		return f, g, g * dl, g * dk
	default: // richards
		s, ds := softplus(eta)
		if g = math.Exp(-shape * s); g == 0 {
			return 1, 0, 0, 0
		}
		f = 1 - g
		if g > 0.5 {
			f = -math.Expm1(-shape * s)
		}
		return f, g, g * shape * ds, g * s
	}
}

// order returns L = ln(1+k e^η)/k, the negative log of the fraction that
// remains of a reaction of order 1+k, with dL/dη and dL/dk. A reaction of
// order below 1 that has ended gives L = +∞.
func order(k, eta float64) (l, dl, dk float64) {
	if eta > farEta {
		if k <= 0 {
			return math.Inf(1), 0, 0
		}
		z := eta + math.Log(k) // ln(k e^η)
		if z < 30 {            // k is tiny: as good as first order, which has ended
			return math.Inf(1), 0, 0
		}
		return z / k, 1 / k, (1 - z) / (k * k)
	}
	u := math.Exp(eta)
	z := k * u
	if z <= -1 {
		return math.Inf(1), 0, 0
	}
	dl = u / (1 + z)
	if math.Abs(z) < 0.04 {
		// (z/(1+z) − ln(1+z))/z² = Σ_{j≥2} (−1)^{j−1}(1−1/j) z^{j−2}; the
		// closed form cancels. 11 terms: 0.04^11 < 1e−15.
		sum := 0.0
		for j := 12.0; j >= 2; j-- {
			sum = (1 - 1/j) - z*sum
		}
		dk = -u * u * sum
		if math.Abs(z) < 1e-8 {
			return u * (1 - z/2), dl, dk
		}
		return math.Log1p(z) / k, dl, dk
	}
	lp := math.Log1p(z)
	return lp / k, dl, (z/(1+z) - lp) / (k * k)
}

// softplus returns ln(1+e^η) and its derivative, the logistic function.
func softplus(eta float64) (s, ds float64) {
	e := math.Exp(-math.Abs(eta))
	if eta > 0 {
		return eta + math.Log1p(e), 1 / (1 + e)
	}
	return math.Log1p(e), e / (1 + e)
}

func unitInverse(fam family, shape, f float64) float64 {
	if !(f >= 0 && f <= 1) {
		return math.NaN()
	}
	switch fam {
	case logLogistic:
		return math.Log(f) - math.Log1p(-f)
	case weibull1:
		return math.Log(-math.Log1p(-f))
	case weibull2:
		if f > 0.5 {
			return -math.Log(-math.Log1p(f - 1))
		}
		return -math.Log(-math.Log(f))
	case logNormal:
		return mathext.NormalQuantile(f)
	case orderM:
		k := shape - 1
		l := -math.Log1p(-f)
		switch {
		case k == 0:
			return math.Log(l)
		case math.Abs(k*l) < 1e-8: // expm1(kl)/k = l(1+kl/2+…)
			return math.Log(l) + k*l/2
		case k*l > 1:
			return k*l + math.Log1p(-math.Exp(-k*l)) - math.Log(k)
		}
		return math.Log(math.Expm1(k*l) / k)
	default:
		l := -math.Log1p(-f) / shape
		switch {
		case l > 1:
			return l + math.Log1p(-math.Exp(-l))
		case l < 1e-8: // ln(e^l − 1) = ln l + l/2 + …, and l may underflow
			return math.Log(-math.Log1p(-f)) - math.Log(shape) + l/2
		}
		return math.Log(math.Expm1(l))
	}
}
