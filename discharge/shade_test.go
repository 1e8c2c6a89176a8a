package discharge

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/internal/quantile"
)

// The table of a link against the curve and scale it was made from.
func TestLinkTable(t *testing.T) {
	const l0, l1, low = 20.0, 82.0, 0.03
	for _, c := range curves() {
		for _, sc := range []scale{scaleL, scaleLnKS, scaleKS} {
			k := newLink(c, sc, l0, l1, low)
			from, to := sc.to(l0+low*(l1-l0)), sc.to(l1)
			last := math.Inf(-1)
			for eta := -15.93; eta < 23; eta += 0.137 {
				s, ds, dd := k.at(eta, 1)
				want := (sc.from(from+c.At(eta)*(to-from)) - l0) / (l1 - l0)
				assert.InDelta(t, want, s, 1e-6, "%s on %s at %g", c.Name(), sc, eta)
				assert.GreaterOrEqual(t, s, last-1e-12, "%s on %s falls at %g", c.Name(), sc, eta)
				last = s
				const h = 1e-5
				up, _, _ := k.at(eta+h, 1)
				dn, _, _ := k.at(eta-h, 1)
				assert.InDelta(t, (up-dn)/(2*h), ds, 1e-6, "%s on %s: slope at %g", c.Name(), sc, eta)
				hi, _, _ := k.at(eta, 1+h)
				assert.InDelta(t, (hi-s)/h, dd, 1e-6)
			}
			assert.InDelta(t, 0.5, func() float64 { s, _, _ := k.at(k.inverse(0.5), 1); return s }(), 1e-9)
		}
	}
}

// K/S of the luminance factor and back, against the definitions: CIE 15:2018
// eq. 8.3 for L*, Kubelka and Munk 1931 for K/S = (1-R)²/2R.
func TestScales(t *testing.T) {
	for l := 5.0; l < 98; l += 1.7 {
		for _, sc := range []scale{scaleL, scaleLnKS, scaleKS} {
			assert.InDelta(t, l, sc.from(sc.to(l)), 1e-8, "%s at L* %g", sc, l)
			const h = 1e-5
			assert.InEpsilon(t, (sc.to(l+h)-sc.to(l-h))/(2*h), sc.slope(l), 1e-5, "%s slope at L* %g", sc, l)
		}
	}
	// L* 50 is Y 18.4187 (CIE 15, by hand: ((50+16)/116)³ = 0.184187).
	assert.InDelta(t, 0.184187, luminance(50), 1e-6)
	assert.InDelta(t, math.Pow(1-0.184187, 2)/(2*0.184187), scaleKS.to(50), 1e-4)
}

func TestDoseRowsAndSlopes(t *testing.T) {
	b := doseBasis{primary: 2, factors: []doseFactor{
		{Column: "strength_pct", Transform: Log, Center: 1, Lo: -0.5, Hi: 0.5, Primary: true, Raises: true},
		{Column: timeColumn, Transform: Log, Center: 2, Lo: -1, Hi: 1, Primary: true, Raises: true},
		{Column: "rpm", Transform: Log, Center: 3.4, Lo: -0.1, Hi: 0.1},
	}}
	require.Equal(t, 7, b.terms())
	row := make([]float64, 7)
	x := values{0.3, -0.4, 0.05}
	b.row(row, &x)
	assert.InDeltaSlice(t, []float64{1, 0.3, -0.4, 0.05, 0.09, -0.12, 0.16}, row, 1e-15)
	// Slopes against differences inside the box.
	rng := rand.New(rand.NewPCG(1, 2))
	up, dn, d := make([]float64, 7), make([]float64, 7), make([]float64, 7)
	for range 200 {
		x := values{0.99 * (rng.Float64() - 0.5), 1.98 * (rng.Float64() - 0.5), 0.1}
		for j := range 2 {
			const h = 1e-6
			hi, lo := x, x
			hi[j] += h
			lo[j] -= h
			b.row(up, &hi)
			b.row(dn, &lo)
			b.slopes(d, &x, j)
			for i := range d {
				assert.InDelta(t, (up[i]-dn[i])/(2*h), d[i], 1e-6, "term %d by factor %d at %v", i, j, x[:3])
			}
		}
	}
	// An η that rises at every corner of the box rises everywhere.
	theta := []float64{0, 1, 1.2, 0, -0.4, 0.4, -0.3}
	for _, c := range b.corners() {
		require.Greater(t, dot(c[:7], theta), 0.0)
	}
	for range 500 {
		x := values{6*rng.Float64() - 3, 6*rng.Float64() - 3, 0.1}
		for j := range 2 {
			y := x
			y[j] += 0.5 * rng.Float64()
			b.row(dn, &x)
			b.row(up, &y)
			assert.GreaterOrEqual(t, dot(up, theta), dot(dn, theta), "from %v along %d", x[:2], j)
		}
	}
	in, out := values{0.5, 1, 0.1}, values{0.6, 1.2, 0.1}
	assert.Zero(t, b.beyond(&in))
	assert.InDelta(t, 0.01+0.04, b.beyond(&out), 1e-12)
}

