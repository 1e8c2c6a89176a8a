package fit

import "math"

// A strdModel returns the value of the model and sets g to its gradient.
type strdModel func(x, b, g []float64) float64

// strdModels are the formulas printed in the .dat files, with derivatives
// worked out by hand (checked against differences in TestStRDGradients).
var strdModels = map[string]strdModel{
	"Misra1a": strdRise, "BoxBOD": strdRise,
	"Chwirut1": strdChwirut, "Chwirut2": strdChwirut,
	"Lanczos1": strdLanczos, "Lanczos2": strdLanczos, "Lanczos3": strdLanczos,
	"Gauss1": strdGauss, "Gauss2": strdGauss, "Gauss3": strdGauss,
	"DanWood": func(x, b, g []float64) float64 {
		t := math.Pow(x[0], b[1])
		g[0], g[1] = t, b[0]*t*math.Log(x[0])
		return b[0] * t
	},
	"Misra1b": func(x, b, g []float64) float64 {
		u := b[1] * x[0] / 2
		t := 1 + u
		f := u * (2 + u) / (t * t)
		g[0], g[1] = f, b[0]*x[0]/(t*t*t)
		return b[0] * f
	},
	"Misra1c": func(x, b, g []float64) float64 {
		u := 2 * b[1] * x[0]
		s := math.Sqrt(1 + u)
		f := u / (s * (s + 1))
		g[0], g[1] = f, b[0]*x[0]/(s*s*s)
		return b[0] * f
	},
	"Misra1d": func(x, b, g []float64) float64 {
		t := 1 + b[1]*x[0]
		f := b[1] * x[0] / t
		g[0], g[1] = f, b[0]*x[0]/(t*t)
		return b[0] * f
	},
	"Kirby2":  func(x, b, g []float64) float64 { return strdRational(x[0], b, g, 3) },
	"Hahn1":   func(x, b, g []float64) float64 { return strdRational(x[0], b, g, 4) },
	"Thurber": func(x, b, g []float64) float64 { return strdRational(x[0], b, g, 4) },
	"Nelson": func(x, b, g []float64) float64 { // response log(y)
		e := math.Exp(-b[2] * x[1])
		g[0], g[1], g[2] = 1, -x[0]*e, b[1]*x[0]*x[1]*e
		return b[0] - b[1]*x[0]*e
	},
	"MGH17": func(x, b, g []float64) float64 {
		e4, e5 := math.Exp(-x[0]*b[3]), math.Exp(-x[0]*b[4])
		g[0], g[1], g[2] = 1, e4, e5
		g[3], g[4] = -b[1]*x[0]*e4, -b[2]*x[0]*e5
		return b[0] + b[1]*e4 + b[2]*e5
	},
	"Roszman1": func(x, b, g []float64) float64 {
		u := x[0] - b[3]
		q := u*u + b[2]*b[2]
		g[0], g[1] = 1, -x[0]
		g[2], g[3] = -u/(q*math.Pi), -b[2]/(q*math.Pi)
		return b[0] - b[1]*x[0] - math.Atan(b[2]/u)/math.Pi
	},
	"ENSO": func(x, b, g []float64) float64 {
		s1, c1 := math.Sincos(2 * math.Pi * x[0] / 12)
		a4, a7 := 2*math.Pi*x[0]/b[3], 2*math.Pi*x[0]/b[6]
		s4, c4 := math.Sincos(a4)
		s7, c7 := math.Sincos(a7)
		g[0], g[1], g[2] = 1, c1, s1
		g[4], g[5], g[7], g[8] = c4, s4, c7, s7
		g[3] = (b[4]*s4 - b[5]*c4) * a4 / b[3]
		g[6] = (b[7]*s7 - b[8]*c7) * a7 / b[6]
		return b[0] + b[1]*c1 + b[2]*s1 + b[4]*c4 + b[5]*s4 + b[7]*c7 + b[8]*s7
	},
	"MGH09": func(x, b, g []float64) float64 {
		u := x[0] * (x[0] + b[1])
		d := x[0]*(x[0]+b[2]) + b[3]
		g[0], g[1] = u/d, b[0]*x[0]/d
		g[3] = -b[0] * u / (d * d)
		g[2] = g[3] * x[0]
		return b[0] * u / d
	},
	"Rat42": func(x, b, g []float64) float64 {
		e := math.Exp(b[1] - b[2]*x[0])
		q := 1 / (1 + e)
		g[0], g[1] = q, -b[0]*q*(e*q)
		g[2] = -g[1] * x[0]
		return b[0] * q
	},
	"MGH10": func(x, b, g []float64) float64 {
		u := x[0] + b[2]
		e := math.Exp(b[1] / u)
		g[0], g[1], g[2] = e, b[0]*e/u, -b[0]*e*b[1]/(u*u)
		return b[0] * e
	},
	"Eckerle4": func(x, b, g []float64) float64 {
		z := (x[0] - b[2]) / b[1]
		e := math.Exp(-0.5*z*z) / b[1]
		f := b[0] * e
		g[0], g[1], g[2] = e, f*(z*z-1)/b[1], f*z/b[1]
		return f
	},
	"Rat43": func(x, b, g []float64) float64 {
		e := math.Exp(b[1] - b[2]*x[0])
		l := math.Log1p(e)
		p := math.Exp(-l / b[3])
		g[0], g[1] = p, -b[0]*p*e/((1+e)*b[3])
		g[2], g[3] = -g[1]*x[0], b[0]*p*l/(b[3]*b[3])
		return b[0] * p
	},
	"Bennett5": func(x, b, g []float64) float64 {
		l := math.Log(b[1] + x[0])
		p := math.Exp(-l / b[2])
		g[0], g[1], g[2] = p, -b[0]*p/(b[2]*(b[1]+x[0])), b[0]*p*l/(b[2]*b[2])
		return b[0] * p
	},
}

