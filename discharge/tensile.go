package discharge

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"example.com/dosetone/colorimetry"
)

// TensileLoss is the expected loss of tensile strength of lots at some
// settings, in percent of the strength of the base.
type TensileLoss struct {
	Known  bool    // false: the trials had no tensile tests
	Mean   float64 // expected
	Lo, Hi float64 // 95 % interval of the next lot's mean
}

// tensile is loss = exp(a) + exp(b + exp(k)·x) for the log dose x of the
// settings (η of a curve with unit 1, averaged over the curves), in percent:
// what the mechanical work takes and what the oxidizer takes. It can only rise
// with dose. Bounded by 100.
type tensile struct {
	Mean [3]float64    `json:"mean"` // a, b, k
	Cov  [3][3]float64 `json:"covariance"`
	// SDLot is the scatter of a lot's mean about the expected loss, in units
	// of tensileScale.
	SDLot float64 `json:"sd_lot"`
	// Half says that x counts from where each curve is half way. In files
	// without it curves on unlike scales differ in x for the same shade, and
	// intervals are the wider for it.
	Half bool `json:"from_half_way,omitempty"`

	work, power float64 // exp(a), exp(k), see prepare
}

// prepare works out what at needs for every prediction.
func (t *tensile) prepare() { t.work, t.power = math.Exp(t.Mean[0]), math.Exp(t.Mean[2]) }

// Priors of a, b, k: 2 % by mechanical work and 10 % by oxidizer where the
// curve is half way, growing with the power 0.8 of dose; each within a factor
// of e or so (orientation from memory, no source).
func tensilePrior() (mean, sd [3]float64) {
	return [3]float64{math.Log(2), math.Log(10), math.Log(0.8)}, [3]float64{1, 1, 0.4}
}

// tensileScale is how the scatter of loss grows with it: tests of stronger
// losses scatter more (common practice, no source).
func tensileScale(loss float64) float64 { return 0.5 + loss/20 }

// minTensileLots is the number of tested trial lots below which no curve is drawn.
const minTensileLots = 4

// at returns the expected loss at log dose x, its slope by x, and its
// derivatives by the parameters.
func (t *tensile) at(x float64) (loss, slope float64, grad [3]float64) {
	b := math.Exp(min(t.Mean[1]+t.power*x, 6)) // exp(6) is far beyond 100 %
	return t.work + b, b * t.power, [3]float64{t.work, b, b * t.power * x}
}

// predict gives the interval for settings of log dose x known to sd.
func (t *tensile) predict(x, sd float64) TensileLoss {
	loss, slope, g := t.at(x)
	v := slope * slope * sd * sd
	for i := range 3 {
		for j := range 3 {
			v += g[i] * g[j] * t.Cov[i][j]
		}
	}
	s := t.SDLot * tensileScale(loss)
	h := z975 * math.Sqrt(v+s*s)
	return TensileLoss{Known: true, Mean: min(loss, 100), Lo: min(max(loss-h, 0), 100), Hi: min(loss+h, 100)}
}

// logDose is the log dose of the parts, in the unit of a curve of unit 1, from
// half way where half says so, and the standard deviation of one lot's.
func (m *Model) logDose(parts *[maxComponents]mixPart, half bool) (x, sd float64) {
	var dose mixMoments
	for i := range m.comps {
		c := &m.comps[i]
		per, mu := 1/c.link.unit, parts[i].mu
		if half {
			mu -= c.link.half
		}
		s := parts[i].sdLot * per
		dose.add(c.weight, mu*per, s*s)
	}
	return dose.mean, dose.sd()
}

// tensileLot is one tested lot.
type tensileLot struct{ x, loss, panels float64 }

