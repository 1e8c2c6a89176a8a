package discharge

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"example.com/dosetone/internal/quantile"
)

// offPath sets the covariances of lots and of panels about the path.
func (p *shadePath) offPath(pts []pathPoint, lots int) {
	type acc struct {
		n, a, b float64
	}
	sum := make([]acc, lots)
	res := func(q pathPoint) (float64, float64) {
		r := 1 / math.Sqrt(p.cast(q.level))
		return r * (q.y[0] - p.channel(0, q.level)), r * (q.y[1] - p.channel(1, q.level))
	}
	for _, q := range pts {
		if q.lot >= 0 {
			a, b := res(q)
			s := &sum[q.lot]
			s.n++
			s.a += a
			s.b += b
		}
	}
	// A robust covariance: each lot weighs by a Student-t weight against the
	// median size, so that one stained lot does not widen every interval.
	var sizes []float64
	var ma, mb []float64
	for i := range sum {
		if sum[i].n > 0 {
			ma = append(ma, sum[i].a/sum[i].n)
			mb = append(mb, sum[i].b/sum[i].n)
			sizes = append(sizes, math.Hypot(ma[len(ma)-1], mb[len(mb)-1]))
		}
	}
	scale := quantile.Median(sizes)*1.2 + 0.02
	var sw float64
	var c [2][2]float64
	for i := range ma {
		u := sizes[i] / scale
		w := 6 / (4 + u*u) // ν = 4, two dimensions
		sw++
		c[0][0] += w * ma[i] * ma[i]
		c[0][1] += w * ma[i] * mb[i]
		c[1][1] += w * mb[i] * mb[i]
	}
	// The path took about four degrees of freedom from the lots. A region drawn
	// with a covariance that was itself estimated is too small: dividing by what
	// the 95 % point of chi-square has to Hotelling's T² makes its size right.
	// Below six degrees of freedom T² knows nothing of how lots scatter
	// elsewhere and would double every interval again and again; it counts as six.
	free := math.Max(sw-4, 2)
	known := math.Max(free, 6)
	t2 := 2 * known / (known - 1) * distuv.F{D1: 2, D2: known - 1}.Quantile(0.95)
	free *= distuv.ChiSquared{K: 2}.Quantile(0.95) / t2
	const floor = 0.05 * 0.05
	p.lotOff = [2][2]float64{{c[0][0]/free + floor, c[0][1] / free}, {c[0][1] / free, c[1][1]/free + floor}}
	var n float64
	var d [2][2]float64
	for _, q := range pts {
		if q.lot < 0 || sum[q.lot].n < 2 {
			continue
		}
		a, b := res(q)
		s := sum[q.lot]
		a -= s.a / s.n
		b -= s.b / s.n
		f := s.n / (s.n - 1)
		n++
		d[0][0] += f * a * a
		d[0][1] += f * a * b
		d[1][1] += f * b * b
	}
	if n > 0 {
		p.panelOff = [2][2]float64{{d[0][0]/n + floor, d[0][1] / n}, {d[0][1] / n, d[1][1]/n + floor}}
	} else {
		p.panelOff = p.lotOff
	}
}
