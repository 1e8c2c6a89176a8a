package discharge

import (
	"math"
	"slices"
)

// lotPoint is what one trial lot says about its dose.
type lotPoint struct {
	row    []float64 // η row at x
	level  float64   // robust mean of its panels
	panels float64   // effective number of panels
	read   float64   // variance of the mean level from reading noise
	charge float64   // ln of the oxidizer charged, relative to the middle of the trials
}

// hyper are the quantities that the data choose by evidence, not by least
// squares.
type hyper struct {
	prior   *prior  // of the coefficients
	sdLot   float64 // sd of a lot's η about its settings' η
	sdPanel float64 // sd of a panel's η about its lot's
	floor   float64 // sd of a lot's level that dose does not cause
}

// tailWeight is the number of degrees of freedom of the Student t that lots
// follow about their expected level: heavy enough that one upset lot in
// sixteen does not pull the curve, light enough to cost a clean set of trials
// little. Lange, Little and Taylor, JASA 84 (1989) 881, use 4 for the same end.
const tailWeight = 4

// tailScale is the scale of that Student t, in standard deviations of lots: the one
// that fits normal lots best, where the mean of (ν+1)u/(ν+u) is 1, u being the square
// of a lot over its scale (a test integrates it). Lots without an upset one among
// them scatter about normally; taken for the scale itself, their scatter would come
// out a sixth too small the more lots there are to tell it.
const tailScale = 0.831

// tailInformation is what a lot tells of its expected level, on average, in units of
// 1/scale²: (ν+1)/(ν+3), Fisher's information of Student's t (Lange, Little and
// Taylor; formula from memory, a test integrates it). The weights that find the mode
// average 1 and would make it look surer than it is.
const tailInformation = (tailWeight + 1.0) / (tailWeight + 3.0)

// predictionFreedom is the number of degrees of freedom of lots about their
// prediction. What the trials and what is known before leave open of lot scatter, a
// fifth of it, is what a dozen lots would leave open; the prediction's own error has,
// where lots are run, about 0.4 of their variance: 12·(1 + 0.4)² by the formula of
// Welch (Biometrika 34 (1947) 28) and Satterthwaite (Biometrics Bulletin 2 (1946) 110).
const predictionFreedom = 24

// posterior is the normal approximation to what the trials say about the
// parameters of one candidate: the coefficients of the η row and, last, the
// upper plateau. It is Laplace's: mode, inverse curvature, and the evidence.
type posterior struct {
	mean     []float64
	chol     []float64 // lower triangle of the precision's Cholesky factor
	evidence float64   // log marginal likelihood, up to a constant shared by all candidates
	weights  []float64 // robust weight of each lot, 1 for a lot that fits, 0 for one left out
}

// problem is one candidate with its data.
type problem struct {
	*candidate
	lots   []lotPoint
	skip   []int       // indices in lots of those left out
	corner [][]float64 // rows of ∂η/∂x at the corners of the trial region that must not be negative
}

// workspace holds the arrays of one fit, to be used again by the next.
type workspace struct {
	p          int
	jac        []float64
	h, g, step []float64
	prior      []float64 // mean
	prec       []float64 // precision, row-major
}

func newWorkspace(most int) *workspace {
	ws := &workspace{jac: make([]float64, most), h: make([]float64, most*most), g: make([]float64, most), step: make([]float64, most),
		prior: make([]float64, most), prec: make([]float64, most*most)}
	ws.resize(most)
	return ws
}

// resize makes the arrays those of p parameters, at most as many as there ever
// were.
func (ws *workspace) resize(p int) {
	ws.p = p
	ws.h, ws.prec = ws.h[:p*p], ws.prec[:p*p]
	for _, a := range []*[]float64{&ws.jac, &ws.g, &ws.step, &ws.prior} {
		*a = (*a)[:p]
	}
}

// plateauSD is the prior sd of the upper plateau in levels: the white is the
// laundry's own reading of the end of the road, which a real discharge
// reaches within a few hundredths.
const plateauSD = 0.03

// bendSlack is how fast, per e-fold of a factor, the log dose must at least
// rise anywhere in the trial region.
const bendSlack = 0.02

// optimum is how much more log dose the middle of the trials is expected to
// give than their ends, and its standard deviation, for a factor that has a best
// value instead of raising the dose all the way, such as the moisture of cloth
// under ozone or the pH of an enzyme: people try what they think is about right,
// over a range that matters some. Eight simulators by eight authors have 0.07 to
// 0.34 on average, mostly below that: the mean of all is 0.16, the median 0.11
// (common practice has no source).
func optimum() (mean, sd float64) { return 0.12, 0.3 }

// wilting is the same, beyond what heat does to reactions that have no best
// temperature, for one that may have: that of an enzyme, whose activity rises by Arrhenius'
// law and falls as it unfolds, or of a gas that breaks down. slope is how much less sure the
// exponent is. Of two authors whose enzymes were tried at several temperatures one has
// 0.08 over half ranges of 8 degrees, the other none.
func wilting() (mean, sd, slope float64) { return 0.04, 0.12, 0.4 }