// The effective minutes of a clock: the integral of what acts, by quadrature.
func TestClock(t *testing.T) {
	minutes := func(c clock, m, charge, heat float64) float64 {
		return math.Exp(c.lived(c.soaked(m, charge, heat), charge, heat))
	}
	dying := func(t float64) float64 { return math.Exp(-t / 8) }
	arriving := func(t float64) float64 { return 1 - math.Exp(-t/3) }
	for _, m := range []float64{1, 5, 20, 60} {
		assert.InEpsilon(t, quad.Fixed(dying, 0, m, 60, nil, 0), minutes(clock{Life: 8}, m, 0, 0), 1e-10)
		assert.InEpsilon(t, quad.Fixed(arriving, 0, m, 60, nil, 0), minutes(clock{Spread: 3}, m, 0, 0), 1e-10)
	}
	ln2 := math.Log(2)
	used := clock{Life: 8, Charge: 1, Heat: 1}
	assert.InEpsilon(t, minutes(clock{Life: 16}, 20, 0, 0), minutes(used, 20, ln2, 0), 1e-12, "twice the oxidizer lasts twice as long")
	assert.InEpsilon(t, minutes(clock{Life: 4}, 20, 0, 0), minutes(used, 20, 0, ln2), 1e-12, "twice the rate uses it up in half the time")
	assert.InEpsilon(t, minutes(clock{Spread: 1}, 4, 0, 0), minutes(clock{Spread: 2, Early: 1}, 4, ln2/2, ln2/2), 1e-12, "twice the rate is there in half the time")
	assert.InDelta(t, 10, minutes(clock{}, 10, 1, 1), 1e-12)
	// What files of schema 1 may hold.
	assert.InDelta(t, 7, minutes(clock{Lag: 3}, 10, 0, 0), 1e-12)
	assert.InDelta(t, 0.003, minutes(clock{Lag: 3}, 3, 0, 0), 1e-12)
}

// The five-point rule integrates polynomials up to degree nine against the
// standard normal density: the even moments are 1, 1, 3, 15, 105.
func TestNodes(t *testing.T) {
	var x, w [lotNodes]float64
	lotNodesOf(x[:], w[:], 0, 1, 1)
	for k, want := range map[int]float64{0: 1, 1: 0, 2: 1, 3: 0, 4: 3, 5: 0, 6: 15, 7: 0, 8: 105} {
		sum := 0.0
		for i := range x {
			sum += w[i] * math.Pow(x[i], float64(k))
		}
		assert.InDelta(t, want, sum, 1e-9*math.Max(1, want), "moment %d", k)
	}
}

func TestChiSquare95(t *testing.T) {
	for _, df := range []float64{1, 1.3, 2, 2.7, 3} {
		want := distuv.ChiSquared{K: df}.Quantile(0.95)
		assert.InEpsilon(t, want, chiSquare95(df), 0.025, "df %g", df)
	}
}

