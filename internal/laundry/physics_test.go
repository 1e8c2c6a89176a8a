package laundry

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.com/dosetone/internal/quantile"
)

func TestGaussHermiteMoments(t *testing.T) {
	// A nine-point Gauss rule is exact up to degree 17; the even moments of
	// the standard normal are 1·3·5·…
	x, w := gaussHermite9()
	want := 1.0
	for k := 0; k <= 16; k += 2 {
		if k > 0 {
			want *= float64(k - 1)
		}
		var got, odd float64
		for i := range x {
			got += w[i] * math.Pow(x[i], float64(k))
			odd += w[i] * math.Pow(x[i], float64(k+1))
		}
		if math.Abs(got/want-1) > 1e-12 {
			t.Errorf("moment %d = %.15g, want %g", k, got, want)
		}
		if math.Abs(odd) > 1e-6*want {
			t.Errorf("moment %d = %g, want 0", k+1, odd)
		}
	}
}

func TestMichaelisSolvesItsRateLaw(t *testing.T) {
	// dd/dx = -(1+h)·d/(h+d), integrated here by small steps of its own.
	for _, h := range []float64{0.1, 0.5, 1.5} {
		d, x := 1.0, 0.0
		const dx = 1e-4
		rate := func(d float64) float64 { return (1 + h) * d / (h + d) }
		for range 30000 {
			mid := d - dx/2*rate(d)
			d -= dx * rate(mid)
			x += dx
		}
		if got := michaelis(x, h); math.Abs(got-d) > 1e-6 {
			t.Errorf("h %g: left %.8f, want %.8f", h, got, d)
		}
		if michaelis(0, h) != 1 {
			t.Errorf("h %g: something left the cloth without exposure", h)
		}
	}
}

func TestFrontFollowsItsRateLaw(t *testing.T) {
	// du/dτ = exp(u)/(1 + slow·u), by small steps.
	for _, slow := range []float64{0.3, 1, 4} {
		u := 0.0
		const h = 1e-4
		end := 0.8 * (1 + slow)
		speed := func(u float64) float64 { return math.Exp(u) / (1 + slow*u) }
		for i := 0; i < int(end/h+0.5); i++ {
			mid := u + h/2*speed(u)
			u += h * speed(mid)
		}
		if got := frontDepth(end, slow); math.Abs(got-u) > 1e-4 {
			t.Errorf("slow %g: depth %.6f, want %.6f", slow, got, u)
		}
	}
}

func TestRungeKuttaAgainstClosedForms(t *testing.T) {
	// y' = -y and a second-order loss, y' = -y².
	y := new(supply).rk4([4]float64{1, 1, 0, 0}, 2, func(y [4]float64) [4]float64 { return [4]float64{-y[0], -y[1] * y[1], 0, 0} })
	if math.Abs(y[0]-math.Exp(-2)) > 1e-6 || math.Abs(y[1]-1.0/3) > 1e-6 {
		t.Errorf("left %.8f and %.8f, want %.8f and %.8f", y[0], y[1], math.Exp(-2), 1.0/3)
	}
}

// TestDepletionConservesOxidizer checks the balance: with oxidizer for a
// fraction f of the dye and no other consumer, the dye taken by any time is at
// most f, and nearly f in the end.
func TestDepletionConservesOxidizer(t *testing.T) {
	s := supply{k: 1, n: 1, lag: 0.1, refT: 10, capacity: 0.4, order: 1, size: 0, sizeRate: 1}
	for _, min := range []float64{0.5, 2, 10, 60} {
		x := s.deplete(0.2, 1, 1, min)
		taken := 1 - math.Exp(-x) // order 1: dye left is exp(-exposure)
		if taken > 0.4+1e-6 {
			t.Errorf("after %g min: %.4f of the dye taken with oxidizer for 0.4", min, taken)
		}
		if min == 60 && taken < 0.37 {
			t.Errorf("after an hour only %.4f taken", taken)
		}
	}
	// Size takes its part.
	s.size = 0.4
	if with, without := s.deplete(0.2, 1, 1, 20), (&supply{k: 1, n: 1, lag: 0.1, refT: 10, capacity: 0.4, order: 1}).deplete(0.2, 1, 1, 20); with >= without {
		t.Errorf("exposure with size %.4f is not below that without, %.4f", with, without)
	}
}

