package discharge

import "math"

// What is known of the coefficients of η before any trial. Two levels of a
// factor, as a practitioner runs them, show nothing of what happens between them,
// but physics ties the terms of η together: where oxidizer, carrier and time all
// act through the same dye and the same supply, a surface that bends with one bends
// with their products too. How closely is learned: simulated laundries of six
// kinds of physics run at many levels of every factor, and the coefficients that fit
// each of them have the means and covariances of prior_table.go (learn_test.go makes it).
// Units are those of a curve of unit 1, factors count as in doseBasis.

// role is what kind of factor it is, for what is known of it besides strength
// and time, which stand at the core.
type role int

const (
	unlikeOthers role = iota
	bringsMore        // carrier or liquor that brings oxidizer along
	dilutes           // liquor that does not
	hasBest           // moisture, pH
	heats             // temperature
	roles
)

// role of a factor other than strength and time.
func (f *doseFactor) role() role {
	switch {
	case f.isHeat():
		return heats
	case f.Raises && f.Transform == Log:
		return bringsMore
	case !f.Raises && f.Monotone && f.Transform == Log:
		return dilutes
	case !f.Raises && !f.Monotone:
		return hasBest
	}
	return unlikeOthers
}

// The terms of the core, and those that each further factor adds.
const (
	firstStrength = iota
	firstTime
	strengthSquared
	strengthTime
	timeSquared
	coreTerms
)

const (
	furtherFirst = iota
	furtherStrength
	furtherSquared
	furtherTime
	furtherTerms
)

// knowledge is a normal distribution of the coefficients: of the core, and of
// what a further factor of each role adds, given the core.
type knowledge struct {
	mean, sd    [coreTerms]float64
	correlation [coreTerms][coreTerms]float64 // below the diagonal
	further     [roles]given
}

// given is a normal distribution whose mean depends on the core.
type given struct {
	mean, sd    [furtherTerms]float64            // with the core at its mean; about what the core says
	slope       [furtherTerms][coreTerms]float64 // by the core
	correlation [furtherTerms][furtherTerms]float64
}

// Of what the table does not hold: products of two further factors, and factors
// unlike others.
const (
	usualExponent, usualExponentSD = 0.8, 0.7
	usualBendSD                    = 0.2
)

// Of factors that only drifted, what they do to ln dose: a temperature (activation energies of 0
// to 120 kJ/mol, in units of arrhenius), pH (over half its usual range; where the acid or its ion
// alone reacts, tenfold per unit), others (per e-fold, or half the usual range), and lots on another
// fabric or machine.
const (
	usualHeat, usualHeatSD = 1.0, 1.0
	usualAciditySD         = 2.0
	usualDriftSD           = 1.0
	usualShiftSD           = 0.5
)

// narrowest is the half range, in halves of what is usual, from which on a
// factor with a best value was tried because it matters.
const narrowest = 0.25

// prior is a normal distribution of the coefficients of an η row.
type prior struct {
	mean      []float64
	precision []float64 // row-major
	logDet    float64   // of precision
}