// fitTensile learns the loss from lots whose panels were tested.
func (m *Model) fitTensile(o *observed) {
	var lots []tensileLot
	for _, t := range o.trials {
		l := tensileLot{}
		for _, p := range t.panels {
			if p.loss != nil {
				l.loss += *p.loss
				l.panels++
			}
		}
		if l.panels == 0 {
			continue
		}
		l.loss /= l.panels
		v := m.basis.values(t.lot.Settings)
		var parts [maxComponents]mixPart
		m.parts(&parts, &v)
		l.x, _ = m.logDose(&parts, true)
		lots = append(lots, l)
	}
	switch {
	case len(lots) == 0:
		return
	case len(lots) < minTensileLots:
		m.warnings = append(m.warnings, fmt.Errorf("tensile loss was tested in %d trial lots; at least %d are needed to learn from", len(lots), minTensileLots))
		return
	}
	m.tensile = newTensile(lots)
}

// newTensile finds the mode by damped Gauss-Newton steps, with the scatter
// estimated from the residuals in between.
func newTensile(lots []tensileLot) *tensile {
	prior, sd := tensilePrior()
	t := &tensile{Mean: prior, SDLot: 1.5, Half: true}
	t.prepare()
	const rounds = 4
	for range rounds {
		cur := t.objective(lots, prior, sd)
		damp := 1e-3
		for range 40 {
			h, g := t.normal(lots, prior, sd)
			step := g
			for j := range 3 {
				h[j*3+j] *= 1 + damp
			}
			if !cholesky(h[:], 3, 0) {
				break
			}
			cholSolve(h[:], 3, step[:])
			next := *t
			for j := range 3 {
				next.Mean[j] += step[j]
			}
			next.prepare()
			if v := next.objective(lots, prior, sd); v < cur {
				done := cur-v < 1e-10*(1+cur)
				*t, cur, damp = next, v, damp/3
				if done {
					break
				}
			} else if damp *= 4; damp > 1e8 {
				break
			}
		}
		// Scatter in dose shows as scatter in loss and is not told apart: the
		// prediction adds its own, so the estimate errs on the wide side. The
		// prior counts as three lots that scatter by 1.5.
		ss, free := 3*1.5*1.5, 3+math.Max(float64(len(lots))-3, 0)
		for _, l := range lots {
			loss, _, _ := t.at(l.x)
			z := (l.loss - loss) / tensileScale(loss)
			ss += math.Min(z*z, 25)
		}
		t.SDLot = math.Sqrt(ss / free)
	}
	h, _ := t.normal(lots, prior, sd)
	if !cholesky(h[:], 3, 0) {
		return nil
	}
	inv := cholInverse(h[:], 3)
	for i := range 3 {
		for j := range 3 {
			t.Cov[i][j] = (inv[i*3+j] + inv[j*3+i]) / 2
		}
	}
	return t
}

// objective is the weighted sum of squares with the priors.
func (t *tensile) objective(lots []tensileLot, prior, sd [3]float64) float64 {
	sum := 0.0
	for j := range 3 {
		d := (t.Mean[j] - prior[j]) / sd[j]
		sum += d * d
	}
	for _, l := range lots {
		loss, _, _ := t.at(l.x)
		d := (l.loss - loss) / (t.SDLot * tensileScale(l.loss))
		sum += d * d
	}
	return sum
}

func (t *tensile) normal(lots []tensileLot, prior, sd [3]float64) (h [9]float64, g [3]float64) {
	for j := range 3 {
		h[j*3+j] = 1 / (sd[j] * sd[j])
		g[j] = (prior[j] - t.Mean[j]) / (sd[j] * sd[j])
	}
	for _, l := range lots {
		loss, _, d := t.at(l.x)
		w := 1 / (t.SDLot * tensileScale(l.loss))
		w *= w
		for i := range 3 {
			g[i] += w * d[i] * (l.loss - loss)
			for j := range 3 {
				h[i*3+j] += w * d[i] * d[j]
			}
		}
	}
	return h, g
}

// strongEnough leaves out the candidates that are expected to lose more tensile
// strength than allowed.
func (q *search) strongEnough(list []Suggestion, most float64) ([]Suggestion, error) {
	switch {
	case most == 0:
		return list, nil
	case !(most > 0 && most <= 100):
		return nil, badValue("the most tensile loss must lie in 0 to 100 %%, not %g", most)
	case q.m.tensile == nil:
		return nil, errors.New("a limit on tensile loss needs trials with a column tensile_loss_pct in at least four lots: this model has none")
	}
	return slices.DeleteFunc(list, func(s Suggestion) bool { return s.TensileLossPct.Mean > most }), nil
}

