package quality

import (
	"fmt"
	"math"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/mat3"
)

// BaseHistory is how the base of one fabric has come in from load to load.
type BaseHistory struct {
	Loads int
	Mean  colorimetry.Lab
	Cov   mat3.Mat // of a load's mean, prior included
}

// typicalBase is how bases of one fabric scatter from load to load when few
// were read: standard deviations of 0.4 L*, 0.15 a* and 0.2 b* (common
// practice, no source). It weighs as much as four loads.
func typicalBase() mat3.Mat { return mat3.Mat{{0.16, 0, 0}, {0, 0.0225, 0}, {0, 0, 0.04}} }

const typicalBaseLoads = 4

// LearnBase gathers the base readings in tables of one viewing and one fabric,
// each lot being a load.
func LearnBase(tables ...*discharge.Table) (*BaseHistory, error) {
	if err := alike(tables); err != nil {
		return nil, err
	}
	var means []colorimetry.Lab
	for _, t := range tables {
		for _, l := range t.ByRole(discharge.Base) {
			if mean, n := meanOf(l); n > 0 {
				means = append(means, mean)
			}
		}
	}
	if len(means) == 0 {
		return nil, fmt.Errorf("no base readings: rows with role %s are needed", discharge.Base)
	}
	h := &BaseHistory{Loads: len(means)}
	n := float64(len(means))
	for _, c := range means {
		h.Mean = moved(h.Mean, mat3.Vec{c.L / n, c.A / n, c.B / n})
	}
	h.Cov = mat3.Scaled(typicalBase(), typicalBaseLoads)
	for _, c := range means {
		d := minus(c, h.Mean)
		for i := range 3 {
			for k := range 3 {
				h.Cov[i][k] += d[i] * d[k]
			}
		}
	}
	h.Cov = mat3.Scaled(h.Cov, 1/(typicalBaseLoads+n-1))
	return h, nil
}

// alike refuses tables that cannot be, and those of two viewings or measurement conditions.
func alike(tables []*discharge.Table) error {
	var condition discharge.Condition // of the tables so far
	for _, t := range tables {
		if err := t.Check(); err != nil {
			return err
		}
		if t.Viewing != tables[0].Viewing {
			return fmt.Errorf("%w: %s is under %s, %s under %s", ErrViewing, tables[0].Name, tables[0].Viewing, t.Name, t.Viewing)
		}
		if err := condition.Against("what the tables before "+t.Name+" hold", t.Condition, t.Name); err != nil {
			return err
		}
		condition = condition.With(t.Condition)
	}
	return nil
}

// baseOf is what a judgment compares bases with: the history given, or the
// base of the model's trials, which is one load.
func baseOf(o *Options) *BaseHistory {
	if o.Bases != nil {
		return o.Bases
	}
	return &BaseHistory{Loads: 1, Mean: o.Model.ShadeAt(0), Cov: typicalBase()}
}

// distance2 is the squared distance of a load's base from the history in its
// scatter, the history's own mean being uncertain too.
func (h *BaseHistory) distance2(c colorimetry.Lab) float64 {
	precision, d := mat3.Inverse(mat3.Scaled(h.Cov, 1+1/float64(h.Loads))), minus(c, h.Mean)
	return mat3.Form(&precision, d, d)
}

// otherBase is how the bases of unlike denim fabrics scatter: standard deviations of
// 2.5 L*, 0.8 a* and 1.5 b* (common practice, no source).
func otherBase() mat3.Mat { return mat3.Mat{{6.25, 0, 0}, {0, 0.64, 0}, {0, 0, 2.25}} }

// surprise is -2 ln of the probability density of a load's base, up to a constant: a
// Student t, as the covariance is known from few loads.
func (h *BaseHistory) surprise(c colorimetry.Lab) float64 {
	df := float64(typicalBaseLoads + h.Loads - 1)
	return (df+3)*math.Log1p(h.distance2(c)/df) + logDet(mat3.Scaled(h.Cov, 1+1/float64(h.Loads)))
}

// surpriseOther is the same of a load of another fabric.
func (h *BaseHistory) surpriseOther(c colorimetry.Lab) float64 {
	v := mat3.Plus(mat3.Scaled(h.Cov, 1+1/float64(h.Loads)), otherBase())
	precision, d := mat3.Inverse(v), minus(c, h.Mean)
	return mat3.Form(&precision, d, d) + logDet(v)
}

// limit is the distance above which a base counts as another fabric's:
// chi-square with 3 degrees of freedom, 99.9 %, widened as the F distribution
// is for a covariance known from few loads.
func (h *BaseHistory) limit() float64 {
	const chi2Three999 = 16.27
	df := float64(typicalBaseLoads + h.Loads - 1)
	return chi2Three999 * (1 + 3/df)
}

// base is the load's base that was read, of several the one that is least like those
// known; ok is false when none was.
func (j *judge) base() (base colorimetry.Lab, ok bool) {
	h := baseOf(&j.opt)
	for _, l := range j.opt.Base {
		if mean, n := meanOf(l); n > 0 && (!ok || h.distance2(mean) > h.distance2(base)) {
			base, ok = mean, true
		}
	}
	return base, ok
}

// meanOf is the mean of a lot's panels and their number.
func meanOf(l discharge.Lot) (mean colorimetry.Lab, n float64) {
	panels, _ := discharge.PanelMeans(l)
	n = float64(len(panels))
	for _, p := range panels {
		mean = moved(mean, mat3.Vec{p.Lab.L / n, p.Lab.A / n, p.Lab.B / n})
	}
	return mean, n
}
