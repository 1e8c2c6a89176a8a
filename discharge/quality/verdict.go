package quality

import (
	"math"
	"math/rand/v2"
	"slices"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/fit"
	"example.com/dosetone/internal/mat3"
	"example.com/dosetone/internal/quantile"
)

// Decision is what to do with a lot.
type Decision string

// The decisions.
const (
	Accept      Decision = "accept"
	Reject      Decision = "reject"
	MeasureMore Decision = "measure-more"
)

// Verdict is the decision on a lot and how sure it is.
type Verdict struct {
	Decision Decision
	// Probability that the lot is good: its mean inside the tolerance and,
	// when a share of garments was asked for, at least that share too.
	Probability float64
	// MeanProbability and ShareProbability are those of the two parts.
	MeanProbability, ShareProbability float64
	// ShareInside is the estimated share of garments inside, with its interval
	// at the verdict's confidence.
	ShareInside        float64
	ShareLo, ShareHi   float64
	DeltaELo, DeltaEHi float64 // interval of the lot mean's difference, at the confidence
	Confidence         float64
	RequiredShare      float64 // 0 when the share is not part of the verdict
	MorePanels         int     // that would probably settle it; 0 when none of up to 40 would
	SettlesWith        Decision
	WithinSD           float64    // of panels within the lot, in units of the difference along its main direction
	Variables          *Variables // nil with fewer than 2 panels or without a required share
	UsesTrialsScatter  bool       // scatter within lots is known from trials
	UsesTypicalScatter bool       // nothing but common practice is known of it
	SinglePanelWarning bool
}

// Variables is acceptance by variables in the spirit of ISO 3951 [1]: the
// distance of the mean from each limit in standard deviations against the
// one-sided tolerance factor [2].
type Variables struct {
	K           float64 // factor for n panels, the share and the confidence
	Q           float64 // (tolerance - signed difference) / SD at the nearer side
	SD          float64 // of the panels' signed difference
	Passes      bool
	Coverage    float64
	Confidence  float64
	SignedDelta float64 // mean signed difference, lighter positive
}

// Draws of the mean and covariance: 3000 give a probability near 0.9 to
// ±0.006, the last digit that matters; the search for more panels does with
// fewer.
const (
	manyDraws = 3000
	fewDraws  = 500
	// The share of garments, when it is only told, needs two digits.
	shareDraws = 250
	shareGrid  = 96 // normal points that stand for the garments of a lot
)

// belief is the posterior about a lot.
type belief struct {
	sample *sample
	psi    mat3.Mat
	nu     int
}

// outcome is the result of integrating over a belief.
type outcome struct {
	mean, share, both float64
	distances         []float64 // of the lot mean from the standard
	shares            []float64
}

// integrate draws means and covariances from the belief as if panels had been
// n in number with the sum of squares grown in proportion.
func (b *belief) integrate(r *region, garment *region, required float64, n float64, draws int) outcome {
	rng := rand.New(rand.NewPCG(1, 3951))
	psi, nu := b.psi, b.nu
	if extra := n - b.sample.n; extra > 0 {
		mean := mat3.Scaled(b.psi, 1/math.Max(float64(b.nu-2), 1))
		psi = mat3.Plus(psi, mat3.Scaled(mean, extra))
		nu += int(extra)
	}
	// Σ⁻¹ is Wishart with scale Ψ⁻¹: with Ψ = L Lᵀ and Bartlett's triangle A,
	// Σ = L A⁻ᵀ A⁻¹ Lᵀ.
	l := mat3.Cholesky(psi)
	grid := normalGrid(shareGrid)
	var out outcome
	for range draws {
		var a mat3.Mat
		for i := range 3 {
			a[i][i] = math.Sqrt(chiSquare(rng, nu-i))
			for j := range i {
				a[i][j] = rng.NormFloat64()
			}
		}
		f := mat3.Mul(l, mat3.Transpose(mat3.LowerInverse(a)))
		sigma := mat3.Mul(f, mat3.Transpose(f))
		mu := b.drawMean(rng, sigma, n)
		ok := r.holds(mu)
		if ok {
			out.mean++
		}
		out.distances = append(out.distances, r.fromStandard(mu))
		if garment == nil {
			if ok {
				out.both++
			}
			continue
		}
		inside := 0
		for _, z := range grid {
			if garment.holds(moved(mu, mat3.Apply(f, z))) {
				inside++
			}
		}
		share := float64(inside) / shareGrid
		out.shares = append(out.shares, share)
		if share >= required {
			out.share++
			if ok {
				out.both++
			}
		}
	}
	c := 1 / float64(draws)
	out.mean, out.share, out.both = out.mean*c, out.share*c, out.both*c
	return out
}

// drawMean draws the lot's mean given the covariance of panels. It rests on the
// panels alone: what the settings promise says nothing of how this lot came out,
// and a slip in the settings must not change its verdict.
func (b *belief) drawMean(rng *rand.Rand, sigma mat3.Mat, n float64) colorimetry.Lab {
	v := mat3.Plus(mat3.Scaled(sigma, 1/n), b.sample.extra)
	l := mat3.Cholesky(v)
	return moved(b.sample.mean, mat3.Apply(l, mat3.Vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}))
}

