package discharge

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// Fisher's information of a location is the mean square of the slope of the
// logarithm of the density, here of gonum's Student's t; the top of that density
// is what evidence leaves out.
func TestInformationOfAStudentLot(t *testing.T) {
	d := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: tailWeight}
	const h = 1e-4
	information := quad.Fixed(func(x float64) float64 {
		slope := (d.LogProb(x+h) - d.LogProb(x-h)) / (2 * h)
		return slope * slope * d.Prob(x)
	}, -60, 60, 4000, nil, 0)
	assert.InDelta(t, information, tailInformation, 1e-4)
	assert.InDelta(t, d.Prob(0), tailTop, 1e-12)
}

// The scale of a Student's t is most likely, for data of any kind, where the slope of
// its log likelihood by ln of the scale has a mean of zero: here for gonum's standard
// normal.
func TestScaleOfStudentLotsThatAreNormal(t *testing.T) {
	const h = 1e-4
	logLik := func(scale float64) float64 {
		d := distuv.StudentsT{Mu: 0, Sigma: scale, Nu: tailWeight}
		return quad.Fixed(func(z float64) float64 { return distuv.UnitNormal.Prob(z) * d.LogProb(z) }, -12, 12, 2000, nil, 0)
	}
	assert.Positive(t, logLik(tailScale-0.001+h)-logLik(tailScale-0.001-h))
	assert.Negative(t, logLik(tailScale+0.001+h)-logLik(tailScale+0.001-h))
}

// A lot that got far too much or too little, where others were run at the same
// settings, is named, and the model is what it is without that lot. (At corners, where
// no other lot speaks against it, it may pass for a bend: internal/study has shares.)
func TestUpsetLotCountsAsIfItWereNotThere(t *testing.T) {
	clean, err := Fit(demoLab(t), nil)
	require.NoError(t, err)
	named, tried := 0, 0
	var apart []float64
	for k, rec := range clean.Trials() {
		if s := rec.Settings; s["strength_pct"] != 6.5 || s["ratio"] != 1.4 || s["time_min"] != 12 {
			continue
		}
		v := clean.basis.values(rec.Settings)
		off := math.Log(2.5)
		if clean.predictAt(&v).Level > 0.5 {
			off = -off
		}
		var parts [maxComponents]mixPart
		clean.parts(&parts, &v)
		upsetL := 0.0
		for i := range clean.comps {
			c := &clean.comps[i]
			s, _, _ := c.link.at(parts[i].mu+off*c.link.unit, c.plateau())
			upsetL += c.weight * clean.path.at(s).L
		}
		table, without := demoLab(t), demoLab(t)
		for i := range table.Lots {
			if l := &table.Lots[i]; l.ID == rec.ID {
				for p := range l.Panels {
					for r := range l.Panels[p].Readings {
						l.Panels[p].Readings[r].Lab.L += upsetL - rec.Lab.L
					}
				}
			}
		}
		without.Lots = slices.DeleteFunc(without.Lots, func(l Lot) bool { return l.ID == rec.ID })
		m, err := Fit(table, nil)
		require.NoError(t, err)
		n, err := Fit(without, nil)
		require.NoError(t, err)
		tried++
		if m.trials[k].OutOfLine() {
			named++
		}
		for _, other := range clean.trials {
			a, err := m.Predict(other.Settings)
			require.NoError(t, err)
			b, err := n.Predict(other.Settings)
			require.NoError(t, err)
			apart = append(apart, math.Abs(a.Shade.L-b.Shade.L))
		}
	}
	slices.Sort(apart)
	t.Logf("%d of %d named; predictions differ from those without the lot by %.2f L* in the median, %.2f at most", named, tried, apart[len(apart)/2], apart[len(apart)-1])
	assert.GreaterOrEqual(t, tried, 3)
	assert.Equal(t, tried, named)
	assert.Less(t, apart[len(apart)/2], 0.2)
	assert.Less(t, apart[len(apart)-1], 1.0)
}

// Lots that do not outnumber the coefficients gainsay none of themselves: 1 + k + k(k+1)/2 of k
// factors. A judge's enzyme baths of five factors lost the one lot near the best temperature.
func TestUpsetLotsNeedOthersThatGainsayThem(t *testing.T) {
	for _, c := range []struct{ lots, factors, upset int }{
		{13, 3, 0}, {14, 3, 1}, {16, 3, 1}, {28, 3, 2}, {16, 2, 1}, {18, 4, 0}, {19, 4, 1}, {16, 5, 0}, {24, 5, 0}, {25, 5, 1},
	} {
		basis := &doseBasis{factors: make([]doseFactor, c.factors), primary: c.factors}
		f := &fitting{problems: []problem{{candidate: &candidate{basis: basis}, lots: make([]lotPoint, c.lots)}}}
		require.Equal(t, c.upset, f.gainsaid(), "%d lots of %d factors", c.lots, c.factors)
	}
}
