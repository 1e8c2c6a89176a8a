package discharge

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// pathOffset is a channel's smooth move along the path: what base and white
// moved, a bend between them and its lopsidedness.
type pathOffset struct {
	coef [offsets]float64
	cov  *mat.SymDense
}

const offsets = 4

func offsetRow(s float64) [offsets]float64 {
	return [offsets]float64{1 - s, s, 4 * s * (1 - s), 10 * s * (1 - s) * (1 - 2*s)}
}

// movePath moves the path to the new base and white, and towards the new lots.
func (m *Model) movePath(o *observed) error {
	p := *m.path
	old := m.path
	if o.hasBase {
		p.L0, m.baseAssumed = o.base.L, false
	}
	if o.hasWhite {
		p.L1, m.whiteAssumed = o.white.L, false
	}
	if !(p.L1-p.L0 > 1) {
		return errPath
	}
	var pts []pathPoint // one per lot or reference
	for i, q := range o.refs {
		q.level = p.level(o.refL[i])
		pts = append(pts, q)
	}
	for i, t := range o.trials {
		q := pathPoint{level: p.level(t.mean().L), y: make([]float64, o.channels), lot: i}
		for _, panel := range t.panels {
			for c, v := range panel.y {
				q.y[c] += v / float64(len(t.panels))
			}
		}
		pts = append(pts, q)
		if p.lightest > 0 { // else the model is of an earlier version
			p.lightest = min(max(p.lightest, q.level), mostLevel)
		}
	}
	// The references are single panels: together they weigh as one lot each.
	refs := math.Max(float64(len(o.refs))/2, 1)
	channels := 2
	if m.kind == Spectral {
		channels = len(old.coef)
	}
	p.coef = make([][]float64, channels)
	moved := mat.NewSymDense(pathBasis, nil)
	moved.CopySym(old.cov)
	h := (p.hi - p.lo) / pathSegments
	for c := range p.coef {
		off := old.offset(c, pts, refs)
		p.coef[c] = slices.Clone(old.coef[c])
		for k := range p.coef[c] {
			for i, v := range offsetCoef(p.lo, h, k) {
				p.coef[c][k] += v * off.coef[i]
			}
		}
		if c < 2 && old.covScale[c] > 0 {
			for a := range pathBasis {
				for b := a; b < pathBasis; b++ {
					ra, rb := offsetCoef(p.lo, h, a), offsetCoef(p.lo, h, b)
					v := 0.0
					for i := range offsets {
						for j := range offsets {
							v += ra[i] * rb[j] * off.cov.At(i, j)
						}
					}
					moved.SetSym(a, b, moved.At(a, b)+v/(2*old.covScale[c]))
				}
			}
		}
	}
	p.cov = moved
	p.prepare()
	m.path = &p
	return nil
}

// offset is how far points lie off a channel of the path. For a* and b*, two fabrics of one
// mill differ by a few units at the ends and by less between; for ln K/S by tenths
// (orientation from memory).
func (p *shadePath) offset(channel int, pts []pathPoint, refs float64) pathOffset {
	if channel >= 2 {
		return fitOffset(p, channel, pts, [offsets]float64{0.4, 0.6, 0.3, 0.1}, func(float64) float64 { return 0.05 * 0.05 }, refs)
	}
	noise := func(level float64) float64 { return p.cast(level) * p.lotOff[channel][channel] }
	return fitOffset(p, channel, pts, [offsets]float64{3, 3, 2, 0.7}, noise, refs)
}

