package shells

import (
	"math"

	"example.com/dosetone/colorimetry"
)

const (
	bands  = 31 // 400 to 700 nm by 10
	shells = 8  // of the yarn, outermost first
)

// grid is that of all spectra.
func grid() colorimetry.Grid { return colorimetry.Grid{Start: 400, Step: 10, N: bands} }

// A fabric is a twill of ring-dyed warp and a little undyed weft. Within a yarn
// colorants add in K/S.
type fabric struct {
	fast, slow [shells]float64 // indigo of the untouched yarn, by how fast it goes
	seen       [shells]float64 // weight of the shell in what the eye meets
	depth      float64         // K/S of the untouched yarn where indigo absorbs most
	slowness   float64         // rate of attack on slow indigo over that on fast
	weft       float64         // share of the face
	gray       float64         // K/S of undyed cloth
	yellow     float64         // the same, more of it toward 400 nm
	sulfur     float64         // K/S of sulfur dye over that of indigo
	sulfurRate float64
	products   products
	absorbing  absorbing
}

// Products of the attack on indigo are brown and go slower than it does.
type products struct {
	yield float64 // per unit of indigo
	rate  float64 // of attack on them over that on fast indigo
	color float64 // K/S over that of as much indigo
}

// absorbing holds the spectra of K/S, by colorant.
type absorbing struct{ indigo, brown, sulfur, yellow [bands]float64 }

func newFabric(d draw) fabric {
	ring, sight := d.in(0.25, 0.6), d.in(0.18, 0.4)
	slow := d.in(0.2, 0.45)
	f := fabric{absorbing: newAbsorbing()}
	var dye, seen, both float64
	for i := range shells {
		depth := (float64(i) + 0.5) / shells
		volume := 1 - 0.5*depth
		f.fast[i] = math.Exp(-depth/ring) * volume
		f.seen[i] = math.Exp(-depth / sight)
		dye += f.fast[i]
		seen += f.seen[i]
	}
	for i := range shells {
		f.fast[i] /= dye
		f.seen[i] /= seen
		both += f.seen[i] * f.fast[i]
	}
	for i := range shells {
		f.seen[i] /= both // the untouched yarn looks like one unit of dye
		f.slow[i] = f.fast[i] * slow
		f.fast[i] *= 1 - slow
	}
	f.depth = d.in(16, 36)
	f.slowness = d.in(0.1, 0.35)
	f.weft = d.in(0.005, 0.04)
	f.gray, f.yellow = d.in(0.02, 0.06), d.in(0.04, 0.16)
	if d.Float64() < 0.35 {
		f.sulfur, f.sulfurRate = d.in(0.05, 0.2), d.in(0.2, 0.6)
	}
	return f
}

func newProducts(d draw) products {
	return products{yield: d.in(0.2, 0.5), rate: d.in(0.05, 0.2), color: d.in(0.06, 0.2)}
}

func newAbsorbing() (a absorbing) {
	const peak = 662 // of indigo; beyond it absorption falls faster than before
	most := 0.0
	for i := range bands {
		nm := float64(grid().Wavelength(i))
		width, floor := 34.0, 0.46+0.25*math.Exp(-(nm-400)/40)
		if nm > peak {
			width, floor = 26, 0.22+0.24*bell(nm, peak, 50)
		}
		a.indigo[i] = bell(nm, peak, width) + 0.78*bell(nm, 612, 42) + 0.25*bell(nm, 550, 45) + floor
		most = max(most, a.indigo[i])
		a.brown[i] = math.Exp(-(nm-400)/75) + 0.03
		a.sulfur[i] = 0.6 + 0.4*bell(nm, 600, 120)
		a.yellow[i] = math.Exp(-(nm - 400) / 55)
	}
	for i := range a.indigo {
		a.indigo[i] /= most
	}
	return a
}

func bell(nm, at, sd float64) float64 { return math.Exp(-(nm - at) * (nm - at) / (2 * sd * sd)) }