func TestElementsAreADistribution(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 1))
	for range 20 {
		c := drawCloth(PowerLaw, fine(), rng)
		var weight, content float64
		for _, e := range c.elements {
			weight += e.weight
			content += e.weight * e.content
		}
		if math.Abs(weight-1) > 1e-12 || math.Abs(content-1) > 1e-12 {
			t.Fatalf("weights sum to %g, mean content %g; want 1 and 1", weight, content)
		}
		for _, form := range []Kind{PowerLaw, RingDyed, Contact, Decay} {
			last := map[int]remains{}
			for step := range 40 {
				dose := 0.02 * math.Pow(1.3, float64(step)) * float64(min(step, 1))
				for i, e := range c.elements {
					r := c.after(form, e, exposure{dose: dose, hits: 12})
					if !(r.removed >= -1e-12 && r.removed <= 1) || !(r.dye >= 0 && r.dye <= e.content*(1+1e-9)) {
						t.Fatalf("%v, dose %g: removed %g, dye %g of %g", form, dose, r.removed, r.dye, e.content)
					}
					if step == 0 && math.Abs(r.dye-e.content) > 1e-12 {
						t.Fatalf("%v: dye %g of %g is left without exposure", form, r.dye, e.content)
					}
					if r.dye > last[i].dye+1e-12 && step > 0 {
						t.Fatalf("%v, dose %g: dye came back", form, dose)
					}
					last[i] = r
				}
			}
		}
	}
}

// The dose response of cloth may not have stairs that come from dividing it:
// what lightness gains from one dose to the next, 10 % higher, is what a
// division ten times as fine gives. Lightness is that of a gray of K/S 30
// (Kubelka-Munk and CIE L*).
func TestClothHasNoStairs(t *testing.T) {
	off := func(form Kind, d division) float64 {
		lightness := func(c cloth, dose float64) float64 {
			y := 0.0
			for _, e := range c.elements {
				y += e.weight * kubelkaMunk(30*c.after(form, e, exposure{dose: dose, hits: 12}).dye)
			}
			return 116*math.Cbrt(y) - 16
		}
		var all []float64
		for seed := range uint64(8) {
			c := drawCloth(form, d, rand.New(rand.NewPCG(seed, 3)))
			ref := drawCloth(form, lattice(10*maxElements, 80), rand.New(rand.NewPCG(seed, 3)))
			last := 0.0
			for step := range 60 {
				dose := 0.05 * math.Pow(1.1, float64(step))
				diff := lightness(c, dose) - lightness(ref, dose)
				if step > 0 {
					all = append(all, math.Abs(diff-last))
				}
				last = diff
			}
		}
		return quantile.Of(all, 0.95)
	}
	for _, form := range []Kind{PowerLaw, RingDyed, Contact, Decay} {
		f := off(form, fine())
		t.Logf("%v: 95 %% of stairs below %.2f L*, in coarse cloth %.2f", form, f, off(form, coarse()))
		if f > 0.3 { // a third of what eyes see between two pieces side by side (common practice, no source)
			t.Errorf("%v: stairs of %.2f L*", form, f)
		}
	}
}

func TestHOClShareOfTheRate(t *testing.T) {
	// At pH = pKa both species are equal, so with k(HOCl)/k(OCl⁻) = 22.2/1.2
	// (Nadupalli et al. 2015) the rate at 45 °C, where both terms are 1, is
	// (18.5 + 1)/2; far above it OCl⁻ alone is left. Q10 of OCl⁻ from its
	// 35.5 kJ/mol between 40 and 50 °C is exp(35500·10/(8.3145·313.15·323.15)).
	x := transfer{hypoShare: 22.2 / 1.2, eaHOCl: 26.8e3, eaOCl: 35.5e3}
	if got := x.hypochlorite(45, 7.54); math.Abs(got-9.75) > 1e-9 {
		t.Errorf("rate at the pKa %.4f, want 9.75", got)
	}
	q10 := math.Exp(35500 * 10 / (8.3145 * 313.15 * 323.15))
	if got := x.hypochlorite(50, 12.5) / x.hypochlorite(40, 12.5); math.Abs(got-q10) > 1e-3 {
		t.Errorf("Q10 %.4f, want %.4f", got, q10)
	}
}

// A balance stiffer than the plain steps can follow: y' = -300 (y - cos t) from
// 0, whose solution after the first moments is (300² cos t + 300 sin t)/(300² + 1).
func TestStiffBalance(t *testing.T) {
	f := func(y [4]float64) [4]float64 {
		return [4]float64{-300 * (y[0] - math.Cos(y[1])), 1, 0, 0}
	}
	const end = 1.2
	want := (300*300*math.Cos(end) + 300*math.Sin(end)) / (300*300 + 1)
	if y := new(supply).rk4([4]float64{}, end, f); math.Abs(y[0]-want) > 10*odeTolerance {
		t.Errorf("y = %.5f, want %.5f", y[0], want)
	}
	if y := (&supply{plain: true}).rk4([4]float64{}, end, f); math.Abs(y[0]-want) < 10*odeTolerance {
		t.Error("the plain steps follow it too: this tests nothing")
	}
}
