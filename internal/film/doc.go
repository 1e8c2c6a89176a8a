// Package film simulates garment laundries in which oxidizer reaches a film on the
// cloth and diffuses from there into a dyed ring, where it is used up. There is no
// dose and no curve of a level: what a place has met shows in what is left in its
// layers. All parameters are invented, the forms are those of textbooks; no real
// laundry, fabric or product stands behind it.
//
// Laundries are drawn until one is of use. Draws must stay as they are, so that what
// was said of a seed holds.
//
// # Supply
//
// Concentrations and amounts of oxidizer are over those at the center of the
// region, times over the time there. A balance gives the film's concentration x in
// each step; what the cloth used in the step before, u per concentration, is
// divided by the capacity, the dye that the center's charge can destroy. Balances
// are implicit in their losses (backward Euler), so that nothing falls below zero.
//
// Permanganate passes between core and skin of the carrier by how full they are, then by
// contacts g to the film, from which some goes back:
//
//	skin += (core/(1-w) - skin/w)·(1 - exp(-k·dt))·w·(1-w)
//	x    += (skin/(R·w) - b·x)·(1 - exp(-g·dt)),  g ∝ Rᵠ·(1+c)/(1 + c·Rᵠ)·wet(t)
//	x    /= 1 + dt·(decay + u/capacity)
//
// Hypochlorite, dosed into V of liquor in the first minutes, decays and is used; by
// what is gone the pH falls, and the rate follows the share h of hypochlorous
// acid [6], h = 1/(1 + 10^(pH-7.5)), which attacks so many times as quickly; the
// rate rises with temperature by exp(E·ΔT/10).
//
// Laccase E dies by exp(-k·t) and oxidizes its mediator M as fast as oxygen lets it,
// E/(1 + E/O)·M/(0.3 + M), a Michaelis and Menten form in each; what it makes fades
// and is used, and takes mediator with it.
//
// Ozone fills a drum that turns over in τ, breaks down and is used: dx/dt = (feed -
// x·(1 + breakdown + u/capacity))/τ. Cloth of moisture m, which dries, lets it attack
// as y/(1+y)² with y = (m/best)ᵖ: dry cloth does not react, water keeps gas out.
//
// When the time is over the cloth is drained: no more comes from outside, and what
// it holds goes on for the minutes of the carry-over.
//
// # Cloth
//
// The ring has ten layers of indigo and perhaps sulfur dye. Oxidizer diffuses much
// more quickly than dye goes, so that its profile c(z) is steady, c″ = φ²·q(z)·c
// with a flow of Bi·(1 - c) at the surface; φ is the Thiele modulus [3] of the
// ring with all its dye, Bi the Biot number [4], q the dye left and what cotton
// uses. Finite volumes make that tridiagonal, and the Thomas algorithm [5] solves it.
// Dye C then goes by dC/dt = -k·(x·c)ⁿ·Cᵐ, where raised parts of the cloth meet more
// than the rest; indigo leaves yellow products that go more slowly, deposits may
// be brown, and the use u adds up all that, with other things that use oxidizer.
// Wear takes dye of the outer layers, by a share exp(-j/2) of that of the first,
// and a share of lost indigo settles again.
//
// # Optics
//
// Colorants add in K/S. Light passes the layers of the ring one upon another [1],
// down to a core of the reflectance of an endless layer [2]:
//
//	R = (1 - Rg·(a - b·coth bSX)) / (a - Rg + b·coth bSX),  a = 1 + K/S, b = √(a² - 1)
//	R∞ = 1 + K/S - √((K/S)² + 2K/S)
//
// Parts of the face, undyed weft and gloss add by area.
//
// Lots differ in strength, rate and dye, panels do, too, some have hot spots, and
// readings have noise. The expected shade is the mean over strength, rate and hot
// spots, with Gauss and Hermite's three nodes [7].
//
// # Facts used, and from where
//
// [1] P. Kubelka, New contributions to the optics of intensely light-scattering
// materials, part I, J. Opt. Soc. Am. 38 (1948) 448-457.
//
// [2] P. Kubelka, F. Munk, Ein Beitrag zur Optik der Farbanstriche, Z. techn. Phys.
// 12 (1931) 593-601.
//
// [3] E. W. Thiele, Relation between catalytic activity and size of particle, Ind.
// Eng. Chem. 31 (1939) 916-920; as every textbook of reaction engineering has it.
//
// [4] The ratio of resistances within a body and at its surface, as textbooks of
// heat and mass transfer have it.
//
// [5] Elimination in a tridiagonal system, as textbooks of numerical analysis have it.
//
// [6] Henderson and Hasselbalch's equation; the pKa of hypochlorous acid is about
// 7.5 at 25 °C (from memory, as all of this list).
//
// [7] M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, table 25.10.
package film