// state of a place on the cloth. Dyes are in units of all indigo of the yarn.
type state struct {
	fast, slow, brown, sulfur [shells]float64
	stain                     float64 // loose dye on the weft
	deposit                   float64 // K/S of brown on the surface
}

func (f *fabric) fresh() state {
	s := state{fast: f.fast, slow: f.slow}
	for i := range shells {
		s.sulfur[i] = f.fast[i] + f.slow[i]
	}
	return s
}

// What oxidizer does besides destroying indigo.
const (
	celluloseRate = 0.02 // of cellulose, over that of fast indigo
	celluloseUse  = 2    // oxidizer per unit of that attack
	brownUse      = 0.5  // oxidizer per unit of products, over that of indigo
)

// attack lets oxidizer of some concentration at the surface of the yarn act for a
// while and returns what was used of it. It diffuses inward and is used up on
// the way; within a step the profile stands still, for diffusion is much quicker
// than the loss of dye.
func (f *fabric) attack(s *state, surface, rate, diffusion, dt float64) (used float64) {
	if surface <= 0 {
		return 0
	}
	// Each shell passes inward what it does not use. Eliminate from outside in:
	// what is in a shell is given + passed times what is in the next one.
	var given, passed, in [shells]float64
	for i := range shells {
		use := rate*(s.fast[i]+f.slowness*s.slow[i]+brownUse*f.products.rate*s.brown[i])*shells + celluloseRate*rate
		outer, inner := diffusion, diffusion
		if i == 0 {
			outer = 2 * diffusion // half a shell to the surface
		}
		if i == shells-1 {
			inner = 0
		}
		all, from := outer+inner+use, surface
		if i > 0 {
			all -= outer * passed[i-1]
			from = given[i-1]
		}
		given[i], passed[i] = outer*from/all, inner/all
	}
	in[shells-1] = given[shells-1]
	for i := shells - 2; i >= 0; i-- {
		in[i] = given[i] + passed[i]*in[i+1]
	}
	for i := range shells {
		dose := rate * in[i] * dt
		fast := s.fast[i] * (1 - math.Exp(-dose))
		slow := s.slow[i] * (1 - math.Exp(-dose*f.slowness))
		brown := s.brown[i] * (1 - math.Exp(-dose*f.products.rate))
		s.fast[i] -= fast
		s.slow[i] -= slow
		s.brown[i] += f.products.yield*(fast+slow) - brown
		s.sulfur[i] *= math.Exp(-dose * f.sulfurRate)
		used += fast + slow + brownUse*brown + celluloseUse*celluloseRate*dose/shells
	}
	return used
}

// reflect adds a share of the face in this state, of a panel dyed deeper by a
// factor.
func (f *fabric) reflect(face *[bands]float64, s *state, deeper, share float64) {
	const (
		gloss, reach = 0.008, 0.985
		stainOfWarp  = 0.6 // over that of the weft
		brownOfWeft  = 0.5 // deposit over that on the warp
	)
	var indigo, brown, sulfur float64
	for i, w := range f.seen {
		indigo += w * (s.fast[i] + s.slow[i])
		brown += w * s.brown[i]
		sulfur += w * s.sulfur[i]
	}
	for i := range face {
		a := &f.absorbing
		undyed := f.gray + f.yellow*a.yellow[i]
		dyed := f.depth * deeper * (indigo*a.indigo[i] + f.products.color*brown*a.brown[i] + f.sulfur*sulfur*a.sulfur[i])
		stain, deposit := f.depth*s.stain*a.indigo[i], s.deposit*a.brown[i]
		warp := colorimetry.FromKS(undyed + dyed + deposit + stainOfWarp*stain)
		weft := colorimetry.FromKS(undyed + stain + brownOfWeft*deposit)
		face[i] += share * (gloss + reach*((1-f.weft)*warp+f.weft*weft))
	}
}
