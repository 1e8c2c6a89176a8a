package quality

import (
	"fmt"
	"math"
	"strings"

	"example.com/dosetone/fit"
	"example.com/dosetone/internal/quantile"
)

// The charts' constants. Against 500 lots between false alarms for λ = 0.2 the
// limit is 2.962 [5]; k = 0.5 and h = 5 give 465 for the two-sided CUSUM and
// 930 for the one-sided [6]; three standard deviations give 370.
const (
	shewhartLimit = 3.0
	ewmaLambda    = 0.2
	ewmaLimit     = 2.962
	cusumK        = 0.5
	cusumH        = 5.0
)

// CUSUM is a tabular cumulative sum chart of standardized values [6].
type CUSUM struct {
	K, H float64 // 0 means 0.5 and 5
}

// CUSUMPoint is one point of the chart.
type CUSUMPoint struct {
	High, Low float64 // both not negative
	Out       bool
	// Since is the index of the first value of the run that the larger sum
	// stands for: where a shift probably began.
	Since int
}

// minRun is the number of lots that a drift takes at least: a large sum after
// fewer is an upset lot, not drift.
const minRun = 3

// Run returns the chart of the values, which must be finite.
func (c CUSUM) Run(z []float64) []CUSUMPoint {
	k, h := c.K, c.H
	if k == 0 {
		k = cusumK
	}
	if h == 0 {
		h = cusumH
	}
	out := make([]CUSUMPoint, len(z))
	var hi, lo float64
	hiFrom, loFrom := 0, 0
	for t, v := range z {
		if hi == 0 {
			hiFrom = t
		}
		if lo == 0 {
			loFrom = t
		}
		hi, lo = math.Max(hi+v-k, 0), math.Max(lo-v-k, 0)
		p := CUSUMPoint{High: hi, Low: lo, Out: hi > h || lo > h, Since: hiFrom}
		if lo > hi {
			p.Since = loFrom
		}
		out[t] = p
	}
	return out
}

// Chart is what the three charts say of one series of standardized values.
type Chart struct {
	Series   string // "dose residual" or "off-path distance"
	OneSided bool   // only large values are alarming
	Values   []float64
	EWMA     []fit.EWMAPoint
	CUSUM    []CUSUMPoint
	Shewhart []bool // beyond three standard deviations
}

// NewChart draws the charts of standardized values. For a one-sided series
// low values are never alarms.
func NewChart(series string, z []float64, oneSided bool) (*Chart, error) {
	c := &Chart{Series: series, OneSided: oneSided, Values: z}
	var err error
	if c.EWMA, err = (fit.EWMA{Sigma: 1, Lambda: ewmaLambda, K: ewmaLimit}).Run(z); err != nil {
		return nil, err
	}
	c.CUSUM = CUSUM{}.Run(z)
	highSince := since(c.CUSUM)
	for t, v := range z {
		c.Shewhart = append(c.Shewhart, v > shewhartLimit || v < -shewhartLimit && !oneSided)
		if oneSided {
			c.EWMA[t].Out = c.EWMA[t].Z > c.EWMA[t].Hi
			c.CUSUM[t].Out = c.CUSUM[t].High > cusumH
			c.CUSUM[t].Low, c.CUSUM[t].Since = 0, highSince[t]
		}
	}
	return c, nil
}

// since is where the run of each point's upper sum began.
func since(p []CUSUMPoint) []int {
	out := make([]int, len(p))
	for t := range p {
		if t > 0 && p[t-1].High > 0 {
			out[t] = out[t-1]
		} else {
			out[t] = t
		}
	}
	return out
}

// drift is a run of lots on one side.
type drift struct {
	from, to int // its first and last lot
	// back is how many lots have come since that lie about where they should: 0 while it lasts.
	back int
}

// sum is one side of the CUSUM at work.
type sum struct {
	value, top float64
	from, peak int // where the sum left 0, and where it was highest since
}

func (s *sum) add(z float64, t int) {
	if s.value == 0 {
		s.from, s.top = t, 0
	}
	if s.value = math.Max(s.value+z-cusumK, 0); s.value >= s.top {
		s.peak, s.top = t, s.value
	}
}