func strdRise(x, b, g []float64) float64 {
	q := -math.Expm1(-b[1] * x[0])
	g[0], g[1] = q, b[0]*x[0]*math.Exp(-b[1]*x[0])
	return b[0] * q
}

func strdChwirut(x, b, g []float64) float64 {
	d := b[1] + b[2]*x[0]
	f := math.Exp(-b[0]*x[0]) / d
	g[0], g[1], g[2] = -x[0]*f, -f/d, -x[0]*f/d
	return f
}

func strdLanczos(x, b, g []float64) float64 {
	f := 0.0
	for k := 0; k < 6; k += 2 {
		e := math.Exp(-b[k+1] * x[0])
		g[k], g[k+1] = e, -b[k]*x[0]*e
		f += b[k] * e
	}
	return f
}

func strdGauss(x, b, g []float64) float64 {
	e := math.Exp(-b[1] * x[0])
	g[0], g[1] = e, -b[0]*x[0]*e
	f := b[0] * e
	for k := 2; k < 8; k += 3 {
		z := (x[0] - b[k+1]) / b[k+2]
		e := math.Exp(-z * z)
		g[k], g[k+1], g[k+2] = e, b[k]*e*2*z/b[k+2], b[k]*e*2*z*z/b[k+2]
		f += b[k] * e
	}
	return f
}

// strdRational is Σ_{i<n} b_i x^i / (1 + Σ b_{n+i} x^{i+1}).
func strdRational(x float64, b, g []float64, n int) float64 {
	num, den, p := 0.0, 1.0, 1.0
	for i := n - 1; i >= 0; i-- {
		num = math.FMA(num, x, b[i])
	}
	d := 0.0
	for i := len(b) - 1; i >= n; i-- {
		d = math.FMA(d, x, b[i])
	}
	den = math.FMA(d, x, den)
	f := num / den
	for i := range n {
		g[i] = p / den
		p *= x
		if n+i < len(b) {
			g[n+i] = -f * p / den
		}
	}
	return f
}

// strdProblem is model − data.
type strdProblem struct {
	model strdModel
	x     [][]float64
	y     []float64
	n     int
	g     []float64
}

func (s *strdProblem) Dims() (m, n int) { return len(s.y), s.n }

func (s *strdProblem) Residuals(dst, p []float64) {
	for i, x := range s.x {
		dst[i] = s.model(x, p, s.g) - s.y[i]
	}
}

func (s *strdProblem) Jacobian(dst, p []float64) {
	for i, x := range s.x {
		s.model(x, p, dst[i*s.n:(i+1)*s.n])
	}
}
