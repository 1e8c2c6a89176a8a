package quality

import (
	"math"

	"example.com/dosetone/colorimetry"
	"example.com/dosetone/discharge"
	"example.com/dosetone/internal/mat3"
)

// region is what the buyer accepts: all shades within a tolerance of the
// standard or, when limits were approved, of the nearest shade on the way from
// the standard to a limit.
type region struct {
	formula   colorimetry.Difference
	standard  colorimetry.Lab
	ends      []limit
	tolerance float64
	// beyond is by how much more a way past a limit counts than one off the way to it: 1 where the
	// tolerance counts from limits alike.
	beyond float64
	metric mat3.Mat // quadratic form of small differences at the standard
}

// limit is an approved lightest or darkest shade.
type limit struct {
	name string
	at   colorimetry.Lab
}

func newRegion(t discharge.Target, f colorimetry.Difference, tolerance float64) *region {
	r := &region{formula: f, standard: t.Lab, tolerance: tolerance, beyond: 1}
	if t.Light != nil {
		r.ends = append(r.ends, limit{"light limit", *t.Light})
	}
	if t.Dark != nil {
		r.ends = append(r.ends, limit{"dark limit", *t.Dark})
	}
	const h = 0.3
	at := func(d mat3.Vec) float64 {
		e := f.Diff(t.Lab, moved(t.Lab, d))
		return e * e / (h * h)
	}
	for i := range 3 {
		var d mat3.Vec
		d[i] = h
		r.metric[i][i] = at(d)
	}
	for i := range 3 {
		for j := range i {
			var d mat3.Vec
			d[i], d[j] = h, h
			v := (at(d) - r.metric[i][i] - r.metric[j][j]) / 2
			r.metric[i][j], r.metric[j][i] = v, v
		}
	}
	return r
}

// fromStandard is the difference from the standard itself.
func (r *region) fromStandard(c colorimetry.Lab) float64 { return r.formula.Diff(r.standard, c) }

// distance is the difference that decides.
func (r *region) distance(c colorimetry.Lab) float64 {
	d, _ := r.nearest(c)
	return d
}

// nearest is the distance with the limit that c lies beyond, "" for none.
func (r *region) nearest(c colorimetry.Lab) (d float64, beyond string) {
	d = r.fromStandard(c)
	for _, end := range r.ends {
		way, along, ok := r.toward(end, c)
		if !ok {
			continue
		}
		t := min(max(along, 0), 1)
		near := moved(r.standard, mat3.Vec{t * way[0], t * way[1], t * way[2]})
		if x := r.formula.Diff(near, c); x < d {
			d, beyond = x, ""
			if along > 1 {
				beyond = end.name
			}
		}
	}
	return d, beyond
}

// toward is the way from the standard to a limit, and how far c lies along it in lengths of it; ok
// is false for a limit at the standard.
func (r *region) toward(end limit, c colorimetry.Lab) (way mat3.Vec, along float64, ok bool) {
	way = minus(end.at, r.standard)
	off := minus(c, r.standard)
	length := mat3.Form(&r.metric, way, way)
	if length <= 0 {
		return way, 0, false
	}
	w := mat3.Apply(r.metric, way)
	return way, (w[0]*off[0] + w[1]*off[1] + w[2]*off[2]) / length, true
}

// past is how far c lies along the way from the standard to a limit, in lengths of it, and the
// limit; 1 or less where it lies past none.
func (r *region) past(c colorimetry.Lab) (along float64, end limit) {
	for _, e := range r.ends {
		if _, x, ok := r.toward(e, c); ok && x > 1 && x > along {
			along, end = x, e
		}
	}
	return along, end
}

// holds tells whether c is accepted. Past a limit what lies along the way counts more than what
// lies off it, where less is allowed there: the end of the region is an ellipsoid, not a ball.
func (r *region) holds(c colorimetry.Lab) bool {
	if r.beyond > 1 {
		if along, end := r.past(c); along > 1 {
			way := minus(end.at, r.standard)
			x := along - 1
			straight := r.formula.Diff(end.at, moved(end.at, mat3.Vec{x * way[0], x * way[1], x * way[2]}))
			d := r.formula.Diff(end.at, c)
			return math.Max(d*d-straight*straight, 0)+math.Pow(r.beyond*straight, 2) <= r.tolerance*r.tolerance
		}
	}
	return r.distance(c) <= r.tolerance
}
