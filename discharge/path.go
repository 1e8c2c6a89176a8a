package discharge

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/internal/quantile"
)

// shadePath is the curve in CIELAB that a fabric follows from base (level 0)
// to white (level 1). Level is the share of the way in L*; a* and b* (and,
// for spectra, ln K/S at each wavelength) are penalized cubic splines of the
// level, so the path may bend as often as the readings show that it does:
// b* of indigo first falls and then rises.
type shadePath struct {
	L0, L1 float64     // L* of base and of white
	lo, hi float64     // level range of the readings; linear beyond
	coef   [][]float64 // [channel][basis], channels a*, b*, then spectral
	cov    *mat.SymDense
	// covScale is the variance of each channel of lots about the path at the
	// white, per weight of their readings: the factor on cov.
	covScale []float64
	// lotOff is the covariance of (a*, b*) of lot means about the path at the
	// white and panelOff that of panels about their lot: what dose does not
	// explain. castAtBase is what share of them there is at the base.
	lotOff, panelOff [2][2]float64
	castAtBase       float64
	// lightest is the level of the lightest lot, 0 in model files of earlier versions.
	lightest float64

	// What prediction needs, worked out once by prepare.
	rate  float64                     // segments per unit of level
	cubic [pathSegments][2][4]float64 // a* and b* by powers of the place in a segment
	marks [pathMarks]pathMark
}

// pathMark is what changes slowly along the path.
type pathMark struct {
	metric   [4]float64 // CIEDE2000's quadratic form there: LL, aa, bb, ab
	variance float64    // of the spline, by covScale
}

// pathMarks is the number of marks, at equal steps of level.
const pathMarks = 65

// prepare works out the tables. The path must not change afterwards.
func (p *shadePath) prepare() {
	p.rate = pathSegments / (p.hi - p.lo)
	for k := range p.cubic {
		for c := range 2 {
			b := p.coef[c][k : k+4]
			// The uniform cubic B-spline's segment in powers of u.
			p.cubic[k][c] = [4]float64{
				(b[0] + 4*b[1] + b[2]) / 6, (b[2] - b[0]) / 2,
				(b[0] - 2*b[1] + b[2]) / 2, (b[3] - b[0] + 3*(b[1]-b[2])) / 6,
			}
		}
	}
	var w [4]float64
	for i := range p.marks {
		s := p.lo + (p.hi-p.lo)*float64(i)/(pathMarks-1)
		g := metric(p.at(s))
		v := 0.0
		k := p.bspline(s, &w)
		for a := range 4 {
			for b := range 4 {
				v += w[a] * w[b] * p.cov.At(k+a, k+b)
			}
		}
		p.marks[i] = pathMark{[4]float64{g[0][0], g[1][1], g[2][2], g[1][2]}, v}
	}
}

// mark interpolates the marks at level s.
func (p *shadePath) mark(s float64) pathMark {
	t := min(max((s-p.lo)/(p.hi-p.lo), 0), 1) * (pathMarks - 1)
	i := min(int(t), pathMarks-2)
	u := t - float64(i)
	a, b := &p.marks[i], &p.marks[i+1]
	m := pathMark{variance: a.variance + u*(b.variance-a.variance)}
	for k := range m.metric {
		m.metric[k] = a.metric[k] + u*(b.metric[k]-a.metric[k])
	}
	return m
}

// pathSegments is the number of spline segments. Eight follow every bend that
// indigo paths show; the penalty, not the count, sets the smoothness.
const pathSegments = 8

const pathBasis = pathSegments + 3

// usualCast is castAtBase of a fit: lots at a tenth of the way lie half as far off
// the path as those at seven tenths, in simulated laundries of six authors a third
// to three quarters (common practice has no source).
const usualCast = 0.1

// pathPoint is one panel or reference mean on or near the path.
type pathPoint struct {
	level  float64
	weight float64   // number of readings behind the mean, scaled
	y      []float64 // channels
	lot    int       // index of the trial lot; below 0 for those of base, blank and white
}

// cast is the share of lotOff and panelOff that there is at a level: casts come
// with what is discharged, such as oxides and dye that turns yellow.
func (p *shadePath) cast(level float64) float64 {
	return p.castAtBase + (1-p.castAtBase)*min(max(level, 0), 1)
}

// mostLevel bounds the level of the lightest lot, which a white that was read too dark leaves
// far behind.
const mostLevel = 2

// beyondLots is how far lots beyond the lightest one of the trials may lie off what is
// expected, as standard deviations of L*, a* and b* per L* beyond it. Whatever a white
// says of the end, the curve's last part is assumed, and casts and yellow dye products
// bend the path: in simulated laundries of eight authors, of which the 16 darker of 32
// lots were known, 58 and 66 % of lots lighter than these lay within regions of 95 %, with
// this 94 and 91 % (seeds 85000, by which it was chosen, and 97000).
func beyondLots() [3]float64 { return [3]float64{0.25, 0.09, 0.16} }

