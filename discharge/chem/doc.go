// Package chem is the chemistry of discharge: quantities that the compiler
// keeps apart, formulas and molar masses, balanced reactions, titrations with
// their uncertainty, the decay of an oxidizer between assay and use, how much
// of which agent undoes it, and which chemicals must not meet.
//
// It knows nothing of color, fabric or machines, and imports nothing of this
// module: package discharge/charge composes it with the processes of package
// discharge into a weigh sheet.
//
// Everything is a function of its arguments; tables are returned as fresh
// copies. Quantities inside are in one base unit, named at the type; percent
// exists only in text.
//
// # References
//
//	[1] Prohaska et al., Standard atomic weights of the elements 2021 (IUPAC
//	    Technical Report), Pure Appl. Chem. 94 (2022) 573-600: abridged or
//	    conventional values.
//	[2] JCGM 100:2008, Guide to the expression of uncertainty in measurement
//	    (GUM): 5.1.2 combined uncertainty, G.4.1 effective degrees of freedom.
//	[3] EURACHEM/CITAC Guide CG 4, Quantifying uncertainty in analytical
//	    measurement, 3rd ed. (2012), example A2: volumetric tolerances as
//	    triangular distributions.
//	[4] CODATA 2018 molar gas constant, 8.314462618 J/(mol K).
//	[5] USP 29, monographs Potassium Permanganate and Sodium Hypochlorite
//	    Solution: titration factors.
//	[6] Disinfection of Pipelines and Storage Facilities Field Guide, AWWA,
//	    Table 7-2: field doses of dechlorinating agents and the pH of their
//	    1 % solutions.
//	[7] US patent 5,017,301: metabisulfite with sulfite for permanganate.
//	[8] US patent 4,919,842: permanganate on moist diatomaceous earth.
//
// What a statement without a source is worth is said where it stands:
// [CommonPractice] or [FromMemory].
package chem