// wilts tells a temperature that may have a best value.
func (f *doseFactor) wilts() bool { return f.isHeat() && !f.Raises && !f.Monotone }

// open is what is not known of a best value, in log dose.
func (f *doseFactor) open() float64 {
	if f.wilts() {
		_, sd, _ := wilting()
		return sd
	}
	_, sd := optimum()
	return sd
}

// farApart is from which half range on, in halves of what is usual, two levels
// that leave an optimum between them to what is assumed are worth a warning.
const farApart = 0.5

// endsOnly tells whether all xs, as raw gives them, lie within an eighth of the
// range from one of its ends: two levels, if they are what was run.
func (f *doseFactor) endsOnly(xs []float64) bool {
	for _, x := range xs {
		if d := (x - f.Center - f.Lo) / (f.Hi - f.Lo); d > 0.125 && d < 0.875 {
			return false
		}
	}
	return true
}

// guessed tells whether what lies between two far levels, which are all that was
// run, rests on optimum.
func (f *doseFactor) guessed(xs []float64) bool {
	far := farApart
	if f.wilts() {
		far /= 2 // 11 degrees from the middle
	}
	return !f.Raises && !f.Monotone && f.Hi > far && f.endsOnly(xs)
}

// priors fills in the prior mean and precision of the parameters and returns
// the logarithm of the determinant of the precision. What is known of the
// coefficients is measured in units of the curve's steepness, so that it serves
// all curves.
func (pr *problem) priors(h hyper, ws *workspace) (logDet float64) {
	clear(ws.prec)
	n, unit := pr.basis.terms(), pr.link.unit
	for i := range n {
		ws.prior[i] = h.prior.mean[i] * unit
		for j := range n {
			ws.prec[i*ws.p+j] = h.prior.precision[i*n+j] / (unit * unit)
		}
	}
	logDet = h.prior.logDet - 2*float64(n)*math.Log(unit)
	put := func(j int, mean, sd float64) {
		ws.prior[j], ws.prec[j*ws.p+j] = mean, 1/(sd*sd)
		logDet -= 2 * math.Log(sd)
	}
	if pr.supplied() {
		mean, sd := pr.demand.prior()
		put(n, mean, sd)
	}
	put(ws.p-1, 1, plateauSD)
	return logDet
}

// Iteration stops when no lot's η moves by more than settled, a fraction of a
// percent of dose, or after maxSteps. No step moves one by more than farthest, beyond
// which the linearization means nothing.
const (
	settled  = 2e-3
	maxSteps = 12
	farthest = 1.5
)

// solve finds the posterior from what is known before trials.
func (pr *problem) solve(h hyper, ws *workspace, theta []float64) posterior {
	ws.resize(pr.size())
	return pr.mode(h, ws, pr.priors(h, ws), theta)
}

// mode finds the posterior of a prior that is in ws, whose precision has the
// determinant exp(logDet), by Gauss-Newton steps on the penalized, reweighted
// sum of squares. theta is the start and is overwritten with the mode.
func (pr *problem) mode(h hyper, ws *workspace, logDet float64, theta []float64) posterior {
	p, n := pr.size(), pr.basis.terms()
	post := posterior{mean: theta, weights: make([]float64, len(pr.lots))}
	damp, stride := 0.0, 1.0
	move, last := make([]float64, len(pr.lots)+1), make([]float64, len(pr.lots)+1) // of each lot's η, and of the supply
	taken := 0
	for range maxSteps {
		pr.normal(h, ws, theta, nil)
		copy(ws.step, ws.g)
		if !cholesky(ws.h, p, damp) {
			damp = math.Max(10*damp, 1e-6)
			continue
		}
		cholSolve(ws.h, p, ws.step)
		for i := range pr.lots {
			move[i] = dot(pr.lots[i].row, ws.step)
		}
		if pr.supplied() {
			move[len(pr.lots)] = 3 * ws.step[n]
		}
		biggest := 0.0
		for _, m := range move {
			biggest = math.Max(biggest, math.Abs(m))
		}
		if taken > 1 {
			stride = nextStride(stride, last, move)
		}
		stride = math.Min(stride, farthest/biggest)
		for j := range theta {
			theta[j] += stride * ws.step[j]
		}
		if biggest < settled {
			break
		}
		move, last = last, move
		taken++
	}
	logLik := pr.normal(h, ws, theta, post.weights)
	if !cholesky(ws.h, p, 0) {
		post.evidence = math.Inf(-1)
		return post
	}
	post.chol = append([]float64(nil), ws.h...)
	for j := range p {
		logDet -= 2 * math.Log(ws.h[j*p+j])
		d := theta[j] - ws.prior[j]
		for k := range p {
			logLik -= 0.5 * d * ws.prec[j*p+k] * (theta[k] - ws.prior[k])
		}
	}
	post.evidence = logLik + 0.5*logDet
	return post
}

