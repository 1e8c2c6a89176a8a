package capped

import (
	"bytes"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/study"
)

// What sixteen lots could tell: a knower has this package's equations, the
// ranges from which it draws, and the fabric and the scatter of each laundry,
// and lacks only what the trials are run for, its dose and its kinetics. The mean of
// what is left possible after the trials is the best that anybody could predict.
// It takes minutes: DOSETONE_STUDY=1, with SEEDS laundries of each group from
// DOSETONE_STUDY_FROM on and LOTS trial lots.
func TestNobodyPredictsBetterThanWhoKnows(t *testing.T) {
	if os.Getenv("DOSETONE_STUDY") == "" {
		t.Skip("DOSETONE_STUDY is not set")
	}
	seed, lots := uint64(number("DOSETONE_STUDY_FROM", 30000)), number("LOTS", 16)
	var knower, model []float64
	for _, g := range Groups() {
		var ofKnower, ofModel []float64
		for range number("SEEDS", 15) {
			l, err := New(g, seed)
			require.NoError(t, err)
			design, err := l.Ladder(lots)
			require.NoError(t, err)
			var b bytes.Buffer
			require.NoError(t, l.WriteTrials(&b, rand.New(rand.NewPCG(seed, 100+uint64(lots))), design))
			table, err := discharge.ReadTable("simulated", &b, nil)
			require.NoError(t, err)
			m, err := discharge.Fit(table, nil)
			require.NoError(t, err)
			rng := rand.New(rand.NewPCG(seed, 9))
			var asked []map[string]float64
			for range 12 {
				asked = append(asked, l.RandomSettings(rng))
			}
			known := l.after(newTrialLots(t, l, design, table), asked, rand.New(rand.NewPCG(seed, 4242)))
			for i, s := range asked {
				p, err := m.Predict(s)
				require.NoError(t, err)
				ofModel = append(ofModel, colorimetry.CIEDE2000{}.Diff(l.Expected(s), p.Shade))
				ofKnower = append(ofKnower, colorimetry.CIEDE2000{}.Diff(l.Expected(s), known[i]))
			}
			seed++
		}
		t.Logf("%-13s who knows %.2f / %.2f, model %.2f / %.2f", g, study.Quantile(ofKnower, 0.5), study.Quantile(ofKnower, 0.95), study.Quantile(ofModel, 0.5), study.Quantile(ofModel, 0.95))
		knower, model = append(knower, ofKnower...), append(model, ofModel...)
	}
	t.Logf("%-13s who knows %.2f / %.2f, model %.2f / %.2f", "all", study.Quantile(knower, 0.5), study.Quantile(knower, 0.95), study.Quantile(model, 0.5), study.Quantile(model, 0.95))
	assert.Less(t, study.Quantile(knower, 0.5), study.Quantile(model, 0.5))
	assert.Less(t, study.Quantile(knower, 0.95), study.Quantile(model, 0.95))
}

func number(name string, otherwise int) int {
	if v, err := strconv.Atoi(os.Getenv(name)); err == nil {
		return v
	}
	return otherwise
}

// trialLot is the mean shade of a trial lot, and how such means scatter.
type trialLot struct {
	settings  map[string]float64
	mean      [3]float64
	precision mat.Dense
}

func newTrialLots(t *testing.T, l *Laundry, design []map[string]float64, table *discharge.Table) []trialLot {
	rng := rand.New(rand.NewPCG(l.Seed, 4241))
	out := make([]trialLot, len(design))
	for i, lot := range table.ByRole(discharge.Trial) {
		o := &out[i]
		o.settings = design[i]
		readings := lot.Readings()
		for _, r := range readings {
			for k, v := range channels(r.Lab) {
				o.mean[k] += v / float64(len(readings))
			}
		}
		const n = 200
		x := mat.NewDense(n, 3, nil)
		for j := range n {
			c := channels(l.Lot(rng, design[i]))
			x.SetRow(j, c[:])
		}
		var cov mat.SymDense
		stat.CovarianceMatrix(&cov, x, nil)
		require.NoError(t, o.precision.Inverse(&cov))
	}
	return out
}

func channels(c colorimetry.Lab) [3]float64 { return [3]float64{c.L, c.A, c.B} }

// likelihood is ln of it, up to a constant, for a laundry that might be.
func likelihood(l *Laundry, trials []trialLot) (sum float64) {
	for i := range trials {
		d := channels(l.Expected(trials[i].settings))
		for k := range d {
			d[k] -= trials[i].mean[k]
		}
		v := mat.NewVecDense(3, d[:])
		sum -= mat.Inner(v, &trials[i].precision, v) / 2
	}
	if math.IsNaN(sum) {
		return math.Inf(-1)
	}
	return sum
}

// unknowns is how many numbers might needs.
func (l *Laundry) unknowns() int {
	return 12 + map[string]int{"permanganate": 3, "hypochlorite": 3, "laccase": 6, "ozone": 5}[l.Group]
}