// chiSquare draws from chi-square with df degrees of freedom.
func chiSquare(rng *rand.Rand, df int) float64 {
	if df > 60 { // Wilson and Hilferty 1931: good to 1e-4 relative here
		h := 2 / (9 * float64(df))
		t := 1 - h + rng.NormFloat64()*math.Sqrt(h)
		return float64(df) * t * t * t
	}
	s := 0.0
	for range max(df, 1) {
		z := rng.NormFloat64()
		s += z * z
	}
	return s
}

// normalGrid is n points that stand for the normal distribution in three
// dimensions: a Halton sequence (bases 2, 3, 5) through the normal quantile.
func normalGrid(n int) []mat3.Vec {
	halton := func(i, base int) float64 {
		f, x := 1.0, 0.0
		for ; i > 0; i /= base {
			f /= float64(base)
			x += f * float64(i%base)
		}
		return x
	}
	g := make([]mat3.Vec, n)
	for i := range g {
		for k, base := range []int{2, 3, 5} {
			g[i][k] = quantile.Normal(halton(i+1, base))
		}
	}
	return g
}

// decide makes the verdict.
func (j *judge) decide() (Verdict, error) {
	b := &belief{sample: j.sample}
	b.psi, b.nu = j.sample.scatter(j.opt.Model)
	v := Verdict{Confidence: j.opt.Confidence, RequiredShare: j.opt.Share,
		UsesTrialsScatter: knowsScatter(j.opt.Model), UsesTypicalScatter: !knowsScatter(j.opt.Model),
		SinglePanelWarning: len(j.sample.panels) == 1}
	garment := newRegion(j.target, j.opt.Difference, j.opt.GarmentTolerance)
	o := b.integrate(j.region, garment, j.opt.Share, j.sample.n, shareDraws)
	slices.Sort(o.shares)
	v.ShareProbability = o.share
	v.ShareInside = quantile.Sorted(o.shares, 0.5)
	v.ShareLo, v.ShareHi = quantile.Sorted(o.shares, (1-v.Confidence)/2), quantile.Sorted(o.shares, (1+v.Confidence)/2)
	asked := garment
	if v.RequiredShare == 0 {
		v.ShareProbability = 1
		asked = nil
	}
	o = b.integrate(j.region, asked, j.opt.Share, j.sample.n, manyDraws)
	slices.Sort(o.distances)
	v.MeanProbability, v.Probability = o.mean, o.both
	if asked != nil {
		v.ShareProbability = o.share
	}
	v.DeltaELo, v.DeltaEHi = quantile.Sorted(o.distances, (1-v.Confidence)/2), quantile.Sorted(o.distances, (1+v.Confidence)/2)
	// A distance is never negative, so that beside the standard nearly all means
	// in question are further off than the one that was read: without this the
	// interval would leave that one out.
	v.DeltaELo = min(v.DeltaELo, j.report.DeltaE)
	v.Decision = decision(v.Probability, v.Confidence)
	if v.Decision == MeasureMore {
		for _, more := range []int{1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 40} {
			p := b.integrate(j.region, asked, j.opt.Share, j.sample.n+float64(more), fewDraws).both
			if d := decision(p, v.Confidence); d != MeasureMore {
				v.MorePanels, v.SettlesWith = more, d
				break
			}
		}
	}
	var err error
	v.Variables, v.WithinSD, err = j.variables()
	return v, err
}

func decision(p, confidence float64) Decision {
	switch {
	case p >= confidence:
		return Accept
	case p <= 1-confidence:
		return Reject
	}
	return MeasureMore
}

// variables compares the panels' signed differences with the tolerance.
func (j *judge) variables() (*Variables, float64, error) {
	n := len(j.sample.panels)
	if n < 2 {
		return nil, 0, nil
	}
	// On which side of the standard a panel lies is told along the way to the lot's mean, of the
	// lightness where that is the standard.
	way := minus(j.sample.mean, j.region.standard)
	if way == (mat3.Vec{}) {
		way[0] = 1
	}
	signed := make([]float64, n)
	mean := 0.0
	for i, p := range j.sample.panels {
		signed[i] = j.region.distance(p.Lab)
		if off := minus(p.Lab, j.region.standard); off[0]*way[0]+off[1]*way[1]+off[2]*way[2] < 0 {
			signed[i] = -signed[i]
		}
		mean += signed[i] / float64(n)
	}
	ss := 0.0
	for _, x := range signed {
		ss += (x - mean) * (x - mean)
	}
	sd := math.Sqrt(ss / float64(n-1))
	if j.opt.Share == 0 || sd == 0 {
		return nil, sd, nil
	}
	k, err := fit.ToleranceOneSided(n, j.opt.Share, j.opt.Confidence)
	if err != nil {
		return nil, sd, err
	}
	v := &Variables{K: k, SD: sd, SignedDelta: mean, Coverage: j.opt.Share, Confidence: j.opt.Confidence}
	v.Q = (j.opt.GarmentTolerance - math.Abs(mean)) / sd
	v.Passes = v.Q >= k
	return v, sd, nil
}