// open is the variance of L*, a* and b* at a level by what is not known of the path,
// whose spline has the given variance there.
func (p *shadePath) open(level, spline float64) [3]float64 {
	v := [3]float64{0, spline * p.covScale[0], spline * p.covScale[1]}
	if level > p.lightest && p.lightest > 0 {
		d := (level - p.lightest) * (p.L1 - p.L0)
		for i, per := range beyondLots() {
			v[i] += per * per * d * d
		}
	}
	return v
}

// mayHold reports whether a shade lighter than the lightest lot lies no further off the
// path than 95 of 100 paths do there.
func (p *shadePath) mayHold(x colorimetry.Lab) bool {
	s := p.level(x.L)
	if !(p.lightest > 0 && s > p.lightest) {
		return false
	}
	at, open := p.at(s), p.open(s, p.mark(s).variance)
	a, b := x.A-at.A, x.B-at.B
	return a*a/open[1]+b*b/open[2] < 6 // chi-square of two, 95 %
}

// level converts L* to the share of the way from base to white.
func (p *shadePath) level(l float64) float64 { return (l - p.L0) / (p.L1 - p.L0) }

// lightness converts a level back to L*.
func (p *shadePath) lightness(s float64) float64 { return p.L0 + s*(p.L1-p.L0) }

// bspline puts the four cubic B-spline weights at level s into w and returns
// the index of the first basis function. s must lie in [p.lo, p.hi].
func (p *shadePath) bspline(s float64, w *[4]float64) int {
	t := (s - p.lo) / (p.hi - p.lo) * pathSegments
	k := int(t)
	if k < 0 {
		k = 0
	} else if k > pathSegments-1 {
		k = pathSegments - 1
	}
	u := t - float64(k)
	v := 1 - u
	w[0] = v * v * v / 6
	w[1] = (3*u*u*u - 6*u*u + 4) / 6
	w[2] = (3*v*v*v - 6*v*v + 4) / 6
	w[3] = u * u * u / 6
	return k
}

// channel evaluates channel c at level s, held constant beyond the readings.
func (p *shadePath) channel(c int, s float64) float64 {
	var w [4]float64
	k := p.bspline(min(max(s, p.lo), p.hi), &w)
	b := p.coef[c][k : k+4 : k+4]
	return w[0]*b[0] + w[1]*b[1] + w[2]*b[2] + w[3]*b[3]
}

// at returns the shade at level s, on a straight line beyond the readings.
func (p *shadePath) at(s float64) colorimetry.Lab {
	t := (s - p.lo) * p.rate
	if t >= 0 && t < pathSegments {
		k := int(t)
		u := t - float64(k)
		c := &p.cubic[k]
		return colorimetry.Lab{
			L: p.lightness(s),
			A: c[0][0] + u*(c[0][1]+u*(c[0][2]+u*c[0][3])),
			B: c[1][0] + u*(c[1][1]+u*(c[1][2]+u*c[1][3])),
		}
	}
	edge := min(max(s, p.lo), p.hi)
	da, db := p.tangent(edge)
	return colorimetry.Lab{
		L: p.lightness(s),
		A: p.channel(0, edge) + (s-edge)*da,
		B: p.channel(1, edge) + (s-edge)*db,
	}
}

// tangent returns d(a*)/ds and d(b*)/ds.
func (p *shadePath) tangent(s float64) (da, db float64) {
	t := (min(max(s, p.lo), p.hi) - p.lo) * p.rate
	k := min(int(t), pathSegments-1)
	u := t - float64(k)
	a, b := &p.cubic[k][0], &p.cubic[k][1]
	return p.rate * (a[1] + u*(2*a[2]+3*u*a[3])), p.rate * (b[1] + u*(2*b[2]+3*u*b[3]))
}

// tooFew sets paths with hardly a point more than bends behind all others.
const tooFew = 1e12

var errPath = errors.New("the readings do not span a shade path: base and white have the same lightness")