// The 95th percentile of CIEDE2000 over a cloud, against drawing it.
func TestDeltaEP95AgainstDraws(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	at := colorimetry.Lab{L: 48, A: -2, B: -11}
	for _, cov := range [][3][3]float64{
		{{4, 0.2, 1.5}, {0.2, 0.05, 0.05}, {1.5, 0.05, 1}},
		{{0.3, 0, 0}, {0, 0.3, 0}, {0, 0, 0.3}},
	} {
		s := mat.NewSymDense(3, []float64{cov[0][0], cov[0][1], cov[0][2], cov[0][1], cov[1][1], cov[1][2], cov[0][2], cov[1][2], cov[2][2]})
		var ch mat.Cholesky
		require.True(t, ch.Factorize(s))
		var l mat.TriDense
		ch.LTo(&l)
		var de []float64
		for range 20000 {
			z := mat.NewVecDense(3, []float64{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()})
			var y mat.VecDense
			y.MulVec(&l, z)
			de = append(de, colorimetry.CIEDE2000{}.Diff(at, colorimetry.Lab{L: at.L + y.AtVec(0), A: at.A + y.AtVec(1), B: at.B + y.AtVec(2)}))
		}
		g := metric(at)
		got := deltaEP95(&[4]float64{g[0][0], g[1][1], g[2][2], g[1][2]}, &cov)
		assert.InEpsilon(t, quantile.Of(de, 0.95), got, 0.06)
	}
}

func TestSmallCholesky(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	const n = 7
	g := mat.NewDense(n, n, nil)
	for i := range n {
		for j := range n {
			g.Set(i, j, rng.NormFloat64())
		}
	}
	var a mat.Dense
	a.Mul(g, g.T())
	l := make([]float64, n*n)
	for i := range n {
		for j := 0; j <= i; j++ {
			l[i*n+j] = a.At(i, j)
		}
	}
	require.True(t, cholesky(l, n, 0))
	var want mat.Dense
	require.NoError(t, want.Inverse(&a))
	got := cholInverse(l, n)
	for i := range n {
		for j := range n {
			assert.InEpsilon(t, want.At(i, j), got[i*n+j], 1e-6)
		}
	}
	assert.False(t, cholesky([]float64{-1}, 1, 0))
}

// A path through points on a known curve follows it, bends included: b* of
// indigo falls, then rises.
func TestPathFollowsBends(t *testing.T) {
	curve := func(s float64) (a, b float64) { return -3 * math.Sin(math.Pi*s), -10 - 12*math.Sin(2.2*s) + 26*s*s }
	rng := rand.New(rand.NewPCG(7, 8))
	var pts []pathPoint
	for lot := range 16 {
		center := float64(lot) / 15
		for range 4 {
			s := min(max(center+0.02*rng.NormFloat64(), 0), 1)
			a, b := curve(s)
			pts = append(pts, pathPoint{level: s, weight: 1, lot: lot, y: []float64{a + 0.1*rng.NormFloat64(), b + 0.1*rng.NormFloat64()}})
		}
	}
	p, err := fitPath(20, 80, pts)
	require.NoError(t, err)
	p.prepare()
	for s := 0.0; s <= 1; s += 0.02 {
		a, b := curve(s)
		lab := p.at(s)
		assert.InDelta(t, 20+60*s, lab.L, 1e-12)
		assert.InDelta(t, a, lab.A, 0.2)
		assert.InDelta(t, b, lab.B, 0.2)
		assert.InDelta(t, lab.A, p.channel(0, s), 1e-9, "two ways to the same spline")
		da, db := p.tangent(s)
		if s > 0.01 && s < 0.99 {
			const h = 1e-5
			assert.InDelta(t, (p.at(s+h).A-p.at(s-h).A)/(2*h), da, 1e-3)
			assert.InDelta(t, (p.at(s+h).B-p.at(s-h).B)/(2*h), db, 1e-3)
		}
	}
	_, err = fitPath(50, 50.5, pts)
	assert.ErrorIs(t, err, errPath)
}

// Lots, not panels, tell how the path bends: panels of one lot share its cast, so
// six equal ones say what one says, and the path must not follow them more
// closely.
func TestPathCountsLotsNotPanels(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	var one, six []pathPoint
	for lot := range 12 {
		s := float64(lot) / 11
		q := pathPoint{level: s, weight: 1, lot: lot, y: []float64{-2*math.Sin(math.Pi*s) + 0.4*rng.NormFloat64(), -10 + 15*s + 0.4*rng.NormFloat64()}}
		one = append(one, q)
		for range 6 {
			six = append(six, q)
		}
	}
	p, err := fitPath(20, 80, one)
	require.NoError(t, err)
	q, err := fitPath(20, 80, six)
	require.NoError(t, err)
	p.prepare()
	q.prepare()
	for s := 0.0; s <= 1; s += 0.05 {
		assert.InDelta(t, p.at(s).A, q.at(s).A, 1e-6)
		assert.InDelta(t, p.at(s).B, q.at(s).B, 1e-6)
		assert.InEpsilon(t, p.mark(s).variance*p.covScale[0], q.mark(s).variance*q.covScale[0], 1e-5)
	}
}