// breaks reports whether settings are expected to lose more tensile strength than allowed.
func (q *search) breaks(v *values) bool {
	return q.limit > 0 && q.m.predictAt(v).TensileLossPct.Mean > q.limit
}

// spare takes settings whose expected loss of strength is above the limit back along
// the factor solved for until it is not, where that factor can. The shade falls
// short of the target then: it is as near as the limit allows at the other settings.
func (q *search) spare(s Suggestion) Suggestion {
	if q.limit == 0 || q.solve < 0 || !s.TensileLossPct.Known || s.TensileLossPct.Mean <= q.limit {
		return s
	}
	f := &q.m.basis.factors[q.solve]
	pf, _ := q.m.process.Factor(f.Column)
	v := q.m.values(s.Settings)
	breaks := func(x float64) bool {
		v[q.solve] = x
		return q.breaks(&v)
	}
	lo, hi := q.grid[q.solve][0], q.grid[q.solve][len(q.grid[q.solve])-1]
	bad, good := s.Settings[f.Column], lo
	if breaks(lo) {
		good = hi // of a factor that takes dose away
	}
	if breaks(good) {
		return s
	}
	for range 20 {
		if mid := (bad + good) / 2; breaks(mid) {
			bad = mid
		} else {
			good = mid
		}
	}
	// The dial may round to the wrong side: then one step back.
	best := dial(good, pf.Step, lo, hi)
	if breaks(best) {
		best = dial(good+math.Copysign(pf.Step, good-bad), pf.Step, lo, hi)
	}
	if breaks(best) {
		best = good
	}
	spared := s.Settings.Clone()
	spared[f.Column] = best
	return q.evaluate(spared)
}

// reaches tells whether any of the list is expected within tolerance.
func (q *search) reaches(list []Suggestion) bool {
	return slices.ContainsFunc(list, func(s Suggestion) bool { return q.deltaE(s.Shade) <= q.tol })
}

// nearestShade is the expected shade of the list that is nearest to the target.
func (q *search) nearestShade(list []Suggestion) colorimetry.Lab {
	return slices.MinFunc(list, func(a, b Suggestion) int { return cmp.Compare(q.deltaE(a.Shade), q.deltaE(b.Shade)) }).Shade
}

// whyTooWeak says that the limit on tensile loss stands in the way of a shade that
// could be reached, whose nearest shade of those left is so far from the target.
func (q *search) whyTooWeak(list []Suggestion, nearest float64) string {
	text := fmt.Sprintf("the shade can be reached, but every way there is expected to cost more than %g %% of tensile strength", q.limit)
	if len(list) == 0 {
		return text + ", and so is every other setting allowed"
	}
	return fmt.Sprintf("%s; within that limit the nearest expected shade is ΔE00 %.2f from the target", text, nearest)
}

// check refuses a tensile curve that no fit writes.
func (t *tensile) check() error {
	for i := range 3 {
		if !magnitude(etaLimit, t.Mean[i], t.Cov[i][0], t.Cov[i][1], t.Cov[i][2]) || math.Abs(t.Mean[i]) > 20 || t.Cov[i][i] <= 0 {
			return fmt.Errorf("tensile loss: parameter %d out of range", i)
		}
		for j := range i {
			if t.Cov[i][j] != t.Cov[j][i] {
				return fmt.Errorf("tensile loss: covariance is not symmetric")
			}
		}
	}
	h := [9]float64{}
	for i := range 3 {
		for j := range 3 {
			h[i*3+j] = t.Cov[i][j]
		}
	}
	if !cholesky(h[:], 3, 0) {
		return fmt.Errorf("tensile loss: covariance is not positive definite")
	}
	if !magnitude(scatterLimit, t.SDLot) || t.SDLot <= 0 {
		return fmt.Errorf("tensile loss: scatter %g", t.SDLot)
	}
	return nil
}