// fitPath fits a path through the points. The smoothness is chosen by
// generalized cross-validation over lots, one value for all channels of the
// chromatic plane, so that a* and b* bend alike.
//
// Penalized B-splines: Eilers and Marx, Statist. Sci. 11 (1996) 89, eq. 6-8;
// generalized cross-validation ibid. eq. 29.
func fitPath(l0, l1 float64, points []pathPoint) (*shadePath, error) {
	if !(l1-l0 > 1) {
		return nil, errPath
	}
	p := &shadePath{L0: l0, L1: l1, lo: 0, hi: 1, castAtBase: usualCast}
	for _, q := range points {
		p.lo, p.hi = math.Min(p.lo, q.level), math.Max(p.hi, q.level)
	}
	channels := len(points[0].y)
	weights := make([]float64, len(points))
	for i, q := range points {
		weights[i] = q.weight / p.cast(q.level)
	}
	// Three rounds: later ones give outlying panels (hot spots, stains) less say, with
	// Tukey-like weights on the chromatic residual.
	for range 3 {
		p.solve(points, weights, channels)
		p.reweigh(points, weights)
	}
	return p, nil
}

// solve fits all channels for given weights.
func (p *shadePath) solve(points []pathPoint, weights []float64, channels int) {
	gram := mat.NewSymDense(pathBasis, nil)
	rhs := mat.NewDense(pathBasis, channels, nil)
	var w [4]float64
	total := 0.0
	for n, q := range points {
		k := p.bspline(q.level, &w)
		total += weights[n]
		for i := range 4 {
			for j := i; j < 4; j++ {
				gram.SetSym(k+i, k+j, gram.At(k+i, k+j)+weights[n]*w[i]*w[j])
			}
			for c := range channels {
				rhs.Set(k+i, c, rhs.At(k+i, c)+weights[n]*w[i]*q.y[c])
			}
		}
	}
	penalty := secondDifferences(pathBasis)
	best := math.Inf(1)
	for e := -4.0; e <= 3; e += 0.5 {
		lambda := math.Pow(10, e) * total / pathBasis
		var a mat.SymDense
		a.ScaleSym(lambda, penalty)
		a.AddSym(&a, gram)
		for i := range pathBasis {
			a.SetSym(i, i, a.At(i, i)+1e-9*total)
		}
		var chol mat.Cholesky
		if !chol.Factorize(&a) {
			continue
		}
		var coef mat.Dense
		if err := chol.SolveTo(&coef, rhs); err != nil {
			continue
		}
		var hat mat.Dense
		if err := chol.SolveTo(&hat, gram); err != nil {
			continue
		}
		edf := mat.Trace(&hat)
		try := shadePath{lo: p.lo, hi: p.hi, coef: columns(&coef)}
		rss, lots := try.misses(points, weights)
		free := float64(lots) - edf
		gcv := (rss[0] + rss[1] + 1e-6*total) / (free * free)
		if free < 1 {
			gcv = tooFew * edf // of paths that the points cannot tell apart, the stiffest
		}
		if gcv < best {
			best = gcv
			var inv mat.SymDense
			if err := chol.InverseTo(&inv); err != nil {
				continue
			}
			p.coef, p.cov = try.coef, &inv
			free = max(free, 1)
			p.covScale = []float64{rss[0] / free, rss[1] / free}
		}
	}
}

// misses is the sum, for a* and b*, of how far lots lie from the path, squared,
// and the number of lots. Panels of one lot share its cast, so only their
// weighted mean counts, with the weights of all of them. Points of one lot
// follow each other.
func (p *shadePath) misses(points []pathPoint, weights []float64) (rss [2]float64, lots int) {
	for first := 0; first < len(points); lots++ {
		lot := points[first].lot
		var w float64
		var r [2]float64
		for ; first < len(points) && points[first].lot == lot; first++ {
			q := &points[first]
			w += weights[first]
			for c := range r {
				r[c] += weights[first] * (q.y[c] - p.channel(c, q.level))
			}
		}
		for c := range r {
			rss[c] += r[c] * r[c] / w
		}
	}
	return rss, lots
}

// reweigh lowers the weight of points far off the path.
func (p *shadePath) reweigh(points []pathPoint, weights []float64) {
	d := make([]float64, len(points))
	for i, q := range points {
		d[i] = math.Hypot(q.y[0]-p.channel(0, q.level), q.y[1]-p.channel(1, q.level)) / math.Sqrt(p.cast(q.level))
	}
	scale := 1.5*quantile.Median(d) + 0.05
	for i, q := range points {
		u := d[i] / (2 * scale)
		weights[i] = q.weight / p.cast(q.level) / (1 + u*u)
	}
}

func secondDifferences(n int) *mat.SymDense {
	s := mat.NewSymDense(n, nil)
	d := [3]float64{1, -2, 1}
	for k := 0; k+2 < n; k++ {
		for i := range 3 {
			for j := i; j < 3; j++ {
				s.SetSym(k+i, k+j, s.At(k+i, k+j)+d[i]*d[j])
			}
		}
	}
	return s
}

func columns(m *mat.Dense) [][]float64 {
	r, c := m.Dims()
	out := make([][]float64, c)
	for j := range out {
		out[j] = mat.Col(make([]float64, r), j, m)
	}
	return out
}