// might is the laundry with dose and kinetics from numbers between 0 and 1, each
// mapped to the distribution that New draws from.
func (l *Laundry) might(u []float64) *Laundry {
	k := *l
	next := func(lo, hi float64) float64 {
		v := lo + (hi-lo)*u[0]
		u = u[1:]
		return v
	}
	k.gamma = next(0.5, 1)
	switch l.Group {
	case "permanganate":
		k.alpha, k.beta = next(0.3, 1), next(0.1, 0.7)
	case "hypochlorite":
		k.alpha, k.beta = next(0.7, 1.2), next(0, 0.2)
	case "laccase":
		k.wears = next(0.1, 0.3)
		k.alpha, k.beta = next(0.7, 1.1), -next(0.2, 0.5)
		k.life, k.saturates = next(0.7, 2.5)/bending, next(1.5, 5)/bending
	case "ozone":
		k.alpha, k.saturates = next(0.7, 1.2), next(1.5, 5)/bending
		k.best, k.width = math.Exp(next(-0.2, 0.6)), next(0.7, 1.3)
	}
	k.sharp = next(2, 6)
	k.order, k.slow, k.openPower, k.core = next(1.03, highestOrder), next(0.25, 0.8), next(1, 3), next(0.15, 0.9)
	k.open, k.opens = next(0.002, 0.01), next(0.08, 0.4)
	if l.Group == "permanganate" {
		k.brown = next(0.002, 0.010)
	} else {
		k.brown = next(0, 0.003)
	}
	k.loose, k.products = next(0.004, 0.02), next(0, 0.02)
	if l.Group == "laccase" {
		k.loose *= 2
	}
	over := 1 + margin*math.Exp(0.7*math.Sqrt2*math.Erfinv(next(-1, 1)))
	level := next(0.38, 0.58)
	base := l.shade(0, casts{}).L
	k.dye = root(0.5, 200, func(x float64) bool { k.dye = x; return k.shade(0, casts{}).L < base })
	k.scale(over, level)
	return &k
}

// after is the mean shade at some settings over the laundries that the trials
// leave possible: adaptive Metropolis steps (Haario, Saksman and Tamminen,
// Bernoulli 7 (2001) 223), the first half to find and adapt, the second to
// average.
func (l *Laundry) after(trials []trialLot, asked []map[string]float64, rng *rand.Rand) []colorimetry.Lab {
	const steps = 40000
	n := l.unknowns()
	u, now := make([]float64, n), math.Inf(-1)
	for range 200 { // sets out from the best of some random ones
		v := make([]float64, n)
		for i := range v {
			v[i] = 0.02 + 0.96*rng.Float64()
		}
		if x := likelihood(l.might(v), trials); x > now {
			now, u = x, v
		}
	}
	mean := slices.Clone(u)
	cov := mat.NewSymDense(n, nil)
	for i := range n {
		cov.SetSym(i, i, 0.01)
	}
	var chol mat.Cholesky
	var lower mat.TriDense
	size := math.Log(2.4 / math.Sqrt(float64(n)))
	sum, count := make([]colorimetry.Lab, len(asked)), 0.0
	for step := range steps {
		adapting := step < steps/2
		if adapting && step%100 == 0 && chol.Factorize(cov) {
			chol.LTo(&lower)
		}
		v := slices.Clone(u)
		if rng.Float64() < 0.7 {
			z, d := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
			for i := range n {
				z.SetVec(i, rng.NormFloat64())
			}
			d.MulVec(&lower, z)
			for i := range v {
				v[i] += math.Exp(size) * d.AtVec(i)
			}
		} else { // one alone, so that none sticks
			i := rng.IntN(n)
			v[i] += math.Sqrt(cov.At(i, i)) * rng.NormFloat64()
		}
		accepted := 0.0
		if slices.Min(v) > 0.0005 && slices.Max(v) < 0.9995 {
			if x := likelihood(l.might(v), trials); math.Log(rng.Float64()) < x-now {
				now, u, accepted = x, v, 1
			}
		}
		if adapting {
			size += 0.5 * (accepted - 0.25) / math.Sqrt(float64(step)+10)
			share := 1 / (float64(step)/3 + 100)
			d := make([]float64, n)
			for i := range d {
				d[i] = u[i] - mean[i]
				mean[i] += share * d[i]
			}
			for i := range n {
				for j := i; j < n; j++ {
					cov.SetSym(i, j, (1-share)*cov.At(i, j)+share*d[i]*d[j])
				}
				cov.SetSym(i, i, cov.At(i, i)+share*1e-5)
			}
			continue
		}
		if step%20 == 0 {
			k := l.might(u)
			for i, s := range asked {
				c := k.Expected(s)
				sum[i].L, sum[i].A, sum[i].B = sum[i].L+c.L, sum[i].A+c.A, sum[i].B+c.B
			}
			count++
		}
	}
	for i := range sum {
		sum[i].L, sum[i].A, sum[i].B = sum[i].L/count, sum[i].A/count, sum[i].B/count
	}
	return sum
}