// newPrior is what is known of the coefficients of b. Standard deviations of
// second-order coefficients are multiplied by bend.
func newPrior(b *doseBasis, know *knowledge, bend float64) *prior {
	n := b.terms()
	mean, cov := make([]float64, n), make([]float64, n*n)
	put := func(j int, m, sd float64) { mean[j], cov[j*n+j] = m, sd*sd }
	put(0, 0, 6)
	strength := b.strength()
	// at[i] is the index of the i-th known term among the coefficients, -1 where
	// there is none.
	at := []int{b.linear(strength), b.linear(b.time), b.product(strength, strength), b.product(strength, b.time), b.product(b.time, b.time)}
	var furthers []role
	for j := range b.factors {
		f := &b.factors[j]
		switch {
		case j >= b.primary:
			mean, sd := f.drifted()
			put(1+j, mean, sd)
			continue
		case j == strength || j == b.time:
			continue
		case f.Raises:
			put(1+j, usualExponent, usualExponentSD)
		default:
			put(1+j, 0, usualExponentSD)
		}
		if r := f.role(); r != unlikeOthers && know.further[r].sd[furtherFirst] > 0 {
			furthers = append(furthers, r)
			at = append(at, 1+j, b.product(strength, j), b.product(j, j), b.product(j, b.time))
		}
	}
	for j := 1 + len(b.factors); j < n; j++ {
		put(j, 0, usualBendSD*bend)
	}
	m, c := know.joint(furthers)
	scale := func(j int) float64 {
		if j > len(b.factors) {
			return bend
		}
		return 1
	}
	for i, j := range at {
		if j < 0 {
			continue
		}
		mean[j] = m[i]
		for k, l := range at {
			if l >= 0 {
				cov[j*n+l] = c[i*len(at)+k] * scale(j) * scale(l)
			}
		}
	}
	for j := range b.primary {
		f := &b.factors[j]
		k := b.product(j, j)
		switch {
		case f.role() == hasBest:
			mean, sd := optimum()
			ends := math.Pow(max(f.Hi, narrowest), 2)
			put(k, -mean/ends, sd/ends*bend)
		case f.wilts():
			// On top of what heat does to reactions.
			m, sd, slope := wilting()
			ends := math.Pow(max(f.Hi, narrowest), 2)
			mean[k] -= m / ends
			cov[k*n+k] += math.Pow(sd/ends, 2)
			cov[(1+j)*n+1+j] += slope * slope
		}
	}
	if !cholesky(cov, n, 0) {
		panic("discharge: the covariance of a prior is not positive definite") // a fault of the table, which a test would find
	}
	p := &prior{mean: mean, precision: cholInverse(cov, n)}
	for j := range n {
		p.logDet -= 2 * math.Log(cov[j*n+j])
	}
	return p
}

// drifted is what is known of a factor that nobody chose.
func (f *doseFactor) drifted() (mean, sd float64) {
	switch {
	case f.Column == baseColumn:
		return usualBaseGain * f.Scale, usualBaseGainSD * f.Scale
	case f.isShift():
		return 0, usualShiftSD
	case f.isHeat():
		return usualHeat, usualHeatSD
	case f.Column == "ph":
		return 0, usualAciditySD
	}
	return 0, usualDriftSD
}

// joint is the mean and the covariance of the core and what further factors add.
func (k *knowledge) joint(furthers []role) (mean, cov []float64) {
	n := coreTerms + furtherTerms*len(furthers)
	mean, cov = make([]float64, n), make([]float64, n*n)
	copy(mean, k.mean[:])
	set := func(i, j int, v float64) { cov[i*n+j], cov[j*n+i] = v, v }
	for i := range coreTerms {
		for j := range i {
			set(i, j, k.correlation[i][j]*k.sd[i]*k.sd[j])
		}
		set(i, i, k.sd[i]*k.sd[i])
	}
	for x, r := range furthers {
		g := &k.further[r]
		for a := range furtherTerms {
			i := coreTerms + furtherTerms*x + a
			mean[i] = g.mean[a]
			// By its slopes with all before it, which is all that ties it to the core
			// and to other further factors.
			for j := range coreTerms + furtherTerms*x {
				sum := 0.0
				for c, s := range g.slope[a] {
					sum += s * cov[c*n+j]
				}
				set(i, j, sum)
			}
		}
		for a := range furtherTerms {
			i := coreTerms + furtherTerms*x + a
			for b := range a + 1 {
				j := coreTerms + furtherTerms*x + b
				sum := g.sd[a] * g.sd[b]
				if a != b {
					sum *= g.correlation[a][b]
				}
				for c, s := range g.slope[a] {
					sum += s * cov[c*n+j]
				}
				set(i, j, sum)
			}
		}
	}
	return mean, cov
}

// strength is the first primary factor that brings oxidizer, -1 without one.
func (b *doseBasis) strength() int {
	for j := range b.primary {
		if j != b.time && b.factors[j].role() == bringsMore {
			return j
		}
	}
	return -1
}

// linear is the index of the first-order coefficient of a primary factor, -1
// for none.
func (b *doseBasis) linear(j int) int {
	if j < 0 || j >= b.primary {
		return -1
	}
	return 1 + j
}

// product is the index of the coefficient of two primary factors' product, -1
// where one of them is none.
func (b *doseBasis) product(j, k int) int {
	if j < 0 || k < 0 || j >= b.primary || k >= b.primary {
		return -1
	}
	if j > k {
		j, k = k, j
	}
	// Rows before j's hold primary, primary-1, ... products.
	return 1 + len(b.factors) + j*b.primary - j*(j-1)/2 + k - j
}