// drift finds the run of lots for which the charts of runs alarm at the last value, also when no
// value counts beyond the limits of single ones: one upset lot beside two that happen to lie on
// its side is no drift. Once lots lie about where they should again the charts begin anew, at
// fresh; a drift that ended no more than some lots ago is found with these.
func (c *Chart) drift() (d drift, found bool, fresh int) {
	// Lots after which a drift is over if their mean lies so near to nothing, and how long it is
	// spoken of.
	const enough, near, remembered = 4, 0.25, 12
	var high, low sum
	var past *drift
	total := []float64{0} // of the values up to each
	ewma := 0.0
	for t, v := range c.Values {
		z := min(max(v, -shewhartLimit), shewhartLimit)
		total = append(total, total[t]+z)
		high.add(z, t)
		low.add(-z, t)
		ewma = ewmaLambda*z + (1-ewmaLambda)*ewma
		limit := ewmaLimit * math.Sqrt(ewmaLambda/(2-ewmaLambda)*(1-math.Pow(1-ewmaLambda, 2*float64(t-fresh+1))))
		up, down := high.value > cusumH || ewma > limit, !c.OneSided && (low.value > cusumH || ewma < -limit)
		run := &high
		if down && (!up || low.value > high.value) {
			run = &low
		}
		found = (up || down) && t-run.from+1 >= minRun
		d = drift{from: run.from, to: t}
		if !found {
			continue
		}
		if back := t - run.peak; back >= enough && math.Abs(total[t+1]-total[run.peak+1]) < near*float64(back) {
			past = &drift{from: run.from, to: run.peak}
			high, low, ewma, fresh, found = sum{}, sum{}, 0, t+1, false
		}
	}
	if last := len(c.Values) - 1; !found && past != nil && last-past.to <= remembered {
		past.back = last - past.to
		return *past, true, fresh
	}
	return d, found, fresh
}

// after is the chart of the values from one on.
func (c *Chart) after(from int) *Chart {
	tail, err := NewChart(c.Series, c.Values[from:], c.OneSided)
	if err != nil {
		return c // of values that made a chart: not reached
	}
	return tail
}

// side is that on which the charts of runs alarm at the last value, 1 or -1; where none does,
// that of the larger sum.
func (c *Chart) side() float64 {
	last, e := c.CUSUM[len(c.Values)-1], c.EWMA[len(c.Values)-1]
	low := last.Low > last.High
	if e.Out && !last.Out {
		low = e.Z < 0
	}
	if low && !c.OneSided {
		return -1
	}
	return 1
}

// Last says which charts alarm at the last value.
func (c *Chart) Last() (shewhart, ewma, cusum bool) {
	n := len(c.Values)
	if n == 0 {
		return false, false, false
	}
	return c.Shewhart[n-1], c.EWMA[n-1].Out, c.CUSUM[n-1].Out
}

// Trend is what the monitoring of a laundry's lots finds.
type Trend struct {
	Lots      int // with a usable dose residual, under the present model
	Dose, Off *Chart
	// Drifted says that lots no longer do what the model promises: the oxidizer,
	// the dosing or the cloth is another, or the model is to be recalibrated.
	Drifted bool
	// FromStart says that dose has been otherwise since the first lots of the ledger, so that
	// nothing has changed: the model is off at these settings, or what differs from the trials
	// was there from the first.
	FromStart bool
	// Words is the finding with its evidence, one sentence each.
	Words []string
	// Returned is how many lots have come since a drift of dose that lie about as promised again:
	// it is over then, and not Drifted; 0 without.
	Returned int
	// DoseShiftPct is the mean dose residual of the lots from where the drift
	// probably began to where it ended, with its 95 % interval; zeros without drift.
	DoseShiftPct, DoseLoPct, DoseHiPct float64
	Since                              string // lot at which the drift probably began
}

