package film

import "math"

// How colorants show beside indigo.
const (
	yellowColor = 0.08 // K/S of products over that of the indigo they come from
	stainOnWarp = 0.3  // loose indigo over that on the weft
	coreDye     = 0.01 // dye of the core over that of the innermost layer
)

// reflectance of a face with so much loose indigo settled on it: in each cell light
// passes the layers of the ring one upon another, down to a core without end;
// cells and weft lie side by side.
func (f *fabric) reflectance(face []cell, settled float64) (r spectrum) {
	for i := range r {
		warp := 0.0
		for k := range face {
			warp += face[k].area * f.warp(&face[k], i, settled)
		}
		weft := endless(f.ground[i] + (f.stain+settled)*f.depth*f.indigo[i])
		r[i] = f.gloss + (1-f.gloss)*((1-f.weft)*warp+f.weft*weft)
	}
	return r
}

// warp is the reflectance of a cell's warp in band i.
func (f *fabric) warp(c *cell, i int, settled float64) float64 {
	const last = layers - 1
	r := endless(f.ground[i] + coreDye*f.depth*f.indigo[i]*c.indigo[last]*f.total)
	for j := last; j >= 0; j-- {
		dyes := f.indigo[i]*c.indigo[j] + f.sulfur[i]*c.sulfur[j] + f.yellow[i]*c.yellow[j]*yellowColor
		ks := f.ground[i] + f.depth*(f.total*dyes+f.brown[i]*c.brown[j]*layers) + settled*f.depth*f.indigo[i]*stainOnWarp
		r = over(r, ks, f.thickness/layers)
	}
	return r
}

// endless is the reflectance of a layer without end [2]. [colorimetry.FromKS] is
// the same but rounds otherwise, and draws must stay as they are.
func endless(ks float64) float64 { return 1 + ks - math.Sqrt(ks*ks+2*ks) }

// over is the reflectance of a layer of scattering power sx on a ground [1].
func over(ground, ks, sx float64) float64 {
	a := 1 + ks
	b := math.Sqrt(a*a - 1)
	e := math.Exp(-2 * b * sx)
	coth := (1 + e) / (1 - e) * b // with the factor b of [1]
	return (1 - ground*(a-coth)) / (a - ground + coth)
}