// Casts that grow with what is discharged are found again at either end of the
// path: b* with a variance of 0.36 at the white, a tenth of that at the base, a*
// with a quarter of b*'s.
func TestCastsGrowAlongThePath(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	truth := func(s float64) float64 { return 0.36 * (0.1 + 0.9*s) }
	var pts []pathPoint
	const lots = 400
	for lot := range lots {
		s := float64(lot) / (lots - 1)
		sd := math.Sqrt(truth(s))
		pts = append(pts, pathPoint{level: s, weight: 1, lot: lot, y: []float64{-2 + 0.5*sd*rng.NormFloat64(), -10 + 15*s + sd*rng.NormFloat64()}})
	}
	p, err := fitPath(20, 80, pts)
	require.NoError(t, err)
	p.offPath(pts, lots)
	for _, s := range []float64{0, 0.3, 1} {
		assert.InEpsilon(t, truth(s), p.cast(s)*p.lotOff[1][1], 0.25)
		assert.InEpsilon(t, truth(s)/4, p.cast(s)*p.lotOff[0][0], 0.25)
	}
	assert.Equal(t, p.cast(1), p.cast(1.2), "beyond the white as at it")
}

// P(Q ≤ c) of a quadratic form, against noncentral chi-square drawn.
func TestWithin(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	for _, c := range []struct{ shift, va, vb, limit float64 }{{0.5, 0.2, 0.1, 1}, {1, 0.3, 0.3, 2.25}, {1.4, 0.05, 0.02, 2.25}} {
		hits := 0
		const n = 20000
		for range n {
			x := c.shift + math.Sqrt(c.va)*rng.NormFloat64()
			y := math.Sqrt(c.vb) * rng.NormFloat64()
			if x*x+y*y <= c.limit {
				hits++
			}
		}
		// The form knows the center only as a distance, so its variance takes
		// the mean share of the two directions.
		t1, t2 := c.va+c.vb, c.va*c.va+c.vb*c.vb
		assert.InDelta(t, float64(hits)/n, within(c.limit, c.shift*c.shift, t1, t2, t2/t1), 0.04, "%+v", c)
	}
	assert.Equal(t, 1.0, within(1, 0.5, 0, 0, 0))
	assert.Equal(t, 0.0, within(1, 1.5, 0, 0, 0))
}

func TestRobustMeanShrugsOffAHotSpot(t *testing.T) {
	clean := []float64{0.50, 0.51, 0.49, 0.50}
	hot := []float64{0.50, 0.51, 0.49, 0.80}
	assert.InDelta(t, 0.5, robustMean(clean, 0.01), 1e-3)
	assert.InDelta(t, 0.5, robustMean(hot, 0.01), 0.01)
}

// Panel scatter that was put into lots is found again.
func TestWithinLotScatter(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	const sdPanel, read, sets = 0.1, 0.004, 40
	var panel, reading float64 // mean variances
	for range sets {
		var levels [][]float64
		var slope []float64
		for i := range 60 {
			g := 0.02 + 0.23*float64(i)/59
			var ys []float64
			for range 4 {
				ys = append(ys, 0.5+g*sdPanel*rng.NormFloat64()+read*rng.NormFloat64())
			}
			levels = append(levels, ys)
			slope = append(slope, g)
		}
		sp, rd := withinLot(levels, slope, read)
		panel += sp * sp / sets
		reading += rd * rd / sets
	}
	// 40 sets of 180 degrees of freedom tell a standard deviation to a percent.
	assert.InEpsilon(t, sdPanel, math.Sqrt(panel), 0.05)
	assert.InEpsilon(t, read, math.Sqrt(reading), 0.1)
}

