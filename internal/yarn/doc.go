// Package yarn simulates garment laundries of another physics than package
// laundry's, so that the shade model is not judged by one simulator alone.
// Nothing here is fitted to real lots.
//
// A yarn is a stack of six layers that hold the dye, most of it near the
// surface. Oxidizer comes from a pool (carrier, bath or gas), enters through
// the surface, diffuses from layer to layer and is used up by dye, by cotton
// and by time. The stack's reflectance follows from the Kubelka-Munk equations
// of finite layers, layer upon layer, at each wavelength; a cast of manganese
// dioxide, yellow products of the dye and loose dye that stains back lie on top
// of it. There is no dose, no curve of a level and no path anywhere.
//
//	pool     process                  what drives it
//	carrier  permanganate-pellet,     contact grows with the carrier and may saturate; the pool is what
//	         -powder, -stone          the carrier still holds, and may be let go ever more slowly
//	bath     hypochlorite-bath        strength is per liter, so liquor does not dilute it, but adds oxidizer;
//	                                  the pH may fall, which makes more of the active HOCl
//	enzyme   laccase-bath             the enzyme, dying with heat, makes the oxidizer from a mediator, to
//	                                  which it returns; both are weighed on garment, so liquor dilutes them
//	gas      ozone-gas                a feed fills the pool; moisture, which dries off, has an optimum for
//	                                  the passage into the yarn and another for every rate
//
// Each laundry draws which of several complications it has: see
// [Laundry.Features]. Trial regions are drawn, too: strength over a factor of
// 2.5 to 5.5, the second factor 1.7 to 3.5, time 3.5 to 11, temperature 4 to 8
// degrees to either side.
//
// # Facts used, and from where
//
// [1] P. Kubelka, New contributions to the optics of intensely
// light-scattering materials, part I, J. Opt. Soc. Am. 38 (1948) 448-457: the
// reflectance of a layer of scattering power S·X on a ground of reflectance
// R_g is [1 - R_g(a - b coth bSX)] / (a - R_g + b coth bSX), with a = 1 + K/S
// and b = √(a² - 1).
//
// [2] HOCl attacks faster than OCl⁻ and has a pKa of 7.5 (from memory).
//
// [3] Indigo on cotton absorbs most near 660 nm (common practice, no source).
//
// Every other number is invented; ranges of settings and the lightness of base
// and white are orientation from memory, no source.
package yarn