// Monitor charts the lots of a ledger that were judged with one model, in
// their order. Entries of other models are left out. A dose deviate without its
// residual and standard deviation is an error.
func (l *Ledger) Monitor(model string) (*Trend, error) {
	var dose, off []float64
	var doseAt, offAt []int
	for i, e := range l.Entries {
		if e.Model != model {
			continue
		}
		if e.DoseZ != nil {
			if e.DoseResidual == nil || e.DoseSD == nil || !(*e.DoseSD > 0) {
				return nil, fmt.Errorf("lot %q has a dose deviate without its residual and standard deviation above 0", e.Lot)
			}
			dose, doseAt = append(dose, *e.DoseZ), append(doseAt, i)
		}
		if e.OffZ != nil {
			off, offAt = append(off, *e.OffZ), append(offAt, i)
		}
	}
	t := &Trend{Lots: len(dose)}
	var err error
	if t.Dose, err = NewChart("dose residual", dose, false); err != nil {
		return nil, err
	}
	if t.Off, err = NewChart("off-path distance", off, true); err != nil {
		return nil, err
	}
	say := func(format string, args ...any) { t.Words = append(t.Words, fmt.Sprintf(format, args...)) }
	run, found, fresh := t.Dose.drift()
	tail := t.Dose.after(fresh)
	if lone, ewma, cusum := tail.Last(); found {
		t.Drifted = run.back == 0
		t.Since = l.Entries[doseAt[run.from]].Lot
		mean, weight := 0.0, 0.0
		for k := run.from; k <= run.to; k++ {
			// An upset lot among them counts as one at the limit of single lots.
			sd := *l.Entries[doseAt[k]].DoseSD
			w := 1 / (sd * sd)
			mean += w * sd * min(max(dose[k], -shewhartLimit), shewhartLimit)
			weight += w
		}
		mean /= weight
		half := quantile.Normal(0.975) / math.Sqrt(weight)
		t.DoseShiftPct, t.DoseLoPct, t.DoseHiPct = 100*math.Expm1(mean), 100*math.Expm1(mean-half), 100*math.Expm1(mean+half)
		off := fmt.Sprintf("%+.0f %% off what the settings promise (95 %%: %+.0f to %+.0f %%)", t.DoseShiftPct, t.DoseLoPct, t.DoseHiPct)
		if t.Returned = run.back; run.back > 0 {
			say("dose was %s from lot %s to lot %s; the last %d lots are about as promised again", off, t.Since, l.Entries[doseAt[run.to]].Lot, run.back)
		} else {
			t.FromStart = run.from < minRun
			what, first := "dose has drifted", "check the oxidizer's strength by assay, uptake, weighing and timers first, and recalibrate the model only if all are as written down: else it would fit the fault"
			if t.FromStart {
				what, first = "dose has not been as promised from the first lots on", "that is no drift but something that every lot has had: see whether strength by assay, uptake, weighing and timers are as in the trials, and if they are, the model is off at these settings: let it learn from these lots (fit with the trials and production, or recalibrate)"
			}
			say("%s: since lot %s (%d lots) it is %s; %s; %s", what, t.Since, run.to-run.from+1, off, first, chartWords(tail))
		}
	} else if lone || ewma || cusum {
		at := fresh + tail.culprit()
		say("lot %s had a dose %+.1f standard deviations from what its settings promise, fewer than %d in a row did: an upset rather than drift%s%s",
			l.Entries[doseAt[at]].Lot, dose[at], minRun, t.Dose.sinceWords(at), l.alsoOut(t.Dose, doseAt, at))
	}
	run, found, fresh = t.Off.drift()
	tail = t.Off.after(fresh)
	if lone, ewma, cusum := tail.Last(); found && run.back == 0 {
		t.Drifted = true
		say("lots since %s lie further off the shade path than those of the trials: look for another fabric, neutralization or rinse, then recalibrate; %s",
			l.Entries[offAt[run.from]].Lot, chartWords(tail))
	} else if lone || ewma || cusum {
		at := fresh + tail.culprit()
		say("lot %s lies off the shade path (%.1f normal deviates), fewer than %d in a row do: check it alone for its causes%s", l.Entries[offAt[at]].Lot, off[at], minRun, t.Off.sinceWords(at))
	}
	switch {
	case len(t.Words) > 0:
	case t.Lots == 0:
		say("no lot with a dose in the ledger under this model yet, so no word on drift")
	case t.Lots == 1:
		say("1 lot in the ledger under this model: no drift")
	default:
		say("%d lots in the ledger under this model: no drift", t.Lots)
	}
	return t, nil
}

// culprit is the lot that an alarm at the last value comes from, if from one: the last
// beyond the limits of single lots, else the one that lies furthest out in the
// run that the CUSUM stands for, on the side that alarms. The EWMA and the CUSUM stay out
// for some lots after.
func (c *Chart) culprit() int {
	const forgotten = 12 // lots, after which an EWMA with λ = 0.2 keeps 7 % of a value
	n := len(c.Values)
	if c.Shewhart[n-1] {
		return n - 1
	}
	side := c.side()
	far := n - 1
	for i := n - 1; i >= max(n-forgotten, 0); i-- {
		if c.Shewhart[i] && side*c.Values[i] > 0 {
			return i
		}
		if i >= c.CUSUM[n-1].Since && side*c.Values[i] > side*c.Values[far] {
			far = i
		}
	}
	return far
}

// sinceWords say how many lots came after one.
func (c *Chart) sinceWords(at int) string {
	switch n := len(c.Values) - 1 - at; n {
	case 0:
		return ""
	case 1:
		return "; the lot after it lies within the limits of single lots"
	default:
		return fmt.Sprintf("; the %d lots after it lie within the limits of single lots", n)
	}
}

// alsoOut names those of the lots shortly before one that were beyond the limits
// of single lots: several are often judged at once.
func (l *Ledger) alsoOut(c *Chart, at []int, last int) string {
	const before = 12
	var names []string
	for i := max(last-before, 0); i < last; i++ {
		if c.Shewhart[i] {
			names = append(names, fmt.Sprintf("%s (%+.1f)", l.Entries[at[i]].Lot, c.Values[i]))
		}
	}
	if len(names) == 0 {
		return ""
	}
	return fmt.Sprintf("; of the %d before it also %s", min(before, last), strings.Join(names, ", "))
}

func chartWords(c *Chart) string {
	n := len(c.Values) - 1
	e, s := c.EWMA[n], c.CUSUM[n]
	return fmt.Sprintf("EWMA %+.2f (limits ±%.2f), CUSUM %.1f (limit %.0f)", e.Z, e.Hi, math.Max(s.High, s.Low), cusumH)
}

// Limits are those of single values and of the EWMA's, in standard deviations,
// and of the CUSUM's sums.
func (c *Chart) Limits() (shewhart, ewma, cusum float64) {
	return shewhartLimit, ewmaLimit, cusumH
}