// strayed warns of lots off the old path, moved to the new base and white: what is taken for
// the new cloth's own color may lie on it, or be no reading of it.
func (m *Model) strayed(o *observed, old *shadePath, fabric string) (warned []error) {
	var refs []pathPoint
	for i, q := range o.refs {
		q.level = m.path.level(o.refL[i])
		refs = append(refs, q)
	}
	half := math.Max(float64(len(refs))/2, 1)
	moved := [2]pathOffset{old.offset(0, refs, half), old.offset(1, refs, half)}
	another := m.fabric != "" && fabric != "" && m.fabric != fabric
	for _, t := range o.trials {
		lab := t.mean()
		level := m.path.level(lab.L)
		row := mat.NewVecDense(offsets, nil)
		for i, v := range offsetRow(level) {
			row.SetVec(i, v)
		}
		off := [2]float64{lab.A, lab.B}
		var v [2][2]float64
		for a := range 2 {
			off[a] -= old.channel(a, level) + mat.Dot(row, mat.NewVecDense(offsets, moved[a].coef[:]))
			for b := range 2 {
				v[a][b] = old.cast(level) * old.lotOff[a][b]
			}
			if another {
				v[a][a] += mat.Inner(row, moved[a].cov, row)
			}
		}
		det := v[0][0]*v[1][1] - v[0][1]*v[1][0]
		t2 := (off[0]*off[0]*v[1][1] - 2*off[0]*off[1]*v[0][1] + off[1]*off[1]*v[0][0]) / det
		const rare = 13.815510557964274 // chi-square with two degrees of freedom: -2 ln 0.001
		switch {
		case !(t2 > rare):
		case another:
			warned = append(warned, fmt.Errorf("lot %q lies a* %+.1f, b* %+.1f off the shade path of %s, further than another fabric should: check its readings (signs, viewing), and that nothing lies on it that rinsing or neutralizing would take off", t.lot.ID, off[0], off[1], fabric))
		default:
			warned = append(warned, fmt.Errorf("lot %q lies a* %+.1f, b* %+.1f off the shade path, as fewer than 1 lot of one fabric in 1000 does, and that is taken for its cloth's own color: if a cast is left on it, or a reading is wrong, put that right and recalibrate anew", t.lot.ID, off[0], off[1]))
		}
	}
	return warned
}

// offsetCoef is the spline coefficient k of the parts of an offset. A uniform
// cubic B-spline gives back s, s² and s³ from the coefficients ξ, ξ² - h²/3
// and ξ³ - h²ξ, ξ being the middle of each basis function.
func offsetCoef(lo, h float64, k int) [offsets]float64 {
	s := lo + (float64(k)-1)*h
	s2 := s*s - h*h/3
	s3 := s*s*s - h*h*s
	return [offsets]float64{1 - s, s, 4 * (s - s2), 10 * (s - 3*s2 + 2*s3)}
}

// fitOffset is a ridge regression of what the points lie off the old path, with
// the variance noise of a lot at a level.
func fitOffset(old *shadePath, channel int, pts []pathPoint, prior [offsets]float64, noise func(level float64) float64, refs float64) pathOffset {
	a := mat.NewSymDense(offsets, nil)
	g := mat.NewVecDense(offsets, nil)
	for i, sd := range prior {
		a.SetSym(i, i, 1/(sd*sd))
	}
	for _, q := range pts {
		w := 1 / noise(q.level)
		if q.lot < 0 {
			w /= refs
		}
		row := offsetRow(q.level)
		r := q.y[channel] - old.channel(channel, q.level)
		for i := range offsets {
			g.SetVec(i, g.AtVec(i)+w*row[i]*r)
			for j := i; j < offsets; j++ {
				a.SetSym(i, j, a.At(i, j)+w*row[i]*row[j])
			}
		}
	}
	var chol mat.Cholesky
	chol.Factorize(a) // a ridge on a sum of squares is positive definite
	var x mat.VecDense
	off := pathOffset{cov: mat.NewSymDense(offsets, nil)}
	if err := chol.SolveVecTo(&x, g); err != nil {
		return off
	}
	if err := chol.InverseTo(off.cov); err != nil {
		return off
	}
	for i := range offsets {
		off.coef[i] = x.AtVec(i)
	}
	return off
}