// Three lots are refused with what to do, four are fitted.
func TestFewestLots(t *testing.T) {
	csv := "lot,role,process,strength_pct,ratio,time_min,illuminant,observer,L,a,b\n" +
		"B,base,permanganate-pellet,,,,D65,10,20,0,-12\nW,white,permanganate-pellet,,,,D65,10,80,-1,4\n" +
		"T1,trial,permanganate-pellet,4,1,8,D65,10,30,-1,-13\nT2,trial,permanganate-pellet,8,1,16,D65,10,50,-2,-9\nT3,trial,permanganate-pellet,4,2,16,D65,10,48,-2,-9\n"
	for _, more := range []string{"", "T4,trial,permanganate-pellet,8,2,8,D65,10,49,-2,-9\n"} {
		table, err := ReadTable("few.csv", strings.NewReader(csv+more), nil)
		require.NoError(t, err)
		_, err = Fit(table, nil)
		if more == "" {
			require.ErrorIs(t, err, ErrTooFewLots)
			require.ErrorContains(t, err, "need at least 4")
		} else {
			require.NoError(t, err)
		}
	}
}

// An enzyme may work best at a middle temperature because heat spends it: a
// hotter bath has fewer minutes that count. Files of earlier versions, whose
// factor does not say so, count them as before.
func TestHeatSpendsWhatTemperatureNeedNotRaise(t *testing.T) {
	minutes := func(heats bool, temp float64) float64 {
		time, bath := doseFactor{Column: timeColumn, Transform: Log, Scale: 1}, doseFactor{Column: "temp_c", Transform: InverseKelvin, Scale: 1, Heats: heats}
		time.between(math.Log(10), math.Log(60))
		bath.between(bath.raw(40), bath.raw(60))
		b := newBasis([]doseFactor{time, bath}, 2)
		b.clock = clock{Life: 10, Heat: 1}
		v := values{60, temp}
		return math.Exp(b.at(&v)[b.time] + time.Center)
	}
	// Long after its life all of it has worked: minutes are the life, which
	// goes with exp(40 kJ/mol / R · (1/T - 1/T0)).
	ratio := math.Exp(40e3 / 8.314462618 * (1/(60+273.15) - 1/(40+273.15)))
	assert.InEpsilon(t, ratio, minutes(true, 60)/minutes(true, 40), 0.03)
	assert.InDelta(t, minutes(false, 60), minutes(false, 40), 1e-9)
}

// Where the difference of two covariances is none, the percentile stays a
// number (the least degrees of freedom of a form of covariances is 1).
func TestDeltaEP95OfADifferenceIsANumber(t *testing.T) {
	got := deltaEP95(&[4]float64{1, 1, 1, 0}, &[3][3]float64{{0, 0.3, 0.3}, {0.3, 1e-3, 0}, {0.3, 0, 1e-3}})
	assert.True(t, finite(got) && got >= 0, "%g", got)
	// One channel alone: the 95 % point of a normal deviate, 1.96.
	assert.InEpsilon(t, 1.96, deltaEP95(&[4]float64{1, 1, 1, 0}, &[3][3]float64{{1}}), 0.0125, "half of what TestChiSquare95 allows the square")
}

// The curve and the scale that are named are a candidate with the most weight of all
// of that curve.
func TestSummaryNamesTheScaleWithMostWeight(t *testing.T) {
	m, err := Fit(demoTrials(t), nil)
	require.NoError(t, err)
	m.comps = slices.Clone(m.comps)[:1]
	lighter := m.comps[0]
	m.comps[0].weight, lighter.weight = 0.6, 0.4
	lighter.link.scale = (lighter.link.scale + 1) % 3
	m.comps = append(m.comps, lighter)
	s := m.Summary()
	assert.InDelta(t, 1, s.CurveShare, 1e-12)
	assert.Equal(t, m.comps[0].link.scale.String(), s.LevelScale)
}

func TestFitRefusesAnotherProcessThanTheTables(t *testing.T) {
	other, err := LookupProcess("hypochlorite-bath")
	require.NoError(t, err)
	_, err = Fit(demoTrials(t), &FitOptions{Process: other})
	assert.ErrorIs(t, err, ErrWrongProcess)
}
