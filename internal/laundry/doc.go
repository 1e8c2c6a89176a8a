// Package laundry simulates garment laundries that take color out of indigo
// denim, for the demo data and for the simulation study that judges the shade
// model. Nothing here is fitted to real lots. The physics is richer than, and
// different from, the model that is fitted to its output: that model has one
// log dose, a sigmoid level curve and a smooth path in CIELAB; here cloth is
// a set of small elements whose reflectances are averaged, oxidizer is used
// up by an integrated balance, and yellow products, back-staining, brown
// residues and mechanical wear move the color without asking the dose.
//
// # Kinds of physics
//
//	kind          oxidizer at the cloth                      dye in the cloth
//	PowerLaw      strength^n × contact × time after a lag    elements of log-normal dye content and rate, order m
//	Depletion     balance: used by dye, by size and cloth,   as PowerLaw
//	              and lost; gas feed for ozone (ODE)
//	RingDyed      as PowerLaw                                shells of an exponential ring, reaction front that
//	                                                         slows by diffusion; optics weigh the surface
//	Contact       carrier hits (or splashes) counted as      each hit bleaches only where it lands: mottled cloth
//	              Poisson; ratio saturates, rpm matters
//	Release       leaves the carrier (or enters the yarn)    as PowerLaw
//	              at a falling rate and dries off (ODE)
//	Decay         Langmuir in strength; the active agent     Michaelis-Menten in dye
//	              loses activity (enzyme inactivation,
//	              autocatalysis by Mn(IV), self-decay)
//	Mixed         Depletion with milder numbers              RingDyed or Contact, drawn
//
// On top of each kind: an optional sulfur bottom, weft that shows more with
// wear, yellow products that grow with removal and are themselves attacked
// slowly, back-staining, a residual cast (MnO2 brown after permanganate), lot,
// panel and position scatter in dose, hot spots, upset lots, drift of drum
// speed, moisture, temperature and pH, correlated instrument noise, and damp
// readings.
//
// # Facts used, and from where
//
// [1] Kubelka-Munk: R = 1 + q - √(q² + 2q) for q = K/S.
//
// [2] Indigo on cotton absorbs most near 660 nm (common practice, no source).
//
// [3] K. Nadupalli et al. 2015, for one dye with hypochlorite: k(HOCl) 22.2
// and k(OCl⁻) 1.2 L/(mol s), activation energies 26.8 and 35.5 kJ/mol. Taken
// over to indigo as an assumption. pKa of HOCl 7.54 at 25 °C (from memory).
//
// [4] Ozone on denim works best at 50-60 % moisture: G. Ozdemir et al., as
// summarized in a trade note.
//
// [5] Indigo sits in the outer part of the warp yarn: Md. A. Uddin, Chem.
// Mater. Eng. 2(7) (2014) 149-154.
//
// [6] On cloth ozonation slows more than first order: pseudo-second to third
// order, W. He et al., comparative study on solution and dyed cotton.
//
// [7] Laccase on indigo: Michaelis-Menten with inactivation, Nagashima et al.,
// Sen'i Gakkaishi 69 (2013).
//
// [8] Strength loss 11, 19 and 46 % after 10, 15 and 30 min of hypochlorite:
// Rana 2015 (student project), which sets only the order of magnitude here.
//
// Every other number is invented; the ranges of settings are common practice,
// no source.
package laundry
