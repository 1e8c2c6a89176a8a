// Package quality judges lots: does a lot pass, how sure is that, what is to
// blame when it does not, and do the lots drift. It needs a buyer's standard;
// with a model of the laundry (package discharge) it also says how much dose a
// lot lacks and whether something other than dose went wrong.
//
// # What is assumed
//
// Panels are drawn at random from a lot, and their shades scatter about the
// lot's mean by a normal distribution in CIELAB. A color difference is in the
// units of the chosen formula (CIEDE2000 unless said otherwise), the standard
// being the reference. Probabilities are Bayesian: the panels of the lot,
// together with what the trials said about scatter within lots. What the lot's
// settings promise has no part in its verdict, only in causes and corrections.
//
// Everything is deterministic: the integrals over unknown means and
// covariances use a fixed sequence of pseudo-random numbers.
//
// # References
//
//	[1] ISO 3951-1, Sampling procedures for inspection by variables (idea of
//	    the k-factor; its tables are not used)
//	[2] ISO 16269-6, Statistical tolerance intervals; NIST/SEMATECH e-Handbook
//	    of Statistical Methods, 7.2.6.3
//	[3] A. Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section 3.6
//	    (normal data with unknown mean and covariance)
//	[4] F. E. Grubbs, Technometrics 11 (1969) 1-21; e-Handbook 1.3.5.17.1
//	[5] S. W. Roberts, Technometrics 1 (1959) 239-250; J. M. Lucas and M. S.
//	    Saccucci, Technometrics 32 (1990) 1-12 (EWMA charts)
//	[6] E. S. Page, Biometrika 41 (1954) 100-115; D. Brook and D. A. Evans,
//	    Biometrika 59 (1972) 539-549 (CUSUM charts and their run lengths)
//	[7] D. Brelaz, Comm. ACM 22 (1979) 251-256 (coloring of graphs)
//	[8] P. Kubelka, J. Opt. Soc. Am. 38 (1948) 448-457
package quality