// nextStride is by how much to multiply a step whose last one was multiplied by
// stride. Reweighted steps may swing to and fro about the mode for ever; what the last
// one left tells by how much it went too far: Aitken's acceleration as Irons and Tuck
// have it for vectors (Int. J. Numer. Methods Eng. 1 (1969) 275; from memory). Steps
// are shortened only: made longer, they leap to other modes, and past the bounds on the
// dose.
func nextStride(stride float64, last, step []float64) float64 {
	const shortest = 0.3
	toLast, square := 0.0, 0.0
	for i, s := range step {
		d := s - last[i]
		toLast += last[i] * d
		square += d * d
	}
	if toLast >= 0 {
		return 1
	}
	return math.Min(math.Max(-stride*toLast/square, shortest), 1)
}

// normal fills ws.h with the precision and ws.g with the descent direction at
// theta. At the mode, where the weights of the lots are asked for, the precision is
// that of the posterior, and the log likelihood of the lots is returned; on the way
// there the precision is what makes steps of reweighted least squares.
func (pr *problem) normal(h hyper, ws *workspace, theta, weights []float64) (logLik float64) {
	p := ws.p
	copy(ws.h, ws.prec)
	for j := range p {
		ws.g[j] = 0
		for k := range p {
			ws.g[j] += ws.prec[j*p+k] * (ws.prior[k] - theta[k])
		}
	}
	for i := range pr.lots {
		if slices.Contains(pr.skip, i) {
			continue
		}
		l := &pr.lots[i]
		eta := pr.dose(theta, l.row, l.charge, ws.jac)
		s, ds, dd := pr.link.at(eta, theta[p-1])
		v := tailScale * tailScale * levelVariance(ds, h.sdLot, h.sdPanel, l.panels, h.floor, l.read)
		r := l.level - s
		u := r * r / v
		w := (tailWeight + 1) / (tailWeight + u)
		info := w / v
		if weights != nil {
			weights[i] = math.Min(w*tailWeight/(tailWeight+1), 1)
			logLik += -0.5*math.Log(v) - 0.5*(tailWeight+1)*math.Log1p(u/tailWeight)
			info *= tailInformation
		}
		w /= v
		for j := range p - 1 {
			ws.jac[j] *= ds
		}
		ws.jac[p-1] = dd
		for j := range p {
			ws.g[j] += w * ws.jac[j] * r
			a := info * ws.jac[j]
			hj := ws.h[j*p : j*p+j+1]
			for k := range hj {
				hj[k] += a * ws.jac[k]
			}
		}
	}
	// Dose never falls with a factor that raises it: a steep one-sided
	// penalty on each corner of the trial region, where the slope of a
	// quadratic η is extreme.
	const stiff = 4e3
	for _, c := range pr.corner {
		d := 0.0
		for j, v := range c {
			d += v * theta[j]
		}
		if d -= bendSlack; d >= 0 {
			continue
		}
		for j, v := range c {
			if v == 0 {
				continue
			}
			ws.g[j] -= stiff * v * d
			for k := 0; k <= j; k++ {
				ws.h[j*p+k] += stiff * v * c[k]
			}
		}
	}
	return logLik
}

// levelVariance is the variance of a lot's mean level about what its settings
// give: the scatter in dose, of lots and of their panels, through the slope of
// the curve there, and besides it what dose does not cause and the variance of
// reading.
func levelVariance(slope, sdLot, sdPanel, panels, floor, read float64) float64 {
	return slope*slope*(sdLot*sdLot+sdPanel*sdPanel/panels) + floor*floor + read
}

// cholesky factors the lower triangle of a in place, with damp added to the
// diagonal relative to it. It reports whether a was positive definite.
func cholesky(a []float64, n int, damp float64) bool {
	for j := range n {
		aj := a[j*n : j*n+j+1]
		d := aj[j] * (1 + damp)
		for _, v := range aj[:j] {
			d -= v * v
		}
		if !(d > 0) {
			return false
		}
		d = math.Sqrt(d)
		aj[j] = d
		for i := j + 1; i < n; i++ {
			ai := a[i*n : i*n+j+1]
			t := ai[j]
			for k, v := range aj[:j] {
				t -= v * ai[k]
			}
			ai[j] = t / d
		}
	}
	return true
}

// cholSolve replaces x by the solution of L·Lᵀ·y = x.
func cholSolve(l []float64, n int, x []float64) {
	for i := range n {
		t := x[i]
		for k := range i {
			t -= l[i*n+k] * x[k]
		}
		x[i] = t / l[i*n+i]
	}
	for i := n - 1; i >= 0; i-- {
		t := x[i]
		for k := i + 1; k < n; k++ {
			t -= l[k*n+i] * x[k]
		}
		x[i] = t / l[i*n+i]
	}
}

// cholInverse returns the inverse of L·Lᵀ, row-major and full.
func cholInverse(l []float64, n int) []float64 {
	inv := make([]float64, n*n)
	e := make([]float64, n)
	for j := range n {
		clear(e)
		e[j] = 1
		cholSolve(l, n, e)
		for i := range n {
			inv[i*n+j] = e[i]
		}
	}
	return inv
}
